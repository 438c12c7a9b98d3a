"""The network of a day: which readings and expectations it is laid out from."""

import math
from uuid import uuid4

import numpy as np
import pytest

from inventory.models import Container
from inventory.queries.company import get_company
from inventory.services.goods import decant
from inventory.services.lines import Line
from inventory.services.posting import End
from jobs.calc.fluid_network import balance_network
from jobs.models import BalanceStream, ContainerReading, FieldReport, FluidBalance, SpanFigure
from jobs.queries.jobs import get_policy
from jobs.services.balance.closing import close_crew_day
from jobs.services.balance.drawn import Network
from jobs.services.balance.expected import bore_m3, load_expectations
from jobs.services.balance.network import build_network
from jobs.services.balance.story import tell_stories
from jobs.services.reports.content import LossContent, ReportContent, WasteContent
from jobs.services.reports.keeping import load_told
from tests.factories.inventory import at
from tests.factories.jobs import make_crew_day
from tests.factories.reports import (
    S1,
    S2,
    ReportedDay,
    caught,
    cleaned,
    extracted,
    gallons,
    left,
    make_reported_day,
    swept,
)
from tests.jobs.calc.least_squares import solve_by_null_space

pytestmark = pytest.mark.django_db
GAL = 1_000_000
GAL_PER_M3 = 264.172052


def _network(day: ReportedDay) -> Network:
    reports = list(FieldReport.objects.filter(is_undone=False).order_by("occurred_at"))
    told = load_told(reports)
    (story,) = tell_stories(day.crew_day, [told[report.pk] for report in reports])
    reference_c = get_company().reference_temperature_c
    return build_network(story, load_expectations(get_policy()), {}, reference_c)


def _kinds(network: Network) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for drawn in network.drawn:
        found.setdefault(drawn.kind, []).append(drawn.stream.name)
    return found


@pytest.mark.outside_check(
    "simulated days reconciled by the service's network and by scipy.linalg (null space, whitened lstsq); "
    "how known: a general-purpose library, computed here"
)
def test_build_network_of_simulated_days_agrees_with_general_least_squares() -> None:
    random = np.random.default_rng(17)
    day = make_reported_day()
    for number in range(3):
        first, second = random.normal(6.3, 0.1), random.normal(4.1, 0.1)
        drum, catch = 55 - first - second + random.normal(0, 0.1), random.normal(2.0, 0.1)
        FieldReport.objects.filter(is_undone=False).update(is_undone=True)
        day.report(
            ReportContent(
                attempts=(
                    extracted(S1, source_container="D-1", injected=gallons(f"{first:.4f}")),
                    extracted(S2, source_container="D-1", injected=gallons(f"{second:.4f}")),
                ),
                caught=(caught("C-1", S1, S2),),
                readings=(left("D-1", f"{drum:.4f}"), left("C-1", f"{catch:.4f}")),
            ),
            hours=9 + number,
        )
        network = _network(day)
        found = balance_network(streams=network.streams)
        values, misfit = solve_by_null_space(network.streams)
        assert found.first.reconciled == pytest.approx(values, abs=1e-8)
        assert found.first.global_statistic == pytest.approx(misfit, rel=1e-6)
        assert found.first.degrees_of_freedom == 2


def test_build_network_is_as_unsure_of_an_empty_container_as_of_the_reading_that_says_so() -> None:
    day = make_reported_day()
    day.report(ReportContent(readings=(left("C-1", 0),)))
    ContainerReading.objects.update(standard_uncertainty=50_000.0)
    day.small.crew_day = make_crew_day(day.crew_day.crew, day=at(33).date())
    day.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-1", injected=gallons("6.3")),),
            caught=(caught("C-1", S1), caught("C-2", S1)),
            readings=(left("D-1", "48.7"), left("C-1", "0.7"), left("C-2", "0.6")),
        ),
        hours=33,
    )
    report = FieldReport.objects.latest("occurred_at")
    (story,) = tell_stories(day.crew_day, [load_told([report])[report.pk]])
    reference_c = get_company().reference_temperature_c
    network = build_network(story, load_expectations(get_policy()), {}, reference_c)
    before = {str(drawn.container): drawn.stream for _n, drawn in network.of_kind("start")}
    assert (before["C-1"].measured, before["C-1"].own_uncertainty) == (0.0, pytest.approx(0.05))
    # Nobody read C-2 ever: as if somebody had called it empty, up to 0.2 gal being left in it.
    assert (before["C-2"].measured, before["C-2"].own_uncertainty) == (
        0.0,
        pytest.approx(0.2 / math.sqrt(3), rel=1e-6),
    )


def test_build_network_pumps_from_the_drums_that_no_try_names() -> None:
    day = make_reported_day()
    day.report(
        ReportContent(
            attempts=(extracted(S1, fluid="fluid"), extracted(S2, fluid="fluid")),
            readings=(left("D-1", "50"), left("D-2", "51.6")),
        )
    )
    network = _network(day)
    assert _kinds(network)["pumped"] == ["pumped from D-1", "pumped from D-2"]
    found = balance_network(streams=network.streams)
    into = [found.fit.reconciled[number] for number, _drawn in network.of_kind("injected")]
    assert sum(into) == pytest.approx(8.4, abs=0.2)
    assert set(found.unaccounted.nodes) >= {"pump"}


def test_build_network_takes_what_a_container_gained_for_caught_though_nobody_said_so() -> None:
    day = make_reported_day()
    day.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-1", injected=gallons("6.3")),),
            readings=(left("D-1", "48.7"), left("C-1", "1.3")),
        )
    )
    network = _network(day)
    assert _kinds(network)["caught"] == ["caught from S1 of J-1 in C-1"]
    found = balance_network(streams=network.streams)
    assert found.first.is_consistent
    assert found.unaccounted.amount == pytest.approx(0.0, abs=0.1)


def test_build_network_expects_a_bore_by_the_size_as_found() -> None:
    day = make_reported_day()
    day.report(
        ReportContent(
            attempts=(
                extracted(S1, source_container="D-1", injected=gallons("6.3")),
                extracted(S2, source_container="D-1", outcome="part_out", injected=gallons("2")),
            ),
            readings=(left("D-1", "46.7"),),
        )
    )
    streams = {drawn.span.name: drawn.stream for _n, drawn in _network(day).of_kind("bore") if drawn.span}
    bore = bore_m3(day.first) * GAL_PER_M3
    assert streams["S1"].measured == pytest.approx(bore)
    # 1 % for its length as designed, 1.5 % for a sound nominal bore.
    assert streams["S1"].own_uncertainty == pytest.approx(0.01 * bore)
    assert streams["S1"].shared == {"the bore of .500": pytest.approx(0.015 * bore)}
    # Of a core that came part out, somewhere between nothing and the whole bore.
    half = bore_m3(day.second) * GAL_PER_M3 / 2
    assert streams["S2"].measured == pytest.approx(half)
    assert streams["S2"].own_uncertainty == pytest.approx(math.hypot(0.01 * half, half / math.sqrt(3)))


def test_build_network_takes_told_losses_waste_and_pours_out_of_what_is_missing() -> None:
    day = make_reported_day()
    drum, pail = Container.objects.get(label="D-2"), Container.objects.get(label="C-2")
    vehicle = day.world.vehicle
    line = Line(day.world.fluid, gallons("3"), End(vehicle, drum), End(vehicle, pail))
    decant(id=uuid4(), by=day.world.actor, occurred_at=at(8), lines=[line], as_report=True)
    day.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-2", injected=gallons("8.3")),),
            caught=(caught("C-1", S1),),
            readings=(left("D-2", "43.7"), left("C-1", "1.3"), left("C-2", "3")),
            losses=(LossContent(material="fluid", cause="leak", amount=gallons("2"), span=S1),),
        )
    )
    network = _network(day)
    assert "told as lost at S1 of J-1" in _kinds(network)["lost"]
    assert "poured, D-2 to C-2" in _kinds(network)["poured"]
    found = balance_network(streams=network.streams)
    assert found.first.is_consistent
    assert found.unaccounted.amount == pytest.approx(0.0, abs=0.1)


def test_build_network_of_a_drum_handed_over_whole_leaves_nothing_in_it() -> None:
    day = make_reported_day()
    day.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-1", injected=gallons("6.3")),),
            caught=(caught("C-1", S1, amount="1.3"),),
            readings=(left("D-1", "48.7"),),
        )
    )
    day.report(ReportContent(waste=(WasteContent(manifest_number="W-1", container="C-1"),)), hours=10)
    network = _network(day)
    assert _kinds(network)["waste"] == ["C-1 to waste"]
    assert "C-1 at the end" not in _kinds(network).get("end", [])
    found = balance_network(streams=network.streams)
    (waste,) = [found.fit.reconciled[number] for number, _drawn in network.of_kind("waste")]
    assert waste == pytest.approx(1.3, abs=0.2)


def test_close_crew_day_sweeps_on_a_later_day_what_the_earlier_one_left_standing() -> None:
    day = make_reported_day()
    day.report(
        ReportContent(
            attempts=(
                extracted(S1, source_container="D-1", injected=gallons("6.3")),
                extracted(S2, source_container="D-1", injected=gallons("4.1")),
            ),
            caught=(caught("C-1", S1, S2),),
            readings=(left("D-1", "44.6"), left("C-1", "2.0")),
        )
    )
    by = day.world.actor
    close_crew_day(crew_code="north", date=day.crew_day.date, by=by, occurred_at=at(12))
    stood = {row.span_id: row.net for row in SpanFigure.objects.all()}
    crew, day_before = day.crew_day.crew, day.crew_day
    tomorrow = make_crew_day(crew, day=at(33).date())
    day.small.crew_day = tomorrow
    day.report(
        ReportContent(cleanings=(cleaned(),), caught=(swept("C-2"),), readings=(left("C-2", "7.4"),)),
        hours=33,
    )
    balance = close_crew_day(crew_code="north", date=tomorrow.date, by=by, occurred_at=at(36))
    row = FluidBalance.objects.get(balance=balance)
    read = BalanceStream.objects.filter(fluid_balance=row, kind="stood")
    assert {stream.span_id: stream.measured for stream in read} == stood
    # As sure as the earlier balance was of what stays in each bore.
    earlier = BalanceStream.objects.filter(fluid_balance__balance__crew_day=day_before, kind="bore")
    sure = {stream.span_id: stream.reconciled_uncertainty for stream in earlier}
    assert {stream.span_id: stream.standard_uncertainty for stream in read} == pytest.approx(sure)
    assert 0 < min(filter(None, sure.values())) < max(filter(None, sure.values())) < 0.2 * GAL
    figures = {figure.span_id: figure for figure in SpanFigure.objects.filter(fluid_balance=row)}
    assert sum(figure.swept for figure in figures.values()) == pytest.approx(7.4 * GAL, abs=0.1 * GAL)
    # What the two days leave is what the book has there: the film.
    for span in (day.first, day.second):
        assert stood[span.pk] + figures[span.pk].net == day.used(span) >= 0
