"""Worksheets as pages and as a command: each computation usable by itself."""
