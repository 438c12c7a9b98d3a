"""Every step runs, whatever an earlier one found."""

import sys
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from api.management.commands import check_everything

PASSES = [sys.executable, "-c", ""]
FAILS = [sys.executable, "-c", "raise SystemExit(3)"]


def test_check_everything_names_its_steps() -> None:
    assert list(check_everything.STEPS) == [
        "format", "lint", "types", "import contracts", "missing migrations", "tests",
    ]  # fmt: skip


def test_check_everything_goes_on_after_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    steps = {"format": FAILS, "lint": PASSES, "types": ["/nowhere/to/be/found"], "tests": FAILS}
    monkeypatch.setattr(check_everything, "STEPS", steps)
    output = StringIO()
    with pytest.raises(CommandError, match=r"2 of 3 checks failed: format, types\.") as refused:
        call_command("check_everything", "--without-tests", stdout=output)
    assert refused.value.returncode == 1
    assert "format: FAILED" in output.getvalue()
    assert "lint: passed" in output.getvalue()


def test_check_everything_says_when_all_is_well(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_everything, "STEPS", {"lint": PASSES, "tests": PASSES})
    output = StringIO()
    call_command("check_everything", stdout=output)
    assert output.getvalue().endswith("All 2 checks passed.\n")
