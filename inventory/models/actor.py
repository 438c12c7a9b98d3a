"""Who did it: a person or a system, known to the ledger by a name of its own."""

from django.db import models


class Actor(models.Model):
    """Whoever an entry is ascribed to.

    Separate from the accounts that people sign in with, so that a system, an importer or a person who
    has left can stand in the ledger for good. Never deleted: the ledger points at it.
    """

    class Kind(models.TextChoices):
        PERSON = "person", "person"
        SYSTEM = "system", "system"

    code = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=8, choices=Kind.choices)

    def __str__(self) -> str:
        return self.name
