"""What a truck weighs down on its axles as the day goes on."""

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class LoadAlongDay:
    """Mass carried leaving the yard, at the heaviest moment and coming back, all in kilograms.

    `heaviest_after` is the number of steps done at that moment, 0 while leaving.
    """

    leaving_kg: float
    heaviest_kg: float
    heaviest_after: int
    returning_kg: float


def load_along_day(
    *, leaving_kg: float, taken_off_kg: Sequence[float], put_on_kg: Sequence[float]
) -> LoadAlongDay:
    """Follow the mass on a truck over the steps of its day.

    m_k = m_(k-1) - taken_off_k + put_on_k, m_0 = leaving; the heaviest is max_k m_k, the first of equals.

    Parameters
    ----------
    leaving_kg : float
        Mass of the load on leaving, >= 0 [kg]
    taken_off_kg, put_on_kg : sequence of float (steps,)
        What leaves the truck and what comes onto it at each step, each >= 0 [kg]

    Returns
    -------
    LoadAlongDay
        Masses [kg] and the number of steps after which it is heaviest [-]

    Raises
    ------
    ValueError
        If a mass is negative or the lists differ in length.

    References
    ----------
    .. [1] Conservation of mass.
    """
    if len(taken_off_kg) != len(put_on_kg):
        raise ValueError("taken_off_kg and put_on_kg must name the same steps")
    for name, values in (
        ("leaving_kg", [leaving_kg]),
        ("taken_off_kg", taken_off_kg),
        ("put_on_kg", put_on_kg),
    ):
        if not all(0 <= value < math.inf for value in values):
            raise ValueError(f"{name} must be at least 0")
    masses = [leaving_kg]
    for off, on in zip(taken_off_kg, put_on_kg, strict=True):
        masses.append(masses[-1] - off + on)
    heaviest = max(masses)
    return LoadAlongDay(leaving_kg, heaviest, masses.index(heaviest), masses[-1])
