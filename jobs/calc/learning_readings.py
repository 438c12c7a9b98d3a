"""Field readings as the fits take them: totals, with the spans that each total covers.

A catch drum often serves several spans and is read once. Nobody splits it: the reading is one total, its
spans lend it their volumes. A span read by itself is a reading of one span.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Readings:
    """Ratios read, with what scatters them.

    `shares` says which part of a reading's volume is of which size; it is kept for readings over several
    sizes only, since the other rows are all zeros but one.
    """

    ratios: Floats
    concentrations: Floats
    measurement_variances: Floats
    only_sizes: Integers
    mixed: Integers
    shares: Floats
    number_of_sizes: int

    def take(self, kept: Integers) -> "Readings":
        """Some of the readings, named by their indices in rising order."""
        is_kept = np.isin(self.mixed, kept)
        return Readings(
            ratios=self.ratios[kept],
            concentrations=self.concentrations[kept],
            measurement_variances=self.measurement_variances[kept],
            only_sizes=self.only_sizes[kept],
            mixed=np.searchsorted(kept, self.mixed[is_kept]),
            shares=self.shares[is_kept],
            number_of_sizes=self.number_of_sizes,
        )


def gather_readings(
    *,
    totals: ArrayLike,
    uncertainties: ArrayLike,
    span_readings: ArrayLike,
    span_sizes: ArrayLike,
    span_volumes: ArrayLike,
    number_of_sizes: int,
) -> Readings:
    """Readings of totals and the spans they cover, as ratios to the spans' volumes.

    ratio = total / sum V, measurement variance = (u / sum V)^2, concentration = sum V^2 / (sum V)^2: the part
    of the span-to-span variance that is left in the mean of spans weighted by their volumes.

    Parameters
    ----------
    totals : array_like (readings,)
        Amount read for all spans of the reading together [any unit of volume u]
    uncertainties : array_like (readings,)
        Standard uncertainty of each total, >= 0, with that of the volumes if they were measured too [u]
    span_readings : array_like of int (spans,)
        Index of the reading that covers the span, 0 to readings - 1; every reading covers one or more [-]
    span_sizes : array_like of int (spans,)
        Index of the span's cable size, 0 to number_of_sizes - 1 [-]
    span_volumes : array_like (spans,)
        What the ratio is over: volume of the bore, or injected, > 0 [u]
    number_of_sizes : int
        Cable sizes, those without readings among them, >= 1 [-]

    Returns
    -------
    Readings
        Ratios [-], concentrations [-], measurement variances [-] (readings,), and the sizes they are of

    Raises
    ------
    ValueError
        If a reading covers no span, lists differ in length or a value is out of range.

    References
    ----------
    .. [1] Cochran, W. G., "Sampling Techniques", 3rd ed., ch. 6: ratios of totals.
    """
    read, u = np.asarray(totals, dtype=np.float64), np.asarray(uncertainties, dtype=np.float64)
    of_reading, of_size = _indices(span_readings), _indices(span_sizes)
    volumes = np.asarray(span_volumes, dtype=np.float64)
    _check_readings(read, u)
    _check_spans(of_reading, of_size, volumes, len(read), number_of_sizes)
    whole: Floats = np.bincount(of_reading, volumes, len(read)).astype(np.float64)
    squares = np.bincount(of_reading, volumes**2, len(read))
    only, mixed = _find_mixed(of_reading, of_size, len(read))
    return Readings(
        ratios=read / whole,
        concentrations=squares / whole**2,
        measurement_variances=(u / whole) ** 2,
        only_sizes=only,
        mixed=mixed,
        shares=_shares(mixed, of_reading, of_size, volumes, whole, number_of_sizes),
        number_of_sizes=number_of_sizes,
    )


def _indices(given: ArrayLike) -> Integers:
    found = np.asarray(given)
    if found.size and not np.issubdtype(found.dtype, np.integer):
        raise ValueError("span_readings and span_sizes must be whole numbers")
    return found.astype(np.int64)


def _check_readings(read: Floats, u: Floats) -> None:
    if read.ndim != 1 or u.shape != read.shape:
        raise ValueError(f"uncertainties must be as many as the totals, {read.size}, not {u.size}")
    _require(np.isfinite(read), "totals must be finite")
    _require(np.isfinite(u) & (u >= 0), "uncertainties must be at least 0")


def _check_spans(of_reading: Integers, of_size: Integers, volumes: Floats, readings: int, sizes: int) -> None:
    if sizes < 1:
        raise ValueError(f"number_of_sizes must be at least 1, not {sizes}")
    if volumes.ndim != 1 or not of_reading.shape == of_size.shape == volumes.shape:
        raise ValueError("span_readings, span_sizes and span_volumes must be equally long")
    _require(np.isfinite(volumes) & (volumes > 0), "span_volumes must be above 0: a span has a bore")
    _require((of_reading >= 0) & (of_reading < readings), f"span_readings must be 0 to {readings - 1}")
    _require((of_size >= 0) & (of_size < sizes), f"span_sizes must be 0 to {sizes - 1}")
    _require(np.bincount(of_reading, minlength=readings) > 0, "totals must each cover at least one span")


def _require(is_right: NDArray[np.bool_], message: str) -> None:
    if not is_right.all():
        raise ValueError(f"{message} (wrong at index {int(np.argmin(is_right))})")


def _find_mixed(of_reading: Integers, of_size: Integers, readings: int) -> tuple[Integers, Integers]:
    """The size of each reading, and the readings that cover more sizes than that one."""
    only = np.zeros(readings, dtype=np.int64)
    only[of_reading] = of_size
    is_other = of_size != only[of_reading]
    return only, np.unique(of_reading[is_other])


def _shares(
    mixed: Integers, of_reading: Integers, of_size: Integers, volumes: Floats, whole: Floats, sizes: int
) -> Floats:
    shares = np.zeros((len(mixed), sizes))
    is_mixed = np.isin(of_reading, mixed)
    rows = np.searchsorted(mixed, of_reading[is_mixed])
    np.add.at(shares, (rows, of_size[is_mixed]), volumes[is_mixed] / whole[of_reading[is_mixed]])
    return shares
