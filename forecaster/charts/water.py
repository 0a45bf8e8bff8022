"""Rain, irrigation and ET0 above the surface water of sound turf and band."""

from __future__ import annotations

from collections.abc import Sequence

from forecaster.charts.drawing import (
    BAND,
    BAND_LINE,
    INK,
    RAIN,
    SOFT,
    SOUND,
    SOUND_LINE,
    Layer,
    Pairs,
    Width,
    amount,
    background,
    day_at,
    end_labels,
    instant,
    layer,
    limit,
    line,
    panel,
    sheet,
    shown_days,
)
from forecaster.charts.finding import percent, water_finding
from forecaster.documents import ColumnDay, OutlookDay, SurfaceOutlook
from forecaster.member_documents import MemberSpread


def water_chart(outlook: SurfaceOutlook, width: Width) -> Layer:
    """The water chart as a Vega-Lite specification; days without weather leave a gap in bars and lines."""
    days = shown_days(outlook)
    finding = water_finding(outlook)
    return sheet(
        [_amounts(outlook, days, width), _surface_water(outlook, days, width)],
        width,
        finding=finding,
        description=f"Chart of {outlook.surface_name}: {finding}. The table below it holds the numbers.",
    )


def _amounts(outlook: SurfaceOutlook, days: Sequence[OutlookDay], width: Width) -> Layer:
    rain = [{"day": instant(d.day), "low": 0.0, "high": d.rain_mm} for d in days if d.rain_mm]
    given = [
        {"day": instant(d.day), "low": d.rain_mm or 0.0, "high": (d.rain_mm or 0.0) + d.irrigation_mm} for d in days if d.irrigation_mm
    ]
    et0: Pairs = [(d.day, d.et0_mm) for d in days]
    heights = [(d.rain_mm or 0.0) + (d.irrigation_mm or 0.0) for d in days] + [d.et0_mm or 0.0 for d in days]
    domain = (0.0, 1.15 * max(5.0, *heights))
    x, y = day_at("day", days, width), amount("low", domain)
    layers = [
        *background(outlook, days, width, top=True),
        layer(rain, "bar", x=x, y=y, y2="high", look={"size": width.bar_px, "color": RAIN}),
    ]
    words = "Rain (bars)"
    if given:
        open_bar = {"size": width.bar_px, "filled": False, "stroke": INK, "strokeWidth": 1}
        words = "Rain (solid bars), irrigation (open bars)"
        layers.append(layer(given, "bar", x=x, y=y, y2="high", look=open_bar))
    y_et0 = amount("et0", domain)
    layers.append(line(et0, days, width, y=y_et0, look={"color": INK, "strokeDash": [2, 2], "strokeWidth": 1.6}))
    layers += end_labels([("ET0", INK, et0)], days, width, y=y_et0, height=width.panel_px)
    return panel(layers, width, title=f"{words} and what the air asks for (ET0, dots), mm a day", height=width.panel_px)


def _surface_water(outlook: SurfaceOutlook, days: Sequence[OutlookDay], width: Width) -> Layer:
    def water(column: ColumnDay | None) -> float | None:
        return None if column is None else 100 * column.surface_water_m3m3

    marks, height = outlook.marks, round(1.35 * width.panel_px)
    sound: Pairs = [(d.day, water(d.sound)) for d in days]
    band: Pairs = [(d.day, water(d.band)) for d in days]
    fans_reach = [100 * fan.high for day in days for name in ("sound", "band") if (fan := _spread_of_water(day, name)) is not None]
    domain = (0.0, 1.08 * max(100 * marks.field_capacity_m3m3, *(value or 0.0 for _, value in (*sound, *band)), *fans_reach))
    y = amount("water", domain)
    limits = [
        ("sound turf repels water below", SOUND, marks.critical_water_sound_m3m3),
        ("band repels water below", BAND, marks.critical_water_band_m3m3),
    ]
    if abs(marks.critical_water_sound_m3m3 - marks.critical_water_band_m3m3) < 0.002:
        limits = [("repels water below", SOFT, marks.critical_water_band_m3m3)]
    layers, words_last = background(outlook, days, width, bottom=True), []
    for words, colour, critical in limits:
        rule, above = limit(100 * critical, f"{words} {percent(critical)}", width, field="water", domain=domain, colour=colour)
        layers.append(rule)
        words_last += above
    fans = [_fan(days, width, name=name, colour=colour, y=y) for name, colour in (("sound", SOUND), ("band", BAND))]
    layers += [fan for fan in fans if fan is not None]
    layers.append(line(sound, days, width, y=y, look=SOUND_LINE, bottom=True))
    layers.append(line(band, days, width, y=y, look=BAND_LINE, bottom=True))
    layers += words_last
    layers += end_labels([("sound", SOUND, sound), ("band", BAND, band)], days, width, y=y, height=height)
    depth_cm = round(100 * marks.surface_depth_m)
    title = f"Water in the top {depth_cm} cm, % of soil volume: sound turf (line), band (dashes)"
    if any(fan is not None for fan in fans):
        title += "; shaded: where eight in ten weather members lie"
    return panel(layers, width, title=title, height=height)


def _fan(days: Sequence[OutlookDay], width: Width, *, name: str, colour: str, y: Layer) -> Layer | None:
    """The range of the weather members around one line, on the days that they tell; None where there are none."""
    found = [(day.day, _spread_of_water(day, name)) for day in days]
    rows = [{"day": instant(day), "water": 100 * fan.low, "high": 100 * fan.high} for day, fan in found if fan is not None]
    if not rows:
        return None
    return layer(rows, "area", x=day_at("day", days, width, labelled=True), y=y, y2="high", look={"color": colour, "opacity": 0.22})


def _spread_of_water(day: OutlookDay, name: str) -> MemberSpread | None:
    spreads = () if day.members is None else day.members.spread
    return next((spread for spread in spreads if spread.quantity == f"{name}_surface_water_m3m3"), None)
