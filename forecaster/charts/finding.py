"""The finding of a chart, in words computed from its numbers: it becomes the chart's title."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from itertools import takewhile

from forecaster.documents import OutlookDay, SurfaceOutlook

# A chance of fruit bodies below this is called low, not dated. Status: assumption.
FLUSH_WORTH_A_DATE = 0.10

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")


def day_in_words(day: date) -> str:
    """A day as people write it: "8 September"."""
    return f"{day.day} {MONTHS[day.month - 1]}"


def percent(share: float) -> str:
    """A share as people write it: "36%"."""
    return f"{100 * share:.0f}%"


def _margin(outlook: SurfaceOutlook, name: str, day: OutlookDay) -> float | None:
    column = day.sound if name == "sound" else day.band
    critical = outlook.marks.critical_water_sound_m3m3 if name == "sound" else outlook.marks.critical_water_band_m3m3
    return None if column is None else column.surface_water_m3m3 - critical


def _run_back(days: Sequence[OutlookDay], holds: Callable[[OutlookDay], bool]) -> tuple[date, bool] | None:
    """First day of the run of ``holds`` that ends with the last of ``days``, and whether it began before the first; None without a run."""
    first = None
    for day in reversed(days):
        if not holds(day):
            break
        first = day.day
    return None if first is None else (first, first == days[0].day)


def _since(run: tuple[date, bool]) -> str:
    return f"since before {day_in_words(run[0])}" if run[1] else f"since {day_in_words(run[0])}"


def _spell(days: Sequence[OutlookDay], holds: Callable[[OutlookDay], bool]) -> str:
    """When the run of ``holds`` that begins with the first of ``days`` is; its end is told only where a known day ends it."""
    run = list(takewhile(holds, days))
    first, last = run[0].day, run[-1].day
    if len(run) == len(days) or days[len(run)].sound is None:
        return f"from about {day_in_words(first)}"
    return f"on about {day_in_words(first)}" if first == last else f"from about {day_in_words(first)} to {day_in_words(last)}"


def water_finding(outlook: SurfaceOutlook) -> str:
    """One sentence on whether sound turf and band can take water, since when, and what is expected.

    Days without weather are never counted as wet or dry; where today is missing it says "Not known".
    """
    past = [d for d in outlook.days if d.lead_days <= 0]
    if not past or past[-1].sound is None or past[-1].band is None:
        return "Not known: there is no weather to compute the water of today"

    def dry(name: str) -> Callable[[OutlookDay], bool]:
        return lambda d: (m := _margin(outlook, name, d)) is not None and m < 0

    repels = _repelling(past[-1])
    still = f"{' and '.join(repels)} still {'repels' if len(repels) == 1 else 'repel'} water" if repels else ""
    band, sound = _run_back(past, dry("band")), _run_back(past, dry("sound"))
    if band and sound:
        if band == sound:
            return f"Sound turf and band have been too dry to take water well {_since(band)}"
        return f"The band has been too dry to take water well {_since(band)}, sound turf {_since(sound)}"
    if band:
        wet = _run_back(past, lambda d: (m := _margin(outlook, "sound", d)) is not None and m >= 0)
        sentence = f"The band has been too dry to take water well {_since(band)}"
        if "sound turf" in repels:
            return f"{sentence}; sound turf is moist but still repels water"
        if wet is not None and not wet[1] and wet[0] > band[0]:
            return f"{sentence}; sound turf recovered on {day_in_words(wet[0])}"
        return f"{sentence}; sound turf takes it"
    if sound:
        return f"Sound turf has been too dry to take water well {_since(sound)}; {still if 'the band' in repels else 'the band takes it'}"
    ahead = [d for d in outlook.days if d.lead_days > 0]
    for number, day in enumerate(ahead):
        falling = [label for name, label in (("band", "the band"), ("sound", "sound turf")) if dry(name)(day)]
        if falling:
            now = f"Moist again, but {still}" if still else "Moist enough now"
            spell = _spell(ahead[number:], lambda d: dry("band")(d) or dry("sound")(d))
            return f"{now}; {' and '.join(falling)} may become too dry to take water well {spell}"
    again = _recovered(past, dry("sound"), dry("band"), still=still)
    if not outlook.known or not ahead or ahead[-1].sound is None:
        return f"{again or (f'Moist today, but {still}' if still else 'Moist enough today')}; the coming days are not known"
    until = day_in_words(ahead[-1].day)
    if again:
        return f"{again}; moist enough up to {until}"
    if still:
        return f"Sound turf and band stay moist up to {until}, but {still}"
    return f"Sound turf and band stay moist enough to take water up to {until}"


def _repelling(day: OutlookDay) -> list[str]:
    """Which of sound turf and band repel water on a day however moist they are: repellency lags behind the water that ends it."""
    columns = (("sound turf", day.sound), ("the band", day.band))
    return [label for label, column in columns if column is not None and column.repellency_class not in ("wettable", "slight")]


def _recovered(
    past: Sequence[OutlookDay], sound_dry: Callable[[OutlookDay], bool], band_dry: Callable[[OutlookDay], bool], *, still: str
) -> str | None:
    """When sound turf and band last came back from a dry spell of the shown days; None where neither was dry. ``still``: what repels."""
    back = []
    for dry in (sound_dry, band_dry):
        last_dry = max((i for i, day in enumerate(past) if dry(day)), default=None)
        later = [] if last_dry is None else [day.day for day in past[last_dry + 1 :] if day.sound is not None]
        back.append(later[0] if later else None)
    sound, band = back
    one, both = ("is moist", "are moist") if still else ("takes water", "take water")
    if sound and band and sound != band:
        told = f"Sound turf {one} again since {day_in_words(sound)}, the band since {day_in_words(band)}"
    elif sound and band:
        told = f"Sound turf and band {both} again since {day_in_words(sound)}"
    elif sound or band:
        told = f"{'Sound turf' if sound else 'The band'} {one} again since {day_in_words(sound or band or past[-1].day)}"
    else:
        return None
    return f"{told}, but {still}" if still else told


def contrast_finding(outlook: SurfaceOutlook) -> str:
    """One clause on whether damage rings (dry patches, where no ring is surveyed) show, since or from when.

    It never says "no rings" of rings that contrast cannot judge.
    """
    shown = "Rings" if outlook.rings else "Dry patches"
    past = [d for d in outlook.days if d.lead_days <= 0]
    ahead = [d for d in outlook.days if d.lead_days > 0]
    if not past or past[-1].ring_contrast is None:
        return "Not known: there is no weather to compute what shows today"

    seen_from = outlook.marks.rings_show_at
    if seen_from is None:
        return f"The difference in green cover between sound turf and band is {percent(past[-1].ring_contrast)} today"

    def shows(d: OutlookDay) -> bool:
        return d.ring_contrast is not None and d.ring_contrast >= seen_from

    run = _run_back(past, shows)
    if run:
        # The rule waits for some days in a row: its day is the one that page and mail name.
        spoken = next((s for s in outlook.signals if s.quantity == "ring_contrast" and s.present and not s.trial), None)
        return f"{shown} have stood out {_since(run if spoken is None or run[1] else (spoken.first_day, False))}"
    first = next((d.day for d in ahead if shows(d)), None)
    if first:
        return f"{shown} likely to stand out from about {day_in_words(first)}"
    if not outlook.known or not ahead or ahead[-1].ring_contrast is None:
        return f"{shown} hardly stand out today; the coming days are not known"
    last = next((d.day for d in reversed(past) if shows(d)), None)
    if last:
        return f"{shown} stood out until {day_in_words(last)} and have faded since"
    if any(ring.type != 1 for ring in outlook.rings):
        return f"Little damage to turf expected up to {day_in_words(ahead[-1].day)}; rings of type 2 and 3 can show without it"
    return f"Sound turf and band stay much alike up to {day_in_words(ahead[-1].day)}"


def flush_finding(outlook: SurfaceOutlook) -> str:
    """One clause on the week with the highest chance of fruit bodies; "not known" where no coming day has a number."""
    chances = [(d.flush_chance_7_days, d.day) for d in outlook.days if d.lead_days >= 0 and d.flush_chance_7_days is not None]
    if not chances or not outlook.known:
        return "chance of fruit bodies not known"
    best, day = max(chances, key=lambda pair: (pair[0], -pair[1].toordinal()))
    if best < FLUSH_WORTH_A_DATE:
        return f"fruit bodies unlikely ({'less than 1%' if best < 0.01 else f'at most {percent(best)}'} a week on one ring)"
    return f"fruit bodies most likely in the week from {day_in_words(day)} ({percent(best)} on one ring)"


def ring_finding(outlook: SurfaceOutlook) -> str:
    """The finding of the ring chart: contrast, then fruit bodies."""
    return f"{contrast_finding(outlook)}; {flush_finding(outlook)}"
