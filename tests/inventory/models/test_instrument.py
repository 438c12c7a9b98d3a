"""What an instrument's row may say."""

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from inventory.models import Actor, Instrument, InstrumentCheck
from inventory.models.instrument import UNITS_OF_KIND
from inventory.units import UNIT_CODES

pytestmark = pytest.mark.django_db


def make_meter(**changes: Any) -> Instrument:
    fields = {"tag": "M-1", "kind": "meter", "unit": "[gal_us]", "resolution": 0.1, "accuracy_class": 1.0}
    return Instrument.objects.create(**{**fields, **changes})


def make_check(meter: Instrument, **changes: Any) -> InstrumentCheck:
    by = Actor.objects.get_or_create(code="ann", defaults={"name": "Ann", "kind": "person"})[0]
    fields = {"checked_date": date(2026, 3, 1), "due_date": date(2027, 3, 1), "drift_fraction": 0.004}
    return InstrumentCheck.objects.create(instrument=meter, by=by, **{**fields, **changes})


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"tag": ""}, "instrument_has_a_tag"),
        ({"unit": "kg"}, "instrument_reads_in_a_unit_of_its_kind"),
        ({"kind": "scale"}, "instrument_reads_in_a_unit_of_its_kind"),
        ({"resolution": 0.0}, "resolution_is_positive"),
        ({"accuracy_class": 0.0}, "accuracy_class_is_a_percentage"),
        ({"accuracy_class": 100.0}, "accuracy_class_is_a_percentage"),
    ],
)
def test_instrument_refuses_what_breaks_a_rule(changes: dict[str, Any], rule: str) -> None:
    with pytest.raises(IntegrityError, match=rule), transaction.atomic():
        make_meter(**changes)


def test_instrument_takes_every_unit_of_its_kind() -> None:
    for kind, units in UNITS_OF_KIND.items():
        for unit in units:
            assert unit in UNIT_CODES
            assert make_meter(tag=f"{kind} {unit}", kind=kind, unit=unit).pk


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"due_date": date(2026, 3, 1)}, "a_check_holds_a_while"),
        ({"drift_fraction": 0.5}, "drift_is_less_than_half_the_reading"),
        ({"drift_fraction": -0.5}, "drift_is_less_than_half_the_reading"),
    ],
)
def test_instrument_check_refuses_what_breaks_a_rule(changes: dict[str, Any], rule: str) -> None:
    meter = make_meter()
    with pytest.raises(IntegrityError, match=rule), transaction.atomic():
        make_check(meter, **changes)


def test_instrument_check_is_made_once_a_day() -> None:
    meter = make_meter()
    make_check(meter)
    with pytest.raises(IntegrityError), transaction.atomic():
        make_check(meter)
    assert meter.checks.count() == 1
