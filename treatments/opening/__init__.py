"""A run before it leaves surface: roles, patients, screening."""
