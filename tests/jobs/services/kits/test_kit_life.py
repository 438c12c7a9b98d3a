"""A kit agreed, loaded in several goes, gone out, its day planned again: who has what, and for how long.

The small day needs 12.0027 gal of fluid, a vessel for bypass and one for swept fluid, and 1132.2 ft of fibre.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Entry, Holding, Place, Reservation
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End, EntryConflict, PromisedToAnother
from jobs.models import Crew, CrewDay, CrewDayStep, Job, KitLoad, KitLoadLine
from jobs.queries.pull_sheet import SheetLine, get_pull_sheet
from jobs.services.day_life import change_day_state
from jobs.services.job_life import change_state
from jobs.services.kits.loading import (
    DayIsSettled,
    LoadedContainer,
    LoadedGoods,
    LoadedKit,
    ReasonIsMissing,
    load_kit,
)
from jobs.services.schedule import move_step
from tests.factories.inventory import each, gal
from tests.factories.jobs import DAY, add_step, make_place, make_run, make_span
from tests.factories.kits import SmallDay, make_fitting, make_small_day

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
NEXT = DAY + timedelta(days=1)
GALLON = 1_000_000

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    small.drum("A", 55)
    small.vessel("V1")
    small.vessel("V2")
    small.reel("REEL", 3000)
    small.pieces(make_fitting("pressure_end"), 3)
    return small


def _state(day: SmallDay, state: str, crew: str = "north", on: date = DAY) -> CrewDay:
    return change_day_state(crew_code=crew, date=on, state=state, by=day.world.actor, occurred_at=NOON)


def _load(day: SmallDay, *labels: str, id: UUID | None = None, **options: Any) -> LoadedKit:
    boxes = [LoadedContainer(Container.objects.get(label=label)) for label in labels]
    values: dict[str, Any] = {"crew_code": "north", "date": DAY, "containers": boxes, **options}
    return load_kit(id=id or uuid4(), by=day.world.actor, occurred_at=NOON, **values)


def _line(section: str, crew: str = "north", on: date = DAY) -> SheetLine:
    lines = get_pull_sheet(crew_code=crew, date=on).lines
    (line,) = [line for line in lines if line.section == section]
    return line


def _promised(reference: str | None = None) -> set[str]:
    rows = Reservation.objects.all() if reference is None else Reservation.objects.filter(reference=reference)
    return {row.container.label if row.container else row.material.code for row in rows}


def _place(label: str) -> str:
    place = Container.objects.get(label=label).place
    assert place is not None
    return place.code


def _second_crew(day: SmallDay) -> CrewDay:
    run = make_run(day.job, "R2")
    span = make_span(run, "T1", "Q1", "Q2", feet=600)
    truck = make_place(Place.Kind.VEHICLE, "truck-south")
    crew = Crew.objects.create(code="south", name="South", vehicle=truck, warehouse=day.world.warehouse)
    found = CrewDay.objects.create(crew=crew, date=DAY, vehicle=truck, warehouse=day.world.warehouse)
    add_step(found, CrewDayStep.Kind.EXTRACT, span=span)
    return found


def test_agreeing_promises_what_the_sheet_names(day: SmallDay) -> None:
    _state(day, "agreed")
    assert _promised() == {"A", "V1", "V2", "REEL", "pressure_end-.500"}
    drum = Reservation.objects.get(container__label="A")
    # So much as the day uses, not the drum's 55 gal: the rest serves the crew's next day.
    assert drum.quantity == pytest.approx(12_002_701, abs=3)
    assert drum.holder == "crew:north"
    _state(day, "planned")
    assert _promised() == set()


def test_promised_goods_are_kept_from_another_crew_and_from_a_draw(day: SmallDay) -> None:
    _second_crew(day)
    _state(day, "agreed")
    assert _line("fluid", "south").picks == []
    assert "Goes with another crew" in _line("fluid", "south").why
    drum = Container.objects.get(label="A")
    line = Line(day.world.fluid, gal(1), End(day.world.warehouse, drum), End(day.job.spans.first().place))  # type: ignore[union-attr]
    with pytest.raises(PromisedToAnother):
        draw(id=uuid4(), by=day.world.actor, occurred_at=NOON, lines=[line])
    box = LoadedContainer(Container.objects.get(label="V1"), reason="nearer")
    with pytest.raises(PromisedToAnother):
        _load(day, containers=[box], crew_code="south")
    assert not KitLoad.objects.exists()


def test_loading_moves_container_by_container_in_several_goes(day: SmallDay) -> None:
    _state(day, "agreed")
    first = _load(day, "A")
    assert (_place("A"), _place("V1")) == ("truck-1", "main-yard")
    assert first.load.entry.document == "kit:north:2026-03-02"
    assert CrewDay.objects.get(crew__code="north").state == "agreed"
    line = _line("fluid")
    assert (line.to_take, line.picks) == (0, [])
    assert "A" not in _promised()
    goods = LoadedGoods(
        day.world.fluid.__class__.objects.get(code="pressure_end-.500"), each(1), day.world.warehouse
    )
    _load(day, "V1", "V2", "REEL", goods=[goods])
    assert CrewDay.objects.get(crew__code="north").state == "loaded"
    assert _promised() == set()
    assert KitLoadLine.objects.filter(container__label="V1", material=None, quantity=0).exists()
    assert KitLoadLine.objects.get(container__label="A").quantity == 55 * GALLON


def test_loading_again_under_the_same_id_changes_nothing(day: SmallDay) -> None:
    id = uuid4()
    first = _load(day, "A", id=id)
    again = _load(day, "A", id=id)
    assert again.load == first.load
    assert (KitLoad.objects.count(), Entry.objects.filter(document__startswith="kit:").count()) == (1, 1)
    with pytest.raises(EntryConflict):
        _load(day, "V1", id=id)


def test_loading_a_part_and_saying_that_is_all(day: SmallDay) -> None:
    _load(day, "A", is_complete=True)
    assert CrewDay.objects.get().state == "loaded"
    assert _line("catch").to_take > 0


def test_substitution_needs_a_reason_and_keeps_it(day: SmallDay) -> None:
    day.drum("B", 50)
    with pytest.raises(ReasonIsMissing) as refusal:
        _load(day, "B")
    assert refusal.value.faults[0].pointer == "/containers/0/reason"
    box = LoadedContainer(Container.objects.get(label="B"), instead_of="A", reason="A stands behind the tote")
    loaded = _load(day, containers=[box])
    line = loaded.load.lines.get()
    assert (line.instead_of, line.reason) == ("A", "A stands behind the tote")
    assert loaded.load.entry.reason == "A stands behind the tote"
    # The kit is the need less what is on the truck, whichever drum it is.
    assert _line("fluid").to_take == 0


def test_loading_takes_nothing_from_another_yard_or_for_a_settled_day(day: SmallDay) -> None:
    Container.objects.filter(label="V2").update(place=day.world.second_warehouse)
    box = LoadedContainer(Container.objects.get(label="V2"), reason="it was nearer")
    with pytest.raises(BadInput, match="does not stand in"):
        _load(day, containers=[box])
    day.crew_day.steps.update(done_at=NOON)
    _state(day, "settled")
    with pytest.raises(DayIsSettled):
        _load(day, "A")
    assert not KitLoad.objects.exists()


def test_replanning_keeps_what_is_loaded_and_promises_only_the_rest(day: SmallDay) -> None:
    _state(day, "agreed")
    _load(day, "A")
    move_step(crew_code="north", date=DAY, position=4, to_date=NEXT, by=day.world.actor, occurred_at=NOON)
    assert (_place("A"), _line("fluid").to_take) == ("truck-1", 0)
    assert _promised(day.crew_day.requirement_reference) == {"V1", "V2", "pressure_end-.500"}


def test_a_day_that_rains_off_rolls_its_goods_to_the_next_without_a_return(day: SmallDay) -> None:
    _load(day, "A", "V1", "V2", "REEL", is_complete=True)
    for position in (1, 2, 3, 4):
        move_step(
            crew_code="north", date=DAY, position=position, to_date=NEXT, by=day.world.actor, occurred_at=NOON
        )
    for section in ("fluid", "catch", "sweep"):
        assert _line(section, on=NEXT).to_take == 0, section
    # The day that was loaded is kept, since a load tells of it.
    assert CrewDay.objects.filter(date=DAY).exists()


def test_one_drum_serves_a_crews_days_as_far_as_it_lasts(day: SmallDay, monkeypatch: Any) -> None:
    monkeypatch.setattr("jobs.queries.pull_sheet.get_today", lambda: DAY)
    run = make_run(day.job, "R2")
    span = make_span(run, "T1", "Q1", "Q2", feet=600)
    following = CrewDay.objects.create(
        crew=day.crew_day.crew, date=NEXT, vehicle=day.world.vehicle, warehouse=day.world.warehouse
    )
    add_step(following, CrewDayStep.Kind.EXTRACT, span=span)
    line = _line("fluid", on=NEXT)
    # 55 gal less the first day's 12.0027.
    assert line.on_truck == pytest.approx(42_997_299, abs=3)
    assert [pick.note for pick in line.there] == ["rolls on, still in Main yard"]
    _state(day, "agreed", on=NEXT)
    _state(day, "agreed")
    assert Reservation.objects.filter(container__label="A").count() == 2
    assert set(Reservation.objects.values_list("holder", flat=True)) == {"crew:north"}


def test_a_job_on_hold_drops_its_promises_and_leaves_what_is_loaded(day: SmallDay) -> None:
    _state(day, "agreed")
    assert _promised()
    _load(day, "A")
    values = {"reference": "J-1", "by": day.world.actor, "occurred_at": NOON}
    change_state(state=Job.State.ON_HOLD, **values)  # type: ignore[arg-type]
    assert _promised() == set()
    assert _place("A") == "truck-1"
    # The steps tell for which job it was loaded; nothing more is needed for them.
    assert (day.crew_day.loads.count(), day.crew_day.steps.count()) == (1, 4)
    assert not get_pull_sheet(crew_code="north", date=DAY).lines


def test_a_settled_day_keeps_nothing(day: SmallDay) -> None:
    _state(day, "agreed")
    day.crew_day.steps.update(done_at=NOON)
    _state(day, "settled")
    assert _promised() == set()
    assert Holding.objects.get(container__label="A").quantity == 55 * GALLON
