"""The calculations through their door: shapes and conventions that the pure functions do not know."""

from typing import Any

import pytest

from api.wire.calculations import calculate
from inventory.errors import BadInput


def _quantity(value: float | str, unit: str) -> dict[str, Any]:
    return {"value": str(value), "unit": unit}


def _span(**more: Any) -> dict[str, Any]:
    return {"bore": _quantity("0.565", "[in_i]"), "length": _quantity(1000, "[ft_i]"), **more}


def _crew_day(spans: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    given = {"spans": spans, "quantile": 0.9, "draws": 100, "volume_unit": "[gal_us]"}
    return calculate("crew-day-fluid", given | more)


def _faults(name: str, data: Any) -> list[str]:
    with pytest.raises(BadInput) as refusal:
        calculate(name, data)
    return [fault.pointer for fault in refusal.value.faults]


@pytest.mark.outside_check(
    "1000 ft of .625 hold 13.024 gal; how known: computed from recalled nominals of the open standard's sizes"
)
def test_bore_volume_and_crew_day_of_one_bare_span_agree() -> None:
    data = {**_span(), "volume_unit": "[gal_us]"}
    volume = calculate("bore-volume", data)["volume"]
    assert float(volume["value"]) == pytest.approx(13.024, abs=0.001)
    assert float(_crew_day([_span()])["load"]["value"]) == pytest.approx(float(volume["value"]))


def test_crew_day_fluid_sweeps_the_only_run_after_the_last_span() -> None:
    share = {"recovered_fraction": {"mean": 0.9, "sd": 0}}
    found = _crew_day([_span(**share), _span(**share)], reusable_fraction=1)
    assert float(found["load"]["value"]) == pytest.approx(2 * 13.0246, rel=1e-4)
    assert float(found["recovered_mean"]["value"]) == pytest.approx(0.9 * 2 * 13.0246, rel=1e-4)


def test_crew_day_fluid_sweeps_a_run_of_its_own_before_the_next_span() -> None:
    share = {"recovered_fraction": {"mean": 0.9, "sd": 0}}
    found = _crew_day([_span(run="a", **share), _span(run=2, **share)], reusable_fraction=1)
    assert float(found["load"]["value"]) == pytest.approx(1.1 * 13.0246, rel=1e-4)


def test_crew_day_fluid_counts_the_set_up_of_every_span_and_shows_five_quantiles() -> None:
    found = _crew_day([_span(), _span()], set_up_volume=_quantity(1, "[gal_us]"))
    assert float(found["injected_mean"]["value"]) == pytest.approx(2 * 13.0246 + 2, rel=1e-4)
    assert set(found["quantiles"]) == {"0.5", "0.8", "0.9", "0.95", "0.99"}


@pytest.mark.parametrize(
    ("spans", "more", "pointer"),
    [
        ([{"bore": _quantity(1, "[in_i]")}], {}, "/spans/0/length"),
        ([_span(injected_ratio={"mean": 1, "sd": -0.1})], {}, "/spans/0/injected_ratio/sd"),
        ([_span(caught_fraction={"mean": 0.5, "sd": 0.5})], {}, "/spans/0/caught_fraction/sd"),
        (
            [_span(caught_fraction={"mean": 0.5, "sd": 0}, recovered_fraction={"mean": 0.4, "sd": 0})],
            {},
            "/spans/0/recovered_fraction/mean",
        ),
        ([_span()], {"quantile": 1}, "/quantile"),
        ([_span()], {"draws": 10**9}, "/draws"),
        ([_span()] * 100, {"draws": 10**6}, "/draws"),
        ([], {}, "/spans"),
    ],
)
def test_crew_day_fluid_names_what_is_wrong(
    spans: list[dict[str, Any]], more: dict[str, Any], pointer: str
) -> None:
    given = {"spans": spans, "quantile": 0.9, "draws": 100, "volume_unit": "L"}
    assert _faults("crew-day-fluid", given | more) == [pointer]


def test_film_residual_takes_plain_numbers_and_quantities_in_different_units() -> None:
    plain = calculate("film-residual", {"bore": 25.4, "film_thickness": "0.254"})
    physical = {"bore": _quantity(1, "[in_i]"), "film_thickness": _quantity("0.254", "mm")}
    assert calculate("film-residual", physical) == plain == {"fraction_left": pytest.approx(0.0396)}


def test_cable_length_adds_mixed_units_in_the_unit_of_the_first() -> None:
    data = {"span_lengths": [_quantity(100, "[ft_i]"), _quantity("30.48", "m")], "allowance_fraction": 0.5}
    assert calculate("cable-length", data) == {"length": {"value": "300.0", "unit": "[ft_i]"}}


def test_cable_length_of_plain_numbers_is_plain() -> None:
    assert calculate("cable-length", {"span_lengths": [1, "2.5"], "tails": [0.5]}) == {"length": 4.0}


def test_fittings_needed_answers_by_size() -> None:
    data = {"spans": {".500": 10, ".750": 0}, "sets_in_use": 2, "loss_probability": 0.05, "quantile": 0.95}
    assert calculate("fittings-needed", data) == {
        ".500": {"pressure_end": 2, "exit_end": 2, "spares": 2},
        ".750": {"pressure_end": 0, "exit_end": 0, "spares": 0},
    }


@pytest.mark.parametrize("more", [{}, {"method": "reml", "between_variance": 1}])
def test_pooled_estimate_wants_either_a_method_or_the_variance(more: dict[str, Any]) -> None:
    assert _faults("pooled-estimate", {"estimates": [1, 2], "variances": [1, 1], **more}) == ["/method"]


def test_pooled_estimate_of_one_group_needs_the_variance_given() -> None:
    assert _faults("pooled-estimate", {"estimates": [1], "variances": [1], "method": "reml"}) == [
        "/estimates"
    ]
    found = calculate("pooled-estimate", {"estimates": [1], "variances": [1], "between_variance": 0.5})
    assert found["mean"] == 1


def test_recovery_ratio_unbounded_has_no_interval() -> None:
    data = {"a": 1, "b": 1, "var_a": 0.04, "var_b": 1, "cov": 0, "critical": "1.96"}
    found = calculate("recovery-ratio", data)
    assert (found["interval"], found["interval_kind"]) == (None, "unbounded")


@pytest.mark.parametrize(
    ("data", "pointer"),
    [
        ({}, ""),
        ({"injected": [1, 2]}, "/recovered"),
        ({"injected": [1, 2], "recovered": [1, 2], "a": 1}, ""),
        ({"a": 1, "b": 1, "var_a": 1, "var_b": 1}, "/critical"),
        ({"a": 1, "b": 0, "var_a": 1, "var_b": 1, "critical": 2}, "/b"),
        ({"injected": [1, 2], "recovered": [1]}, "/recovered"),
    ],
)
def test_recovery_ratio_names_what_is_wrong(data: dict[str, Any], pointer: str) -> None:
    assert _faults("recovery-ratio", data) == [pointer]


STREAMS = [
    {"name": "in", "measured": 10, "standard_uncertainty": 1},
    {"name": "out", "measured": 9, "standard_uncertainty": 1},
    {"name": "lost"},
]


def test_fluid_balance_names_streams_and_leaves_open_what_is_not_determined() -> None:
    streams = [*STREAMS, {"name": "elsewhere", "measured": None}]
    found = calculate("fluid-balance", {"streams": streams, "balances": [{"in": 1, "out": -1, "lost": -1}]})
    by_name = {stream["name"]: stream for stream in found["streams"]}
    assert by_name["lost"]["reconciled"] == 1
    assert by_name["lost"]["adjustment"] is None
    assert by_name["elsewhere"]["reconciled"] is None
    assert found["critical_value"] is None


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"balances": [{"in": 1, "gone": -1}]}, "/balances/0/gone"),
        ({"streams": [*STREAMS, STREAMS[0]]}, "/streams/3/name"),
        ({"streams": [*STREAMS, {"name": "x", "measured": 1}]}, "/streams/3/standard_uncertainty"),
        (
            {"streams": [*STREAMS, {"name": "x", "measured": 1, "standard_uncertainty": -1}]},
            "/streams/3/standard_uncertainty",
        ),
        ({"correlations": [["in", "lost", 0.5]]}, "/correlations/0"),
        ({"correlations": [["in", "out", 0.5], ["out", "in", 0.5]]}, "/correlations/1"),
        ({"correlations": [["in", "out", 1.5]]}, "/correlations/0/2"),
    ],
)
def test_fluid_balance_names_what_is_wrong(more: dict[str, Any], pointer: str) -> None:
    data = {"streams": STREAMS, "balances": [{"in": 1, "out": -1, "lost": -1}]} | more
    assert _faults("fluid-balance", data) == [pointer]


TABLE = [[0, 1000], [20, 990]]


def test_volume_at_reference_keeps_the_unit_and_reads_both_temperature_scales() -> None:
    given = {"volume": _quantity(100, "L"), "density_table": TABLE, "temperature": _quantity(68, "[degF]")}
    found = calculate("volume-at-reference", given | {"reference_temperature": 0})
    assert found == {"volume": {"value": "99.0", "unit": "L"}, "factor": 0.99}


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"temperature": 21}, "/temperature"),
        ({"reference_temperature": -1}, "/reference_temperature"),
        ({"density_table": [[0, 1], [0, 1]]}, "/density_table"),
        ({"volume": _quantity(-1, "L")}, "/volume/value"),
    ],
)
def test_volume_at_reference_names_what_is_wrong(more: dict[str, Any], pointer: str) -> None:
    given = {
        "volume": _quantity(1, "L"),
        "density_table": TABLE,
        "temperature": 1,
        "reference_temperature": 0,
    }
    assert _faults("volume-at-reference", given | more) == [pointer]


def test_container_contents_points_at_a_gross_below_the_tare() -> None:
    masses = {
        "gross": _quantity(1, "kg"),
        "tare": _quantity(3, "[lb_av]"),
        "scale_resolution": _quantity(1, "g"),
    }
    more = {"temperature": 5, "reference_temperature": 5, "density_table": TABLE, "volume_unit": "L"}
    assert _faults("container-contents", masses | more) == ["/gross"]
