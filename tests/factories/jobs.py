"""Small worlds of jobs for tests: made with the models, so that a test of one service needs no other."""

import itertools
from datetime import date

from inventory.models import Material, Party, Place
from jobs.models import AccessPoint, CableSize, Crew, CrewDay, CrewDayStep, Job, Run, Span

_numbers = itertools.count(1)
DAY = date(2026, 3, 2)
UM_PER_FOOT = 304_800


def make_company() -> Party:
    return Party.objects.get_or_create(
        is_company=True, defaults={"code": "own", "name": "Ridgeline Conduit (invented)"}
    )[0]


def make_customer(code: str = "valley") -> Party:
    return Party.objects.get_or_create(code=code, defaults={"name": code.title(), "is_customer": True})[0]


def make_place(kind: Place.Kind, code: str | None = None, parent: Place | None = None) -> Place:
    code = code or f"{kind}-{next(_numbers)}"
    return Place.objects.get_or_create(code=code, defaults={"name": code, "kind": kind, "parent": parent})[0]


def make_size(designation: str = ".500", bore_mm: float = 11.4808) -> CableSize:
    """A shipped size; made anew where a test with a database of its own has emptied the table."""
    return CableSize.objects.get_or_create(
        designation=designation,
        defaults={
            "outside_diameter_mm": float(designation) * 25.4,
            "wall_mm": (float(designation) * 25.4 - bore_mm) / 2,
            "nominal_bore_mm": bore_mm,
            "confidence": "sound",
        },
    )[0]


def make_job(reference: str = "J-1", *, state: str = Job.State.PLANNED, customer: Party | None = None) -> Job:
    return Job.objects.create(
        reference=reference,
        name=f"Job {reference}",
        state=state,
        customer=customer,
        place=make_place(Place.Kind.JOB, f"job:{reference}"),
    )


def make_run(job: Job, name: str = "R1", size: CableSize | None = None) -> Run:
    place = make_place(Place.Kind.RUN, f"run:{job.reference}:{name}", job.place)
    return Run.objects.create(job=job, name=name, cable_size=size or make_size(), place=place)


def make_point(job: Job, name: str, kind: str = "") -> AccessPoint:
    return AccessPoint.objects.get_or_create(job=job, name=name, defaults={"kind": kind})[0]


def make_span(run: Run, name: str, near: str, far: str, *, feet: int = 400, sequence: int = 1) -> Span:
    job = run.job
    return Span.objects.create(
        job=job,
        run=run,
        name=name,
        sequence=sequence,
        cable_size=run.cable_size,
        length_um=feet * UM_PER_FOOT,
        entered_length=str(feet),
        entered_unit="[ft_i]",
        near=make_point(job, near),
        far=make_point(job, far),
        place=make_place(Place.Kind.SPAN, f"span:{job.reference}:{name}", run.place),
    )


def make_crew(code: str = "north") -> Crew:
    return Crew.objects.create(
        code=code,
        name=f"{code} crew",
        vehicle=make_place(Place.Kind.VEHICLE, f"truck-{code}"),
        warehouse=make_place(Place.Kind.WAREHOUSE, "yard"),
    )


def make_crew_day(crew: Crew, *, day: date = DAY) -> CrewDay:
    assert crew.vehicle is not None
    assert crew.warehouse is not None
    return CrewDay.objects.create(crew=crew, date=day, vehicle=crew.vehicle, warehouse=crew.warehouse)


def add_step(
    crew_day: CrewDay, kind: str, *, span: Span | None = None, run: Run | None = None
) -> CrewDayStep:
    position = crew_day.steps.count() + 1
    return CrewDayStep.objects.create(crew_day=crew_day, position=position, kind=kind, span=span, run=run)


def make_fluid(code: str = "glide", unit: str = "[gal_us]") -> Material:
    return Material.objects.get_or_create(
        code=code,
        defaults={"name": code, "kind": "fluid", "stock_unit": unit, "density_kg_per_m3": 1000.0},
    )[0]
