"""Two crews, one warehouse, one day: what stands on one sheet does not stand on the other.

Both crews do the same work as in the small day: each needs 12.0027 gal of fluid, one fitting of each role and
size, 1132.2 ft of fibre, one vessel for bypass and one for swept fluid.
"""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Place, Reservation
from jobs.models import Crew, CrewDay, CrewDayStep
from jobs.queries.pull_sheet import PullSheet, SheetLine, get_pull_sheet
from tests.factories.jobs import DAY, UM_PER_FOOT, add_step, make_place, make_run, make_span
from tests.factories.kits import SmallDay, make_fitting, make_small_day

GALLON = 1_000_000

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    add_second_crew(small, "south")
    return small


def add_second_crew(small: SmallDay, code: str) -> CrewDay:
    run = make_run(small.job, f"R-{code}")
    first = make_span(run, f"{code}-1", f"{code}A", f"{code}B", feet=600, sequence=1)
    second = make_span(run, f"{code}-2", f"{code}B", f"{code}C", feet=400, sequence=2)
    first.slack_um = 10 * UM_PER_FOOT
    first.save()
    truck = make_place(Place.Kind.VEHICLE, f"truck-{code}")
    warehouse = small.world.warehouse
    crew = Crew.objects.create(code=code, name=code, vehicle=truck, warehouse=warehouse)
    found = CrewDay.objects.create(crew=crew, date=DAY, vehicle=truck, warehouse=warehouse)
    for span in (first, second):
        add_step(found, CrewDayStep.Kind.EXTRACT, span=span)
    add_step(found, CrewDayStep.Kind.CLEAN, run=run)
    add_step(found, CrewDayStep.Kind.BLOW, run=run)
    return found


def _sheet(crew: str) -> PullSheet:
    return get_pull_sheet(crew_code=crew, date=DAY)


def _line(crew: str, section: str) -> SheetLine:
    (line,) = [line for line in _sheet(crew).lines if line.section == section]
    return line


def _labels(crew: str, section: str) -> list[str]:
    return [pick.container for pick in _line(crew, section).picks]


def test_pull_sheets_of_one_day_do_not_list_one_drum_twice(day: SmallDay) -> None:
    for label in ("A", "B"):
        day.drum(label, 55)
    assert (_labels("south", "fluid"), _labels("north", "fluid")) == (["B"], ["A"])


def test_pull_sheet_of_the_later_crew_names_what_is_short_and_why(day: SmallDay) -> None:
    day.drum("A", 55)
    assert _line("north", "fluid").short == 0
    line = _line("south", "fluid")
    assert line.picks == []
    assert line.short == line.needed
    assert line.why.endswith("Goes with another crew that is served first that day: A.")


def test_pull_sheets_share_pieces_by_the_piece(day: SmallDay) -> None:
    day.pieces(make_fitting("pressure_end"), 1)
    day.pieces(make_fitting("exit_end"), 3)
    assert (_line("north", "pressure_end").short, _line("south", "pressure_end").short) == (0, 1_000_000)
    assert "Goes with another crew" in _line("south", "pressure_end").why
    assert (_line("north", "exit_end").short, _line("south", "exit_end").short) == (0, 0)
    assert "Goes with another crew" not in _line("south", "exit_end").why


def test_pull_sheets_share_reels_and_empty_vessels_whole(day: SmallDay) -> None:
    # Long enough for both runs, but it can be on one truck only.
    day.reel("BIG", 3000)
    day.vessel("V1")
    day.vessel("V2")
    day.vessel("V3")
    assert (_labels("north", "fibre"), _labels("south", "fibre")) == (["BIG"], [])
    assert "Goes with another crew that is served first that day: BIG." in _line("south", "fibre").why
    taken = _labels("north", "catch") + _labels("north", "sweep")
    assert (len(taken), len(set(taken))) == (2, 2)
    left = _labels("south", "catch") + _labels("south", "sweep")
    assert set(left) == {"V1", "V2", "V3"} - set(taken)
    assert "Goes with another crew" in _line("south", "sweep").why


def test_pull_sheets_leave_what_the_first_crew_has_on_its_own_truck_out(day: SmallDay) -> None:
    day.drum("OWN", 55, on_truck=True)
    day.drum("A", 55)
    assert (_line("north", "fluid").to_take, _labels("south", "fluid")) == (0, ["A"])


def test_pull_sheets_give_a_promise_the_first_place(day: SmallDay) -> None:
    day.drum("A", 55)
    south = CrewDay.objects.get(crew__code="south")
    _promise(day, south, "A")
    assert (_labels("north", "fluid"), _labels("south", "fluid")) == ([], ["A"])


def test_pull_sheets_do_not_count_promised_pieces_twice(day: SmallDay) -> None:
    fitting = make_fitting("pressure_end")
    day.pieces(fitting, 2)
    Reservation.objects.create(
        holder="crew:north",
        reference=day.crew_day.requirement_reference,
        place=day.world.warehouse,
        material=fitting,
        owner=day.world.company,
        quantity=1_000_000,
    )
    assert (_line("north", "pressure_end").short, _line("south", "pressure_end").short) == (0, 0)


@pytest.mark.parametrize("change", ["date", "state", "warehouse"])
def test_pull_sheet_is_not_kept_from_what_no_other_crew_takes(day: SmallDay, change: str) -> None:
    day.drum("A", 55)
    values = {
        "date": {"date": DAY + timedelta(days=1)},
        "state": {"state": "loaded"},
        "warehouse": {"warehouse": make_place(Place.Kind.WAREHOUSE, "elsewhere")},
    }
    CrewDay.objects.filter(crew__code="north").update(**values[change])
    assert _labels("south", "fluid") == ["A"]


def test_pull_sheet_asks_no_more_for_many_crews_than_for_two(day: SmallDay) -> None:
    with CaptureQueriesContext(connection) as few:
        _sheet("south")
    for number in range(5):
        add_second_crew(day, f"mid-{number}")
    with CaptureQueriesContext(connection) as many:
        _sheet("south")
    assert len(many) == len(few)


def _promise(day: SmallDay, crew_day: CrewDay, label: str) -> None:
    Reservation.objects.create(
        holder=f"crew:{crew_day.crew.code}",
        reference=crew_day.requirement_reference,
        place=day.world.warehouse,
        material=day.world.fluid,
        owner=day.world.company,
        container=Container.objects.get(label=label),
        quantity=55 * GALLON,
    )
