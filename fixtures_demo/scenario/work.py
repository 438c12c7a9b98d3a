"""What a crew's day does to the stock: loading, extracting, cleaning, blowing, coming home."""

from decimal import Decimal
from typing import Any

from fixtures_demo.scenario.chance import Chance
from fixtures_demo.scenario.days import BLOW, CLEAN, EXTRACT, CrewDay, Step
from fixtures_demo.scenario.journal import Amount, Cleaning, Journal, Move, moment, wire
from fixtures_demo.scenario.routes import FOOT_M, Run, Span
from fixtures_demo.scenario.stock import MILLION, to_millionths
from fixtures_demo.scenario.world import JOBS, PROJECTILES, size_code
from fixtures_demo.scenario.yard import Yard

SET_UP_GAL = 0.5
FIRST_MARK = Decimal(20_000)
HEEL = MILLION // 2
TAIL_M = 12.0
JOB = {job.reference: job for job in JOBS}
LITRES_A_GALLON = Decimal("3.785411784")
EACH = "each"


def pieces(number: int) -> Amount:
    return Decimal(number), EACH


def _work(work: Span | Run) -> dict[str, str]:
    return {"job": work.job, "name": work.name}


def gallons(millionths: int) -> Amount:
    return Decimal(millionths) / MILLION, "gal"


class WorkDay:
    """One crew's day, written into the journal step by step."""

    def __init__(self, journal: Journal, yards: dict[str, Yard], recovered: dict[str, float]) -> None:
        self.journal, self.stock, self.yards = journal, journal.stock, yards
        # What stands in each extracted bore and waits to be swept, in gallons, by span.
        self.swept = recovered
        # The mark at the end of each reel, and the drums that were drawn from that day.
        self.marks: dict[str, Decimal] = {}
        self.poured: list[str] = []

    def write(self, day: CrewDay) -> None:
        self.day, self.yard = day, self.yards[day.crew.yard]
        self.truck = day.crew.truck
        self.number = self.truck.removeprefix("truck-")
        self.chance = Chance(f"day {day.crew.code} {day.date}")
        self.report: dict[str, list[dict[str, Any]]] = {}
        self.poured = []
        self._load()
        for step in day.steps:
            self._do(step)
        self._read_drums()
        self.journal.report(self._at(16.75), day.crew.code, day.date, self.report)
        self._come_home()

    def _at(self, hour: float) -> str:
        return moment(self.day.date, hour)

    def _load(self) -> None:
        """Fill up from the yard: full drums, what the runs take, the reel, duct."""
        spans = [step.span for step in self.day.steps if step.span is not None]
        drums = self._drums_to_load(spans)
        moves: list[Move] = []
        reels = []
        for step in self.day.steps:
            if step.kind == CLEAN:
                size = step.run.size
                moves += self._fetch(PROJECTILES[size], 4)
                moves += self._fetch(size_code("union", size), len(step.run.spans) - 1)
                moves += self._fetch("seal", 2)
            elif step.kind == BLOW:
                reels.append(self.yard.find_reel(JOB[step.run.job], self._fibre(step.run) * 1.05))
                moves.append(self._length("duct-16", "6", self.yard.shelf, self.truck))
        moves += self._replace_fittings(spans)
        containers = [(label, self.truck) for label in [*drums, *dict.fromkeys(reels)]]
        self.journal.carry(self._at(6.5), "Loaded for the day", moves=moves, containers=containers)

    def _drums_to_load(self, spans: list[Span]) -> list[str]:
        need = sum(span.bore_gal * 1.45 + SET_UP_GAL for span in spans) * MILLION
        there = sum(self._usable(label) for label in self._glide_drums())
        found: list[str] = []
        while there < need:
            label = self.yard.take_full_drum(exclude=found)
            found.append(label)
            there += self._usable(label)
        return found

    def _fetch(self, material: str, wanted: int) -> list[Move]:
        """What of a kind has to be taken from the shelf beyond what the truck has."""
        missing = wanted - self.stock.amount(self.truck, material) // MILLION
        if missing <= 0:
            return []
        return [(material, pieces(missing), (self.yard.shelf, ""), (self.truck, ""))]

    def _replace_fittings(self, spans: list[Span]) -> list[Move]:
        found: list[Move] = []
        for size in dict.fromkeys(span.size for span in spans):
            for role in ("pressure", "exit"):
                found += self._fetch(size_code(role, size), 2)
        return found

    def _length(self, material: str, feet: str, source: str, target: str) -> Move:
        return material, (Decimal(feet), "ft"), (source, ""), (target, "")

    def _glide_drums(self) -> list[str]:
        """The truck's drums of fluid to inject, those that hold least first."""
        drums = self.stock.containers_at(self.truck, "D-")
        return sorted(drums, key=lambda label: (self.stock.in_container("glide", label), label))

    def _usable(self, label: str) -> int:
        return max(self.stock.in_container("glide", label) - HEEL, 0)

    def _do(self, step: Step) -> None:
        if step.kind == EXTRACT and step.span is not None:
            self._extract(step.span)
        elif step.kind == CLEAN:
            self._clean(step.run)
        else:
            self._blow(step.run)

    def _tell(self, part: str, **values: Any) -> None:
        """Add a row to the day's report; what says nothing is left out."""
        told = {name: value for name, value in values.items() if value not in ("", None, [])}
        self.report.setdefault(part, []).append(told)

    def _extract(self, span: Span) -> None:
        injected = span.bore_gal * (1 + self.chance.between(0.12, 0.38)) + SET_UP_GAL
        back = injected * self.chance.between(0.86, 0.975)
        # A fifth or so slips past the core and is caught at once; the rest stands in the bore.
        caught = back * self.chance.between(0.12, 0.28)
        self.swept[span.name] = back - caught
        self._pour(to_millionths(*self._as_told(injected, span), "glide"))
        self._tell("attempts", span=_work(span), injected=wire(self._as_told(injected, span)))
        self._add_mishap(span)
        self._catch(f"C-T{self.number}", self._as_told(caught, span), spans=[_work(span)])

    def _pour(self, left: int) -> None:
        """Take fluid from the drums that hold least first; at day's end they are read."""
        for label in self._glide_drums():
            part = min(left, self._usable(label))
            if part:
                self.stock.add(self.truck, "glide", label, -part)
                self.poured.append(label)
                left -= part

    def _catch(self, drum: str, amount: Amount, **where: Any) -> None:
        self.stock.add(self.truck, "glide-back", drum, to_millionths(*amount, "glide-back"))
        self._tell("caught", container=drum, amount=wire(amount), **where)

    def _read_drums(self) -> None:
        """What is left in each drum that was drawn from, by the stick."""
        for label in sorted(set(self.poured)):
            held = Decimal(self.stock.in_container("glide", label)) / MILLION
            if held:
                read = {"method": "dipped", "value": str(held), "unit": "[gal_us]"}
            else:
                read = {"method": "empty"}
            self._tell("readings", container=label, **read)

    def _use(self, material: str, amount: Amount, fate: str, *, cause: str = "", **where: Any) -> None:
        """Pieces or lengths off the truck."""
        self.stock.add(self.truck, material, "", -to_millionths(*amount, material))
        self._tell("pieces", material=material, amount=wire(amount), fate=fate, cause=cause, **where)

    def _as_told(self, told_gallons: float, span: Span) -> Amount:
        """As the crew reads it: tenths of a gallon, or half litres where the job is metric."""
        if span.unit == "m":
            litres = Decimal(round(told_gallons * float(LITRES_A_GALLON) * 2)) / 2
            return litres, "L"
        return Decimal(round(told_gallons * 10)) / 10, "gal"

    def _add_mishap(self, span: Span) -> None:
        if self.chance.happens(0.05):
            role = self.chance.pick(("pressure", "exit"))
            is_worn = self.chance.happens(0.7)
            fate, cause = ("worn", "") if is_worn else ("lost", "left_in_plant")
            self._use(size_code(role, span.size), pieces(1), fate, cause=cause, span=_work(span))
        drum = self._glide_drums()[-1]
        if self.chance.happens(0.02) and self._usable(drum) > 15 * MILLION:
            spilt: Amount = (Decimal("1.5"), "gal")
            self.stock.add(self.truck, "glide", drum, -to_millionths(*spilt, "glide"))
            self.poured.append(drum)
            self._tell(
                "losses", material="glide", container=drum, amount=wire(spilt), cause="spill",
                span=_work(span), is_contained=True,
            )  # fmt: skip

    def _clean(self, run: Run) -> None:
        fired = 3 if self.chance.happens(0.5) else 4
        projectile = PROJECTILES[run.size]
        self.stock.add(self.truck, projectile, "", -fired * MILLION)
        self._tell("cleanings", run=_work(run), projectile=projectile, fired=fired, retrieved=fired)
        self.journal.cleanings.append(Cleaning(run.job, run.name, self.truck, projectile, fired))
        if len(run.spans) > 1:
            union = size_code("union", run.size)
            self._use(union, pieces(len(run.spans) - 1), "installed", run=_work(run))
        self._use("seal", pieces(2), "installed", run=_work(run))
        swept = [self._as_told(self.swept.pop(span.name), span) for span in run.spans]
        total: Amount = (sum((value for value, _unit in swept), Decimal(0)), swept[0][1])
        self._catch(f"S-T{self.number}", total, kind="swept", run=_work(run))

    def _fibre(self, run: Run) -> float:
        """Length for the run in the job's unit, tails included."""
        return (run.length_m + 2 * TAIL_M) / (FOOT_M if run.spans[0].unit == "ft" else 1.0)

    def _blow(self, run: Run) -> None:
        job = JOB[run.job]
        length = Decimal(round(self._fibre(run) * self.chance.between(1.0, 1.015)))
        reel = self.yard.find_reel(job, float(length), places=(self.truck,))
        self.stock.add(self.truck, job.fibre, reel, -to_millionths(length, job.unit, job.fibre))
        start = self.marks.get(reel, FIRST_MARK)
        self.marks[reel] = start - length
        self._tell(
            "blowings", run=_work(run), reel=reel, mark_start=wire((start, job.unit)),
            mark_end=wire((start - length, job.unit)),
        )  # fmt: skip
        self._use("duct-16", (Decimal(6), "ft"), "installed", run=_work(run))

    def _come_home(self) -> None:
        containers = [(label, self.yard.reels) for label in self._reels_on_truck()]
        empties = [label for label in self._glide_drums() if self._usable(label) < 3 * MILLION]
        containers += [(label, self.yard.bay) for label in empties]
        self.journal.carry(self._at(17.0), "Back in the yard", containers=containers)
        for label in (f"C-T{self.number}", f"S-T{self.number}"):
            held = self.stock.in_container("glide-back", label)
            if held > 10 * MILLION:
                tote = self.yard.recovery_tote
                moves = [("glide-back", gallons(held), (self.truck, label), (self.yard.bay, tote))]
                self.journal.move("pour", self._at(17.25), moves, f"{label} emptied", as_report=True)
                self.yard.restore_when_full(self.day.date, 17.5)

    def _reels_on_truck(self) -> list[str]:
        here = self.stock.standing.items()
        return sorted(
            label for label, place in here if place == self.truck and label.startswith(("F48", "F72", "NF"))
        )
