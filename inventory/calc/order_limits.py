"""The most that is worth ordering: goods that spoil are used up in time, goods that arrive have room."""

import numpy.typing as npt

from inventory.calc.ranges import FloatArray, as_finite, as_not_negative, as_positive


def used_within_life(
    *, use_by_day: npt.ArrayLike, daily_rate: float, arrival_day: int, life_days: int, there: float
) -> float:
    """What is used of an arriving lot before it spoils, Q = max(0, U(a + L) - max(U(a), s)).

    U(t) is the use until day t, beyond the days known at the daily rate. What is there goes first, so of the
    L days from arrival a on only those after the stock s is gone serve the new lot. With a steady rate d and
    no stock left it is the usual d L.

    Parameters
    ----------
    use_by_day : array_like
        Use until the end of each day, cumulative, net of what comes back, shape (days,) [any unit u]
    daily_rate : float
        Use per day after the days known, >= 0 [u per day]
    arrival_day : int
        Day of arrival a, counted from 0, >= 0 [days]
    life_days : int
        Days L for which the goods keep, > 0 [days]
    there : float
        Stock s on hand and on its way, >= 0 [u]

    Returns
    -------
    float
        Q >= 0 [u]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Silver, E. A., Pyke, D. F. & Peterson, R. (1998), Inventory Management and Production Planning and
       Scheduling, 3rd ed., section 5.6 (limits on order sizes: the shelf life).
    """
    life, stock = as_positive("life_days", life_days), as_not_negative("there", there)
    end = used_until(use_by_day=use_by_day, daily_rate=daily_rate, day=arrival_day + int(life))
    before = used_until(use_by_day=use_by_day, daily_rate=daily_rate, day=arrival_day)
    return max(0.0, end - max(before, stock))


def room_at_arrival(
    *, room: float, use_by_day: npt.ArrayLike, daily_rate: float, arrival_day: int, there: float
) -> float:
    """Room left when an order arrives, Q = max(0, R - max(0, s - U(a))).

    Parameters
    ----------
    room : float
        Room R for the material, > 0 [any unit u]
    use_by_day, daily_rate, arrival_day, there
        As for `used_within_life` [u], [u per day], [days], [u]

    Returns
    -------
    float
        Q >= 0 [u]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] As for `used_within_life` (limits on order sizes: the capacity of the store).
    """
    whole, stock = as_positive("room", room), as_not_negative("there", there)
    used = used_until(use_by_day=use_by_day, daily_rate=daily_rate, day=arrival_day)
    return max(0.0, float(whole) - max(0.0, stock - used))


def used_until(*, use_by_day: npt.ArrayLike, daily_rate: float, day: int) -> float:
    """Use before a day, U(t), at the daily rate beyond the days known.

    Parameters
    ----------
    use_by_day, daily_rate
        As for `used_within_life` [any unit u], [u per day]
    day : int
        t, counted from 0, >= 0 [days]

    Returns
    -------
    float
        U(t) [u]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] A sum.
    """
    use: FloatArray = as_finite("use_by_day", use_by_day)
    rate, until = as_not_negative("daily_rate", daily_rate), int(as_not_negative("day", day))
    known = min(until, len(use))
    return float(use[known - 1] if known else 0.0) + rate * (until - known)
