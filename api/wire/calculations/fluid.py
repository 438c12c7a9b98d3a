"""Fluid: what a bore holds, what stays on its wall, what a crew-day needs."""

from dataclasses import dataclass
from typing import Any

from api.wire.calculations.faults import Faults, Place, refuse
from api.wire.calculations.fields import (
    Field,
    Limits,
    Listing,
    Number,
    Record,
    Schema,
    Text,
    Whole,
    closed_fraction,
    mean_sd_fields,
    not_negative,
    open_fraction,
    positive,
)
from api.wire.calculations.quantities import (
    NumberOrQuantity,
    QuantityField,
    UnitField,
    UnitOfAnswer,
    quantity_answer,
)
from api.wire.calculations.registry import register
from jobs.calc.bore import bore_volume_m3, film_fraction
from jobs.calc.crew_day import SpanFluid, gather_spans, simulate_crew_day

METRES_TO_MM = 1000


def _bore_volume(values: dict[str, Any]) -> dict[str, Any]:
    volume = bore_volume_m3(bore_mm=values["bore"].base * METRES_TO_MM, length_m=values["length"].base)
    return {"volume": quantity_answer(volume, values["volume_unit"])}


register(
    name="bore-volume",
    summary="Volume of an empty sheath, pi/4 d^2 L.",
    takes={
        "bore": QuantityField(dimension="length", limits=positive(), about="inside diameter of the sheath"),
        "length": QuantityField(dimension="length", limits=not_negative(), about="length of the span"),
        "volume_unit": UnitField(dimension="volume", about="unit of the answer"),
    },
    gives={"volume": QuantityField(dimension="volume")},
    compute=_bore_volume,
    example={
        "bore": {"value": "0.452", "unit": "[in_i]"},
        "length": {"value": "1000", "unit": "[ft_i]"},
        "volume_unit": "[gal_us]",
    },
)


def _film_residual(values: dict[str, Any]) -> dict[str, Any]:
    unit = UnitOfAnswer()
    bore, film = float(unit.take(values["bore"])), float(unit.take(values["film_thickness"]))
    # Only the ratio of the two counts, so any common unit will do.
    return {"fraction_left": film_fraction(bore_mm=bore, film_thickness_mm=film)}


register(
    name="film-residual",
    summary="Share of the fluid that stays on the wall of a swept bore as a film.",
    takes={
        "bore": NumberOrQuantity(dimension="length", limits=Limits(above=0), about="inside diameter"),
        "film_thickness": NumberOrQuantity(
            dimension="length", limits=not_negative(), about="thickness of the film, at most half the bore"
        ),
    },
    gives={"fraction_left": Number(limits=closed_fraction())},
    compute=_film_residual,
    example={
        "bore": {"value": "11.48", "unit": "mm"},
        "film_thickness": {"value": "0.05", "unit": "mm"},
    },
)

MOST_SPANS = 1000
MOST_DRAWS = 1_000_000
# Ten million span-draws take about a second; a what-if question is answered while the asker waits.
MOST_SPAN_DRAWS = 50_000_000
QUANTILES_SHOWN = (0.5, 0.8, 0.9, 0.95, 0.99)


@dataclass(frozen=True, kw_only=True)
class ShareField(Field):
    """A share with its standard deviation, such that a beta distribution has these moments."""

    def _read(self, value: Any, place: Place, faults: Faults) -> dict[str, float] | None:
        known = len(faults.found)
        share: dict[str, float] | None = mean_sd_fields(mean=closed_fraction()).read(value, place, faults)
        if share is None or len(faults.found) > known:
            return None
        mean, sd = share["mean"], share["sd"]
        if sd and sd * sd >= mean * (1 - mean):
            faults.add(place / "sd", sd, "must be below sqrt(mean (1 - mean)): no share spreads further")
        return share

    def _schema(self) -> Schema:
        return mean_sd_fields(mean=closed_fraction()).schema()


def _read_runs(spans: list[dict[str, Any]]) -> list[int]:
    """Numbers for the runs' names; spans that name none share one run."""
    numbers: dict[str | None, int] = {}
    return [numbers.setdefault(span["run"], len(numbers)) for span in spans]


def _read_spans(spans: list[dict[str, Any]]) -> SpanFluid:
    volumes = [
        bore_volume_m3(bore_mm=span["bore"].base * METRES_TO_MM, length_m=span["length"].base)
        for span in spans
    ]
    return gather_spans(
        bore_volume_m3=volumes,
        run=_read_runs(spans),
        **{
            f"{share}_{moment}": [_share_of(span, share)[moment] for span in spans]
            for share in ("injected", "caught", "recovered")
            for moment in ("mean", "sd")
        },
    )


def _share_of(span: dict[str, Any], share: str) -> dict[str, float]:
    """What a span says of a share. One that only says what is caught has nothing to sweep."""
    if share == "injected":
        ratio: dict[str, float] = span["injected_ratio"]
        return ratio
    stated = span[f"{share}_fraction"]
    if stated is None and share == "recovered":
        stated = span["caught_fraction"]
    return stated or {"mean": 0.0, "sd": 0.0}


def _check_recovered(spans: list[dict[str, Any]]) -> None:
    for index, span in enumerate(spans):
        caught, recovered = _share_of(span, "caught"), _share_of(span, "recovered")
        if recovered["mean"] < caught["mean"]:
            raise refuse(
                f"/spans/{index}/recovered_fraction/mean",
                "must be at least the caught fraction, which is part of it",
                value=recovered["mean"],
            )


def _crew_day_fluid(values: dict[str, Any]) -> dict[str, Any]:
    if len(values["spans"]) * values["draws"] > MOST_SPAN_DRAWS:
        raise refuse("/draws", f"spans times draws must be at most {MOST_SPAN_DRAWS}", value=values["draws"])
    _check_recovered(values["spans"])
    set_up = values["set_up_volume"]
    day = simulate_crew_day(
        spans=_read_spans(values["spans"]),
        reusable_fraction=values["reusable_fraction"],
        set_up_m3=set_up.base if set_up else 0.0,
        draws=values["draws"],
        seed=values["seed"],
    )
    unit = values["volume_unit"]
    return {
        "load": quantity_answer(day.load_m3(values["quantile"]), unit),
        "injected_mean": quantity_answer(day.injected_mean_m3, unit),
        "recovered_mean": quantity_answer(day.recovered_mean_m3, unit),
        "quantiles": {str(level): quantity_answer(day.load_m3(level), unit) for level in QUANTILES_SHOWN},
    }


_SPAN = Record(
    fields={
        "bore": QuantityField(dimension="length", limits=positive(), about="inside diameter of the sheath"),
        "length": QuantityField(dimension="length", limits=positive(), about="length of the span"),
        "run": Text(is_id=True, default=None, may_be_null=True, about="run; swept after its last span"),
        "injected_ratio": mean_sd_fields(
            mean=positive(), default={"mean": 1.0, "sd": 0.0}, about="injected over bore volume; 1 if absent"
        ),
        "caught_fraction": ShareField(default=None, about="of what was injected; none if absent"),
        "recovered_fraction": ShareField(
            default=None, about="of what was injected, caught and swept together; what is caught if absent"
        ),
    }
)

register(
    name="crew-day-fluid",
    summary="Fluid a truck must carry for a crew-day at a chosen certainty, reuse counted.",
    takes={
        "spans": Listing(item=_SPAN, fewest=1, most=MOST_SPANS, about="in the order of work"),
        "reusable_fraction": Number(limits=closed_fraction(), default=0.0),
        "set_up_volume": QuantityField(
            dimension="volume", limits=not_negative(), default=None, about="hose and priming, per span"
        ),
        "quantile": Number(limits=open_fraction(), about="certainty of the load"),
        "draws": Whole(limits=Limits(least=1, most=MOST_DRAWS), default=10_000),
        "seed": Whole(limits=Limits(least=0, most=2**63 - 1), default=0),
        "volume_unit": UnitField(dimension="volume"),
    },
    gives={
        "load": QuantityField(dimension="volume"),
        "injected_mean": QuantityField(dimension="volume"),
        "recovered_mean": QuantityField(dimension="volume"),
        "quantiles": Record(
            fields={str(level): QuantityField(dimension="volume") for level in QUANTILES_SHOWN},
            about="loads at other certainties",
        ),
    },
    compute=_crew_day_fluid,
    example={
        "spans": [
            {
                "bore": {"value": "0.565", "unit": "[in_i]"},
                "length": {"value": "412", "unit": "[ft_i]"},
                "run": "north",
                "injected_ratio": {"mean": "1.12", "sd": "0.06"},
                "caught_fraction": {"mean": "0.10", "sd": "0.03"},
                "recovered_fraction": {"mean": "0.92", "sd": "0.03"},
            },
            {
                "bore": {"value": "0.565", "unit": "[in_i]"},
                "length": {"value": "388", "unit": "[ft_i]"},
                "run": "north",
                "injected_ratio": {"mean": "1.12", "sd": "0.06"},
                "caught_fraction": {"mean": "0.10", "sd": "0.03"},
                "recovered_fraction": {"mean": "0.92", "sd": "0.03"},
            },
        ],
        "reusable_fraction": "0.8",
        "set_up_volume": {"value": "0.5", "unit": "[gal_us]"},
        "quantile": "0.9",
        "draws": 10000,
        "seed": 7,
        "volume_unit": "[gal_us]",
    },
)
