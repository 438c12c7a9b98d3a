"""Noting what other systems call our records."""

from django.db import transaction
from django.db.models import Model

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import ExternalReference
from inventory.queries.references import noun_of

# Whoever names no system means the one that designs the work.
DEFAULT_SYSTEM = "design"
SYSTEM_LENGTH = 64
IDENTIFIER_LENGTH = 160


class ReferenceTaken(SpanstockError):
    """The system calls another record of that noun so."""

    code = "reference_taken"


@transaction.atomic
def set_reference(*, system: str, identifier: str, record: Model) -> ExternalReference:
    """Note that a system calls a record so; again, it changes nothing.

    A system has one name for a record, so a new one takes the place of what it called the record before.
    One that is in use for another record of the same noun is refused.
    """
    _check("system", system, SYSTEM_LENGTH)
    _check("identifier", identifier, IDENTIFIER_LENGTH)
    noun, record_id = noun_of(record), str(record.pk)
    standing, _is_new = ExternalReference.objects.get_or_create(
        system=system, noun=noun, identifier=identifier, defaults={"record_id": record_id}
    )
    if standing.record_id != record_id:
        raise ReferenceTaken(
            f"{identifier!r} is what {system} calls another {record._meta.verbose_name} already; "
            "give this one its own."
        )
    others = ExternalReference.objects.filter(system=system, noun=noun, record_id=record_id)
    others.exclude(pk=standing.pk).delete()
    return standing


def _check(column: str, text: str, length: int) -> None:
    if not text.strip() or len(text) > length or not text.isprintable():
        message = f"is no name of a record; 1 to {length} characters that can be printed"
        raise BadInput.of([Fault(column, text, message)])
