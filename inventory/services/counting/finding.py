"""What a counter comes across that the sheet did not ask for: goods astray, a drum without label."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Max

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, CountSheet, CountSheetLine, LineCount, Material, Party, Place
from inventory.queries.company import get_company_party
from inventory.queries.holdings import list_bins
from inventory.services.counting.entering import Finding, take_down
from inventory.services.counting.plans import USUAL_RULES
from inventory.services.counting.sheets import SheetClosed, find_due_in
from inventory.services.documents import fingerprint_of, take_once
from inventory.services.lines import stored_quantity
from inventory.services.posting.keys import HeadKey, HoldingKey
from inventory.short_codes import make_short_code
from inventory.units import Amount

VESSELS = (Container.Kind.DRUM, Container.Kind.TOTE, Container.Kind.PAIL)


@dataclass(frozen=True)
class NewVessel:
    """A vessel that nobody knows: its label was lost or never made. Without a label its short code is one."""

    kind: str
    label: str = ""
    capacity: Amount | None = None
    tare_kg: float | None = None


@dataclass(frozen=True)
class Come:
    """Where something unlisted was found, of what and whose; in which vessel, known or new."""

    place: Place
    material: Material
    owner: Party | None = None
    container: Container | None = None
    vessel: NewVessel | None = None


def add_found(
    *, id: UUID, by: Actor, counted_at: datetime, sheet: CountSheet, come: Come, finding: Finding
) -> LineCount:
    """Add a line for something that the sheet did not ask for, and take down what was found of it.

    The line is judged like any other: what the book does not know there is a difference, to be counted again
    by somebody else and given a reason. A vessel without label is made at once, so that its label can be
    printed and stuck on; the book learns what is in it when the sheet is posted. The same again gives the
    first answer.

    Raises
    ------
    BadInput
        If it lies outside the sheet's place, is on the sheet already, or the vessel cannot be.
    SheetClosed
        If the sheet was posted or dropped.
    """
    fingerprint = fingerprint_of(sheet=sheet, counted_at=counted_at, come=vars(come), finding=vars(finding))

    def make() -> LineCount:
        standing = CountSheet.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
        if standing.state != CountSheet.State.OPEN:
            raise SheetClosed(f"{standing} was {standing.get_state_display()}; make another one.")
        owner = come.owner or (come.container.owner if come.container else get_company_party())
        _refuse_wrong(standing, come, owner)
        container = _make_vessel(id, come, owner) if come.vessel else come.container
        line = _add_line(standing, come, owner, container)
        return take_down(
            id=id,
            by=by,
            counted_at=counted_at,
            line=line,
            round_number=1,
            finding=finding,
            fingerprint=fingerprint,
        )

    return take_once(LineCount, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def _refuse_wrong(sheet: CountSheet, come: Come, owner: Party) -> None:
    faults = []
    if come.place.pk not in list_bins(sheet.place):
        faults.append(
            Fault("/place", come.place.code, f"lies outside {sheet.place}, which is what is counted")
        )
    if come.container is not None and come.vessel is not None:
        faults.append(Fault("/vessel", come.vessel.kind, "must be left out where a container is named"))
    if come.container is not None and come.container.owner_id != owner.pk:
        faults.append(Fault("/owner", str(owner), f"does not own {come.container}"))
    if come.vessel is not None:
        faults += _vessel_faults(come.vessel)
    if come.vessel is None:
        known = sheet.lines.filter(
            place=come.place, material=come.material, owner=owner, container=come.container
        ).first()
        if known is not None:
            faults.append(
                Fault("/material", str(come.material), f"is line {known.position} of this sheet; count that")
            )
    if faults:
        raise BadInput.of(faults)


def _vessel_faults(vessel: NewVessel) -> list[Fault]:
    faults = []
    if vessel.kind not in VESSELS:
        faults.append(Fault("/vessel/kind", vessel.kind, f"is none of: {', '.join(VESSELS)}"))
    if vessel.label and Container.objects.filter(label=vessel.label).exists():
        faults.append(
            Fault("/vessel/label", vessel.label, "is the label of a container; name it as container")
        )
    return faults


def _make_vessel(id: UUID, come: Come, owner: Party) -> Container:
    vessel = come.vessel
    assert vessel is not None
    capacity = vessel.capacity
    unit = come.material.stock_unit
    made = Container.objects.create(
        # Unique until the row has a number of its own.
        label=vessel.label or id.hex,
        kind=vessel.kind,
        material=come.material,
        owner=owner,
        place=come.place,
        state=Container.State.OPEN,
        capacity=None if capacity is None else stored_quantity(capacity, unit, pointer="/vessel/capacity"),
        tare_kg=vessel.tare_kg,
    )
    if not vessel.label:
        made.label = make_short_code(made.pk)
        made.save(update_fields=["label"])
    return made


def _add_line(sheet: CountSheet, come: Come, owner: Party, container: Container | None) -> CountSheetLine:
    last = sheet.lines.aggregate(last=Max("position"))["last"] or 0
    head = HeadKey(come.place.pk, come.material.pk, owner.pk)
    key = HoldingKey(head, container.pk if container else 0)
    known, usual = find_due_in(sheet.place).get(key.text()), USUAL_RULES[-1]
    return CountSheetLine.objects.create(
        sheet=sheet,
        position=last + 1,
        place=come.place,
        material=come.material,
        owner=owner,
        container=container,
        count_class=known.count_class if known else "",
        limit_share=known.rule.limit_share if known else usual.limit_share,
        limit_value=known.rule.limit_value if known else usual.limit_value,
        is_found=True,
    )
