"""What must come out of the model, with the shipped defaults: the scenarios were written before the code, and nothing is tuned to them.

Soil: the sandy loam of the builders (rain-fed pitch, Zr 0.20 m, 60 % of the excess drains per day; rain first, then drainage, then ET).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from forecaster.physics import evapotranspiration as et
from forecaster.physics import humidity, radiation, soil_heat
from forecaster.soil.columns import ColumnParameters, ModelParameters
from forecaster.soil.simulate import Simulation, simulate
from forecaster.soil.state import Forcing, first_guess
from tests.soil import builders
from tests.soil.builders import forcing

MODEL = ModelParameters()
DROUGHT = 60  # days


def pair() -> ColumnParameters:
    """The builders' sound and band column with the exchange between layers that config/soils.toml ships."""
    return builders.pair(exchange_per_day=0.2)


def contrast(run: Simulation) -> np.ndarray:
    return run.green_cover[:, 0] - run.green_cover[:, 1]


@pytest.mark.parametrize(
    ("amount_mm", "every_days"), [(10.0, 3), (20.0, 7), (5.0, 2)], ids=["10 mm every 3 days", "20 mm a week", "5 mm every 2 days"]
)
class TestRainReturnsAfterADrought:
    @pytest.fixture
    def run(self, amount_mm: float, every_days: int) -> Simulation:
        wet = 60
        rain = np.concatenate([np.zeros(DROUGHT), np.where(np.arange(wet) % every_days == 0, amount_mm, 0.0)])
        et0 = np.repeat([4.0, 1.5], [DROUGHT, wet])
        temperature = np.repeat([19.0, 12.0], [DROUGHT, wet])
        columns = pair()
        return simulate(columns, first_guess(columns, MODEL), forcing(rain, et0, temperature), MODEL)

    def test_both_are_brown_at_the_end_of_the_drought(self, run: Simulation) -> None:
        assert (run.green_cover[DROUGHT - 1] < 0.1).all()

    def test_sound_turf_is_back_in_two_to_three_and_a_half_weeks(self, run: Simulation) -> None:
        back = run.green_cover[DROUGHT:, 0] >= 0.8 * run.live_crowns[DROUGHT:, 0]
        assert 14 <= int(back.argmax()) <= 24

    def test_rings_appear_within_four_weeks_of_the_first_rain(self, run: Simulation) -> None:
        assert contrast(run)[:DROUGHT].max() < 0.01
        assert contrast(run)[DROUGHT : DROUGHT + 28].max() >= 0.20

    def test_the_flush_peaks_nine_to_sixteen_days_after_the_first_rain(self, run: Simulation) -> None:
        hazard = run.flush_hazard_per_day[:, 0]
        assert hazard[:DROUGHT].max() == 0.0
        assert 9 <= int(hazard.argmax()) - DROUGHT <= 16


def test_a_wet_cool_summer_brings_nothing() -> None:
    rain = np.where(np.arange(120) % 3 == 0, 8.0, 0.0)
    run = simulate(pair(), first_guess(pair(), MODEL), forcing(rain, 2.5, 15.0), MODEL)
    assert (10.0**run.repellency_log10_s < 5.0).all(), "wettable throughout: below 5 s"
    assert np.abs(contrast(run)).max() < 0.01


def test_irrigated_turf_keeps_its_crowns_in_a_drought_and_the_band_may_show() -> None:
    irrigation = np.where(np.arange(120) % 3 == 0, 13.0, 0.0)
    run = simulate(pair(), first_guess(pair(), MODEL), forcing(np.zeros(120), 5.0, 22.0, irrigation_mm=irrigation), MODEL)
    assert run.live_crowns[:, 0].min() == 1.0
    assert run.green_cover[:, 0].min() > 0.8
    # Here the band browns during the dry spell while sound turf holds: the other way round than rain-fed.
    assert contrast(run).max() > contrast(run)[0]


# Seattle 2012-2015: daily weather of the package vega_datasets (NOAA, Seattle-Tacoma): dry summers, wet autumns. Radiation and humidity are
# estimated by FAO-56's procedures for missing data; the wind is taken as measured at 10 m.


@pytest.fixture(scope="module")
def seattle() -> pd.DataFrame:
    from vega_datasets import data

    return data.seattle_weather().set_index("date")


@pytest.fixture(scope="module")
def seattle_run(seattle: pd.DataFrame) -> Simulation:
    weather = seattle
    highest, lowest = weather.temp_max.to_numpy(), weather.temp_min.to_numpy()
    day_of_year = weather.index.day_of_year.to_numpy()
    latitude, elevation = 47.45, 130.0
    arriving = radiation.shortwave_from_temperature_range(highest, lowest, radiation.extraterrestrial_radiation(latitude, day_of_year))
    vapour = humidity.saturation_vapour_pressure(lowest)
    wind = et.wind_speed_at_2m(weather.wind.to_numpy(), 10.0)
    days = et.WeatherDay(highest, lowest, vapour, wind, arriving, day_of_year, np.float64(latitude), np.float64(elevation))
    et0 = et.reference_evapotranspiration(days)
    mean = (highest + lowest) / 2.0
    soil_c, _ = soil_heat.simulated_soil_temperature(
        soil_heat.heat_weather(days, air_temperature_mean_c=mean, water_mm=weather.precipitation.to_numpy())
    )

    def both(values: np.ndarray) -> np.ndarray:
        return np.repeat(values[:, None], 2, axis=1)

    columns = pair()
    return simulate(
        columns,
        first_guess(columns, MODEL),
        Forcing(
            rain_mm=both(weather.precipitation.to_numpy()),
            irrigation_mm=np.zeros((len(weather), 2)),
            et0_mm=both(np.maximum(et0, 0.0)),
            air_temperature_mean_c=both(mean),
            air_temperature_min_c=both(lowest),
            soil_temperature_c=both(soil_c),
            wind_speed_2m_ms=both(wind),
            relative_humidity_min_percent=both(100.0 * vapour / humidity.saturation_vapour_pressure(highest)),
            known=np.ones((len(weather), 2), dtype=bool),
        ),
        MODEL,
    )


def returns_of_rain(weather: pd.DataFrame, year: int) -> list[pd.Timestamp]:
    """Days from August to October whose week brings 10 mm of rain, after two weeks of days on which no week had that much."""
    week = weather.precipitation.rolling(7).sum()
    dry = week.shift(1).rolling(14).max() < 10.0
    found = weather.index[(week >= 10.0) & dry]
    return [day for day in found if day.year == year and 8 <= day.month <= 10]


@pytest.mark.parametrize("year", [2013, 2014, 2015])
def test_seattle_rings_show_within_four_weeks_after_rain_returned(seattle: pd.DataFrame, seattle_run: Simulation, year: int) -> None:
    series = pd.Series(contrast(seattle_run), index=seattle.index)
    returns = returns_of_rain(seattle, year)
    assert returns, "the record must hold a return of rain"
    assert max(series[day : day + pd.Timedelta(days=28)].max() for day in returns) >= 0.25


@pytest.mark.parametrize("year", [2012, 2013, 2014, 2015])
def test_seattle_contrast_falls_through_rainless_weeks_as_all_turns_brown(
    seattle: pd.DataFrame, seattle_run: Simulation, year: int
) -> None:
    series = pd.Series(contrast(seattle_run), index=seattle.index)
    dry = seattle.precipitation.loc[str(year)] < 0.5
    spells = dry.groupby((~dry).cumsum()).apply(lambda spell: spell.index[spell])
    longest = max(spells, key=len)
    assert len(longest) >= 21, "each of the four summers holds three rainless weeks"
    assert series[longest[-1]] < 0.5 * series[longest[0]]
    assert series[longest[-1]] < 0.05


def test_seattle_no_flush_hazard_more_than_three_weeks_after_the_last_rain(seattle: pd.DataFrame, seattle_run: Simulation) -> None:
    hazard = pd.Series(seattle_run.flush_hazard_per_day[:, 0], index=seattle.index)
    dry = seattle.precipitation.rolling(21).sum() == 0.0
    assert dry.sum() > 20
    # 0.1 % a day: the tail of the delay, thinner than anything a rule looks at.
    assert hazard[dry].max() < 0.001
