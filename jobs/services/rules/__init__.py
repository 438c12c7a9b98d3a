"""The rules of the trade at work: facts of a report, what the rules find in them, what follows."""
