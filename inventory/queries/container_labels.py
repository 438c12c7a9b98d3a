"""What is to be read off a container, as its label says it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from inventory.models import Container, Holding, Material, WasteDrum
from inventory.queries.company import get_company
from inventory.queries.fluid_cautions import list_label_cautions
from inventory.short_codes import make_short_code

EMPTY = "empty"
FRESH_STATES = frozenset({Container.ContentsState.FRESH, Container.ContentsState.FIT})


@dataclass(frozen=True)
class ContainerLabel:
    """One label. `says` names what kind of goods it is, `dated` what its date means.

    Capacity in millionths of `unit`; the owner where that is not the company. Cautions are short and never
    permit anything.
    """

    short_code: str
    name: str
    kind: str
    says: str
    contents: tuple[str, ...]
    lot: str
    capacity: int | None
    unit: str
    on_date: date | None
    dated: str
    best_before: date | None
    owner: str
    is_hazardous: bool
    cautions: tuple[str, ...]


def make_labels(containers: Sequence[Container]) -> list[ContainerLabel]:
    """The labels of some containers in their order; the number of queries does not grow with them."""
    held = _contents(containers)
    drums = WasteDrum.objects.filter(container__in=containers, manifest=None)
    waste = dict(drums.values_list("container_id", "started_date"))
    zone = ZoneInfo(get_company().time_zone)
    return [_make_label(row, held.get(row.pk, []), waste.get(row.pk), zone) for row in containers]


def _contents(containers: Sequence[Container]) -> dict[int, list[Material]]:
    found: dict[int, list[Material]] = defaultdict(list)
    rows = Holding.objects.filter(container__in=containers, quantity__gt=0).select_related("material")
    for row in rows.order_by("material__name", "pk"):
        if row.container_id is not None and row.material not in found[row.container_id]:
            found[row.container_id].append(row.material)
    return found


def _make_label(
    container: Container, held: list[Material], waste_since: date | None, zone: ZoneInfo
) -> ContainerLabel:
    materials = held or ([container.material] if container.material else [])
    is_waste = waste_since is not None
    is_recovered = any(material.recovered_from_id for material in held)
    is_hazardous = any(material.is_hazardous for material in materials)
    received = container.received_at.astimezone(zone).date() if container.received_at else None
    return ContainerLabel(
        short_code=make_short_code(container.pk),
        name=container.label,
        kind=container.get_kind_display(),
        says=_say(container, held, is_waste=is_waste, is_recovered=is_recovered),
        contents=tuple(material.name for material in materials) or (EMPTY,),
        lot=container.filled_from.label if container.filled_from else "",
        capacity=container.capacity,
        unit=container.measure_unit,
        on_date=waste_since or received,
        dated="waste since" if is_waste else "received",
        best_before=container.best_before_date,
        owner="" if container.owner.is_company else container.owner.name,
        is_hazardous=is_hazardous,
        cautions=tuple(list_label_cautions(materials, is_waste=is_waste, is_vessel=_is_vessel(container))),
    )


def _say(container: Container, held: list[Material], *, is_waste: bool, is_recovered: bool) -> str:
    """What is most needed to be known of it, in a word or two."""
    if container.state == Container.State.HELD:
        return "held back, not to be used"
    if is_waste:
        return "waste"
    if is_recovered:
        return f"recovered, {container.get_contents_state_display()}"
    if held and container.contents_state not in FRESH_STATES:
        return container.get_contents_state_display()
    return ""


def _is_vessel(container: Container) -> bool:
    return container.kind not in {Container.Kind.LOT, Container.Kind.REEL}
