"""Putting the service on machines, and bringing its book back after one of them is lost."""
