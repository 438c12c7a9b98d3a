"""What is still inside a run: cleanings and what safety accounted for, counted in order of time.

The same cleaning told by two devices counts once.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

UM_PER_M = 1_000_000


class ToldCleaning(NamedTuple):
    """What was fired, came out and stuck where, at a moment; moments only compare with one another.

    `day` is the crew-day of the report, `teller` who told with which device.
    """

    moment: Any
    fired: int | None
    retrieved: int | None
    stuck_at_um: int | None
    is_clean: bool = False
    day: int | None = None
    teller: tuple[Any, ...] = ()

    @property
    def numbers(self) -> tuple[Any, ...]:
        """What two tellings of the same cleaning have in common."""
        return self.day, self.fired, self.retrieved, self.stuck_at_um, self.is_clean


class Accounted(NamedTuple):
    """How many projectiles safety accounted for when it lifted a stop, and when."""

    moment: Any
    number: int


@dataclass
class ProjectileCount:
    """A running count of one run.

    What comes out beyond what is inside is a surplus and no credit for the next one that stays. After a
    firing of which nobody told what came out, `inside_at_most` is all that is known, until it is nothing.
    """

    fired: int = 0
    retrieved: int = 0
    inside_at_most: int = 0
    surplus: int = 0
    is_counted: bool = False
    is_sure: bool = True
    stuck_at_um: int | None = None

    def add(self, row: ToldCleaning) -> None:
        fired, out = row.fired or 0, row.retrieved or 0
        inside = self.inside_at_most + fired - out
        self.fired += fired
        self.retrieved += out
        self.inside_at_most = max(0, inside)
        self.surplus += max(0, -inside)
        self.is_counted = self.is_counted or row.retrieved is not None
        self.is_sure = (self.is_sure and (row.retrieved is not None or not fired)) or inside <= 0
        if row.stuck_at_um is not None:
            self.stuck_at_um = row.stuck_at_um
        elif out and not self.inside_at_most:
            self.stuck_at_um = None

    def account(self, number: int) -> None:
        """Safety has accounted for so many, by which nothing more comes out of the run than was in it."""
        found = min(number, self.inside_at_most)
        self.retrieved += found
        self.inside_at_most -= found
        if not self.inside_at_most:
            self.stuck_at_um = None
            self.is_sure = True
            self.is_counted = True

    def facts(self) -> dict[str, Any]:
        """The facts of subject "projectiles"; a count that nobody told is left out."""
        facts: dict[str, Any] = {
            "fired": self.fired,
            "inside_at_most": self.inside_at_most,
            "surplus": self.surplus,
        }
        if self.is_sure and self.is_counted:
            facts |= {"retrieved": self.retrieved, "inside": self.inside_at_most}
        if self.stuck_at_um is not None:
            facts["stuck_at_m"] = self.stuck_at_um / UM_PER_M
        return facts


def find_told_before(rows: Sequence[ToldCleaning]) -> set[int]:
    """The positions of rows of one run, in their order, that tell what another teller told before.

    The same numbers on the same day by somebody else are the same cleaning. Whoever tells of them twice
    himself means two, so of each cleaning there are as many as the one tells of who tells of most.
    """
    counts: dict[tuple[Any, ...], dict[tuple[Any, ...], int]] = {}
    found = set()
    for position, row in enumerate(rows):
        if not row.fired and not row.retrieved:
            continue
        tellers = counts.setdefault(row.numbers, {})
        own = tellers[row.teller] = tellers.get(row.teller, 0) + 1
        if own <= max((count for teller, count in tellers.items() if teller != row.teller), default=0):
            found.add(position)
    return found


def count_projectiles(rows: Iterable[ToldCleaning], accounted: Sequence[Accounted]) -> ProjectileCount:
    """Count through a run's cleanings, given in their order, and through what safety accounted for."""
    count, told = ProjectileCount(), list(rows)
    repeated = find_told_before(told)
    events: list[ToldCleaning | Accounted] = [
        *(row for position, row in enumerate(told) if position not in repeated),
        *accounted,
    ]
    for event in sorted(events, key=lambda event: event.moment):
        if isinstance(event, ToldCleaning):
            count.add(event)
        else:
            count.account(event.number)
    return count
