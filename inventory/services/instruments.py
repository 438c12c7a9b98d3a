"""Instruments: registering, changing and withdrawing them, and writing their checks down."""

from datetime import date

from django.db import transaction

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Instrument, InstrumentCheck, Place
from inventory.models.instrument import UNITS_OF_KIND

TAG_LENGTH = 64


class InstrumentInUse(SpanstockError):
    """An instrument of that tag reads something else already."""

    code = "instrument_in_use"


class CheckConflict(SpanstockError):
    """The instrument was checked on that day with another outcome."""

    code = "check_conflict"


@transaction.atomic
def save_instrument(
    *,
    tag: str,
    kind: str,
    unit: str,
    resolution: float | None = None,
    accuracy_class: float | None = None,
    place: Place | None = None,
    is_withdrawn: bool = False,
) -> tuple[Instrument, bool]:
    """Register an instrument or change what is known of it, and say whether it is new.

    What it reads cannot change, since readings taken with it point at it; another instrument gets another
    tag.
    """
    _check(tag, kind, unit, resolution, accuracy_class)
    fields = {
        "kind": kind,
        "unit": unit,
        "resolution": resolution,
        "accuracy_class": accuracy_class,
        "place": place,
        "is_withdrawn": is_withdrawn,
    }
    standing = Instrument.objects.select_for_update().filter(tag=tag).first()
    if standing is None:
        return Instrument.objects.create(tag=tag, **fields), True
    if (standing.kind, standing.unit) != (kind, unit):
        raise InstrumentInUse(
            f"{tag} is a {standing.get_kind_display()} that reads {standing.unit}. "
            "Give the other instrument a tag of its own."
        )
    for name, value in fields.items():
        setattr(standing, name, value)
    standing.save()
    return standing, False


@transaction.atomic
def record_check(
    *,
    instrument: Instrument,
    checked_date: date,
    due_date: date,
    by: Actor,
    drift_fraction: float | None = None,
    note: str = "",
) -> tuple[InstrumentCheck, bool]:
    """Write a check down; the same one again changes nothing. Says whether it is new."""
    faults = []
    if due_date <= checked_date:
        faults.append(Fault("/due_date", str(due_date), f"must be after the check, {checked_date}"))
    if drift_fraction is not None and not -0.5 < drift_fraction < 0.5:
        message = "must lie between -0.5 and 0.5: an instrument further off is withdrawn"
        faults.append(Fault("/drift_fraction", str(drift_fraction), message))
    if faults:
        raise BadInput.of(faults)
    outcome = {"due_date": due_date, "drift_fraction": drift_fraction, "note": note}
    check, is_new = InstrumentCheck.objects.get_or_create(
        instrument=instrument, checked_date=checked_date, defaults={"by": by, **outcome}
    )
    if any(getattr(check, name) != value for name, value in outcome.items()):
        raise CheckConflict(
            f"{instrument} was checked on {checked_date} with another outcome. Checks are not changed; "
            "check it again on another day."
        )
    return check, is_new


def _check(tag: str, kind: str, unit: str, resolution: float | None, accuracy_class: float | None) -> None:
    faults = []
    if not tag.strip() or len(tag) > TAG_LENGTH or not tag.isprintable() or "/" in tag:
        message = f"is no tag; 1 to {TAG_LENGTH} characters that can be printed, without a slash"
        faults.append(Fault("/tag", tag, message))
    units = UNITS_OF_KIND.get(kind)
    if units is None:
        faults.append(Fault("/kind", kind, f"is no kind of instrument; use {', '.join(UNITS_OF_KIND)}"))
    elif unit not in units:
        faults.append(Fault("/unit", unit, f"is not read by a {kind}; use {', '.join(units)}"))
    if resolution is not None and not resolution > 0:
        faults.append(Fault("/resolution", str(resolution), "must be above 0; leave it out where unknown"))
    if accuracy_class is not None and not 0 < accuracy_class < 100:
        faults.append(
            Fault("/accuracy_class", str(accuracy_class), "must be a percentage above 0, below 100")
        )
    if faults:
        raise BadInput.of(faults)
