"""What is to be learnt again is written down with the report, once however many ask."""

from datetime import UTC, datetime

import pytest

from jobs.models import RefitRequest
from jobs.services.reports import after
from jobs.services.reports.content import ReportContent
from tests.factories.reports import S1, S2, extracted, make_reported_day

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def said(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    found: list[str] = []
    monkeypatch.setattr(after, "KINDS", ["rates", "fits"])
    monkeypatch.setattr(after, "HINTS", [lambda: found.append("look")])
    return found


def test_request_refits_is_one_of_each_kind_until_it_is_done() -> None:
    day = make_reported_day()
    day.report(ReportContent(attempts=(extracted(S1),)))
    day.report(ReportContent(attempts=(extracted(S2),)), hours=10)
    assert sorted(RefitRequest.objects.values_list("kind", flat=True)) == ["fits", "rates"]
    [request] = after.find_open_requests("rates")
    after.close_request(request, at=datetime(2026, 3, 3, tzinfo=UTC))
    assert after.find_open_requests("rates") == []
    day.report(ReportContent(attempts=(extracted(S1),)), hours=11)
    assert len(after.find_open_requests("rates")) == 1


def test_request_refits_hints_after_commit(
    said: list[str], django_capture_on_commit_callbacks: object
) -> None:
    day = make_reported_day()
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
        day.report(ReportContent(attempts=(extracted(S1),)))
        assert said == []
    assert said == ["look"]
