"""Recovery rates by size, fluid, crew and month, and the drifts that somebody looks at."""

from collections.abc import Iterable

from api.wire.acts import Act, Asker, Json
from api.wire.answers import named_json
from api.wire.calculations.fields import Record, Schema
from api.wire.filters import Filter, by_text, by_word
from api.wire.input_fields import MomentField, NoteField
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import FLAG, MOMENT, NUMBER, TEXT, WHOLE, nullable, of, shape, words
from inventory.errors import NotFound
from jobs.models import RecoveryDrift, RecoveryRate
from jobs.queries import fluid_access as access
from jobs.queries.recovery_rates import RatedGroup, rate_groups
from jobs.services.recovery import look_at_drift

BY_PK = Order("pk", is_number=True)
RATE_FILTERS: dict[str, Filter] = {
    "group": by_word("group", list(RecoveryRate.Group.values), "by what the spans are grouped"),
    "name": by_text("name", "designation, code or month of the group"),
}
DRIFT_FILTERS: dict[str, Filter] = {
    "group": by_word("group", [RecoveryRate.Group.CREW, RecoveryRate.Group.SIZE], "a crew or a size"),
    "crew": by_text("crew__code", "code of the crew"),
    "cable_size": by_text("cable_size__designation", "designation of the size"),
}
COMPONENTS: dict[str, Schema] = {
    "RecoveryRate": shape(
        group=words(RecoveryRate.Group),
        name=TEXT,
        readings=WHOLE,
        spans=WHOLE,
        injected_m3=NUMBER,
        recovered_m3=NUMBER,
        ratio=NUMBER,
        low=nullable(NUMBER),
        high=nullable(NUMBER),
        confidence=NUMBER,
        is_drifting=FLAG,
        remark=TEXT,
        computed_at=MOMENT,
    ),
    "RecoveryDrift": shape(
        id=TEXT,
        group=words(RecoveryRate.Group),
        crew=nullable(TEXT),
        cable_size=nullable(TEXT),
        fluid=nullable(of("Named")),
        direction=words(RecoveryDrift.Direction),
        happened_at=MOMENT,
        found_at=MOMENT,
        statistic=NUMBER,
        limit=NUMBER,
        looked_at=nullable(MOMENT),
        looked_by=nullable(of("Named")),
        finding=TEXT,
    ),
}


def rates_json(rows: Iterable[RecoveryRate]) -> list[Json]:
    return [_rate_json(row) for row in rate_groups(rows)]


def _rate_json(row: RatedGroup) -> Json:
    rate = row.rate
    fields = ("group", "name", "readings", "spans", "injected_m3", "recovered_m3", "ratio", "low", "high")
    return {
        **{name: getattr(rate, name) for name in fields},
        "confidence": rate.confidence,
        "is_drifting": bool(row.drifts),
        "remark": row.remark,
        "computed_at": moment_json(rate.computed_at),
    }


def drift_json(row: RecoveryDrift) -> Json:
    return {
        "id": str(row.pk),
        "group": row.group,
        "crew": row.crew.code if row.crew is not None else None,
        "cable_size": row.cable_size.designation if row.cable_size is not None else None,
        "fluid": named_json(row.fluid) if row.fluid is not None else None,
        "direction": row.direction,
        "happened_at": moment_json(row.happened_at),
        "found_at": moment_json(row.found_at),
        "statistic": row.statistic,
        "limit": row.limit,
        "looked_at": moment_json(row.looked_at),
        "looked_by": named_json(row.looked_by) if row.looked_by is not None else None,
        "finding": row.finding,
    }


def _look(values: Json, asker: Asker) -> Json:
    key = values.pop("drift")
    rows = access.visible_drifts(asker.viewer)
    found = rows.filter(pk=int(key)).first() if key.isascii() and key.isdigit() and len(key) < 16 else None
    if found is None:
        raise NotFound("There is no drift of that id.")
    access.require_role(asker.viewer, access.LOOKS_AT_DRIFTS, "say what a drift is")
    look_at_drift(drift=found, by=asker.by, **values)
    return drift_json(rows.get(pk=found.pk))


LOOK = Act(
    name="look_at_drift",
    summary="Note that somebody has looked at a crew or size that began to differ, and what was found.",
    record=Record(fields={"occurred_at": MomentField(), "finding": NoteField()}),
    request="DriftFinding",
    answer="RecoveryDrift",
    do=_look,
    status=200,
    names=("drift",),
)
ACTS = (LOOK,)
