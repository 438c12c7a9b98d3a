"""Volumes at the reference temperature, measured or weighed."""

from fractions import Fraction
from typing import Any

from api.wire.calculations.fields import Listing, Number, Row, not_negative, positive
from api.wire.calculations.quantities import (
    NumberOrQuantity,
    Quantity,
    QuantityField,
    UnitField,
    quantity_answer,
)
from api.wire.calculations.registry import register
from inventory.calc.density import reference_factor, weighed_contents

MOST_POINTS = 1000

_TEMPERATURE = NumberOrQuantity(dimension="temperature", about="a plain number is in degrees Celsius")
_DENSITY_TABLE = Listing(
    item=Row(items=(Number(), Number(limits=positive()))),
    fewest=1,
    most=MOST_POINTS,
    about="points of degrees Celsius and kg/m3, linear in between",
)
_EXAMPLE_TABLE = [[0, "1036.24"], [15, "1030.51"], [20, "1028.35"], [40, "1018.42"]]


def _celsius(temperature: Quantity | Fraction) -> float:
    return temperature.base if isinstance(temperature, Quantity) else float(temperature)


def _read_temperatures(values: dict[str, Any]) -> dict[str, Any]:
    return {
        "temperature_c": _celsius(values["temperature"]),
        "reference_temperature_c": _celsius(values["reference_temperature"]),
        "density_table": values["density_table"],
    }


def _volume_at_reference(values: dict[str, Any]) -> dict[str, Any]:
    factor = reference_factor(**_read_temperatures(values))
    volume = values["volume"]
    return {"volume": quantity_answer(volume.base * factor, volume.unit), "factor": factor}


register(
    name="volume-at-reference",
    summary="Volume at the reference temperature by the fluid's density table.",
    takes={
        "volume": QuantityField(dimension="volume", limits=not_negative(), about="as measured"),
        "temperature": _TEMPERATURE,
        "reference_temperature": _TEMPERATURE,
        "density_table": _DENSITY_TABLE,
    },
    gives={"volume": QuantityField(dimension="volume"), "factor": Number(limits=positive())},
    compute=_volume_at_reference,
    example={
        "volume": {"value": "55", "unit": "[gal_us]"},
        "temperature": {"value": "86", "unit": "[degF]"},
        "reference_temperature": {"value": "15", "unit": "Cel"},
        "density_table": _EXAMPLE_TABLE,
    },
)


def _container_contents(values: dict[str, Any]) -> dict[str, Any]:
    found = weighed_contents(
        gross_kg=values["gross"].base,
        tare_kg=values["tare"].base,
        scale_resolution_kg=values["scale_resolution"].base,
        **_read_temperatures(values),
    )
    unit = values["volume_unit"]
    return {
        "volume": quantity_answer(found.volume_m3, unit),
        "standard_uncertainty": quantity_answer(found.standard_uncertainty_m3, unit),
    }


def _mass(about: str) -> QuantityField:
    return QuantityField(dimension="mass", limits=not_negative(), about=about)


register(
    name="container-contents",
    summary="Contents of a weighed container at the reference temperature, with their standard uncertainty.",
    takes={
        "gross": _mass("container with its contents"),
        "tare": _mass("empty container, on the same scale"),
        "scale_resolution": _mass("step of the scale's display"),
        "temperature": _TEMPERATURE,
        "reference_temperature": _TEMPERATURE,
        "density_table": _DENSITY_TABLE,
        "volume_unit": UnitField(dimension="volume"),
    },
    gives={
        "volume": QuantityField(dimension="volume"),
        "standard_uncertainty": QuantityField(dimension="volume"),
    },
    compute=_container_contents,
    example={
        "gross": {"value": "498.0", "unit": "[lb_av]"},
        "tare": {"value": "40.0", "unit": "[lb_av]"},
        "scale_resolution": {"value": "0.5", "unit": "[lb_av]"},
        "temperature": {"value": "20", "unit": "Cel"},
        "reference_temperature": {"value": "15", "unit": "Cel"},
        "density_table": _EXAMPLE_TABLE,
        "volume_unit": "[gal_us]",
    },
)
