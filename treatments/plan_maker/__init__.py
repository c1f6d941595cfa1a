"""Plans worked out from treatment tables: duration, gas and reserve, each number with its sum."""
