"""Approved pressures: by safety only, one at a time, held against readings of their own day."""

from datetime import datetime
from uuid import uuid4

import pytest

from inventory.errors import BadInput, NotFound
from inventory.models import Actor, DomainEvent
from inventory.queries.access import NotAllowed
from inventory.services.posting.rows import read_rows
from inventory.units import Amount, parse_amount
from jobs.models import PressureLimit
from jobs.queries.pressure_limits import find_standing_limits
from jobs.services.rules.reading import select_limits
from jobs.services.safety.pressure_limits import (
    LimitDiffers,
    approve_pressure_limit,
    withdraw_pressure_limit,
)
from tests.factories.inventory import at
from tests.factories.safety import make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer() -> Actor:
    return make_person("officer")


def _approve(officer: Actor, pressure: str | Amount = "100", **fields: object) -> PressureLimit:
    given: dict[str, object] = {
        "id": uuid4(),
        "purpose": "extraction",
        "pressure": pressure if isinstance(pressure, Amount) else parse_amount(pressure, "[psi]"),
        "weakest_part": "the long hose",
        "role": "safety",
        "occurred_at": at(0),
    }
    return approve_pressure_limit(by=officer, **{**given, **fields})  # type: ignore[arg-type]


def _limits_at(moment: datetime) -> dict[str, float]:
    """The limits that a report of that moment is held against."""
    [rows] = read_rows(select_limits(moment))
    return dict(rows)  # type: ignore[arg-type]


def test_approve_keeps_the_pressure_as_entered_and_in_kilopascals(officer: Actor) -> None:
    limit = _approve(officer)
    assert limit.limit_kpa == pytest.approx(689.4757, rel=1e-6)
    assert (limit.entered_value, limit.entered_unit) == ("100", "[psi]")
    assert find_standing_limits() == {"extraction": limit}
    event = DomainEvent.objects.get(kind="pressure_limit_approved")
    assert event.body["pressure"] == {"value": "100", "unit": "[psi]"}


def test_approve_again_gives_the_first_and_other_content_is_refused(officer: Actor) -> None:
    id = uuid4()
    first = _approve(officer, id=id)
    assert _approve(officer, id=id) == first
    with pytest.raises(LimitDiffers):
        _approve(officer, "90", id=id)
    assert PressureLimit.objects.count() == 1


def test_approve_takes_the_place_of_the_limit_before(officer: Actor) -> None:
    first = _approve(officer, occurred_at=at(0))
    second = _approve(officer, "80", occurred_at=at(10))
    assert find_standing_limits() == {"extraction": second}
    assert _limits_at(at(5)) == {"extraction": first.limit_kpa}
    assert _limits_at(at(10)) == {"extraction": second.limit_kpa}
    assert _limits_at(at(-1)) == {}


def test_withdraw_leaves_no_limit_approved(officer: Actor) -> None:
    _approve(officer)
    withdraw_pressure_limit(purpose="extraction", by=officer, role="safety", occurred_at=at(3))
    assert find_standing_limits() == {}
    assert set(_limits_at(at(2))) == {"extraction"}
    assert _limits_at(at(3)) == {}
    with pytest.raises(NotFound):
        withdraw_pressure_limit(purpose="extraction", by=officer, role="safety", occurred_at=at(4))


@pytest.mark.parametrize("role", ["stores", "crew", "planner", "accounts", "admin", ""])
def test_only_safety_approves_and_withdraws(officer: Actor, role: str) -> None:
    with pytest.raises(NotAllowed):
        _approve(officer, role=role)
    with pytest.raises(NotAllowed):
        withdraw_pressure_limit(purpose="extraction", by=officer, role=role, occurred_at=at(0))
    assert not PressureLimit.objects.exists()


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"purpose": "lifting"}, "/purpose"),
        ({"pressure": Amount(parse_amount("0", "kPa").value, "kPa")}, "/pressure/value"),
        ({"pressure": parse_amount("5", "L")}, "/pressure/unit"),
        ({"weakest_part": " "}, "/weakest_part"),
        ({"weakest_part": "x" * 301}, "/weakest_part"),
    ],
)
def test_approve_refuses_by_field(officer: Actor, fields: dict[str, object], pointer: str) -> None:
    with pytest.raises(BadInput) as refusal:
        _approve(officer, **fields)
    assert [fault.pointer for fault in refusal.value.faults] == [pointer]
    assert not PressureLimit.objects.exists()
