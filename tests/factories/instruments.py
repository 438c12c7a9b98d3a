"""Instruments for tests. All invented."""

from datetime import date
from typing import Any

from inventory.models import Actor, Instrument, InstrumentCheck


def make_instrument(tag: str = "M-1", *, kind: str = "meter", **changes: Any) -> Instrument:
    """A meter of class 1.0, or what is asked for."""
    usual: dict[str, dict[str, Any]] = {
        "meter": {"unit": "[gal_us]", "resolution": 0.1, "accuracy_class": 1.0},
        "scale": {"unit": "[lb_av]", "resolution": 0.5},
        "dip_stick": {"unit": "[gal_us]", "resolution": 0.25},
        "gauge": {"unit": "[psi]", "resolution": 1.0},
        "thermometer": {"unit": "[degF]", "resolution": 1.0},
    }
    return Instrument.objects.create(tag=tag, kind=kind, **{**usual[kind], **changes})


def make_check(instrument: Instrument, **changes: Any) -> InstrumentCheck:
    """A check on 1 March 2026 that holds a year."""
    by = Actor.objects.get_or_create(code="inspector", defaults={"name": "Inspector", "kind": "person"})[0]
    fields = {
        "checked_date": date(2026, 3, 1),
        "due_date": date(2027, 3, 1),
        "drift_fraction": None,
        "by": by,
    }
    return InstrumentCheck.objects.create(instrument=instrument, **{**fields, **changes})
