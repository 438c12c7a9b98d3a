"""What an instrument's row may say."""

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from inventory.models.instrument import UNITS_OF_KIND
from inventory.units import UNIT_CODES
from tests.factories.instruments import make_check, make_instrument

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"tag": ""}, "instrument_has_a_tag"),
        ({"unit": "kg"}, "instrument_reads_in_a_unit_of_its_kind"),
        ({"kind": "scale", "unit": "[gal_us]"}, "instrument_reads_in_a_unit_of_its_kind"),
        ({"resolution": 0.0}, "resolution_is_positive"),
        ({"accuracy_class": 0.0}, "accuracy_class_is_a_percentage"),
        ({"accuracy_class": 100.0}, "accuracy_class_is_a_percentage"),
    ],
)
def test_instrument_refuses_what_breaks_a_rule(changes: dict[str, Any], rule: str) -> None:
    with pytest.raises(IntegrityError, match=rule), transaction.atomic():
        make_instrument(**{"tag": "M-1", **changes})


def test_instrument_takes_every_unit_of_its_kind() -> None:
    for kind, units in UNITS_OF_KIND.items():
        for unit in units:
            assert unit in UNIT_CODES
            assert make_instrument(f"{kind} {unit}", kind=kind, unit=unit).pk


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"due_date": date(2026, 3, 1)}, "a_check_holds_a_while"),
        ({"drift_fraction": 0.5}, "drift_is_less_than_half_the_reading"),
        ({"drift_fraction": -0.5}, "drift_is_less_than_half_the_reading"),
    ],
)
def test_instrument_check_refuses_what_breaks_a_rule(changes: dict[str, Any], rule: str) -> None:
    meter = make_instrument()
    with pytest.raises(IntegrityError, match=rule), transaction.atomic():
        make_check(meter, **changes)


def test_instrument_check_is_made_once_a_day() -> None:
    meter = make_instrument()
    make_check(meter)
    with pytest.raises(IntegrityError), transaction.atomic():
        make_check(meter)
    assert meter.checks.count() == 1
