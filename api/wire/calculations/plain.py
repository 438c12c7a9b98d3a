"""Answers as plain JSON values."""

import math
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """The value in JSON's own types: NumPy's and tuples are turned, what is not finite becomes null."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating | Fraction):
        number = float(value)
        return number if math.isfinite(number) else None
    if value is None or isinstance(value, str):
        return value
    raise TypeError(f"{type(value).__name__} has no form in JSON")
