"""Closings of crew-days, and sums of them, as JSON."""

from typing import Any

from api.wire.amounts import quantity_json
from api.wire.answers import named_json
from api.wire.fluid_sums import interval_json
from api.wire.moments import moment_json
from api.wire.pictures.fluid_balance import draw_fluid_balance
from api.wire.pictures.tables import picture_body
from api.wire.schemas import (
    DAY,
    FLAG,
    MOMENT,
    NUMBER,
    TEXT,
    UUID,
    WHOLE,
    Schema,
    listing,
    nullable,
    of,
    shape,
    words,
)
from inventory.units import MILLION
from jobs.models import BalanceStream, DayBalance, FluidBalance, SpanFigure
from jobs.queries.balances import interval_of, list_ways
from jobs.queries.fluid_figures import AMOUNTS

Json = dict[str, Any]
WAYS = ["out", "stood", "caught", "bore", "film", "hose", "lost", "unaccounted"]
SUSPECTS = ["missing", "shared", "reading"]
COMPONENTS: dict[str, Schema] = {
    "Interval": {
        **shape(low=of("Quantity"), high=of("Quantity")),
        "description": "Where an amount lies at 95 %.",
    },
    "FluidWay": shape(word={"type": "string", "enum": WAYS}, amount=of("Quantity"), interval=of("Interval")),
    "Suspect": {
        **shape(
            kind={"type": "string", "enum": SUSPECTS},
            name=TEXT,
            statistic=NUMBER,
            amount=NUMBER,
            standard_uncertainty=NUMBER,
        ),
        "description": "The amount is in the fluid's unit; of an error that readings share, in its standard "
        "uncertainties.",
    },
    "BalanceStream": shape(
        kind=words(BalanceStream.Kind),
        name=TEXT,
        source=nullable(TEXT),
        target=nullable(TEXT),
        instrument=nullable(TEXT),
        measured=nullable(of("Quantity")),
        standard_uncertainty=nullable(NUMBER),
        reconciled=nullable(of("Quantity")),
        reconciled_uncertainty=nullable(NUMBER),
        test_statistic=nullable(NUMBER),
    ),
    "FluidAmounts": shape(**{name: of("Quantity") for name in AMOUNTS}),
    "SpanFigure": shape(
        job=TEXT, span=TEXT, amounts=of("FluidAmounts"), unaccounted=nullable(of("Quantity"))
    ),
    "Picture": shape(
        svg=TEXT,
        table=shape(
            caption=TEXT,
            columns=listing(shape(key=TEXT, title=TEXT, unit=TEXT)),
            rows=listing({"type": "object", "additionalProperties": TEXT}),
        ),
    ),
    "FluidBalance": shape(
        fluid=of("Named"),
        is_consistent=FLAG,
        global_statistic=NUMBER,
        degrees_of_freedom=WHOLE,
        critical_value=nullable(NUMBER),
        confidence=NUMBER,
        unaccounted=nullable(of("Quantity")),
        unaccounted_interval=nullable(of("Interval")),
        left_out=listing(TEXT),
        limit=nullable(of("Quantity")),
        is_above_limit=FLAG,
        suspects=listing(of("Suspect")),
        freed=listing(of("Suspect")),
        ways=listing(of("FluidWay")),
        streams=listing(of("BalanceStream")),
        spans=listing(of("SpanFigure")),
        picture=of("Picture"),
    ),
    "DayBalance": shape(
        crew=TEXT,
        date=DAY,
        revision=WHOLE,
        closed_at=MOMENT,
        by=of("Named"),
        entry=nullable(UUID),
        fluids=listing(of("FluidBalance")),
    ),
    "FluidSum": shape(
        fluid=of("Named"),
        amounts=of("FluidAmounts"),
        unaccounted=nullable(of("Quantity")),
        no_span=nullable(of("Quantity")),
        unaccounted_interval=nullable(of("Interval")),
        days=WHOLE,
        days_unknown=WHOLE,
    ),
    "FluidPart": shape(
        kind={"type": "string", "enum": ["run", "span", "no_span"]}, name=TEXT, sum=of("FluidSum")
    ),
    "JobFluid": shape(job=TEXT, sums=listing(of("FluidSum")), parts=listing(of("FluidPart"))),
    "MonthFluid": shape(month=TEXT, sums=listing(of("FluidSum"))),
}


def day_balance_json(balance: DayBalance) -> Json:
    """A closing that was loaded with its parts."""
    return {
        "crew": balance.crew_day.crew.code,
        "date": balance.crew_day.date.isoformat(),
        "revision": balance.revision,
        "closed_at": moment_json(balance.closed_at),
        "by": named_json(balance.by),
        "entry": str(balance.entry_uuid) if balance.entry_uuid else None,
        "fluids": [fluid_balance_json(_known(row, balance)) for row in balance.fluids.all()],
    }


def _known(row: FluidBalance, balance: DayBalance) -> FluidBalance:
    """With the closing it was loaded for, so that it is not asked for again."""
    row.balance = balance
    return row


def fluid_balance_json(row: FluidBalance) -> Json:
    unit = row.fluid.stock_unit
    interval = None
    if row.unaccounted is not None and row.unaccounted_uncertainty is not None:
        interval = interval_json(interval_of(row.unaccounted, row.unaccounted_uncertainty), unit)
    return {
        "fluid": named_json(row.fluid),
        "is_consistent": row.is_consistent,
        "global_statistic": row.global_statistic,
        "degrees_of_freedom": row.degrees_of_freedom,
        "critical_value": row.critical_value,
        "confidence": row.confidence,
        "unaccounted": _maybe(row.unaccounted, unit),
        "unaccounted_interval": interval,
        "left_out": row.left_out,
        "limit": _maybe(row.limit, unit),
        "is_above_limit": row.is_above_limit,
        "suspects": row.suspects,
        "freed": row.freed,
        "ways": [
            {
                "word": way.word,
                "amount": quantity_json(way.amount, unit),
                "interval": interval_json(interval_of(way.amount, way.standard_uncertainty), unit),
            }
            for way in list_ways(row)
        ],
        "streams": [_stream(stream, unit) for stream in row.streams.all()],
        "spans": [_figure(figure, unit) for figure in row.spans.all()],
        "picture": picture_body(draw_fluid_balance(row)),
    }


def _stream(row: BalanceStream, unit: str) -> Json:
    return {
        "kind": row.kind,
        "name": row.name,
        "source": row.source or None,
        "target": row.target or None,
        "instrument": row.instrument.tag if row.instrument is not None else None,
        "measured": _maybe(row.measured, unit),
        "standard_uncertainty": _share(row.standard_uncertainty),
        "reconciled": _maybe(row.reconciled, unit),
        "reconciled_uncertainty": _share(row.reconciled_uncertainty),
        "test_statistic": row.test_statistic,
    }


def _figure(row: SpanFigure, unit: str) -> Json:
    return {
        "job": row.span.job.reference,
        "span": row.span.name,
        "amounts": {name: quantity_json(getattr(row, name), unit) for name in AMOUNTS},
        "unaccounted": _maybe(row.unaccounted, unit),
    }


def _maybe(amount: int | None, unit: str) -> Json | None:
    return None if amount is None else quantity_json(amount, unit)


def _share(uncertainty: float | None) -> float | None:
    """In the fluid's unit."""
    return None if uncertainty is None else uncertainty / MILLION
