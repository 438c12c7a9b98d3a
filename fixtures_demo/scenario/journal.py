"""Writes entries in the form in which the API takes them, and keeps the stock in step."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from fixtures_demo.scenario.stock import UNITS, Stock, to_millionths
from fixtures_demo.scenario.world import CURRENCY, TIME_ZONE, unit_cost

# Made once for this scenario: the ids of its entries are derived under it, so that a second run repeats them.
NAMESPACE = UUID("c2a9d0f4-6d0c-5b0e-8a53-51d1f0c1b7e2")
ZONE = ZoneInfo(TIME_ZONE)
OUTSIDE = ("supplier:", "customer:", "job:", "run:", "span:", "waste")

Amount = tuple[Decimal, str]
End = tuple[str, str]
Move = tuple[str, Amount, End, End]


def moment(day: date, hour: float) -> str:
    """RFC 3339 with the company's offset on that day."""
    start = datetime.combine(day, time(), ZONE)
    return (start + timedelta(hours=hour)).replace(tzinfo=ZONE).isoformat()


def run_place(job: str, name: str) -> str:
    return f"run:{job}:{name}"


@dataclass(frozen=True)
class Cleaning:
    """A run that was cleaned, for what is told of it later."""

    job: str
    run: str
    truck: str
    projectile: str
    fired: int


class Journal:
    """The entries and field reports so far, in the order in which they are recorded."""

    def __init__(self, stock: Stock) -> None:
        self.stock = stock
        self.entries: list[dict[str, Any]] = []
        self.documents = 0
        self.cleanings: list[Cleaning] = []

    def move(
        self, kind: str, at: str, moves: Sequence[Move], reason: str, *, purposes: Sequence[str] = (),
        causes: Sequence[str] = (), is_short: bool = False, **more: Any,
    ) -> str:  # fmt: skip
        """Draw, report, return, transfer, pour or disposal: goods from end to end."""
        lines = []
        for number, (material, amount, source, target) in enumerate(moves):
            line: dict[str, Any] = {
                "material": material,
                "amount": wire(amount),
                "source": _end(source),
                "target": _end(target),
            }
            if purposes:
                line["purpose"] = purposes[number]
            if causes and causes[number]:
                line["cause"] = causes[number]
            lines.append(line)
            quantity = to_millionths(*amount, material)
            if is_short:
                self.stock.take_what_is_there(source[0], material, source[1], quantity)
            else:
                self._shift(material, quantity, source, target)
        return self.note(kind, at, reason, lines=lines, **more)

    def carry(
        self, at: str, reason: str, *, moves: Sequence[Move] = (), containers: Sequence[tuple[str, str]] = ()
    ) -> None:
        """Transfer loose goods and whole containers between our places."""
        if not moves and not containers:
            return
        for label, place in containers:
            self.stock.move_container(label, place)
        listed = [{"container": label, "place": place} for label, place in containers]
        self.move("transfer", at, moves, reason, containers=listed)

    def recover(self, at: str, caught: Sequence[tuple[Amount, str, End]], reason: str) -> None:
        """Fluid that came back from spans into a drum of ours."""
        rows = []
        for amount, source, target in caught:
            rows.append(
                {
                    "material": "glide-back",
                    "amount": wire(amount),
                    "source": source,
                    "target": _end(target),
                }
            )
            self.stock.add(target[0], "glide-back", target[1], to_millionths(*amount, "glide-back"))
        self.note("recovery", at, reason, caught=rows)

    def receive(
        self, at: str, source: str, goods: Sequence[tuple[str, Amount, End]], reason: str, *,
        containers: Sequence[dict[str, Any]] = (), document: str = "",
    ) -> str:  # fmt: skip
        """Goods from a supplier at list price, or from a customer, which cost nothing here."""
        for row in containers:
            self.stock.standing[row["label"]] = row["place"]
        lines = []
        for material, amount, target in goods:
            cost = Decimal(0)
            if source.startswith("supplier:"):
                cost = (amount[0] * Decimal(unit_cost(material))).quantize(Decimal("0.01"))
            lines.append(
                {
                    "material": material,
                    "amount": wire(amount),
                    "target": _end(target),
                    "cost": {"value": f"{cost:.2f}", "currency": CURRENCY},
                }
            )
            self.stock.add(target[0], material, target[1], to_millionths(*amount, material))
        self.documents += 1
        given = document or f"DN-{self.documents:04d}"
        return self.note(
            "receipt", at, reason, source=source, containers=list(containers), lines=lines, document=given
        )

    def convert(self, at: str, given: Sequence[tuple[str, Amount, End]],
                made: Sequence[tuple[str, Amount, End]], reason: str) -> None:  # fmt: skip
        """Goods made of others."""
        sides = {}
        for name, rows, sign in (("inputs", given, -1), ("outputs", made, 1)):
            sides[name] = [
                {"material": material, "amount": wire(amount), **_end(end)} for material, amount, end in rows
            ]
            for material, amount, (place, container) in rows:
                self.stock.add(place, material, container, sign * to_millionths(*amount, material))
        self.note("conversion", at, reason, **sides)

    def count(self, at: str, found: Sequence[tuple[str, Amount, End]], reason: str) -> None:
        """What was found; the stock is what was found from then on."""
        rows = []
        for material, amount, (place, container) in found:
            rows.append({"material": material, "amount": wire(amount), **_end((place, container))})
            self.stock.held[place, material, container] = to_millionths(*amount, material)
        self.note("count", at, reason, found=rows)

    def report(self, at: str, crew: str, day: date, parts: dict[str, list[dict[str, Any]]]) -> None:
        """A crew's field report of its day; the stock was changed as it went on."""
        report_id = str(uuid5(NAMESPACE, f"report {crew} {day}"))
        head = {"id": report_id, "kind": "field_report", "crew": crew, "date": day.isoformat()}
        self.entries.append({**head, "occurred_at": at, **parts})

    def reverse(self, entry: str, reason: str) -> None:
        self.note("reversal", "", reason, reverses=entry)

    def note(self, kind: str, at: str, reason: str, **more: Any) -> str:
        """Add an entry as it is; returns its id."""
        entry_id = str(uuid5(NAMESPACE, f"entry {len(self.entries) + 1}"))
        happened = {"occurred_at": at} if at else {}
        filled = {name: value for name, value in more.items() if value not in ([], "")}
        self.entries.append({"id": entry_id, "kind": kind, **happened, "reason": reason, **filled})
        return entry_id

    def _shift(self, material: str, quantity: int, source: End, target: End) -> None:
        for (place, container), signed in ((source, -quantity), (target, quantity)):
            if not place.startswith(OUTSIDE):
                self.stock.add(place, material, container, signed)


def wire(amount: Amount) -> dict[str, str]:
    return {"value": str(amount[0]), "unit": UNITS[amount[1]]}


def _end(end: End) -> dict[str, str]:
    place, container = end
    return {"place": place, "container": container} if container else {"place": place}
