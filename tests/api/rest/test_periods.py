"""Closing periods through their doors: asked for, carried out by a worker, looked at."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import AccountingPeriod
from jobs.models import PeriodClosing
from jobs.services import closing
from jobs.tasks import work_closings
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
ROOT = "/api/v1"
PERIODS = f"{ROOT}/accounting-periods"


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(closing, "_hint", lambda: None)


def ask(client: APIClient, **changed: Any) -> Any:
    body = {"id": str(uuid4()), "last_date": "2026-03-02", "remark": "Rained off.", **changed}
    return client.post(PERIODS, body, format="json")


def test_a_period_is_closed_by_a_worker_with_a_word_about_what_is_open(
    client_of: ClientOf, office: Office
) -> None:
    accounts = client_of("accounts")
    client_of("admin").post(f"{ROOT}/entries", requests.a_draw(office), format="json")
    points = assert_answer(
        "get_closing_check_list", accounts.get(f"{PERIODS}/check-list?last_date=2026-03-02")
    )["open_points"]
    assert "north crew has not reported 2026-03-02." in [point["sentence"] for point in points]
    body = assert_refusal(ask(accounts, remark=""), 409, "points_are_open")
    assert "has not reported" in body["detail"]
    known = str(uuid4())
    answered = ask(accounts, id=known)
    asked = assert_answer("close_period", answered)
    assert (answered.status_code, answered["Location"]) == (202, f"{ROOT}/period-closings/{known}")
    assert (asked["state"], asked["period"]) == ("waiting", None)
    assert not AccountingPeriod.objects.exists()
    assert assert_answer("close_period", ask(accounts, id=known)) == asked
    assert work_closings() == 1
    shown = assert_answer("get_period_closing", accounts.get(answered["Location"]))
    assert (shown["state"], shown["jobs"], shown["jobs_done"]) == ("closed", 2, 2)
    [fluid] = [row for row in shown["period"]["roll_forward"] if row["material"] == "fluid"]
    assert fluid["closing"]["value"] == {"value": "1600.00", "currency": "USD"}
    listed = assert_answer("list_accounting_periods", accounts.get(PERIODS))
    assert listed["results"] == [shown["period"]]
    costs = assert_answer("list_period_job_costs", accounts.get(f"{PERIODS}/2026-03-02/job-costs"))
    fifty = requests.dollars("50.00")
    assert costs["results"] == [{"job": "J-north", "change": fifty, "cost": fifty}]
    closings = assert_answer("list_period_closings", accounts.get(f"{ROOT}/period-closings"))
    assert closings["results"] == [shown]


def test_what_cannot_be_closed_is_refused_at_once_and_nothing_waits(client_of: ClientOf) -> None:
    accounts = client_of("accounts")
    assert_refusal(ask(accounts, last_date="2026-03-03"), 400, "period_not_over", "/last_date")
    assert_refusal(ask(accounts, last_date="soon"), 400, "bad_input", "/last_date")
    assert not PeriodClosing.objects.exists()
    known = str(uuid4())
    assert ask(accounts, id=known).status_code == 202
    assert_refusal(ask(accounts, id=known, remark="other"), 409, "document_conflict")
    work_closings()
    for day in ("2026-03-01", "2026-03-02"):
        assert_refusal(ask(accounts, last_date=day), 409, "already_closed")
    assert PeriodClosing.objects.count() == AccountingPeriod.objects.count() == 1


def test_a_closing_that_is_refused_on_its_turn_says_why(client_of: ClientOf) -> None:
    accounts = client_of("accounts")
    first, second = ask(accounts), ask(accounts)
    work_closings()
    assert assert_answer("get_period_closing", accounts.get(first["Location"]))["state"] == "closed"
    shown = assert_answer("get_period_closing", accounts.get(second["Location"]))
    assert (shown["state"], shown["refusal"]["code"]) == ("refused", "already_closed")
    assert accounts.get(f"{ROOT}/period-closings/{uuid4()}").status_code == 404
    assert accounts.get(f"{ROOT}/period-closings/soon").status_code == 404
