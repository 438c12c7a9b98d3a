"""The rules of the trade, what they found, approved pressures, incidents and claims."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire import safety as wire
from api.wire.answers import make_writer
from api.wire.door import Door
from api.wire.input_fields import read_uuid
from api.wire.references import resolve
from api.wire.safety_notices import safety_notices_json
from api.wire.schemas import listing, of, page_of, shape
from api.wire.truck_requests import read_record
from inventory.errors import BadInput, Fault, NotFound
from jobs.models import RuleFinding
from jobs.queries import safety_access as access
from jobs.queries.claims import list_claims
from jobs.queries.work_names import find_work
from jobs.services.safety.incidents import IncidentFacts, close_incident, open_incident, tell_of_incident
from jobs.services.safety.lifting import lift_finding
from jobs.services.safety.pressure_limits import approve_pressure_limit, withdraw_pressure_limit


def _uuid(text: str, noun: str) -> Any:
    found = read_uuid(text)
    if found is None:
        raise NotFound(f"There is no {noun} of that id.")
    return found


class Rules(Door):
    """The rules as data. Nothing of them is secret."""

    permission_classes = [AllowAny]

    @extend_schema(operation_id="get_rules", responses={200: OpenApiResponse(of("RuleBook"))})
    def get(self, request: Request) -> Response:
        """Get the rules of the trade as data, as the phone evaluates them."""
        return Response(wire.rule_book_json())


class PressureLimits(ListDoor):
    """Approved pressures, withdrawn ones among them."""

    order = wire.BY_KEY
    filters = wire.LIMIT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_limits()

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.limit_json(row) for row in rows]

    @extend_schema(
        operation_id="list_pressure_limits",
        parameters=list_parameters(wire.BY_KEY, wire.LIMIT_FILTERS),
        responses={200: OpenApiResponse(page_of("PressureLimit"))},
    )
    def get(self, request: Request) -> Response:
        """List approved pressures. Where a purpose has none that stands, no limit is approved."""
        return super().get(request)

    @extend_schema(
        operation_id="approve_pressure_limit",
        request={"application/json": of("PressureLimitRequest")},
        responses={201: OpenApiResponse(of("PressureLimit"))},
    )
    def post(self, request: Request) -> Response:
        """Approve a pressure for a purpose, by safety; the limit that stood is withdrawn with it."""
        values = read_record(wire.LIMIT, request.data)
        limit = approve_pressure_limit(by=self.actor, role=self.viewer.role, **values)
        return Response(wire.limit_json(limit), status=201)


class PressureLimitWithdrawal(Door):
    """The withdrawal of a limit."""

    @extend_schema(
        operation_id="withdraw_pressure_limit",
        request={"application/json": of("PressureLimitWithdrawal")},
        responses={200: OpenApiResponse(of("PressureLimit"))},
    )
    def post(self, request: Request) -> Response:
        """Withdraw the limit that stands for a purpose, by safety."""
        values = read_record(wire.WITHDRAWAL, request.data)
        limit = withdraw_pressure_limit(by=self.actor, role=self.viewer.role, **values)
        return Response(wire.limit_json(limit))


class Findings(ListDoor):
    """What the rules found."""

    order = wire.BY_KEY
    filters = wire.FINDING_FILTERS

    def rows(self) -> QuerySet[RuleFinding]:
        return access.visible_findings(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.finding_json(row) for row in rows]

    @extend_schema(
        operation_id="list_findings",
        parameters=list_parameters(wire.BY_KEY, wire.FINDING_FILTERS),
        responses={200: OpenApiResponse(page_of("Finding"))},
    )
    def get(self, request: Request) -> Response:
        """List what the rules found, oldest first."""
        return super().get(request)


class OneFinding(Door):
    """One finding."""

    @extend_schema(operation_id="get_finding", responses={200: OpenApiResponse(of("Finding"))})
    def get(self, request: Request, id: str) -> Response:
        """Get one finding."""
        return Response(wire.finding_json(access.get_visible_finding(self.viewer, _uuid(id, "finding"))))


class FindingLift(Door):
    """The lifting of a finding."""

    @extend_schema(
        operation_id="lift_finding",
        request={"application/json": of("LiftRequest")},
        responses={200: OpenApiResponse(of("Finding"))},
    )
    def post(self, request: Request, id: str) -> Response:
        """Lift a finding with a reason: who may is said by its rule; a stop never by whoever caused it."""
        found = access.get_visible_finding(self.viewer, _uuid(id, "finding"))
        values = read_record(wire.LIFT, request.data)
        lift_finding(id=found.uuid, by=self.actor, role=self.viewer.role, **values)
        return Response(wire.finding_json(access.get_visible_finding(self.viewer, found.uuid)))


class Incidents(ListDoor):
    """Incidents."""

    order = wire.BY_KEY
    filters = wire.INCIDENT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_incidents(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.incident_json(row) for row in rows]

    @extend_schema(
        operation_id="list_incidents",
        parameters=list_parameters(wire.BY_KEY, wire.INCIDENT_FILTERS),
        responses={200: OpenApiResponse(page_of("Incident"))},
    )
    def get(self, request: Request) -> Response:
        """List incidents, oldest first."""
        return super().get(request)

    @extend_schema(
        operation_id="open_incident",
        request={"application/json": of("IncidentRequest")},
        responses={201: OpenApiResponse(of("Incident"))},
    )
    def post(self, request: Request) -> Response:
        """Tell of an incident, by anybody. Sending it again under its id gives the first answer."""
        values = resolve(read_record(wire.INCIDENT, request.data), viewer=self.viewer)
        id, occurred_at = values.pop("id"), values.pop("occurred_at")
        names = {name: values.pop(name) for name in ("job", "run", "span", "access_point")}
        work = find_work(self.viewer, **names)
        facts = IncidentFacts(**values, **work)
        made = open_incident(id=id, by=self.actor, occurred_at=occurred_at, facts=facts)
        return Response(wire.incident_json(access.get_visible_incident(self.viewer, made.uuid)), status=201)


class OneIncident(Door):
    """One incident."""

    @extend_schema(operation_id="get_incident", responses={200: OpenApiResponse(of("Incident"))})
    def get(self, request: Request, id: str) -> Response:
        """Get one incident."""
        return self.answer(_uuid(id, "incident"))

    def answer(self, id: Any) -> Response:
        return Response(wire.incident_json(access.get_visible_incident(self.viewer, id)))


class IncidentTold(OneIncident):
    """Who was told of an incident."""

    @extend_schema(exclude=True)
    def get(self, request: Request, id: str) -> Response:
        return super().get(request, id)

    @extend_schema(
        operation_id="tell_of_incident",
        request={"application/json": of("ToldRequest")},
        responses={200: OpenApiResponse(of("Incident"))},
    )
    def post(self, request: Request, id: str) -> Response:
        """Note who was told of an incident, when and how."""
        found = access.get_visible_incident(self.viewer, _uuid(id, "incident"))
        tell_of_incident(id=found.uuid, **read_record(wire.TOLD, request.data))
        return self.answer(found.uuid)


class IncidentClosing(OneIncident):
    """The closing of an incident."""

    @extend_schema(exclude=True)
    def get(self, request: Request, id: str) -> Response:
        return super().get(request, id)

    @extend_schema(
        operation_id="close_incident",
        request={"application/json": of("IncidentClosing")},
        responses={200: OpenApiResponse(of("Incident"))},
    )
    def post(self, request: Request, id: str) -> Response:
        """Close an incident with what came of it, by safety."""
        found = access.get_visible_incident(self.viewer, _uuid(id, "incident"))
        values = read_record(wire.CLOSING, request.data)
        close_incident(id=found.uuid, by=self.actor, role=self.viewer.role, **values)
        return self.answer(found.uuid)


class SafetyNotices(Door):
    """What waits for somebody of safety."""

    @extend_schema(
        operation_id="list_safety_notices",
        responses={200: OpenApiResponse(shape(results=listing(of("SafetyNotice"))))},
    )
    def get(self, request: Request) -> Response:
        """List open incidents, stops, quarantines, waste that must go, and drifts nobody has looked at."""
        return Response({"results": safety_notices_json(self.viewer)})


class Claims(Door):
    """What others are to pay for."""

    @extend_schema(
        operation_id="list_claims",
        parameters=[
            OpenApiParameter("job", {"type": "string"}, description="reference of a job"),
            OpenApiParameter("party", {"type": "string"}, description="code of the liable party"),
        ],
        responses={200: OpenApiResponse(shape(results=listing(of("ClaimSheet"))))},
    )
    def get(self, request: Request) -> Response:
        """List losses with a liable party, by party and at cost, apart from the jobs' own usage."""
        access.require_may_see_claims(self.viewer)
        given = request.query_params
        faults = [
            Fault(name[:60], str(text)[:60], "is not known here; the parameters are job, party")
            for name, text in given.items()
            if name not in {"job", "party"}
        ]
        if faults:
            raise BadInput.of(faults)
        sheets = list_claims(job=given.get("job", ""), party=given.get("party", ""))
        writer = make_writer(self.viewer)
        return Response({"results": [wire.claim_json(sheet, writer) for sheet in sheets]})
