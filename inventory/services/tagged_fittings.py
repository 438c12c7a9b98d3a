"""The life of a tagged fitting: registered, approved, inspected, rigged, moved, withdrawn."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.db.models import F

from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import (
    Actor,
    FittingInspection,
    FittingRigging,
    Material,
    Place,
    Recipe,
    TaggedFitting,
    TaggedFittingPolicy,
)
from inventory.queries.tagged_fittings import age_days, get_tagged_fitting_policy, was_inspected

TAG_LENGTH = 40
State = TaggedFitting.State


class TagTaken(SpanstockError):
    """Another fitting carries that tag."""

    code = "tag_taken"


class InspectionDiffers(SpanstockError):
    """An inspection of that id says something else."""

    code = "inspection_differs"


@dataclass(frozen=True)
class Rigged:
    """One fitting as it was rigged, or a tag that nobody has registered."""

    tag: str
    fitting: TaggedFitting | None
    was_in_service: bool
    was_inspected: bool
    uses: int
    age_days: int
    policy: TaggedFittingPolicy


@transaction.atomic
def register_fitting(
    *,
    tag: str,
    material: Material,
    place: Place,
    made_by: str,
    checked_by: str,
    made_date: date,
    recipe: Recipe | None = None,
    uses: int = 0,
) -> TaggedFitting:
    """Put an adapted fitting on record; the same again gives the one that stands."""
    faults = _find_faults(tag, material, place, made_by, checked_by, uses)
    if faults:
        raise BadInput.of(faults)
    given = {
        "material": material,
        "recipe": recipe,
        "made_by": made_by.strip(),
        "checked_by": checked_by.strip(),
        "made_date": made_date,
    }
    fitting, is_new = TaggedFitting.objects.get_or_create(
        tag=tag, defaults={**given, "place": place, "uses": uses}
    )
    if not is_new and any(getattr(fitting, name) != value for name, value in given.items()):
        raise TagTaken(f"Tag {tag} is on another fitting already; give this one its own.")
    return fitting


@transaction.atomic
def approve_fitting_pressure(*, tag: str, pressure_kpa: float, by: Actor) -> TaggedFitting:
    """Note which pressure safety approved for one piece. Who may say so is decided at the door."""
    if not 0 < pressure_kpa < float("inf"):
        raise BadInput.of([Fault("/pressure", f"{pressure_kpa:g}", "must be above nothing")])
    fitting = _lock(tag)
    fitting.approved_pressure_kpa, fitting.approved_by = pressure_kpa, by
    fitting.save(update_fields=["approved_pressure_kpa", "approved_by"])
    return fitting


@transaction.atomic
def inspect_fitting(
    *, id: UUID, tag: str, is_passed: bool, by: Actor, occurred_at: datetime, note: str = ""
) -> FittingInspection:
    """Note an inspection, passed or not; the same again gives the first."""
    fitting = _lock(tag)
    given = {"fitting": fitting, "inspected_at": occurred_at, "is_passed": is_passed, "by": by}
    inspection, is_new = FittingInspection.objects.get_or_create(uuid=id, defaults={**given, "note": note})
    if not is_new and any(getattr(inspection, name) != value for name, value in given.items()):
        raise InspectionDiffers("An inspection of that id was noted with other content; make a new id.")
    return inspection


@transaction.atomic
def rig_fittings(*, tags: Sequence[str], by: Actor, occurred_at: datetime, reference: str) -> list[Rigged]:
    """Note that fittings were rigged, and say in which condition; what happened is never refused.

    Each counts as one use on this occasion, however often it is told. One that has reached the company's
    limit of uses is withdrawn with it.
    """
    policy = get_tagged_fitting_policy()
    rows = TaggedFitting.objects.select_for_update().filter(tag__in=tags).order_by("pk")
    known = {row.tag: row for row in rows}
    inspections = list(FittingInspection.objects.filter(fitting__in=known.values()))
    riggings = list(FittingRigging.objects.filter(fitting__in=known.values()))
    found = []
    for tag in dict.fromkeys(tags):
        fitting = known.get(tag)
        if fitting is None:
            found.append(Rigged(tag, None, False, False, 0, 0, policy))
            continue
        others = [r for r in riggings if r.fitting_id == fitting.pk and r.reference != reference]
        is_inspected = was_inspected(
            occurred_at, [row for row in inspections if row.fitting_id == fitting.pk], others, policy
        )
        was_in_service = _was_in_service(fitting, occurred_at)
        _count_use(fitting, by, occurred_at, reference, policy)
        age = age_days(fitting, occurred_at.date())
        found.append(Rigged(tag, fitting, was_in_service, is_inspected, fitting.uses, age, policy))
    return found


@transaction.atomic
def unrig_fittings(*, reference: str) -> int:
    """Take back what one occasion told: it was corrected. What was withdrawn stays withdrawn."""
    riggings = list(FittingRigging.objects.filter(reference=reference))
    keys = [row.fitting_id for row in riggings]
    TaggedFitting.objects.filter(pk__in=keys, uses__gt=0).update(uses=F("uses") - 1)
    FittingRigging.objects.filter(pk__in=[row.pk for row in riggings]).delete()
    return len(riggings)


@transaction.atomic
def move_fittings(*, tags: Iterable[str], place: Place) -> None:
    """Note where fittings lie now; their number in the book is moved by the entry that took them there."""
    TaggedFitting.objects.filter(tag__in=list(tags)).update(place=place)


@transaction.atomic
def hold_fitting(*, tag: str, is_held: bool) -> None:
    """Hold a fitting back from being planned, or give it free again."""
    TaggedFitting.objects.filter(tag=tag).update(is_held=is_held)


@transaction.atomic
def withdraw_fitting(*, tag: str, reason: str, occurred_at: datetime) -> TaggedFitting:
    """Take a fitting out of service for good; again, it changes nothing."""
    if not reason.strip():
        raise BadInput.of([Fault("/reason", reason, "says nothing; say why it is withdrawn")])
    fitting = _lock(tag)
    if fitting.state != State.WITHDRAWN:
        _withdraw(fitting, reason, occurred_at)
    return fitting


@transaction.atomic
def withdraw_past_limit(*, on_date: date, occurred_at: datetime) -> list[TaggedFitting]:
    """Withdraw what has reached the company's limit of uses or is older than its limit of age."""
    policy = get_tagged_fitting_policy()
    rows = TaggedFitting.objects.select_for_update().filter(state=State.IN_SERVICE).order_by("pk")
    past = [(row, why) for row in rows if (why := _why_past_limit(row, policy, on_date))]
    for fitting, why in past:
        _withdraw(fitting, why, occurred_at)
    return [fitting for fitting, _why in past]


@transaction.atomic
def set_fitting_limits(
    *, most_uses: int | None, longest_age_days: int | None, inspection_holds_days: int
) -> TaggedFittingPolicy:
    """Set up to when the company uses a tagged fitting; None sets no limit."""
    faults = [
        Fault(f"/{name}", str(value), "must be above nothing, or null for no limit")
        for name, value in (("most_uses", most_uses), ("longest_age_days", longest_age_days))
        if value is not None and value <= 0
    ]
    if inspection_holds_days < 0:
        faults.append(Fault("/inspection_holds_days", str(inspection_holds_days), "must not be negative"))
    if faults:
        raise BadInput.of(faults)
    values = {
        "most_uses": most_uses,
        "longest_age_days": longest_age_days,
        "inspection_holds_days": inspection_holds_days,
    }
    return TaggedFittingPolicy.objects.update_or_create(pk=1, defaults=values)[0]


def _find_faults(
    tag: str, material: Material, place: Place, made_by: str, checked_by: str, uses: int
) -> list[Fault]:
    faults = []
    if not tag.strip() or len(tag) > TAG_LENGTH or not tag.isprintable():
        faults.append(Fault("/tag", tag[:60], f"is no tag; 1 to {TAG_LENGTH} characters that can be printed"))
    if material.kind != Material.Kind.FITTING:
        faults.append(Fault("/material", material.code, "is no fitting"))
    if not place.is_stock:
        faults.append(Fault("/place", place.code, "is no place where goods are kept"))
    if not made_by.strip():
        faults.append(Fault("/made_by", made_by, "is empty; say who made it"))
    if not checked_by.strip() or checked_by.strip() == made_by.strip():
        faults.append(Fault("/checked_by", checked_by, "must name another than who made it"))
    if uses < 0:
        faults.append(Fault("/uses", str(uses), "must not be negative"))
    return faults


def _lock(tag: str) -> TaggedFitting:
    fitting = TaggedFitting.objects.select_for_update().filter(tag=tag).first()
    if fitting is None:
        raise NotFound("There is no fitting of that tag.")
    return fitting


def _was_in_service(fitting: TaggedFitting, at: datetime) -> bool:
    return fitting.withdrawn_at is None or fitting.withdrawn_at >= at


def _count_use(
    fitting: TaggedFitting, by: Actor, at: datetime, reference: str, policy: TaggedFittingPolicy
) -> None:
    _row, is_new = FittingRigging.objects.get_or_create(
        fitting=fitting, reference=reference, defaults={"rigged_at": at, "by": by}
    )
    if not is_new:
        return
    fitting.uses += 1
    fitting.save(update_fields=["uses"])
    why = _why_past_limit(fitting, policy, at.date())
    if why and fitting.state == State.IN_SERVICE:
        _withdraw(fitting, why, at)


def _why_past_limit(fitting: TaggedFitting, policy: TaggedFittingPolicy, on_date: date) -> str:
    if policy.most_uses is not None and fitting.uses >= policy.most_uses:
        return f"It was rigged {fitting.uses} times; the company's limit is {policy.most_uses}."
    age = age_days(fitting, on_date)
    if policy.longest_age_days is not None and age > policy.longest_age_days:
        return f"It is {age} days old; the company's limit is {policy.longest_age_days}."
    return ""


def _withdraw(fitting: TaggedFitting, why: str, at: datetime) -> None:
    fitting.state, fitting.withdrawn_at, fitting.withdrawn_why = State.WITHDRAWN, at, why[:300]
    fitting.save(update_fields=["state", "withdrawn_at", "withdrawn_why"])
