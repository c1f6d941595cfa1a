"""Planned shut-downs: when a chamber is shut on purpose, as readiness sees it and as pages."""
