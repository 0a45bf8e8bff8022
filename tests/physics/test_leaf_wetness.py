"""Water on the leaf: the energy decides how much dew there is and how soon it is gone."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecaster.physics.evapotranspiration import wind_speed_at_2m
from forecaster.physics.humidity import saturation_vapour_pressure
from forecaster.physics.leaf_wetness import WET_FROM_MM, Cause, LeafWetness, SurfaceHours, film_capacity, leaf_wetness, wet_surface_flux
from forecaster.physics.radiation import net_longwave_hourly
from forecaster.settings.shipped import shipped_folder
from forecaster.weather.net_radiation import hourly_net_radiation

Floats = npt.NDArray[np.float64]
CAPACITY = np.array([0.5])
COLUMNS = np.array([0.2, 0.44, 0.9])


def hours(count: int = 1, **changes: float | Floats) -> SurfaceHours:
    """Mild overcast hours in which nothing falls, with changes."""
    plain = {
        "air_temperature_c": 12.0,
        "vapour_pressure_kpa": 1.2,
        "wind_speed_2m_ms": 2.0,
        "net_radiation_mj": 0.0,
        "rain_mm": 0.0,
        "irrigation_mm": 0.0,
    }
    series = {name: np.broadcast_to(np.asarray(value, dtype=float), (count,)).copy() for name, value in (plain | changes).items()}
    return SurfaceHours(elevation_m=0.0, **series)


def night(*, air_c: float = 12.0, humidity: float = 95.0, wind_ms: float = 1.0, cloud_ratio: float = 1.0, length: int = 12) -> SurfaceHours:
    """A night of equal hours; ``cloud_ratio`` 1 is a clear sky, 0.3 an overcast one."""
    vapour = saturation_vapour_pressure(air_c) * humidity / 100.0
    lost = float(net_longwave_hourly(air_c, vapour, cloud_ratio))
    return hours(length, air_temperature_c=air_c, vapour_pressure_kpa=vapour, wind_speed_2m_ms=wind_ms, net_radiation_mj=-lost)


def dew_of(a_night: SurfaceHours) -> float:
    return float(leaf_wetness(a_night, np.array([5.0])).dew_mm.sum())


def any_weather(count: int, seed: int) -> SurfaceHours:
    """Weather without sense or order, frost and heat in it: budgets must close in it as well."""
    rng = np.random.default_rng(seed)
    air = rng.uniform(-10.0, 35.0, count)
    return hours(
        count,
        air_temperature_c=air,
        vapour_pressure_kpa=saturation_vapour_pressure(air) * rng.uniform(0.2, 1.02, count),
        wind_speed_2m_ms=rng.uniform(0.0, 10.0, count),
        net_radiation_mj=rng.uniform(-0.3, 2.5, count),
        rain_mm=np.where(rng.random(count) < 0.15, rng.exponential(1.0, count), 0.0),
        irrigation_mm=np.where(rng.random(count) < 0.02, 8.0, 0.0),
    )


def test_the_surface_spends_the_energy_it_has() -> None:
    # Surface energy balance: net radiation less ground heat = latent + sensible heat + what it radiates more for being warmer than the air.
    # Written here in W/m² from physical constants: λ 2.45 MJ/kg, ρ from the gas law, cp 1013 J/kg/K, ra 208/u2 (FAO-56 boxes 4-6),
    # σ 5.67e-8 (CODATA). Agreement within the rounding of FAO-56's own 37, 0.408 and γ.
    at = hours(3, net_radiation_mj=np.array([-0.2, 0.3, 1.5]), wind_speed_2m_ms=np.array([0.8, 2.0, 5.0]))
    flux, surface = wet_surface_flux(at)
    kelvin, warmer = at.air_temperature_c + 273.16, surface - at.air_temperature_c
    density = 101.3e3 / (1.01 * kelvin * 287.0)
    sensible = density * 1013.0 * warmer * at.wind_speed_2m_ms / 208.0
    radiated = 4.0 * 5.67e-8 * kelvin**3 * warmer
    latent = flux * 2.45e6 / 3600.0
    kept = np.where(at.net_radiation_mj >= 0.0, 0.9, 0.8) * at.net_radiation_mj * 1e6 / 3600.0
    assert latent + sensible + radiated == pytest.approx(kept, abs=1.0)  # of up to 375 W/m²


def test_dew_forms_exactly_where_the_wet_surface_is_colder_than_the_dew_point() -> None:
    air = any_weather(60000, seed=3)
    flux, surface = wet_surface_flux(air)
    # Definition of the dew point, on the curve itself. Penman's straight line leaves the curve by up to 0.05 kPa within 3 K: close calls
    # and surfaces farther from the air are left out, and so is air above saturation, which counts as saturated.
    surplus = saturation_vapour_pressure(surface) - air.vapour_pressure_kpa
    near = (np.abs(surface - air.air_temperature_c) < 3.0) & (air.vapour_pressure_kpa <= saturation_vapour_pressure(air.air_temperature_c))
    clear_case = near & (np.abs(surplus) > 0.05)
    assert (flux < 0.0)[clear_case].sum() > 50
    assert ((flux < 0.0) == (surplus < 0.0))[clear_case].all()


@pytest.mark.parametrize("air_c", [0.0, 5.0, 10.0, 15.0, 20.0, 25.0])
def test_the_energy_balance_limits_the_dew_of_a_night(air_c: float) -> None:
    # Monteith 1957, Q. J. R. Meteorol. Soc. 83:322: seldom more than about 0.5 mm a night; Garratt & Segal 1988, Boundary-Layer Meteorol.
    # 45:209: at most 0.06-0.07 mm/h (both memory). Eleven hours of clear sky and saturated air at the best of winds.
    most = max(dew_of(night(air_c=air_c, humidity=100.0, wind_ms=wind, length=11)) for wind in (0.5, 1.0, 2.0, 4.0, 8.0))
    assert 0.1 < most <= 0.5
    assert most / 11 <= 0.07


def test_clear_calm_humid_nights_give_dew_and_cloudy_windy_or_dry_ones_do_not() -> None:
    # Common knowledge of every observer's handbook (practice); amounts of a good dew 0.1-0.3 mm (Monteith 1957, memory).
    assert 0.1 <= dew_of(night()) <= 0.4
    assert dew_of(night(cloud_ratio=0.3)) < WET_FROM_MM
    assert dew_of(night(humidity=85.0)) > WET_FROM_MM
    assert dew_of(night(humidity=85.0, wind_ms=8.0)) == 0.0
    assert dew_of(night(humidity=60.0)) == 0.0
    assert dew_of(night(humidity=40.0, wind_ms=0.0)) == 0.0  # still air, too: the surface cannot cool without end


def test_frozen_dew_is_called_frost_and_thaws_into_dew() -> None:
    cold = night(air_c=1.0)
    film = leaf_wetness(cold, CAPACITY)
    wet = film.wet[:, 0]
    assert wet.any()
    assert (film.surface_temperature_c[wet, 0] < 0.0).all()
    assert (film.cause[wet, 0] == Cause.FROST).all()
    thaw = leaf_wetness(hours(2, air_temperature_c=np.array([-2.0, 6.0]), vapour_pressure_kpa=0.45), CAPACITY, start_mm=0.3)
    assert list(thaw.cause[:, 0]) == [Cause.FROST, Cause.DEW]


def test_a_wet_canopy_dries_by_the_potential_evaporation_of_the_morning() -> None:
    # The hour in which the summed potential passes the film is the hour in which it is gone; summed here by hand, not by the kernel.
    sun = np.array([0.1, 0.4, 0.8, 1.2, 1.5, 1.7])
    morning = hours(6, net_radiation_mj=sun)
    potential, _ = wet_surface_flux(morning)
    film = leaf_wetness(morning, CAPACITY, start_mm=0.3)
    gone = int(np.searchsorted(np.cumsum(potential), 0.3 - WET_FROM_MM))
    assert 0 < gone < 5
    left = 0.3 - WET_FROM_MM - potential[:gone].sum()
    assert film.hours_until_dry[0, 0] == pytest.approx(gone + left / potential[gone])
    assert film.wet[:, 0].tolist() == [hour <= gone for hour in range(6)]
    assert film.evaporation_mm.sum() == pytest.approx(0.3)  # the invisible rest goes as well
    assert film.hours_until_dry[gone + 1 :, 0].tolist() == [0.0] * (5 - gone)


@pytest.mark.parametrize("seed", range(5))
def test_no_water_is_made_or_lost_and_the_film_stays_in_its_bounds(seed: int) -> None:
    weather = any_weather(500, seed)
    film = leaf_wetness(weather, COLUMNS, start_mm=0.1)
    before = np.vstack([np.full(3, 0.1), film.water_mm[:-1]])
    added = (weather.rain_mm + weather.irrigation_mm)[:, None] + film.dew_mm
    # Own demand: 1e-9 mm per step and column.
    assert np.abs(film.water_mm - (before + added - film.evaporation_mm - film.drip_mm)).max() < 1e-9
    assert (film.water_mm >= 0.0).all()
    assert (film.water_mm <= COLUMNS).all()
    for flux in (film.dew_mm, film.evaporation_mm, film.drip_mm):
        assert (flux >= 0.0).all()
    assert ((film.wet_share > 0.0) == film.wet).all()
    assert (film.wet_share <= 1.0).all()
    assert ((film.cause == Cause.DRY) == ~film.wet).all()


def test_a_run_split_in_two_is_the_same_run() -> None:
    weather = any_weather(200, seed=9)
    whole = leaf_wetness(weather, COLUMNS)
    parts = [
        SurfaceHours(**{n: v if n == "elevation_m" else v[cut] for n, v in vars(weather).items()}) for cut in (slice(77), slice(77, None))
    ]
    first = leaf_wetness(parts[0], COLUMNS)
    second = leaf_wetness(parts[1], COLUMNS, start_mm=first.water_mm[-1])
    assert np.array_equal(np.vstack([first.water_mm, second.water_mm]), whole.water_mm)


def test_a_column_does_not_know_its_neighbours_and_more_rain_never_leaves_less_water() -> None:
    weather = any_weather(300, seed=11)
    alone = leaf_wetness(weather, COLUMNS[1:2])
    assert np.array_equal(leaf_wetness(weather, COLUMNS).water_mm[:, 1:2], alone.water_mm)
    rainier = leaf_wetness(SurfaceHours(**(vars(weather) | {"rain_mm": weather.rain_mm * 1.5 + 0.01})), COLUMNS[1:2])
    assert (rainier.water_mm >= alone.water_mm).all()


@pytest.mark.parametrize("name", ["air_temperature_c", "vapour_pressure_kpa", "wind_speed_2m_ms", "net_radiation_mj", "rain_mm"])
def test_an_unknown_hour_holds_the_film_and_is_said(name: str) -> None:
    weather = hours(5, net_radiation_mj=1.0, rain_mm=np.array([3.0, 0.0, 0.0, 0.0, 0.0]))
    getattr(weather, name)[2] = np.nan
    film = leaf_wetness(weather, np.array([2.0]))
    assert film.known[:, 0].tolist() == [True, True, False, True, True]
    assert film.water_mm[2, 0] == film.water_mm[1, 0] > WET_FROM_MM
    assert film.dew_mm[2, 0] == film.evaporation_mm[2, 0] == film.drip_mm[2, 0] == 0.0
    assert np.isnan(film.hours_until_dry[:3, 0]).all()
    assert np.isfinite(film.water_mm).all()


def test_the_cause_is_the_last_water_that_came() -> None:
    wet = night(length=8)
    wet.irrigation_mm[3], wet.rain_mm[5] = 2.0, 1.0
    cause = leaf_wetness(wet, CAPACITY).cause[:, 0]
    assert cause.tolist()[1:] == [Cause.DEW, Cause.DEW, Cause.IRRIGATION, Cause.IRRIGATION, Cause.RAIN, Cause.RAIN, Cause.RAIN]


def test_taller_turf_holds_more() -> None:
    # Grass of 0.12 m has a leaf area of 2.88 (FAO-56 box 5), at 0.2 mm each 0.576 mm; the thatch's 0.3 mm are an assumption.
    assert film_capacity(0.12) == pytest.approx(0.576 + 0.3)
    assert film_capacity(0.005) < film_capacity(0.03)


def test_impossible_input_is_refused_with_the_quantity_and_its_range() -> None:
    with pytest.raises(ValueError, match=r"rain must be at least 0 mm/h, got -1"):
        leaf_wetness(hours(2, rain_mm=np.array([0.0, -1.0])), CAPACITY)
    with pytest.raises(ValueError, match="capacity above 0 mm"):
        leaf_wetness(hours(), np.array([0.0]))
    with pytest.raises(ValueError, match="start between 0 and it"):
        leaf_wetness(hours(), CAPACITY, start_mm=0.6)
    with pytest.raises(ValueError, match="turf height must be 0-1 m"):
        film_capacity(-0.1)


# ------------------------------------------------------------ beside the humidity that is widely taken for wetness


def through(weather: pd.DataFrame, *, latitude: float, longitude: float, elevation_m: float) -> LeafWetness:
    """The film on turf of 3 cm in an hourly series: air, dew point °C, wind at 10 m, sun W/m², rain mm."""
    assert isinstance(weather.index, pd.DatetimeIndex)
    air, sun, wind, rain = (weather[name].to_numpy(dtype=float) for name in ("air", "sun", "wind", "rain"))
    vapour = saturation_vapour_pressure(weather["dew_point"].to_numpy(dtype=float))
    net = hourly_net_radiation(
        weather.index, sun, air, vapour, latitude_deg=latitude, longitude_deg=longitude, elevation_m=elevation_m
    ).net_mj
    at = SurfaceHours(air, vapour, wind_speed_at_2m(wind, 10.0), net, rain, np.zeros(len(air)), elevation_m)
    return leaf_wetness(at, np.array([film_capacity(0.03)]))


def agreement(humid: npt.NDArray[np.bool_], wet: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Share of hours in which both say the same, and Cohen's kappa: the part of it that is not chance."""
    same = float((humid == wet).mean())
    by_chance = float(humid.mean() * wet.mean() + (1 - humid.mean()) * (1 - wet.mean()))
    return same, (same - by_chance) / (1 - by_chance)


def test_most_hours_agree_with_the_humidity_rule_at_a_real_place() -> None:
    # Sentelhas et al. 2008, Agric. For. Meteorol. 148:392: RH ≥ 90 % as a sign of a wet leaf is right in about 80-90 % of hours against
    # sensors (memory). So a good model and the rule should agree about as often. Weather: typical year of Greensboro, North Carolina
    # (TMY3, US National Renewable Energy Laboratory, public domain), as the library pvlib ships it. Seen: 0.856, kappa 0.59.
    with (files("pvlib") / "data" / "723170TYA.CSV").open() as year:
        table = pd.read_csv(year, skiprows=1)
    table.columns = [name.split(" (")[0] if "Lprecip" not in name else name.replace(" (mm)", "") for name in table.columns]
    # Local standard time is UTC−5 and labels are ends of hours. Months come from several years; they are lined up into one.
    index = pd.date_range("2001-01-01T05:00", periods=len(table), freq="h", tz="UTC")
    weather = pd.DataFrame(
        {
            "air": table["Dry-bulb"].to_numpy(),
            "dew_point": table["Dew-point"].to_numpy(),
            "wind": table["Wspd"].to_numpy(),
            "sun": table["GHI"].to_numpy(),
            "rain": table["Lprecip depth"].to_numpy() / 10.0,  # tenths: steps of 2.5 are the gauge's hundredth of an inch
        },
        index=index,
    )
    assert 700.0 < weather["rain"].sum() < 1400.0  # about 1,080 mm a year there (memory): the unit is right
    film = through(weather, latitude=36.1, longitude=-79.95, elevation_m=273.0)
    same, kappa = agreement(table["RHum"].to_numpy() >= 90.0, film.wet[:, 0])
    assert same >= 0.80
    assert kappa >= 0.45
    per_night = pd.Series(film.dew_mm[:, 0], index=index - pd.Timedelta(hours=17)).groupby(lambda stamp: stamp.date()).sum()
    assert per_night.max() <= 0.5  # Monteith 1957 (memory)
    # Grassland in the Netherlands had 37 mm of dew a year (Jacobs et al. 2006, Water Resour. Res. 42, memory): the same order of size.
    assert 8.0 <= per_night.sum() <= 60.0


def test_most_hours_of_the_sample_weather_agree_with_the_humidity_rule() -> None:
    # The sample is invented, so this says only that pages show nothing absurd. Seen: 0.80, kappa 0.43.
    table = pd.read_csv(shipped_folder("sample_weather") / "history.csv", index_col="time_utc", parse_dates=True)
    names = {
        "air_temperature_c": "air",
        "dew_point_c": "dew_point",
        "wind_speed_ms": "wind",
        "shortwave_wm2": "sun",
        "precipitation_mm": "rain",
    }
    film = through(table.rename(columns=names), latitude=52.0, longitude=-0.5, elevation_m=60.0)
    same, kappa = agreement(table["relative_humidity_percent"].to_numpy() >= 90.0, film.wet[:, 0])
    assert same >= 0.70
    assert kappa >= 0.25
