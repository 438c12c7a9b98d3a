"""From the names in a request to our records, a query per noun however many names there are.

A record that the sender may not see is answered like one that is not there.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Model, QuerySet

from api.wire.calculations.faults import Faults
from api.wire.input_fields import Price, Reference
from inventory.queries.access import (
    Viewer,
    nameable_containers,
    visible_entries,
    visible_materials,
    visible_parties,
    visible_places,
    visible_recipes,
)
from inventory.queries.company import get_company


@dataclass(frozen=True)
class Noun:
    """How a noun is looked up: its rows for a viewer and the column that holds its name."""

    rows: Callable[[Viewer], QuerySet[Any]]
    column: str


NOUNS: dict[str, Noun] = {
    "place": Noun(visible_places, "code"),
    "material": Noun(visible_materials, "code"),
    "container": Noun(
        lambda viewer: nameable_containers(viewer).select_related("owner", "place", "material"), "label"
    ),
    "party": Noun(visible_parties, "code"),
    "recipe": Noun(visible_recipes, "code"),
    "entry": Noun(visible_entries, "uuid"),
}
# What a request makes itself and names elsewhere: records by noun and name.
Made = Mapping[str, Mapping[str, Any]]


def resolve(values: Any, *, viewer: Viewer, made: Made | None = None) -> Any:
    """The same values with records for references and whole millionths for money.

    Raises
    ------
    BadInput
        If a name stands for nothing the viewer may see, or money is in another currency.
    """
    known = {noun: dict(records) for noun, records in (made or {}).items()}
    wanted: dict[str, set[str]] = {}
    leaves = list(_leaves(values))
    for leaf in leaves:
        if isinstance(leaf, Reference) and leaf.name not in known.get(leaf.noun, {}):
            wanted.setdefault(leaf.noun, set()).add(leaf.name)
    for noun, names in wanted.items():
        known.setdefault(noun, {}).update(_find(noun, names, viewer))
    has_money = any(isinstance(leaf, Price) for leaf in leaves)
    currency = get_company().currency if has_money else ""
    faults = Faults()
    resolved = _replace(values, known, currency, faults)
    faults.raise_if_any()
    return resolved


def _find(noun: str, names: Iterable[str], viewer: Viewer) -> dict[str, Model]:
    how = NOUNS[noun]
    rows = how.rows(viewer).filter(**{f"{how.column}__in": list(names)})
    return {str(getattr(row, how.column)): row for row in rows}


def _leaves(values: Any) -> Iterator[Any]:
    if isinstance(values, dict):
        for value in values.values():
            yield from _leaves(value)
    elif isinstance(values, list):
        for value in values:
            yield from _leaves(value)
    else:
        yield values


def _replace(value: Any, known: dict[str, dict[str, Any]], currency: str, faults: Faults) -> Any:
    if isinstance(value, dict):
        return {name: _replace(part, known, currency, faults) for name, part in value.items()}
    if isinstance(value, list):
        return [_replace(part, known, currency, faults) for part in value]
    if isinstance(value, Price):
        if value.currency != currency:
            faults.add(value.pointer, value.currency, f"must be {currency}, the company's currency")
        return value.millionths
    if not isinstance(value, Reference):
        return value
    record = known.get(value.noun, {}).get(value.name)
    if record is None:
        faults.add(value.pointer, value.name, f"there is no {value.noun} of that name")
    return record
