"""How people write a size of cable."""

import pytest

from inventory.sheets.numbers import CellRefused
from inventory.sheets.sizes import read_cable_size


@pytest.mark.parametrize(
    ("text", "size"),
    [
        (".500", ".500"),
        ("0.500", ".500"),
        ("0.5", ".500"),
        ("500", ".500"),
        ("P500", ".500"),
        ("p-625", ".625"),
        ("P.875", ".875"),
        (' .750" ', ".750"),
        ("0,540", ".540"),
        ("1.000", "1.000"),
        ("1", "1.000"),
        ("1000", "1.000"),
        ("1125", "1.125"),
        (".412", ".412"),
    ],
)
def test_read_cable_size_brings_spellings_to_one_form(text: str, size: str) -> None:
    assert read_cable_size(text) == size


@pytest.mark.parametrize("text", ["", "half inch", "12.7 mm", "0", "50", ".5001", "500/625", "-.500"])
def test_read_cable_size_refuses_what_is_no_size(text: str) -> None:
    with pytest.raises(CellRefused, match="not a cable size"):
        read_cable_size(text)
