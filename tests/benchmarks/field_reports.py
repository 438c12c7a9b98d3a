"""Ten thousand field reports through the service, beside the same rows by plain psycopg. PostgreSQL only.

A report tells of a crew's whole day: six spans extracted by meter, what was caught of them, their run cleaned
and swept, and what is left in three containers. The service looks everything up, books it, judges it by the
rules of the trade, marks the work done and settles the day. The plain writer knows all rows beforehand, keys
included, and its messages are made before the clock runs: it sends those of a report as one message in one
transaction, to the same tables with the same constraints, triggers and durability. What it writes is no sound
book, so it writes after the ledger was verified.
"""

import time
import uuid
from collections.abc import Iterable
from typing import Any

from django.db import connection, models

from inventory.models import (
    ContainerChange,
    CostPool,
    CountReading,
    DomainEvent,
    Entry,
    FluidCatch,
    Holding,
    Movement,
    Place,
    Unsealed,
)
from inventory.queries.verification import verify_ledger
from inventory.services.sealing import seal_all
from jobs.models import (
    ContainerReading,
    CrewDay,
    FieldReport,
    FluidCaught,
    RuleFinding,
    Run,
    RunCleaning,
    Span,
    SpanAttempt,
)
from tests.benchmarks.measurement import Measurement
from tests.factories.season import SPANS, Season

REPORTS = 10_000
TURNS, REPORTS_A_TURN = 8, 50
FIRST_ROWS = 200


def main(reports: int = REPORTS) -> list[Measurement]:
    if connection.vendor != "postgresql":
        print("field_reports: needs PostgreSQL")
        return []
    beside = 2 * (TURNS + 1) * REPORTS_A_TURN
    season = Season(reports + beside)
    started = time.perf_counter()
    for number in range(reports):
        season.report(number)
        if number == FIRST_ROWS:
            # As the server does by itself where it watches its tables: now they hold something to go by.
            season.analyze()
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
    plain_writer = Plain(season, rows_of(season, first - 1), template=first - 1)
    rates: dict[str, list[float]] = {"service": [], "plain": []}
    number = first
    for turn in range(TURNS + 1):
        pair = [("service", season.report), ("plain", plain_writer.report)]
        for name, write in pair if turn % 2 else reversed(pair):
            numbers = range(number, number + REPORTS_A_TURN)
            number += REPORTS_A_TURN
            if name == "plain":
                plain_writer.prepare(numbers)
            started = time.perf_counter()
            for each in numbers:
                write(each)
            if turn:
                rates[name].append(REPORTS_A_TURN / (time.perf_counter() - started))
    return median(rates["service"]), median(rates["plain"])


def median(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]


def rows_of(season: Season, number: int) -> dict[type[models.Model], list[models.Model]]:
    """All rows that a report of the service left, by their table."""
    report = FieldReport.objects.get(uuid=season.id_of(number))
    entries, day = Entry.objects.filter(document=report.document), report.crew_day
    by_report = {"report": report}
    found: dict[type[models.Model], list[models.Model]] = {
        FieldReport: [report],
        SpanAttempt: list(SpanAttempt.objects.filter(**by_report)),
        RunCleaning: list(RunCleaning.objects.filter(**by_report)),
        FluidCaught: list(FluidCaught.objects.filter(**by_report)),
        FluidCaught.spans.through: list(FluidCaught.spans.through.objects.filter(fluidcaught__report=report)),
        ContainerReading: list(ContainerReading.objects.filter(**by_report)),
        RuleFinding: list(RuleFinding.objects.filter(**by_report)),
        Entry: list(entries),
        Movement: list(Movement.objects.filter(entry__in=entries)),
        CountReading: list(CountReading.objects.filter(entry__in=entries)),
        ContainerChange: list(ContainerChange.objects.filter(entry__in=entries)),
        FluidCatch: list(FluidCatch.objects.filter(entry__in=entries)),
        DomainEvent: list(
            DomainEvent.objects.filter(
                kind="crew_day_settled", body__crew=day.crew.code, body__date=day.date.isoformat()
            )
        ),
    }
    ends = [(row.source_place_id, row.target_place_id, row.material_id) for row in found[Movement]]  # type: ignore[attr-defined]
    places = {place for source, target, _material in ends for place in (source, target)}
    materials = {material for _source, _target, material in ends}
    for model in (Holding, CostPool):
        found[model] = list(model.objects.filter(place__in=places, material__in=materials))  # type: ignore[attr-defined]
    return found


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
        self.messages: dict[int, tuple[list[str], list[Any]]] = {}

    def prepare(self, numbers: Iterable[int]) -> None:
        """Make the messages of these reports, so that writing them is all that is measured."""
        self.messages = {number: self._message(number) for number in numbers}

    def report(self, number: int) -> None:
        statements, values = self.messages[number]
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
        for model, column in ((Entry, "entry_id"), (DomainEvent, "event_id")):
            for row in self.rows.get(model, ()):
                statements.append(f"INSERT INTO {Unsealed._meta.db_table} ({column}) VALUES (%s)")
                values.append(keys[model, row.pk])
        spans = [swap[Span, span.pk] for span in self._spans(self.template)]
        moment, day = self.season.moment_of(number), self.season.crew_days[number].pk
        statements += [
            "UPDATE jobs_span SET extracted_at = %s WHERE id = ANY(%s)",
            "UPDATE jobs_run SET cleaned_at = %s WHERE id = %s",
            "UPDATE jobs_crewdaystep SET done_at = %s WHERE crew_day_id = %s AND position <= %s",
            "UPDATE jobs_crewday SET state = 'settled' WHERE id = %s",
        ]
        values += [moment, spans, moment, self.season.runs[number].pk, moment, day, SPANS + 1, day]
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
        return field.get_db_prep_save(value, connection) if isinstance(field, models.JSONField) else value
