"""rules.toml and cautions.toml: the rules as an adviser wrote them, and the warnings that go with them."""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter
from typing import Annotated, Any, Literal

from pydantic import Field

from forecaster.quantities import RISK_QUANTITIES, Severity
from forecaster.risk.rule import RAISE_AT, Condition, Rule, SeverityBand
from forecaster.settings.mistakes import Missing, MistakeList, Note, nearest
from forecaster.settings.reading import Entry, Id, Name, Sentence, check, entries, note_duplicates, valid_or_none

Days = Annotated[int, Field(ge=1, le=60)]


class ConditionEntry(Entry):
    """[[rule.condition]]."""

    quantity: str
    at_least: float | None = None
    at_most: float | None = None
    throughout: bool = False


class RuleEntry(Entry):
    """[[rule]]."""

    id: Id
    title: Name
    quantity: str
    raise_at: float
    clear_at: float
    days_in: Days
    days_out: Days
    severity: dict[str, float] = Field(min_length=1, description="a table like { Minor = 0.3, Severe = 0.6 }, numbers from mild to grave")
    reason: Sentence
    advice: Sentence
    headline_now: Name
    headline_ahead: Name
    source: Sentence
    lead_days: int = Field(default=14, ge=0, le=14)
    months: list[Annotated[int, Field(ge=1, le=12)]] = Field(default=[])
    ring_types: list[Literal[1, 2, 3]] = Field(default=[])
    cautions: list[str] = Field(default=[])
    trial: bool = False
    condition: list[ConditionEntry] = Field(default=[])


class RulesFile(Entry):
    """rules.toml."""

    rule: list[RuleEntry] = Field(min_length=1, description="at least one [[rule]]")


class CautionsFile(Entry):
    """cautions.toml: id = "text"."""

    caution: dict[Id, Sentence]


def read_rules(
    rules: Mapping[str, Any] | None, cautions: Mapping[str, Any] | None, files: tuple[str, str], mistakes: MistakeList
) -> tuple[Rule, ...]:
    """Check rules and cautions and return the rules in the order of the file, cautions as text; only the sound ones.

    None for a file that could not be read: its mistake is noted, and what refers to it is not called wrong as well.
    """
    rules_file, cautions_file = files
    if cautions is not None:
        check(CautionsFile, cautions, cautions_file, mistakes)
    if rules is None:
        return ()
    check(RulesFile, rules, rules_file, mistakes)
    texts = _texts(cautions)
    raw_rules = entries(rules, "rule")
    note_duplicates(raw_rules, "rule", rules_file, mistakes)
    found = []
    for number, raw in enumerate(raw_rules, start=1):
        entry = valid_or_none(RuleEntry, raw)
        if entry is not None:
            before = len(mistakes.found)
            _check_rule(entry, f"rule[{number}]", None if texts is None else set(texts), rules_file, mistakes)
            if len(mistakes.found) == before and texts is not None:
                found.append(_rule(entry, texts))
    return tuple(found)


def _texts(cautions: Mapping[str, Any] | None) -> dict[str, str] | None:
    """The cautions by id; one that is no text counts as known, its own mistake is noted."""
    if cautions is None:
        return None
    table = cautions.get("caution")
    return {key: str(text) for key, text in table.items()} if isinstance(table, Mapping) else {}


def _rule(entry: RuleEntry, texts: Mapping[str, str]) -> Rule:
    plain = entry.model_dump(exclude={"severity", "condition", "cautions", "months", "ring_types"})
    bands = sorted(entry.severity.items(), key=lambda band: Severity(band[0]).rank)
    return Rule(
        **plain,
        severity_bands=tuple(SeverityBand(Severity(name), value) for name, value in bands),
        months=tuple(sorted(set(entry.months))),
        conditions=tuple(Condition(**condition.model_dump()) for condition in entry.condition),
        ring_types=tuple(sorted(set(entry.ring_types))),
        cautions=tuple(texts[name].strip() for name in entry.cautions),
    )


def _check_rule(rule: RuleEntry, prefix: str, cautions: set[str] | None, file: str, mistakes: MistakeList) -> None:
    note = mistakes.noter(file, prefix, rule.id)
    if rule.quantity not in RISK_QUANTITIES:
        note("quantity", rule.quantity, f"a known quantity; {nearest(rule.quantity, RISK_QUANTITIES)}")
    if rule.raise_at == rule.clear_at:
        note("clear_at", rule.clear_at, "not the same as raise_at: smaller where large values are bad, larger where small ones are")
    else:
        _check_severity(rule, note)
    for number, condition in enumerate(rule.condition, start=1):
        key = f"condition[{number}]"
        if condition.quantity not in RISK_QUANTITIES:
            note(f"{key}.quantity", condition.quantity, f"a known quantity; {nearest(condition.quantity, RISK_QUANTITIES)}")
        if condition.at_least is None and condition.at_most is None:
            note(f"{key}.at_least", Missing(), "at_least, at_most or both")
        elif condition.at_least is not None and condition.at_most is not None and condition.at_least > condition.at_most:
            note(f"{key}.at_least", condition.at_least, f"at most at_most, {condition.at_most:g}")
    for caution in rule.cautions:
        if cautions is not None and caution not in cautions:
            note("cautions", caution, f"an id of cautions.toml; {nearest(caution, cautions)}")
    _check_placeholders("reason", rule.reason, {*RISK_QUANTITIES, RAISE_AT}, note)
    _check_placeholders("headline_ahead", rule.headline_ahead, {"when"}, note)
    for key in ("title", "advice", "headline_now"):
        _check_placeholders(key, getattr(rule, key), set(), note)


def _check_severity(rule: RuleEntry, note: Note) -> None:
    """The first severity begins at raise_at or beyond; each graver one further in the same direction."""
    words = [severity.value for severity in Severity]
    for word in rule.severity:
        if word not in words:
            note("severity", word, f"the words {', '.join(words)}")
    bands = [(word, rule.severity[word]) for word in words if word in rule.severity]
    rising = rule.raise_at > rule.clear_at
    side = "at least" if rising else "at most"
    limit, reason = rule.raise_at, "raise_at"
    for position, (word, value) in enumerate(bands):
        beyond = value > limit if rising else value < limit
        if not (beyond or (position == 0 and value == limit)):
            note(f"severity.{word}", value, f"{side if position == 0 else 'more than' if rising else 'less than'} {reason}, {limit:g}")
        limit, reason = value, word


def _check_placeholders(key: str, text: str, known: set[str], note: Note) -> None:
    """Only known names in braces, with a format that a number can take; nothing that reaches into objects."""
    try:
        parts = list(Formatter().parse(text))
    except ValueError as error:
        note(key, text, f"braces in pairs: {error}; write {{{{ for a brace that is meant")
        return
    for _, name, spec, conversion in parts:
        if name is None:
            continue
        if name not in known:
            allowed = f"a known quantity in braces; {nearest(name, known)}" if known else "plain text without {…}"
            note(key, "{" + name + "}", allowed)
        elif conversion or not _formats(spec or "", name):
            note(key, f"{{{name}:{spec}}}", "a number format like :.0f or :.2f")


def _formats(spec: str, name: str) -> bool:
    try:
        format("soon" if name == "when" else 1.5, spec)
    except ValueError:
        return False
    return True
