"""What rules found, and approved pressures, as a test needs them."""

from uuid import uuid4

from inventory.models import Actor
from jobs.models import PressureLimit, RuleFinding
from jobs.queries.rules import get_rule
from tests.factories.inventory import at


def make_person(code: str) -> Actor:
    return Actor.objects.get_or_create(code=code, defaults={"name": code.title(), "kind": "person"})[0]


def make_finding(rule: str, *, caused_by: Actor | None = None, **fields: object) -> RuleFinding:
    """An open finding of a rule, caused by somebody of a crew."""
    known = get_rule(rule)
    return RuleFinding.objects.create(
        uuid=uuid4(),
        rule=rule,
        severity=known.severity,
        caused_by=caused_by or make_person("digger"),
        found_at=at(9),
        **{"sentence": f"{known.name}.", **fields},
    )


def make_limit(purpose: str, limit_kpa: float = 1000.0, *, hours: float = -24) -> PressureLimit:
    return PressureLimit.objects.create(
        uuid=uuid4(),
        purpose=purpose,
        limit_kpa=limit_kpa,
        entered_value=f"{limit_kpa:g}",
        entered_unit="kPa",
        weakest_part="the long hose",
        approved_by=make_person("officer"),
        approved_at=at(hours),
    )
