"""Files of many rows, taken in the background."""
