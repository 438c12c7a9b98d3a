"""Log lines are JSON with the id of the request that caused them, in tasks too."""

import json
import logging
import sys
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client

from api.config import celery
from api.config.logs import JsonFormatter, get_request_id, set_request_id


def _line(message: str, **extra: Any) -> dict[str, Any]:
    record = logging.makeLogRecord({"name": "here", "levelname": "INFO", "msg": message, **extra})
    text = JsonFormatter().format(record)
    assert "\n" not in text
    found: dict[str, Any] = json.loads(text)
    return found


@pytest.fixture(autouse=True)
def _no_request() -> Any:
    yield
    set_request_id("")


def test_line_holds_what_was_said_and_given_beside_it() -> None:
    line = _line("told", event="sign_in", account="a\nb", secret=object())
    assert (line["message"], line["event"], line["account"]) == ("told", "sign_in", "a\nb")
    assert "secret" not in line
    assert "request_id" not in line
    assert line["at"].endswith("+00:00")


def test_fault_is_in_the_same_line() -> None:
    try:
        raise ValueError("broken")
    except ValueError:
        line = _line("failed", exc_info=sys.exc_info())
    assert "ValueError: broken" in line["fault"]


@pytest.mark.django_db
def test_answer_carries_the_id_of_the_request_or_a_new_one() -> None:
    client = Client()
    assert client.get("/health/live", headers={"X-Request-ID": "phone-0001"})["X-Request-ID"] == "phone-0001"
    made = client.get("/health/live")["X-Request-ID"]
    assert len(made) == 32
    for bad in ("short", "x" * 65, 'a"}\x0b{"level": "x"'):
        assert client.get("/health/live", headers={"X-Request-ID": bad})["X-Request-ID"] != bad
    assert get_request_id() == ""


def test_request_id_goes_with_the_task_and_ends_with_it() -> None:
    headers: dict[str, Any] = {}
    celery.send_request_id(headers=headers)
    assert headers == {}
    set_request_id("request-0001")
    celery.send_request_id(headers=headers)
    set_request_id("")
    celery.take_request_id(task=SimpleNamespace(request=SimpleNamespace(**headers)))
    assert _line("working")["request_id"] == "request-0001"
    celery.drop_request_id()
    assert "request_id" not in _line("after")
