"""What a client sends about a kit: its next state, and what was loaded."""

from typing import Any

from api.wire.calculations.fields import Choice, Flag, Limits, Record, Whole
from api.wire.entry_requests import AMOUNT, listing
from api.wire.input_fields import MomentField, NoteField, UuidField
from inventory.errors import BadInput, Fault
from inventory.models import Container, Material, Place
from jobs.models import CrewDay, Occasion
from jobs.queries.kit_yard import find_warehouse_places
from jobs.services.kits.check_list import GearLine, ProtectionLine
from jobs.services.kits.loading import LoadedContainer, LoadedGoods

Values = dict[str, Any]
NAME = NoteField(longest=160)
LOT = NoteField(default="", longest=64)
WHY = {"instead_of": NoteField(default="", longest=64), "reason": NoteField(default="", longest=200)}
NAME80 = NoteField(longest=80)
OCCASION = Choice(options=tuple(Occasion.values), default=Occasion.ALWAYS.value)
STATE = Record(fields={"state": Choice(options=tuple(CrewDay.State.values))})
CHECK_LISTS = Record(
    fields={
        "gear": listing(name=NAME80, occasion=OCCASION, detail=NoteField(default="", longest=200)),
        "protective": listing(
            name=NAME80,
            occasion=OCCASION,
            material=NoteField(default=None, may_be_null=True, longest=64),
            pieces=Whole(default=1, limits=Limits(least=1, most=1000)),
        ),
    }
)
LOAD = Record(
    fields={
        "id": UuidField(),
        "occurred_at": MomentField(),
        "containers": listing(container=NAME, **WHY),
        "lines": listing(
            material=NAME, amount=AMOUNT, place=NAME, lot=NoteField(default="", longest=64), **WHY
        ),
        "is_complete": Flag(default=False),
        "as_report": Flag(default=False),
    }
)


def find_loaded(values: Values, *, day: CrewDay) -> Values:
    """A load with its records, looked up where the day's kit comes from: a crew sees no more of a yard."""
    faults: list[Fault] = []
    places = find_warehouse_places(day.warehouse) | {day.vehicle_id}
    containers = _containers(values, places)
    boxes = [
        LoadedContainer(found, row["instead_of"], row["reason"])
        for number, row in enumerate(values["containers"])
        if (found := _find_container(row["container"], number, containers, day, faults)) is not None
    ]
    goods = _read_goods(values["lines"], containers, places, day, faults)
    if faults:
        raise BadInput.of(faults)
    return {**values, "containers": boxes, "lines": goods}


def make_check_lists(values: Values) -> Values:
    """Both lists with the materials they name."""
    codes = {row["material"] for row in values["protective"] if row["material"]}
    materials = {row.code: row for row in Material.objects.filter(code__in=codes)}
    faults = [
        Fault(f"/protective/{number}/material", row["material"], "is no material known here")
        for number, row in enumerate(values["protective"])
        if row["material"] and row["material"] not in materials
    ]
    if faults:
        raise BadInput.of(faults)
    return {
        "gear": [GearLine(**row) for row in values["gear"]],
        "protective": [
            ProtectionLine(**{**row, "material": materials.get(row["material"])})
            for row in values["protective"]
        ],
    }


def _find_container(
    label: str, number: int, containers: dict[str, Container], day: CrewDay, faults: list[Fault]
) -> Container | None:
    found = containers.get(label)
    if found is None:
        message = f"is no container in {day.warehouse}, where the kit comes from"
        faults.append(Fault(f"/containers/{number}/container", label, message))
    return found


def _read_goods(
    rows: list[Values],
    containers: dict[str, Container],
    places: frozenset[int],
    day: CrewDay,
    faults: list[Fault],
) -> list[LoadedGoods]:
    codes = {row["material"] for row in rows}
    materials = {row.code: row for row in Material.objects.filter(code__in=codes)}
    known = {row.code: row for row in Place.objects.filter(pk__in=places)}
    found = []
    for number, row in enumerate(rows):
        material, place = materials.get(row["material"]), known.get(row["place"])
        lot = containers.get(row["lot"]) if row["lot"] else None
        for name, is_missing, message in (
            ("material", material is None, "is no material known here"),
            ("place", place is None, f"is no place in {day.warehouse}, where the kit comes from"),
            ("lot", bool(row["lot"]) and lot is None, "is no lot that lies there"),
        ):
            if is_missing:
                faults.append(Fault(f"/lines/{number}/{name}", row[name], message))
        if material is not None and place is not None:
            found.append(LoadedGoods(material, row["amount"], place, lot, row["instead_of"], row["reason"]))
    return found


def _containers(values: Values, places: frozenset[int]) -> dict[str, Container]:
    """Vessels and reels that stand in these places, and lots of which something lies there."""
    labels = {row["container"] for row in values["containers"]} | {row["lot"] for row in values["lines"]}
    rows = Container.objects.filter(label__in=labels - {""}).select_related("place", "owner")
    standing = {row.label: row for row in rows.filter(place__in=places)}
    lots = rows.filter(kind=Container.Kind.LOT, holdings__place__in=places, holdings__quantity__gt=0)
    return {**standing, **{row.label: row for row in lots.distinct()}}
