"""What a length of old core should weigh, from the bore it fills and what the plant was made for."""

import math

# Speed of light times the magnetic constant over 2 pi: 60 ohm, near enough to three digits.
OHM_PER_NEPER = 59.96


def core_mass_g_per_m(
    *,
    bore_mm: float,
    velocity: float = 0.87,
    impedance_ohm: float = 75.0,
    solid_permittivity: float = 2.28,
    solid_kg_per_m3: float = 920.0,
    conductor_kg_per_m3: float = 3320.0,
) -> float:
    """Mass per length of foam dielectric and centre conductor, from the sheath's bore.

    The conductor: d = D exp(-Z sqrt(e) / 59.96), with e = 1 / velocity^2. The share of solid plastic in the
    foam by Looyenga's rule: s = (e^(1/3) - 1) / (e_solid^(1/3) - 1).
    m = pi/4 ((D^2 - d^2) s rho_solid + d^2 rho_conductor).

    Parameters
    ----------
    bore_mm : float
        Inside diameter of the sheath D, > 0 [mm]
    velocity : float
        Velocity of the wave over that of light, above that in the solid plastic and below 1 [-]
    impedance_ohm : float
        Characteristic impedance Z, > 0 [ohm]
    solid_permittivity : float
        Relative permittivity of the plastic without foam, > 1 [-]
    solid_kg_per_m3 : float
        Density of the plastic without foam, > 0 [kg/m^3]
    conductor_kg_per_m3 : float
        Mean density of the conductor; copper-clad aluminium, a tenth copper by volume, by default [kg/m^3]

    Returns
    -------
    float
        Mass per length [g/m]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Impedance of a coaxial line: Pozar, "Microwave Engineering", 4th ed., section 2.2 (from memory).
    .. [2] Looyenga, H., "Dielectric constants of heterogeneous mixtures", Physica 31 (1965) 401-406.
    .. [3] ASTM B566, copper-clad aluminium wire, class 10A: 3.32 g/cm^3 (from memory).
    """
    for name, value in (
        ("bore_mm", bore_mm),
        ("impedance_ohm", impedance_ohm),
        ("solid_kg_per_m3", solid_kg_per_m3),
        ("conductor_kg_per_m3", conductor_kg_per_m3),
    ):
        if not 0 < value < math.inf:
            raise ValueError(f"{name} must be above 0, not {value:g}")
    if not 1 < solid_permittivity < math.inf:
        raise ValueError(f"solid_permittivity must be above 1, not {solid_permittivity:g}")
    if not solid_permittivity**-0.5 < velocity < 1:
        least = solid_permittivity**-0.5
        raise ValueError(f"velocity must be between {least:.3g} and 1, not {velocity:g}")
    permittivity = velocity**-2
    conductor_mm = conductor_diameter_mm(bore_mm=bore_mm, velocity=velocity, impedance_ohm=impedance_ohm)
    solid_share = (math.cbrt(permittivity) - 1) / (math.cbrt(solid_permittivity) - 1)
    foam_mm2 = math.pi / 4 * (bore_mm**2 - conductor_mm**2)
    conductor_mm2 = math.pi / 4 * conductor_mm**2
    # A square millimetre over a metre is a millionth of a cubic metre, so kg/m^3 give milligrams.
    return (foam_mm2 * solid_share * solid_kg_per_m3 + conductor_mm2 * conductor_kg_per_m3) / 1000


def conductor_diameter_mm(*, bore_mm: float, velocity: float, impedance_ohm: float) -> float:
    """Centre conductor of a coaxial line of an impedance, d = D exp(-Z / (59.96 velocity)).

    Parameters
    ----------
    bore_mm : float
        Inside diameter of the sheath D, > 0 [mm]
    velocity : float
        Velocity of the wave over that of light, above 0 and at most 1 [-]
    impedance_ohm : float
        Characteristic impedance Z, > 0 [ohm]

    Returns
    -------
    float
        Diameter [mm]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Impedance of a coaxial line: Pozar, "Microwave Engineering", 4th ed., section 2.2 (from memory).
    """
    if not 0 < bore_mm < math.inf or not 0 < impedance_ohm < math.inf:
        raise ValueError("bore_mm and impedance_ohm must be above 0")
    if not 0 < velocity <= 1:
        raise ValueError(f"velocity must be above 0 and at most 1, not {velocity:g}")
    return bore_mm * math.exp(-impedance_ohm / (OHM_PER_NEPER * velocity))


def expected_core_mass_g(*, grams_per_m: float, length_um: int) -> int:
    """Mass of a length of core, to the gram, half to even: m = (g/m) L.

    Parameters
    ----------
    grams_per_m : float
        Mass per length, > 0 [g/m]
    length_um : int
        Length, > 0 [um]

    Returns
    -------
    int
        Mass, at least 1 [g]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Definition of mass per length.
    """
    if not 0 < grams_per_m < math.inf:
        raise ValueError(f"grams_per_m must be above 0, not {grams_per_m:g}")
    if length_um <= 0:
        raise ValueError(f"length_um must be above 0, not {length_um}")
    return max(round(grams_per_m * length_um / 1_000_000), 1)
