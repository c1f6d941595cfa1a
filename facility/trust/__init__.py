"""Why the records can be believed: signed heads of the log, keys and their rotation, proofs, and the verifiers."""
