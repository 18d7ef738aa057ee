"""
Root zone: one lane's day in the bucket of FAO-56 (1998) chapter 8.

Plain scalars: mm, mm/day, shares. TAW, p of the table and the rain that does not run off are computed beforehand.
Bounds are `if`s here, not `min` and `max`: twice as quick where the text is interpreted.
"""

# FAO-56 (1998) Table 22, footnote 2: p = p_table + 0.04 (5 − ETc), within 0.1…0.8
_P_PER_MM = 0.04  # per mm/day
_P_ETC = 5.0  # mm/day
_P_LEAST, _P_MOST = 0.1, 0.8


def depletion_fraction(table_value: float, etc: float) -> float:
    """
    Return p, the share of TAW that goes before stress, for the day's demand.

    Parameters
    ----------
    table_value : float
        p at ETc 5 mm a day. [-]
    etc : float
        Crop evapotranspiration. [mm/day]

    Returns
    -------
    float
        Bounded to 0.1…0.8. [-]

    Notes
    -----
    FAO-56 (1998) Table 22, footnote 2: p = p_table + 0.04 (5 − ETc).
    """
    p = table_value + _P_PER_MM * (_P_ETC - etc)
    if p < _P_LEAST:
        return _P_LEAST
    return _P_MOST if p > _P_MOST else p


def stress_coefficient(depletion: float, taw: float, raw: float) -> float:
    """
    Return Ks: 1 while the root zone holds enough, falling to 0 when TAW is gone.

    Parameters
    ----------
    depletion : float
        Dr. [mm]
    taw, raw : float
        RAW below TAW. [mm]

    Returns
    -------
    float
        0…1. [-]

    Notes
    -----
    FAO-56 (1998) eq. 84: Ks = (TAW − Dr) / (TAW − RAW), where Dr > RAW; Example 37.
    """
    if depletion <= raw:
        return 1.0
    return (taw - depletion) / (taw - raw) if depletion < taw else 0.0


def root_zone_day(
    before: float,
    rain_in: float,
    irrigation: float,
    eto: float,
    kcb: float,
    ke: float,
    taw: float,
    p_table: float,
    is_refilled: bool,
) -> tuple[float, ...]:
    """
    Step the root zone through a day.

    Parameters
    ----------
    before : float
        Dr at the end of yesterday, TAW at most. [mm]
    rain_in, irrigation, eto : float
        Rain less runoff; over the bed; reference. [mm/day]
    kcb, ke : float
        Kcb (or Kc) and Ke. [-]
    taw : float
        [mm]
    p_table : float
        p at ETc 5 mm a day. [-]
    is_refilled : bool
        Exact refill: watered back to field capacity at the end of the day that reaches RAW, so never short.

    Returns
    -------
    irrigation, etc, eta : float
        With what exact refill gave; ETc and ETc adj. [mm/day]
    ks : float
        [-]
    after, deep_percolation : float
        Dr at the end of the day, what drained. [mm]

    Notes
    -----
    FAO-56 (1998) eq. 58 and 69 (ETc), 80 and 81 (ETc adj), 83 to 85, 88. Rain and irrigation count from the start of
    the day, as in Examples 35 and 38; drainage is taken at its end.
    """
    etc = (kcb + ke) * eto
    raw = depletion_fraction(p_table, etc) * taw
    at_start = before - rain_in - irrigation
    if at_start < 0.0:
        at_start = 0.0
    ks = 1.0
    eta = etc
    if not is_refilled:
        ks = stress_coefficient(at_start, taw, raw)
        eta = (ks * kcb + ke) * eto
        remains = max(taw - at_start, 0.0)
        if eta > remains:  # plants can't take more than there is
            eta = remains
    after = before - rain_in - irrigation + eta
    deep_percolation = 0.0
    if after < 0.0:
        deep_percolation = -after
        after = 0.0
    if is_refilled and after >= raw:
        irrigation = after
        after = 0.0
    return irrigation, etc, eta, ks, after, deep_percolation
