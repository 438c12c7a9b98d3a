"""Normal equations of the sizes' means, turned so that each axis is told apart from the others.

On the axes of a precision matrix P = U diag(l) U' everything that a fit needs, for many variances of the
sizes' means, is a sum over axes: no matrix is inverted, and a variance of 0 is as good as any other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
# An axis on which there is so little, against the best of them, is not seen at all.
TRACE = 1e-9


@dataclass(frozen=True)
class Axes:
    """Eigenvalues (..., k), eigenvectors in columns, and what each has of the common mean (..., k)."""

    values: Floats
    vectors: Floats
    loads: Floats

    @property
    def rank(self) -> int:
        """Axes of which the readings say anything."""
        return int(np.count_nonzero(self.values.reshape(-1, self.values.shape[-1])[0]))


def turn_to_axes(precisions: Floats) -> Axes:
    """Axes of one precision matrix or of many.

    Parameters
    ----------
    precisions : array (..., k, k)
        X'WX of the sizes' means, symmetric and not negative definite [1 / unit of the ratio squared]

    Returns
    -------
    Axes
        In the same unit [1 / unit of the ratio squared]

    References
    ----------
    .. [1] Searle, Casella and McCulloch, "Variance Components", ch. 6.
    """
    values, vectors = np.linalg.eigh(precisions)
    seen = values > TRACE * values.max(axis=-1, keepdims=True)
    return Axes(np.where(seen, values, 0.0), vectors, vectors.sum(axis=-2))


def scatter_information(axes: Axes, between: Floats) -> Floats:
    """How well the readings tell tau apart from its neighbours: 0 where not at all, 1 at the best.

    sqrt(I(ln tau) / (2 (axes - 1))) with the restricted Fisher information I(ln tau) = 2 tau^4 tr[(S'PS)^2],
    S'PS = diag(e) - v v' / a, e = l / (1 + l tau^2), v = o e, a = sum o^2 e. Jeffreys' rule gives ln tau a
    weight in proportion to it.

    Parameters
    ----------
    axes : Axes
        Axes (..., k) with two or more that are seen
    between : array (..., nodes)
        Variances tau^2, >= 0 [unit of the ratio squared]

    Returns
    -------
    array (..., nodes)
        Between 0 and 1 [-]

    References
    ----------
    .. [1] Searle, Casella and McCulloch, "Variance Components", section 6.6: information of REML.
    """
    values, loads = axes.values[..., None, :], axes.loads[..., None, :]
    damped = values / (1 + values * between[..., None])
    shared = loads * damped
    total = (loads * shared).sum(axis=-1)
    square = (damped**2).sum(axis=-1)
    square -= 2 * (damped * shared**2).sum(axis=-1) / total
    square += ((shared**2).sum(axis=-1) / total) ** 2
    found: Floats = between * np.sqrt(np.maximum(square, 0.0) / (axes.rank - 1))
    return found
