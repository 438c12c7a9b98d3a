"""Which tagged fittings may still be planned, and whether an inspection held when one was rigged."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q

from inventory.errors import NotFound
from inventory.models import FittingInspection, FittingRigging, Place, TaggedFitting, TaggedFittingPolicy


@dataclass(frozen=True)
class UsableFitting:
    """A fitting that may be planned. `uses_left` and `days_left` are None where the company has no limit.

    `needs_inspection`: no inspection that it passed holds until it is rigged, so one comes first.
    """

    fitting: TaggedFitting
    uses_left: int | None
    days_left: int | None
    needs_inspection: bool

    @property
    def approved_pressure_kpa(self) -> float | None:
        """What safety approved for this piece; None stands for no limit approved."""
        return self.fitting.approved_pressure_kpa


def get_tagged_fitting(tag: str) -> TaggedFitting:
    found = TaggedFitting.objects.select_related("material", "recipe", "place", "approved_by")
    fitting = found.filter(tag=tag).first()
    if fitting is None:
        raise NotFound("There is no fitting of that tag.")
    return fitting


def get_tagged_fitting_policy() -> TaggedFittingPolicy:
    """The company's limits, or none where nobody has set any."""
    return TaggedFittingPolicy.objects.filter(pk=1).first() or TaggedFittingPolicy(pk=1)


def list_usable_tagged_fittings(place: Place, on_date: date) -> list[UsableFitting]:
    """Fittings in a place or a part of it that may be rigged on a day, the most used first."""
    return find_usable_tagged_fittings([place], on_date)[place.pk]


def find_usable_tagged_fittings(places: Iterable[Place], on_date: date) -> dict[int, list[UsableFitting]]:
    """The same for many places at once, by the key of each place.

    Left out is what is withdrawn, held back, at the company's limit of uses, past its limit of age on that
    day, not made yet, or failed its last inspection. The most used come first, so that one set wears out
    after another and not all at once.
    """
    keys = {place.pk for place in places}
    fittings = TaggedFitting.objects.filter(
        Q(place__in=keys) | Q(place__parent__in=keys),
        state=TaggedFitting.State.IN_SERVICE,
        is_held=False,
        made_date__lte=on_date,
    ).select_related("material", "recipe", "place")
    policy = get_tagged_fitting_policy()
    ordered = list(fittings.order_by("-uses", "tag"))
    last, rigged = _last_inspections(ordered), _last_riggings(ordered)
    found: dict[int, list[UsableFitting]] = {key: [] for key in keys}
    for fitting in ordered:
        usable = _as_usable(fitting, policy, on_date, last.get(fitting.pk), rigged.get(fitting.pk))
        if usable is not None:
            for key in keys & {fitting.place_id, fitting.place.parent_id or 0}:
                found[key].append(usable)
    return found


def age_days(fitting: TaggedFitting, on_date: date) -> int:
    """Days since it was made."""
    return (on_date - fitting.made_date).days


def was_inspected(
    rigged_at: datetime,
    inspections: Iterable[FittingInspection],
    riggings: Iterable[FittingRigging],
    policy: TaggedFittingPolicy,
) -> bool:
    """Whether the last inspection before a rigging was passed, recent, and not used up by another rigging.

    All are those of one fitting; what happened is told by the moments, since reports come late.
    """
    before = [row for row in inspections if row.inspected_at <= rigged_at]
    last = max(before, key=lambda row: (row.inspected_at, row.pk), default=None)
    if last is None or not last.is_passed:
        return False
    if rigged_at - last.inspected_at > timedelta(days=policy.inspection_holds_days):
        return False
    return not any(last.inspected_at <= row.rigged_at < rigged_at for row in riggings)


def _as_usable(
    fitting: TaggedFitting,
    policy: TaggedFittingPolicy,
    on_date: date,
    inspection: FittingInspection | None,
    last_rigged_at: datetime | None,
) -> UsableFitting | None:
    uses_left = None if policy.most_uses is None else policy.most_uses - fitting.uses
    limit = policy.longest_age_days
    days_left = None if limit is None else limit - age_days(fitting, on_date)
    if uses_left is not None and uses_left <= 0:
        return None
    if days_left is not None and days_left < 0:
        return None
    if inspection is not None and not inspection.is_passed:
        return None
    return UsableFitting(
        fitting, uses_left, days_left, not _holds(inspection, last_rigged_at, policy, on_date)
    )


def _holds(
    inspection: FittingInspection | None,
    last_rigged_at: datetime | None,
    policy: TaggedFittingPolicy,
    on_date: date,
) -> bool:
    if inspection is None or (last_rigged_at is not None and last_rigged_at >= inspection.inspected_at):
        return False
    return (on_date - inspection.inspected_at.date()).days <= policy.inspection_holds_days


def _last_inspections(fittings: list[TaggedFitting]) -> dict[int, FittingInspection]:
    rows = FittingInspection.objects.filter(fitting__in=fittings)
    return {row.fitting_id: row for row in rows.order_by("inspected_at", "pk")}


def _last_riggings(fittings: list[TaggedFitting]) -> dict[int, datetime]:
    rows = FittingRigging.objects.filter(fitting__in=fittings).order_by("rigged_at", "pk")
    return dict(rows.values_list("fitting", "rigged_at"))
