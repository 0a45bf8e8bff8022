"""What ``forecaster validate`` tells: a document of plain numbers, and a table with a sentence for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from forecaster.commands.validate import (
    RAIN_INDEX,
    ROOT_DEPTH_M,
    ROOT_ZONE,
    SEASON,
    SURFACE,
    SURFACE_DEPTH_M,
    TEMPERATURE,
    StationResult,
)
from forecaster.soil import skill

# Goals for the median of the humid stations: 0.040 m³/m³ is the accuracy asked of satellite missions.
GOALS = ((SURFACE, "correlation", 0.80), (SURFACE, "unbiased_rmse", 0.040), (TEMPERATURE, "mae", 1.0))
WORDS = {
    "correlation": "correlation of water at 5 cm",
    "unbiased_rmse": "unbiased RMSE of water at 5 cm",
    "mae": "error of soil temperature",
}
UNITS = {"correlation": "", "unbiased_rmse": " m³/m³", "mae": " °C"}
RIVALS = {SEASON: "the seasonal mean", RAIN_INDEX: "the antecedent precipitation index"}


def as_document(results: Sequence[StationResult]) -> dict[str, Any]:
    """All scores as plain numbers for JSON; what could not be scored is null."""
    humid = [result for result in results if result.humid]
    return {
        "stations": {result.id: _scores(result) | _described(result) for result in results},
        "median": _median([_scores(result) for result in results]),
        "humid_stations": [result.id for result in humid],
        "median_of_humid": _median([_scores(result) for result in humid]),
        "rules": {
            "scored": "water: even months, March to November, measured soil at 5 cm above 0 °C; temperature: every day",
            "fitted": "odd months, measured soil at 5 cm above 0 °C",
            "humid": f"standard deviation of measured water at 5 cm at least {skill.HUMID_FROM_M3M3:g} m³/m³",
            "surface_water": f"simulated 0-{100 * SURFACE_DEPTH_M:g} cm against measured 5 cm",
            "root_zone_water": f"simulated 0-{100 * ROOT_DEPTH_M:g} cm against measured depths in it, weighted by the soil each stands for",
        },
    }


def _scores(result: StationResult) -> dict[str, Any]:
    scores = {name: _numbers(score) for name, score in result.water.items()}
    scores[TEMPERATURE] = _numbers(result.temperature)
    scores["baselines"] = {rival: {name: _numbers(score) for name, score in of.items()} for rival, of in result.rivals.items()}
    return scores


def _described(result: StationResult) -> dict[str, Any]:
    return {
        "days": result.days,
        "humid": result.humid,
        "soil": {name: asdict(contents) for name, contents in result.contents.items()},
        "root_zone_depths_cm": list(result.root_zone_depths_cm),
        "estimated": list(result.notes),
    }


def _numbers(score: skill.WaterScores | skill.TemperatureScores | None) -> dict[str, Any] | None:
    return None if score is None else {name: value if np.isfinite(value) else None for name, value in asdict(score).items()}


def _median(documents: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The median of every number over the stations that have it, in the shape of one station."""
    result: dict[str, Any] = {}
    for key in documents[0] if documents else ():
        values = [document[key] for document in documents if document[key] is not None]
        if not values:
            result[key] = None
        elif isinstance(values[0], Mapping):
            result[key] = _median(values)
        else:
            result[key] = float(np.median(values))
    return result


def print_table(results: Sequence[StationResult], console: Console) -> None:
    """Write the scores as a table, then what beats what, which goals are met, and what was estimated."""
    document = as_document(results)
    table = Table(
        box=SIMPLE_HEAD,
        title="Simulated against measured soil. Water: correlation, unbiased RMSE and bias in m³/m³. Temperature: error and bias in °C.",
    )
    for heading in ("station", "humid", "water 5 cm", "seasonal mean", "rain index", "root zone", "depths cm", "temperature 5 cm"):
        table.add_column(heading, justify="left" if heading == "station" else "right", overflow="fold")
    for result in results:
        depths = "-".join(str(depth) for depth in (result.root_zone_depths_cm[:1] + result.root_zone_depths_cm[-1:])) or "none"
        table.add_row(result.id, "yes" if result.humid else "no", *_cells(document["stations"][result.id], depths))
    table.add_section()
    table.add_row("median", "all", *_cells(document["median"], ""))
    if document["humid_stations"]:
        table.add_row("median", "yes", *_cells(document["median_of_humid"], ""))
    console.print(table)
    for sentence in sentences(results):
        console.print(sentence, soft_wrap=True)


def sentences(results: Sequence[StationResult]) -> list[str]:
    """What the table says, in words."""
    humid = [result for result in results if result.humid]
    of, which = (humid, "humid stations") if humid else (results, "stations")
    told = []
    for rival, name in RIVALS.items():
        told.append(_against(of, which, rival, name))
    if humid:
        median = as_document(results)["median_of_humid"]
        for quantity, score, goal in GOALS:
            told.append(_goal(median[quantity], quantity, score, goal))
    else:
        told.append("No station is humid, so the goals say nothing here.")
    notes = {note for result in results for note in result.notes}
    for note in sorted(notes):
        where = [result.id for result in results if note in result.notes]
        told.append(f"Estimated: {note} ({'all stations' if len(where) == len(results) else ', '.join(where)}).")
    return told


def _against(results: Sequence[StationResult], which: str, rival: str, name: str) -> str:
    pairs = [(result.water[SURFACE], result.rivals[rival][SURFACE]) for result in results]
    both = [(ours, theirs) for ours, theirs in pairs if ours is not None and theirs is not None]
    if not both:
        return f"No water at 5 cm to compare with {name}."
    closer = sum(ours.correlation > theirs.correlation for ours, theirs in both)
    nearer = sum(ours.unbiased_rmse < theirs.unbiased_rmse for ours, theirs in both)
    return (
        f"Water at 5 cm, {len(both)} {which}: the model follows the measured ups and downs better than {name} at {closer} of them "
        f"and has the smaller unbiased RMSE at {nearer}."
    )


def _goal(scores: Mapping[str, float] | None, quantity: str, score: str, goal: float) -> str:
    sign = "at least" if score == "correlation" else "at most"
    if scores is None or scores[score] is None:
        return f"Goal, median of the humid stations: {WORDS[score]} {sign} {goal:g}{UNITS[score]}: not scored."
    value = scores[score]
    met = value >= goal if score == "correlation" else value <= goal
    return f"Goal, median of the humid stations: {WORDS[score]} {sign} {goal:g}{UNITS[score]}: {value:.3f}, {'met' if met else 'missed'}."


def _cells(scores: Mapping[str, Any], depths: str) -> list[str]:
    rivals = scores["baselines"]
    return [
        _water(scores[SURFACE]),
        _water(rivals[SEASON][SURFACE]),
        _water(rivals[RAIN_INDEX][SURFACE]),
        _water(scores[ROOT_ZONE]),
        depths,
        "none" if scores[TEMPERATURE] is None else f"{scores[TEMPERATURE]['mae']:.2f} {scores[TEMPERATURE]['bias']:+.2f}",
    ]


def _water(scores: Mapping[str, Any] | None) -> str:
    if scores is None:
        return "none"
    correlation = "none" if scores["correlation"] is None else f"{scores['correlation']:.2f}"
    return f"{correlation} {scores['unbiased_rmse']:.3f} {scores['bias']:+.3f}"
