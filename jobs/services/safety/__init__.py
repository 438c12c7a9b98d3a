"""What the safety role owns: approved pressures, findings lifted, incidents."""
