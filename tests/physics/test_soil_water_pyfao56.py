"""The water balance against pyfao56, an independent implementation of FAO-56's dual coefficient method, on the same forcing.

pyfao56 drains after evapotranspiration (eq. 88) and computes the covered fraction by eq. 76, which is wrong for turf that is never bare:
0.95 is forced by its updates. It does not limit evaporation to what the exposed layer still holds but clips the layer afterwards; ours
limits first, so single days may differ by a few tenths of a millimetre in E.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pyfao56
import pytest

from forecaster.physics import soil_water as sw

KCB, COVER, P_TABLE = 0.90, 0.95, 0.40


def column(value: float) -> np.ndarray:
    return np.array([float(value)])


def soil(total_available_mm: float) -> sw.RootZoneColumns:
    return sw.root_zone_columns(
        field_capacity_m3m3=column(0.25),
        wilting_point_m3m3=column(0.10),
        saturation_m3m3=column(0.45),
        root_depth_m=column(total_available_mm / 150.0),
        surface_depth_m=column(0.10),
        readily_evaporable_mm=column(8.0),
        drains_per_day=column(1.0),
        held_back_mm=column(0.0),
        percolation_limit_mm=column(1000.0),
        exchange_per_day=column(0.0),
    )


def run(days: pd.DataFrame, *, exposed_before_mm: float) -> pd.DataFrame:
    """Our balance with the library's ET0, Kc,max and TAW of each day."""
    state = sw.Stores(column(exposed_before_mm), column(0.0), column(0.0))
    rows = []
    for day in days.itertuples():
        state, flux = sw.water_day(
            state,
            soil(day.TAW),
            sw.Demand(column(day.ETref), column(KCB), column(day.Kcmax), column(1.0 - COVER), column(P_TABLE)),
            into_surface_mm=column(day.Rain + day.Irrig),
            into_lower_mm=column(0.0),
            order=sw.DayOrder.DRAIN_LAST,
        )
        rows.append(
            {
                "De": state.exposed_mm[0],
                "Dr": state.root_zone_mm[0],
                "E": flux.evaporation_mm[0],
                "T": flux.transpiration_mm[0],
                "DP": flux.drainage_mm[0],
                "Ks": flux.stress_coefficient[0],
                "Kr": flux.evaporation_reduction[0],
            }
        )
    return pd.DataFrame(rows, index=days.index)


def assert_agree(ours: pd.DataFrame, theirs: pd.DataFrame) -> None:
    """Depletion within 0.3 mm on every day, totals within 0.5 mm or half a per cent; evaporation, limited first by ours, within 1 mm."""
    assert (ours.Dr - theirs.Dr).abs().max() < 0.3
    assert (ours.Ks - theirs.Ks).abs().max() < 0.01
    for flow in ("T", "DP"):
        assert ours[flow].sum() == pytest.approx(theirs[flow].sum(), abs=0.5, rel=0.005)
    assert (ours.E - theirs.E).abs().max() < 0.25
    assert ours.E.sum() == pytest.approx(theirs.E.sum(), abs=1.0)
    assert ours.E.sum() <= theirs.E.sum()
    # The first day has the same state before it: agreement to the library's own printing.
    assert ours.Dr.iloc[0] == pytest.approx(theirs.Dr.iloc[0], abs=1e-5)


def test_on_a_year_of_de_bilt_as_turf(shared: Path) -> None:
    theirs = pd.read_csv(shared / "observations" / "pyfao56_turf_golden_debilt2018.csv")
    assert_agree(run(theirs, exposed_before_mm=20.0), theirs)


def invented_run(count: int) -> pyfao56.Model:
    """The library set up for ``count`` days of an invented summer on turf, not run yet."""
    start = pd.Timestamp("2021-05-01")
    rng = np.random.default_rng(56)
    index = [(start + pd.Timedelta(days=d)).strftime("%Y-%j") for d in range(count)]
    weather = pyfao56.Weather()
    weather.rfcrp, weather.wndht, weather.z, weather.lat = "S", 2.0, 50.0, 52.0
    frame = pd.DataFrame(np.nan, index=index, columns=weather.cnames)
    frame["Rain"] = np.where(rng.random(count) < 0.2, rng.gamma(2.0, 4.0, count), 0.0).round(2)
    frame["RHmin"] = rng.uniform(30.0, 75.0, count).round(1)
    frame["RHmax"] = 95.0
    frame["Tmax"], frame["Tmin"] = 22.0, 10.0
    frame["Srad"] = 20.0
    frame["Wndsp"] = rng.uniform(1.0, 5.0, count).round(2)
    frame["ETref"] = rng.uniform(2.0, 6.0, count).round(3)
    weather.wdata = frame
    updates = pyfao56.Update()
    updates.udata = pd.DataFrame({"Kcb": KCB, "h": 0.03, "fc": COVER}, index=index)
    crop = pyfao56.Parameters(
        Kcbini=0.85, Kcbmid=KCB, Kcbend=KCB, Lini=1, Ldev=1, Lmid=count, Lend=1, hini=0.03, hmax=0.031,
        thetaFC=0.25, thetaWP=0.10, theta0=0.25, Zrini=0.30, Zrmax=0.301, pbase=P_TABLE, Ze=0.10, REW=8.0,
    )  # fmt: skip
    return pyfao56.Model(index[0], index[-1], crop, weather, upd=updates)


def test_on_an_invented_dry_spell_with_the_library_run_here() -> None:
    library = invented_run(90)
    library.run()
    numbers = ("De", "Dr", "E", "T", "DP", "Ks", "ETref", "Kcmax", "TAW", "Rain", "Irrig", "fc")
    theirs = library.odata.astype(dict.fromkeys(numbers, float))
    assert (theirs.fc == COVER).all(), "the covered fraction must be forced, else this compares bare soil"
    assert theirs.Ks.min() < 0.5, "the spell must be dry enough to test stress"
    assert_agree(run(theirs, exposed_before_mm=20.0), theirs)
