"""Fluid becomes fit by a test within every limit, or for the same day where the policy lets it."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Entry, FluidLimit, FluidRelease, FluidTest
from inventory.queries.fluid_history import get_history
from inventory.services.fluids.contents import WrongContents
from inventory.services.fluids.limits import Bounds, set_fluid_limit, set_fluid_policy, withdraw_fluid_limit
from inventory.services.fluids.releasing import (
    NoLimitApproved,
    NotPassedByTest,
    ReuseNotAllowed,
    end_releases,
    release_same_day,
    release_tested,
)
from inventory.services.fluids.spending import spend
from inventory.services.fluids.straining import strain
from inventory.services.fluids.testing import Measured, record_test
from inventory.services.goods import draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import ContainerWish, End, EntryConflict, FluidNotFit, Posting, post
from tests.factories.fluids import SWEPT, allow_same_day, approve_limits, catch, inject, make_vessel, pour
from tests.factories.inventory import World, at, gal

pytestmark = pytest.mark.django_db
GOOD = (Measured("pH", 8.1), Measured("solids", 150.0, "mg/L"))


def state_of(box: Container) -> str:
    box.refresh_from_db()
    return box.contents_state


def take_sample(world: World, box: Container, *results: Measured, hours: float = 4) -> FluidTest:
    return record_test(
        id=uuid4(), by=world.actor, occurred_at=at(hours), container=box, results=results or GOOD
    )


def make_strained(world: World, box: Container, *, hours: float = 3) -> None:
    box.refresh_from_db()
    held = box.holdings.get(quantity__gt=0).quantity // 1_000_000
    strain(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(hours),
        source=box,
        target=box,
        taken=gal(held),
        strained=gal(held),
    )


def pass_tested(world: World, box: Container, *, hours: float = 5) -> FluidRelease:
    return release_tested(id=uuid4(), by=world.actor, occurred_at=at(hours), container=box)


def pass_untested(world: World, box: Container, *, hours: float = 5) -> FluidRelease:
    return release_same_day(id=uuid4(), by=world.actor, occurred_at=at(hours), container=box)


def test_release_tested_passes_what_keeps_every_limit(world: World, caught: Container) -> None:
    approve_limits(world)
    test = take_sample(world, caught)
    assert state_of(caught) == "tested"
    release = pass_tested(world, caught)
    assert state_of(caught) == "fit"
    assert (release.basis, release.test, release.uses) == ("tested", test, 1)


def test_release_tested_without_a_limit_is_never_fit(world: World, caught: Container) -> None:
    test = take_sample(world, caught)
    assert [row.is_within for row in test.results.all()] == [False, False]
    with pytest.raises(NoLimitApproved, match="No limit approved"):
        pass_tested(world, caught)
    assert state_of(caught) == "tested"


@pytest.mark.parametrize(
    ("results", "complaint"),
    [
        ([Measured("pH", 6.9), GOOD[1]], "pH 6.9  is below 7"),
        ([GOOD[0], Measured("solids", 200.5, "mg/L")], "solids 200.5 mg/L is above 200"),
        ([GOOD[0]], "solids was not measured"),
    ],
)
def test_release_tested_names_the_limit_that_is_missed(
    world: World, caught: Container, results: list[Measured], complaint: str
) -> None:
    approve_limits(world)
    take_sample(world, caught, *results)
    with pytest.raises(NotPassedByTest, match=complaint):
        pass_tested(world, caught)


def test_release_tested_takes_the_last_test_and_the_limits_of_now(world: World, caught: Container) -> None:
    approve_limits(world)
    take_sample(world, caught, hours=4)
    take_sample(world, caught, Measured("pH", 5.0), GOOD[1], hours=4.5)
    with pytest.raises(NotPassedByTest, match="below 7"):
        pass_tested(world, caught)
    set_fluid_limit(
        material=world.recovered,
        measured="pH",
        unit="",
        bounds=Bounds(4.0),
        by=world.actor,
        occurred_at=at(4.7),
    )
    pass_tested(world, caught)
    assert state_of(caught) == "fit"


def test_release_tested_does_not_speak_for_what_was_poured_in_since(world: World, caught: Container) -> None:
    approve_limits(world)
    take_sample(world, caught)
    other = make_vessel(world, "C2")
    catch(world, other, 5, hours=4.2)
    take_sample(world, other, hours=4.3)
    pour(world, other, caught, 5, hours=4.5)
    assert state_of(caught) == "tested"
    with pytest.raises(NotPassedByTest, match="since it was last filled"):
        pass_tested(world, caught)


def test_release_tested_ends_with_the_test(world: World, caught: Container) -> None:
    approve_limits(world)
    set_fluid_policy(material=world.recovered, may_reuse_same_day=False, most_uses=1, test_valid_days=3)
    take_sample(world, caught)
    with pytest.raises(NotPassedByTest, match="older than 3 days"):
        pass_tested(world, caught, hours=4 + 73)
    release = pass_tested(world, caught)
    assert release.ends_at == at(4 + 72)
    assert end_releases(by=world.actor, now=at(4 + 71)) == 0
    assert end_releases(by=world.actor, now=at(4 + 72)) == 1
    assert state_of(caught) == "strained"


def test_record_test_refuses_what_says_nothing(world: World, caught: Container) -> None:
    approve_limits(world)
    for results, complaint in (
        ([], "at least one"),
        ([Measured("pH", float("nan"))], "must be a number"),
        ([Measured("pH", 8.0), Measured("pH", 8.1)], "named twice"),
        ([Measured("solids", 0.15, "g/L")], "must be mg/L"),
    ):
        with pytest.raises(BadInput, match=complaint):
            record_test(id=uuid4(), by=world.actor, occurred_at=at(4), container=caught, results=results)
    assert state_of(caught) == "caught"
    assert not FluidTest.objects.exists()


def test_record_test_sent_again_is_taken_once(world: World, caught: Container) -> None:
    approve_limits(world)
    id = uuid4()
    common = {"id": id, "by": world.actor, "occurred_at": at(4), "container": caught}
    first, second = (record_test(results=GOOD, **common) for _time in range(2))
    assert first == second
    pass_tested(world, caught)
    assert record_test(results=GOOD, **common) == first
    with pytest.raises(EntryConflict):
        record_test(results=GOOD[:1], **common)


def test_set_fluid_limit_keeps_what_held_before(world: World) -> None:
    approve_limits(world)
    approve_limits(world)
    assert FluidLimit.objects.count() == 2
    narrow = set_fluid_limit(
        material=world.recovered,
        measured="pH",
        unit="",
        bounds=Bounds(7.5, 9.0),
        by=world.actor,
        occurred_at=at(1),
    )
    assert FluidLimit.objects.filter(measured="pH").count() == 2
    withdraw_fluid_limit(limit=narrow, occurred_at=at(2))
    assert not FluidLimit.objects.filter(measured="pH", withdrawn_at=None).exists()
    for bounds in (Bounds(), Bounds(9.0, 7.0), Bounds(float("inf"))):
        with pytest.raises(BadInput):
            set_fluid_limit(
                material=world.recovered,
                measured="pH",
                unit="",
                bounds=bounds,
                by=world.actor,
                occurred_at=at(3),
            )
    with pytest.raises(BadInput, match="not the recovered form"):
        set_fluid_limit(
            material=world.fluid,
            measured="pH",
            unit="",
            bounds=Bounds(1.0),
            by=world.actor,
            occurred_at=at(3),
        )


def test_release_same_day_needs_the_policy(world: World, caught: Container) -> None:
    make_strained(world, caught)
    with pytest.raises(ReuseNotAllowed, match="does not let"):
        pass_untested(world, caught)
    allow_same_day(world)
    release = pass_untested(world, caught)
    assert (release.basis, release.uses, release.test) == ("same_day", 1, None)
    assert state_of(caught) == "fit"


def test_release_same_day_counts_every_time_through_a_span(world: World, caught: Container) -> None:
    allow_same_day(world, most_uses=2)
    make_strained(world, caught)
    pass_untested(world, caught, hours=3.5)
    inject(world, caught, 15, hours=4, material=world.recovered)
    # By way of another vessel, so that the count has a pour to follow.
    pail, again = make_vessel(world, "P1"), make_vessel(world, "C2")
    catch(world, pail, 12, hours=5, injected=world.recovered)
    pour(world, pail, again, 10, hours=5.2)
    make_strained(world, again, hours=5.5)
    assert pass_untested(world, again, hours=5.6).uses == 2
    inject(world, again, 9, hours=6, material=world.recovered)
    third = make_vessel(world, "C3")
    catch(world, third, 8, hours=7, injected=world.recovered)
    make_strained(world, third, hours=7.5)
    with pytest.raises(ReuseNotAllowed, match="3 times; untested it may do so after at most 2"):
        pass_untested(world, third, hours=7.6)


def test_release_same_day_is_over_with_the_companys_day(world: World, caught: Container) -> None:
    allow_same_day(world)
    make_strained(world, caught)
    # Eight in the morning UTC is two at night in Chicago: the company's day ends at 6:00 UTC tomorrow.
    release = pass_untested(world, caught, hours=5)
    assert release.ends_at == at(22)
    pail = make_vessel(world, "P1")
    pour(world, caught, pail, 5, hours=6)
    assert state_of(pail) == "fit"
    assert end_releases(by=world.actor, now=at(21.9)) == 0
    assert end_releases(by=world.actor, now=at(22.1)) == 1
    assert (state_of(caught), state_of(pail)) == ("strained", "strained")
    assert end_releases(by=world.actor, now=at(23)) == 0


def test_release_same_day_refuses_fluid_of_yesterday_and_what_was_swept(
    world: World, caught: Container
) -> None:
    allow_same_day(world)
    make_strained(world, caught)
    with pytest.raises(ReuseNotAllowed, match="came back on 2026-03-02, not today"):
        pass_untested(world, caught, hours=24)
    sweep = make_vessel(world, "S1")
    catch(world, sweep, 10, hours=3, kind=SWEPT)
    make_strained(world, sweep)
    with pytest.raises(ReuseNotAllowed, match="swept out of a run"):
        pass_untested(world, sweep)


def test_release_needs_the_state_before_it_and_no_hold(world: World, caught: Container) -> None:
    approve_limits(world)
    allow_same_day(world)
    with pytest.raises(WrongContents, match="is caught; only what is strained"):
        pass_untested(world, caught)
    with pytest.raises(WrongContents, match="only what is tested"):
        pass_tested(world, caught)
    take_sample(world, caught)
    Container.objects.filter(pk=caught.pk).update(state="held")
    with pytest.raises(WrongContents, match="held back"):
        pass_tested(world, caught)


def test_release_sent_again_gives_the_first(world: World, caught: Container) -> None:
    approve_limits(world)
    take_sample(world, caught)
    id = uuid4()
    found = {
        release_tested(id=id, by=world.actor, occurred_at=at(5), container=caught).pk for _time in range(2)
    }
    assert len(found) == 1
    with pytest.raises(EntryConflict):
        release_same_day(id=id, by=world.actor, occurred_at=at(5), container=make_vessel(world, "X"))


def test_only_fit_fluid_is_drawn_as_a_plan(world: World, caught: Container) -> None:
    approve_limits(world)
    line = Line(world.recovered, gal(2), End(world.warehouse, caught), End(world.span))
    with pytest.raises(FluidNotFit, match="is caught and not passed"):
        draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[line])
    # What has happened is taken all the same.
    draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[line], as_report=True)
    take_sample(world, caught)
    pass_tested(world, caught)
    draw(id=uuid4(), by=world.actor, occurred_at=at(6), lines=[line])


def test_cleaned_vessel_forgets_what_was_in_it(world: World, caught: Container) -> None:
    line = Line(world.recovered, gal(20), End(world.warehouse, caught), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[line], as_report=True)
    assert get_history(caught).uses == 1
    Container.objects.filter(pk=caught.pk).update(state="open")
    wish = ContainerWish(caught, state="clean")
    post(Posting(uuid4(), Entry.Kind.REPORT, at(4), world.actor, wishes=(wish,)))
    assert get_history(caught).uses == 0


def test_spend_starts_a_waste_drum(world: World, caught: Container) -> None:
    id = uuid4()
    for _time in range(2):
        spend(id=id, by=world.actor, occurred_at=at(3), container=caught, reason="", day_limit=90)
    assert state_of(caught) == "spent"
    drum = caught.waste_drums.get()
    assert (drum.started_date.isoformat(), drum.day_limit) == ("2026-03-02", 90)
    with pytest.raises(WrongContents, match="is spent"):
        take_sample(world, caught)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(5), containers=[(caught, world.second_warehouse)])
