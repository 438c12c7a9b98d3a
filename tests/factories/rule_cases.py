"""Reports in a state of affairs, as both sides of the rules of the trade are held against them.

A case names what stood before (limits, the company's tolerance, marks on the jacket, inspections, reports),
what a report tells, and which rules have something to say to it.
"""

import json
from copy import deepcopy
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

from api.wire.field_days import field_pack
from api.wire.field_reports import read_report
from api.wire.viewer import see_all
from inventory.models import Container, Material, TaggedFitting, TaggedFittingPolicy
from inventory.services.goods import transfer
from inventory.services.tagged_fittings import inspect_fitting
from inventory.units import convert
from jobs.models import CompanyRules, FieldReport, RuleFinding
from jobs.queries.field_days import list_field_days, list_surroundings
from jobs.queries.field_state import find_field_state
from jobs.queries.pressure_limits import find_standing_limits
from jobs.services.reports.reporting import post_report
from jobs.services.safety.lifting import lift_finding
from tests.factories.instruments import make_check, make_instrument
from tests.factories.inventory import at
from tests.factories.jobs import DAY
from tests.factories.kits import make_fitting
from tests.factories.reports import ReportedDay, make_reported_day
from tests.factories.safety import make_limit, make_person

Case = dict[str, Any]
Body = dict[str, Any]
FILE = Path(__file__).resolve().parents[1] / "jobs" / "rules" / "report_cases.json"
CASES: dict[str, Case] = {case["name"]: case for case in json.loads(FILE.read_text(encoding="utf-8"))}
DEVICE = "field page"
# Another unit for each that a crew may have chosen.
OTHER_UNITS = {
    "[gal_us]": "L",
    "L": "[gal_us]",
    "[ft_i]": "m",
    "m": "[ft_i]",
    "[psi]": "bar",
    "1": "1",
    "Cel": "[degF]",
}


def in_other_units(told: Any) -> Any:
    """The same amounts as somebody enters them who has chosen other units, to six decimals."""
    if isinstance(told, list):
        return [in_other_units(part) for part in told]
    if not isinstance(told, dict):
        return told
    if set(told) == {"value", "unit"}:
        other = OTHER_UNITS[told["unit"]]
        exact = convert(Decimal(told["value"]), told["unit"], other)
        # Rounded down, so that what lies at a limit does not come to lie above it.
        return {"value": str(Decimal(int(exact * 1_000_000)) / 1_000_000), "unit": other}
    return {name: in_other_units(part) for name, part in told.items()}


def make_state(case: Case) -> ReportedDay:
    """A crew's day with all that a case says stood before its reports."""
    day = make_reported_day()
    TaggedFitting.objects.create(
        tag="PF-1",
        material=make_fitting("pressure_end"),
        made_by="A",
        checked_by="B",
        made_date=at(-48).date(),
        place=day.world.vehicle,
        uses=case.get("fitting_uses", 0),
    )
    CompanyRules.objects.create(pk=1, **case.get("company", {}))
    TaggedFittingPolicy.objects.create(pk=1, **case.get("fitting_limits", {}))
    for purpose, limit in case.get("limits", {}).items():
        make_limit(purpose, float(convert(Decimal(limit["value"]), limit["unit"], "kPa")))
    for meter in case.get("meters", []):
        make_check(make_instrument(**meter["is"]), **meter["check"])
    fluids = Material.objects.filter(code__in=["fluid", "fluid-recovered"])
    fluids.update(density_table=case.get("densities", []))
    for number, inspection in enumerate(case.get("inspections", [])):
        inspect_fitting(
            id=uuid4(),
            tag="PF-1",
            is_passed=inspection["is_passed"],
            by=make_person("inspector"),
            occurred_at=at(inspection["hours"]),
            note=f"look {number}",
        )
    if case.get("has_second_reel"):
        day.small.reel("REEL-2", 5000)
        second = Container.objects.select_related("place", "owner", "material").get(label="REEL-2")
        transfer(
            id=uuid4(), by=day.world.actor, occurred_at=at(0.5), containers=[(second, day.world.vehicle)]
        )
    Container.objects.filter(label="REEL-1").update(
        **{name: mark * 1_000_000 for name, mark in case.get("jacket", {}).items()}
    )
    return day


def as_sent(told: Body, *, hours: float) -> Body:
    """The body of a request from the field page, at so many hours of the day."""
    head = {"id": str(uuid4()), "occurred_at": at(hours).isoformat(), "crew": "north", "date": str(DAY)}
    return {**head, "device": DEVICE, **deepcopy(told)}


def post(day: ReportedDay, body: Body) -> FieldReport:
    """Post it as the API does."""
    head, content = read_report(body)
    return post_report(
        id=head["id"],
        by=day.world.other_actor,
        occurred_at=head["occurred_at"],
        crew_code=head["crew"],
        date=head["date"],
        device=head["device"],
        content=content,
    )


def account_for_all() -> None:
    """Safety accounts for all pieces that may be inside."""
    for finding in RuleFinding.objects.filter(rule__startswith="projectile", lifted_at__isnull=True):
        lift_finding(
            id=finding.uuid, by=make_person("officer"), role="safety", reason="all found", occurred_at=at(8.5)
        )


def make_pack(day: ReportedDay) -> Body:
    """What the phone of the day's crew keeps, as JSON gives it back."""
    viewer = see_all()
    days = list_field_days(viewer, as_of=DAY)
    state = find_field_state(days, by=day.world.other_actor.pk, device=DEVICE)
    around = list_surroundings(viewer)
    pack = field_pack(days, around, find_standing_limits(), state, system="us", currency="USD")
    found: Body = json.loads(json.dumps({"person": "crew", **pack}))
    return found
