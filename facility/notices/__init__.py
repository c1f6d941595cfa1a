"""Telling people: one calm digest a day, at once only when readiness changes, on ways that wait for the link."""
