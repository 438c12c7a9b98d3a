"""Stock day by day, against printed tables and arithmetic."""

import numpy as np
import pytest

from inventory.calc.stock_projection import chance_of_shortage, cover_needed, projected_levels


@pytest.mark.outside_check(
    "Conservation of stock, arithmetic: 50 - 30, + 25 - 40, - 6 leaves 20, 5, -1; how known: computed by hand"
)
def test_projected_levels_adds_up_day_by_day() -> None:
    levels = projected_levels(on_hand=50, outflow=[30, 40, 6], inflow=[0, 25, 0])
    assert levels.tolist() == [20, 5, -1]


@pytest.mark.outside_check(
    "NIST/SEMATECH e-Handbook of Statistical Methods 1.3.6.7.1, cumulative standard normal table: "
    "0.5 + 0.34134 at 1.00, 0.5 + 0.47500 at 1.96; how known: from memory of the table"
)
def test_chance_of_shortage_agrees_with_the_normal_table() -> None:
    chances = chance_of_shortage(levels=[10.0, 19.6, -19.6], variances=[100.0, 100.0, 100.0])
    assert chances == pytest.approx([0.15866, 0.02500, 0.97500], abs=5e-6)


def test_chance_of_shortage_is_plain_where_nothing_is_uncertain() -> None:
    assert chance_of_shortage(levels=[1.0, 0.0, -1.0], variances=[0.0, 0.0, 0.0]).tolist() == [0, 0, 1]


@pytest.mark.outside_check(
    "Standard normal quantiles 1.6449 (95 %) and 2.3263 (99 %), NIST/SEMATECH e-Handbook 1.3.6.7.1; "
    "how known: from memory of the table"
)
def test_cover_needed_is_the_quantile_times_the_spread_less_the_level() -> None:
    levels, variances = np.array([10.0, 30.0]), np.array([100.0, 100.0])
    assert cover_needed(levels=levels, variances=variances, service=0.95) == pytest.approx(
        [6.449, 0], abs=1e-3
    )
    assert cover_needed(levels=levels, variances=variances, service=0.99) == pytest.approx(
        [13.263, 0], abs=1e-3
    )


@pytest.mark.parametrize(
    ("wrong", "names"),
    [({"on_hand": -1.0}, "on_hand"), ({"outflow": [-1.0]}, "outflow"), ({"inflow": [1.0, 2.0]}, "shape")],
)
def test_projected_levels_names_what_is_out_of_range(wrong: dict[str, object], names: str) -> None:
    given: dict[str, object] = {"on_hand": 1.0, "outflow": [1.0], "inflow": [0.0]}
    with pytest.raises(ValueError, match=names):
        projected_levels(**{**given, **wrong})  # type: ignore[arg-type]


@pytest.mark.parametrize("service", [0.4, 1.0, 1.5])
def test_cover_needed_refuses_a_service_that_cannot_be_aimed_at(service: float) -> None:
    with pytest.raises(ValueError, match="service"):
        cover_needed(levels=[1.0], variances=[1.0], service=service)


def test_chance_of_shortage_refuses_negative_variances() -> None:
    with pytest.raises(ValueError, match="variances"):
        chance_of_shortage(levels=[1.0], variances=[-1.0])


@pytest.mark.outside_check(
    "Binomial(100, 0.5): P(X >= 61) = 0.0176 exactly (scipy 1.17 stats.binom.sf(60, 100, 0.5)); "
    "how known: computed by a general-purpose library"
)
def test_chance_of_shortage_of_pieces_is_close_to_the_exact_count() -> None:
    # Sixty pieces on hand, one hundred uses that each take one with probability a half: mean 50, variance 25.
    [chance] = chance_of_shortage(levels=[10.0], variances=[25.0], step=1.0)
    assert chance == pytest.approx(0.0176, abs=5e-4)
    [without] = chance_of_shortage(levels=[10.0], variances=[25.0])
    assert abs(without - 0.0176) > 4e-3


def test_cover_needed_of_pieces_leaves_half_a_piece_where_something_is_uncertain() -> None:
    lacking = cover_needed(levels=[0.0, -2.0], variances=[1.0, 0.0], service=0.95, step=1.0)
    assert lacking == pytest.approx([1.1449, 2.0], abs=1e-4)
