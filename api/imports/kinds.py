"""What may be imported: who may, what is said beside the file, and the call that takes a whole file."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from api.models import BulkImport
from api.wire.calculations.fields import Flag, Record
from api.wire.input_fields import MomentField, NoteField
from api.wire.stock_import import stock_import_json
from api.wire.taken_lists import schedule_import_json, span_import_json
from api.wire.truck_requests import read_record
from inventory.errors import BadInput, Fault
from inventory.models import Actor
from inventory.queries.access import require_may_take_stock_sheet
from inventory.queries.company import get_company
from inventory.services.stock_sheet import import_stock
from jobs.queries.access import WorkViewer, require_may_plan, require_may_report
from jobs.services.job_life import JobOpening
from jobs.services.schedule import import_schedule
from jobs.services.spans import import_spans

Json = dict[str, Any]
Report = Callable[[str, int, int], None]
KIND = BulkImport.Kind
_FLAGS = {"true": True, "false": False}


@dataclass(frozen=True, kw_only=True)
class Sent:
    """A file on its way in, and who sent it when, under which id."""

    path: Path
    name: str
    id: UUID
    by: Actor
    at: datetime
    report: Report


@dataclass(frozen=True, kw_only=True)
class ImportKind:
    """One kind. `options` are parameters of the address; `take` is None where rows are taken one by one.

    `take` gives the answer and how many rows there were.
    """

    options: Record
    require: Callable[[WorkViewer], None]
    take: Callable[[Sent, Json], tuple[Json, int]] | None

    def read_options(self, given: Mapping[str, str]) -> Json:
        """The options as values; those of the address are text.

        Raises
        ------
        BadInput
            If one is missing, not known or not what it must be.
        """
        flags = {name for name, field in self.options.fields.items() if isinstance(field, Flag)}
        told = {name: _FLAGS.get(text, text) if name in flags else text for name, text in given.items()}
        try:
            values: Json = read_record(self.options, told)
        except BadInput as refusal:
            faults = [Fault(row.pointer.lstrip("/"), row.value, row.message) for row in refusal.faults]
            raise BadInput.of(faults) from None
        return values


def _take_spans(sent: Sent, options: Json) -> tuple[Json, int]:
    opening = JobOpening(name=options["job_name"], customer_code=options["customer"])
    answer = import_spans(
        path=sent.path,
        job_reference=options["job"],
        by=sent.by,
        occurred_at=sent.at,
        opening=opening if options["create_job"] else None,
        id=sent.id,
        report=sent.report,
    )
    return span_import_json(answer), answer.span_count


def _take_crew_days(sent: Sent, options: Json) -> tuple[Json, int]:
    answer = import_schedule(
        path=sent.path,
        by=sent.by,
        occurred_at=sent.at,
        may_create_crews=options["create_crews"],
        id=sent.id,
    )
    return schedule_import_json(answer), answer.steps


def _take_stock(sent: Sent, options: Json) -> tuple[Json, int]:
    answer = import_stock(
        path=sent.path,
        by=sent.by,
        occurred_at=options["at"] or sent.at,
        document=options["document"] or sent.name,
        id=sent.id,
        report=sent.report,
    )
    return {**stock_import_json(answer, currency=get_company().currency), "file": sent.name}, answer.rows


IMPORT_KINDS: dict[str, ImportKind] = {
    KIND.SPANS: ImportKind(
        options=Record(
            fields={
                "job": NoteField(longest=64),
                "create_job": Flag(default=False),
                "job_name": NoteField(longest=200, default=""),
                "customer": NoteField(longest=64, default=""),
            }
        ),
        require=require_may_plan,
        take=_take_spans,
    ),
    KIND.CREW_DAYS: ImportKind(
        options=Record(fields={"create_crews": Flag(default=False)}),
        require=require_may_plan,
        take=_take_crew_days,
    ),
    KIND.STOCK: ImportKind(
        options=Record(
            fields={
                "at": MomentField(default=None, may_be_null=True),
                "document": NoteField(longest=200, default=""),
            }
        ),
        require=require_may_take_stock_sheet,
        take=_take_stock,
    ),
    KIND.FIELD_REPORTS: ImportKind(options=Record(fields={}), require=require_may_report, take=None),
}
