"""The fluid of a day from its steps."""

import pytest

from jobs.models import CrewDayStep, EstimatingPolicy, LearntFit, LearntSize
from jobs.queries.day_fluid import DayFluid, compute_day_fluid
from jobs.queries.day_work import load_day_work
from jobs.queries.jobs import get_policy
from jobs.queries.learnt import Learnt
from tests.factories.jobs import add_step, make_run, make_size, make_span
from tests.factories.kits import SmallDay, make_plain_policy, make_small_day

GALLON_M3 = 0.003785411784

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    return make_small_day()


def _fluid(day: SmallDay, policy: EstimatingPolicy | None = None) -> DayFluid:
    (work,) = load_day_work([day.crew_day])
    found = compute_day_fluid(work, policy or get_policy())
    assert found is not None
    return found


def test_compute_day_fluid_adds_up_in_gallons(day: SmallDay) -> None:
    fluid = _fluid(day)
    # By hand, see the pull sheet's test.
    assert fluid.load_m3 / GALLON_M3 == pytest.approx(12.002701, abs=3e-6)
    assert fluid.caught_m3 / GALLON_M3 == pytest.approx(2.400540, abs=3e-6)
    assert fluid.swept_m3 / GALLON_M3 == pytest.approx(8.401891, abs=3e-6)
    # All of it comes back but the film; 0.9 of that is fit again.
    assert fluid.back_mean_m3 / GALLON_M3 == pytest.approx(0.9 * 0.9 * 12.002701, abs=3e-6)
    assert fluid.load_variance_m6 == pytest.approx(0.0, abs=1e-18)


def test_compute_day_fluid_loads_more_than_the_mean_where_ratios_spread(day: SmallDay) -> None:
    fluid = _fluid(day, make_plain_policy(injected_ratio_sd=0.2))
    assert fluid.load_mean_m3 / GALLON_M3 == pytest.approx(12.002701, rel=0.01)
    # Two spans of 5.001350 and 3.334233 gal of bore at an sd of 0.2 of the bore.
    assert fluid.load_variance_m6 / GALLON_M3**2 == pytest.approx(0.04 * (5.00135**2 + 3.334233**2), rel=0.05)
    assert fluid.load_m3 > fluid.load_mean_m3


def test_compute_day_fluid_gives_the_same_answer_twice(day: SmallDay) -> None:
    policy = make_plain_policy(injected_ratio_sd=0.2, caught_fraction_sd=0.05)
    assert _fluid(day, policy) == _fluid(day, policy)


def test_compute_day_fluid_uses_swept_fluid_again_only_after_the_run_was_cleaned(day: SmallDay) -> None:
    second = make_run(day.job, "R2")
    span = make_span(second, "S9", "P8", "P9", feet=1000)
    add_step(day.crew_day, CrewDayStep.Kind.EXTRACT, span=span)
    fluid = _fluid(day, make_plain_policy(reusable_fraction=1.0))
    # 10.602377 gal until S2 (see the pull sheet's test). S9 takes 1.2 * 8.335584 + 1 = 11.002701 more, when
    # 0.9 * 12.002701 = 10.802431 has come back: 12.002701 + 11.002701 - 10.802431.
    assert fluid.load_m3 / GALLON_M3 == pytest.approx(12.202971, abs=3e-6)


@pytest.mark.outside_check(
    "0.0407999046 d^2 L gallons of d inches and L feet; how known: geometry of a cylinder, 231 in3 a gallon"
)
def test_compute_day_fluid_takes_ratio_and_bore_of_the_size_as_found(day: SmallDay) -> None:
    """Design says .500 for S1; the crew found .750, whose bore is 0.680 in and whose spans take 1.5 of it."""
    found = make_size(".750", 17.272)
    day.run.spans.filter(name="S1").update(as_found_size=found)
    injected = LearntFit.Subject.INJECTED
    learnt = Learnt(
        get_policy(),
        sizes={
            (injected, found.pk): LearntSize(mean=1.5, sd=0.0),
            (injected, day.run.cable_size.pk): LearntSize(mean=1.2, sd=0.0),
        },
    )
    (work,) = load_day_work([day.crew_day])
    fluid = compute_day_fluid(work, get_policy(), learnt)
    assert fluid is not None
    # 0.0407999046 * 0.680^2 * 600 = 11.319525 gal times 1.5, S2's 3.334233 gal times 1.2, and a gallon each.
    assert fluid.load_m3 / GALLON_M3 == pytest.approx(11.319525 * 1.5 + 3.334233 * 1.2 + 2, abs=1e-5)


def test_compute_day_fluid_of_a_day_without_fluid_is_none(day: SmallDay) -> None:
    day.crew_day.steps.exclude(kind="blow").delete()
    (work,) = load_day_work([day.crew_day])
    assert compute_day_fluid(work, get_policy()) is None


def test_compute_day_fluid_never_expects_more_back_than_went_in(day: SmallDay) -> None:
    fluid = _fluid(day, make_plain_policy(reusable_fraction=1.0, fit_again_fraction=1.0))
    assert 0 < fluid.back_mean_m3 <= fluid.load_mean_m3
