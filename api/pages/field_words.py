"""The rows of the field page that a crew adds to its report, and the words beside their fields."""

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from inventory.models import Movement
from inventory.units import UNITS
from jobs.models import AccessPoint, ContainerReading, FluidCaught, Incident, PieceReport, SpanAttempt

Choices = list[tuple[str, str]]


@dataclass(frozen=True)
class FormField:
    """One field of a row: its name on the wire, the words beside it and what it takes."""

    name: str
    words: str
    kind: str = "text"
    choices: Any = ()
    longest: int = 160
    may_be_empty: bool = False


# Name of the row, part of the report, words above it, its fields.
Addition = tuple[str, str, str, list[FormField]]


def list_units(dimension: str) -> Choices:
    """Codes and what people read, of one dimension."""
    # Signs of units are the same everywhere; pieces have a word.
    return [
        (unit.code, _(unit.label) if dimension == "count" else unit.label)
        for unit in UNITS.values()
        if unit.dimension == dimension
    ]


def make_field_context() -> dict[str, Any]:
    """Everything that the template of the field page says, in the reader's language."""
    names = ("volume", "length", "mass", "pressure", "temperature")
    return {
        "units": {name: list_units(name) for name in names},
        "reading_units": [row for name in ("mass", "volume", "length") for row in list_units(name)],
        "outcomes": SpanAttempt.Outcome.choices,
        "methods": [
            row for row in ContainerReading.Method.choices if row[0] in ("weighed", "metered", "dipped")
        ],
        "levels": [("empty", _("empty")), ("1", "¼"), ("2", "½"), ("3", "¾"), ("full", _("full"))],
        "step_rows": [("extract", ""), ("clean", ""), ("blow", "")],
        "additions": [(name, title) for name, _part, title, _rows in _additions()],
        "addition_rows": _additions(),
        **_words(),
    }


def _words() -> dict[str, str]:
    return {
        "words_pressure": _("Highest pressure"),
        "words_air": _("Highest air pressure"),
        "words_pressure_end": _("Pressure end at"),
        "words_tag": _("Tag of the pressure fitting"),
        "words_meter": _("Flow meter"),
        "words_meter_start": _("Meter before"),
        "words_meter_end": _("Meter after"),
        "words_source": _("From drum"),
        "words_injected": _("Injected, without a meter"),
        "words_temperature": _("Fluid temperature"),
        "words_core_out": _("Length of core out"),
        "words_size": _("Size found"),
        "words_length": _("Length found"),
        "words_splices": _("Hidden splices"),
        "words_projectile": _("Projectile"),
        "words_fired": _("Fired"),
        "words_retrieved": _("Came out"),
        "words_stuck": _("Stuck at, from the near end"),
        "words_reel": _("Reel"),
        "words_mark_start": _("Mark at the start"),
        "words_mark_end": _("Mark at the end"),
        "words_short": _("Ran short at"),
        "words_note": _("Note"),
        "words_method": _("How"),
        "words_instrument": _("With which scale, meter or stick"),
    }


def _additions() -> list[Addition]:
    return [*_goods_told(), *_events_told()]


def _goods_told() -> list[Addition]:
    """What became of fluid and pieces."""
    volume, length = list_units("volume"), list_units("length")
    any_amount = [*list_units("count"), *volume, *length]
    cause = FormField("cause", _("Cause"), "choice", Movement.Cause.choices)
    span, run = FormField("span", _("Span"), "work"), FormField("run", _("Run"), "work")
    return [
        (
            "caught",
            "caught",
            _("Caught or swept fluid"),
            [
                FormField("container", _("Into container")),
                FormField("kind", _("How"), "choice", FluidCaught.Kind.choices),
                FormField("amount", _("Amount"), "amount", volume),
                run,
            ],
        ),
        (
            "piece",
            "pieces",
            _("Fitting, union, seal or other piece"),
            [
                FormField("material", _("What")),
                FormField("amount", _("How many"), "amount", any_amount),
                FormField("fate", _("What became of it"), "choice", PieceReport.Fate.choices),
                FormField("tag", _("Tag"), longest=40),
                span,
                run,
            ],
        ),
        (
            "loss",
            "losses",
            _("Loss"),
            [
                FormField("material", _("What")),
                cause,
                FormField("amount", _("Amount"), "amount", any_amount),
                FormField("container", _("From container")),
                span,
                FormField("is_contained", _("Contained"), "flag"),
                FormField("note", _("Note"), longest=500),
            ],
        ),
    ]


def _events_told() -> list[Addition]:
    """What was handed over, what happened, and what was dug."""
    volume, length = list_units("volume"), list_units("length")
    span = FormField("span", _("Span"), "work")
    return [
        (
            "waste",
            "waste",
            _("Waste handed over"),
            [
                FormField("manifest_number", _("Manifest number"), longest=100),
                FormField("container", _("Container")),
                FormField("amount", _("Amount, if not all of it"), "amount", volume),
                FormField("receiver", _("Handed to"), longest=200),
            ],
        ),
        (
            "incident",
            "incidents",
            _("Incident"),
            [
                FormField("kind", _("What happened"), "choice", Incident.Kind.choices),
                FormField("access_point", _("At access point"), longest=64),
                span,
                FormField("amount", _("Estimated amount"), "amount", volume),
                FormField("is_contained", _("Contained"), "flag"),
                FormField("note", _("Who was told, and when"), longest=4000),
            ],
        ),
        (
            "split",
            "splits",
            _("Span cut in two"),
            [
                span,
                FormField("at", _("At, from the near end"), "amount", length),
                FormField("access_point", _("Name of the new access point"), longest=64),
                FormField(
                    "access_point_kind", _("Kind"), "choice", AccessPoint.Kind.choices, may_be_empty=True
                ),
            ],
        ),
    ]
