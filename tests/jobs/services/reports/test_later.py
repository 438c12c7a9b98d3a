"""Reports that come late or again end in the same books as those that came in time."""

from uuid import UUID, uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.models import Container, Entry, Holding, Material
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import dispose
from inventory.services.lines import Line
from inventory.services.posting import REST, End
from inventory.services.receipts import ReceiptLine, receive
from jobs.models import FieldReport, Run, Span
from jobs.services.reports.content import LossContent, ReportContent
from tests.factories.inventory import at
from tests.factories.reports import (
    S1,
    S2,
    ReportedDay,
    blown,
    caught,
    cleaned,
    extracted,
    gallons,
    left,
    make_reported_day,
    swept,
)

pytestmark = pytest.mark.django_db
GAL = 1_000_000
# A day told in seven reports by several devices; each rests on what was told before it.
DAY: tuple[tuple[float, ReportContent], ...] = (
    (5, ReportContent(attempts=(extracted(S1, outcome="part_out"),))),
    (6, ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(9)),))),
    (7, ReportContent(caught=(caught("C-1", S1, amount=2),), readings=(left("D-1", 31),))),
    (8, ReportContent(attempts=(extracted(S2),))),
    (8, ReportContent(readings=(left("D-1", 20), left("D-2", 52)))),
    (9, ReportContent(cleanings=(cleaned(),), caught=(swept("C-2", amount=20),))),
    (
        10,
        ReportContent(
            blowings=(blown(),),
            losses=(LossContent("fluid", "spill", amount=gallons(1), container="D-2"),),
            readings=(left("D-2", 50), left("C-1", 3), left("C-2", 19)),
        ),
    ),
)
IDS = [UUID(int=number + 1) for number in range(len(DAY))]


def send(day: ReportedDay, number: int) -> None:
    hours, content = DAY[number]
    day.report(content, id=IDS[number], hours=hours)


def books() -> dict[str, object]:
    """What the book holds, and what is done."""
    held = {
        (row.place.code, row.material.code, row.container.label if row.container else ""): row.quantity
        for row in Holding.objects.select_related("place", "material", "container")
        if row.quantity
    }
    spans = dict(Span.objects.values_list("name", "extracted_at"))
    runs = dict(Run.objects.values_list("name", "cleaned_at"))
    return {"held": held, "spans": spans, "runs": runs}


class Undo(Exception):
    """Ends an example without a trace."""


def books_after(day: ReportedDay, order: list[int]) -> dict[str, object]:
    """The books after sending reports in an order, all of it undone afterwards."""
    found: dict[str, object] = {}
    try:
        with transaction.atomic():
            for number in order:
                send(day, number)
            found = books()
            assert not list(verify_ledger())
            raise Undo
    except Undo:
        return found


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(order=st.permutations(range(len(DAY))), again=st.lists(st.sampled_from(range(len(DAY))), max_size=4))
def test_reports_in_any_order_and_again_end_in_the_same_books(
    day: ReportedDay, expected: dict[str, object], order: list[int], again: list[int]
) -> None:
    assert books_after(day, [*order, *again]) == expected


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day()


@pytest.fixture
def expected(day: ReportedDay) -> dict[str, object]:
    return books_after(day, list(range(len(DAY))))


def test_the_day_in_order_is_what_can_be_reckoned_by_hand(
    day: ReportedDay, expected: dict[str, object]
) -> None:
    held = expected["held"]
    assert isinstance(held, dict)
    assert held[("truck-1", "fluid", "D-1")] == 20 * GAL
    assert held[("truck-1", "fluid", "D-2")] == 50 * GAL
    assert held[("truck-1", "fluid-recovered", "C-1")] == 3 * GAL
    assert held[("truck-1", "fluid-recovered", "C-2")] == 19 * GAL
    # Out of the drums went 35 + 5 gal, one of them spilt; 22 came back. What C-1 held more than was
    # told is a difference of the book.
    at_spans = sum(held.get((f"span:J-1:{name}", "fluid", ""), 0) for name in ("S1", "S2"))
    assert at_spans == (40 - 1 - 22) * GAL


def test_post_report_late_is_booked_before_those_after_it(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=(extracted(S2),), readings=(left("D-1", 25),)), hours=9)
    assert day.used(day.second) == 30 * GAL
    day.report(
        ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(18)),)), hours=8
    )
    assert (day.used(day.first), day.used(day.second)) == (18 * GAL, 12 * GAL)
    assert FieldReport.objects.order_by("pk").first().postings == 1  # type: ignore[union-attr]


def test_post_report_late_is_taken_where_the_goods_have_gone_further(day: ReportedDay) -> None:
    day.report(
        ReportContent(
            attempts=(extracted(S2, source_container="D-1", injected=gallons(20)),),
            caught=(caught("C-1", S2, amount=15),),
        ),
        hours=9,
    )
    drum = Container.objects.select_related("place", "owner").get(label="C-1")
    waste = Line(day.world.recovered, REST, End(day.world.vehicle, drum), End(day.world.waste))
    dispose(id=uuid4(), by=day.world.actor, occurred_at=at(10), lines=[waste])
    late = ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(18)),))
    day.report(late, hours=8)
    assert (day.used(day.first), day.inside("D-1"), day.inside("C-1")) == (18 * GAL, 17 * GAL, 0)
    assert not Entry.objects.filter(reverses__isnull=False).exists()


def test_post_report_late_of_a_drum_that_was_refilled_since_tells_of_what_it_held_then(
    day: ReportedDay,
) -> None:
    drum = Container.objects.select_related("place", "owner").get(label="D-1")
    end = End(day.world.vehicle, drum)
    dispose(
        id=uuid4(),
        by=day.world.actor,
        occurred_at=at(10),
        lines=[Line(day.world.fluid, REST, end, End(day.world.waste))],
    )
    other = Material.objects.create(code="fluid-2", name="Fluid two", kind="fluid", stock_unit="[gal_us]")
    refill = ReceiptLine(other, gallons(30), end, 1_000_000)
    receive(id=uuid4(), by=day.world.actor, occurred_at=at(11), source=day.world.supplier, lines=[refill])
    report = day.report(ReportContent(attempts=(extracted(S1),), readings=(left("D-1", 40),)), hours=8)
    assert report.readings.get().material == day.world.fluid
    assert day.used(day.first) == 15 * GAL
    assert Holding.objects.get(container=drum, material=other).quantity == 30 * GAL
