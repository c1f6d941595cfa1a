"""Calendars by secret address (RFC 5545), and planned shut-downs."""
