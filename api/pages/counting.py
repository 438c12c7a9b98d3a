"""Counting: sheets made from what is due, filled in blind, counted again by another, posted with reasons."""

from typing import Any
from uuid import uuid4

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.timezone import now

from api.pages.asked import Asked, unit_options
from api.pages.page import Page
from api.wire.supply_requests import COUNT_SHEET, POSTING, SENDING, read_count, read_count_plan, read_values
from inventory.errors import SpanstockError
from inventory.models import Container, CountPlan, CountSheet, CountSheetLine, Entry, LineCount, Place
from inventory.queries.access import get_place, visible_materials, visible_places
from inventory.queries.company import get_today
from inventory.queries.count_due import list_due_counts
from inventory.queries.supply_access import (
    get_count_sheet,
    require_may_count,
    visible_count_plans,
    visible_count_sheets,
)
from inventory.services.counting.entering import COUNTED, enter_count
from inventory.services.counting.plans import USUAL_RULES, save_count_plan
from inventory.services.counting.sheets import (
    drop_count_sheet,
    find_standing_of,
    make_count_sheet,
    post_count_sheet,
)
from inventory.services.measuring import Method
from inventory.units import MILLION

MOST_SHEETS, CLASSES = 50, 4
METHODS = [(COUNTED, "counted"), *((method.value, method.value) for method in Method)]


class Counts(Page):
    """The sheets there are, what is due by the plans, and making a sheet."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_counts(Asked())

    def post(self, request: HttpRequest) -> HttpResponse:
        asked = Asked(request.POST.dict(), moved={"materials": "material"})
        try:
            material = asked.text("material")
            body = {
                "id": asked.text("id"),
                "occurred_at": now().isoformat(),
                "place": asked.text("place"),
                "materials": [material] if material else [],
                "note": asked.text("note"),
            }
            values = read_values(COUNT_SHEET, body, self.viewer)
            require_may_count(self.viewer, values["place"])
            sheet = make_count_sheet(by=self.actor, **values)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_counts(asked)
        return redirect("pages:count_sheet", sheet.reference)

    def _show_counts(self, asked: Asked) -> HttpResponse:
        require_may_count_somewhere(self)
        plans = list(visible_count_plans(self.viewer).prefetch_related("rules"))
        known = {plan.place_id for plan in plans}
        today = get_today()
        places = list(
            visible_places(self.viewer)
            .filter(kind__in={Place.Kind.WAREHOUSE, Place.Kind.BIN, Place.Kind.VEHICLE}, is_withdrawn=False)
            .order_by("code")
        )
        places.sort(key=lambda row: row.kind != Place.Kind.WAREHOUSE)
        return self.show(
            "counts",
            asked=asked,
            refusal=asked.refusal,
            sheets=visible_count_sheets(self.viewer).order_by("-pk")[:MOST_SHEETS],
            plans=[(plan, _count_due(plan, today)) for plan in plans],
            unplanned=[row for row in places if row.kind == Place.Kind.WAREHOUSE and row.pk not in known],
            places=[(row.code, row.name) for row in places],
            materials=[
                ("", "what is due"),
                *visible_materials(self.viewer).order_by("name").values_list("code", "name"),
            ],
            request_id=asked.text("id") or uuid4(),
        )


class CountPlanPage(Page):
    """How one warehouse is counted: its classes, how often each, and within which limits."""

    def get(self, request: HttpRequest, place: str) -> HttpResponse:
        return self._show_plan(place, Asked())

    def post(self, request: HttpRequest, place: str) -> HttpResponse:
        asked = Asked(request.POST.dict())
        try:
            found = get_place(self.viewer, place)
            require_may_count(self.viewer, found)
            values = read_count_plan(self._make_body(asked), self.viewer)
            version = asked.text("version")
            save_count_plan(place=found, version=int(version) if version.isdecimal() else None, **values)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_plan(place, asked)
        return redirect("pages:counts")

    def _make_body(self, asked: Asked) -> dict[str, Any]:
        """The rules as a program would send them; people write shares in per cent."""
        rules: list[dict[str, Any]] = []
        for number in range(CLASSES):
            if not asked.text(f"rules-{number}-upto_share"):
                continue
            asked.moved[f"rules-{len(rules)}"] = f"rules-{number}"
            rules.append(
                {
                    "upto_share": _share(asked.text(f"rules-{number}-upto_share")),
                    "counts_per_year": _whole(asked.text(f"rules-{number}-counts_per_year")),
                    "limit_share": _share(asked.text(f"rules-{number}-limit_share")),
                    "limit_value": asked.money(f"rules-{number}-limit_value", self.company.currency),
                }
            )
        return {"days_of_use": _whole(asked.text("days_of_use", "365")), "rules": rules}

    def _show_plan(self, place: str, asked: Asked) -> HttpResponse:
        warehouse = get_place(self.viewer, place)
        require_may_count(self.viewer, warehouse)
        plan = CountPlan.objects.filter(place=warehouse).prefetch_related("rules").first()
        rules: list[Any] = list(plan.rules.all()) if plan else list(USUAL_RULES)
        return self.show(
            "count_plan",
            place=warehouse,
            plan=plan,
            asked=asked,
            refusal=asked.refusal,
            version=asked.text("version", str(plan.version) if plan else ""),
            days=plan.days_of_use if plan else 365,
            rules=[
                _show_rule(number, rules[number] if number < len(rules) else None)
                for number in range(CLASSES)
            ],
        )


class CountSheetPage(Page):
    """One sheet: filled in without knowing the book, then posted; what differed is shown from then on."""

    def get(self, request: HttpRequest, reference: str) -> HttpResponse:
        return self._show_sheet(reference, Asked())

    def post(self, request: HttpRequest, reference: str) -> HttpResponse:
        asked = Asked(request.POST.dict())
        try:
            sheet = get_count_sheet(self.viewer, reference)
            require_may_count(self.viewer, sheet.place)
            if "drop" in request.POST:
                values = read_values(SENDING, {"occurred_at": now().isoformat()}, self.viewer)
                drop_count_sheet(sheet=sheet, by=self.actor, **values)
            elif "post" in request.POST:
                self._post_sheet(sheet, asked)
            else:
                self._enter(sheet, asked)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_sheet(reference, asked)
        return redirect("pages:count_sheet", reference)

    @transaction.atomic
    def _enter(self, sheet: CountSheet, asked: Asked) -> None:
        """Take down all lines that were filled in, or none of them."""
        lines = {line.position: line for line in sheet.lines.all()}
        for position, line in lines.items():
            name = f"line-{position}"
            method = asked.text(f"{name}-method", COUNTED)
            if not asked.text(f"{name}-amount") and method in {COUNTED, Method.WEIGHED, Method.DIPPED}:
                continue
            # Faults of this line name its fields while it is the one being taken down.
            asked.moved = {
                word: f"{name}-{word}" for word in ("amount", "method", "id", "note", "instrument")
            }
            body = {
                "id": asked.text(f"{name}-id"),
                "counted_at": now().isoformat(),
                "position": position,
                "amount": asked.amount(f"{name}-amount"),
                "method": method,
                "instrument": asked.text(f"{name}-instrument"),
                "note": asked.text(f"{name}-note"),
            }
            values, finding = read_count(body, self.viewer)
            # The page tells when it was opened, so that the same form sent twice is the same count.
            if not LineCount.objects.filter(uuid=values["id"]).exists():
                enter_count(
                    id=values["id"],
                    by=self.actor,
                    counted_at=values["counted_at"],
                    line=line,
                    finding=finding,
                )

    def _post_sheet(self, sheet: CountSheet, asked: Asked) -> None:
        given = [(line.position, asked.text(f"reasons-{line.position}")) for line in sheet.lines.all()]
        body = {
            "occurred_at": now().isoformat(),
            "reasons": [{"position": position, "reason": reason} for position, reason in given if reason],
        }
        values = read_values(POSTING, body, self.viewer)
        reasons = {row["position"]: row["reason"] for row in values.pop("reasons")}
        post_count_sheet(sheet=sheet, by=self.actor, reasons=reasons, **values)

    def _show_sheet(self, reference: str, asked: Asked) -> HttpResponse:
        require_may_count_somewhere(self)
        sheet = get_count_sheet(self.viewer, reference)
        rows = find_standing_of([sheet])[sheet.pk]
        is_open = sheet.state == CountSheet.State.OPEN
        waiting = [self._show_line(line, counts) for line, counts, stands in rows if is_open and not stands]
        return self.show(
            "count_sheet",
            sheet=sheet,
            asked=asked,
            refusal=asked.refusal,
            is_open=is_open,
            waiting=waiting,
            rows=rows,
            # Who posts is told of a difference only where a reason is wanted for it.
            in_question=[
                (f"reasons-{line.position}", line)
                for line, _counts, _stands in rows
                if asked.fault(f"reasons-{line.position}") or asked.text(f"reasons-{line.position}")
            ],
            is_posted=sheet.state == CountSheet.State.POSTED,
            methods=METHODS,
        )

    def _show_line(self, line: CountSheetLine, counts: list[LineCount]) -> dict[str, Any]:
        unit = line.material.stock_unit
        is_vessel = line.container is not None and line.container.kind not in {
            Container.Kind.LOT,
            Container.Kind.REEL,
        }
        return {
            "line": line,
            "name": f"line-{line.position}",
            "id": uuid4(),
            "unit": self.units.unit_for(unit),
            "units": unit_options(unit),
            "is_vessel": is_vessel,
            "counted_by": counts[-1].by if counts else None,
            "is_mine": bool(counts) and counts[-1].by_id == self.user.actor_id,
        }


def require_may_count_somewhere(page: Page) -> None:
    """Refuse whoever counts nowhere at all."""
    if Entry.Kind.COUNT not in page.viewer.postable:
        require_may_count(page.viewer, Place(kind=Place.Kind.WAREHOUSE))


def _count_due(plan: CountPlan, today: Any) -> int:
    return sum(
        row.due_date is not None and row.due_date <= today for row in list_due_counts(plan, as_of=today)
    )


def _show_rule(number: int, rule: Any) -> dict[str, Any]:
    def percent(share: int) -> str:
        return f"{100 * share / MILLION:g}"

    return {
        "name": f"rules-{number}",
        "letter": "ABCD"[number],
        "upto_share": percent(rule.upto_share) if rule else "",
        "counts_per_year": rule.counts_per_year if rule else "",
        "limit_share": percent(rule.limit_share) if rule else "",
        "limit_value": f"{rule.limit_value / MILLION:g}" if rule and rule.limit_value else "",
    }


def _share(text: str) -> Any:
    """Per cent as a share; what is no number is passed on as it stands, to be named by the record."""
    try:
        return round(float(text.replace(",", ".")) / 100, 9)
    except ValueError:
        return text


def _whole(text: str) -> Any:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else text
