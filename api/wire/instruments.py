"""Instruments and their checks, as they are sent and as they are answered."""

from collections.abc import Sequence
from typing import Any

from api.wire.answers import named_json, place_name_json
from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Choice, Field, Flag, Limits, Number, Record, Schema, positive
from api.wire.filters import Filter, by_flag, by_text, by_word
from api.wire.input_fields import DayField, NoteField, ReferenceField
from api.wire.pages import Order
from api.wire.references import resolve
from api.wire.schemas import DAY, FLAG, NUMBER, TEXT, WHOLE, listing, nullable, of, shape, words
from api.wire.versions import etag_of_content
from inventory.models import Instrument, InstrumentCheck
from inventory.models.instrument import UNITS_OF_KIND
from inventory.queries.access import Viewer
from inventory.queries.company import get_today
from inventory.queries.instruments import TrustedInstrument, trust_instruments

BY_TAG = Order("tag")
UNITS = tuple(dict.fromkeys(unit for units in UNITS_OF_KIND.values() for unit in units))
_MAYBE_POSITIVE = Number(limits=positive(), default=None, may_be_null=True)
INSTRUMENT: dict[str, Field] = {
    "kind": Choice(options=tuple(Instrument.Kind.values)),
    "unit": Choice(options=UNITS, about="in which it reads"),
    "resolution": _MAYBE_POSITIVE,
    "accuracy_class": _MAYBE_POSITIVE,
    "place": ReferenceField(
        noun="place", default=None, may_be_null=True, about="the vehicle that carries it"
    ),
    "is_withdrawn": Flag(default=False),
}
CHECK: dict[str, Field] = {
    "checked_date": DayField(),
    "due_date": DayField(),
    "drift_fraction": Number(
        limits=Limits(least=-0.5, most=0.5),
        default=None,
        may_be_null=True,
        about="what it reads too high, as a share of the reading",
    ),
    "note": NoteField(default=""),
}
INSTRUMENT_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(Instrument.Kind.values), "kind of instrument"),
    "place": by_text("place__code", "code of the place that carries it"),
    "is_withdrawn": by_flag("is_withdrawn", "whether it is withdrawn"),
}
COMPONENTS: dict[str, Schema] = {
    "Instrument": shape(
        tag=TEXT,
        kind=words(Instrument.Kind),
        unit=TEXT,
        resolution=nullable(NUMBER),
        accuracy_class=nullable(NUMBER),
        place=nullable(of("PlaceName")),
        is_withdrawn=FLAG,
        days_overdue=nullable(WHOLE),
        trust_factor=NUMBER,
        drift_fraction=NUMBER,
    ),
    "InstrumentCheck": shape(
        checked_date=DAY, due_date=DAY, by=of("Named"), drift_fraction=nullable(NUMBER), note=TEXT
    ),
    "InstrumentWithChecks": shape(
        instrument=of("Instrument"), checks=listing(of("InstrumentCheck")), version=TEXT
    ),
}


def request_schemas() -> dict[str, Schema]:
    """What is sent, for the published schema."""
    return {
        "InstrumentRequest": Record(fields=INSTRUMENT).schema(),
        "InstrumentCheckRequest": Record(fields=CHECK).schema(),
    }


def read_instrument(data: Any, *, viewer: Viewer) -> dict[str, Any]:
    """An instrument as it is to be kept, its place looked up."""
    values: dict[str, Any] = resolve(_read(INSTRUMENT, data), viewer=viewer)
    return values


def read_check(data: Any) -> dict[str, Any]:
    """A check as it is to be written down."""
    return _read(CHECK, data)


def _read(fields: dict[str, Field], data: Any) -> dict[str, Any]:
    faults = Faults()
    values = Record(fields=fields).read(data, Pointer(), faults)
    faults.raise_if_any()
    assert values is not None
    return values


def instrument_json(trusted: TrustedInstrument) -> dict[str, Any]:
    """An instrument with how far it is trusted today."""
    row = trusted.instrument
    return {
        "tag": row.tag,
        "kind": row.kind,
        "unit": row.unit,
        "resolution": row.resolution,
        "accuracy_class": row.accuracy_class,
        "place": place_name_json(row.place) if row.place is not None else None,
        "is_withdrawn": row.is_withdrawn,
        "days_overdue": trusted.days_overdue,
        "trust_factor": trusted.trust_factor,
        "drift_fraction": trusted.drift_fraction,
    }


def instrument_with_checks_json(row: Instrument) -> dict[str, Any]:
    """An instrument with its checks, the newest first."""
    checks = row.checks.select_related("by").order_by("-checked_date")
    return {
        "instrument": instruments_json([row])[0],
        "checks": [check_json(check) for check in checks],
        "version": etag_of_content(kept_json(row)),
    }


def instruments_json(rows: Sequence[Instrument]) -> list[dict[str, Any]]:
    """Instruments with how far each is trusted today."""
    trusted = trust_instruments(rows, on_date=get_today())
    return [instrument_json(trusted[row.pk]) for row in rows]


def kept_json(row: Instrument) -> dict[str, Any]:
    """What of an instrument can be changed: two of these are alike where nobody has changed it."""
    place = row.place.code if row.place is not None else None
    fields = ("tag", "kind", "unit", "resolution", "accuracy_class", "is_withdrawn")
    return {**{name: getattr(row, name) for name in fields}, "place": place}


def check_json(row: InstrumentCheck) -> dict[str, Any]:
    return {
        "checked_date": row.checked_date.isoformat(),
        "due_date": row.due_date.isoformat(),
        "by": named_json(row.by),
        "drift_fraction": row.drift_fraction,
        "note": row.note,
    }
