"""The base of every refusal. Each error is named for the fact and lives beside what raises it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with what was sent: which field, which value, and what to do about it.

    `pointer` is a JSON pointer (RFC 6901) into the request, or the column's name for a sheet.
    """

    pointer: str
    value: str
    message: str
    line: int | None = None

    def sentence(self) -> str:
        where = f"line {self.line}, " if self.line is not None else ""
        shown = f" ({self.value!r})" if self.value else ""
        return f"{where}{self.pointer}{shown}: {self.message}"


class SpanstockError(Exception):
    """A refusal in plain words. Nothing has been changed when it is raised.

    `code` is stable and meant for programs; the message is meant for people and carries numbers and units.
    """

    code: ClassVar[str] = "refused"

    def __init__(self, message: str, *, faults: Sequence[Fault] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.faults = tuple(faults)


class NotFound(SpanstockError):
    """What was asked for does not exist, or the asker may not see it; the answer does not tell which."""

    code = "not_found"


class BadInput(SpanstockError):
    """What was sent cannot be understood; every fault is named at once."""

    code = "bad_input"

    @classmethod
    def of(cls, faults: Sequence[Fault]) -> "BadInput":
        """Make one refusal of several faults, its message listing the first few."""
        shown = "; ".join(fault.sentence() for fault in faults[:5])
        more = f"; and {len(faults) - 5} more" if len(faults) > 5 else ""
        return cls(f"{shown}{more}", faults=faults)
