"""The accountant's pages: jobs, what each one's consumables cost and why, down to the entries."""

from typing import Any
from urllib.parse import urlencode

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import mark_safe

from api.pages.looks import show_table
from api.pages.page import Page
from api.wire.cost_sheets import cost_sheet_body
from api.wire.input_fields import read_day
from api.wire.pictures.cost_bridge import draw_cost_bridge
from inventory.errors import NotFound
from inventory.models import Entry, Movement
from inventory.queries.access import get_entry, require_sees_accounts
from jobs.models import IssuedSheet, Job
from jobs.queries.access import get_visible_job, visible_jobs
from jobs.queries.cost_sheet import CostLine, CostSheet, list_line_movements, make_cost_sheet
from jobs.queries.fluid_figures import FluidSum
from jobs.queries.issued_sheets import find_faults, get_issued_sheet

PAGE = 50
PARTS_OF_A_LINE = ("span", "run", "job", "month", "crew")


class Jobs(Page):
    """The jobs that one sees, those under way first."""

    def get(self, request: HttpRequest) -> HttpResponse:
        state = request.GET.get("state", "")
        jobs = visible_jobs(self.viewer).select_related("customer").order_by("reference")
        if state in Job.State.values:
            jobs = jobs.filter(state=state)
        after = request.GET.get("after", "")[:40].replace("\x00", "")
        found = list(jobs.filter(reference__gt=after)[: PAGE + 1])
        return self.show(
            "jobs",
            jobs=found[:PAGE],
            next_after=found[PAGE - 1].reference if len(found) > PAGE else "",
            states=Job.State.choices,
            state=state,
        )


class JobCost(Page):
    """One job's cost sheet: from estimate to actual, each line open to its entries."""

    def get(self, request: HttpRequest, reference: str) -> HttpResponse:
        require_sees_accounts(self.viewer)
        sheet = make_cost_sheet(get_visible_job(self.viewer, reference))
        picture = draw_cost_bridge(sheet)
        return self.show(
            "job_cost",
            sheet=sheet,
            job=sheet.statement.job,
            lines=[_show_line(line) for line in sheet.lines],
            furnished=[_show_line(line) for line in sheet.furnished],
            has_sizes=any(row.per_foot is not None for row in sheet.by_size),
            has_differences=any(line.differences for line in sheet.lines),
            drawn=mark_safe(picture.unstyled_svg),
            unaccounted=[_show_unaccounted(sheet, row) for row in sheet.unaccounted if row.interval],
            issued=IssuedSheet.objects.filter(job=sheet.statement.job).select_related("issued_by"),
            **show_table(picture.table),
            **_total(sheet),
        )


class IssuedSheetPage(Page):
    """A cost sheet as it was issued, from what was stored, beside the job as known now."""

    def get(self, request: HttpRequest, reference: str, number: int) -> HttpResponse:
        require_sees_accounts(self.viewer)
        job = get_visible_job(self.viewer, reference)
        issued = get_issued_sheet(job, min(number, 2**31 - 1))
        now = cost_sheet_body(make_cost_sheet(job))
        then = {line["material"]: line for line in issued.content["lines"]}
        lines = {line["material"]: line for line in now["lines"]}
        return self.show(
            "issued_sheet",
            job=job,
            issued=issued,
            as_issued=issued.content,
            as_known=now,
            lines=[
                {
                    "name": (lines.get(code) or then[code])["name"],
                    "stays": [rows[code]["stays"] if code in rows else None for rows in (then, lines)],
                    "cost": [rows[code]["cost"] if code in rows else None for rows in (then, lines)],
                }
                for code in sorted({*then, *lines})
            ],
            faults=find_faults(issued),
        )


class CostLinePage(Page):
    """The movements behind one line of a cost sheet, in the order of the book.

    Asked with `crew`, `month`, `run` or `span` it is that part of the line.
    """

    def get(self, request: HttpRequest, reference: str, material: str, owner: str) -> HttpResponse:
        require_sees_accounts(self.viewer)
        job = get_visible_job(self.viewer, reference)
        asked = {name: request.GET[name][:200] for name in PARTS_OF_A_LINE if name in request.GET}
        parts = [(kind, asked[kind]) for kind in ("span", "run", "job") if kind in asked]
        rows = list_line_movements(
            job,
            material=material,
            owner=owner,
            part=parts[0] if parts else None,
            month=read_day(f"{asked['month']}-01") if "month" in asked else None,
            crew=asked.get("crew"),
        ).select_related("material", "owner")
        entry, line = self.asked_key("after"), self.asked_key("line")
        if entry is not None and line is not None:
            # Movements of one entry may stand on two pages.
            rows = rows.filter(Q(entry__gt=entry) | Q(entry=entry, line__gt=line))
        found = list(rows[: PAGE + 1])
        if not found:
            raise NotFound("Nothing of that material and owner was charged to the job.")
        return self.show(
            "cost_line",
            job=job,
            movements=found[:PAGE],
            line=found[0],
            last=found[PAGE - 1] if len(found) > PAGE else None,
            asked=asked,
            query=urlencode(asked),
        )


class EntryPage(Page):
    """One entry of the book with all of its lines that one may see."""

    def get(self, request: HttpRequest, id: str) -> HttpResponse:
        entry: Entry = get_entry(self.viewer, id)  # type: ignore[arg-type]
        return self.show("entry", entry=entry)


def _show_unaccounted(sheet: CostSheet, row: FluidSum) -> dict[str, Any]:
    unit_cost, ends = sheet.unit_cost_of(row.fluid), row.interval or ()
    amounts = (row.unaccounted, *ends)
    values = [round(amount * unit_cost) for amount in amounts] if unit_cost is not None else []
    return {"fluid": row.fluid, "amounts": amounts, "values": values}


def _show_line(line: CostLine) -> dict[str, Any]:
    amounts = line.amounts
    words = ("returned", "recovered", "used", "installed")
    return {
        "line": line,
        "cells": [
            (amounts.drawn, amounts.drawn_value),
            *((amounts.quantity(word), amounts.value(word)) for word in words),
        ],
        "lost": [(Movement.Cause(cause).label, *loss) for cause, loss in line.lost.items()],
    }


def _total(sheet: CostSheet) -> dict[str, Any]:
    """The sums above the table."""
    differences = [line.differences for line in sheet.lines if line.differences is not None]
    return {
        "by_price": sum(found.price for found in differences),
        "by_quantity": sum(found.quantity for found in differences),
        "by_recovery": sum(found.recovery for found in differences),
    }
