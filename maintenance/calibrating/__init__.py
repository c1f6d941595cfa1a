"""References, calibrations, drift and recalls."""
