"""What happened, for other systems: read in sealed order, or sent to addresses they named."""
