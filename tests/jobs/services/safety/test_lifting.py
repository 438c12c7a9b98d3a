"""Lifting a finding: by whom its rule says, with a reason, and never a stop by whoever caused it."""

from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from inventory.errors import BadInput, NotFound
from inventory.models import DomainEvent, Requirement, TaggedFitting
from inventory.queries.access import NotAllowed
from jobs.models import RuleFinding
from jobs.queries.rules import list_rules
from jobs.services.needs import write_needs
from jobs.services.safety.lifting import FindingIsEnded, LiftedByItsCauser, lift_finding
from tests.factories.inventory import at
from tests.factories.kits import make_fitting, make_small_day
from tests.factories.safety import make_finding, make_person

pytestmark = pytest.mark.django_db
ROLES = ("stores", "crew", "planner", "accounts", "safety", "admin")
STOPS = [rule.code for rule in list_rules() if rule.is_stop]


def _lift(
    finding: RuleFinding, *, person: str = "officer", role: str = "safety", reason: str = "gear renewed"
):
    return lift_finding(id=finding.uuid, by=make_person(person), role=role, reason=reason, occurred_at=at(12))


def test_lift_notes_who_when_and_why() -> None:
    finding = _lift(make_finding("projectile_inside"))
    assert (finding.lifted_by.code, finding.lifted_at, finding.lift_reason) == (
        "officer",
        at(12),
        "gear renewed",
    )
    assert not RuleFinding.objects.get().is_open
    assert DomainEvent.objects.get(kind="finding_lifted").body["reason"] == "gear renewed"


@pytest.mark.parametrize("rule", STOPS)
@pytest.mark.parametrize("role", ROLES)
def test_stop_is_lifted_by_safety_only(rule: str, role: str) -> None:
    finding = make_finding(rule)
    if role == "safety":
        assert not _lift(finding, role=role).is_open
        return
    with pytest.raises(NotAllowed):
        _lift(finding, role=role)
    assert RuleFinding.objects.get().is_open


@pytest.mark.parametrize("rule", STOPS)
def test_stop_is_not_lifted_by_whoever_caused_it_whatever_the_role(rule: str) -> None:
    finding = make_finding(rule, caused_by=make_person("officer"))
    with pytest.raises(LiftedByItsCauser):
        _lift(finding)
    assert RuleFinding.objects.get().is_open


def test_stop_is_not_lifted_by_whoever_caused_it_below_python_either() -> None:
    finding = make_finding("projectile_inside")
    with pytest.raises(IntegrityError, match="a_stop_is_not_lifted"), transaction.atomic():
        RuleFinding.objects.filter(pk=finding.pk).update(
            lifted_by=finding.caused_by, lifted_at=at(1), lift_reason="because"
        )


def test_warning_is_lifted_by_those_its_rule_names_and_by_whoever_caused_it() -> None:
    finding = make_finding("meter_runs_backwards", caused_by=make_person("digger"))
    with pytest.raises(NotAllowed, match="crew, planner, safety, admin"):
        _lift(finding, role="accounts")
    assert not _lift(finding, person="digger", role="crew").is_open


@pytest.mark.parametrize("reason", ["", "    ", "ok  ", "x" * 501])
def test_lift_wants_a_reason(reason: str) -> None:
    finding = make_finding("projectile_inside")
    with pytest.raises(BadInput) as refusal:
        _lift(finding, reason=reason)
    assert refusal.value.faults[0].pointer == "/reason"
    assert RuleFinding.objects.get().is_open


def test_lift_again_changes_nothing_and_another_reason_comes_too_late() -> None:
    finding = make_finding("projectile_inside")
    assert _lift(finding) == _lift(finding)
    assert DomainEvent.objects.filter(kind="finding_lifted").count() == 1
    with pytest.raises(FindingIsEnded):
        _lift(finding, reason="another reason")
    with pytest.raises(FindingIsEnded):
        _lift(make_finding("projectile_inside", settled_at=at(10)))


def test_lift_refuses_an_id_that_nobody_made() -> None:
    with pytest.raises(NotFound):
        lift_finding(id=uuid4(), by=make_person("officer"), role="safety", reason="gone", occurred_at=at(1))


def test_lift_gives_a_fitting_free_once_nothing_else_holds_it() -> None:
    day = make_small_day()
    fitting = TaggedFitting.objects.create(
        tag="PF-1",
        material=make_fitting("pressure_end"),
        made_by="A",
        checked_by="B",
        made_date=at(0).date(),
        place=day.world.vehicle,
        is_held=True,
    )
    findings = [
        make_finding(rule, fitting=fitting) for rule in ("fitting_past_inspection", "fitting_past_its_limit")
    ]
    _lift(findings[0])
    assert TaggedFitting.objects.get().is_held
    _lift(findings[1])
    assert not TaggedFitting.objects.get().is_held


def test_lift_tells_inventory_what_the_freed_work_needs_again() -> None:
    day = make_small_day()
    day.job.fibre = day.world.fibre
    day.job.save()
    finding = make_finding("projectile_inside", run=day.run)
    write_needs([day.crew_day])
    assert not Requirement.objects.filter(material=day.world.fibre).exists()
    _lift(finding)
    assert Requirement.objects.filter(material=day.world.fibre).exists()
