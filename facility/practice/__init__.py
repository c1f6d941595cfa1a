"""Drills and procedures: who practised what and when, what is in force, who has read it."""
