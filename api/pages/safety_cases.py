"""What safety sees through to its end: a quarantine with the kits it leaves short, an incident, a fitting."""

from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.timezone import now

from api.models import User
from api.pages.asked import Asked
from api.pages.page import Page
from api.wire import quarantines as quarantine_wire
from api.wire import safety as wire
from api.wire.acts import Asker
from api.wire.truck_requests import read_record
from inventory.errors import SpanstockError
from inventory.queries.access import may_name, visible_containers
from inventory.queries.company import get_today
from inventory.queries.fluid_cautions import list_quarantine_cautions
from inventory.queries.holdings import list_contents
from inventory.queries.quarantine_reach import find_reach
from inventory.queries.tagged_fittings import age_days, find_usable_tagged_fittings, get_tagged_fitting_policy
from inventory.services.tagged_fittings import approve_fitting_pressure, inspect_fitting
from jobs.queries import fluid_access, safety_access
from jobs.queries.access import visible_crew_days
from jobs.queries.quarantine_kits import list_short_kits
from jobs.services.safety.incidents import close_incident, tell_of_incident
from jobs.services.safety.roles import require_safety

PRESSURES = [("[psi]", "psi"), ("bar", "bar"), ("kPa", "kPa")]


class NewQuarantine(Page):
    """Holding a lot or container back, with all that was poured from it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_form(Asked({"container": request.GET.get("container", "")[:64]}))

    def post(self, request: HttpRequest) -> HttpResponse:
        asked = Asked(request.POST.dict())
        body = {name: asked.text(name) for name in ("id", "container", "reason", "caused_by")}
        try:
            sender = Asker(self.viewer, self.actor, now())
            quarantine_wire.HOLD.run({**body, "occurred_at": now().isoformat()}, {}, sender)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_form(asked)
        return redirect("pages:quarantine", body["id"])

    def _show_form(self, asked: Asked) -> HttpResponse:
        fluid_access.require_role(self.viewer, fluid_access.HOLDS_GOODS, "hold goods back")
        people = fluid_access.nameable_actors(self.viewer).order_by("name")
        return self.show(
            "new_quarantine",
            asked=asked,
            refusal=asked.refusal,
            people=[("", "nobody, or not known"), *people.values_list("code", "name")],
            request_id=asked.text("id") or uuid4(),
        )


class QuarantinePage(Page):
    """One quarantine: what is held, where it went, which kits are short by it; lifted by safety."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._show_reach(id, Asked())

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        asked = Asked(request.POST.dict())
        body = {"id": asked.text("id"), "reason": asked.text("reason"), "occurred_at": now().isoformat()}
        try:
            sender = Asker(self.viewer, self.actor, now())
            quarantine_wire.LIFT.run(body, {"quarantine": str(id)}, sender)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_reach(id, asked)
        return redirect("pages:quarantine", id)

    def _show_reach(self, id: UUID, asked: Asked) -> HttpResponse:
        found = fluid_access.get_visible_quarantine(self.viewer, id)
        reach = find_reach(found.container)
        holds = list(
            found.holds.filter(container__in=visible_containers(self.viewer))
            .select_related("container__place")
            .order_by("container__label")
        )
        contents = list_contents([hold.container for hold in holds])
        materials = [part.material for rows in contents.values() for part in rows]
        return self.show(
            "quarantine",
            quarantine=found,
            asked=asked,
            refusal=asked.refusal,
            held=[(hold.container, contents[hold.container_id]) for hold in holds],
            went=[use for use in reach.uses.values() if may_name(self.viewer, use.place)],
            loose=[part for part in reach.loose if may_name(self.viewer, part.place)],
            left=[part for part in reach.left if may_name(self.viewer, part.place)],
            kits=list_short_kits(found, visible_crew_days(self.viewer), as_of=get_today()),
            cautions=list_quarantine_cautions([*materials, *(part.material for part in reach.loose)]),
            may_lift=self.user.role == User.Role.SAFETY and found.caused_by_id != self.user.actor_id,
            request_id=asked.text("id") or uuid4(),
        )


class IncidentPage(Page):
    """One incident: what happened, who was told, what came of it."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._show_incident(id, Asked())

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        """Note who was told, or close it with what came of it."""
        asked = Asked(request.POST.dict())
        try:
            found = safety_access.get_visible_incident(self.viewer, id)
            if "close" in request.POST:
                body = {"occurred_at": now().isoformat(), "note": asked.text("note")}
                values = read_record(wire.CLOSING, body)
                close_incident(id=found.uuid, by=self.actor, role=self.user.role, **values)
            else:
                body = {"at": now().isoformat(), "who": asked.text("who"), "how": asked.text("how")}
                tell_of_incident(id=found.uuid, **read_record(wire.TOLD, body))
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_incident(id, asked)
        return redirect("pages:incident", id)

    def _show_incident(self, id: UUID, asked: Asked) -> HttpResponse:
        return self.show(
            "incident",
            incident=safety_access.get_visible_incident(self.viewer, id),
            asked=asked,
            refusal=asked.refusal,
            is_safety=self.user.role == User.Role.SAFETY,
        )


class FittingPage(Page):
    """One tagged fitting: its maker and checker, uses and age against the limits, inspections."""

    def get(self, request: HttpRequest, tag: str) -> HttpResponse:
        return self._show_fitting(tag, Asked())

    def post(self, request: HttpRequest, tag: str) -> HttpResponse:
        """Note an inspection, or the pressure that safety approved for this piece."""
        asked = Asked(request.POST.dict())
        try:
            found = safety_access.get_visible_fitting(self.viewer, tag)
            if "approve" in request.POST:
                require_safety(self.user.role)
                values = read_record(wire.FITTING_APPROVAL, {"pressure": asked.amount("pressure")})
                kpa = wire.to_kpa(values["pressure"])
                approve_fitting_pressure(tag=found.tag, pressure_kpa=kpa, by=self.actor)
            else:
                safety_access.require_may_inspect_fittings(self.viewer)
                body = {
                    "id": asked.text("id"),
                    "occurred_at": now().isoformat(),
                    "is_passed": asked.text("is_passed") == "yes",
                    "note": asked.text("note"),
                }
                inspect_fitting(tag=found.tag, by=self.actor, **read_record(wire.INSPECTION, body))
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_fitting(tag, asked)
        return redirect("pages:fitting", tag)

    def _show_fitting(self, tag: str, asked: Asked) -> HttpResponse:
        found = safety_access.get_visible_fitting(self.viewer, tag)
        usable = find_usable_tagged_fittings([found.place], self.day)[found.place_id]
        return self.show(
            "fitting",
            fitting=found,
            asked=asked,
            refusal=asked.refusal,
            age=age_days(found, self.day),
            policy=get_tagged_fitting_policy(),
            usable=next((row for row in usable if row.fitting.pk == found.pk), None),
            inspections=found.inspections.select_related("by").order_by("-inspected_at"),
            is_safety=self.user.role == User.Role.SAFETY,
            may_inspect=_may_inspect(self),
            pressures=PRESSURES,
            request_id=asked.text("id") or uuid4(),
        )


def _may_inspect(page: Page) -> bool:
    try:
        safety_access.require_may_inspect_fittings(page.viewer)
    except SpanstockError:
        return False
    return True
