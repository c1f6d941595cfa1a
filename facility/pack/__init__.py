"""The pack: a bag of records, reports and proofs that an inspector verifies without this program."""
