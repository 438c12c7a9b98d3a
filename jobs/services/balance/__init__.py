"""Closing crew-days: their fluid is balanced, the book is set right, what is missing is told."""
