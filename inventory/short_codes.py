"""Short codes: what a person reads off a drum and types or says, digits only, guarded by a check digit.

The check digit is that of ISO/IEC 7064, system MOD 11,10: it finds every single wrong digit and nearly
every exchange of two neighbours. Digits can be typed in gloves and said over a radio in any language, and
none looks like a letter.
"""

from inventory.errors import BadInput

LEAST_DIGITS = 4


class WrongShortCode(BadInput):
    """The code was misread or mistyped: its digits do not go together."""

    code = "wrong_short_code"


def make_short_code(number: int) -> str:
    """The code of a number from 1 on, in groups: 1273 is "1273-1"."""
    if number < 1:
        raise ValueError(f"a short code is of a number from 1 on, not {number}")
    digits = str(number).zfill(LEAST_DIGITS)
    return f"{digits}-{compute_check_digit(digits)}"


def read_short_code(text: str) -> int:
    """The number behind a code, however its digits are spaced."""
    digits = "".join(letter for letter in text if letter not in " -.")
    if not (digits.isascii() and digits.isdigit()) or len(digits) <= LEAST_DIGITS:
        raise WrongShortCode(f"{text!r} is no short code; it has digits only, at least {LEAST_DIGITS + 1}.")
    if compute_check_digit(digits[:-1]) != digits[-1]:
        raise WrongShortCode(f"{text!r} is no short code: a digit is wrong. Read it again.")
    return int(digits[:-1])


def compute_check_digit(digits: str) -> str:
    """The check digit of ISO/IEC 7064, MOD 11,10, for a string of digits."""
    product = 10
    for digit in digits:
        product = (product + int(digit)) % 10 or 10
        product = product * 2 % 11
    return str((11 - product) % 10)
