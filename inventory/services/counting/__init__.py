"""Counting by plan: which goods how often, sheets that tell nothing, second counts, and what is posted."""
