"""Half a year of entries: the days' work, what the yards do, and the things that go wrong."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal

from fixtures_demo.scenario.days import CrewDay
from fixtures_demo.scenario.journal import Journal, moment, run_place
from fixtures_demo.scenario.stock import MILLION, Stock
from fixtures_demo.scenario.work import JOB, WorkDay, pieces
from fixtures_demo.scenario.world import CREWS, TODAY, YARDS
from fixtures_demo.scenario.yard import Yard

JOBS_OF_YARD = {
    yard: [JOB[reference] for reference in sorted({crew.job for crew in CREWS if crew.yard == yard})]
    for yard in YARDS
}
COUNT_DAYS = (
    date(2026, 1, 30), date(2026, 2, 27), date(2026, 3, 27), date(2026, 4, 24), date(2026, 5, 29),
)  # fmt: skip


def write_history(stock: Stock, days: list[CrewDay]) -> Journal:
    """All entries up to the evening of today."""
    journal = Journal(stock)
    yards = {name: Yard(journal, name) for name in YARDS}
    work = WorkDay(journal, yards, {})
    tales = _Tales(journal, yards)
    past = [day for day in days if day.date <= TODAY]
    for day in sorted({day.date for day in past}):
        for name, yard in yards.items():
            yard.restock(day, JOBS_OF_YARD[name])
        tales.tell(day, hour=6)
        for crew_day in past:
            if crew_day.date == day:
                work.write(crew_day)
                tales.hand_out_supplies(crew_day)
        tales.tell(day, hour=18)
    tales.close()
    return journal


class _Tales:
    """What does not follow from the plan, each told once, on the first working day from its date on."""

    def __init__(self, journal: Journal, yards: dict[str, Yard]) -> None:
        self.journal, self.stock, self.yards = journal, journal.stock, yards
        self.days = 0
        self.waiting: list[tuple[date, int, Callable[[date], None]]] = [
            (date(2026, 2, 10), 6, self._typed_wrong),
            (date(2026, 3, 3), 6, self._adapt_blanks),
            (date(2026, 3, 17), 18, self._seals_short),
            (date(2026, 4, 28), 18, self._late_word),
            (date(2026, 5, 12), 6, self._lend_drums),
            (date(2026, 6, 2), 18, self._bring_back),
            *((day, 18, self._count) for day in COUNT_DAYS),
        ]

    def tell(self, day: date, *, hour: int) -> None:
        due = [tale for tale in self.waiting if tale[0] <= day and tale[1] == hour]
        for tale in sorted(due, key=lambda tale: tale[0]):
            self.waiting.remove(tale)
            tale[2](day)

    def hand_out_supplies(self, day: CrewDay) -> None:
        """Gloves and pads are charged to the job when they are handed out."""
        shelf, job = (self.yards[day.crew.yard].shelf, ""), (f"job:{day.crew.job}", "")
        self.days += 1
        if self.days % 3 == 0:
            moves = [("gloves", pieces(4), shelf, job), ("pads", pieces(10), shelf, job)]
            self.journal.move("draw", moment(day.date, 7.0), moves, "Handed out to the crew")
        if self.days % 24 == 0:
            back = [("pads", pieces(3), job, shelf)]
            self.journal.move("return", moment(day.date, 17.6), back, "Not used")

    def close(self) -> None:
        """The last evening: unions go to the other yard, where no one asked what the north needs."""
        union, north, south = "union-625", self.yards["north"].shelf, self.yards["south"].shelf
        there = self.stock.amount(north, union) // MILLION
        moves = [(union, pieces(there - 1), (north, ""), (south, ""))]
        self.journal.carry(moment(TODAY, 18.0), "Lent to the south yard", moves=moves)

    def _typed_wrong(self, day: date) -> None:
        """A pack of 5 that was typed as 50, undone and typed again."""
        end = (self.yards["north"].shelf, "")
        goods = [("union-750", pieces(50), end)]
        wrong = self.journal.receive(
            moment(day, 6.0), "supplier:corrow-fittings", goods, "Unions .750", document="DN-typed-50"
        )
        self.stock.add(end[0], "union-750", "", -50 * MILLION)
        self.journal.reverse(wrong, "Typed 50, the delivery note says 5")
        goods = [("union-750", pieces(5), end)]
        self.journal.receive(
            moment(day, 6.1), "supplier:corrow-fittings", goods, "Unions .750", document="DN-typed-5"
        )

    def _adapt_blanks(self, day: date) -> None:
        """Two pin connectors become pressure-end fittings."""
        end = (self.yards["north"].shelf, "")
        self.journal.convert(
            moment(day, 6.2),
            [("blank-625", pieces(2), end)],
            [("pressure-625", pieces(2), end)],
            "Adapted, checked and tagged",
        )

    def _seals_short(self, day: date) -> None:
        """More seals were used than the book knew of: somebody took some along and told nobody."""
        held = self.stock.amount("truck-3", "seal") // MILLION
        last = [row for row in self.journal.cleanings if row.run.startswith("KH")][-1]
        place = run_place(last.job, last.run)
        moves = [("seal", pieces(held + 4), ("truck-3", ""), (place, ""))]
        reason = "Sealed again after rain; four seals more than the book had"
        self.journal.move("report", moment(day, 18.0), moves, reason, purposes=["installed"], is_short=True)

    def _late_word(self, day: date) -> None:
        """Told after the April count, but it happened before: it comes out of the count's difference."""
        shelf = (self.yards["north"].shelf, "")
        moves = [("pads", pieces(6), shelf, ("job:HARBOR", ""))]
        before = self.stock.amount(shelf[0], "pads")
        at = moment(COUNT_DAYS[3], 11.0)
        reason = "Pads taken four days before the count, told late"
        self.journal.move("report", at, moves, reason, purposes=["used"])
        self.stock.held[shelf[0], "pads", ""] = before

    def _lend_drums(self, day: date) -> None:
        """A full drum goes from the south to the north."""
        drum = self.yards["south"].full_drums()[-1]
        containers = [(drum, self.yards["north"].bay)]
        self.journal.carry(moment(day, 6.3), "To the north yard", containers=containers)

    def _bring_back(self, day: date) -> None:
        """Fibre that was cut off a reel is lost; a projectile was not fired and comes back."""
        last = [row for row in self.journal.cleanings if row.fired == 4][-1]
        run = run_place(last.job, last.run)
        moves = [(last.projectile, pieces(1), (run, ""), (last.truck, ""))]
        self.journal.move("return", moment(day, 18.0), moves, "One of the four was not fired")

    def _count(self, day: date) -> None:
        """A few holdings of each yard; what is found differs by a piece or two."""
        for yard in self.yards.values():
            found = []
            for number, material in enumerate(("seal", "pads", "gloves", "foam-20")):
                held = self.stock.amount(yard.shelf, material) // MILLION
                seen = max(held - (day.month + number) % 3, 0)
                found.append((material, (Decimal(seen), "each"), (yard.shelf, "")))
            self.journal.count(moment(day, 18.5), found, "Count at the end of the month")
