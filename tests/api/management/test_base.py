"""What every command does the same way."""

import argparse
import json
from datetime import date
from io import StringIO
from typing import Any

import pytest

from api.management.base import SpanstockCommand, iso_date, iso_moment, on_clock
from inventory.errors import BadInput, Fault, NotFound, SpanstockError


class _Echo(SpanstockCommand):
    refusal: SpanstockError | None = None

    def answer(self, options: dict[str, Any]) -> str:
        if self.refusal:
            raise self.refusal
        return "55 gal"

    def to_json(self, answer: Any) -> Any:
        return {"load": answer}

    def to_text(self, answer: Any) -> str:
        return f"[b] load {answer}"


def _run(refusal: SpanstockError | None = None, form: str = "text") -> tuple[str, str, int]:
    out, err = StringIO(), StringIO()
    command = _Echo(stdout=out, stderr=err)
    command.refusal = refusal
    code = 0
    try:
        command.handle(format=form)
    except SystemExit as stop:
        code = int(stop.code or 0)
    return out.getvalue(), err.getvalue(), code


def test_command_writes_text_as_it_is() -> None:
    assert _run() == ("[b] load 55 gal\n", "", 0)


def test_command_writes_json() -> None:
    out, _, code = _run(form="json")
    assert (json.loads(out), code) == ({"load": "55 gal"}, 0)


def test_command_refuses_with_exit_code_one_and_every_fault() -> None:
    faults = [Fault("length", "x", "is not an amount", 3), Fault("cable size", ".7", "is not known", 9)]
    out, err, code = _run(BadInput.of(faults))
    assert (out, code) == ("", 1)
    assert "2 faults" in err
    assert "line 3, length ('x'): is not an amount" in err
    assert "line 9, cable size ('.7'): is not known" in err


def test_command_refuses_in_plain_words_where_there_is_one_reason() -> None:
    assert _run(NotFound("There is no job J-9.")) == ("", "There is no job J-9.\n", 1)


def test_command_refuses_with_a_problem_in_json() -> None:
    _, err, code = _run(BadInput.of([Fault("length", "x", "is not an amount", 3)]), "json")
    body = json.loads(err)
    assert code == 1
    assert body["code"] == "bad_input"
    assert body["errors"] == [{"pointer": "length", "value": "x", "detail": "is not an amount", "line": 3}]


def test_command_shows_no_progress_without_a_terminal() -> None:
    err = StringIO()
    with _Echo(stderr=err).progress() as report:
        report("reading", 1, 2)
    assert err.getvalue() == ""


def test_iso_date_takes_one_form_only() -> None:
    assert iso_date("2026-03-31") == date(2026, 3, 31)
    with pytest.raises(argparse.ArgumentTypeError, match="2026-03-31"):
        iso_date("31.3.2026")


def test_iso_moment_without_offset_is_on_the_companys_clocks() -> None:
    moment = on_clock(iso_moment("2026-03-31T17:30"), "America/Chicago")
    assert moment.isoformat() == "2026-03-31T17:30:00-05:00"
    assert on_clock(iso_moment("2026-03-31T17:30Z"), "America/Chicago").isoformat().endswith("+00:00")
    with pytest.raises(argparse.ArgumentTypeError, match="2026-03-31T17:30"):
        iso_moment("half past five")
