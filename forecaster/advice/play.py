"""What speaks against play on a surface at a time: each reason in plain words, with what it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from forecaster.advice.limits import BookingLimits
from forecaster.documents import AlertDocument, ColumnDay, FixtureSummary, OutlookDay, SurfaceOutlook, WeatherStatus, WetSpell
from forecaster.quantities import Origin
from forecaster.records import ApplicationEntry, FruitBodies

Verdict = Literal["nothing-against-it", "look-first", "not-known", "keep-off"]
Basis = Literal["hours", "day", "entered"]
Resolution = Literal["hours", "day", "none"]

# An outlook keeps wet hours of today and the four days after it.
WET_DAYS = 5
_WEEK = timedelta(days=6)
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")


@dataclass(frozen=True)
class BookingData:
    """What is known of one surface.

    ``outlook``: the newest one, None where there is none. ``weather``: as it stands now, so that an old outlook counts as stale.
    ``applications``, ``fruit_bodies``, ``fixtures``, ``alerts``: of this surface, open alerts only. ``now``: tz-aware UTC.
    """

    outlook: SurfaceOutlook | None
    weather: WeatherStatus
    time_zone: ZoneInfo
    alerts: Sequence[AlertDocument]
    applications: Sequence[ApplicationEntry]
    fruit_bodies: Sequence[FruitBodies]
    fixtures: Sequence[FixtureSummary]
    now: datetime


@dataclass(frozen=True)
class Reason:
    """One thing that speaks against play, or that is not known. ``basis``: hours or whole days of the forecast, or what people entered."""

    code: str
    verdict: Verdict
    text: str
    basis: Basis


@dataclass(frozen=True)
class Play:
    """The time that is asked about."""

    starts_at: datetime
    ends_at: datetime
    time_zone: ZoneInfo
    children: bool

    @property
    def length(self) -> timedelta:
        """How long it lasts."""
        return self.ends_at - self.starts_at

    @property
    def days(self) -> tuple[date, ...]:
        """The local days that it touches."""
        first = self.starts_at.astimezone(self.time_zone).date()
        last = (self.ends_at - timedelta(microseconds=1)).astimezone(self.time_zone).date()
        return tuple(first + timedelta(days=n) for n in range((last - first).days + 1))

    def overlaps(self, start: datetime, end: datetime) -> bool:
        """Whether a time from ``start`` to ``end`` and this one have something in common."""
        return start < self.ends_at and end > self.starts_at


def reasons_of(data: BookingData, limits: BookingLimits, play: Play) -> tuple[tuple[Reason, ...], Resolution]:
    """Everything that speaks against play at a time, the gravest kinds first, and whether hours or whole days were judged."""
    entered = [*_fixtures(data, play), *_applications(data, limits, play), *_seen(data, limits, play)]
    known = _known_days(data, play)
    if isinstance(known, Reason):
        return (*entered, known), "none"
    outlook, days = known
    hourly = outlook.wet_hours is not None and all((day.day - outlook.today).days < WET_DAYS for day in days)
    by_day = {day.day: day for day in outlook.days}
    forecast: list[Reason] = []
    for day in days:
        forecast += _ground(day, by_day.get(day.day - timedelta(days=1)), limits, play)
        forecast += _flush(day, by_day.get(day.day - _WEEK), outlook, limits, play)
        if not hourly:
            forecast += _rain_by_day(day, limits)
    by_hour = list(_leaf_by_hour(outlook.wet_hours or (), play)) if hourly else []
    forecast += by_hour
    if not any(reason.code == "frost" for reason in by_hour):
        # The hours know frost only as frozen water on the leaf; a dry night freezes it too.
        forecast += [reason for day in days for reason in _frost_by_day(day, limits, play)]
    return (*entered, *forecast, *_alerts(data, limits, play)), "hours" if hourly else "day"


def _known_days(data: BookingData, play: Play) -> tuple[SurfaceOutlook, list[OutlookDay]] | Reason:
    """The outlook and its days that the time touches, or why they are not known."""
    outlook = data.outlook
    if outlook is None:
        return _unknown("no-outlook", "No outlook of this surface has been made yet.")
    if data.weather.state != "fresh":
        return _unknown("weather-not-fresh", data.weather.text)
    if not outlook.known:
        return _unknown("surface-not-known", outlook.headline)
    by_day = {day.day: day for day in outlook.days}
    found = [by_day[day] for day in play.days if day in by_day]
    if len(found) < len(play.days):
        return _unknown("beyond-outlook", "This lies outside the days of the outlook.")
    missing = [day for day in found if day.origin is Origin.MISSING or day.sound is None]
    if missing:
        return _unknown("day-without-weather", f"There is no weather for {day_words(missing[0].day)}.")
    return outlook, found


def _unknown(code: str, text: str) -> Reason:
    return Reason(code, "not-known", text, "day")


def _fixtures(data: BookingData, play: Play) -> Iterator[Reason]:
    for fixture in data.fixtures:
        if play.overlaps(fixture.starts_at_utc, fixture.ends_at_utc):
            span = _span(fixture.starts_at_utc, fixture.ends_at_utc, play)
            yield Reason("another-fixture", "keep-off", f"Booked already: {fixture.title}, {span}.", "entered")


def _applications(data: BookingData, limits: BookingLimits, play: Play) -> Iterator[Reason]:
    for put_down in data.applications:
        if put_down.applied_at_utc >= play.ends_at or put_down.kind == "water":
            continue
        until = put_down.keep_off_until_utc
        if until is not None and until > play.starts_at:
            text = f"{put_down.product} was put down: people keep off until {_moment(until, play)}."
            yield Reason("keep-off-after-treatment", "keep-off", text, "entered")
        elif until is None and put_down.applied_at_utc + timedelta(hours=limits.treatment_hours) > play.starts_at:
            washed = "" if put_down.washed_in_mm else " and no washing in was entered"
            text = (
                f"{put_down.product} was put down {_moment(put_down.applied_at_utc, play)}{washed}, and nobody entered how long to keep "
                "off: read the label. Treated leaf is slippery until it is washed and dry."
            )
            # The label's time is law, and we do not have it.
            yield Reason("keep-off-not-entered", "not-known", text, "entered")


def _seen(data: BookingData, limits: BookingLimits, play: Play) -> Iterator[Reason]:
    if not play.children:
        return
    recent = [seen for seen in data.fruit_bodies if play.starts_at - seen.observed_at_utc < timedelta(days=limits.fruit_bodies_days)]
    # By ring: none on one takes nothing back of another. Counts without a ring are of the whole surface, and stand by themselves.
    latest: dict[str | None, FruitBodies] = {}
    for seen in sorted(recent, key=lambda seen: seen.observed_at_utc):
        if seen.observed_at_utc < play.ends_at:
            latest[seen.ring_id] = seen
    newest = max((seen for seen in latest.values() if seen.count > 0), key=lambda seen: seen.observed_at_utc, default=None)
    if newest is not None:
        text = f"Toadstools were seen on {_moment(newest.observed_at_utc, play)}: pick them with gloves before children play."
        yield Reason("fruit-bodies-seen", "look-first", text, "entered")


def _flush(day: OutlookDay, week_before: OutlookDay | None, outlook: SurfaceOutlook, limits: BookingLimits, play: Play) -> Iterator[Reason]:
    """Toadstools that stand on the day came up in the week up to it: the chance of seven days, counted from six days before."""
    if not play.children or not outlook.rings:
        return
    counted = week_before if week_before is not None and week_before.flush_chance_7_days is not None else day
    chance = counted.flush_chance_7_days
    if chance is None:
        yield Reason("fruit-bodies-not-known", "not-known", f"Nothing is known of toadstools on {day_words(day.day)}.", "day")
    elif chance >= limits.flush_chance:
        likely = f"{chance:.0%} on a ring by our model, untested"
        text = f"Toadstools may stand on {day_words(day.day)} ({likely}): walk the rings and pick them before children play."
        yield Reason("fruit-bodies-likely", "look-first", text, "day")


def _ground(day: OutlookDay, before: OutlookDay | None, limits: BookingLimits, play: Play) -> Iterator[Reason]:
    """Frozen, full, hard or dormant: what the soil and the turf of the day say."""
    sound = day.sound
    if sound is None:
        return
    name = day_words(day.day)
    if day.soil_temperature_c is not None and day.soil_temperature_c <= limits.frozen_soil_c:
        yield Reason("frozen-ground", "keep-off", f"The ground is frozen on {name}: hard under foot, and the turf breaks.", "day")
    yield from _full(day, sound, before, limits)
    if sound.available_water_fraction < limits.hard_ground_share:
        left = f"{sound.available_water_fraction:.0%}"
        yield Reason("hard-ground", "look-first", f"The soil is dry on {name} ({left} of its water left) and may be hard.", "day")
    if sound.stress_coefficient < limits.dormant_stress and sound.green_cover < limits.dormant_look_first_cover:
        keep_off = sound.green_cover < limits.dormant_keep_off_cover
        text = f"Drought has sent the turf to sleep ({sound.green_cover:.0%} green): sleeping crowns survive drought, not traffic."
        yield Reason("dormant-turf", "keep-off" if keep_off else "look-first", text, "day")


def _full(day: OutlookDay, sound: ColumnDay, before: OutlookDay | None, limits: BookingLimits) -> Iterator[Reason]:
    wet = (day.rain_mm or 0.0) + (day.irrigation_mm or 0.0)
    if sound.available_water_fraction >= limits.full_soil_share and wet >= limits.rain_look_first_mm:
        text = f"The soil is full and takes {wet:.0f} mm more on {day_words(day.day)}: soft, and play tears it."
        yield Reason("saturated", "keep-off" if wet >= limits.rain_keep_off_mm else "look-first", text, "day")
    elif before is not None and before.sound is not None:
        wet = (before.rain_mm or 0.0) + (before.irrigation_mm or 0.0)
        if before.sound.available_water_fraction >= limits.full_soil_share and wet >= limits.rain_keep_off_mm:
            yield Reason("saturated", "look-first", f"{wet:.0f} mm fell on full soil the day before: it may still be soft.", "day")


def _leaf_by_hour(spells: tuple[WetSpell, ...], play: Play) -> Iterator[Reason]:
    for spell in spells:
        if not play.overlaps(spell.starts_at_utc, spell.ends_at_utc):
            continue
        dry = f"until about {_clock(spell.ends_at_utc, play)}"
        about = "" if spell.exact else ", roughly"
        if spell.cause == "unknown":
            yield Reason("hours-without-weather", "not-known", f"There is no weather {dry} to tell whether the leaf is wet.", "hours")
        elif spell.cause == "frost":
            yield Reason("frost", "keep-off", f"Frost lies on the leaf {dry}{about}: feet break frozen leaf.", "hours")
        elif spell.water_until_utc is not None and spell.water_until_utc > play.starts_at:
            what = "Rain falls" if spell.cause == "rain" else "Watering runs"
            yield Reason("rain-during-play", "look-first", f"{what} in that time{about}: wet and slippery {dry}.", "hours")
        else:
            yield Reason("wet-leaf", "look-first", f"The leaf is wet ({spell.cause}) {dry}{about}: slippery.", "hours")


def _rain_by_day(day: OutlookDay, limits: BookingLimits) -> Iterator[Reason]:
    if day.rain_mm is not None and day.rain_mm >= limits.rain_look_first_mm:
        told = f"About {day.rain_mm:.0f} mm of rain on {day_words(day.day)}; nobody knows the hours yet."
        yield Reason("rain-that-day", "look-first", told, "day")


def _frost_by_day(day: OutlookDay, limits: BookingLimits, play: Play) -> Iterator[Reason]:
    name = day_words(day.day)
    if day.air_temperature_min_c is not None and day.air_temperature_min_c <= limits.frost_air_c:
        start = play.starts_at.astimezone(play.time_zone)
        if start < datetime.combine(day.day, limits.frost_until, play.time_zone):
            text = f"Frost on {name} ({day.air_temperature_min_c:.0f} °C at the lowest): feet break frozen leaf, wait until it is gone."
            yield Reason("frost-that-day", "look-first", text, "day")


def _alerts(data: BookingData, limits: BookingLimits, play: Play) -> Iterator[Reason]:
    for alert in data.alerts:
        touched = any(alert.first_day <= day <= alert.last_day for day in play.days)
        if touched and alert.severity.rank >= limits.alert_severity.rank:
            yield Reason("alert", "look-first", f"{alert.title} ({alert.severity}): {alert.reason}", "day")


def day_words(day: date) -> str:
    """ "Saturday 12 September"."""
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def _clock(moment: datetime, play: Play) -> str:
    local = moment.astimezone(play.time_zone)
    return f"{local:%H:%M}" if local.date() in play.days else f"{local:%H:%M} on {day_words(local.date())}"


def _moment(moment: datetime, play: Play) -> str:
    local = moment.astimezone(play.time_zone)
    return f"{day_words(local.date())}{'' if local.time() == time.min else f', {local:%H:%M}'}"


def _span(starts: datetime, ends: datetime, play: Play) -> str:
    start, end = starts.astimezone(play.time_zone), ends.astimezone(play.time_zone)
    until = f"{end:%H:%M}" if end.date() == start.date() else f"{day_words(end.date())}, {end:%H:%M}"
    return f"{day_words(start.date())}, {start:%H:%M} to {until}"
