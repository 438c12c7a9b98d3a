"""Currencies and their smallest coins."""

import pytest

from inventory.money import BadMoney, format_money, is_currency, minor_digits


@pytest.mark.outside_check("ISO 4217, list one: minor units of currencies; how known: from memory")
@pytest.mark.parametrize(
    ("code", "digits"), [("USD", 2), ("EUR", 2), ("JPY", 0), ("KRW", 0), ("KWD", 3), ("CLF", 4)]
)
def test_minor_digits_are_those_of_the_standard(code: str, digits: int) -> None:
    assert minor_digits(code) == digits
    assert is_currency(code)


@pytest.mark.parametrize("code", ["US", "usd", "ZZZ", "XAU", "XTS", ""])
def test_what_is_no_money_of_the_standard_is_refused(code: str) -> None:
    assert not is_currency(code)
    with pytest.raises(BadMoney, match="ISO 4217"):
        minor_digits(code)


@pytest.mark.outside_check("ISO 4217, list one: minor units of currencies; how known: from memory")
@pytest.mark.parametrize(
    ("millionths", "code", "text"),
    [
        (1_234_565_000, "USD", "1,234.56 USD"),
        (-4_000, "USD", "0.00 USD"),
        (1_234_500_001, "JPY", "1,235 JPY"),
        (-1_234_567_500, "KWD", "-1,234.568 KWD"),
    ],
)
def test_format_money_writes_whole_coins_of_the_currency(millionths: int, code: str, text: str) -> None:
    assert format_money(millionths, code) == text
