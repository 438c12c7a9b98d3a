"""Fluid: what a bore holds, what stays on its wall, what a crew-day needs."""

from typing import Any

from api.wire.calculations.fields import Limits, Number, closed_fraction, not_negative, positive
from api.wire.calculations.quantities import (
    NumberOrQuantity,
    QuantityField,
    UnitField,
    UnitOfAnswer,
    quantity_answer,
)
from api.wire.calculations.registry import register
from jobs.calc.bore import bore_volume_m3, film_fraction

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
