"""Recovered fluid as it is answered: what stands where, tests, limits, passes, and what was done with it."""

from collections.abc import Iterable, Sequence

from api.wire.acts import Json
from api.wire.amounts import quantity_json
from api.wire.answers import named_json, place_name_json
from api.wire.calculations.fields import Schema
from api.wire.filters import Filter, by_text, by_word
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import FLAG, MOMENT, NUMBER, TEXT, UUID, WHOLE, listing, nullable, of, shape, words
from inventory.models import (
    Container,
    Entry,
    FluidCatch,
    FluidLimit,
    FluidPolicy,
    FluidRelease,
    FluidTest,
    FluidTestResult,
    Holding,
    Material,
)
from inventory.queries.fluid_cautions import list_handling_cautions
from inventory.queries.holdings import list_contents
from inventory.queries.recovered_fluid import RecoveredFluid, describe_recovered_fluid

BY_KEY, BY_PK = Order("key"), Order("pk", is_number=True)
RECOVERED_FILTERS: dict[str, Filter] = {
    "place": by_text("place__code", "code of the place where it stands"),
    "material": by_text("material__code", "code of the recovered fluid"),
    "contents_state": by_word(
        "container__contents_state", list(Container.ContentsState.values), "state of the contents"
    ),
}
TEST_FILTERS: dict[str, Filter] = {
    "container": by_text("container__label", "label of the vessel"),
    "material": by_text("material__code", "code of the fluid"),
}
RELEASE_FILTERS: dict[str, Filter] = {
    "container": by_text("container__label", "label of the vessel"),
    "basis": by_word("basis", list(FluidRelease.Basis.values), "on what it was passed"),
}
LIMIT_FILTERS: dict[str, Filter] = {"material": by_text("material__code", "code of the fluid")}

_KIND: Schema = {"type": "string", "enum": [*FluidCatch.Kind.values, ""]}
COMPONENTS: dict[str, Schema] = {
    "RecoveredFluid": shape(
        container=TEXT,
        place=of("PlaceName"),
        material=of("Named"),
        owner=of("Named"),
        quantity=of("Quantity"),
        state=words(Container.State),
        contents_state=words(Container.ContentsState),
        came_back=_KIND,
        uses=WHOLE,
        last_back_at=nullable(MOMENT),
        last_in_at=nullable(MOMENT),
        passed_until=nullable(MOMENT),
        cautions=listing(TEXT),
    ),
    "FluidTestResult": shape(
        measured=TEXT,
        unit=TEXT,
        value=NUMBER,
        lowest=nullable(NUMBER),
        highest=nullable(NUMBER),
        is_within=nullable(FLAG),
        remark=TEXT,
    ),
    "FluidTest": shape(
        id=UUID,
        container=TEXT,
        material=of("Named"),
        tested_at=MOMENT,
        by=of("Named"),
        document=TEXT,
        note=TEXT,
        results=listing(of("FluidTestResult")),
        cautions=listing(TEXT),
    ),
    "FluidLimit": shape(
        material=of("Named"),
        measured=TEXT,
        unit=TEXT,
        lowest=nullable(NUMBER),
        highest=nullable(NUMBER),
        approved_by=of("Named"),
        approved_at=MOMENT,
        withdrawn_at=nullable(MOMENT),
    ),
    "FluidPolicy": shape(
        material=of("Named"), may_reuse_same_day=FLAG, most_uses=WHOLE, test_valid_days=nullable(WHOLE)
    ),
    "FluidRelease": shape(
        id=UUID,
        container=TEXT,
        basis=words(FluidRelease.Basis),
        test=nullable(UUID),
        uses=WHOLE,
        released_at=MOMENT,
        by=of("Named"),
        ends_at=nullable(MOMENT),
        ended_at=nullable(MOMENT),
    ),
    "VesselContent": shape(material=of("Named"), quantity=of("Quantity")),
    "Vessel": shape(
        label=TEXT,
        place=nullable(of("PlaceName")),
        state=words(Container.State),
        contents_state=words(Container.ContentsState),
        contents=listing(of("VesselContent")),
    ),
    "FluidAct": shape(
        id=UUID,
        kind=words(Entry.Kind),
        occurred_at=MOMENT,
        vessels=listing(of("Vessel")),
        cautions=listing(TEXT),
    ),
}


def recovered_json(rows: Sequence[Holding]) -> list[Json]:
    """What stands in vessels, with its history read for all of them at once."""
    return [_recovered_json(row) for row in describe_recovered_fluid(rows)]


def _recovered_json(row: RecoveredFluid) -> Json:
    return {
        "container": row.container.label,
        "place": place_name_json(row.holding.place),
        "material": named_json(row.material),
        "owner": named_json(row.holding.owner),
        "quantity": quantity_json(row.holding.quantity, row.material.stock_unit),
        "state": row.container.state,
        "contents_state": row.container.contents_state,
        "came_back": row.history.kind,
        "uses": row.history.uses,
        "last_back_at": moment_json(row.history.last_back_at),
        "last_in_at": moment_json(row.history.last_in_at),
        "passed_until": moment_json(row.ends_at),
        "cautions": list_handling_cautions([row.material]),
    }


def test_json(row: FluidTest) -> Json:
    return {
        "id": str(row.uuid),
        "container": row.container.label,
        "material": named_json(row.material),
        "tested_at": moment_json(row.tested_at),
        "by": named_json(row.by),
        "document": row.document,
        "note": row.note,
        "results": [_result_json(result) for result in row.results.all()],
        "cautions": list_handling_cautions([row.material]),
    }


def _result_json(row: FluidTestResult) -> Json:
    """A value beside its limit; without one it is neither within nor beyond."""
    remark = "no limit approved" if not row.has_limit else "" if row.is_within else "misses its limit"
    return {
        "measured": row.measured,
        "unit": row.unit,
        "value": row.value,
        "lowest": row.lowest,
        "highest": row.highest,
        "is_within": row.is_within if row.has_limit else None,
        "remark": remark,
    }


def limit_json(row: FluidLimit) -> Json:
    return {
        "material": named_json(row.material),
        "measured": row.measured,
        "unit": row.unit,
        "lowest": row.lowest,
        "highest": row.highest,
        "approved_by": named_json(row.approved_by),
        "approved_at": moment_json(row.approved_at),
        "withdrawn_at": moment_json(row.withdrawn_at),
    }


def policy_json(row: FluidPolicy) -> Json:
    return {
        "material": named_json(row.material),
        "may_reuse_same_day": row.may_reuse_same_day,
        "most_uses": row.most_uses,
        "test_valid_days": row.test_valid_days,
    }


def release_json(row: FluidRelease) -> Json:
    return {
        "id": str(row.entry.uuid),
        "container": row.container.label,
        "basis": row.basis,
        "test": str(row.test.uuid) if row.test is not None else None,
        "uses": row.uses,
        "released_at": moment_json(row.released_at),
        "by": named_json(row.by),
        "ends_at": moment_json(row.ends_at),
        "ended_at": moment_json(row.ended_at),
    }


def vessels_json(boxes: Iterable[Container]) -> list[Json]:
    """Vessels as they stand now, with what they hold, in two queries."""
    keys = [box.pk for box in boxes]
    rows = list(Container.objects.filter(pk__in=keys).select_related("place").order_by("label"))
    contents = list_contents(rows)
    return [_vessel_json(row, contents.get(row.pk, [])) for row in rows]


def _vessel_json(row: Container, contents: Iterable[Holding]) -> Json:
    return {
        "label": row.label,
        "place": place_name_json(row.place) if row.place is not None else None,
        "state": row.state,
        "contents_state": row.contents_state,
        "contents": [
            {
                "material": named_json(part.material),
                "quantity": quantity_json(part.quantity, part.material.stock_unit),
            }
            for part in contents
        ],
    }


def fluid_act_json(entry: Entry, boxes: Iterable[Container | None], materials: Iterable[Material]) -> Json:
    return {
        "id": str(entry.uuid),
        "kind": entry.kind,
        "occurred_at": moment_json(entry.occurred_at),
        "vessels": vessels_json(box for box in boxes if box is not None),
        "cautions": list_handling_cautions(materials),
    }
