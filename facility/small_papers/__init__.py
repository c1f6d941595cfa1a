"""The smaller papers: due list, wall sheet, filled check, and what a thing, a person and a year have on record."""
