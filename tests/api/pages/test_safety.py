"""The safety officer's page: approving is noted, lifting wants a reason and another person."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client

from jobs.models import PressureLimit, RuleFinding
from tests.factories.accounts import Office
from tests.factories.inventory import at

Browse = Callable[[str], Client]


def _stop(office: Office, by: str) -> RuleFinding:
    return RuleFinding.objects.create(
        uuid=uuid4(),
        rule="extraction_pressure_above_limit",
        severity="stop",
        sentence="Span S1: 900 psi was noted, 800 psi is approved.",
        span=office.span,
        crew_day=office.crew.days.get(),
        caused_by=office.users[by].actor,
        found_at=at(1),
    )


def test_page_says_that_no_limit_is_approved_until_safety_notes_one(browse: Browse) -> None:
    client = browse("safety")
    assert client.get("/safety").content.decode().count("no limit approved") == 3
    sent = {"id": str(uuid4()), "purpose": "extraction", "pressure": "800", "unit": "[psi]"}
    refused = client.post("/safety", sent)
    assert refused.status_code == 200
    assert "weakest" in refused.content.decode()
    assert not PressureLimit.objects.exists()
    assert client.post("/safety", {**sent, "weakest_part": "hose 4"}).status_code == 302
    assert client.post("/safety", {**sent, "weakest_part": "hose 4"}).status_code == 302
    assert PressureLimit.objects.count() == 1
    text = client.get("/safety").content.decode()
    assert text.count("no limit approved") == 2
    assert "800 psi" in text


@pytest.mark.parametrize("pressure", ["", "much", "-3", "1e40"])
def test_pressure_that_is_none_is_refused_with_its_value(browse: Browse, pressure: str) -> None:
    sent = {"id": str(uuid4()), "purpose": "extraction", "pressure": pressure, "unit": "[psi]"}
    answer = browse("safety").post("/safety", {**sent, "weakest_part": "hose 4"})
    assert 'role="alert"' in answer.content.decode()
    assert not PressureLimit.objects.exists()


def test_stop_is_lifted_by_safety_with_a_reason(browse: Browse, office: Office) -> None:
    stop = _stop(office, "crew")
    client = browse("safety")
    assert "900 psi was noted" in client.get("/safety").content.decode()
    short = client.post("/safety", {"finding": str(stop.uuid), "reason": "ok"})
    assert "must say why" in short.content.decode()
    assert (
        client.post("/safety", {"finding": str(stop.uuid), "reason": "gauge was faulty"}).status_code == 302
    )
    stop.refresh_from_db()
    assert stop.lift_reason == "gauge was faulty"
    assert "900 psi was noted" not in client.get("/safety").content.decode()


@pytest.mark.parametrize(("role", "causer"), [("planner", "crew"), ("safety", "safety")])
def test_stop_is_lifted_by_nobody_else_and_not_by_its_causer(
    browse: Browse, office: Office, role: str, causer: str
) -> None:
    stop = _stop(office, causer)
    client = browse(role)
    assert "Reason to lift it" not in client.get("/safety").content.decode()
    answer = client.post("/safety", {"finding": str(stop.uuid), "reason": "it will hold"})
    assert 'role="alert"' in answer.content.decode()
    stop.refresh_from_db()
    assert stop.lifted_at is None


def test_crew_does_not_see_the_whole_companys_page(browse: Browse) -> None:
    assert browse("crew").get("/safety").status_code == 403


@pytest.mark.parametrize("sent", [{}, {"finding": "x", "reason": "because"}, {"id": "x"}])
def test_form_without_an_id_changes_nothing(browse: Browse, sent: dict[str, str]) -> None:
    answer = browse("safety").post("/safety", sent)
    assert answer.status_code == 200
    assert 'role="alert"' in answer.content.decode()
    assert not PressureLimit.objects.exists()
