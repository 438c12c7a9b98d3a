"""Passing recovered fluid as fit for use: on a test within every limit, or untested for the same day."""

from datetime import datetime, timedelta
from uuid import UUID, uuid5

from django.db import transaction

from inventory.errors import SpanstockError
from inventory.models import (
    Actor,
    Container,
    FluidLimit,
    FluidPolicy,
    FluidRelease,
    FluidTest,
    Material,
    Movement,
)
from inventory.queries.company import get_day, get_day_end
from inventory.queries.fluid_history import get_history
from inventory.queries.parentage import find_destinations
from inventory.services.fluids.contents import (
    change_contents,
    get_recovered_contents,
    require_not_held,
    require_state,
    was_taken,
)
from inventory.services.posting import EntryConflict

State = Container.ContentsState
Basis = FluidRelease.Basis


class NoLimitApproved(SpanstockError):
    """No limit is approved for this fluid, so no test can show that it is fit for use."""

    code = "no_limit_approved"


class NotPassedByTest(SpanstockError):
    """The last test misses a limit, left one out, is too old, or something was poured in since."""

    code = "not_passed_by_test"


class ReuseNotAllowed(SpanstockError):
    """The company's policy does not let this fluid go in again untested."""

    code = "reuse_not_allowed"


@transaction.atomic
def release_tested(*, id: UUID, by: Actor, occurred_at: datetime, container: Container) -> FluidRelease:
    """Pass what is in a container as fit for use on its last test.

    Raises
    ------
    NoLimitApproved
        If no limit holds for the fluid: "no limit approved" is never "fit".
    NotPassedByTest
        If the test misses a limit, does not measure one, is too old, or the contents changed since.
    """
    if was_taken(by, id):
        return _get_again(id, container)
    material = get_recovered_contents(container)
    require_state(container, [State.TESTED], "passed as fit for use")
    require_not_held(container, "passed as fit for use")
    test = _get_passing_test(container, material, occurred_at)
    policy = FluidPolicy.objects.filter(material=material).first()
    days = policy.test_valid_days if policy else None
    return _release(
        id=id,
        by=by,
        occurred_at=occurred_at,
        container=container,
        test=test,
        uses=get_history(container).uses,
        ends_at=test.tested_at + timedelta(days=days) if days is not None else None,
    )


@transaction.atomic
def release_same_day(*, id: UUID, by: Actor, occurred_at: datetime, container: Container) -> FluidRelease:
    """Pass strained fluid untested for the day it came back on, as often as the policy allows.

    How often it went in already follows its pours back through vessels and spans. What was swept is wetter
    and dirtier and is never passed untested. The pass ends with the company's day.

    Raises
    ------
    ReuseNotAllowed
        If the policy does not allow it, or the fluid is of another day or went in too often.
    """
    if was_taken(by, id):
        return _get_again(id, container)
    material = get_recovered_contents(container)
    require_state(container, [State.STRAINED], "passed untested for the same day")
    require_not_held(container, "passed as fit for use")
    uses = _require_reusable(container, material, occurred_at)
    return _release(
        id=id,
        by=by,
        occurred_at=occurred_at,
        container=container,
        test=None,
        uses=uses,
        ends_at=get_day_end(occurred_at),
    )


def end_releases(*, by: Actor, now: datetime) -> int:
    """End the passes whose time is over: what is left of such fluid is strained fluid again.

    That holds for what it was poured into as well, where no other pass covers it. Safe to run twice.
    """
    due = FluidRelease.objects.filter(ends_at__lte=now, ended_at=None).select_related("container")
    ended = 0
    for release in due:
        ended += _end_release(release, by, now)
    return ended


@transaction.atomic
def _end_release(release: FluidRelease, by: Actor, now: datetime) -> bool:
    release = FluidRelease.objects.select_for_update().select_related("container").get(pk=release.pk)
    if release.ended_at is not None:
        return False
    reached = {release.container_id: release.container}
    for pour in find_destinations(release.container):
        is_later = pour.purpose == Movement.Purpose.POURED and pour.at >= release.released_at
        if pour.target_container is not None and is_later:
            reached[pour.target_container.pk] = pour.target_container
    covered = FluidRelease.objects.filter(container__in=reached, ended_at=None).exclude(pk=release.pk)
    others = set(covered.exclude(ends_at__lte=now).values_list("container", flat=True))
    stale = [
        box
        for box in Container.objects.filter(pk__in=set(reached) - others).order_by("pk")
        if box.contents_state == State.FIT
    ]
    if stale:
        change_contents(
            id=uuid5(release.entry.uuid, "the pass is over"),
            by=by,
            occurred_at=now,
            containers=stale,
            contents_state=State.STRAINED,
            reason="the pass as fit for use is over",
        )
    release.ended_at = now
    release.save(update_fields=["ended_at"])
    return True


def _release(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    container: Container,
    test: FluidTest | None,
    uses: int,
    ends_at: datetime | None,
) -> FluidRelease:
    basis = Basis.SAME_DAY if test is None else Basis.TESTED
    entry = change_contents(
        id=id,
        by=by,
        occurred_at=occurred_at,
        containers=[container],
        contents_state=State.FIT,
        reason=f"passed as fit for use: {basis.label}",
        document=test.document if test is not None else "",
    )
    return FluidRelease.objects.create(
        entry=entry,
        container=container,
        basis=basis,
        test=test,
        uses=uses,
        released_at=occurred_at,
        by=by,
        ends_at=ends_at,
    )


def _get_again(id: UUID, container: Container) -> FluidRelease:
    release = FluidRelease.objects.filter(entry__uuid=id, container=container).first()
    if release is None:
        raise EntryConflict(f"The id {id} was used for something else. Use a new one.")
    return release


def _get_passing_test(container: Container, material: Material, at: datetime) -> FluidTest:
    """The last test of what is in the container, if it keeps every limit that holds now."""
    limits = list(FluidLimit.objects.filter(material=material, withdrawn_at=None))
    if not limits:
        raise NoLimitApproved(f"No limit approved for {material}. The safety role sets them.")
    test = FluidTest.objects.filter(container=container, material=material).last()
    last_in_at = get_history(container).last_in_at
    if test is None or (last_in_at is not None and test.tested_at < last_in_at):
        raise NotPassedByTest(f"{container} has no test since it was last filled. Take a sample.")
    missed = _list_misses(test, limits)
    policy = FluidPolicy.objects.filter(material=material).first()
    days = policy.test_valid_days if policy is not None else None
    if days is not None and at > test.tested_at + timedelta(days=days):
        missed.append(f"the test is older than {days} days")
    if missed:
        raise NotPassedByTest(f"{container}: {'; '.join(missed)}. Treat and test it again, or spend it.")
    return test


def _list_misses(test: FluidTest, limits: list[FluidLimit]) -> list[str]:
    results = {row.measured: row for row in test.results.all()}
    missed = []
    for limit in limits:
        row = results.get(limit.measured)
        if row is None:
            missed.append(f"{limit.measured} was not measured")
            continue
        if limit.lowest is not None and row.value < limit.lowest:
            missed.append(f"{row} is below {limit.lowest:g}")
        if limit.highest is not None and row.value > limit.highest:
            missed.append(f"{row} is above {limit.highest:g}")
    return missed


def _require_reusable(container: Container, material: Material, at: datetime) -> int:
    """How often the fluid went in, if the policy lets it go in once more today."""
    policy = FluidPolicy.objects.filter(material=material).first()
    if policy is None or not policy.may_reuse_same_day:
        raise ReuseNotAllowed(f"The company does not let {material} be used again untested. Test it.")
    history = get_history(container)
    if history.kind == "swept":
        raise ReuseNotAllowed(f"Some of what is in {container} was swept out of a run. Test it.")
    first = history.first_back_at
    if first is None or get_day(first) != get_day(at):
        when = f"came back on {get_day(first)}" if first else "came back nobody knows when"
        raise ReuseNotAllowed(f"What is in {container} {when}, not today. Test it.")
    if history.uses > policy.most_uses:
        times = "time" if history.uses == 1 else "times"
        raise ReuseNotAllowed(
            f"What is in {container} went through a span {history.uses} {times}; untested it may do so "
            f"after at most {policy.most_uses}. Test it."
        )
    return history.uses
