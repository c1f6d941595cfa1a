"""The box itself: its jobs, backups and signing keys, as pages."""
