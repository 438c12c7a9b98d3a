"""What a sheath holds and what stays on its wall."""

import math


def bore_volume_m3(*, bore_mm: float, length_m: float) -> float:
    """Volume of the empty sheath, V = pi/4 d^2 L.

    Parameters
    ----------
    bore_mm : float
        Inside diameter of the sheath, > 0 [mm]
    length_m : float
        Length of the span, >= 0 [m]

    Returns
    -------
    float
        Volume [m^3]

    Raises
    ------
    ValueError
        If a parameter is out of range or not finite.

    References
    ----------
    .. [1] Geometry of a circular cylinder.
    """
    if not (math.isfinite(bore_mm) and bore_mm > 0):
        raise ValueError(f"bore_mm must be above 0, not {bore_mm:g}")
    if not (math.isfinite(length_m) and length_m >= 0):
        raise ValueError(f"length_m must be at least 0, not {length_m:g}")
    return math.pi / 4 * (bore_mm / 1000) ** 2 * length_m


def film_fraction(*, bore_mm: float, film_thickness_mm: float) -> float:
    """Share of the bore that a film on its wall takes, 1 - (1 - 2 delta/d)^2.

    Written as x (2 - x) with x = 2 delta/d, which keeps all digits for a thin film.

    Parameters
    ----------
    bore_mm : float
        Inside diameter d of the sheath, > 0 [mm]
    film_thickness_mm : float
        Thickness delta of the film, 0 to half the bore [mm]

    Returns
    -------
    float
        Share of the bore volume left in the sheath, 0 to 1 [-]

    Raises
    ------
    ValueError
        If a parameter is out of range or not finite.

    References
    ----------
    .. [1] Aussillous, P. and Quere, D., "Quick deposition of a fluid on the wall of a tube", Physics of
       Fluids 12, 2367 (2000): the liquid left is m = 1 - (1 - h/R)^2 with h the thickness and R the radius.
    """
    if not (math.isfinite(bore_mm) and bore_mm > 0):
        raise ValueError(f"bore_mm must be above 0, not {bore_mm:g}")
    if not 0 <= film_thickness_mm <= bore_mm / 2:
        raise ValueError(f"film_thickness_mm must be 0 to half the bore, not {film_thickness_mm:g}")
    taken = 2 * film_thickness_mm / bore_mm
    return taken * (2 - taken)
