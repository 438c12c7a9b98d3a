"""What a form was sent: kept for showing it again, and its faults beside the fields that they are about.

A field is named like its pointer in the request that the form becomes, with hyphens: `lines-0-amount` for
`/lines/0/amount`. So the same records read what a page posts and what a program sends.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from inventory.errors import SpanstockError
from inventory.units import UNIT_CODES, get_unit, unit_label

# What browsers send beside the fields.
LONGEST_TEXT = 2000


@dataclass
class Asked:
    """The fields of a form as they were sent, empty for a form that is shown first.

    `moved` says where a fault is shown whose pointer is not that of its field, by the beginnings of both.
    """

    given: Mapping[str, str] = field(default_factory=dict)
    refusal: SpanstockError | None = None
    moved: dict[str, str] = field(default_factory=dict)

    def text(self, name: str, usual: str = "") -> str:
        """What was entered, or what the form begins with; never with a character no database keeps."""
        given = self.given.get(name)
        return usual if given is None else given.strip()[:LONGEST_TEXT].replace("\x00", "")

    def amount(self, name: str) -> dict[str, str] | None:
        """An amount as it goes over the wire, None where nothing was entered."""
        value = self.text(name).replace(",", ".")
        return {"value": value, "unit": self.text(f"{name}-unit")} if value else None

    def money(self, name: str, currency: str) -> dict[str, str] | None:
        """Money as it goes over the wire, None where nothing was entered."""
        value = self.text(name).replace(",", ".")
        return {"value": value, "currency": currency} if value else None

    def fault(self, name: str) -> str:
        """What is wrong with a field, empty where nothing is."""
        found = [fault.message for fault in self._faults() if self._is_about(fault.pointer, name)]
        return "; ".join(dict.fromkeys(found))

    def _faults(self) -> tuple[Any, ...]:
        return self.refusal.faults if self.refusal is not None else ()

    def _is_about(self, pointer: str, name: str) -> bool:
        told = pointer.strip("/").replace("/", "-")
        for there, here in self.moved.items():
            if told == there or told.startswith(f"{there}-"):
                told = here + told[len(there) :]
                break
        return told == name or told in {f"{name}-value", f"{name}-currency", f"{name}-unit"}


def unit_options(unit: str) -> list[tuple[str, str]]:
    """The units that measure the same, for choosing one."""
    dimension = get_unit(unit).dimension
    return [(code, unit_label(code)) for code in UNIT_CODES if get_unit(code).dimension == dimension]


def common_units() -> list[tuple[str, str]]:
    """The units of all that is counted, for amounts of any material."""
    return [option for unit in ("1", "[gal_us]", "[ft_i]", "kg") for option in unit_options(unit)]
