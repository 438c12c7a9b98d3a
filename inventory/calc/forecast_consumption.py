"""Scheduled work takes the place of what was forecast, so that nothing is counted twice."""

import numpy as np
import numpy.typing as npt

from inventory.calc.ranges import FloatArray, as_not_negative, as_whole


def unscheduled_forecast(*, forecast: npt.ArrayLike, scheduled: npt.ArrayLike, reach: int = 2) -> FloatArray:
    """What of a forecast is left beside the work already scheduled.

    In each period the scheduled amount uses up the forecast of its own period first; what is over uses up
    that of the periods around it, the nearest first and of two as near the earlier, as far as `reach`. So the
    whole is max(forecast, scheduled) where work is spread as usual, and no more where it is bunched.

    Parameters
    ----------
    forecast, scheduled : array_like
        Amounts >= 0 by series and period, shape (n, periods) [any unit u]
    reach : int
        How many periods before and after may be used up, >= 0 [periods]

    Returns
    -------
    ndarray
        Forecast left, >= 0, shape (n, periods) [u]

    Raises
    ------
    ValueError
        If an amount is negative, the shapes differ, or the reach is below 0.

    References
    ----------
    .. [1] Silver, E. A., Pyke, D. F. & Peterson, R. (1998), Inventory Management and Production Planning and
       Scheduling, 3rd ed., chapter 15 (orders in hand consume the forecast in a master schedule).
    """
    left = np.array(as_not_negative("forecast", forecast), dtype=np.float64)
    over = np.array(as_not_negative("scheduled", scheduled), dtype=np.float64)
    if left.shape != over.shape or left.ndim != 2:
        raise ValueError(f"scheduled must have the shape of forecast, got {over.shape} for {left.shape}")
    _use_up(left, over, 0)
    for distance in range(1, as_whole("reach", reach, least=0) + 1):
        _use_up(left, over, -distance)
        _use_up(left, over, distance)
    return left


def _use_up(left: FloatArray, over: FloatArray, shift: int) -> None:
    """Let what is over in each period take from the forecast `shift` periods away; both change."""
    if abs(shift) >= left.shape[1]:
        return
    end = left.shape[1] - abs(shift)
    there = slice(shift, None) if shift > 0 else slice(0, end)
    here = slice(0, end) if shift > 0 else slice(-shift, None)
    taken = np.minimum(left[:, there], over[:, here])
    left[:, there] -= taken
    over[:, here] -= taken
