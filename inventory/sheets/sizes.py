"""Sizes of cable as people spell them, brought to one form: the outside diameter in inches, ".500"."""

import re
from decimal import Decimal

from inventory.sheets.numbers import CellRefused

# A letter or two of the cable's type may stand before the size, an inch mark behind it.
_SIZE = re.compile(r"(?:[A-Za-z]{1,4}[\s._-]?)?(\d*[.,]\d+|\d+)\s*(?:\"|in|inch)?", re.IGNORECASE | re.ASCII)
LARGEST_INCHES = 10


def read_cable_size(text: str) -> str:
    """Read a size: .500, 0.5, 500, P500, 1.000 and 1000 all say what they mean; others are refused."""
    match = _SIZE.fullmatch(text.strip())
    if not match:
        raise CellRefused("is not a cable size; write its designation, such as .500")
    digits = match[1].replace(",", ".")
    # "P.500": the point belongs to the size, not to what stands before it.
    if "." not in digits and text.strip()[: match.start(1)].endswith("."):
        digits = f".{digits}"
    inches = Decimal(digits)
    if "." not in digits and len(digits) >= 3:
        inches /= 1000
    if not 0 < inches < LARGEST_INCHES or inches != round(inches, 3):
        raise CellRefused("is not a cable size; write its designation, such as .500")
    return f"{inches:.3f}".removeprefix("0")
