"""Log lines as JSON, one object a line, each with the id of the request that caused it.

The id comes with the request (`X-Request-ID`) or is made here; it is given back with the answer and goes on
with every task that is sent on the way, so that what happened for one request can be found as a whole.
"""

import json
import logging
import re
from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from django.core.signals import request_finished
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse

REQUEST_ID_HEADER = "X-Request-ID"
# What others send is repeated in our log: short, and without anything that could break a line.
_GOOD_ID = re.compile(r"[A-Za-z0-9._-]{8,64}", re.ASCII)
_request_id: ContextVar[str] = ContextVar("request_id", default="")
_OWN = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


def get_request_id() -> str:
    """The id of the request, or of the request that sent the task, that is being worked on; or nothing."""
    return _request_id.get()


def set_request_id(text: str) -> None:
    """Work for that request from here on; an id of another form is not taken over."""
    _request_id.set(text if _GOOD_ID.fullmatch(text) else "")


class JsonFormatter(logging.Formatter):
    """A record as one line of JSON; what a caller gave as `extra` stands beside the message."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        if get_request_id():
            line["request_id"] = get_request_id()
        line |= {
            name: value
            for name, value in vars(record).items()
            if name not in _OWN and isinstance(value, str | int | float | bool | None)
        }
        if record.exc_info:
            line["fault"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=True)


class RequestIds:
    """Middleware: gives each request its id and hands it back with the answer."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        set_request_id(request.headers.get(REQUEST_ID_HEADER, ""))
        if not get_request_id():
            set_request_id(uuid4().hex)
        response = self.get_response(request)
        response[REQUEST_ID_HEADER] = get_request_id()
        return response


@receiver(request_finished)
def _drop_request_id(**kwargs: Any) -> None:
    """Not in the middleware: Django logs an answer's status after every middleware has done with it."""
    _request_id.set("")
