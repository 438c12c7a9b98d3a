"""People's days in a real browser."""
