"""Ranges of parameters: each check names the parameter it refuses, so that a door can point at the field.

The checks take a number or an array and hand it back as float or float array; in an array the first value
out of range is the one shown.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Numbers = float | FloatArray


def as_finite(name: str, value: npt.ArrayLike) -> Any:
    """The value as float (or float array); refuses text, NaN and infinity."""
    try:
        numbers = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{name} must be a number, got {value!r}") from error
    _refuse(name, numbers, ~np.isfinite(numbers), "a finite number")
    return numbers if numbers.ndim else float(numbers)


def as_positive(name: str, value: npt.ArrayLike) -> Any:
    """The value as float (or float array), refused unless above 0."""
    numbers = as_finite(name, value)
    _refuse(name, numbers, np.asarray(numbers) <= 0, "above 0")
    return numbers


def as_not_negative(name: str, value: npt.ArrayLike) -> Any:
    """The value as float (or float array), refused when below 0."""
    numbers = as_finite(name, value)
    _refuse(name, numbers, np.asarray(numbers) < 0, "0 or more")
    return numbers


def as_open_fraction(name: str, value: npt.ArrayLike) -> Any:
    """The value as float (or float array), refused unless between 0 and 1, both excluded."""
    numbers = as_finite(name, value)
    outside = (np.asarray(numbers) <= 0) | (np.asarray(numbers) >= 1)
    _refuse(name, numbers, outside, "between 0 and 1, both excluded")
    return numbers


def as_whole(name: str, value: npt.ArrayLike, *, least: int | None = None) -> Any:
    """The value as int (or an array of whole floats), refused when it has a fraction or is below `least`."""
    numbers = as_finite(name, value)
    _refuse(name, numbers, np.asarray(numbers) != np.floor(numbers), "a whole number")
    if least is not None:
        _refuse(name, numbers, np.asarray(numbers) < least, f"{least} or more")
    return numbers if isinstance(numbers, np.ndarray) else int(numbers)


def _refuse(name: str, numbers: Any, is_outside: Any, wanted: str) -> None:
    outside = np.asarray(is_outside)
    if not outside.any():
        return
    shown = np.asarray(numbers)
    if not shown.ndim:
        raise ValueError(f"{name} must be {wanted}, got {float(shown):g}")
    place = tuple(int(index) for index in np.argwhere(outside)[0])
    where = "][".join(str(index) for index in place)
    raise ValueError(f"{name}[{where}] must be {wanted}, got {float(shown[place]):g}")
