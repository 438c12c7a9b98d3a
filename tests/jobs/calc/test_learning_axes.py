"""Axes of the sizes' normal equations against matrices written out."""

import numpy as np
import pytest

from jobs.calc.learning_axes import scatter_information, turn_to_axes


def test_turn_to_axes_gives_the_matrix_back_and_counts_what_is_seen() -> None:
    shares = np.array([[1.0, 0.0, 0.0], [0.5, 0.5, 0.0], [0.2, 0.8, 0.0]])
    precision = shares.T @ np.diag([3.0, 4.0, 5.0]) @ shares
    axes = turn_to_axes(precision)
    assert axes.rank == 2
    assert (axes.vectors * axes.values) @ axes.vectors.T == pytest.approx(precision)
    assert axes.loads == pytest.approx(np.ones(3) @ axes.vectors)


@pytest.mark.outside_check(
    "restricted information of a variance component, tr[(P S S')^2] / 2 with P = V^-1 - V^-1 1 1' V^-1 / "
    "(1' V^-1 1) (Searle, Casella and McCulloch 1992, section 6.6), here by matrices; how known: closed form"
)
@pytest.mark.parametrize("between", [0.0, 0.04, 1.0, 50.0])
def test_scatter_information_is_that_of_restricted_likelihood(between: float) -> None:
    random = np.random.default_rng(6)
    shares = random.dirichlet([0.4] * 3, 8)
    noise = random.uniform(0.2, 1.0, 8)
    covariance = np.diag(noise) + between * shares @ shares.T
    inverse = np.linalg.inv(covariance)
    once = inverse @ np.ones(8)
    projected = inverse - np.outer(once, once) / once.sum()
    moved = projected @ shares @ shares.T
    information = 0.5 * np.trace(moved @ moved)
    axes = turn_to_axes(shares.T @ (shares / noise[:, None]))
    found = scatter_information(axes, np.array([between]))[0]
    # That of ln tau is 4 tau^4 times that of tau^2, and at most 2 for each of the two contrasts.
    assert found == pytest.approx(np.sqrt(4 * between**2 * information / 4))
