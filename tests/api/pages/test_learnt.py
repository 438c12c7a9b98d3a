"""What reports have taught, on one page."""

from collections.abc import Callable
from datetime import timedelta

from django.test import Client

from inventory.models import Material
from jobs.models import CrewDay, LearntFit, Span
from jobs.services.learning import refit_all
from tests.factories.field_reports import EVENING, add_attempt, add_cleaning, make_report

Browse = Callable[[str], Client]


def _read(browse: Browse, role: str = "planner") -> str:
    return " ".join(browse(role).get("/learnt").content.decode().split())


def test_page_says_what_holds_before_there_are_reports(browse: Browse) -> None:
    text = _read(browse)
    assert text.count("No report tells of it yet, so the company's estimate holds") == 5
    # As shipped: injected 1.25 of the bore.
    assert "holds: 1.25, give or take" in text


def test_page_shows_each_size_with_its_range_readings_and_period(browse: Browse) -> None:
    span, other = Span.objects.order_by("pk")[:2]
    day = CrewDay.objects.order_by("pk")[0]
    report = make_report(day)
    add_attempt(report, span, 10)
    add_cleaning(report, span.run, 2, Material.objects.filter(kind="projectile")[0], is_clean=True)
    add_attempt(make_report(day, days_later=9), other, 11)
    refit_all(at=EVENING + timedelta(days=10))
    text = _read(browse)
    assert "From 2 spans in 2 readings, 2 Mar 2026 to 11 Mar 2026." in text
    row = LearntFit.objects.get(subject="injected_ratio").sizes.get(cable_size=span.cable_size)
    assert f'<th scope="row">{span.cable_size}</th><td class="number">{row.mean:.2f}</td>' in text
    assert f"{row.low:.2f} to {row.high:.2f}" in text
    assert "a size never seen" in text
    assert "From 1 run in 1 reading, 2 Mar 2026. " in text


def test_page_is_not_for_a_crew(browse: Browse) -> None:
    assert browse("crew").get("/learnt").status_code == 403
