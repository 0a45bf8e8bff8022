"""grounds/*.toml: one file per ground, from TOML to the frozen objects of the ground layer."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field

from forecaster.ground.fixture import Fixture
from forecaster.ground.ground import Ground, TeamCalendar, WeatherChoice
from forecaster.ground.onsite import OnsiteSource
from forecaster.ground.ring import Ring
from forecaster.ground.surface import Irrigation, Surface
from forecaster.settings.mistakes import Missing, MistakeList, Note, nearest
from forecaster.settings.onsite import OnsiteEntry, read_onsite_entry
from forecaster.settings.reading import Entry, Id, Name, check, entries, note_duplicates, raw_ids, read_toml, valid_or_none
from forecaster.settings.recipients import RecipientEntry, read_recipients
from forecaster.settings.shipped import shipped_folder
from forecaster.settings.soils import Materials, RootZoneEntry, TurfDetails, check_ramp, root_zone, turf_type

WALL_TIME = 'a local date and time, "2026-09-12T14:00"'
CALENDAR_ADDRESS = 'the address of a calendar without a user name in it, "https://calendar.example/team.ics"'
Month = Annotated[int, Field(ge=1, le=12)]


class WeatherEntry(Entry):
    """[weather]."""

    source: Literal["open-meteo", "csv", "sample"]
    file: str | None = None


class IrrigationEntry(Entry):
    """[surface.irrigation]."""

    amount_mm: float = Field(ge=0.5, le=50.0)
    every_days: int = Field(ge=1, le=31)
    first_month: Month
    last_month: Month


class RingEntry(Entry):
    """[[surface.ring]]. A single mushroom's patch to the largest rings that are still mapped by hand."""

    id: Id
    centre_x_m: float = Field(ge=-100.0, le=1000.0)
    centre_y_m: float = Field(ge=-100.0, le=1000.0)
    diameter_m: float = Field(ge=0.1, le=200.0)
    band_width_m: float = Field(ge=0.02, le=10.0)
    type: Literal[1, 2, 3]
    surveyed: date


class SurfaceEntry(Entry):
    """[[surface]]. FAO-56 roots turf at 0.5-1.0 m, mown pitches root to 0.10-0.30 m (common practice, no source)."""

    id: Id
    name: Name
    use: Name
    length_m: float = Field(ge=1.0, le=1000.0)
    width_m: float = Field(ge=1.0, le=1000.0)
    soil: str | None = None
    root_depth_m: float = Field(ge=0.05, le=1.0)
    surface_depth_m: float = Field(default=0.05, ge=0.02, le=0.15)
    turf: str
    root_zone: RootZoneEntry = RootZoneEntry()
    turf_details: TurfDetails = TurfDetails()
    irrigation: IrrigationEntry | None = None
    ring: list[RingEntry] = Field(default=[])


class FixtureEntry(Entry):
    """[[fixture]]; times are the ground's wall-clock times."""

    id: Id
    surface: str
    title: Name
    starts: str = Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d$", description=WALL_TIME)
    ends: str = Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d$", description=WALL_TIME)


class GroundFile(Entry):
    """One file of grounds/. Elevation: from the lowest shore to the highest pitches on Earth."""

    id: Id
    name: Name
    latitude: float = Field(ge=-90.0, le=90.0)
    longitude: float = Field(ge=-180.0, le=180.0)
    elevation_m: float = Field(ge=-430.0, le=5500.0)
    time_zone: str
    calendar: str | None = Field(default=None, pattern=r"^https://[^\s/?#@\\]+([/?][!-~]*)?$", description=CALENDAR_ADDRESS)
    calendar_surface: str | None = None
    weather: WeatherEntry
    surface: list[SurfaceEntry] = Field(min_length=1, description="at least one [[surface]]")
    recipient: list[RecipientEntry] = Field(default=[])
    fixture: list[FixtureEntry] = Field(default=[])
    onsite: list[OnsiteEntry] = Field(default=[])


@dataclass(frozen=True)
class GroundReader:
    """Reads one ground's file and notes its mistakes under the file's name."""

    folder: Path
    beside: Path
    """The folder that paths to other files are given from; the same but for a kept copy of the configuration."""
    file: str
    materials: Materials
    known_soils: frozenset[str] | None
    known_turf: frozenset[str] | None
    """Ids that may be referred to; None where their file could not be read, which is said once and not at every surface."""
    mistakes: MistakeList

    def read(self) -> Ground | None:
        """Return the ground, or None where anything about it is wrong."""
        data = read_toml(self.folder / self.file, self.file, self.mistakes)
        if data is None:
            return None
        before = len(self.mistakes.found)
        checked = check(GroundFile, data, self.file, self.mistakes)
        zone = self._time_zone(data.get("time_zone"))
        weather = self._weather(valid_or_none(WeatherEntry, data.get("weather")))
        raw_surfaces = entries(data, "surface")
        note_duplicates(raw_surfaces, "surface", self.file, self.mistakes)
        surfaces = [self._surface(raw, f"surface[{number}]") for number, raw in enumerate(raw_surfaces, start=1)]
        raw_fixtures = entries(data, "fixture")
        note_duplicates(raw_fixtures, "fixture", self.file, self.mistakes)
        known = raw_ids(raw_surfaces)
        clock = zone or ZoneInfo("UTC")  # with a zone that is not known, fixtures are still checked
        fixtures = [self._fixture(raw, f"fixture[{number}]", clock, known) for number, raw in enumerate(raw_fixtures, start=1)]
        recipients = read_recipients(entries(data, "recipient"), self.file, self.mistakes)
        onsite = self._onsite(entries(data, "onsite"), known)
        self._check_calendar(data, known)
        if checked is None or zone is None or weather is None or len(self.mistakes.found) > before:
            return None
        return Ground(
            id=checked.id,
            name=checked.name,
            latitude=checked.latitude,
            longitude=checked.longitude,
            elevation_m=checked.elevation_m,
            time_zone=zone,
            weather=weather,
            surfaces=tuple(surface for surface in surfaces if surface),
            recipients=recipients,
            fixtures=tuple(sorted((f for f in fixtures if f), key=lambda f: (f.starts_at, f.id))),
            onsite=tuple(source for source in onsite if source),
            calendar=None if checked.calendar is None else TeamCalendar(checked.calendar, checked.calendar_surface),
        )

    def _check_calendar(self, data: Mapping[str, Any], surfaces: list[str]) -> None:
        """Check where events go that name no surface."""
        surface = data.get("calendar_surface")
        if not isinstance(surface, str):
            return  # not given, or noted by check
        if "calendar" not in data:
            self.mistakes.add(self.file, "calendar_surface", surface, "only together with calendar")
        elif surface not in surfaces:
            self.mistakes.add(self.file, "calendar_surface", surface, f"the id of a surface of this ground; {nearest(surface, surfaces)}")

    def _onsite(self, raw: list[Any], surfaces: list[str]) -> list[OnsiteSource | None]:
        note_duplicates(raw, "onsite", self.file, self.mistakes)
        return [
            read_onsite_entry(
                entry, prefix=f"onsite[{number}]", folder=self.beside, surfaces=surfaces, file=self.file, mistakes=self.mistakes
            )
            for number, entry in enumerate(raw, start=1)
        ]

    def _time_zone(self, name: Any) -> ZoneInfo | None:
        if not isinstance(name, str):
            return None  # noted by check
        if name not in (zones := available_timezones()):
            self.mistakes.add(self.file, "time_zone", name, f"an IANA time zone, Europe/London; {_nearest_zone(name, zones)}")
            return None
        return ZoneInfo(name)

    def _weather(self, weather: WeatherEntry | None) -> WeatherChoice | None:
        if weather is None:
            return None
        if weather.source == "csv":
            path = (self.beside / weather.file).resolve() if weather.file else None
            if path is None or not path.is_file():
                allowed = "an existing CSV file, given from the configuration folder"
                self.mistakes.add(self.file, "weather.file", weather.file or Missing(), allowed)
                return None
            return WeatherChoice("csv", str(path))
        if weather.file is not None:
            self.mistakes.add(self.file, "weather.file", weather.file, 'only with source = "csv"')
            return None
        return WeatherChoice("sample", str(shipped_folder("sample_weather"))) if weather.source == "sample" else WeatherChoice("open-meteo")

    def _surface(self, raw: Any, prefix: str) -> Surface | None:
        """Check what one surface refers to and whether its numbers agree; None where the surface is not sound by itself."""
        name = _id_of(raw)
        note = self.mistakes.noter(self.file, prefix, name)
        if isinstance(raw, Mapping):
            for key, known in (("soil", self.known_soils), ("turf", self.known_turf)):
                if known is not None and isinstance(raw.get(key), str) and raw[key] not in known:
                    note(key, raw[key], f"an id of {'soils' if key == 'soil' else 'turf'}.toml; {nearest(raw[key], known)}")
            note_duplicates(entries(raw, "ring"), f"{prefix}.ring", self.file, self.mistakes)
        # The rings are looked at one by one, so that a wrong ring does not hide what is wrong with the soil, nor the other way round.
        entry = valid_or_none(SurfaceEntry, {**raw, "ring": []} if isinstance(raw, Mapping) else raw)
        if entry is None:
            return None
        if entry.surface_depth_m >= entry.root_depth_m:
            note("surface_depth_m", entry.surface_depth_m, f"less than root_depth_m, {entry.root_depth_m:g}")
        rings = []
        for number, raw_ring in enumerate(entries(raw, "ring"), start=1):
            ring = valid_or_none(RingEntry, raw_ring)
            if ring is not None:
                rings.append(self._ring(ring, entry, f"{prefix}.ring[{number}]"))
        soil, turf = self.materials.soils.get(entry.soil or ""), self.materials.turf.get(entry.turf)
        if entry.turf_details.growth_ramp_c:
            check_ramp(entry.turf_details.growth_ramp_c, self.mistakes.noter(self.file, f"{prefix}.turf_details", name))
        if self.materials.defaults is None or turf is None or (soil is None and entry.soil is not None):
            return None
        zone = root_zone(
            soil,
            entry.root_zone,
            self.materials.defaults,
            root_depth_m=entry.root_depth_m,
            surface_depth_m=entry.surface_depth_m,
            note=self.mistakes.noter(self.file, f"{prefix}.root_zone", name),
        )
        if zone is None:
            return None
        return Surface(
            id=entry.id,
            name=entry.name,
            use=entry.use,
            length_m=entry.length_m,
            width_m=entry.width_m,
            root_zone=zone,
            turf=turf_type(turf, entry.turf_details),
            irrigation=Irrigation(**entry.irrigation.model_dump()) if entry.irrigation else None,
            rings=tuple(rings),
        )

    def _ring(self, ring: RingEntry, surface: SurfaceEntry, prefix: str) -> Ring:
        note = self.mistakes.noter(self.file, prefix, ring.id)
        radius = ring.diameter_m / 2.0
        if ring.band_width_m > radius:
            note("band_width_m", ring.band_width_m, f"at most half the diameter, {radius:g}")
        nearest_x = min(max(ring.centre_x_m, 0.0), surface.length_m)
        nearest_y = min(max(ring.centre_y_m, 0.0), surface.width_m)
        if math.hypot(ring.centre_x_m - nearest_x, ring.centre_y_m - nearest_y) >= radius:
            place = [ring.centre_x_m, ring.centre_y_m]
            size = f"{surface.length_m:g} m long and {surface.width_m:g} m wide"
            note("centre_x_m, centre_y_m", place, f"a ring that lies on its surface, {size}")
        return Ring(**ring.model_dump())

    def _fixture(self, raw: Any, prefix: str, zone: ZoneInfo, known: list[str]) -> Fixture | None:
        note = self.mistakes.noter(self.file, prefix, _id_of(raw))
        if isinstance(raw, Mapping) and isinstance(raw.get("surface"), str) and raw["surface"] not in known:
            note("surface", raw["surface"], f"the id of a surface of this ground; {nearest(raw['surface'], known)}")
        entry = valid_or_none(FixtureEntry, raw)
        if entry is None:
            return None
        starts, ends = (_wall_time(getattr(entry, key), zone, key, note) for key in ("starts", "ends"))
        if starts is None or ends is None:
            return None
        if ends <= starts:
            note("ends", entry.ends, f"later than the start, {entry.starts}")
            return None
        return Fixture(entry.id, entry.surface, entry.title, starts, ends)


def _id_of(raw: Any) -> str:
    """The id of a raw entry, or nothing."""
    found = raw.get("id") if isinstance(raw, Mapping) else None
    return found if isinstance(found, str) else ""


def _wall_time(text: str, zone: ZoneInfo, key: str, note: Note) -> datetime | None:
    """Turn wall-clock time into UTC. An hour that comes twice is taken the first time; one that is skipped is a mistake."""
    try:
        local = datetime.fromisoformat(text).replace(tzinfo=zone)
    except ValueError:
        note(key, text, f"{WALL_TIME}, that the calendar has")
        return None
    utc = local.astimezone(UTC)
    if utc.astimezone(zone).replace(tzinfo=None) != local.replace(tzinfo=None):
        later = utc.astimezone(zone).strftime("%H:%M")
        note(key, text, f"a time that exists: the clocks go forward over it; {later} may be meant")
        return None
    return utc


def _nearest_zone(name: str, zones: set[str]) -> str:
    """Suggest a zone by its whole name, or by its last part alone ("London")."""
    places = [zone for zone in sorted(zones) if "/" in zone and not zone.startswith("Etc/")]
    by_city = {zone.rsplit("/", 1)[-1].lower(): zone for zone in places}
    city = by_city.get(name.strip().replace(" ", "_").rsplit("/", 1)[-1].lower())
    if city:
        return f'did you mean "{city}"?'
    suggestion = nearest(name, zones)
    return suggestion if suggestion.startswith("did") else "written Area/City"
