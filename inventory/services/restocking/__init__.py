"""Restocking: weekly demand rolled up, policies set, runs asked for and worked off, orders written from lines."""
