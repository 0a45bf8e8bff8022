"""Hourly ET0 and the named variants: FAO-56 Example 19, refet 0.5.0 on day hours and on days, and hours that have no sun at all."""

from __future__ import annotations

import numpy as np
import pytest
import refet

from forecaster.physics import evapotranspiration as et
from forecaster.physics import humidity, radiation
from forecaster.physics.evapotranspiration import ASCE_SHORT, FAO56, WeatherDay, WeatherHour
from tests.physics.test_evapotranspiration import asce_by_refet, random_days
from tests.references.fao56 import Example19

FALLON = {"latitude_deg": 39.4575, "longitude_deg": -118.77388, "elevation_m": 1208.5}


def hours_of(day_of_year: int, *, latitude_deg: float, days: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Solar time angle, sunset angle and Ra of the hours of some days that start at solar midnight."""
    number = np.arange(24 * days)
    day = np.minimum(day_of_year + number // 24, 366)
    angle = np.pi / 12 * (number % 24 + 0.5 - 12)
    ra = radiation.extraterrestrial_radiation_hourly(latitude_deg, day, angle)
    return angle, np.broadcast_to(radiation.sunset_hour_angle(latitude_deg, day), angle.shape), ra


def test_example_19_from_the_weather_to_the_hour_s_et0() -> None:
    """FAO-56 Example 19 with the whole chain: 0.63 mm by day; 0.00 at night with Rs/Rso 0.8 carried, G 0.5 Rn."""
    e = Example19
    clock = np.array([e.night_clock_h, e.day_clock_h])
    angle = radiation.solar_time_angle(clock, -e.longitude_west_deg, -e.zone_meridian_west_deg, e.day_of_year)
    ra = radiation.extraterrestrial_radiation_hourly(e.latitude_deg, e.day_of_year, angle)
    temperature = np.array([e.night_air_temperature_c, e.day_air_temperature_c])
    moisture = np.array([e.night_relative_humidity_percent, e.day_relative_humidity_percent])
    shortwave = np.array([0.0, e.day_shortwave_mj])
    hours = WeatherHour(
        air_temperature_c=temperature,
        vapour_pressure_kpa=humidity.saturation_vapour_pressure(temperature) * moisture / 100,
        wind_speed_2m_ms=np.array([e.night_wind_speed_2m_ms, e.day_wind_speed_2m_ms]),
        shortwave_mj=shortwave,
        cloud_ratio=np.array([e.night_cloud_ratio, e.day_shortwave_mj / (radiation.clear_sky_radiation(ra[1], e.elevation_m))]),
        extraterrestrial_mj=ra,
        elevation_m=e.elevation_m,
    )
    night, day = et.reference_evapotranspiration_of_hour(hours)
    assert night == e.night_et0_mm.approx
    assert day == e.day_et0_mm.approx


def fallon_hour(method: str) -> refet.Hourly:
    return refet.Hourly(
        tmean=33.2222, ea=1.19901, rs=2.56065, uz=1.488643, zw=3.0, elev=FALLON["elevation_m"], lat=FALLON["latitude_deg"],
        lon=FALLON["longitude_deg"], doy=182, time=18, method=method,
    )  # fmt: skip


def test_an_hour_at_fallon_in_the_asce_variant() -> None:
    """AgriMet Fallon, 1 July 2015 18 UTC: refet 0.5.0 'asce' gives ETo 0.606352, w -0.517578, Ra 4.306355; 0.6064 was seen here."""
    angle = radiation.solar_time_angle(18.5, FALLON["longitude_deg"], 0.0, 182)
    ra = radiation.extraterrestrial_radiation_hourly(FALLON["latitude_deg"], 182, angle)
    assert angle - np.pi / 24 == pytest.approx(-0.517578, abs=1e-5)  # theirs is at the start of the hour
    assert ra == pytest.approx(4.306355, abs=1e-4)
    rso = radiation.clear_sky_radiation(ra, FALLON["elevation_m"])
    hour = WeatherHour(
        air_temperature_c=33.2222,
        vapour_pressure_kpa=1.19901,
        wind_speed_2m_ms=et.wind_speed_at_2m(1.488643, 3.0),
        shortwave_mj=2.56065,
        cloud_ratio=radiation.cloud_ratio(2.56065, rso),
        extraterrestrial_mj=ra,
        elevation_m=FALLON["elevation_m"],
    )
    found = et.reference_evapotranspiration_of_hour(hour, variant=ASCE_SHORT)
    assert found == pytest.approx(0.606352, abs=1e-4)
    assert found == pytest.approx(fallon_hour("asce").eto()[0], abs=1e-4)
    # FAO-56's Cd of 0.34 by day is a larger resistance: another, smaller number
    assert et.reference_evapotranspiration_of_hour(hour, variant=FAO56) < found - 0.005


def test_day_hours_of_a_made_up_year_agree_with_refet_and_nights_need_not() -> None:
    """refet 0.5.0 'asce' by the hour, Fallon's place, invented weather: within 0.02 mm/h where the sun is above 0.3 rad.

    Its nights have no cloud at all (its own code says so): there it loses more heat than we do.
    """
    rng = np.random.default_rng(5)
    count = 24 * 365
    day, hour = 1 + np.arange(count) // 24, np.arange(count) % 24
    angle = radiation.solar_time_angle(hour + 0.5, FALLON["longitude_deg"], 0.0, day)
    ra = radiation.extraterrestrial_radiation_hourly(FALLON["latitude_deg"], day, angle)
    rso = radiation.clear_sky_radiation(ra, FALLON["elevation_m"])
    cloud = np.repeat(rng.uniform(0.2, 1.0, 365), 24)
    temperature = 12 - 14 * np.cos(2 * np.pi * day / 365) + 8 * np.cos(angle - 0.6) + rng.normal(0, 1, count)
    vapour = humidity.saturation_vapour_pressure(temperature) * rng.uniform(0.2, 0.9, count)
    wind = rng.uniform(0.2, 7.0, count)
    ratio, assumed = radiation.cloud_ratio_of_hours(
        cloud * rso, rso, angle, radiation.sunset_hour_angle(FALLON["latitude_deg"], day), limits=ASCE_SHORT.limits
    )
    ours = et.reference_evapotranspiration_of_hour(
        WeatherHour(
            air_temperature_c=temperature,
            vapour_pressure_kpa=vapour,
            wind_speed_2m_ms=et.wind_speed_at_2m(wind, 3.0),
            shortwave_mj=cloud * rso,
            cloud_ratio=ratio,
            extraterrestrial_mj=ra,
            elevation_m=FALLON["elevation_m"],
        ),
        variant=ASCE_SHORT,
    )
    theirs = refet.Hourly(
        tmean=temperature, ea=vapour, rs=cloud * rso, uz=wind, zw=3.0, elev=np.full(count, FALLON["elevation_m"]),
        lat=np.full(count, FALLON["latitude_deg"]), lon=np.full(count, FALLON["longitude_deg"]), doy=day, time=hour, method="asce",
    ).eto()  # fmt: skip
    phi, delta = np.radians(FALLON["latitude_deg"]), radiation.solar_declination(day)
    height = np.arcsin(np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(angle - np.pi / 24))
    # Both take the hour's own Rs/Rso: refet above 0.3 rad, we until 0.52 rad of hour angle before sunset.
    high = (height > 0.3) & (np.abs(angle) < radiation.sunset_hour_angle(FALLON["latitude_deg"], day) - radiation.AFTERNOON_ENDS_RAD)
    assert high.sum() > 2500
    assert np.abs(ours - theirs)[high].max() < 0.02
    night = ra == 0
    assert theirs[night].sum() < ours[night].sum()
    assert not assumed[18:].any()


def test_daily_asce_agrees_with_refet_to_a_hundred_thousandth() -> None:
    """refet 0.5.0 'asce' with the same constants (σ 4.901e-9, slope 2503): 300 random days; FAO-56's differ by up to 0.002."""
    days = random_days(300)
    weather = WeatherDay(
        air_temperature_max_c=days["warm"].to_numpy(),
        air_temperature_min_c=days["cold"].to_numpy(),
        vapour_pressure_kpa=days["vapour"].to_numpy(),
        wind_speed_2m_ms=et.wind_speed_at_2m(days["wind"].to_numpy(), 10.0),
        shortwave_mj=days["rs"].to_numpy(),
        day_of_year=days["day"].to_numpy(),
        latitude_deg=days["latitude"].to_numpy(),
        elevation_m=days["elevation"].to_numpy(),
    )
    difference = np.abs(et.reference_evapotranspiration(weather, variant=ASCE_SHORT) - asce_by_refet(days, wind_height_m=10.0))
    assert difference.max() < 1e-5


# ------------------------------------------------------------------------------------------------ cloud through the night


def test_the_late_afternoon_stands_for_the_night_after_it() -> None:
    """FAO-56 below eq. 39: window ws-0.79 ≤ ω ≤ ws-0.52. At the equator ws is π/2: ω from 0.78 to 1.05, the hours from 15 on."""
    angle, sunset, ra = hours_of(80, latitude_deg=0.0, days=2)
    rso = 0.75 * ra
    cloud = np.full(48, 0.4)
    cloud[15], cloud[16] = 0.9, 0.5  # middles 15:30 (ω 0.92) in the window, 16:30 (ω 1.18) past it
    cloud[24 + 15] = 0.7
    ratio, assumed = radiation.cloud_ratio_of_hours(cloud * rso, rso, angle, sunset)
    assert ratio[[10, 14]] == pytest.approx([0.4, 0.4])  # by day its own
    assert ratio[16:31] == pytest.approx(0.9)  # dusk, night and dawn
    assert ratio[40:] == pytest.approx(0.7)
    assert assumed.tolist() == [True] * 8 + [False] * 40  # before the first afternoon
    assert ratio[:7] == pytest.approx(0.6)


def test_a_night_without_its_afternoon_takes_the_humid_or_the_arid_value() -> None:
    """FAO-56 below eq. 39: 0.4-0.6 in humid, 0.7-0.8 in arid places; yesterday's afternoon does not stand in."""
    angle, sunset, ra = hours_of(80, latitude_deg=45.0, days=2)
    rso = 0.75 * ra
    rs = 0.9 * rso
    rs[24 + 12 : 24 + 19] = np.nan
    for name, value in (("humid", radiation.NIGHT_CLOUD_RATIO_HUMID), ("arid", radiation.NIGHT_CLOUD_RATIO_ARID)):
        limits = radiation.CloudRatioLimits(0.3, 1.0, without_sun=value)
        ratio, assumed = radiation.cloud_ratio_of_hours(rs, rso, angle, sunset, limits=limits)
        assert ratio[30] == pytest.approx(0.9), name
        assert ratio[45] == value, name
        assert assumed[45]
        assert not assumed[30]
        assert np.isnan(ratio[24 + 13])


@pytest.mark.parametrize("variant", [FAO56, ASCE_SHORT])
@pytest.mark.parametrize("day", [1, 80, 172, 355, 366])
@pytest.mark.parametrize("latitude_deg", [-90.0, -70.0, -66.6, 0.0, 66.6, 70.0, 90.0])
def test_every_latitude_and_day_has_an_hourly_number(latitude_deg: float, day: int, variant: et.Variant) -> None:
    """Polar night and day, day 366, no wind: finite numbers; without sun the night is the assumed one and no water of note is lost."""
    angle, sunset, ra = hours_of(day, latitude_deg=latitude_deg)
    rso = radiation.clear_sky_radiation(ra, 10.0)
    ratio, assumed = radiation.cloud_ratio_of_hours(0.6 * rso, rso, angle, sunset, limits=variant.limits)
    hour = WeatherHour(
        air_temperature_c=np.full(24, -5.0),
        vapour_pressure_kpa=0.3,
        wind_speed_2m_ms=0.0,
        shortwave_mj=0.6 * rso,
        cloud_ratio=ratio,
        extraterrestrial_mj=ra,
        elevation_m=10.0,
    )
    found = et.reference_evapotranspiration_of_hour(hour, variant=variant)
    assert np.isfinite(found).all()
    if not ra.any():
        assert assumed.all()
        assert np.abs(found).max() < 0.05


def test_blocks_give_what_single_days_give() -> None:
    """A table larger than a block, days down and places across with some inputs only down or only across: bit for bit the same numbers."""
    rng = np.random.default_rng(2)
    days, places = 37, et.BLOCK // 20
    warm = rng.uniform(10, 30, (days, places))
    weather = WeatherDay(
        air_temperature_max_c=warm,
        air_temperature_min_c=warm - 8,
        vapour_pressure_kpa=1.0,
        wind_speed_2m_ms=rng.uniform(0, 5, (1, places)),
        shortwave_mj=rng.uniform(1, 12, (days, 1)),
        day_of_year=np.arange(1, days + 1)[:, None],
        latitude_deg=rng.uniform(-60, 60, places),
        elevation_m=50.0,
    )
    whole = et.reference_evapotranspiration(weather)
    assert whole.shape == (days, places)
    for day in (0, 20, 36):
        row = WeatherDay(
            air_temperature_max_c=warm[day],
            air_temperature_min_c=warm[day] - 8,
            vapour_pressure_kpa=1.0,
            wind_speed_2m_ms=np.asarray(weather.wind_speed_2m_ms)[0],
            shortwave_mj=np.asarray(weather.shortwave_mj)[day],
            day_of_year=day + 1,
            latitude_deg=weather.latitude_deg,
            elevation_m=50.0,
        )
        assert whole[day] == pytest.approx(et.reference_evapotranspiration(row), abs=1e-13)


def test_at_dusk_the_variants_part_by_what_they_call_night() -> None:
    """Sun still up, net radiation already below 0: FAO-56 has G 0.1 Rn (eq. 45), ASCE-EWRI 2005 0.5 Rn and Cd 0.96, by the sign of Rn."""
    dusk = WeatherHour(10.0, 0.6, 2.0, 0.05, 1.0, 0.2, 100.0)
    net = float(radiation.net_radiation(radiation.net_shortwave(0.05), radiation.net_longwave_hourly(10.0, 0.6, 1.0)))
    assert net < 0.0
    for variant, share in ((FAO56, 0.1), (ASCE_SHORT, 0.5)):
        hour = et.EvaporationHour(10.0, 0.6, 2.0, net, 100.0, share * net)
        by_hand = et.reference_evapotranspiration_hourly(hour, variant=variant)
        assert et.reference_evapotranspiration_of_hour(dusk, variant=variant) == pytest.approx(by_hand, abs=2e-4)
