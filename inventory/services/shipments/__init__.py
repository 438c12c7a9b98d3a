"""Goods going from one of our places to another by somebody's lorry: sent, unloaded, the difference named."""
