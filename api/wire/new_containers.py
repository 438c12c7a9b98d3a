"""Containers that come with a receipt: what a client says of each, and what it becomes."""

from collections.abc import Mapping
from typing import Any

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Choice, Field, Limits, Number
from api.wire.input_fields import AmountField, DayField, NoteField, ReferenceField
from api.wire.references import resolve
from inventory.models import Container
from inventory.models.container import UNIT_OF_ANY_FLUID
from inventory.queries.access import Viewer
from inventory.queries.company import get_company_party
from inventory.services.lines import stored_quantity

Values = dict[str, Any]
MARKS = ("outer_mark", "inner_mark", "stated_length")
LENGTHS = frozenset({"[ft_i]", "m"})
HEAVIEST_KG = 10**6
OWNER = ReferenceField(noun="party", default=None, may_be_null=True)
NEW_CONTAINER_FIELDS: dict[str, Field] = {
    "label": NoteField(longest=64),
    "kind": Choice(options=tuple(Container.Kind.values)),
    "material": ReferenceField(noun="material", default=None, may_be_null=True),
    "owner": OWNER,
    "place": ReferenceField(
        noun="place", default=None, may_be_null=True, about="all but lots stand somewhere"
    ),
    "state": Choice(options=tuple(Container.State.values), default=Container.State.SEALED.value),
    "capacity": AmountField(default=None, may_be_null=True),
    "tare_kg": Number(default=None, may_be_null=True, limits=Limits(least=0, most=HEAVIEST_KG)),
    "best_before_date": DayField(default=None, may_be_null=True),
    "outer_mark": AmountField(default=None, may_be_null=True),
    "inner_mark": AmountField(default=None, may_be_null=True),
    "stated_length": AmountField(default=None, may_be_null=True),
}


def read_new_containers(rows: list[Values], viewer: Viewer) -> dict[str, Container]:
    """Containers that come with a receipt, not saved: the service saves them with the entry."""
    found: dict[str, Container] = {}
    faults = Faults()
    for number, row in enumerate(resolve(rows, viewer=viewer)):
        pointer = Pointer() / "containers" / number
        _check_new_container(row, found, pointer, faults)
        row["owner"] = row["owner"] or get_company_party()
        capacity = row.pop("capacity")
        if capacity is not None:
            unit = row["material"].stock_unit if row["material"] else UNIT_OF_ANY_FLUID
            row["capacity"] = stored_quantity(capacity, unit, pointer=f"{pointer.pointer}/capacity")
        row |= _read_marks(row, pointer, faults)
        container = Container(**row)
        found[container.label] = container
    faults.raise_if_any()
    return found


def _read_marks(row: Values, pointer: Pointer, faults: Faults) -> Values:
    """Marks and stated length in the unit of the first that is given; a jacket is marked in one."""
    given = {name: row[name] for name in MARKS if row[name] is not None}
    unit = next((amount.unit for amount in given.values()), "")
    found: Values = {"mark_unit": unit}
    for name, amount in given.items():
        if row["kind"] != Container.Kind.REEL.value or unit not in LENGTHS:
            faults.add(pointer / name, str(amount), "is a length on a reel, in ft or m")
            continue
        found[name] = stored_quantity(amount, unit, pointer=f"{pointer.pointer}/{name}")
    return {**dict.fromkeys(MARKS), **found}


def _check_new_container(
    row: Values, found: Mapping[str, Container], pointer: Pointer, faults: Faults
) -> None:
    """Name what the database would refuse without naming the field."""
    is_lot, needs_material = row["kind"] == "lot", row["kind"] in {"lot", "reel"}
    if not row["label"] or row["label"] in found:
        faults.add(pointer / "label", row["label"], "must be a label of its own")
    if is_lot == (row["place"] is not None):
        faults.add(pointer / "place", None, "must be left out for a lot and given for all else")
    if needs_material and row["material"] is None:
        faults.add(pointer / "material", None, "must be given for a lot or a reel")
    if row["place"] is not None and not row["place"].is_stock:
        faults.add(pointer / "place", row["place"].code, "must be one of our own stock places")
    capacity = row["capacity"]
    if capacity is not None and capacity.value <= 0:
        faults.add(pointer / "capacity" / "value", str(capacity.value), "must be above 0")
