"""What the yards do: buy, take back fluid, refill drums, keep reels."""

from datetime import date
from decimal import Decimal
from typing import Any

from fixtures_demo.scenario.journal import Journal, moment
from fixtures_demo.scenario.stock import MILLION
from fixtures_demo.scenario.world import BORES_MM, JobPlan, list_materials, size_code

FULL = 50 * MILLION
LEAST_DRUMS = 3
# Bought again when fewer lie on the shelf, in the supplier's packs.
LEAST: dict[str, int] = {
    **{size_code("union", size): 8 for size in BORES_MM},
    **{size_code(role, size): 1 for size in BORES_MM for role in ("pressure", "exit")},
    **{f"foam-{code}": 12 for code in ("13", "15", "16", "20", "23")},
    "seal": 16,
    "duct-16": 40,
    "gloves": 40,
    "pads": 60,
}
TERMS = {row["material"]: row for row in list_materials()}
REEL_LENGTHS = {"fibre-48": "10000", "fibre-72": "4000", "fibre-96": "12000"}
# From this day on the last reorders are left to whoever reads the restock list.
BUYING_STOPS = date(2026, 6, 19)


class Yard:
    """One warehouse with its bins."""

    def __init__(self, journal: Journal, name: str) -> None:
        self.journal, self.stock = journal, journal.stock
        self.name, letter = name, name[0].upper()
        self.shelf, self.bay, self.reels = f"{name}-shelf", f"{name}-bay", f"{name}-reels"
        self.fresh_tote, self.recovery_tote = f"FT-{letter}1", f"RT-{letter}1"
        self.letter, self.drums, self.reel_number = letter, 6, 1

    def full_drums(self) -> list[str]:
        """Drums to load, refilled ones first."""
        drums = self.stock.containers_at(self.bay, "D-")
        full = [label for label in drums if self.stock.in_container("glide", label) >= FULL]
        return sorted(full, key=lambda label: (self.stock.in_container("glide", label), label))

    def take_full_drum(self, *, exclude: list[str]) -> str:
        return next(label for label in self.full_drums() if label not in exclude)

    def find_reel(self, job: JobPlan, length: float, *, places: tuple[str, ...] = ()) -> str:
        """The reel with the shortest rest that gives the run in one piece."""
        wanted = places or (self.reels,)
        fitting = [
            (held, label)
            for (place, material, label), held in self.stock.held.items()
            if place in wanted and material == job.fibre and held >= length * MILLION
        ]
        return min(fitting)[1]

    def restock(self, day: date, jobs: list[JobPlan]) -> None:
        """In the morning, before the trucks load: what came from the suppliers and the customer."""
        if day < BUYING_STOPS:
            self._buy_pieces(day)
        self._buy_drums(day)
        for job in jobs:
            self._get_reel(day, job)

    def _buy_pieces(self, day: date) -> None:
        by_supplier: dict[str, list[Any]] = {}
        for material, least in LEAST.items():
            if self.stock.amount(self.shelf, material) < least * MILLION:
                terms = TERMS[material]
                number = max(int(terms["pack"]), int(terms["minimum"]))
                unit = "ft" if material == "duct-16" else "each"
                row = (material, (Decimal(number), unit), (self.shelf, ""))
                by_supplier.setdefault(terms["supplier"], []).append(row)
        for supplier, goods in by_supplier.items():
            self.journal.receive(moment(day, 5.5), f"supplier:{supplier}", goods, "Delivery to the yard")

    def _buy_drums(self, day: date) -> None:
        if len(self.full_drums()) >= LEAST_DRUMS:
            return
        containers, goods = [], []
        for _ in range(4):
            self.drums += 1
            label = f"D-{self.letter}{self.drums:02d}"
            containers.append(
                {
                    "label": label,
                    "kind": "drum",
                    "material": "glide",
                    "place": self.bay,
                    "capacity": {"value": "55", "unit": "[gal_us]"},
                    "tare_kg": "18.6",
                }
            )
            goods.append(("glide", (Decimal(55), "gal"), (self.bay, label)))
        self.journal.receive(
            moment(day, 5.6), "supplier:pell-fluids", goods, "Four drums of fluid", containers=containers
        )

    def _get_reel(self, day: date, job: JobPlan) -> None:
        """A new reel where none gives the longest run any more."""
        longest = 4000 if job.unit == "ft" else 1200
        try:
            self.find_reel(job, longest)
        except ValueError:
            pass
        else:
            return
        self.reel_number += 1
        is_furnished = job.fibre_owner == job.customer
        label = (
            f"{'NF' if is_furnished else job.fibre.replace('fibre-', 'F')}-{self.letter}{self.reel_number}"
        )
        reel = {"label": label, "kind": "reel", "material": job.fibre, "place": self.reels}
        source = "supplier:brack-reels"
        if is_furnished:
            reel["owner"], source = job.customer, f"customer:{job.customer}"
        goods = [(job.fibre, (Decimal(REEL_LENGTHS[job.fibre]), job.unit), (self.reels, label))]
        reason = "Furnished by the customer" if is_furnished else "Reel bought"
        self.journal.receive(moment(day, 5.7), source, goods, reason, containers=[reel])

    def restore_when_full(self, day: date, hour: float) -> None:
        """Strain and test what came back: nine parts of ten are used again, the rest is handed over."""
        held = self.stock.in_container("glide-back", self.recovery_tote)
        if held < 130 * MILLION:
            return
        good = Decimal(held * 9 // 10 // MILLION)
        bad = Decimal(held) / MILLION - good
        end = (self.bay, self.recovery_tote)
        self.journal.convert(
            moment(day, hour),
            [("glide-back", (good, "gal"), end)],
            [("glide", (good, "gal"), (self.bay, self.fresh_tote))],
            "Strained, tested and put to the fluid that is used",
        )
        residue = [("glide-back", (bad, "gal"), end, ("waste", ""))]
        self.journal.move(
            "disposal", moment(day, hour + 0.1), residue, "Residue handed over", document=f"WM-{day:%m%d}"
        )
        self._refill(day, hour + 0.2)

    def _refill(self, day: date, hour: float) -> None:
        """Fill empty drums from the tote, 52 gallons each, within their fill limit."""
        moves = []
        left = self.stock.in_container("glide", self.fresh_tote) - 2 * MILLION
        for label in self.stock.containers_at(self.bay, "D-"):
            held = self.stock.in_container("glide", label)
            wanted = 52 * MILLION - held
            if held < 4 * MILLION and wanted <= left:
                left -= wanted
                amount = (Decimal(wanted) / MILLION, "gal")
                moves.append(("glide", amount, (self.bay, self.fresh_tote), (self.bay, label)))
        if moves:
            self.journal.move("pour", moment(day, hour), moves, "Drums filled again", as_report=True)
