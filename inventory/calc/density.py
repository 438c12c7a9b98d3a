"""Volumes at the reference temperature, and what a weighed container holds."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

DensityTable = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class WeighedContents:
    """Contents of a container by weighing, at the reference temperature."""

    volume_m3: float
    standard_uncertainty_m3: float


def density_kg_per_m3(*, temperature_c: float, density_table: DensityTable) -> float:
    """Density of a fluid at a temperature, linear between the points of its table.

    Outside the table nothing is guessed: liquids do not expand evenly.

    Parameters
    ----------
    temperature_c : float
        Temperature within the table [degC]
    density_table : sequence of (float, float), (points, 2)
        Temperatures, in any order and each once, with densities > 0 [degC, kg/m^3]

    Returns
    -------
    float
        Density [kg/m^3]

    Raises
    ------
    ValueError
        If the table is unusable or the temperature lies outside it.

    References
    ----------
    .. [1] Linear interpolation. Tables for water: IAPWS-95; for aqueous propylene glycol: ASHRAE Handbook,
       Fundamentals (2001), ch. 21.
    """
    return _interpolate("temperature_c", temperature_c, density_table)


def reference_factor(
    *, temperature_c: float, reference_temperature_c: float, density_table: DensityTable
) -> float:
    """Volume at the reference temperature over volume as measured, V_ref / V = rho(t) / rho(t_ref).

    Conservation of mass; no formula for petroleum is involved, since these are water and glycol.

    Parameters
    ----------
    temperature_c : float
        Temperature of the fluid when its volume was measured, within the table [degC]
    reference_temperature_c : float
        Reference temperature, within the table [degC]
    density_table : sequence of (float, float), (points, 2)
        Temperatures with densities > 0 [degC, kg/m^3]

    Returns
    -------
    float
        Factor by which to multiply the measured volume [-]

    Raises
    ------
    ValueError
        If the table is unusable or a temperature lies outside it.

    References
    ----------
    .. [1] Conservation of mass.
    """
    measured = _interpolate("temperature_c", temperature_c, density_table)
    reference = _interpolate("reference_temperature_c", reference_temperature_c, density_table)
    return measured / reference


def weighed_contents(
    *,
    gross_kg: float,
    tare_kg: float,
    scale_resolution_kg: float,
    temperature_c: float,
    reference_temperature_c: float,
    density_table: DensityTable,
) -> WeighedContents:
    """Contents of a weighed container, V = (gross - tare) / rho(t), brought to the reference temperature.

    Both readings come from a scale of the given resolution d, each rectangular over +-d/2 and independent:
    u(gross - tare) = d / sqrt(12) * sqrt(2) = d / sqrt(6). The density is taken as exact, the buoyancy of air
    (about 0.1 %, mostly in the scale's adjustment) is left out.

    Parameters
    ----------
    gross_kg : float
        Container with its contents, at least the tare [kg]
    tare_kg : float
        Empty container, >= 0 [kg]
    scale_resolution_kg : float
        Step of the scale's display, >= 0 [kg]
    temperature_c, reference_temperature_c : float
        Temperature of the fluid and the reference temperature, within the table [degC]
    density_table : sequence of (float, float), (points, 2)
        Temperatures with densities > 0 [degC, kg/m^3]

    Returns
    -------
    WeighedContents
        Volume at the reference temperature and its standard uncertainty [m^3]

    Raises
    ------
    ValueError
        If a value is out of range or a temperature lies outside the table.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1: a resolution d contributes d / sqrt(12).
    """
    if not 0 <= tare_kg < math.inf:
        raise ValueError(f"tare_kg must be at least 0, not {tare_kg:g}")
    if not tare_kg <= gross_kg < math.inf:
        raise ValueError(f"gross_kg must be at least the tare, {tare_kg:g}, not {gross_kg:g}")
    if not 0 <= scale_resolution_kg < math.inf:
        raise ValueError(f"scale_resolution_kg must be at least 0, not {scale_resolution_kg:g}")
    factor = reference_factor(
        temperature_c=temperature_c,
        reference_temperature_c=reference_temperature_c,
        density_table=density_table,
    )
    per_kg = factor / density_kg_per_m3(temperature_c=temperature_c, density_table=density_table)
    return WeighedContents(
        volume_m3=(gross_kg - tare_kg) * per_kg,
        standard_uncertainty_m3=scale_resolution_kg / math.sqrt(6) * per_kg,
    )


def _interpolate(name: str, temperature_c: float, density_table: DensityTable) -> float:
    points = sorted(density_table)
    temperatures = [temperature for temperature, _ in points]
    densities = [density for _, density in points]
    if not points or not all(math.isfinite(value) for point in points for value in point):
        raise ValueError("density_table must hold at least one point of finite numbers")
    if min(densities) <= 0:
        raise ValueError("density_table must hold densities above 0")
    if len(set(temperatures)) < len(points):
        raise ValueError("density_table must hold each temperature once")
    if not temperatures[0] <= temperature_c <= temperatures[-1]:
        raise ValueError(
            f"{name} must lie within the density table, {temperatures[0]:g} to {temperatures[-1]:g} Cel, "
            f"not {temperature_c:g}"
        )
    return float(np.interp(temperature_c, temperatures, densities))
