"""Waste: vessels that gather it, until when they must go, and handing them over under a manifest."""

from collections.abc import Iterable, Sequence

from api.wire.acts import Act, Asker, Json
from api.wire.amounts import quantity_json
from api.wire.answers import named_json, place_name_json
from api.wire.calculations.fields import Flag, Limits, Listing, Record, Schema, Whole
from api.wire.entry_requests import MOST_LINES
from api.wire.filters import Filter, by_text
from api.wire.input_fields import MomentField, NoteField, ReferenceField, UuidField
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import DAY, MOMENT, TEXT, UUID, WHOLE, listing, nullable, of, shape
from inventory.models import Holding, WasteManifest
from inventory.queries.company import get_today
from inventory.queries.fluid_cautions import NO_LIMIT, list_waste_cautions
from inventory.queries.holdings import list_contents
from inventory.queries.recovered_fluid import WasteDue, list_waste_due, make_waste_due
from inventory.services.waste import hand_over_waste, start_waste_drum
from jobs.queries import fluid_access as access
from jobs.queries.access import WorkViewer
from jobs.queries.field_waste import FieldWaste, find_field_waste
from jobs.services.safety.roles import SAFETY, require_safety

BY_PK = Order("pk", is_number=True)
BOX = ReferenceField(noun="container")
MANIFEST_FILTERS: dict[str, Filter] = {"number": by_text("number", "number of the manifest")}
COMPONENTS: dict[str, Schema] = {
    "WasteDrum": shape(
        container=TEXT,
        place=nullable(of("PlaceName")),
        contents=listing(of("VesselContent")),
        started_date=DAY,
        started_by=of("Named"),
        day_limit=nullable(WHOLE),
        due_date=nullable(DAY),
        days_left=nullable(WHOLE),
        remark=TEXT,
        cautions=listing(TEXT),
    ),
    "WasteGoods": shape(container=nullable(TEXT), material=of("Named"), quantity=of("Quantity")),
    "WasteManifest": shape(
        id=nullable(UUID),
        number=TEXT,
        receiver=TEXT,
        handed_at=MOMENT,
        by=of("Named"),
        goods=listing(of("WasteGoods")),
        cautions=listing(TEXT),
    ),
}


def waste_due_json(viewer: WorkViewer) -> list[Json]:
    """Vessels that gather waste now, the most pressing first."""
    return _drums_json(list_waste_due(access.visible_waste_drums(viewer), on_date=get_today()))


def _drums_json(rows: Sequence[WasteDue]) -> list[Json]:
    contents = list_contents([row.drum.container for row in rows])
    return [_drum_json(row, contents[row.drum.container_id]) for row in rows]


def _drum_json(row: WasteDue, contents: Iterable[Holding]) -> Json:
    drum, held = row.drum, list(contents)
    place = drum.container.place
    return {
        "container": drum.container.label,
        "place": place_name_json(place) if place is not None else None,
        "contents": [
            {
                "material": named_json(part.material),
                "quantity": quantity_json(part.quantity, part.material.stock_unit),
            }
            for part in held
        ],
        "started_date": drum.started_date.isoformat(),
        "started_by": named_json(drum.started_by),
        "day_limit": drum.day_limit,
        "due_date": row.due_date.isoformat() if row.due_date is not None else None,
        "days_left": row.days_left,
        "remark": _remark(row),
        "cautions": list_waste_cautions([part.material for part in held]),
    }


def _remark(row: WasteDue) -> str:
    if row.days_left is None:
        return NO_LIMIT
    if row.days_left < 0:
        return f"{-row.days_left} days past its limit: it must go today."
    return "It must go today." if row.days_left == 0 else ""


def manifests_json(rows: Iterable[WasteManifest]) -> list[Json]:
    """Manifests with what went under them; their entries' movements are loaded with them."""
    found = list(rows)
    told = find_field_waste({row.number for row in found})
    return [_manifest_json(row, told.get(row.number, [])) for row in found]


def _manifest_json(row: WasteManifest, told: Iterable[FieldWaste]) -> Json:
    moved = row.entry.movements.all() if row.entry is not None else ()
    goods = [(line.source_container, line.material, line.quantity) for line in moved]
    goods += [(part.container, part.material, part.quantity) for part in told]
    return {
        "id": str(row.entry.uuid) if row.entry is not None else None,
        "number": row.number,
        "receiver": row.receiver,
        "handed_at": moment_json(row.handed_at),
        "by": named_json(row.by),
        "goods": [
            {
                "container": box.label if box is not None else None,
                "material": named_json(material),
                "quantity": quantity_json(quantity, material.stock_unit),
            }
            for box, material, quantity in goods
        ],
        "cautions": list_waste_cautions([material for _box, material, _quantity in goods]),
    }


def _start(values: Json, asker: Asker) -> Json:
    viewer, box = asker.viewer, values["container"]
    if values["day_limit"] is not None:
        require_safety(viewer.role)
    elif viewer.role != SAFETY:
        access.require_may_handle(viewer, [box])
    drum = start_waste_drum(by=asker.by, **values)
    found = access.visible_waste_drums(viewer).get(pk=drum.pk)
    return _drums_json([make_waste_due(found, get_today())])[0]


def _hand_over(values: Json, asker: Asker) -> Json:
    access.require_may_hand_over(asker.viewer, values["containers"])
    made = hand_over_waste(by=asker.by, **values)
    return manifests_json(access.with_goods(WasteManifest.objects.filter(pk=made.pk)))[0]


START = Act(
    name="start_waste_drum",
    summary="Let a vessel gather waste from that day on. How many days it may stand is set by safety only.",
    record=Record(
        fields={
            "occurred_at": MomentField(),
            "container": BOX,
            "day_limit": Whole(
                limits=Limits(least=1, most=10_000), default=None, may_be_null=True, about="by safety only"
            ),
        }
    ),
    request="WasteDrumRequest",
    answer="WasteDrum",
    do=_start,
)
HAND_OVER = Act(
    name="hand_over_waste",
    summary="Hand over all that these vessels hold under a manifest, whose number is used once.",
    record=Record(
        fields={
            "id": UuidField(),
            "occurred_at": MomentField(),
            "containers": Listing(item=BOX, most=MOST_LINES, default=[]),
            "number": NoteField(longest=100, about="of the manifest"),
            "receiver": NoteField(longest=200),
            "target": ReferenceField(noun="place", default=None, may_be_null=True),
            "keeps_vessels": Flag(default=False, about="whether only the contents go"),
            "reason": NoteField(default=""),
        }
    ),
    request="WasteHandoverRequest",
    answer="WasteManifest",
    do=_hand_over,
)
ACTS = (START, HAND_OVER)
