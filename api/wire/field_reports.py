"""What a client sends to report a crew's day, and how it becomes the plain content of a report."""

from decimal import Decimal
from typing import Any

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Choice, Field, Flag, Limits, Listing, Number, Record, Schema, Whole
from api.wire.input_fields import AmountField, DayField, MomentField, NoteField, UuidField
from inventory.errors import Fault
from inventory.models import Movement
from inventory.units import UNIT_CODES, Amount, BadAmount, convert, require_dimension
from jobs.models import AccessPoint, ContainerReading, FluidCaught, Incident, PieceReport, SpanAttempt
from jobs.services.reports.content import (
    AttemptContent,
    BlowingContent,
    CatchContent,
    CleaningContent,
    IncidentContent,
    LossContent,
    PieceContent,
    ReadingContent,
    ReportContent,
    SplitContent,
    WasteContent,
    WorkName,
)

Values = dict[str, Any]
MOST_ROWS = 200


def _name(about: str = "", *, longest: int = 160) -> NoteField:
    return NoteField(longest=longest, default="", about=about)


def _words(choices: Any, default: str | None = None) -> Choice:
    options = tuple(choices.values)
    return Choice(options=options) if default is None else Choice(options=options, default=default)


WORK = Record(
    fields={"job": NoteField(longest=40), "name": NoteField(longest=64)}, about="a span or run by its job"
)
WORK_OR_NONE = Record(fields=WORK.fields, default=None, may_be_null=True)
AMOUNT = AmountField(default=None, may_be_null=True)
COUNT = Whole(limits=Limits(least=0, most=10_000), default=None, may_be_null=True)
YES_NO = Flag(default=None, may_be_null=True)
CAUSE = Choice(options=tuple(Movement.Cause.values), default="")
NOTE = NoteField(default="")

ATTEMPT: dict[str, Field] = {
    "span": WORK,
    "outcome": _words(SpanAttempt.Outcome, "all_out"),
    "pressure_end": _name("access point at the pressure end"),
    "pressure_fitting_tag": _name("tag of the adapted fitting", longest=40),
    "core_out": AMOUNT,
    "core_mass": AMOUNT,
    "meter": _name("tag of the flow meter"),
    "meter_start": AMOUNT,
    "meter_end": AMOUNT,
    "fluid": _name("code of the fluid, where it is not the drum's"),
    "source_container": _name("label of the drum it was drawn from"),
    "injected": AMOUNT,
    "pressure": AMOUNT,
    "temperature": AMOUNT,
    "duration_s": Number(limits=Limits(least=0), default=None, may_be_null=True),
    "was_leak_looked_for": YES_NO,
    "as_found_size": _name("designation of the cable size that was found", longest=20),
    "as_found_length": AMOUNT,
    "hidden_splices": COUNT,
    "note": NOTE,
}
CLEANING: dict[str, Field] = {
    "run": WORK,
    "is_clean": Flag(default=True),
    "projectile": _name("code of the projectile"),
    "fired": COUNT,
    "retrieved": COUNT,
    "pressure": AMOUNT,
    "stuck_at": AMOUNT,
    "were_both_ends_vented": YES_NO,
    "note": NOTE,
}
BLOWING: dict[str, Field] = {
    "run": WORK,
    "is_done": Flag(default=True),
    "reel": _name("label of the reel"),
    "mark_start": AMOUNT,
    "mark_end": AMOUNT,
    "pressure": AMOUNT,
    "ran_short_at": AMOUNT,
    "note": NOTE,
}
CAUGHT: dict[str, Field] = {
    "container": NoteField(longest=160),
    "kind": _words(FluidCaught.Kind, "caught"),
    "spans": Listing(item=WORK, most=MOST_ROWS, default=[]),
    "run": WORK_OR_NONE,
    "amount": AMOUNT,
}
READING: dict[str, Field] = {
    "container": NoteField(longest=160),
    "method": _words(ContainerReading.Method),
    "value": Number(is_exact=True, default=None, may_be_null=True),
    "unit": Choice(options=("", *UNIT_CODES), default=""),
    "temperature": AMOUNT,
    "instrument": _name("tag of the scale, meter or stick"),
    "moment": _words(ContainerReading.Moment, "end"),
}
PIECE: dict[str, Field] = {
    "material": NoteField(longest=160),
    "amount": AmountField(),
    "fate": _words(PieceReport.Fate),
    "span": WORK_OR_NONE,
    "run": WORK_OR_NONE,
    "tag": _name("of an adapted fitting", longest=40),
    "cause": CAUSE,
}
WASTE: dict[str, Field] = {
    "manifest_number": _name(longest=100),
    "container": NoteField(longest=160),
    "amount": AMOUNT,
    "receiver": _name(longest=200),
}
LOSS: dict[str, Field] = {
    "material": NoteField(longest=160),
    "cause": Choice(options=tuple(Movement.Cause.values)),
    "amount": AMOUNT,
    "container": _name(),
    "span": WORK_OR_NONE,
    "run": WORK_OR_NONE,
    "is_contained": YES_NO,
    "liable_party": _name("code of whoever has to pay for it"),
    "note": NOTE,
}
SPLIT: dict[str, Field] = {
    "span": WORK,
    "at": AmountField(about="from the near end"),
    "access_point": NoteField(longest=64),
    "access_point_kind": Choice(options=("", *AccessPoint.Kind.values), default=""),
    "first": _name("name of the near piece", longest=64),
    "second": _name("name of the far piece", longest=64),
}
INCIDENT: dict[str, Field] = {
    "kind": _words(Incident.Kind),
    "occurred_at": MomentField(default=None, may_be_null=True),
    "access_point": _name(longest=64),
    "span": WORK_OR_NONE,
    "run": WORK_OR_NONE,
    "material": _name(),
    "amount": AMOUNT,
    "amount_low": AMOUNT,
    "amount_high": AMOUNT,
    "is_contained": YES_NO,
    "cause": CAUSE,
    "liable_party": _name(),
    "note": NoteField(longest=4000, default=""),
}
PARTS: dict[str, tuple[dict[str, Field], Any]] = {
    "attempts": (ATTEMPT, AttemptContent),
    "cleanings": (CLEANING, CleaningContent),
    "blowings": (BLOWING, BlowingContent),
    "caught": (CAUGHT, CatchContent),
    "readings": (READING, ReadingContent),
    "pieces": (PIECE, PieceContent),
    "waste": (WASTE, WasteContent),
    "losses": (LOSS, LossContent),
    "splits": (SPLIT, SplitContent),
    "incidents": (INCIDENT, IncidentContent),
}
CONTENT: dict[str, Field] = {
    **{
        part: Listing(item=Record(fields=fields), most=MOST_ROWS, default=[])
        for part, (fields, _content) in PARTS.items()
    },
    "note": NoteField(longest=4000, default=""),
}
HEAD: dict[str, Field] = {
    "id": UuidField(),
    "occurred_at": MomentField(),
    "device": NoteField(longest=100, default=""),
}
REPORT = Record(fields={**HEAD, "crew": NoteField(longest=40), "date": DayField(), **CONTENT})
CORRECTION = Record(fields={**HEAD, **CONTENT})
# What is sent as an amount and kept converted: the unit it is kept in, by the name it has there.
_CONVERTED = {"pressure": ("pressure_kpa", "kPa"), "temperature": ("temperature_c", "Cel")}


def read_report(data: Any, *, record: Record = REPORT) -> tuple[Values, ReportContent]:
    """The head and the content of a report, or of a correction, as it was sent.

    Raises
    ------
    BadInput
        If a field is unknown, missing or not what it should be; every fault is named by its pointer.
    """
    faults = Faults()
    values = record.read(data, Pointer(), faults)
    faults.raise_if_any()
    assert values is not None
    return make_report(values)


def make_report(values: Values) -> tuple[Values, ReportContent]:
    """The same of values that were read already."""
    faults, top = Faults(), Pointer()
    content = {
        part: tuple(
            _read_row(row, made, top / part / number, faults) for number, row in enumerate(values[part])
        )
        for part, (_fields, made) in PARTS.items()
    }
    faults.raise_if_any()
    head = {name: value for name, value in values.items() if name not in CONTENT}
    return head, ReportContent(**content, note=values["note"])


def _read_row(row: Values, made: Any, pointer: Pointer, faults: Faults) -> Any:
    values: Values = {}
    for name, value in row.items():
        if name in _CONVERTED:
            kept, unit = _CONVERTED[name]
            values[kept] = _converted(value, unit, pointer / name, faults)
        elif name in ("span", "run"):
            values[name] = _work(value)
        elif name == "spans":
            values[name] = tuple(WorkName(**span) for span in value)
        elif name == "value" and value is not None:
            values[name] = Decimal(value.numerator) / Decimal(value.denominator)
        else:
            values[name] = value
    return made(**values)


def _work(value: Values | None) -> WorkName | None:
    return WorkName(**value) if value is not None else None


def _converted(amount: Amount | None, unit: str, pointer: Pointer, faults: Faults) -> float | None:
    if amount is None:
        return None
    dimension = "pressure" if unit == "kPa" else "temperature"
    try:
        require_dimension(amount.unit, dimension)
    except BadAmount as refusal:
        faults.found.append(Fault((pointer / "unit").pointer, amount.unit, refusal.message))
        return None
    return float(convert(amount.value, amount.unit, unit))


def request_schemas() -> dict[str, Schema]:
    """The published shapes of what is sent."""
    return {
        "FieldReportRequest": {
            "title": "field report",
            "description": (
                "What a crew tells of its day. Required are only the steps that were done and what is left "
                "in each container; whatever else is missing is unknown."
            ),
            **REPORT.schema(),
        },
        "FieldReportCorrection": {
            "title": "correction of a field report",
            "description": "A report that takes the place of another, whose entries are reversed.",
            **CORRECTION.schema(),
        },
    }
