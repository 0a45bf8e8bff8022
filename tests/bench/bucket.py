"""The bare one-bucket balance of FAO-56 (dual coefficient, eqs 71-88) compiled by numba: a yardstick for speed, not part of the program."""

from __future__ import annotations

import numba
import numpy as np


@numba.njit(cache=False)
def bare_bucket(rain_mm: np.ndarray, et0_mm: np.ndarray, depletion_mm: np.ndarray) -> None:
    """Depletion of every column at the end of every day [mm], written into the third array; all of shape (day, column)."""
    days, columns = rain_mm.shape
    taw, tew, rew, few, kcb, kc_max, p_table = 26.0, 9.0, 4.0, 0.05, 0.9, 1.2, 0.4
    exposed = np.zeros(columns)
    bucket = np.zeros(columns)
    for day in range(days):
        for column in range(columns):
            rain, et0 = rain_mm[day, column], et0_mm[day, column]
            de = max(exposed[column] - rain, 0.0)
            dr = max(bucket[column] - rain, 0.0)
            kr = min(max((tew - de) / (tew - rew), 0.0), 1.0)
            ke = min(kr * (kc_max - kcb), few * kc_max)
            p = min(max(p_table + 0.04 * (5.0 - (kcb + ke) * et0), 0.1), 0.8)
            ks = min(max((taw - dr) / ((1.0 - p) * taw), 0.0), 1.0)
            evaporation = ke * et0
            exposed[column] = min(de + evaporation / few, tew)
            bucket[column] = min(dr + evaporation + ks * kcb * et0, taw)
            depletion_mm[day, column] = bucket[column]
