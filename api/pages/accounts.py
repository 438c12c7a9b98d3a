"""The accountant's pages: jobs, what each one's consumables cost and why, down to the entries."""

from datetime import timedelta
from typing import Any

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import mark_safe

from api.pages.looks import show_table
from api.pages.page import Page
from api.wire.pictures.cost_bridge import draw_cost_bridge
from inventory.errors import NotFound
from inventory.models import Entry, Movement
from inventory.queries.access import get_entry, require_sees_accounts
from jobs.models import Job
from jobs.queries.access import get_visible_job, visible_jobs
from jobs.queries.closing_checks import list_closing_points
from jobs.queries.cost_sheet import CostLine, CostSheet, list_line_movements, make_cost_sheet

PAGE = 50


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
            **show_table(picture.table),
            **_total(sheet),
        )


class CostLinePage(Page):
    """The movements behind one line of a cost sheet, in the order of the book."""

    def get(self, request: HttpRequest, reference: str, material: str, owner: str) -> HttpResponse:
        require_sees_accounts(self.viewer)
        job = get_visible_job(self.viewer, reference)
        rows = list_line_movements(job, material=material, owner=owner).select_related("material", "owner")
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
        )


class EntryPage(Page):
    """One entry of the book with all of its lines that one may see."""

    def get(self, request: HttpRequest, id: str) -> HttpResponse:
        entry: Entry = get_entry(self.viewer, id)  # type: ignore[arg-type]
        return self.show("entry", entry=entry)


class ClosingList(Page):
    """What is still open before a period is closed, and until when the books are closed."""

    def get(self, request: HttpRequest) -> HttpResponse:
        require_sees_accounts(self.viewer)
        until = self.day if "date" in request.GET else self.day.replace(day=1) - timedelta(days=1)
        return self.show("closing", until=until, points=list_closing_points(until), company=self.company)


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
