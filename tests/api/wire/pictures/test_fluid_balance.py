"""The picture of a balance tells the same as its table, and is calm where there is nothing to see."""

from xml.etree import ElementTree

import pytest

from api.wire.pictures.drawing import Picture
from api.wire.pictures.fluid_balance import draw_fluid_balance
from inventory.models import Material
from jobs.models import DayBalance, FluidBalance
from jobs.queries.balances import get_last_balance
from jobs.services.balance.closing import close_crew_day
from jobs.services.reports.content import ReportContent
from tests.factories.inventory import at
from tests.factories.reports import S1, S2, caught, extracted, gallons, left, make_reported_day

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"


def _picture(*, first: str, drum: str) -> Picture:
    day = make_reported_day()
    content = ReportContent(
        attempts=(
            extracted(S1, source_container="D-1", injected=gallons(first)),
            extracted(S2, source_container="D-1", injected=gallons("4.1")),
        ),
        caught=(caught("C-1", S1, S2),),
        readings=(left("D-1", drum), left("C-1", "2.0")),
    )
    day.report(content)
    close_crew_day(crew_code="north", date=day.crew_day.date, by=day.world.actor, occurred_at=at(12))
    return draw_fluid_balance(get_last_balance(day.crew_day).fluids.all()[0])


def _texts(picture: Picture) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(picture.svg).iter(f"{SVG}text")]


def test_draw_fluid_balance_writes_the_numbers_of_its_table() -> None:
    picture = _picture(first="6.3", drum="44.6")
    texts = _texts(picture)
    for row in picture.table.rows:
        assert row["way"] in texts
        assert any(text.startswith(f"{row['amount']} ±") for text in texts)
    ways = {row["way"]: float(row["amount"]) for row in picture.table.rows}
    went = sum(amount for way, amount in ways.items() if way != "came out of drums")
    assert went == pytest.approx(ways["came out of drums"], abs=0.03)


def test_draw_fluid_balance_says_what_the_readings_cannot_tell_from_nothing() -> None:
    picture = _picture(first="6.3", drum="44.6")
    assert "cannot tell from nothing" in picture.svg
    assert "f-alarm" not in picture.svg.split("</style>")[1]


def test_draw_fluid_balance_alarms_where_fluid_is_missing() -> None:
    picture = _picture(first="9.3", drum="41.6")
    assert "Fluid is missing." in picture.svg
    assert "Look first at: fluid missing at S1 of J-1." in picture.svg
    assert "f-alarm" in picture.svg.split("</style>")[1]


def test_draw_fluid_balance_says_what_was_left_out_where_too_little_was_read() -> None:
    day = make_reported_day()
    closing = DayBalance.objects.create(
        crew_day=day.crew_day, revision=1, closed_at=at(12), recorded_at=at(12), by=day.world.actor
    )
    row = FluidBalance.objects.create(
        balance=closing,
        fluid=Material.objects.create(
            code="f", name="Fluid <1>", stock_unit="L", kind="fluid", density_kg_per_m3=1000.0
        ),
        confidence=0.95,
        is_consistent=True,
        global_statistic=0.0,
        degrees_of_freedom=0,
        injected=0,
        left_out=["D-1", "S1 of J-1"],
    )
    picture = draw_fluid_balance(row)
    assert "Too little was read" in picture.svg
    assert "D-1, S1 of J-1" in picture.svg
    assert "Fluid &lt;1&gt;" in picture.svg
    ElementTree.fromstring(picture.svg)
