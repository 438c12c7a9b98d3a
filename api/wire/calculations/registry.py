"""The list of stateless calculations, shared by the command line, REST and GraphQL.

A calculation is registered with what it takes, what it gives, a pure function between the two and an example.
It needs no database, no user and no clock.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from api.wire.calculations.faults import Faults, Place, naming_the_field
from api.wire.calculations.fields import Field, Record, Schema
from api.wire.calculations.plain import plain
from inventory.errors import NotFound

DIALECT = "https://json-schema.org/draft/2020-12/schema"
Compute = Callable[[dict[str, Any]], Mapping[str, Any]]


@dataclass(frozen=True, kw_only=True)
class Calculation:
    """One stateless calculation: its name, what it takes and gives, and how the one becomes the other."""

    name: str
    summary: str
    takes: Record
    gives: Field
    compute: Compute
    example: Mapping[str, Any]

    def run(self, data: Any) -> dict[str, Any]:
        """Answer one request, or refuse it with every fault named."""
        faults = Faults()
        values = self.takes.read(data, Place(), faults)
        faults.raise_if_any()
        with naming_the_field(list(self.takes.fields)):
            answer: dict[str, Any] = plain(self.compute(values))
        return answer

    def request_schema(self) -> Schema:
        return {"$schema": DIALECT, "title": f"{self.name} request", **self.takes.schema()}

    def answer_schema(self) -> Schema:
        return {"$schema": DIALECT, "title": f"{self.name} answer", **self.gives.schema()}


class UnknownCalculation(NotFound):
    """There is no calculation of that name."""

    code = "unknown_calculation"


_CALCULATIONS: dict[str, Calculation] = {}


def register(
    *,
    name: str,
    summary: str,
    takes: Mapping[str, Field],
    gives: Mapping[str, Field] | Field,
    compute: Compute,
    example: Mapping[str, Any],
) -> Calculation:
    """Add a calculation to the list. Two under one name are a mistake in the program."""
    if name in _CALCULATIONS:
        raise RuntimeError(f"two calculations are named {name}")
    calculation = Calculation(
        name=name,
        summary=summary,
        takes=Record(fields=takes),
        gives=gives if isinstance(gives, Field) else Record(fields=gives),
        compute=compute,
        example=example,
    )
    _CALCULATIONS[name] = calculation
    return calculation


def list_calculations() -> list[Calculation]:
    """All calculations by name."""
    return [_CALCULATIONS[name] for name in sorted(_CALCULATIONS)]


def get_calculation(name: str) -> Calculation:
    if name not in _CALCULATIONS:
        raise UnknownCalculation(f"There is no calculation named {name[:80]!r}.")
    return _CALCULATIONS[name]


def calculate(name: str, data: Any) -> dict[str, Any]:
    """Answer one request as plain JSON values.

    Raises
    ------
    UnknownCalculation
        If there is none of that name.
    BadInput
        If the request is wrong; every fault is named by its JSON pointer.
    """
    return get_calculation(name).run(data)
