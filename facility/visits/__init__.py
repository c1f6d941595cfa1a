"""Visits of an inspector: reading by link, tracing, findings and their answers, what changed since the last pack."""
