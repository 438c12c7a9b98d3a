"""Short codes against the standard's scheme, and against what people get wrong."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.short_codes import WrongShortCode, compute_check_digit, make_short_code, read_short_code

NUMBERS = st.integers(1, 10**9)


@pytest.mark.outside_check(
    "ISO/IEC 7064, MOD 11,10: 0794 has the check digit 5, 79462 has 3; how known: from memory of the "
    "standard's example and of a general-purpose library's tests"
)
@pytest.mark.parametrize(("digits", "check"), [("0794", "5"), ("79462", "3")])
def test_compute_check_digit_is_that_of_the_standard(digits: str, check: str) -> None:
    assert compute_check_digit(digits) == check


@given(NUMBERS)
def test_read_short_code_gives_the_number_back(number: int) -> None:
    code = make_short_code(number)
    assert read_short_code(code) == number
    assert read_short_code(f" {code.replace('-', ' ')} ") == number


@given(NUMBERS, st.data())
def test_read_short_code_finds_every_single_wrong_digit(number: int, data: st.DataObject) -> None:
    digits = make_short_code(number).replace("-", "")
    place = data.draw(st.integers(0, len(digits) - 1))
    wrong = data.draw(st.sampled_from([digit for digit in "0123456789" if digit != digits[place]]))
    with pytest.raises(WrongShortCode):
        read_short_code(digits[:place] + wrong + digits[place + 1 :])


def test_read_short_code_finds_nearly_every_exchange_of_neighbours() -> None:
    tried = missed = 0
    for number in range(1000, 3000):
        digits = make_short_code(number).replace("-", "")
        for place in range(len(digits) - 1):
            other = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
            if other != digits:
                tried += 1
                missed += compute_check_digit(other[:-1]) == other[-1]
    assert missed / tried < 0.03


@pytest.mark.parametrize("text", ["", "12", "R-7", "٣٤٥٦٧", "1273-9"])
def test_read_short_code_refuses_what_is_none(text: str) -> None:
    with pytest.raises(WrongShortCode):
        read_short_code(text)


def test_make_short_code_refuses_nothing_and_less() -> None:
    with pytest.raises(ValueError, match="from 1 on"):
        make_short_code(0)
