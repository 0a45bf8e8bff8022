"""The missing-data procedures of FAO-56 chapters 3 and 4, day by day and hour by hour, each told with the value."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from forecaster.physics import evapotranspiration as et
from forecaster.physics import humidity, radiation
from forecaster.physics.evapotranspiration import ASCE_SHORT
from forecaster.weather import procedures
from forecaster.weather.hourly import evaporation_of_hours
from forecaster.weather.place import Place
from forecaster.weather.procedures import Circumstances
from forecaster.weather.station_days import Evaporation, evaporation_of_days
from tests.references.fao56 import Example4, Example5, Example15, Example16, Example18, Example20

UCCLE = Place(Example18.latitude_deg, 4.35, Example18.elevation_m)
LYON = Place(Example20.latitude_deg, 4.85, Example20.elevation_m)


def one_day(
    place: Place, day_of_year: int, *, wind_height_m: float = 2.0, how: dict[str, object] | None = None, **series: float
) -> Evaporation:
    arrays = {name: np.array([value]) for name, value in series.items()}
    return evaporation_of_days(arrays, day_of_year=np.array([day_of_year]), place=place, wind_height_m=wind_height_m, **(how or {}))  # type: ignore[arg-type]


def told(result: Evaporation) -> list[str]:
    return [what for what, where in result.notes() if where.any()]


def test_example_18_from_the_columns_of_a_station() -> None:
    """FAO-56 Example 18: humidity extremes (eq. 17), sunshine (eq. 35), wind at 10 m (eq. 47) to 3.88 mm; sunshine is told."""
    e = Example18
    result = one_day(
        UCCLE, e.day_of_year, wind_height_m=e.wind_height_m, air_temperature_max_c=e.air_temperature_max_c,
        air_temperature_min_c=e.air_temperature_min_c, relative_humidity_max_percent=e.relative_humidity_max_percent,
        relative_humidity_min_percent=e.relative_humidity_min_percent, sunshine_h=e.sunshine_h, wind_speed_ms=e.wind_speed_kmh / 3.6,
    )  # fmt: skip
    assert result.et0_mm[0] == e.et0_mm.approx
    assert result.shortwave_mj[0] == e.shortwave_mj.approx
    assert told(result) == ["radiation from hours of sunshine"]


def test_example_20_from_temperature_alone_and_by_hargreaves() -> None:
    """FAO-56 Example 20: 4.56 mm by Penman-Monteith with everything estimated, 5.0 by eq. 52 where that is asked for; both told."""
    e = Example20
    temperatures = {"air_temperature_max_c": e.air_temperature_max_c, "air_temperature_min_c": e.air_temperature_min_c}
    result = one_day(LYON, e.day_of_year, **temperatures)
    assert result.et0_mm[0] == e.et0_mm.approx
    assert told(result) == [procedures.HUMIDITY_ESTIMATED, procedures.SHORTWAVE_ESTIMATED, procedures.WIND_ASSUMED]
    plain = one_day(LYON, e.day_of_year, how={"hargreaves": True}, **temperatures)
    assert plain.et0_mm[0] == e.et0_hargreaves_mm.approx
    assert told(plain)[-1] == procedures.HARGREAVES
    with_wind = one_day(LYON, e.day_of_year, how={"hargreaves": True}, wind_speed_ms=2.0, **temperatures)
    assert with_wind.et0_mm[0] == e.et0_mm.approx
    assert procedures.HARGREAVES not in told(with_wind)


@pytest.mark.parametrize(
    ("given", "expected", "words"),
    [
        ({"dew_point_c": 10.0}, float(humidity.saturation_vapour_pressure(10.0)), []),
        # FAO-56 Example 5: 18 °C / 82 %, 25 °C / 54 %: 1.70 by eq. 17, 1.78 by eq. 19
        ({"relative_humidity_max_percent": 82.0, "relative_humidity_min_percent": 54.0}, Example5.vapour_pressure_eq17_kpa.value, []),
        ({"relative_humidity_mean_percent": 68.0}, Example5.vapour_pressure_eq19_kpa.value, ["humidity from the mean relative humidity"]),
        (
            {"relative_humidity_max_percent": 82.0},
            0.82 * Example5.saturation_at_min_kpa.value,
            ["humidity from the highest relative humidity alone"],
        ),
        ({}, Example5.saturation_at_min_kpa.value, [procedures.HUMIDITY_ESTIMATED]),
        # several at once: the better one wins
        ({"dew_point_c": 10.0, "relative_humidity_mean_percent": 68.0}, float(humidity.saturation_vapour_pressure(10.0)), []),
        ({"vapour_pressure_kpa": 1.5, "dew_point_c": 10.0}, 1.5, []),
    ],
)
def test_humidity_comes_from_the_best_that_there_is(given: dict[str, float], expected: float, words: list[str]) -> None:
    """FAO-56 ch. 3, order of preference; the values of Example 5."""
    result = one_day(
        LYON,
        196,
        air_temperature_max_c=Example5.air_temperature_max_c,
        air_temperature_min_c=Example5.air_temperature_min_c,
        shortwave_mj=20.0,
        wind_speed_ms=2.0,
        **given,
    )
    assert result.vapour_pressure_kpa[0] == pytest.approx(expected, abs=0.005)
    assert told(result) == words


def test_example_4_dry_and_wet_bulb() -> None:
    """FAO-56 Example 4, eq. 15: 25.6/19.5 °C at 1200 m give 1.91 kPa."""
    e = Example4
    result = one_day(
        Place(0.0, 0.0, e.elevation_m), 100, air_temperature_max_c=30.0, air_temperature_min_c=20.0, dry_bulb_c=e.dry_bulb_c,
        wet_bulb_c=e.wet_bulb_c, shortwave_mj=20.0, wind_speed_ms=2.0,
    )  # fmt: skip
    assert result.vapour_pressure_kpa[0] == e.vapour_pressure_kpa.approx
    assert told(result) == []


def test_radiation_by_setting_and_from_neighbours() -> None:
    """FAO-56 Examples 15 (inland, 22.3) and 16 (coast, 21.9); eq. 51 on islands; eq. 49 from a nearby station."""
    lyon = {"air_temperature_max_c": Example15.air_temperature_max_c, "air_temperature_min_c": Example15.air_temperature_min_c}
    assert one_day(LYON, Example15.day_of_year, **lyon).shortwave_mj[0] == Example15.shortwave_mj.approx
    bangkok = {"air_temperature_max_c": Example16.air_temperature_max_c, "air_temperature_min_c": Example16.air_temperature_min_c}
    place = Place(Example16.latitude_deg, 100.5, 2.0)
    by_the_sea = one_day(place, Example16.day_of_year, how={"circumstances": Circumstances("coast")}, **bangkok)
    assert by_the_sea.shortwave_mj[0] == Example16.shortwave_mj.approx
    assert "radiation from the temperature range by the sea" in told(by_the_sea)
    island = one_day(place, Example16.day_of_year, how={"circumstances": Circumstances("island")}, **bangkok)
    assert island.shortwave_mj[0] == pytest.approx(0.7 * Example16.extraterrestrial_mj.value - 4.0, abs=0.05)
    near = one_day(LYON, 196, nearby_shortwave_mj=17.0, **lyon)
    assert near.shortwave_mj[0] == 17.0
    assert "radiation of a nearby station" in told(near)
    hours = one_day(LYON, 196, nearby_sunshine_h=0.0, **lyon)
    assert hours.shortwave_mj[0] == pytest.approx(0.25 * Example15.extraterrestrial_mj.value, abs=0.02)


def test_a_dry_place_takes_two_degrees_off_and_a_humid_one_is_cautioned() -> None:
    """FAO-56 eq. 48 and its note on arid places."""
    temperatures = {"air_temperature_max_c": 38.0, "air_temperature_min_c": 20.0}
    dry = one_day(LYON, 196, how={"circumstances": Circumstances(arid=True)}, **temperatures)
    humid = one_day(LYON, 196, **temperatures)
    assert dry.vapour_pressure_kpa[0] == pytest.approx(float(humidity.saturation_vapour_pressure(18.0)))
    assert dry.et0_mm[0] > humid.et0_mm[0]
    assert [row.caution for row, _ in humid.resolved.used if row.gives == procedures.VAPOUR_PRESSURE] == [procedures.ARID_CAUTION]
    assert [row.caution for row, _ in dry.resolved.used if row.gives == procedures.VAPOUR_PRESSURE] == [""]


def test_every_row_of_the_tables_has_a_source_and_words() -> None:
    for row in (*procedures.DAILY, *procedures.HOURLY):
        assert row.source
        assert row.told
        assert row.gives in (procedures.VAPOUR_PRESSURE, procedures.SHORTWAVE_AMOUNT, procedures.WIND_2M)


@pytest.mark.parametrize("latitude", [-90.0, -68.0, 0.0, 68.0, 90.0])
def test_a_leap_year_of_temperatures_gives_a_number_for_every_day_and_hour(latitude: float) -> None:
    """366 days, polar night and day: all estimated, all finite; the day's estimated radiation is shared out among its hours."""
    index = pd.date_range("2024-01-01", periods=366 * 24, freq="h", tz="UTC")
    place = Place(latitude, 0.0, 10.0)
    temperature = 5.0 + 4.0 * np.cos(2 * np.pi * (index.hour.to_numpy() - 14) / 24)
    hours = evaporation_of_hours({"air_temperature_c": temperature}, index, place=place, wind_height_m=2.0)
    days = evaporation_of_days(
        {"air_temperature_max_c": np.full(366, 9.0), "air_temperature_min_c": np.full(366, 1.0)},
        day_of_year=np.arange(1, 367), place=place, wind_height_m=2.0,
    )  # fmt: skip
    assert np.isfinite(hours.et0_mm).all()
    assert np.isfinite(days.et0_mm).all()
    assert hours.shortwave_mj.reshape(366, 24).sum(axis=1) == pytest.approx(days.shortwave_mj, abs=0.05)
    assert (hours.shortwave_mj >= 0).all()
    assert procedures.WIND_ASSUMED in told(hours)


def test_hours_add_up_to_about_the_day() -> None:
    """FAO-56's daily and hourly forms of one clear day in June agree within some per cent (ASCE-EWRI 2005 found 1-5 %; memory)."""
    index = pd.date_range("2024-06-10", periods=72, freq="h", tz="UTC")
    place = Place(45.0, 0.0, 100.0)
    day = index.day_of_year.to_numpy()
    angle = radiation.solar_time_angle(index.hour.to_numpy() + 0.5, 0.0, 0.0, day)
    top = radiation.extraterrestrial_radiation_hourly(45.0, day, angle)
    temperature = 20.0 + 7.0 * np.cos(angle - 0.6)
    series = {
        "air_temperature_c": temperature,
        "dew_point_c": np.full(72, 11.0),
        "wind_speed_ms": np.full(72, 2.0),
        "shortwave_wm2": 0.7 * top / 0.0036,
    }
    whole = {
        "air_temperature_max_c": np.array([27.0]), "air_temperature_min_c": np.array([13.0]), "dew_point_c": np.array([11.0]),
        "wind_speed_ms": np.array([2.0]), "shortwave_mj": np.array([0.7 * top[24:48].sum()]),
    }  # fmt: skip
    daily = evaporation_of_days(whole, day_of_year=np.array([163]), place=place, wind_height_m=2.0).et0_mm[0]
    for variant in (et.FAO56, ASCE_SHORT):
        hours = evaporation_of_hours(series, index, place=place, wind_height_m=2.0, variant=variant)
        assert hours.et0_mm[24:48].sum() == pytest.approx(daily, rel=0.08)
        assert told(hours) == [procedures.NIGHT_CLOUD_ASSUMED]
        assert hours.assumed[0][1][6:].sum() == 0  # only the night before the first afternoon
