"""What comes from suppliers: recorded as it came, held back where it is not what was ordered."""
