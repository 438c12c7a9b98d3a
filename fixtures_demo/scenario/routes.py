"""Where the old cable lies: runs of one to four spans between access points."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from math import pi

from fixtures_demo.scenario.chance import Chance
from fixtures_demo.scenario.world import BORES_MM, JOBS, SIZES_OF_JOB, JobPlan

KINDS = ("pedestal", "pedestal", "pedestal", "vault", "handhole", "handhole", "pole")
GAL_M3 = 0.003785411784
FOOT_M = 0.3048
PAST_RUNS, PLANNED_RUNS, WAITING_RUNS = 16, 5, 2
RUNS_OF_CREW = PAST_RUNS + PLANNED_RUNS + WAITING_RUNS


@dataclass(frozen=True)
class Point:
    name: str
    kind: str


@dataclass(frozen=True)
class Span:
    """A span as the designer lists it; `length` in the job's unit."""

    name: str
    job: str
    run: str
    size: str
    length: Decimal
    unit: str
    near: Point
    far: Point
    bends: int

    @property
    def length_m(self) -> float:
        return float(self.length) * (FOOT_M if self.unit == "ft" else 1.0)

    @property
    def bore_gal(self) -> float:
        """Volume of the empty sheath, pi/4 d^2 L."""
        return pi / 4 * (BORES_MM[self.size] / 1000) ** 2 * self.length_m / GAL_M3


@dataclass(frozen=True)
class Run:
    name: str
    job: str
    size: str
    spans: tuple[Span, ...]

    @property
    def length_m(self) -> float:
        return sum(span.length_m for span in self.spans)


def lay_out_runs() -> dict[str, list[Run]]:
    """The runs of every job in the order of the route."""
    return {job.reference: _Route(job).runs for job in JOBS}


# Runs whose shape the story of the last days needs: size and number of spans by place in the route.
SHAPES = {"MILLBROOK": {15: (".750", 3), 16: (".625", 3), 17: (".500", 1)}}


class _Route:
    """Walks along a job's route, making access points, spans and runs."""

    def __init__(self, job: JobPlan) -> None:
        self.job = job
        self.chance = Chance(f"route {job.reference}")
        self.points = self.spans = 0
        count = RUNS_OF_CREW * (2 if job.reference == "MILLBROOK" else 1)
        self.runs = [self._make_run(number) for number in range(count)]

    def _make_run(self, number: int) -> Run:
        shape = SHAPES.get(self.job.reference, {}).get(number)
        size, count = shape or (self.chance.pick(SIZES_OF_JOB[self.job.reference]), self.chance.whole(1, 4))
        points = [self._make_point() for _ in range(count + 1)]
        name = f"{self.job.prefix}-R{number + 1:02d}"
        if not self.job.names_runs:
            # What the importer calls a run that the list does not name.
            name = f"{points[0].name} to {points[-1].name}"
        spans = [self._make_span(name, size, near, far) for near, far in pairwise(points)]
        return Run(name, self.job.reference, size, tuple(spans))

    def _make_span(self, run: str, size: str, near: Point, far: Point) -> Span:
        self.spans += 1
        feet = self.chance.between(150, 900)
        in_feet = self.job.unit == "ft"
        length = Decimal(round(feet)) if in_feet else Decimal(round(feet * FOOT_M * 10)) / 10
        return Span(
            name=f"{self.job.prefix}-{self.spans:03d}",
            job=self.job.reference,
            run=run,
            size=size,
            length=length,
            unit=self.job.unit,
            near=near,
            far=far,
            bends=self.chance.whole(0, 3),
        )

    def _make_point(self) -> Point:
        self.points += 1
        return Point(f"{self.job.prefix}{self.points:03d}", self.chance.pick(KINDS))


def litres_to_gallons_millionths(litres: Decimal) -> int:
    """The book's own rounding: exact, half-even to a millionth."""
    return round(Fraction(litres) / Fraction("3.785411784") * 10**6)
