"""Conditions of the trade's rules, evaluated over named facts; a browser evaluates the same ones.

A condition is plain data with one key: `all`, `any`, `not`, `given`, `missing`, `same`, `among`, `less`,
`at_most`, `more`, `at_least`. What it compares are numbers, flags, names of facts, and `sum`, `difference`
and `product` of these. A fact that nobody told makes a comparison neither true nor false.
"""

import math
from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

Facts = Mapping[str, Any]
# From here on a browser writes numbers with an exponent.
LARGEST_SHOWN = 1e21
UNTOLD = "not told"


def evaluate_condition(condition: Mapping[str, Any], facts: Facts) -> bool | None:
    """Whether a condition holds, in the strong three-valued logic of Kleene.

    all = minimum, any = maximum, not = 1 - x over false 0, unknown 1/2, true 1; a comparison with a fact
    that is absent is unknown; `given` and `missing` are never unknown. Arithmetic is that of IEEE 754
    doubles from left to right, and what is not finite is unknown.

    Parameters
    ----------
    condition : Mapping
        The condition, in any units as long as both sides of a comparison share one [any unit u]
    facts : Mapping
        Numbers, flags and texts by name; None where nobody told [any unit u]

    Returns
    -------
    bool or None
        True where it holds, False where it does not, None where it cannot be told [-]

    Raises
    ------
    ValueError
        If the condition is not of the closed form.

    References
    ----------
    .. [1] S. C. Kleene, "Introduction to Metamathematics", 1952, section 64.
    .. [2] ISO/IEC 9075-2 (SQL), truth tables of AND, OR and NOT over true, false and unknown.
    """
    (name, parts), *others = condition.items()
    if others:
        raise ValueError(f"a condition has one key, not {', '.join(condition)}")
    if name in ("given", "missing"):
        return (facts.get(parts) is not None) == (name == "given")
    if name == "not":
        held = evaluate_condition(parts, facts)
        return None if held is None else not held
    if name in ("all", "any"):
        return _join([evaluate_condition(part, facts) for part in parts], is_all=name == "all")
    if name == "among":
        value = _value(parts[0], facts)
        return None if value is None else any(_is_same(value, choice) for choice in parts[1])
    return _compare(name, _value(parts[0], facts), _value(parts[1], facts))


def fill_sentence(
    sentence: str, facts: Facts, units: Mapping[str, Mapping[str, Mapping[str, Any]]], system: str
) -> str:
    """Write a rule's sentence with the facts it names, in the units of its reader.

    shown = round(fact * factor, decimals), halves away from zero, trailing zeros left out. The ending of a
    fact's name behind the last underscore says its unit; a number without one keeps up to two decimals.

    Parameters
    ----------
    sentence : str
        Words with names of facts in braces
    facts : Mapping
        Numbers, flags and texts by name [kPa, L, m, or as the name says]
    units : Mapping
        For each ending and system of units: factor, sign and decimals [reader's unit per fact's unit]
    system : str
        "metric" or "us"

    Returns
    -------
    str
        The sentence; what nobody told reads "not told" [-]

    References
    ----------
    .. [1] ECMA-262, Number.prototype.toFixed: of two equally near numbers the larger is taken.
    """
    parts = sentence.replace("}", "{").split("{")
    return "".join(
        _show(part, facts.get(part), units, system) if position % 2 else part
        for position, part in enumerate(parts)
    )


def _join(held: Sequence[bool | None], *, is_all: bool) -> bool | None:
    decisive = not is_all
    if decisive in held:
        return decisive
    return None if None in held else is_all


def _compare(name: str, left: Any, right: Any) -> bool | None:
    if left is None or right is None:
        return None
    if name == "same":
        return _is_same(left, right) if type(left) is type(right) else None
    if not isinstance(left, float) or not isinstance(right, float):
        return None
    if name == "less":
        return left < right
    if name == "at_most":
        return left <= right
    if name == "more":
        return left > right
    if name == "at_least":
        return left >= right
    raise ValueError(f"{name!r} is no condition")


def _is_same(left: Any, right: Any) -> bool:
    """Equal and of one sort: a flag is no number here, as it is none in a browser."""
    return isinstance(left, bool) == isinstance(right, bool) and bool(left == right)


def _value(part: Any, facts: Facts) -> Any:
    """A flag, a text or a float; None where it cannot be told."""
    if isinstance(part, Mapping):
        return _reckon(part, facts)
    if isinstance(part, str):
        part = facts.get(part)
    if isinstance(part, bool | str) or part is None:
        return part
    number = float(part)
    return number if math.isfinite(number) else None


def _reckon(part: Mapping[str, Any], facts: Facts) -> float | None:
    (name, operands), *_others = part.items()
    numbers = [_value(operand, facts) for operand in operands]
    if not all(isinstance(number, float) for number in numbers):
        return None
    if name == "sum":
        result = 0.0
        for number in numbers:
            result += number
    elif name == "product":
        result = 1.0
        for number in numbers:
            result *= number
    elif name == "difference":
        result = numbers[0] - numbers[1]
    else:
        raise ValueError(f"{name!r} is no way to reckon")
    return result if math.isfinite(result) else None


def _show(name: str, value: Any, units: Mapping[str, Mapping[str, Mapping[str, Any]]], system: str) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or not math.isfinite(value):
        return UNTOLD
    _stem, joint, ending = name.rpartition("_")
    unit = units.get(ending, {}).get(system) if joint else None
    if unit is None:
        return _number(float(value), 2)
    return f"{_number(float(value) * unit['factor'], unit['decimals'])} {unit['sign']}"


def _number(value: float, decimals: int) -> str:
    if abs(value) >= LARGEST_SHOWN:
        return "very much"
    text = format(Decimal(value).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP), "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text
