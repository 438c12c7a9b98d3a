"""Documents: looked into, made small, stored under their hash, hung on what they belong to."""
