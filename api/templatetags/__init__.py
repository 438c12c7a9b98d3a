"""Tags of our templates."""
