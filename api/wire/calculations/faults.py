"""Where in a request something is wrong, and all of it told at once."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from inventory.errors import BadInput, Fault

# A request with thousands of wrong rows is as well answered by the first hundred faults.
MOST_FAULTS = 100
LONGEST_VALUE_SHOWN = 60
_PARAMETER = re.compile(r"(?P<name>\w+)(\[(?P<index>\d+)\](\.(?P<field>\w+))?)?")


class Place:
    """A place in a request, written as a JSON pointer (RFC 6901)."""

    __slots__ = ("pointer",)

    def __init__(self, pointer: str = "") -> None:
        self.pointer = pointer

    def __truediv__(self, step: str | int) -> "Place":
        escaped = str(step).replace("~", "~0").replace("/", "~1")
        return Place(f"{self.pointer}/{escaped}")


class Faults:
    """Gathers what is wrong, so that a caller mends everything in one go."""

    def __init__(self) -> None:
        self.found: list[Fault] = []

    def add(self, place: Place, value: Any, message: str) -> None:
        if len(self.found) < MOST_FAULTS:
            self.found.append(Fault(pointer=place.pointer, value=shown(value), message=message))

    def raise_if_any(self) -> None:
        if self.found:
            raise BadInput.of(self.found)


def shown(value: Any) -> str:
    """A value as it may be repeated to the caller: short, and nothing of a container."""
    if value is None or isinstance(value, dict | list):
        return ""
    text = str(value)
    return text if len(text) <= LONGEST_VALUE_SHOWN else f"{text[:LONGEST_VALUE_SHOWN]}..."


def refuse(pointer: str, message: str, *, value: Any = None) -> BadInput:
    """One fault as a refusal, for a rule that spans several fields."""
    return BadInput.of([Fault(pointer=pointer, value=shown(value), message=message)])


@contextmanager
def naming_the_field(names: Iterator[str] | list[str]) -> Iterator[None]:
    """Turn a calculation's ValueError into a refusal that points at the field its message names.

    A calculation's message starts with the parameter it speaks of (`bore_mm must be above 0`), or one item of
    it (`events[3].draw must be at most 5`); the units at its end are left off until one of the request's own
    names is met.
    """
    known = set(names)
    try:
        yield
    except ValueError as error:
        message = str(error)
        word, steps = _parameter_named(message)
        while word and word not in known and "_" in word:
            word = word.rsplit("_", 1)[0]
        raise refuse(f"/{word}{steps}" if word in known else "", message) from error


def _parameter_named(message: str) -> tuple[str, str]:
    """The parameter at the beginning of a message, and the way to an item of it as the rest of a pointer."""
    found = _PARAMETER.match(message)
    if found is None:
        return "", ""
    index, field = found["index"], found["field"]
    # Without an index a dot leads to an id, which may hold anything: the whole is pointed at.
    return found["name"], "" if index is None else f"/{index}" + (f"/{field}" if field else "")
