"""Goods held back: what is held, where it went, which kits are short of it, and lifting."""

from collections.abc import Iterable

from api.wire.acts import Act, Asker, Json
from api.wire.amounts import quantity_json
from api.wire.answers import named_json, place_name_json
from api.wire.calculations.fields import Record, Schema
from api.wire.filters import Filter, by_text
from api.wire.input_fields import MomentField, NoteField, ReferenceField, UuidField, read_uuid
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import DAY, FLAG, MOMENT, TEXT, UUID, listing, nullable, of, shape, words
from inventory.errors import BadInput, Fault
from inventory.models import Container, Holding, Material, Quarantine, QuarantineHold
from inventory.queries.access import may_name, visible_containers
from inventory.queries.company import get_today
from inventory.queries.fluid_cautions import list_quarantine_cautions
from inventory.queries.holdings import list_contents
from inventory.queries.quarantine_reach import LooseGoods, Reach, UseReached, find_reach
from inventory.services.quarantining import lift_quarantine, open_quarantine
from jobs.models import CrewDay
from jobs.queries import fluid_access as access
from jobs.queries.access import WorkViewer, visible_crew_days
from jobs.queries.quarantine_kits import ShortKit, list_short_kits
from jobs.services.safety.roles import require_safety

BY_PK = Order("pk", is_number=True)
FILTERS: dict[str, Filter] = {
    "container": by_text("container__label", "label of the lot or container in doubt"),
}
COMPONENTS: dict[str, Schema] = {
    "Quarantine": shape(
        id=UUID,
        container=nullable(TEXT),
        reason=TEXT,
        opened_at=MOMENT,
        opened_by=of("Named"),
        caused_by=nullable(of("Named")),
        is_open=FLAG,
        lifted_at=nullable(MOMENT),
        lifted_by=nullable(of("Named")),
        lift_reason=TEXT,
    ),
    "HeldVessel": shape(
        label=TEXT,
        place=nullable(of("PlaceName")),
        state=words(Container.State),
        state_before=words(Container.State),
        contents=listing(of("VesselContent")),
    ),
    "GoodsReached": shape(
        place=of("PlaceName"),
        material=of("Named"),
        quantity=of("Quantity"),
        first_at=nullable(MOMENT),
    ),
    "ShortKit": shape(
        crew=of("Named"),
        date=DAY,
        state=words(CrewDay.State),
        title=TEXT,
        short=of("Quantity"),
        short_by_it=of("Quantity"),
        held=of("Quantity"),
        containers=listing(TEXT),
    ),
    "QuarantineReach": shape(
        quarantine=of("Quarantine"),
        held=listing(of("HeldVessel")),
        went_into=listing(of("GoodsReached")),
        lies_loose=listing(of("GoodsReached")),
        has_left=listing(of("GoodsReached")),
        short_kits=listing(of("ShortKit")),
        cautions=listing(TEXT),
    ),
}


def quarantines_json(rows: Iterable[Quarantine], viewer: WorkViewer) -> list[Json]:
    """Quarantines; a container that the viewer does not see is left unnamed."""
    found = list(rows)
    keys = {row.container_id for row in found}
    seen = set(visible_containers(viewer).filter(pk__in=keys).values_list("pk", flat=True))
    return [_quarantine_json(row, is_named=row.container_id in seen) for row in found]


def _quarantine_json(row: Quarantine, *, is_named: bool) -> Json:
    return {
        "id": str(row.uuid),
        "container": row.container.label if is_named else None,
        "reason": row.reason,
        "opened_at": moment_json(row.opened_at),
        "opened_by": named_json(row.opened_by),
        "caused_by": named_json(row.caused_by) if row.caused_by is not None else None,
        "is_open": row.is_open,
        "lifted_at": moment_json(row.lifted_at),
        "lifted_by": named_json(row.lifted_by) if row.lifted_by is not None else None,
        "lift_reason": row.lift_reason,
    }


def quarantine_json(row: Quarantine, viewer: WorkViewer) -> Json:
    """One quarantine with all it reaches, as far as the viewer sees it."""
    reach = find_reach(row.container)
    holds = list(
        row.holds.filter(container__in=visible_containers(viewer))
        .select_related("container__place")
        .order_by("container__label")
    )
    contents = list_contents([hold.container for hold in holds])
    kits = list_short_kits(row, visible_crew_days(viewer), as_of=get_today())
    return {
        "quarantine": quarantines_json([row], viewer)[0],
        "held": [_held_json(hold, contents[hold.container_id]) for hold in holds],
        "went_into": [_reached_json(use) for use in reach.uses.values() if may_name(viewer, use.place)],
        "lies_loose": [_loose_json(part) for part in reach.loose if may_name(viewer, part.place)],
        "has_left": [_reached_json(part) for part in reach.left if may_name(viewer, part.place)],
        "short_kits": [_short_kit_json(kit) for kit in kits],
        "cautions": list_quarantine_cautions(_materials(reach, contents.values())),
    }


def _materials(reach: Reach, contents: Iterable[Iterable[Holding]]) -> list[Material]:
    found = [part.material for rows in contents for part in rows]
    return [*found, *(part.material for part in reach.loose)]


def _held_json(hold: QuarantineHold, contents: Iterable[Holding]) -> Json:
    box = hold.container
    return {
        "label": box.label,
        "place": place_name_json(box.place) if box.place is not None else None,
        "state": box.state,
        "state_before": hold.state_before,
        "contents": [
            {
                "material": named_json(part.material),
                "quantity": quantity_json(part.quantity, part.material.stock_unit),
            }
            for part in contents
        ],
    }


def _reached_json(part: UseReached) -> Json:
    return {
        "place": place_name_json(part.place),
        "material": named_json(part.material),
        "quantity": quantity_json(part.quantity, part.material.stock_unit),
        "first_at": moment_json(part.first_at),
    }


def _loose_json(part: LooseGoods) -> Json:
    return {
        "place": place_name_json(part.place),
        "material": named_json(part.material),
        "quantity": quantity_json(part.quantity, part.material.stock_unit),
        "first_at": None,
    }


def _short_kit_json(kit: ShortKit) -> Json:
    day, unit = kit.crew_day, kit.line.unit
    return {
        "crew": {"code": day.crew.code, "name": day.crew.name},
        "date": day.date.isoformat(),
        "state": day.state,
        "title": kit.line.title,
        "short": quantity_json(kit.line.short, unit),
        "short_by_it": quantity_json(kit.short_by_it, unit),
        "held": quantity_json(kit.held, unit),
        "containers": kit.containers,
    }


def _hold(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.HOLDS_GOODS, "hold goods back")
    code = values.pop("caused_by")
    caused_by = access.nameable_actors(asker.viewer).filter(code=code).first() if code else None
    if code and caused_by is None:
        raise BadInput.of([Fault("/caused_by", code, "there is nobody of that code whom you may name")])
    made = open_quarantine(by=asker.by, caused_by=caused_by, **values)
    return quarantine_json(access.get_visible_quarantine(asker.viewer, made.uuid), asker.viewer)


def _lift(values: Json, asker: Asker) -> Json:
    found = access.get_visible_quarantine(asker.viewer, read_uuid(values.pop("quarantine")))
    require_safety(asker.viewer.role)
    lifted = lift_quarantine(by=asker.by, quarantine=found, **values)
    return quarantine_json(access.get_visible_quarantine(asker.viewer, lifted.uuid), asker.viewer)


HOLD = Act(
    name="open_quarantine",
    summary="Hold a lot or container back, with all that was poured from it, by then and later.",
    record=Record(
        fields={
            "id": UuidField(),
            "occurred_at": MomentField(),
            "container": ReferenceField(noun="container"),
            "reason": NoteField(),
            "caused_by": NoteField(longest=64, default="", about="code of whoever caused it; never lifts it"),
        }
    ),
    request="QuarantineRequest",
    answer="QuarantineReach",
    do=_hold,
)
LIFT = Act(
    name="lift_quarantine",
    summary="Give free what no other quarantine holds, by safety, never by whoever caused it.",
    record=Record(fields={"id": UuidField(), "occurred_at": MomentField(), "reason": NoteField()}),
    request="QuarantineLift",
    answer="QuarantineReach",
    do=_lift,
    status=200,
    names=("quarantine",),
)
ACTS = (HOLD, LIFT)
