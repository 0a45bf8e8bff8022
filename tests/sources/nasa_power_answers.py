"""Hand-made answers in the shape of NASA POWER's daily point service, with invented values.

The shape (GeoJSON, one object of days per parameter, fill value and time standard in the head, units per parameter) follows the provider's
public documentation.
"""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

BASE_URL = "https://weather.example"
URL = "https://weather.example/api/temporal/daily/point"
PLACE = SimpleNamespace(latitude=52.52, longitude=13.41, elevation_m=44.0)
START, END = date(2024, 2, 27), date(2024, 3, 3)
DAYS = tuple(START + timedelta(days=number) for number in range((END - START).days + 1))

UNITS = {
    "PRECTOTCORR": "mm/day",
    "T2M_MIN": "C",
    "T2M_MAX": "C",
    "T2M": "C",
    "T2MDEW": "C",
    "RH2M": "%",
    "WS2M": "m/s",
    "ALLSKY_SFC_SW_DWN": "MJ/m^2/day",
}
USUAL = {
    "PRECTOTCORR": 4.8,
    "T2M_MIN": 3.0,
    "T2M_MAX": 11.0,
    "T2M": 6.5,
    "T2MDEW": 2.0,
    "RH2M": 74.0,
    "WS2M": 2.6,
    "ALLSKY_SFC_SW_DWN": 7.2,
}


def an_answer(days: tuple[date, ...] = DAYS, *, time_standard: str = "LST", **changed: Any) -> dict[str, Any]:
    """A good answer; ``changed`` replaces the values of single parameters by lists over the days, or by anything else."""
    parameter = {}
    for name, usual in USUAL.items():
        values = changed.get(name, [usual] * len(days))
        parameter[name] = {f"{day:%Y%m%d}": value for day, value in zip(days, values, strict=True)} if isinstance(values, list) else values
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [13.41, 52.52, 51.8]},
        "properties": {"parameter": parameter},
        "header": {
            "title": "NASA/POWER Source Native Resolution Daily Data",
            "api": {"version": "v2.9.2", "name": "POWER Daily API"},
            "sources": ["MERRA2", "SYN1DEG"],
            "fill_value": -999.0,
            "time_standard": time_standard,
            "start": f"{days[0]:%Y%m%d}",
            "end": f"{days[-1]:%Y%m%d}",
        },
        "messages": [],
        "parameters": {name: {"units": unit, "longname": name} for name, unit in UNITS.items()},
        "times": {"data": 0.1, "process": 0.01},
    }
