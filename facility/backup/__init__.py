"""Backups: made while the app runs, sealed, put back on either database with proof of equality."""

from facility.backup.store import newest_age as newest_age
