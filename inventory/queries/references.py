"""Finding our records by what other systems call them, and the other way round."""

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

from django.apps import apps
from django.db.models import Model

from inventory.errors import NotFound
from inventory.models import ExternalReference

Found = TypeVar("Found", bound=Model)
# As many as both databases take as parameters of one statement.
AT_ONCE = 5_000


class UnknownNoun(NotFound):
    """No record of ours is called that."""

    code = "unknown_noun"


def noun_of(model: type[Model] | Model) -> str:
    """The name under which references to records of a model are kept, such as "inventory.material"."""
    return str(model._meta.label_lower)


def find_by_reference(*, system: str, model: type[Found], identifier: str) -> Found | None:
    """The record of this model that a system calls so; None where it calls none so."""
    row = ExternalReference.objects.filter(system=system, noun=noun_of(model), identifier=identifier).first()
    return model._default_manager.filter(pk=row.record_id).first() if row is not None else None


def find_by_noun(*, system: str, noun: str, identifier: str) -> Model | None:
    """The same for a noun given as text, as it comes from a door."""
    try:
        model = apps.get_model(noun)
    except (LookupError, ValueError):
        raise UnknownNoun(f"{noun!r} is no noun that is known here.") from None
    return find_by_reference(system=system, model=model, identifier=identifier)


def list_references(record: Model) -> list[ExternalReference]:
    """What other systems call a record, by system."""
    rows = ExternalReference.objects.filter(noun=noun_of(record), record_id=str(record.pk))
    return list(rows.order_by("system"))


def find_taken(noun: str, names: Iterable[tuple[str, str]]) -> dict[tuple[str, str], int]:
    """Of these pairs of system and identifier those in use for a noun, with the record's key."""
    by_system: dict[str, list[str]] = {}
    for system, identifier in names:
        by_system.setdefault(system, []).append(identifier)
    taken = {}
    for system, identifiers in by_system.items():
        for chunk in _in_chunks(identifiers):
            rows = ExternalReference.objects.filter(noun=noun, system=system, identifier__in=chunk)
            for identifier, record_id in rows.values_list("identifier", "record_id"):
                taken[system, identifier] = int(record_id)
    return taken


def _in_chunks(identifiers: list[str]) -> Iterator[list[str]]:
    rest = iter(identifiers)
    while chunk := list(islice(rest, AT_ONCE)):
        yield chunk
