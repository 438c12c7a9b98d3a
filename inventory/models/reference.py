"""What other systems call our things."""

from django.db import models


class ExternalReference(models.Model):
    """The name that another system gives to one of our records; unique within that system and noun.

    `noun` is the record's model label ("jobs.span") and `record_id` its key as text: a foreign key per
    noun would need a table per noun for the same three columns.
    """

    system = models.CharField(max_length=64)
    identifier = models.CharField(max_length=160)
    noun = models.CharField(max_length=64)
    record_id = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["system", "noun", "identifier"], name="a_system_uses_an_identifier_once_per_noun"
            )
        ]
        indexes = [models.Index(fields=["noun", "record_id"], name="reference_by_record")]

    def __str__(self) -> str:
        return f"{self.system} {self.identifier}"
