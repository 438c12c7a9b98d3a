"""The safety officer's page: what stands still, what happened, what is approved, what is due."""

from typing import Any
from uuid import uuid4

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.timezone import now

from api.models import User
from api.pages.page import Page
from inventory.errors import BadInput, Fault, SpanstockError
from inventory.queries.access import NotAllowed
from inventory.queries.tagged_fittings import find_usable_tagged_fittings, get_tagged_fitting_policy
from inventory.units import BadAmount, parse_amount
from jobs.models import FluidBalance, PressureLimit, RuleFinding
from jobs.queries.fluid_access import HOLDS_GOODS, visible_quarantines
from jobs.queries.fluid_figures import last_balances
from jobs.queries.rules import get_rule
from jobs.queries.safety import open_findings
from jobs.queries.safety_access import visible_findings, visible_fittings, visible_incidents, visible_limits
from jobs.services.safety.lifting import lift_finding
from jobs.services.safety.pressure_limits import approve_pressure_limit

MOST_SHOWN = 100
PRESSURE_UNITS = (("[psi]", "psi"), ("bar", "bar"), ("kPa", "kPa"))


class Safety(Page):
    """Stops first; then incidents, approved pressures, and fittings to inspect."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_all()

    def post(self, request: HttpRequest) -> HttpResponse:
        """Lift a finding with a reason, or note a pressure that was approved."""
        try:
            if "finding" in request.POST:
                self._lift(request)
            else:
                self._approve(request)
        except SpanstockError as refusal:
            return self._show_all(refusal)
        return redirect("pages:safety")

    def _lift(self, request: HttpRequest) -> None:
        lift_finding(
            id=self.posted_id("finding"),
            by=self.actor,
            role=self.user.role,
            reason=request.POST.get("reason", ""),
            occurred_at=now(),
        )

    def _approve(self, request: HttpRequest) -> None:
        try:
            pressure = parse_amount(
                request.POST.get("pressure", "").strip().replace(",", "."), request.POST.get("unit", "")
            )
        except BadAmount as refusal:
            raise BadInput.of([Fault("/pressure", "", refusal.message)]) from refusal
        approve_pressure_limit(
            id=self.posted_id("id"),
            purpose=request.POST.get("purpose", ""),
            pressure=pressure,
            weakest_part=request.POST.get("weakest_part", "").strip(),
            by=self.actor,
            role=self.user.role,
            occurred_at=now(),
        )

    def _show_all(self, refusal: SpanstockError | None = None) -> HttpResponse:
        if self.viewer.crews is not None:
            raise NotAllowed("This page is the whole company's; your role sees its own days.")
        fittings = list(
            visible_fittings(self.viewer).filter(withdrawn_at__isnull=True).order_by("tag")[:MOST_SHOWN]
        )
        known = find_usable_tagged_fittings({row.place for row in fittings}, self.day)
        usable = {row.fitting.pk: row for rows in known.values() for row in rows}
        standing = {limit.purpose: limit for limit in visible_limits().filter(withdrawn_at__isnull=True)}
        return self.show(
            "safety",
            refusal=refusal,
            findings=[_show_finding(row, self.user) for row in self._list_findings()],
            incidents=visible_incidents(self.viewer)
            .filter(closed_at__isnull=True)
            .order_by("-occurred_at")[:MOST_SHOWN],
            limits=[(label, value, standing.get(value)) for value, label in PressureLimit.Purpose.choices],
            fittings=fittings,
            usable=usable,
            wanting={key for key, row in usable.items() if row.needs_inspection},
            policy=get_tagged_fitting_policy(),
            quarantines=visible_quarantines(self.viewer).filter(lifted_at__isnull=True).order_by("-pk"),
            may_hold=self.user.role in HOLDS_GOODS,
            unaccounted=FluidBalance.objects.filter(balance__in=last_balances(), is_above_limit=True)
            .select_related("fluid", "balance__crew_day__crew")
            .order_by("-balance__crew_day__date")[:MOST_SHOWN],
            is_safety=self.user.role == User.Role.SAFETY,
            pressure_units=PRESSURE_UNITS,
            request_id=uuid4(),
        )

    def _list_findings(self) -> QuerySet[RuleFinding]:
        open_ones = visible_findings(self.viewer).filter(pk__in=open_findings().values("pk"))
        return open_ones.order_by("-severity", "-found_at")[:MOST_SHOWN]


def _show_finding(row: RuleFinding, user: User) -> dict[str, Any]:
    rule = get_rule(row.rule)
    is_causer = row.severity == RuleFinding.Severity.STOP and row.caused_by_id == user.actor_id
    return {
        "row": row,
        "rule": rule,
        "may_lift": user.role in rule.lifted_by and not is_causer,
    }
