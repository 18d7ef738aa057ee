"""
Surface: how fast the soil between the plants dries, FAO-56 (1998) chapter 7, one lane's day.

Plain scalars: mm, mm/day, shares. Kcb, Kc max and the ground that leaves cover are computed beforehand (`physics`).
"""

# rain of less than this share of ETo is gone before the layer has it: FAO-56 (1998) chapter 7, text at eq. 77
_SPRINKLE = 0.2
# rain above this wets all of the surface: FAO-56 (1998) chapter 7, text at eq. 75 (3 to 4 mm)
_SIGNIFICANT = 3.0  # mm/day
# what drippers wet under full cover is shaded by so much: FAO-56 (1998) Example 34, fw (1 − 2/3 fc)
_SHADED = 2.0 / 3.0


def evaporation_reduction(depletion: float, tew: float, rew: float) -> float:
    """
    Return Kr: 1 while the surface is wet, falling to 0 when TEW is gone.

    Parameters
    ----------
    depletion, tew, rew : float
        De; TEW above REW. [mm]

    Returns
    -------
    float
        0…1. [-]

    Notes
    -----
    FAO-56 (1998) eq. 74; Example 31.
    """
    return 1.0 if depletion <= rew else (tew - depletion) / (tew - rew)


def exposed_wetted_fraction(exposed: float, wetted: float) -> float:
    """
    Return few, the share of the ground that is both wet and in the sun.

    Parameters
    ----------
    exposed : float
        1 − fc. [-]
    wetted : float
        fw of the last wetting. [-]

    Returns
    -------
    float
        [-]

    Notes
    -----
    FAO-56 (1998) eq. 75; Examples 32 and 33.
    """
    return wetted if wetted < exposed else exposed


def wetted_in_the_sun(exposed: float, wetted: float) -> float:
    """
    Return the share that drippers under the leaves wet, as far as the sun reaches it.

    Parameters
    ----------
    exposed, wetted : float
        1 − fc; fw. [-]

    Returns
    -------
    float
        [-]

    Notes
    -----
    FAO-56 (1998) chapter 7, Example 34: fw (1 − 2/3 fc).
    """
    return wetted * (1.0 - _SHADED * (1.0 - exposed))


def evaporation_coefficient(kr: float, kcb: float, kc_max: float, few: float) -> float:
    """
    Return Ke, evaporation of the soil over ETo.

    Parameters
    ----------
    kr, kcb, kc_max, few : float
        [-]

    Returns
    -------
    float
        Below 0 where Kcb is above Kc max, which `surface_day` bounds. [-]

    Notes
    -----
    FAO-56 (1998) eq. 71; Examples 32 to 34.
    """
    ke = kr * (kc_max - kcb)
    most = few * kc_max
    return most if most < ke else ke


def wetted_share(wetted: float, rain_in: float, irrigation: float, fw: float) -> float:
    """
    Return fw, the share of the surface that the last wetting reached.

    Parameters
    ----------
    wetted : float
        Of the wettings before. [-]
    rain_in, irrigation : float
        [mm/day]
    fw : float
        Share that the emitters wet. [-]

    Returns
    -------
    float
        [-]

    Notes
    -----
    FAO-56 (1998) chapter 7, text at eq. 75 and below Table 20: significant rain wets all, with or without irrigation.
    """
    if rain_in > _SIGNIFICANT:
        return 1.0
    return fw if irrigation > 0.0 else wetted


def watered_surface(depletion: float, rain_in: float, irrigation: float, fw: float) -> float:
    """
    Return De after rain, which falls on all of the surface, and irrigation, which falls on its share.

    Parameters
    ----------
    depletion : float
        De before. [mm]
    rain_in, irrigation : float
        [mm/day]
    fw : float
        Share that the emitters wet. [-]

    Returns
    -------
    float
        Not below 0; the rest goes down to the roots. [mm]

    Notes
    -----
    FAO-56 (1998) eq. 77.
    """
    after = depletion - rain_in - irrigation / fw
    return after if after > 0.0 else 0.0


def surface_day(
    before: float,
    wetted: float,
    rain_in: float,
    irrigation: float,
    eto: float,
    kcb: float,
    kc_max: float,
    exposed: float,
    fw: float,
    tew: float,
    rew: float,
    ke_factor: float,
) -> tuple[float, ...]:
    """
    Step the surface layer through a day.

    Parameters
    ----------
    before : float
        De at the end of yesterday. [mm]
    wetted : float
        Share of the surface that the last wetting reached. [-]
    rain_in, irrigation, eto : float
        [mm/day]
    kcb, kc_max, exposed : float
        Kcb, Kc max, 1 − fc. [-]
    fw : float
        Share that the emitters wet. [-]
    tew, rew : float
        [mm]
    ke_factor : float
        What a mulch leaves of the evaporation. [-]

    Returns
    -------
    ke, kr, few : float
        [-]
    after : float
        De at the end of the day. [mm]
    wetted : float
        [-]

    Notes
    -----
    FAO-56 (1998) eq. 71, 74, 75, 77; rain and irrigation at the start of the day (Example 35). A sprinkle is gone before
    the layer has it. The layer gives no more than it holds.
    """
    wetted = wetted_share(wetted, rain_in, irrigation, fw)
    in_the_sun = wetted_in_the_sun(exposed, wetted) if wetted < 1.0 else wetted
    few = exposed_wetted_fraction(exposed, in_the_sun)
    de = watered_surface(before, rain_in if rain_in >= _SPRINKLE * eto else 0.0, irrigation, fw)
    kr = evaporation_reduction(de, tew, rew)
    ke = evaporation_coefficient(kr, kcb, kc_max, few)
    ke = ke * ke_factor if ke >= 0.0 else 0.0
    if ke * eto > few * (tew - de):
        ke = few * (tew - de) / eto
    after = de + ke * eto / few  # eq. 77
    if after < 0.0:
        after = 0.0
    return ke, kr, few, after if after < tew else tew, wetted
