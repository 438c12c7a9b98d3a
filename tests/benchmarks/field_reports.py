"""Ten thousand field reports through the service, beside the same rows by plain psycopg. PostgreSQL only.

A report tells of a crew's whole day: six spans extracted by meter, what was caught of them, their run cleaned
and swept, and what is left in three containers. The service looks everything up, books it, judges it by the
rules of the trade and marks the work done. The plain writer knows all rows beforehand, keys included, and
sends those of a report as one message in one transaction, to the same tables with the same constraints,
triggers and durability. What it writes is no sound book, so it writes after the ledger was verified.
"""

import time
import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection, models

from inventory.models import (
    Container,
    ContainerChange,
    CostPool,
    CountReading,
    Entry,
    Holding,
    Movement,
    Place,
    Unsealed,
)
from inventory.money import to_money_millionths
from inventory.queries.verification import verify_ledger
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.services.sealing import seal_all
from inventory.units import from_millionths, parse_amount
from jobs.models import (
    AccessPoint,
    ContainerReading,
    Crew,
    CrewDay,
    CrewDayStep,
    FieldReport,
    FluidCaught,
    PressureLimit,
    RuleFinding,
    Run,
    RunCleaning,
    Span,
    SpanAttempt,
)
from jobs.services.reports.content import (
    AttemptContent,
    CatchContent,
    CleaningContent,
    ReadingContent,
    ReportContent,
    WorkName,
)
from jobs.services.reports.reporting import post_report
from tests.benchmarks.measurement import Measurement
from tests.factories.inventory import World, make_world
from tests.factories.jobs import make_job, make_size

REPORTS = 10_000
TURNS, REPORTS_A_TURN = 8, 50
CREWS = 50
SPANS = 6
FIRST_DAY = date(2026, 1, 5)
GAL = 1_000_000


def main(reports: int = REPORTS) -> list[Measurement]:
    if connection.vendor != "postgresql":
        print("field_reports: needs PostgreSQL")
        return []
    beside = 2 * (TURNS + 1) * REPORTS_A_TURN
    season = Season(reports + beside)
    started = time.perf_counter()
    for number in range(reports):
        season.report(number)
    rate = reports / (time.perf_counter() - started)
    seal_all()
    differences = len(list(verify_ledger()))
    service, plain = measure_beside(season, first=reports)
    return [
        Measurement(what=f"{reports:,} field reports posted by the service", value=rate, unit="1/s"),
        Measurement(what="differences found by verifying the ledger", value=differences, unit="", at_most=0),
        Measurement(what="field reports posted by the service, side by side", value=service, unit="1/s"),
        Measurement(what="the same rows by plain psycopg", value=plain, unit="1/s"),
        Measurement(what="ratio", value=service / plain, unit="", at_least=0.25),
    ]


def measure_beside(season: "Season", *, first: int) -> tuple[float, float]:
    """Rates of service and plain writer in turns, each the median; the first turn only warms up."""
    plain_writer = Plain(season, season.rows_of(first - 1), template=first - 1)
    rates: dict[str, list[float]] = {"service": [], "plain": []}
    number = first
    for turn in range(TURNS + 1):
        pair = [("service", season.report), ("plain", plain_writer.report)]
        for name, write in pair if turn % 2 else reversed(pair):
            started = time.perf_counter()
            for _report in range(REPORTS_A_TURN):
                write(number)
                number += 1
            if turn:
                rates[name].append(REPORTS_A_TURN / (time.perf_counter() - started))
    return median(rates["service"]), median(rates["plain"])


def median(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]


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
            # Blown on another day: so this one waits for something still.
            steps.append(CrewDayStep(crew_day=day, position=SPANS + 2, kind="blow", run=self.runs[number]))
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

    def rows_of(self, number: int) -> dict[type[models.Model], list[models.Model]]:
        """All rows that a report of the service left, by their table."""
        report = FieldReport.objects.get(uuid=self.id_of(number))
        entries = Entry.objects.filter(document=report.document)
        by_report = {"report": report}
        found: dict[type[models.Model], list[models.Model]] = {
            FieldReport: [report],
            SpanAttempt: list(SpanAttempt.objects.filter(**by_report)),
            RunCleaning: list(RunCleaning.objects.filter(**by_report)),
            FluidCaught: list(FluidCaught.objects.filter(**by_report)),
            FluidCaught.spans.through: list(
                FluidCaught.spans.through.objects.filter(fluidcaught__report=report)
            ),
            ContainerReading: list(ContainerReading.objects.filter(**by_report)),
            RuleFinding: list(RuleFinding.objects.filter(**by_report)),
            Entry: list(entries),
            Movement: list(Movement.objects.filter(entry__in=entries)),
            CountReading: list(CountReading.objects.filter(entry__in=entries)),
            ContainerChange: list(ContainerChange.objects.filter(entry__in=entries)),
        }
        ends = [(row.source_place_id, row.target_place_id, row.material_id) for row in found[Movement]]  # type: ignore[attr-defined]
        places = {place for source, target, _material in ends for place in (source, target)}
        materials = {material for _source, _target, material in ends}
        for model in (Holding, CostPool):
            found[model] = list(model.objects.filter(place__in=places, material__in=materials))  # type: ignore[attr-defined]
        return found


def left(label: str, gallons: int | Decimal) -> ReadingContent:
    return ReadingContent(
        container=label, method="dipped", value=Decimal(gallons), unit="[gal_us]", temperature_c=18.0
    )


class Plain:
    """The rows of one report written again for another day, in one message of one statement a table."""

    def __init__(
        self, season: Season, rows: dict[type[models.Model], list[models.Model]], *, template: int
    ) -> None:
        self.season = season
        self.rows = {model: found for model, found in rows.items() if found}
        self.template = template
        connection.ensure_connection()
        self.psycopg = connection.connection
        # Far above what the sequences give out, so that both may write in turns.
        self.next_key = 10**9

    def report(self, number: int) -> None:
        statements, values = self._message(number)
        with self.psycopg.transaction(), self.psycopg.cursor() as cursor:
            cursor.execute("; ".join(statements), values)

    def _message(self, number: int) -> tuple[list[str], list[Any]]:
        swap = self._swap(number)
        keys: dict[tuple[type[models.Model], Any], int] = {}
        statements, values = [], []
        for model, rows in self.rows.items():
            fields = model._meta.concrete_fields
            row_sql = f"({', '.join(['%s'] * len(fields))})"
            sql = (
                f"INSERT INTO {model._meta.db_table} ({', '.join(field.column for field in fields)})"
                f" VALUES {', '.join([row_sql] * len(rows))}"
            )
            if model in (Holding, CostPool):
                part = "is_unsettled" if model is Holding else "value"
                sql += (
                    f" ON CONFLICT (key) DO UPDATE SET quantity = EXCLUDED.quantity, {part} = EXCLUDED.{part}"
                )
            statements.append(sql)
            for row in rows:
                values += [self._value(field, row, number, swap, keys) for field in fields]
        statements.append(f"INSERT INTO {Unsealed._meta.db_table} (entry_id) VALUES (%s)")
        values.append(keys[Entry, self.rows[Entry][0].pk])
        spans = [swap[Span, span.pk] for span in self._spans(self.template)]
        moment = self.season.moment_of(number)
        statements += [
            "UPDATE jobs_span SET extracted_at = %s WHERE id = ANY(%s)",
            "UPDATE jobs_run SET cleaned_at = %s WHERE id = %s",
            "UPDATE jobs_crewdaystep SET done_at = %s WHERE crew_day_id = %s AND position <= %s",
        ]
        values += [moment, spans, moment, self.season.runs[number].pk]
        values += [moment, self.season.crew_days[number].pk, SPANS + 1]
        return statements, values

    def _swap(self, number: int) -> dict[tuple[type[models.Model], Any], Any]:
        """What stands for what when the template's day becomes another."""
        season, template = self.season, self.template
        swap: dict[tuple[type[models.Model], Any], Any] = {
            (CrewDay, season.crew_days[template].pk): season.crew_days[number].pk,
            (Run, season.runs[template].pk): season.runs[number].pk,
            (Place, season.runs[template].place_id): season.runs[number].place_id,
        }
        for old, new in zip(self._spans(template), self._spans(number), strict=True):
            swap[Span, old.pk] = new.pk
            swap[Place, old.place_id] = new.place_id
        return swap

    def _spans(self, number: int) -> list[Span]:
        return self.season.spans[number * SPANS : (number + 1) * SPANS]

    def _value(
        self,
        field: Any,
        row: models.Model,
        number: int,
        swap: dict[tuple[type[models.Model], Any], Any],
        keys: dict[tuple[type[models.Model], Any], int],
    ) -> Any:
        value = getattr(row, field.attname)
        model = type(row)
        if field.name == "uuid":
            return uuid.uuid4()
        if field.primary_key and model in (Holding, CostPool):
            place, rest = value.split(":", 1)
            return f"{swap.get((Place, int(place)), place)}:{rest}"
        if field.primary_key:
            self.next_key += 1
            keys[model, value] = self.next_key
            return self.next_key
        if field.is_relation and value is not None:
            target = field.related_model
            return keys.get((target, value), swap.get((target, value), value))
        return value
