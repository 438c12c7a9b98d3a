"""How far instruments are trusted on a day."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.queries.instruments import trust_instruments
from tests.factories.instruments import make_check, make_instrument

pytestmark = pytest.mark.django_db


def test_trust_instruments_takes_the_last_check_until_the_day() -> None:
    meter = make_instrument()
    make_check(meter, drift_fraction=0.002)
    make_check(meter, checked_date=date(2026, 9, 1), due_date=date(2027, 9, 1), drift_fraction=0.01)
    before = trust_instruments([meter], on_date=date(2026, 8, 31))[meter.pk]
    after = trust_instruments([meter], on_date=date(2026, 9, 1))[meter.pk]
    assert (before.drift_fraction, before.trust_factor, before.remark) == (0.002, 1.0, "")
    assert after.drift_fraction == 0.01


def test_trust_instruments_widens_what_is_overdue_and_what_was_never_checked() -> None:
    overdue, unchecked = make_instrument("M-1"), make_instrument("M-2")
    make_check(overdue, checked_date=date(2025, 3, 1), due_date=date(2025, 3, 11))
    found = trust_instruments([overdue, unchecked], on_date=date(2025, 3, 16))
    assert found[overdue.pk].trust_factor == 1.5
    assert found[overdue.pk].remark == "the check of M-1 is 5 days overdue"
    assert found[unchecked.pk].trust_factor == 2.0
    assert found[unchecked.pk].remark == "M-2 was never checked"


@pytest.mark.parametrize("number", [1, 10])
def test_trust_instruments_asks_once_for_any_number(number: int) -> None:
    meters = [make_instrument(f"M-{index}") for index in range(number)]
    for meter in meters:
        make_check(meter)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert len(trust_instruments(meters, on_date=date(2026, 4, 1))) == number
    assert len(asked) == 1
