"""Soil temperature at 5 cm: the properties of the simulation, and its skill against measurements."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecaster.physics import evapotranspiration as et
from forecaster.physics import humidity
from forecaster.physics.soil_heat import (
    HeatWeather,
    SoilHeat,
    heat_weather,
    simulated_soil_temperature,
    start_of_soil_heat,
    surface_warming,
)


def constant_weather(days: int, *, air_c: float, **other: float) -> HeatWeather:
    """The same moderate weather every day, or with some of it changed."""
    usual = {"net_radiation_mj": 10.0, "vapour_pressure_deficit_kpa": 0.6, "wind_speed_2m_ms": 2.0, "water_mm": 5.0, "et0_mm": 3.0}
    numbers = {name: np.full(days, value) for name, value in (usual | other).items()}
    return HeatWeather(air_temperature_mean_c=np.full(days, air_c), **numbers, pressure_kpa=101.3)


@pytest.mark.parametrize(
    ("air_c", "radiation_mj", "deficit_kpa", "wind_ms"), [(20.0, 13.0, 0.8, 2.0), (8.0, 4.0, 0.2, 4.0), (30.0, 16.0, 2.5, 1.0)]
)
def test_the_surface_gives_off_what_it_takes_in_and_evaporates_the_reference(
    air_c: float, radiation_mj: float, deficit_kpa: float, wind_ms: float
) -> None:
    """Energy balance Rn = H + λE with the resistances of FAO-56 eqs 4-5; λE must be ET0 of eq. 6, whose rounded constants differ by 3 %."""
    weather = constant_weather(
        1, air_c=air_c, net_radiation_mj=radiation_mj, vapour_pressure_deficit_kpa=deficit_kpa, wind_speed_2m_ms=wind_ms
    )
    warming = surface_warming(weather, np.ones(1))[0]
    resistance = 208.0 / wind_ms
    heat_capacity = 1.013e-3 * 101.3 / (1.01 * (air_c + 273.0) * 0.287)
    sensible = 86400.0 * heat_capacity * warming / resistance
    gamma = 0.000665 * 101.3
    slope = float(humidity.slope_of_saturation(air_c))
    latent = 86400.0 * heat_capacity * (deficit_kpa + slope * warming) / (gamma * (resistance + 70.0))
    # rs/ra is 70/208 = 0.337 u2, which eq. 6 rounds to 0.34.
    assert sensible + latent == pytest.approx(radiation_mj, rel=0.01)
    day = et.EvaporationDay(air_c, air_c, float(humidity.saturation_vapour_pressure(air_c)) - deficit_kpa, wind_ms, radiation_mj, 0.0)
    assert 0.408 * latent == pytest.approx(float(et.reference_evapotranspiration_from_net_radiation(day)), rel=0.03)


def test_dry_turf_is_warmer_and_moist_air_cools_less() -> None:
    """Physics: without water the sun's heat goes into the air and the soil."""
    weather = constant_weather(4, air_c=22.0)
    warming = surface_warming(weather, np.array([1.0, 0.5, 0.2, 0.0]))
    assert np.all(np.diff(warming) > 0.5)
    moist = surface_warming(constant_weather(1, air_c=22.0, vapour_pressure_deficit_kpa=0.1), np.ones(1))
    assert moist[0] > warming[0] + 1.0


def test_a_dry_spell_warms_the_soil_in_the_same_sun() -> None:
    """The state's own water runs out."""
    wet, _ = simulated_soil_temperature(constant_weather(80, air_c=22.0, et0_mm=5.0))
    dry, end = simulated_soil_temperature(constant_weather(80, air_c=22.0, water_mm=0.0, et0_mm=5.0))
    assert dry[5] == pytest.approx(wet[5])
    assert dry[-1] > wet[-1] + 2.0
    assert 0.0 <= end.available_water_mm < 10.0


def test_snow_keeps_the_cold_out() -> None:
    """The same frost with and without a pack on the ground."""
    frost = constant_weather(20, air_c=-12.0, net_radiation_mj=0.0, vapour_pressure_deficit_kpa=0.0, water_mm=0.0, et0_mm=0.0)

    def from_snow(snow_mm: float) -> float:
        state = SoilHeat(np.array(3.0), np.array(8.0), np.array(100.0), np.array(snow_mm))
        return float(simulated_soil_temperature(frost, state=state)[0][-1])

    assert from_snow(40.0) > from_snow(0.0) + 0.5


def test_splitting_a_run_changes_nothing_and_no_column_knows_another() -> None:
    """Resumable from the four stored numbers, bit for bit."""
    rng = np.random.default_rng(7)

    shape = (90, 3)
    weather = HeatWeather(
        rng.uniform(-8, 28, shape),
        rng.uniform(-2, 17, shape),
        rng.uniform(0, 2.5, shape),
        rng.uniform(0, 8, shape),
        rng.choice([0.0, 0.0, 12.0], shape),
        rng.uniform(0, 6, shape),
        99.0,
    )
    whole, end = simulated_soil_temperature(weather)
    first, state = simulated_soil_temperature(weather.on(slice(0, 41)))
    second, resumed = simulated_soil_temperature(weather.on(slice(41, 90)), state=state)
    assert np.array_equal(np.concatenate([first, second]), whole)
    assert np.array_equal(resumed.deep_c, end.deep_c)
    only = HeatWeather(*(getattr(weather, name)[:, 1] for name in list(HeatWeather.__dataclass_fields__)[:-1]), 99.0)
    assert simulated_soil_temperature(only)[0] == pytest.approx(whole[:, 1], abs=1e-9)


def test_unknown_days_wait_and_measured_days_stand_in_the_balance_as_well() -> None:
    """A gap is NaN and freezes both temperatures; a measurement is the result and the start of the next day."""
    air = np.array([10.0, np.nan, 10.0, 10.0])
    weather = HeatWeather(air, *(np.full(4, value) for value in (8.0, 0.5, 2.0, 0.0, 2.0)), 101.3)
    state = SoilHeat(np.array(12.0), np.array(12.0), np.array(130.0), np.array(0.0))
    result, _ = simulated_soil_temperature(weather, state=state)
    assert np.isnan(result[1])
    without_gap = HeatWeather(*(getattr(weather, name)[[0, 2, 3]] for name in list(HeatWeather.__dataclass_fields__)[:-1]), 101.3)
    assert result[[0, 2, 3]] == pytest.approx(simulated_soil_temperature(without_gap, state=state)[0], abs=0.02)  # the gap's water use
    measured = np.array([np.nan, 25.0, np.nan, np.nan])
    corrected, _ = simulated_soil_temperature(weather, state=state, measured_c=measured)
    assert corrected[1] == 25.0
    assert corrected[2] > result[2] + 3.0


def test_the_start_is_forgotten() -> None:
    """Own claim: after 92 days 0.2 °C is left at 5 cm of a deep store 5 °C wrong; nothing to speak of after a year."""
    weather = constant_weather(365, air_c=15.0)
    right = start_of_soil_heat(weather)
    wrong = SoilHeat(right.temperature_5cm_c, right.deep_c + 5.0, right.available_water_mm, right.snow_mm)
    apart = simulated_soil_temperature(weather, state=wrong)[0] - simulated_soil_temperature(weather, state=right)[0]
    assert apart[10] > 0.5
    assert 0.1 < apart[91] < 0.25
    assert apart[-1] < 0.01


def test_weather_that_begins_late_starts_from_its_first_known_days() -> None:
    """Three weeks without temperature are no reason to know nothing ever after."""
    whole = constant_weather(60, air_c=15.0)
    begins = np.arange(60) >= 21
    series = {name: np.where(begins, values, np.nan) for name, values in vars(whole).items() if name != "pressure_kpa"}
    late = HeatWeather(**series, pressure_kpa=101.3)
    soil, _ = simulated_soil_temperature(late)
    assert np.isnan(soil[:21]).all()
    assert soil[21:] == pytest.approx(simulated_soil_temperature(whole)[0][:39])
    assert np.isnan(simulated_soil_temperature(late.on(slice(0, 21)))[0]).all()


HUMID_2020 = ("03758", "04223", "13301", "23909", "53878", "54796", "63838", "63858", "64758")


def energy_balance_error(g: pd.DataFrame, latitude: float) -> tuple[float, float]:
    """Mean absolute error and bias of a station's whole record [°C], started from its own first year."""
    warm, cold = g["t_daily_max"].to_numpy(), g["t_daily_min"].to_numpy()
    pressure = humidity.vapour_pressure_from_humidity_extremes(warm, cold, g["rh_daily_max"].to_numpy(), g["rh_daily_min"].to_numpy())
    day_of_year = g["lst_date"].dt.day_of_year.to_numpy()
    day = et.WeatherDay(warm, cold, pressure, np.full(len(g), 2.0), g["solarad_daily"].to_numpy(), day_of_year, latitude, 0.0)
    weather = heat_weather(day, air_temperature_mean_c=g["t_daily_avg"].to_numpy(), water_mm=g["p_daily_calc"].to_numpy())
    _, state = simulated_soil_temperature(weather.on(slice(0, 365)))
    error = simulated_soil_temperature(weather, state=state)[0] - g["soil_temp_5_daily"].to_numpy()
    return float(np.nanmean(np.abs(error))), float(np.nanmean(error))


def test_humid_stations_are_met_within_a_degree(shared: Path) -> None:
    """US Climate Reference Network 2020 (NOAA, public domain). Goal: 1.0 °C in the median of the humid stations.

    Seen here: 0.83 °C, bias -0.04 °C; all twelve 0.93 °C. The three conduction numbers were fitted on these nine; see the next test.
    """
    d = pd.read_csv(shared / "observations" / "uscrn_2020_12stations.csv", parse_dates=["lst_date"], dtype={"wban": str})
    found = {str(station): energy_balance_error(g, g["latitude"].iloc[0]) for station, g in d.groupby("wban")}
    assert len(found) == 12
    assert np.median([found[station][0] for station in HUMID_2020]) < 0.9
    assert abs(np.median([found[station][1] for station in HUMID_2020])) < 0.3
    assert np.median([error for error, _ in found.values()]) < 1.0


def test_eight_years_of_a_station_that_the_balance_was_not_fitted_on(shared: Path) -> None:
    """US Climate Reference Network, Manhattan, Kansas, 2010-2017 (NOAA, public domain).

    Seen here: 0.82 °C, bias 0.11 °C; the lag above: 1.40 °C.
    """
    d = pd.read_csv(shared / "observations" / "uscrn_53974_manhattan_ks_2010_2017.csv")
    d.columns = [name.strip().lower() for name in d.columns]
    error, bias = energy_balance_error(d.assign(lst_date=pd.to_datetime(d["lst_date"])), 39.1)
    assert error < 0.95
    assert abs(bias) < 0.4
