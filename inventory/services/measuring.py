"""From what was read to an amount at the reference temperature, with its standard uncertainty.

A reading is taken as it comes: no temperature, no known tare, an instrument whose check is overdue or none
at all make it less certain and are said in its remarks. Refused is only what cannot be a reading.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from inventory.calc.density import density_kg_per_m3, reference_factor
from inventory.calc.measuring import (
    Reading,
    amount_by_quarters,
    dipped_amount,
    empty_amount,
    full_amount,
    metered_amount,
    unknown_temperature_uncertainty,
    weighed_mass,
)
from inventory.errors import BadInput, Fault
from inventory.models import Container, Instrument, Material
from inventory.queries.instruments import TrustedInstrument
from inventory.units import MILLION, Amount, base_factor, conversion_factor, naming_the_amount, parse_amount

# What an instrument is worth of which nothing is known, in kg, percent and m3 (estimates, no source): a
# floor scale of one pound, a meter of class 2, a stick that is read to a fifth of a gallon to either side.
USUAL_SCALE_STEP_KG = 0.45359237
USUAL_METER_CLASS = 2.0
USUAL_METER_STEP_M3 = 0.0003785411784
USUAL_DIP_HALF_WIDTH_M3 = 0.0007570823568
# Between a cold and a warm day lie so many kelvin to either side of the reference (an estimate, no source).
UNKNOWN_TEMPERATURE_K = 15.0
# Expansion of a fluid without a density table: between water's and half glycol's, per kelvin.
USUAL_EXPANSION_PER_K = 0.0005
# A fluid of which nobody knows the density lies between light oil and strong glycol, kg/m3 (an estimate, no
# source).
USUAL_DENSITIES_KG_PER_M3 = (850.0, 1150.0)
# What empty vessels weigh, kg from and to, and hold, m3 (common practice: drums of 20 to 60 lb, pails of 2.2
# to 2.6 lb, totes of 120 to 145 lb).
USUAL_TARES_KG = {"drum": (9.07, 27.22), "pail": (1.0, 1.18), "tote": (54.4, 65.8)}
USUAL_CAPACITIES_M3 = {"drum": 0.2082, "pail": 0.01893, "tote": 1.041}


class BadReading(BadInput):
    """What was read cannot be turned into an amount."""

    code = "bad_reading"


class UnknownVessel(BadReading):
    """Nobody knows what a container weighs empty, or holds when full, so its reading tells no amount."""

    code = "unknown_vessel"


class Method(StrEnum):
    """How an amount was found."""

    WEIGHED = "weighed"
    METERED = "metered"
    DIPPED = "dipped"
    QUARTERS = "quarters"
    FULL = "full"
    EMPTY = "empty"


# What each method is read with and what it reads; the last three need no number.
INSTRUMENT_KINDS = {
    Method.WEIGHED: Instrument.Kind.SCALE,
    Method.METERED: Instrument.Kind.METER,
    Method.DIPPED: Instrument.Kind.DIP_STICK,
}
DIMENSIONS = {
    Method.WEIGHED: "mass",
    Method.METERED: "volume",
    Method.DIPPED: "volume",
    Method.QUARTERS: "count",
}


@dataclass(frozen=True)
class Measured:
    """An amount at the reference temperature, in millionths of the material's stock unit.

    Of the standard uncertainty, `common_uncertainty` is the part that all readings of the same instrument on
    that day share, `tare_uncertainty` the one that all weighings of the same container share. Remarks say why
    it is less certain than it could be.
    """

    amount: int
    standard_uncertainty: float
    common_uncertainty: float = 0.0
    tare_uncertainty: float = 0.0
    remarks: tuple[str, ...] = ()


def measure(
    *,
    material: Material,
    method: str,
    reference_temperature_c: float,
    value: str | int | float | Decimal | None = None,
    unit: str = "",
    container: Container | None = None,
    temperature_c: float | None = None,
    instrument: TrustedInstrument | None = None,
    pointer: str = "",
) -> Measured:
    """Turn one reading of a fluid into an amount; `unit` is that of the value, "1" for quarters.

    Raises
    ------
    BadReading
        If the value is missing or out of range, or the instrument does not read that.
    UnknownVessel
        If nobody knows what the container weighs empty or holds when full.
    BadAmount
        If value or unit are none, or the unit measures something else.
    """
    how = _as_method(method, pointer)
    entered = _as_amount(how, value, unit, pointer)
    _refuse_wrong_instrument(how, instrument, pointer)
    ruler = _Ruler(material, container, instrument, reference_temperature_c, temperature_c, pointer)
    reading = _READERS[how](ruler, entered)
    return ruler.finish(reading)


def measure_metered(
    *,
    material: Material,
    start: str | int | float | Decimal,
    end: str | int | float | Decimal,
    unit: str,
    reference_temperature_c: float,
    temperature_c: float | None = None,
    instrument: TrustedInstrument | None = None,
    pointer: str = "",
) -> Measured:
    """Turn what a meter showed before and after into an amount; a meter that ran backwards is refused.

    Raises
    ------
    BadReading
        If the end is below the start or the instrument is no meter.
    BadAmount
        If a value or the unit are none, or the unit does not measure volume.
    """
    _refuse_wrong_instrument(Method.METERED, instrument, pointer)
    with naming_the_amount(f"{pointer}/meter_start", f"{start} {unit}"):
        first = parse_amount(start, unit, dimension="volume")
    with naming_the_amount(f"{pointer}/meter_end", f"{end} {unit}"):
        last = parse_amount(end, unit, dimension="volume")
    if last.value < first.value:
        message = f"is below its start, {first}; a meter that ran backwards tells no amount"
        raise BadReading.of([Fault(f"{pointer}/meter_end", str(last), message)])
    ruler = _Ruler(material, None, instrument, reference_temperature_c, temperature_c, pointer)
    return ruler.finish(ruler.at_reference(ruler.metered(first, last)))


def unknown_temperature_share(density_table: list[tuple[float, float]], reference_c: float) -> float:
    """How unsure a volume is, as a share of it, of a fluid that nobody knows how warm it was."""
    if len(density_table) < 2:
        spread = USUAL_EXPANSION_PER_K * UNKNOWN_TEMPERATURE_K
        return unknown_temperature_uncertainty(cold_density=1 + spread, warm_density=1 - spread)
    coldest, warmest = min(density_table)[0], max(density_table)[0]
    densities = [
        density_kg_per_m3(temperature_c=min(max(point, coldest), warmest), density_table=density_table)
        for point in (reference_c - UNKNOWN_TEMPERATURE_K, reference_c + UNKNOWN_TEMPERATURE_K)
    ]
    return unknown_temperature_uncertainty(cold_density=densities[0], warm_density=densities[1])


class _Ruler:
    """One reading in the making, in cubic metres; gathers the remarks."""

    def __init__(
        self,
        material: Material,
        container: Container | None,
        instrument: TrustedInstrument | None,
        reference_c: float,
        temperature_c: float | None,
        pointer: str,
    ) -> None:
        self.material = material
        self.container = container
        self.trusted = instrument
        self.reference_c = reference_c
        self.temperature_c = temperature_c
        self.pointer = pointer
        self.remarks = [instrument.remark] if instrument is not None and instrument.remark else []

    def finish(self, reading: Reading) -> Measured:
        """From cubic metres to millionths of the stock unit."""
        found = reading.scaled(MILLION / float(base_factor(self.material.stock_unit)))
        return Measured(
            round(found.amount),
            found.standard_uncertainty,
            found.common_uncertainty,
            found.tare_uncertainty,
            tuple(self.remarks),
        )

    def at_reference(self, reading: Reading) -> Reading:
        """The volume at the reference temperature; less certain where nobody knows how warm it was."""
        table = [(float(point[0]), float(point[1])) for point in self.material.density_table]
        if self.temperature_c is not None and len(table) > 1:
            coldest, warmest = min(table)[0], max(table)[0]
            if coldest <= self.temperature_c <= warmest and coldest <= self.reference_c <= warmest:
                factor = reference_factor(
                    temperature_c=self.temperature_c,
                    reference_temperature_c=self.reference_c,
                    density_table=table,
                )
                return reading.scaled(factor)
            self.remarks.append("its temperature lies outside the fluid's density table")
        elif self.temperature_c is None:
            self.remarks.append("no temperature was read")
        else:
            self.remarks.append("the fluid has no density table")
        return reading.widened(relative_uncertainty=unknown_temperature_share(table, self.reference_c))

    def weighed(self, gross: Amount) -> Reading:
        """Mass over the density at the reference temperature: weighing asks for no temperature."""
        step = self._resolution("kg", USUAL_SCALE_STEP_KG)
        tare, half_width = self._tare(step)
        reading = weighed_mass(
            gross=_in_unit(gross, "kg"),
            tare=tare,
            tare_half_width=half_width,
            resolution=step,
            accuracy_class=self._accuracy_class(0.0),
            drift_fraction=self._drift,
            trust_factor=self._trust,
        )
        density, half_width = self._reference_density()
        relative = half_width / density / math.sqrt(3)
        return reading.scaled(1 / density).widened(relative_uncertainty=relative)

    def _tare(self, step: float) -> tuple[float, float]:
        box = self.container
        if box is not None and box.tare_kg is not None:
            return box.tare_kg, step / 2
        usual = USUAL_TARES_KG.get(box.kind) if box is not None else None
        if usual is None:
            message = (
                "has no tare on record, and none is usual for its kind; note the tare or read it another way"
            )
            raise UnknownVessel.of([Fault(f"{self.pointer}/container", str(box), message)])
        self.remarks.append(f"the tare of {box} is not on record")
        return sum(usual) / 2, (usual[1] - usual[0]) / 2

    def _reference_density(self) -> tuple[float, float]:
        """The density at the reference temperature, and to either side how far it may lie off; both kg/m3."""
        table = [(float(point[0]), float(point[1])) for point in self.material.density_table]
        if len(table) > 1 and min(table)[0] <= self.reference_c <= max(table)[0]:
            return density_kg_per_m3(temperature_c=self.reference_c, density_table=table), 0.0
        if self.material.density_kg_per_m3 is not None:
            return self.material.density_kg_per_m3, 0.0
        self.remarks.append(f"the density of {self.material} is not on record")
        lightest, heaviest = USUAL_DENSITIES_KG_PER_M3
        return (lightest + heaviest) / 2, (heaviest - lightest) / 2

    def metered(self, start: Amount, end: Amount) -> Reading:
        return metered_amount(
            start=_in_unit(start, "m3"),
            end=_in_unit(end, "m3"),
            resolution=self._resolution("m3", USUAL_METER_STEP_M3),
            accuracy_class=self._accuracy_class(USUAL_METER_CLASS),
            drift_fraction=self._drift,
            trust_factor=self._trust,
        )

    def dipped(self, shown: Amount) -> Reading:
        return dipped_amount(
            amount=_in_unit(shown, "m3"),
            half_width=self._resolution("m3", USUAL_DIP_HALF_WIDTH_M3),
            trust_factor=self._trust,
        )

    def capacity_m3(self) -> float:
        """What the container holds when full: as measured, else as usual for its kind."""
        box = self.container
        capacity = box.capacity_for(self.material) if box is not None else None
        if capacity is not None:
            return capacity / MILLION * float(base_factor(self.material.stock_unit))
        usual = USUAL_CAPACITIES_M3.get(box.kind) if box is not None else None
        if usual is None:
            message = "has no capacity on record; note it, or read the amount another way"
            raise UnknownVessel.of([Fault(f"{self.pointer}/container", str(box), message)])
        self.remarks.append(f"the capacity of {box} is not on record")
        return usual

    def heel_m3(self) -> float:
        box = self.container
        heel = box.heel_for(self.material) if box is not None else 0
        return heel / MILLION * float(base_factor(self.material.stock_unit)) or USUAL_DIP_HALF_WIDTH_M3

    def _resolution(self, unit: str, usual: float) -> float:
        if self.trusted is None or self.trusted.instrument.resolution is None:
            return usual
        device = self.trusted.instrument
        assert device.resolution is not None
        return device.resolution * float(conversion_factor(device.unit, unit))

    def _accuracy_class(self, usual: float) -> float:
        found = self.trusted.instrument.accuracy_class if self.trusted is not None else None
        return usual if found is None else found

    @property
    def _drift(self) -> float:
        return self.trusted.drift_fraction if self.trusted is not None else 0.0

    @property
    def _trust(self) -> float:
        return self.trusted.trust_factor if self.trusted is not None else 1.0


def _read_weighed(ruler: _Ruler, entered: Amount) -> Reading:
    return ruler.weighed(entered)


def _read_metered(ruler: _Ruler, entered: Amount) -> Reading:
    return ruler.at_reference(ruler.metered(Amount(Decimal(0), entered.unit), entered))


def _read_dipped(ruler: _Ruler, entered: Amount) -> Reading:
    return ruler.at_reference(ruler.dipped(entered))


def _read_quarters(ruler: _Ruler, entered: Amount) -> Reading:
    if entered.value > 4:
        message = "is more than four quarters; give 0 to 4"
        raise BadReading.of([Fault(f"{ruler.pointer}/value", str(entered.value), message)])
    reading = amount_by_quarters(quarters=float(entered.value), capacity=ruler.capacity_m3())
    return ruler.at_reference(reading)


def _read_full(ruler: _Ruler, entered: Amount) -> Reading:
    return ruler.at_reference(full_amount(capacity=ruler.capacity_m3()))


def _read_empty(ruler: _Ruler, entered: Amount) -> Reading:
    return empty_amount(heel=ruler.heel_m3())


_READERS: dict[Method, Callable[[_Ruler, Amount], Reading]] = {
    Method.WEIGHED: _read_weighed,
    Method.METERED: _read_metered,
    Method.DIPPED: _read_dipped,
    Method.QUARTERS: _read_quarters,
    Method.FULL: _read_full,
    Method.EMPTY: _read_empty,
}


def _in_unit(amount: Amount, unit: str) -> float:
    return float(amount.value) * float(conversion_factor(amount.unit, unit))


def _as_method(method: str, pointer: str) -> Method:
    try:
        return Method(method)
    except ValueError:
        message = f"is no way to read an amount; use one of {', '.join(Method)}"
        raise BadReading.of([Fault(f"{pointer}/method", method, message)]) from None


def _as_amount(method: Method, value: str | int | float | Decimal | None, unit: str, pointer: str) -> Amount:
    dimension = DIMENSIONS.get(method)
    if dimension is None:
        return Amount(Decimal(0), "1")
    if value is None:
        raise BadReading.of([Fault(f"{pointer}/value", "", f"is missing; {method.value} needs a number")])
    with naming_the_amount(f"{pointer}/value", f"{value} {unit}"):
        amount = parse_amount(value, unit, dimension=dimension)
    if amount.value < 0:
        raise BadReading.of([Fault(f"{pointer}/value", str(amount), "cannot be less than nothing")])
    return amount


def _refuse_wrong_instrument(method: Method, trusted: TrustedInstrument | None, pointer: str) -> None:
    wanted = INSTRUMENT_KINDS.get(method)
    if trusted is None or trusted.instrument.kind == wanted:
        return
    device = trusted.instrument
    needed = f"this needs a {Instrument.Kind(wanted).label}" if wanted else "this needs no instrument"
    message = f"is a {device.get_kind_display()}; {needed}"
    raise BadReading.of([Fault(f"{pointer}/instrument", device.tag, message)])
