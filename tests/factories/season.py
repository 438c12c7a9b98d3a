"""A season of crew-days, planned and out, with what each crew reports of its day: to measure many of them."""

import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection

from inventory.models import Container, Place
from inventory.money import to_money_millionths
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.units import from_millionths, parse_amount
from jobs.models import AccessPoint, Crew, CrewDay, CrewDayStep, PressureLimit, Run, Span
from jobs.services.reports.content import (
    AttemptContent,
    CatchContent,
    CleaningContent,
    ReadingContent,
    ReportContent,
    WorkName,
)
from jobs.services.reports.reporting import post_report
from tests.factories.inventory import World, make_world
from tests.factories.jobs import make_job, make_size

CREWS = 50
SPANS = 6
FIRST_DAY = date(2026, 1, 5)


class Season:
    """So many crew-days of six spans each, planned and out, with a truck's totes for each crew."""

    def __init__(self, days: int) -> None:
        self.world: World = make_world()
        self.job = make_job(customer=self.world.customer)
        self.days = days
        self._approve_pressures()
        self._make_crews()
        self._make_work()
        self._plan()
        self.analyze()

    def analyze(self) -> None:
        """Let the database look at what its tables hold."""
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")

    def _approve_pressures(self) -> None:
        """Limits as any company has them, so that the rules have something to compare with."""
        for purpose in ("extraction", "air_cleaning"):
            PressureLimit.objects.create(
                uuid=uuid.uuid4(),
                purpose=purpose,
                limit_kpa=1500.0,
                entered_value="1500",
                entered_unit="kPa",
                weakest_part="hose (invented)",
                approved_by=self.world.actor,
                approved_at=datetime(2026, 1, 1, tzinfo=UTC),
            )

    def _make_crews(self) -> None:
        self.crews: list[Crew] = []
        for number in range(CREWS):
            truck = Place.objects.create(code=f"truck-{number:02}", name=f"Truck {number}", kind="vehicle")
            self.crews.append(
                Crew.objects.create(
                    code=f"crew-{number:02}",
                    name=f"Crew {number}",
                    vehicle=truck,
                    warehouse=self.world.warehouse,
                )
            )
            for label, material, quantity in (
                ("D", self.world.fluid, 10**12),
                ("C", self.world.recovered, 10**9),
                ("W", self.world.recovered, 10**9),
            ):
                self._fill(f"{label}-{number:02}", material, quantity, truck)
            self._hold(truck, self.world.projectile, 10**12, None)

    def _fill(self, label: str, material: Any, quantity: int, truck: Place) -> None:
        box = Container.objects.create(
            label=label,
            kind="tote",
            material=material,
            owner=self.world.company,
            place=truck,
            state="open",
            contents_state="fresh" if material == self.world.fluid else "caught",
            capacity=2 * 10**12,
        )
        self._hold(truck, material, quantity, box)

    def _hold(self, place: Place, material: Any, quantity: int, box: Container | None) -> None:
        """Opening stock through the book, so that the ledger adds up."""
        amount = parse_amount(from_millionths(quantity, material.stock_unit), material.stock_unit)
        line = ReceiptLine(material, amount, End(place, box), to_money_millionths(100_000))
        receive(
            id=uuid.uuid4(),
            by=self.world.actor,
            occurred_at=datetime(2026, 1, 1, tzinfo=UTC),
            source=self.world.supplier,
            lines=[line],
        )

    def _make_work(self) -> None:
        size = make_size()
        points = AccessPoint.objects.bulk_create(
            (AccessPoint(job=self.job, name=f"P{number}") for number in range(SPANS + 1)), batch_size=5000
        )
        run_places = self._places("run", [f"R{number}" for number in range(self.days)])
        self.runs = Run.objects.bulk_create(
            (
                Run(job=self.job, name=f"R{number}", cable_size=size, place=place)
                for number, place in enumerate(run_places)
            ),
            batch_size=5000,
        )
        names = [f"S{number}-{part}" for number in range(self.days) for part in range(SPANS)]
        self.spans = Span.objects.bulk_create(
            (
                Span(
                    job=self.job,
                    run=self.runs[place // SPANS],
                    name=names[place],
                    sequence=place % SPANS + 1,
                    cable_size=size,
                    length_um=(300 + place % SPANS * 20) * 304_800,
                    entered_length="400",
                    entered_unit="[ft_i]",
                    near=points[place % SPANS],
                    far=points[place % SPANS + 1],
                    place=span_place,
                )
                for place, span_place in enumerate(self._places("span", names))
            ),
            batch_size=5000,
        )

    def _places(self, kind: str, names: list[str]) -> list[Place]:
        rows = (Place(code=f"{kind}:J-1:{name}", name=f"{kind} {name}", kind=kind) for name in names)
        return Place.objects.bulk_create(rows, batch_size=5000)

    def _plan(self) -> None:
        self.crew_days = CrewDay.objects.bulk_create(
            (
                CrewDay(
                    crew=self.crews[number % CREWS],
                    date=self.date_of(number),
                    vehicle=self.crews[number % CREWS].vehicle,
                    warehouse=self.world.warehouse,
                    state=CrewDay.State.OUT,
                )
                for number in range(self.days)
            ),
            batch_size=5000,
        )
        steps = []
        for number, day in enumerate(self.crew_days):
            steps += [
                CrewDayStep(
                    crew_day=day, position=part + 1, kind="extract", span=self.spans[number * SPANS + part]
                )
                for part in range(SPANS)
            ]
            steps.append(CrewDayStep(crew_day=day, position=SPANS + 1, kind="clean", run=self.runs[number]))
        CrewDayStep.objects.bulk_create(steps, batch_size=5000)

    def date_of(self, number: int) -> date:
        return FIRST_DAY + timedelta(days=number // CREWS)

    def moment_of(self, number: int) -> datetime:
        day = self.date_of(number)
        return datetime(day.year, day.month, day.day, 21, tzinfo=UTC) + timedelta(seconds=number % CREWS)

    def id_of(self, number: int) -> uuid.UUID:
        return uuid.UUID(int=number + 1)

    def report(self, number: int) -> None:
        post_report(
            id=self.id_of(number),
            by=self.world.actor,
            occurred_at=self.moment_of(number),
            crew_code=f"crew-{number % CREWS:02}",
            date=self.date_of(number),
            content=self.content_of(number),
            device="phone-1",
        )

    def content_of(self, number: int) -> ReportContent:
        crew, turn = number % CREWS, number // CREWS + 1
        names = [WorkName("J-1", f"S{number}-{part}") for part in range(SPANS)]
        run = WorkName("J-1", f"R{number}")
        gallons = parse_amount("5.5", "[gal_us]")
        attempts = tuple(
            AttemptContent(
                span=name,
                source_container=f"D-{crew:02}",
                meter_start=parse_amount(str(100 + 5 * part), "[gal_us]"),
                meter_end=parse_amount(str(105 + 5 * part), "[gal_us]"),
                pressure_kpa=900.0,
                temperature_c=18.0,
                duration_s=600.0,
                was_leak_looked_for=True,
            )
            for part, name in enumerate(names)
        )
        readings = (
            left(f"D-{crew:02}", 1_000_000 - 31 * turn),
            left(f"C-{crew:02}", 1_000 + Decimal("5.5") * turn),
            left(f"W-{crew:02}", 1_000 + 20 * turn),
        )
        return ReportContent(
            attempts=attempts,
            cleanings=(CleaningContent(run, True, "projectile-12", 4, 4, pressure_kpa=500.0),),
            caught=(
                CatchContent(f"C-{crew:02}", spans=tuple(names), amount=gallons),
                CatchContent(f"W-{crew:02}", kind="swept", run=run),
            ),
            readings=readings,
        )


def left(label: str, gallons: int | Decimal) -> ReadingContent:
    return ReadingContent(
        container=label, method="dipped", value=Decimal(gallons), unit="[gal_us]", temperature_c=18.0
    )
