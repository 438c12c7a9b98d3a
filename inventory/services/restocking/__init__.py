"""Restocking: use rolled up by week, policies set, runs asked for and worked off, orders written."""
