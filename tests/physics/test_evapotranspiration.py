"""Reference evapotranspiration against FAO-56, Examples 13, 14, 17-20, and against an independent library on the same weather."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import refet

from forecaster.physics import evapotranspiration as et
from forecaster.physics import humidity, radiation
from forecaster.physics.evapotranspiration import EvaporationDay, EvaporationHour, WeatherDay
from forecaster.physics.radiation import FAO56_LIMITS, MILLIMETRES_PER_MEGAJOULE
from tests.references.fao56 import Example13, Example14, Example17, Example18, Example19, Example20


def test_example_13_soil_heat_flux_of_a_month() -> None:
    """FAO-56 Example 13, eq. 43."""
    flux = et.soil_heat_flux_of_month(Example13.march_c, Example13.may_c)
    assert flux == Example13.soil_heat_flux_mj.approx
    assert MILLIMETRES_PER_MEGAJOULE * flux == Example13.soil_heat_flux_mm.approx


def test_example_14_wind_at_two_metres() -> None:
    """FAO-56 Example 14, eq. 47."""
    assert et.wind_speed_at_2m(1.0, Example14.height_m) == Example14.factor.approx
    assert et.wind_speed_at_2m(Example14.wind_speed_ms, Example14.height_m) == Example14.wind_speed_2m_ms.approx


def test_a_wind_height_within_the_grass_is_refused() -> None:
    """Eq. 47 turns negative or infinite below 0.1 m, and means nothing within the grass of 0.12 m."""
    for height_m in (0.0, 0.08, -2.0, float("nan")):
        with pytest.raises(ValueError, match="wind height"):
            et.wind_speed_at_2m(3.0, height_m)


def test_example_17_monthly_et0_of_bangkok_step_by_step() -> None:
    """FAO-56 Example 17, eq. 6 with everything before it."""
    e = Example17
    warm, cold = e.air_temperature_max_c, e.air_temperature_min_c
    pressure = humidity.atmospheric_pressure(e.elevation_m)
    mean_saturation = humidity.mean_saturation_vapour_pressure(warm, cold)
    assert humidity.slope_of_saturation((warm + cold) / 2) == e.slope_kpa_per_c.approx
    assert pressure == e.pressure_kpa.approx
    assert humidity.psychrometric_constant(pressure) == e.psychrometric_kpa_per_c.approx
    assert humidity.saturation_vapour_pressure(warm) == e.saturation_at_max_kpa.approx
    assert humidity.saturation_vapour_pressure(cold) == e.saturation_at_min_kpa.approx
    assert mean_saturation == e.mean_saturation_kpa.approx
    assert mean_saturation - e.vapour_pressure_kpa == e.deficit_kpa.approx

    ra = radiation.extraterrestrial_radiation(e.latitude_deg, e.day_of_year)
    daylight = radiation.daylight_hours(e.latitude_deg, e.day_of_year)
    rs = radiation.shortwave_from_sunshine(e.sunshine_h, daylight, ra)
    rso = radiation.clear_sky_radiation(ra, e.elevation_m)
    kept = radiation.net_shortwave(rs)
    lost = radiation.net_longwave(warm, cold, e.vapour_pressure_kpa, radiation.cloud_ratio(rs, rso))
    net = radiation.net_radiation(kept, lost)
    flux = et.soil_heat_flux_of_month_so_far(e.march_c, e.april_c)
    assert ra == e.extraterrestrial_mj.approx
    assert daylight == e.daylight_h.approx
    assert rs == e.shortwave_mj.approx
    assert rso == e.clear_sky_mj.approx
    assert kept == e.net_shortwave_mj.approx
    assert lost == e.net_longwave_mj.approx
    assert net == e.net_radiation_mj.approx
    assert flux == e.soil_heat_flux_mj.approx

    day = EvaporationDay(
        air_temperature_max_c=warm,
        air_temperature_min_c=cold,
        vapour_pressure_kpa=e.vapour_pressure_kpa,
        wind_speed_2m_ms=e.wind_speed_2m_ms,
        net_radiation_mj=net,
        elevation_m=e.elevation_m,
        soil_heat_flux_mj=flux,
    )
    assert et.reference_evapotranspiration_from_net_radiation(day) == e.et0_mm.approx


def test_example_18_daily_et0_of_uccle_step_by_step_and_by_the_whole_chain() -> None:
    """FAO-56 Example 18, eq. 6 with everything before it."""
    e = Example18
    warm, cold = e.air_temperature_max_c, e.air_temperature_min_c
    u2 = et.wind_speed_at_2m(e.wind_speed_kmh / 3.6, e.wind_height_m)
    pressure = humidity.atmospheric_pressure(e.elevation_m)
    mean_saturation = humidity.mean_saturation_vapour_pressure(warm, cold)
    vapour = humidity.vapour_pressure_from_humidity_extremes(warm, cold, e.relative_humidity_max_percent, e.relative_humidity_min_percent)
    assert u2 == e.wind_speed_2m_ms.approx
    assert pressure == e.pressure_kpa.approx
    assert humidity.slope_of_saturation((warm + cold) / 2) == e.slope_kpa_per_c.approx
    assert humidity.psychrometric_constant(pressure) == e.psychrometric_kpa_per_c.approx
    assert mean_saturation == e.mean_saturation_kpa.approx
    assert vapour == e.vapour_pressure_kpa.approx
    assert mean_saturation - vapour == e.deficit_kpa.approx

    ra = radiation.extraterrestrial_radiation(e.latitude_deg, e.day_of_year)
    daylight = radiation.daylight_hours(e.latitude_deg, e.day_of_year)
    rs = radiation.shortwave_from_sunshine(e.sunshine_h, daylight, ra)
    rso = radiation.clear_sky_radiation(ra, e.elevation_m)
    lost = radiation.net_longwave(warm, cold, vapour, radiation.cloud_ratio(rs, rso))
    assert ra == e.extraterrestrial_mj.approx
    assert daylight == e.daylight_h.approx
    assert rs == e.shortwave_mj.approx
    assert rso == e.clear_sky_mj.approx
    assert radiation.net_shortwave(rs) == e.net_shortwave_mj.approx
    assert lost == e.net_longwave_mj.approx
    assert radiation.net_radiation(radiation.net_shortwave(rs), lost) == e.net_radiation_mj.approx

    day = WeatherDay(
        air_temperature_max_c=warm,
        air_temperature_min_c=cold,
        vapour_pressure_kpa=vapour,
        wind_speed_2m_ms=u2,
        shortwave_mj=rs,
        day_of_year=e.day_of_year,
        latitude_deg=e.latitude_deg,
        elevation_m=e.elevation_m,
    )
    assert et.reference_evapotranspiration(day) == e.et0_mm.approx


def test_example_19_hourly_et0_by_day_and_by_night() -> None:
    """FAO-56 Example 19, eqs 45, 46 and 53; net radiation from the paper's own rows (tested in test_radiation)."""
    e = Example19
    assert humidity.psychrometric_constant(humidity.atmospheric_pressure(e.elevation_m)) == e.psychrometric_kpa_per_c.approx
    assert humidity.slope_of_saturation(e.day_air_temperature_c) == e.day_slope_kpa_per_c.approx
    assert humidity.saturation_vapour_pressure(e.day_air_temperature_c) == e.day_saturation_kpa.approx
    by_day = humidity.saturation_vapour_pressure(e.day_air_temperature_c) * e.day_relative_humidity_percent / 100
    by_night = humidity.saturation_vapour_pressure(e.night_air_temperature_c) * e.night_relative_humidity_percent / 100
    assert by_day == e.day_vapour_pressure_kpa.approx
    net = np.array([e.night_net_radiation_mj.value, e.day_net_radiation_mj.value])
    flux = et.soil_heat_flux_of_hour(net, daylight=np.array([False, True]))
    assert flux[0] == e.night_soil_heat_flux_mj.approx
    assert flux[1] == e.day_soil_heat_flux_mj.approx
    hours = EvaporationHour(
        air_temperature_c=np.array([e.night_air_temperature_c, e.day_air_temperature_c]),
        vapour_pressure_kpa=np.array([by_night, by_day]),
        wind_speed_2m_ms=np.array([e.night_wind_speed_2m_ms, e.day_wind_speed_2m_ms]),
        net_radiation_mj=net,
        elevation_m=e.elevation_m,
        soil_heat_flux_mj=flux,
    )
    night, day = et.reference_evapotranspiration_hourly(hours)
    assert night == e.night_et0_mm.approx
    assert day == e.day_et0_mm.approx


def test_example_20_et0_of_lyon_from_temperature_alone() -> None:
    """FAO-56 Example 20: dew point from the minimum, radiation from the range (eq. 50), wind 2 m/s; Hargreaves (eq. 52)."""
    e = Example20
    warm, cold = e.air_temperature_max_c, e.air_temperature_min_c
    vapour = humidity.vapour_pressure_from_dew_point(cold)
    ra = radiation.extraterrestrial_radiation(e.latitude_deg, e.day_of_year)
    rs = radiation.shortwave_from_temperature_range(warm, cold, ra)
    rso = radiation.clear_sky_radiation(ra, e.elevation_m)
    lost = radiation.net_longwave(warm, cold, vapour, radiation.cloud_ratio(rs, rso))
    assert humidity.slope_of_saturation((warm + cold) / 2) == e.slope_kpa_per_c.approx
    assert humidity.psychrometric_constant(humidity.atmospheric_pressure(e.elevation_m)) == e.psychrometric_kpa_per_c.approx
    assert vapour == e.vapour_pressure_kpa.approx
    assert humidity.mean_saturation_vapour_pressure(warm, cold) == e.mean_saturation_kpa.approx
    assert ra == e.extraterrestrial_mj.approx
    assert rs == e.shortwave_mj.approx
    assert rso == e.clear_sky_mj.approx
    assert lost == e.net_longwave_mj.approx
    assert radiation.net_radiation(radiation.net_shortwave(rs), lost) == e.net_radiation_mj.approx

    assert e.wind_speed_2m_ms == et.WIND_DEFAULT_MS
    days = WeatherDay(
        air_temperature_max_c=warm,
        air_temperature_min_c=cold,
        vapour_pressure_kpa=vapour,
        wind_speed_2m_ms=np.array([et.WIND_DEFAULT_MS, 1.0, 3.0]),
        shortwave_mj=rs,
        day_of_year=e.day_of_year,
        latitude_deg=e.latitude_deg,
        elevation_m=e.elevation_m,
    )
    usual, calm, windy = et.reference_evapotranspiration(days)
    assert usual == e.et0_mm.approx
    assert calm == e.et0_at_wind_1_mm.approx
    assert windy == e.et0_at_wind_3_mm.approx
    assert et.hargreaves_evapotranspiration(warm, cold, ra) == e.et0_hargreaves_mm.approx


# ------------------------------------------------------------------------------------------------ against refet 0.5.0

# Its Stefan-Boltzmann constant 4.901e-9 (ours 4.903e-9) and slope constant 2503 account for up to 0.0018 mm/d over seven stations.
REFET_TOLERANCE_MM = 0.002


def random_days(count: int) -> pd.DataFrame:
    """Valid days: temperatures, humidity below saturation, radiation from dark to clear; frozen seed."""
    rng = np.random.default_rng(20150701)
    latitude, elevation, day = rng.uniform(-60, 60, count), rng.uniform(-50, 2500, count), rng.integers(1, 366, count)
    cold = rng.uniform(-15, 25, count)
    warm = cold + rng.uniform(1, 20, count)
    rso = radiation.clear_sky_radiation(radiation.extraterrestrial_radiation(latitude, day), elevation)
    return pd.DataFrame(
        {
            "latitude": latitude,
            "elevation": elevation,
            "day": day,
            "cold": cold,
            "warm": warm,
            "vapour": humidity.saturation_vapour_pressure(cold) * rng.uniform(0.3, 1.0, count),
            "wind": rng.uniform(0.5, 8.0, count),
            "rs": rso * rng.uniform(0.05, 1.0, count),
        }
    )


def asce_by_refet(d: pd.DataFrame, *, wind_height_m: float) -> np.ndarray:
    return np.concatenate(
        [
            refet.Daily(
                tmin=row.cold,
                tmax=row.warm,
                ea=row.vapour,
                rs=row.rs,
                uz=row.wind,
                zw=wind_height_m,
                elev=row.elevation,
                lat=row.latitude,
                doy=row.day,
                method="asce",
            ).eto()
            for row in d.itertuples()
        ]
    )


def ours(d: pd.DataFrame, *, wind_height_m: float, **options: object) -> np.ndarray:
    day = WeatherDay(
        air_temperature_max_c=d["warm"].to_numpy(),
        air_temperature_min_c=d["cold"].to_numpy(),
        vapour_pressure_kpa=d["vapour"].to_numpy(),
        wind_speed_2m_ms=et.wind_speed_at_2m(d["wind"].to_numpy(), wind_height_m),
        shortwave_mj=d["rs"].to_numpy(),
        day_of_year=d["day"].to_numpy(),
        latitude_deg=d["latitude"].to_numpy(),
        elevation_m=d["elevation"].to_numpy(),
    )
    return et.reference_evapotranspiration(day, **options)  # type: ignore[arg-type]


def test_random_days_agree_with_refet() -> None:
    """Library refet 0.5, method 'asce': the same number on 300 random days of all latitudes up to 60°, 2 and 10 m wind."""
    days = random_days(300)
    for height_m in (2.0, 10.0):
        difference = ours(days, wind_height_m=height_m, wind_floor_ms=0.0) - asce_by_refet(days, wind_height_m=height_m)
        assert np.abs(difference).max() < REFET_TOLERANCE_MM


def test_the_published_limits_alone_differ_from_refet_on_dark_days_only() -> None:
    """Why the choice is named: with FAO-56's cap at 1 alone, days with Rs/Rso below 0.3 differ by tenths of a millimetre, others do not."""
    days = random_days(300)
    rso = radiation.clear_sky_radiation(
        radiation.extraterrestrial_radiation(days["latitude"].to_numpy(), days["day"].to_numpy()), days["elevation"].to_numpy()
    )
    dark = days["rs"].to_numpy() / rso < 0.3
    theirs = asce_by_refet(days, wind_height_m=2.0)
    difference = np.abs(ours(days, wind_height_m=2.0, limits=FAO56_LIMITS, wind_floor_ms=0.0) - theirs)
    assert difference[~dark].max() < REFET_TOLERANCE_MM
    assert difference[dark].max() > 0.1


def test_fallon_1_july_2015_agrees_with_refet() -> None:
    """refet 0.5.0, method 'asce', AgriMet station Fallon, Nevada: ETo 7.997969, Ra 41.648246, Rn 15.368235."""
    day = WeatherDay(
        air_temperature_max_c=39.3333,
        air_temperature_min_c=19.25,
        vapour_pressure_kpa=1.2206674,
        wind_speed_2m_ms=et.wind_speed_at_2m(2.145792, 3.0),
        shortwave_mj=28.22196,
        day_of_year=182,
        latitude_deg=39.4575,
        elevation_m=1208.5,
    )
    assert et.reference_evapotranspiration(day) == pytest.approx(7.997969, abs=REFET_TOLERANCE_MM)
    assert radiation.extraterrestrial_radiation(39.4575, 182) == pytest.approx(41.648246, abs=1e-4)


def fallon(shared: Path) -> pd.DataFrame:
    d = pd.read_csv(shared / "observations" / "fallon_agrimet_daily_2015_refet.csv", parse_dates=["date"])
    d = d.rename(columns={"tmin": "cold", "tmax": "warm", "u": "wind"})
    return d.assign(
        latitude=39.4575, elevation=1208.5, day=d["date"].dt.day_of_year, vapour=humidity.vapour_pressure_from_dew_point(d["tdew"])
    )


def test_a_year_at_fallon_agrees_with_refet(shared: Path) -> None:
    """AgriMet Fallon 2015 (US Bureau of Reclamation, public domain), wind at 3 m, against the library refet on the same weather."""
    d = fallon(shared)
    known = d.dropna(subset=["cold", "warm", "vapour", "wind", "rs"])
    assert len(known) > 350
    difference = ours(known, wind_height_m=3.0, wind_floor_ms=0.0) - asce_by_refet(known, wind_height_m=3.0)
    assert np.abs(difference).max() < REFET_TOLERANCE_MM


def test_a_year_at_fallon_is_close_to_the_network_s_own_program(shared: Path) -> None:
    """The file's ETo is by another program that models clear sky fully: 0.141 at most and 0.039 mm/d in the mean were seen; 0.16, 0.045."""
    d = fallon(shared)
    difference = np.abs(ours(d, wind_height_m=3.0, wind_floor_ms=0.0) - d["ETo"].to_numpy())
    assert np.nanmax(difference) < 0.16
    assert np.nanmean(difference) < 0.045


def test_six_years_at_maricopa_agree_with_the_network_s_own_et0(shared: Path) -> None:
    """AZMET Maricopa, Arizona, 2015-2020 (CC0), 33.069°N 361 m, wind at 3 m: the network's ETo, two decimals; 0.0061 at most was seen."""
    d = pd.read_csv(shared / "observations" / "azmet_maricopa_2015_2020_refet.csv", parse_dates=["date"])
    d = d.rename(columns={"tmin": "cold", "tmax": "warm", "u": "wind"})
    vapour = humidity.vapour_pressure_from_dew_point(d["tdew"])
    d = d.assign(latitude=33.069, elevation=361.0, day=d["date"].dt.day_of_year, vapour=vapour)
    difference = np.abs(ours(d, wind_height_m=3.0, wind_floor_ms=0.0) - d["AZMET_ETo"].to_numpy())
    assert np.isfinite(difference).sum() > 2000
    assert np.nanmax(difference) < 0.005 + REFET_TOLERANCE_MM


def test_still_air_is_taken_as_half_a_metre_per_second() -> None:
    """FAO-56 chapter 4: u2 is not taken below 0.5 m/s; a named option takes the floor away."""
    days = random_days(20).assign(wind=0.1)
    floored = ours(days.assign(wind=0.5 * np.log(67.8 * 2 - 5.42) / 4.87), wind_height_m=2.0)
    assert ours(days, wind_height_m=2.0) == pytest.approx(floored)
    assert np.abs(ours(days, wind_height_m=2.0, wind_floor_ms=0.0) - floored).max() > 0.05


def test_a_missing_input_makes_a_missing_day_and_no_other() -> None:
    """NaN in, NaN out, for every input of the chain."""
    for name in ("warm", "cold", "vapour", "wind", "rs", "latitude", "elevation"):
        days = random_days(3).astype({"day": float})
        days.loc[1, name] = np.nan
        assert np.isnan(ours(days, wind_height_m=2.0)).tolist() == [False, True, False], name
