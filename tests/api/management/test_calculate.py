"""The calculate command as another program calls it."""

import json
import os
import subprocess
import sys
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parents[3]
BORE = {"value": "0.452", "unit": "[in_i]"}
GOOD = {"bore": BORE, "length": {"value": 1000, "unit": "[ft_i]"}, "volume_unit": "[gal_us]"}


class _Standard:
    """Standard input as a command sees it."""

    def __init__(self, given: bytes) -> None:
        self.buffer = BytesIO(given)


def _run(*arguments: str, given: bytes = b"") -> tuple[int, str, str]:
    out, err, code = StringIO(), StringIO(), 0
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", _Standard(given))
        try:
            call_command("calculate", *arguments, stdout=out, stderr=err)
        except SystemExit as stop:
            code = int(stop.code or 0)
    return code, out.getvalue(), err.getvalue()


def _refused(*arguments: str, given: bytes) -> dict[str, Any]:
    code, out, err = _run(*arguments, given=given)
    assert (code, out) == (1, "")
    problem: dict[str, Any] = json.loads(err)
    return problem


@pytest.mark.outside_check("1000 ft of .500 hold 8.336 gal; how known: computed from recalled nominals")
def test_calculate_reads_and_writes_json() -> None:
    code, out, err = _run("bore-volume", given=json.dumps(GOOD).encode())
    assert (code, err) == (0, "")
    assert float(json.loads(out)["volume"]["value"]) == pytest.approx(8.336, abs=0.0006)


def test_calculate_refuses_with_every_fault_by_pointer() -> None:
    problem = _refused("bore-volume", given=json.dumps({"bore": BORE, "lenght": 1}).encode())
    assert problem["code"] == "bad_input"
    assert {error["pointer"] for error in problem["errors"]} == {"/lenght", "/length", "/volume_unit"}


@pytest.mark.parametrize(
    "given", [b"", b"{", b"[1", b"\xff\xfe", b'{"bore": 1, "bore": 2}', b"[" * 100_000, b"9" * 5000]
)
def test_calculate_refuses_what_is_not_usable_json(given: bytes) -> None:
    assert _refused("bore-volume", given=given)["code"] in {"not_json", "bad_input"}


def test_calculate_refuses_an_unknown_name() -> None:
    assert _refused("no-such", given=b"{}")["code"] == "unknown_calculation"


def test_calculate_without_a_name_ends_with_two() -> None:
    assert _run()[0] == 2


@pytest.mark.parametrize(
    ("arguments", "given", "code"),
    [(["bore-volume"], b"{}", 1), (["--no-such"], b"", 2), (["--list"], b"", 0)],
)
def test_calculate_needs_no_database_and_ends_with_its_code(
    arguments: list[str], given: bytes, code: int
) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "calculate", *arguments],
        input=given,
        capture_output=True,
        cwd=ROOT,
        env={**os.environ, "DATABASE_URL": "postgres://nobody@127.0.0.1:1/nothing"},
        check=False,
    )
    assert done.returncode == code


def test_calculate_lists_shows_schemas_and_examples() -> None:
    code, out, _ = _run("--list", "--format", "json")
    assert code == 0
    assert "bore-volume" in {row["name"] for row in json.loads(out)}
    assert "bore-volume" in _run("--list")[1]
    assert set(json.loads(_run("bore-volume", "--schema")[1])) == {"request", "answer"}
    example = _run("bore-volume", "--example")[1]
    assert _run("bore-volume", given=example.encode())[0] == 0
