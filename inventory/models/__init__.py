"""What is held: the tables of inventory."""

from inventory.models.actor import Actor

__all__ = ["Actor"]
