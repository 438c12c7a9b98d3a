"""Pictures drawn in SVG by plain Python, each with a table of the numbers that it shows."""
