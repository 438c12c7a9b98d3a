"""From what an instrument or an eye shows to an amount and its standard uncertainty.

An instrument errs in two ways: anew with each reading (its step, how it was read) and alike in all readings
of a day (its class, its adjustment). They are kept apart, since the second kind does not average out.
"""

import math
from dataclasses import dataclass, replace

from inventory.calc.ranges import as_finite, as_not_negative, as_positive

# An eye tells quarters apart and no more: the contents lie within an eighth to either side.
EIGHTH = 1 / 8
# What is called full is within so much of the capacity (an estimate, no source).
FULL_TOLERANCE = 0.02
# An instrument nobody ever checked is worth half of one that was checked in time; no overdue one is worth
# less than a quarter (estimates, no source).
NEVER_CHECKED_FACTOR = 2.0
LARGEST_OVERDUE_FACTOR = 4.0


@dataclass(frozen=True)
class Reading:
    """An amount as read [u], with the parts of its standard uncertainty.

    The common part is shared by the instrument's readings of the day, the tare's by all weighings of the same
    container; the rest is the reading's own.
    """

    amount: float
    own_uncertainty: float
    common_uncertainty: float = 0.0
    tare_uncertainty: float = 0.0

    @property
    def standard_uncertainty(self) -> float:
        """All parts together [u]."""
        return math.hypot(self.own_uncertainty, self.common_uncertainty, self.tare_uncertainty)

    def scaled(self, factor: float) -> "Reading":
        """The same reading in another unit, or at another temperature."""
        size = abs(factor)
        return Reading(
            self.amount * factor,
            self.own_uncertainty * size,
            self.common_uncertainty * size,
            self.tare_uncertainty * size,
        )

    def widened(self, *, relative_uncertainty: float) -> "Reading":
        """The same reading, less sure by a share of its amount."""
        own = math.hypot(self.own_uncertainty, relative_uncertainty * self.amount)
        return replace(self, own_uncertainty=own)


def overdue_factor(*, days_overdue: int, interval_days: int | None) -> float:
    """How much less an instrument is worth past the day its check was due, f = 1 + overdue / interval.

    It may have drifted on at the rate that the interval allowed it; at most 4, and 2 for an instrument that
    nobody ever checked.

    Parameters
    ----------
    days_overdue : int
        Days since the check was due; 0 or less where it is not [d]
    interval_days : int or None
        Days from the last check to the day the next was due, > 0; None where it was never checked [d]

    Returns
    -------
    float
        Factor by which to multiply the instrument's uncertainties, 1 to 4 [-]

    Raises
    ------
    ValueError
        If the interval is not above 0.

    References
    ----------
    .. [1] Common practice, no source: drift grows with the time since the last check.
    """
    if interval_days is None:
        return NEVER_CHECKED_FACTOR
    interval = as_positive("interval_days", interval_days)
    return min(1.0 + max(as_finite("days_overdue", days_overdue), 0.0) / interval, LARGEST_OVERDUE_FACTOR)


def metered_amount(
    *,
    start: float,
    end: float,
    resolution: float,
    accuracy_class: float,
    drift_fraction: float = 0.0,
    trust_factor: float = 1.0,
) -> Reading:
    """Amount through a meter, V = (end - start) / (1 + drift).

    Two readings of step d, each rectangular over +-d/2: own part d / sqrt(6). The class is the largest error,
    rectangular over +-class % of V and alike in all readings of the day: common part class/100 V / sqrt(3).

    Parameters
    ----------
    start, end : float
        What the meter showed before and after, end >= start [any one unit u]
    resolution : float
        Step of its display, >= 0 [u]
    accuracy_class : float
        Largest error in percent of the amount, >= 0 [%]
    drift_fraction : float
        What it was found to read too high at its last check, as a share of the reading, > -1 [-]
    trust_factor : float
        Factor on the uncertainties of an instrument whose check is overdue, >= 1 [-]

    Returns
    -------
    Reading
        Amount and both parts of its standard uncertainty [u]

    Raises
    ------
    ValueError
        If the meter ran backwards or a value is out of range.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7 (rectangular distribution, a / sqrt(3)) and F.2.2.1 (resolution).
    .. [2] Directive 2014/32/EU, Annex VII (MI-005): a class is the largest permissible error in percent.
    """
    start, end = as_finite("start", start), as_finite("end", end)
    if end < start:
        raise ValueError(f"end must be at least the start, {start:g}, not {end:g}")
    step, percent = (
        as_not_negative("resolution", resolution),
        as_not_negative("accuracy_class", accuracy_class),
    )
    drift, factor = _as_drift(drift_fraction), _as_trust(trust_factor)
    amount = (end - start) / (1 + drift)
    return Reading(
        amount=amount,
        own_uncertainty=step / math.sqrt(6) * factor,
        common_uncertainty=percent / 100 * amount / math.sqrt(3) * factor,
    )


def weighed_mass(
    *,
    gross: float,
    tare: float,
    tare_half_width: float,
    resolution: float,
    accuracy_class: float = 0.0,
    drift_fraction: float = 0.0,
    trust_factor: float = 1.0,
) -> Reading:
    """Net mass of a weighed container, m = gross / (1 + drift) - tare.

    The gross reading's step d is rectangular over +-d/2, the tare over +-its half-width. A tare weighed on
    the same scale has half a step as its half-width, which gives d / sqrt(6) in all. The tare's part is kept
    apart, because it does not show in the difference of two weighings of one container.

    Parameters
    ----------
    gross : float
        Container with its contents, >= 0 [any one unit u of mass]
    tare : float
        The empty container, >= 0 [u]
    tare_half_width : float
        How far off the tare may be, >= 0 [u]
    resolution : float
        Step of the scale's display, >= 0 [u]
    accuracy_class : float
        Largest error in percent of what it shows, common to the scale's readings, >= 0 [%]
    drift_fraction : float
        What it was found to read too high at its last check, as a share of the reading, > -1 [-]
    trust_factor : float
        Factor on the uncertainties of an instrument whose check is overdue, >= 1 [-]

    Returns
    -------
    Reading
        Net mass, 0 where the gross is below the tare, and the parts of its standard uncertainty [u]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1: a resolution d contributes d / sqrt(12).
    """
    gross, tare = as_not_negative("gross", gross), as_not_negative("tare", tare)
    half_width = as_not_negative("tare_half_width", tare_half_width)
    step, percent = (
        as_not_negative("resolution", resolution),
        as_not_negative("accuracy_class", accuracy_class),
    )
    drift, factor = _as_drift(drift_fraction), _as_trust(trust_factor)
    corrected = gross / (1 + drift)
    return Reading(
        amount=max(corrected - tare, 0.0),
        own_uncertainty=step / math.sqrt(12) * factor,
        common_uncertainty=percent / 100 * corrected / math.sqrt(3) * factor,
        tare_uncertainty=half_width / math.sqrt(3),
    )


def dipped_amount(*, amount: float, half_width: float, trust_factor: float = 1.0) -> Reading:
    """Amount by dip stick, rectangular over +-half a width: u = a / sqrt(3).

    Parameters
    ----------
    amount : float
        What the stick shows, >= 0 [any one unit u]
    half_width : float
        How far off it may be, >= 0 [u]
    trust_factor : float
        Factor on the uncertainty of a stick whose check is overdue, >= 1 [-]

    Returns
    -------
    Reading
        Amount and its standard uncertainty, all of it its own [u]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7: rectangular distribution, a / sqrt(3).
    """
    width = as_not_negative("half_width", half_width) * _as_trust(trust_factor)
    return Reading(as_not_negative("amount", amount), width / math.sqrt(3))


def amount_by_quarters(*, quarters: float, capacity: float) -> Reading:
    """Amount by eye in quarters of the capacity C: V = q/4 C, rectangular over +-C/8, u = C / (8 sqrt(3)).

    Parameters
    ----------
    quarters : float
        How many quarters it is full, 0 to 4 [-]
    capacity : float
        What it holds when full, > 0 [any one unit u]

    Returns
    -------
    Reading
        Amount and its standard uncertainty, all of it its own [u]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7; that an eye tells quarters apart is common practice, no source.
    """
    full = as_positive("capacity", capacity)
    if not 0 <= as_finite("quarters", quarters) <= 4:
        raise ValueError(f"quarters must be 0 to 4, not {quarters:g}")
    return Reading(quarters / 4 * full, EIGHTH * full / math.sqrt(3))


def full_amount(*, capacity: float) -> Reading:
    """Amount of a container called full: its capacity C, rectangular over +-2 % of it.

    Parameters
    ----------
    capacity : float
        What it holds when full, > 0 [any one unit u]

    Returns
    -------
    Reading
        Amount and its standard uncertainty, all of it its own [u]

    Raises
    ------
    ValueError
        If the capacity is not above 0.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7; the 2 % are an estimate, no source.
    """
    full = as_positive("capacity", capacity)
    return Reading(full, FULL_TOLERANCE * full / math.sqrt(3))


def empty_amount(*, heel: float) -> Reading:
    """Amount of a container called empty: nothing, though up to a heel may be left in it.

    What is left lies rectangular over 0 to the heel h; about the nothing that is written down, its root mean
    square is h / sqrt(3).

    Parameters
    ----------
    heel : float
        What no pump lifts out of it, >= 0 [any one unit u]

    Returns
    -------
    Reading
        Nothing, with its standard uncertainty, all of it its own [u]

    Raises
    ------
    ValueError
        If the heel is below 0.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7 and F.2.4.5 (an effect that is known of and not corrected).
    """
    return Reading(0.0, as_not_negative("heel", heel) / math.sqrt(3))


def unknown_temperature_uncertainty(*, cold_density: float, warm_density: float) -> float:
    """Relative standard uncertainty of a volume whose temperature nobody read.

    It may have been anywhere between a cold and a warm day: the factor to the reference temperature is
    rectangular over (rho_cold - rho_warm) / 2 to either side, u = (rho_cold - rho_warm) / (rho_cold +
    rho_warm) / sqrt(3).

    Parameters
    ----------
    cold_density, warm_density : float
        Densities of the fluid on such days, > 0 [kg/m^3]

    Returns
    -------
    float
        Relative standard uncertainty, >= 0 [-]

    Raises
    ------
    ValueError
        If a density is not above 0.

    References
    ----------
    .. [1] Conservation of mass; JCGM 100:2008 (GUM), 4.3.7.
    """
    cold, warm = as_positive("cold_density", cold_density), as_positive("warm_density", warm_density)
    return float(abs(cold - warm) / (cold + warm) / math.sqrt(3))


def _as_drift(drift_fraction: float) -> float:
    drift = float(as_finite("drift_fraction", drift_fraction))
    if drift <= -1:
        raise ValueError(f"drift_fraction must be above -1, got {drift:g}")
    return drift


def _as_trust(trust_factor: float) -> float:
    factor = float(as_finite("trust_factor", trust_factor))
    if factor < 1:
        raise ValueError(f"trust_factor must be 1 or more, got {factor:g}")
    return factor
