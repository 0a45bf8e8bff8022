"""Write the invented sample weather: history.csv, forecast.csv and members.csv.

Run it from anywhere: ``python sample_weather/make_sample.py``. It needs numpy only, uses a fixed seed, and imports nothing of the
program, so the program cannot lean on it. No station, forecast or reanalysis went into it: means and spreads below are round
numbers that make a lowland English year look right. See README.md beside this file.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SEED, MEMBER_SEED, MEMBERS = 20260912, 20260913, 21
DECIMALS = {"relative_humidity_percent": 0, "shortwave_wm2": 0}
LATITUDE_DEG, LONGITUDE_DEG = 52.0, -0.5
FIRST = datetime(2025, 3, 1, tzinfo=UTC)
NOW = datetime(2026, 9, 12, 5, tzinfo=UTC)
LAST = datetime(2026, 9, 26, 22, tzinfo=UTC)  # the hour that ends Saturday 26 September in Europe/London

# Round monthly figures, January to December. Invented, chosen by eye.
MEAN_TEMPERATURE_C = (4.5, 4.8, 6.8, 9.3, 12.3, 15.2, 17.2, 17.0, 14.6, 11.1, 7.4, 5.0)
MEAN_CLOUD = (0.80, 0.78, 0.74, 0.72, 0.70, 0.70, 0.70, 0.70, 0.72, 0.76, 0.79, 0.81)
MEAN_WIND_10M_MS = (5.0, 4.9, 4.7, 4.3, 4.0, 3.7, 3.6, 3.5, 3.6, 4.1, 4.4, 4.8)

# Warm spells of 2026: first day, last day, degrees above the season.
WARM_SPELLS: tuple[tuple[date, date, float], ...] = (
    (date(2026, 5, 20), date(2026, 5, 29), 3.0),
    (date(2026, 6, 12), date(2026, 6, 22), 4.5),
    (date(2026, 7, 5), date(2026, 7, 16), 6.0),
    (date(2026, 7, 26), date(2026, 8, 4), 4.0),
    (date(2026, 8, 12), date(2026, 8, 22), 5.0),
)

# The rain of 2026 from May on, day by day. Every day not named here is dry.
DROUGHT_FROM, STORY_FROM = date(2026, 5, 25), date(2026, 5, 1)
STORY_RAIN_MM: dict[date, float] = {
    date(2026, 5, 3): 7.2, date(2026, 5, 8): 9.4, date(2026, 5, 9): 1.6, date(2026, 5, 15): 7.8, date(2026, 5, 19): 4.4,
    date(2026, 5, 22): 9.4, date(2026, 5, 24): 5.0,
    # The drought: showers that wet the leaf and no more.
    date(2026, 6, 4): 1.2, date(2026, 6, 23): 2.6, date(2026, 7, 1): 0.6, date(2026, 7, 17): 3.8, date(2026, 8, 5): 2.2,
    date(2026, 8, 23): 1.0,
    # Rain returns.
    date(2026, 8, 28): 8.2, date(2026, 8, 29): 5.8, date(2026, 9, 1): 0.4, date(2026, 9, 3): 11.8, date(2026, 9, 4): 3.2,
    date(2026, 9, 6): 9.8, date(2026, 9, 9): 13.4, date(2026, 9, 10): 0.8,
    # The forecast: now is Saturday 12 September.
    date(2026, 9, 15): 20.4, date(2026, 9, 16): 1.8, date(2026, 9, 18): 8.6, date(2026, 9, 21): 11.2, date(2026, 9, 22): 1.4,
    date(2026, 9, 24): 9.0,
}  # fmt: skip
# Fine days of the forecast: the fixtures of these Saturdays should be played in mild, dry weather.
FINE_DAYS = (date(2026, 9, 12), date(2026, 9, 13), date(2026, 9, 19), date(2026, 9, 26))


@dataclass(frozen=True)
class Sky:
    """What the days are like before they become hours; arrays of shape (day,)."""

    days: tuple[date, ...]
    rain_mm: Floats
    cloud: Floats
    mean_temperature_c: Floats
    mean_wind_ms: Floats
    dry_air: Floats
    """0 is moist air, 1 the dry air of a hot spell."""


def by_season(monthly: tuple[float, ...], day: date) -> float:
    """Interpolate monthly figures, taken to hold in the middle of the month."""
    position = (day.timetuple().tm_yday - 15.0) / 30.4375
    return float(np.interp(position, np.arange(-1, 13), (monthly[-1], *monthly, monthly[0])))


def persistent_noise(rng: np.random.Generator, count: int, *, persistence: float, spread: float) -> Floats:
    """First-order autoregressive noise with the given standard deviation."""
    noise = np.zeros(count)
    shocks = rng.normal(0.0, spread * np.sqrt(1.0 - persistence**2), count)
    for step in range(1, count):
        noise[step] = persistence * noise[step - 1] + shocks[step]
    return noise


def rain_of_days(rng: np.random.Generator, days: tuple[date, ...]) -> Floats:
    """Daily rain: drawn until the end of April 2026, told by the story after it."""
    rain = np.zeros(len(days))
    wait = 2
    for position, day in enumerate(days):
        if day >= STORY_FROM:
            rain[position] = STORY_RAIN_MM.get(day, 0.0)
            continue
        wait -= 1
        if wait > 0:
            continue
        if 5 <= day.month <= 9:  # an ordinary to wet summer: nothing dries out for long
            rain[position] = np.clip(rng.gamma(2.4, 2.9), 1.0, 24.0)
            wait = int(rng.choice([1, 2, 3, 4], p=[0.25, 0.40, 0.30, 0.05]))
        else:
            rain[position] = np.clip(rng.gamma(1.3, 3.8), 0.4, 24.0)
            wait = int(rng.choice([1, 2, 3, 4], p=[0.30, 0.30, 0.25, 0.15]))
    return rain


def make_sky(rng: np.random.Generator, days: tuple[date, ...]) -> Sky:
    """Cloud, warmth, wind and dryness of each day, in step with its rain."""
    count = len(days)
    rain = rain_of_days(rng, days)
    drought = np.array([float(DROUGHT_FROM <= day <= date(2026, 8, 27)) for day in days])
    fine = np.array([float(day in FINE_DAYS) for day in days])
    warm = np.zeros(count)
    for first, last, degrees in WARM_SPELLS:
        inside = np.array([first <= day <= last for day in days], dtype=float)
        warm += degrees * inside
    warm = np.convolve(np.pad(warm, 1, mode="edge"), (0.25, 0.5, 0.25), mode="valid")

    cloud = np.array([by_season(MEAN_CLOUD, day) for day in days]) + persistent_noise(rng, count, persistence=0.45, spread=0.15)
    summer_2025 = np.array([float(date(2025, 5, 1) <= day <= date(2025, 9, 15)) for day in days])
    cloud += 0.15 * (rain > 1.0) - 0.02 * drought - 0.025 * warm - 0.12 * fine + 0.06 * summer_2025
    cloud = np.clip(cloud, 0.30, 0.98)

    autumn = np.array([float(day >= date(2026, 8, 28)) for day in days])
    anomaly = persistent_noise(rng, count, persistence=0.75, spread=2.1) * np.where(autumn > 0, 0.45, np.where(drought > 0, 0.6, 1.0))
    season = np.array([by_season(MEAN_TEMPERATURE_C, day) for day in days])
    mean_temperature = season + anomaly + warm + 0.8 * drought - 0.5 * summer_2025 + 0.5 * fine + 1.2 * autumn

    wind = np.array([by_season(MEAN_WIND_10M_MS, day) for day in days])
    wind = wind * np.exp(persistent_noise(rng, count, persistence=0.5, spread=0.28)) * (1.0 + 0.25 * (rain > 4.0)) * (1.0 - 0.25 * fine)
    dry_air = np.clip(0.15 + 0.30 * drought + 0.05 * warm + 0.5 * (0.7 - cloud) - 0.3 * (rain > 1.0), 0.0, 1.0)
    wind = wind * (1.0 - 0.22 * drought) * (1.0 - 0.03 * warm)
    wind = np.where(drought > 0, np.minimum(wind, 3.6), wind)
    return Sky(days, rain, cloud, mean_temperature, np.clip(wind, 1.4, 11.0), dry_air)


def sine_of_sun_height(moments_day_of_year: Floats, moments_hour_utc: Floats) -> Floats:
    """Sine of solar elevation, by a short series for declination and the equation of time (Spencer 1971, memory)."""
    angle = 2.0 * np.pi * (moments_day_of_year - 1.0) / 365.0
    declination = (
        0.006918
        - 0.399912 * np.cos(angle) + 0.070257 * np.sin(angle)
        - 0.006758 * np.cos(2 * angle) + 0.000907 * np.sin(2 * angle)
        - 0.002697 * np.cos(3 * angle) + 0.00148 * np.sin(3 * angle)
    )  # fmt: skip
    equation_of_time_h = (
        229.18 / 60.0
        * (0.000075 + 0.001868 * np.cos(angle) - 0.032077 * np.sin(angle) - 0.014615 * np.cos(2 * angle) - 0.040849 * np.sin(2 * angle))
    )  # fmt: skip
    hour_angle = np.radians(15.0 * (moments_hour_utc + LONGITUDE_DEG / 15.0 + equation_of_time_h - 12.0))
    latitude = np.radians(LATITUDE_DEG)
    return np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)


def clear_sky_of_hours(days: tuple[date, ...]) -> Floats:
    """Mean clear-sky radiation of each hour, W/m² (form of Haurwitz 1945, memory), shape (24 × day,)."""
    minutes = (np.arange(12) + 0.5) / 12.0
    day_of_year = np.array([day.timetuple().tm_yday for day in days], dtype=float)[:, None, None]
    hour = np.arange(24.0)[None, :, None] + minutes[None, None, :]
    sine = np.maximum(sine_of_sun_height(day_of_year + 0.0 * hour, hour + 0.0 * day_of_year), 1e-6)
    return (1098.0 * sine * np.exp(-0.057 / sine)).mean(axis=2).ravel()


def rain_of_hours(rng: np.random.Generator, sky: Sky) -> Floats:
    """Split each day's rain into one event of wet hours, in tenths of a millimetre; summer events are shorter."""
    rain = np.zeros(24 * len(sky.days))
    for position, (day, amount) in enumerate(zip(sky.days, sky.rain_mm, strict=True)):
        tenths = round(float(amount) * 10)
        if tenths == 0:
            continue
        longest = 5 if 6 <= day.month <= 8 else 9
        length = int(np.clip(round(rng.normal(1.5 + amount / 2.2, 1.2)), 1, longest))
        start = int(rng.integers(2, 22 - length))
        shape = np.sin(np.pi * (np.arange(length) + 0.6) / (length + 0.2)) ** 1.5 * rng.gamma(4.0, 0.25, length) + 0.02
        parts = np.floor(tenths * shape / shape.sum()).astype(int)
        parts[int(np.argmax(shape))] += tenths - int(parts.sum())
        rain[24 * position + start : 24 * position + start + length] = parts / 10.0
    return rain


def cloud_of_hours(rng: np.random.Generator, sky: Sky, rain_mm: Floats) -> Floats:
    """Cloud cover 0-1 by the hour: drifting about the day's value, closed around rain."""
    hours = np.arange(24 * len(sky.days))
    middle = 24.0 * np.arange(len(sky.days)) + 12.0
    cloud = np.interp(hours, middle, sky.cloud) + persistent_noise(rng, hours.size, persistence=0.7, spread=0.17)
    wet = np.convolve((rain_mm > 0).astype(float), np.ones(5), mode="same") > 0
    return np.clip(np.where(wet, np.maximum(cloud, 0.93), cloud), 0.0, 1.0)


def temperature_of_hours(rng: np.random.Generator, sky: Sky, clearness: Floats) -> Floats:
    """Air temperature: lowest near sunrise, highest in mid-afternoon, a wider swing under a clear sky."""
    count = len(sky.days)
    seasonal = np.array([0.72 - 0.28 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 10) / 365.0) for day in sky.days])
    swing = (3.0 + 9.5 * clearness) * seasonal * 1.15
    sunrise = np.array([6.0 + 2.0 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 5) / 365.0) for day in sky.days])
    knots_at, knots = [], []
    for position in range(count):
        knots_at += [24.0 * position + sunrise[position], 24.0 * position + 14.6]
        knots += [sky.mean_temperature_c[position] - 0.52 * swing[position], sky.mean_temperature_c[position] + 0.48 * swing[position]]
    at, level = np.array(knots_at), np.array(knots)
    hours = np.arange(24.0 * count)
    left = np.clip(np.searchsorted(at, hours, side="right") - 1, 0, at.size - 2)
    share = np.clip((hours - at[left]) / (at[left + 1] - at[left]), 0.0, 1.0)
    # A night cools fast at first and slowly later; a morning warms along half a cosine.
    rising = level[left + 1] > level[left]
    share = np.where(rising, (1.0 - np.cos(np.pi * share)) / 2.0, np.sin(np.pi * share / 2.0) ** 1.3)
    smooth = level[left] + (level[left + 1] - level[left]) * share
    return smooth + persistent_noise(rng, hours.size, persistence=0.6, spread=0.25)


def magnus_kpa(temperature_c: Floats) -> Floats:
    """Saturation vapour pressure over water, kPa (the form FAO-56 gives as eq. 11)."""
    return 0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3))


def make_hours() -> tuple[list[datetime], dict[str, Floats]]:
    """All hours from FIRST to a day past LAST with their columns, rounded as they are written."""
    rng = np.random.default_rng(SEED)
    day_count = (LAST.date() - FIRST.date()).days + 2  # one day more, so that the last evening has a morning to cool towards
    days = tuple(FIRST.date() + timedelta(days=n) for n in range(day_count))
    sky = make_sky(rng, days)
    rain = rain_of_hours(rng, sky)
    cloud = cloud_of_hours(rng, sky, rain)
    clear = clear_sky_of_hours(days)
    shortwave = clear * (1.0 - 0.75 * cloud**3.4)  # cloud factor: form of Kasten and Czeplak 1980 (memory)
    clearness = shortwave.reshape(-1, 24).sum(axis=1) / clear.reshape(-1, 24).sum(axis=1)

    temperature = temperature_of_hours(rng, sky, clearness)
    # Evaporation cools the air a little while it rains.
    temperature = temperature - 0.8 * np.convolve((rain > 0).astype(float), (0.3, 0.4, 0.3), mode="same")
    coldest = temperature.reshape(-1, 24).min(axis=1)
    hours = np.arange(24 * day_count)
    dew = np.interp(hours, 24.0 * np.arange(day_count) + 9.0, coldest - 0.4 - 3.6 * sky.dry_air)
    dew = dew + persistent_noise(rng, hours.size, persistence=0.9, spread=0.5)
    wetness = np.convolve((rain > 0).astype(float), (0.2, 0.2, 0.3, 0.2, 0.1), mode="same")
    dew = dew + np.maximum(temperature - 0.9 - dew, 0.0) * np.minimum(wetness * 1.4, 0.92)
    temperature = temperature.round(1)
    dew = np.minimum(dew.round(1), (temperature - 0.4).round(1))
    humidity = np.clip(100.0 * magnus_kpa(dew) / magnus_kpa(temperature), 0.0, 100.0).round(0)

    daily_wind = np.interp(hours, 24.0 * np.arange(day_count) + 12.0, sky.mean_wind_ms)
    wind = daily_wind * (1.0 + 0.30 * np.cos(2 * np.pi * ((hours % 24) - 14.0) / 24.0))
    wind = np.clip(wind * np.exp(persistent_noise(rng, hours.size, persistence=0.6, spread=0.14)), 0.3, 20.0)

    stamps = [FIRST + timedelta(hours=int(hour)) for hour in hours]
    columns = {
        "air_temperature_c": temperature,
        "dew_point_c": dew,
        "relative_humidity_percent": humidity,
        "wind_speed_ms": wind.round(1),
        "shortwave_wm2": shortwave.round(0),
        "precipitation_mm": rain.round(1),
    }
    return stamps, {name: column + 0.0 for name, column in columns.items()}


def rain_of_member(rng: np.random.Generator, rain_mm: Floats) -> Floats:
    """The forecast's rain as one member tells it: the further ahead, the more events move, change size, fail or come from nothing."""
    told = np.zeros_like(rain_mm)
    hours = rain_mm.size
    wet = np.flatnonzero(rain_mm > 0)
    events = np.split(wet, np.flatnonzero(np.diff(wet) > 1) + 1) if wet.size else []
    for event in events:
        days_ahead = event[0] / 24.0
        stays = rng.random() >= min(0.025 * days_ahead, 0.35)
        moved = round(rng.normal(0.0, 0.5 + 1.3 * days_ahead))
        size = np.exp(rng.normal(0.0, 0.08 + 0.045 * days_ahead))
        for hour in event:
            if stays and 0 <= hour + moved < hours:
                told[hour + moved] += rain_mm[hour] * size
    for day in range(2, hours // 24):
        if rng.random() < min(0.012 * day, 0.14):
            length = int(rng.integers(1, 6))
            start = 24 * day + int(rng.integers(0, 24 - length))
            told[start : start + length] += rng.gamma(1.3, 3.4) / length
    return told.round(1)


def make_members(columns: dict[str, Floats], coming: npt.NDArray[np.bool_], clear_wm2: Floats) -> list[dict[str, Floats]]:
    """The coming hours as each member tells them; the first is the forecast itself. Members drift apart with time."""
    rng = np.random.default_rng(MEMBER_SEED)
    base = {name: column[coming] for name, column in columns.items()}
    count = int(coming.sum())
    ahead = np.minimum(np.arange(count) / 24.0 / 14.0, 1.0)
    members = [base]
    for _ in range(MEMBERS - 1):
        rain = rain_of_member(rng, base["precipitation_mm"])
        wet = np.convolve((rain > 0).astype(float), np.ones(3) / 3.0, mode="same")
        was_wet = np.convolve((base["precipitation_mm"] > 0).astype(float), np.ones(3) / 3.0, mode="same")
        warmer = persistent_noise(rng, count, persistence=0.985, spread=2.6) * ahead
        temperature = (base["air_temperature_c"] + warmer - 0.8 * (wet - was_wet)).round(1)
        dew = base["dew_point_c"] + 0.8 * warmer + np.clip(wet - was_wet, -1.0, 1.0) * 1.5
        dew = np.minimum(dew.round(1), (temperature - 0.4).round(1))
        brighter = np.exp(persistent_noise(rng, count, persistence=0.95, spread=0.3) * ahead) * (
            1.0 - 0.45 * np.maximum(wet - was_wet, 0.0)
        )
        shortwave = np.minimum(base["shortwave_wm2"] * brighter, clear_wm2[coming])
        wind = base["wind_speed_ms"] * np.exp(persistent_noise(rng, count, persistence=0.97, spread=0.3) * ahead)
        members.append(
            {
                "air_temperature_c": temperature,
                "dew_point_c": dew,
                "relative_humidity_percent": np.clip(100.0 * magnus_kpa(dew) / magnus_kpa(temperature), 0.0, 100.0).round(0),
                "wind_speed_ms": np.clip(wind, 0.3, 20.0).round(1),
                "shortwave_wm2": shortwave.round(0),
                "precipitation_mm": rain,
            }
        )
    return [{name: column + 0.0 for name, column in member.items()} for member in members]


def write_members(path: Path, stamps: list[datetime], members: list[dict[str, Floats]]) -> None:
    """Write every member's hours, one line each, under the member's number; 0 is the forecast itself."""
    lines = [",".join(("member", "time_utc", *members[0]))]
    for number, member in enumerate(members):
        for position, stamp in enumerate(stamps):
            cells = [f"{column[position]:.{DECIMALS.get(name, 1)}f}" for name, column in member.items()]
            lines.append(",".join((str(number), stamp.strftime("%Y-%m-%dT%H:%MZ"), *cells)))
    path.write_text("\n".join(lines).replace("-0.0,", "0.0,") + "\n", encoding="ascii", newline="\n")


def write_part(path: Path, stamps: list[datetime], columns: dict[str, Floats], keep: npt.NDArray[np.bool_]) -> None:
    """Write the hours to keep, one line each."""
    lines = [",".join(("time_utc", *columns))]
    for position in np.flatnonzero(keep):
        cells = [f"{column[position]:.{DECIMALS.get(name, 1)}f}" for name, column in columns.items()]
        lines.append(",".join((stamps[position].strftime("%Y-%m-%dT%H:%MZ"), *cells)).replace("-0.0,", "0.0,"))
    path.write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")


def main() -> None:
    """Write the three files beside this script."""
    folder = Path(__file__).resolve().parent
    stamps, columns = make_hours()
    past = np.array([stamp < NOW for stamp in stamps])
    coming = np.array([NOW <= stamp <= LAST for stamp in stamps])
    write_part(folder / "history.csv", stamps, columns, past)
    write_part(folder / "forecast.csv", stamps, columns, coming)
    days = tuple(FIRST.date() + timedelta(days=n) for n in range(len(stamps) // 24))
    members = make_members(columns, coming, clear_sky_of_hours(days))
    write_members(folder / "members.csv", [stamp for stamp, ahead in zip(stamps, coming, strict=True) if ahead], members)


if __name__ == "__main__":
    main()
