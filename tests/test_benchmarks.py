"""The bench itself; what it measures is not tested for speed here."""

import importlib

import pytest

from tests.benchmarks.__main__ import lay_out, list_benchmarks, main
from tests.benchmarks.measurement import Measurement


def test_every_benchmark_can_be_run() -> None:
    for name in list_benchmarks():
        assert callable(importlib.import_module(f"tests.benchmarks.{name}").main)


def test_main_lists_the_benchmarks(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--list"]) == 0
    assert capsys.readouterr().out.split() == list_benchmarks()


@pytest.mark.parametrize(
    ("value", "is_kept"), [(0.39, False), (0.4, True), (1.0, True), (1.1, False)]
)  # fmt: skip
def test_measurement_keeps_its_bounds(value: float, is_kept: bool) -> None:
    found = Measurement(what="share", value=value, unit="1", at_least=0.4, at_most=1.0)
    assert found.is_kept is is_kept
    assert found.bound == "at most 1, at least 0.4"


def test_lay_out_has_a_row_for_each_measurement() -> None:
    found = Measurement(what="spans", value=1234.5678, unit="spans/s")
    assert lay_out([("import", found), ("import", found)]).row_count == 2
