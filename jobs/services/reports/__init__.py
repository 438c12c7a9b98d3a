"""Field reports: what a crew tells of its day becomes rows, entries of the book and steps that are done."""
