"""What may be said of a dish and to whom: one sentence, the verdicts behind it, and what a variant changes."""

from __future__ import annotations

from typing import NamedTuple

from pipeline.reason_words import in_words, lower
from pipeline.stages.page_words import BASE, COMPARED, VERDICT_WORDS, Dish, Figure, Record, Verdict, is_to_check, listed, verdict, word

GENERAL = "general"
CODEX = "codex-"


class Sayings(NamedTuple):
    """What may be said, what holds once its figure was looked at, what nobody can say, and what may not be said; "" where there is nothing."""

    may: str
    once_checked: str
    uncertain: str
    fails: str
    by_law: str
    changes: str
    waits: str


class Group(NamedTuple):
    """The verdicts for one group of people."""

    name: str
    rows: list[Verdict]


def sayings(dish: Dish) -> Sayings:
    """One sentence for each, on the recipe as written."""
    waits = sorted({in_words(row["reason"]) for row in dish.evidence.records("figures", recipe_id=dish.recipe_id, variant_id=BASE, basis="portion", component="K")
                    if row["status"] == "withheld"})
    portion = f"One of {dish.recipe['portions']:g} portions" if dish.recipe["portions"] != 1 else "The one portion"
    rows = [row for row in dish.verdicts[BASE] if row["kind"] == "local-limit"]
    holds = [row for row in rows if row["verdict"] == "holds"]
    holding = _by_audience(dish, [row for row in holds if not is_to_check(row)])
    may = f"{portion}, as written, may be called {holding}." if holding else f"{portion}, as written: nothing may be said of it to any of the groups below."
    if waits:
        may = "Nothing may be said of this dish as written: its figures are withheld."
    law = [dish.names.of("claim", row["claim"]) for row in dish.verdicts[BASE] if is_law(row) and row["verdict"] == "holds" and not is_to_check(row)]
    return Sayings(
        may, _by_audience(dish, [row for row in holds if is_to_check(row)]), _by_audience(dish, [row for row in rows if row["verdict"] == "uncertain"]),
        _by_audience(dish, [row for row in rows if row["verdict"] == "fails"]),
        listed(lower(name) for name in law), _changes(dish), "; ".join(waits))


def _by_audience(dish: Dish, rows: list[Record]) -> str:
    """Claims with the groups they hold for; claims with the same groups together."""
    groups: dict[str, list[str]] = {}
    for row in rows:
        groups.setdefault(row["claim"], []).append(row["audience"])
    by_people: dict[tuple[str, ...], list[str]] = {}
    everybody = dish.names.audiences
    for claim, people in groups.items():
        by_people.setdefault(tuple(one for one in everybody if one in people), []).append(lower(dish.names.of("claim", claim)))
    return "; ".join(f"{listed(claims)} for {_people(dish, people, everybody)}" for people, claims in by_people.items())


def _people(dish: Dish, people: tuple[str, ...], everybody: list[str]) -> str:
    if list(people) == everybody and len(everybody) > 1:
        return f"all {len(everybody)} groups"
    return " and for ".join(lower(dish.names.of("audience", one)) for one in people)


def is_law(row: Record) -> bool:
    """Whether the claim is one of the law itself, not of the Codex conditions beside it."""
    return row["kind"] == "regulated-claim" and not row["claim"].startswith(CODEX)


def by_guidance(dish: Dish) -> list[Group]:
    """The verdicts on local limits, for each group of people."""
    return [Group(dish.names.of("audience", one), [verdict(row, dish.names) for row in dish.local(BASE, one)])
            for one in dish.names.audiences if dish.local(BASE, one)]


class Law(NamedTuple):
    """The nutrition claims of the recipe as written: rows of those that hold or may, names of the others."""

    hold: list[Verdict]
    uncertain: list[Verdict]
    fail: list[str]
    not_judged: list[str]


def by_law(dish: Dish) -> Law:
    """Those of Regulation (EC) No 1924/2006 first, then the conditions of the Codex."""
    rows = sorted((row for row in dish.verdicts[BASE] if row["kind"] == "regulated-claim"), key=lambda row: row["claim"].startswith(CODEX))
    named = {state: [lower(dish.names.of("claim", row["claim"])) for row in rows if row["verdict"] == state] for state in ("fails", "not-assessable")}
    shown = {state: [verdict(row, dish.names) for row in rows if row["verdict"] == state] for state in ("holds", "uncertain")}
    return Law(shown["holds"], shown["uncertain"], named["fails"], named["not-assessable"])


class Compared(NamedTuple):
    """A variant beside the recipe as written."""

    name: str
    in_full: str
    portions: str
    figures: list[Figure | None]


class Changed(NamedTuple):
    """One claim for one group of people over all variants: a word for each, and whether it is another than as written."""

    claim: str
    words: list[tuple[object, bool]]


def variants(dish: Dish) -> tuple[list[Compared], list[tuple[str, list[Changed]]]]:
    """All variants with their figures, and for each group of people their verdicts on local limits."""
    compared = [Compared(one["name"], dish.with_toppings(one), f"{one['portions']:g}", [dish.figure(one["variant_id"], *component) for component in COMPARED])
                for one in dish.variants]
    changed = []
    for audience in dish.names.audiences:
        rows = [Changed(dish.names.of("claim", row["claim"]), [(word(other), other["verdict"] != row["verdict"]) for other in _everywhere(dish, row)])
                for row in dish.local(BASE, audience)]
        changed += [(dish.names.of("audience", audience), rows)] if rows else []
    return compared, changed


def _everywhere(dish: Dish, row: Record) -> list[Record]:
    """The verdict on the same claim for the same people, in each variant."""
    return [other for one in dish.variants for other in dish.local(one["variant_id"], row["audience"]) if other["claim"] == row["claim"]]


def _changes(dish: Dish) -> str:
    """What each variant makes of the verdicts, in a sentence: where one is another than as written."""
    told = []
    for place, one in enumerate(dish.variants):
        by_word: dict[str, list[Record]] = {}
        for row in dish.verdicts[BASE]:
            if row["kind"] == "local-limit" and (other := _everywhere(dish, row)[place])["verdict"] != row["verdict"]:
                by_word.setdefault(VERDICT_WORDS[other["verdict"]], []).append(row)
        if by_word:
            words = [f"{words}: {_by_audience(dish, rows)}" for words, rows in by_word.items()]
            told.append(f"{lower(one['name'])}, {', and '.join(words)}")
    return "; ".join(told)
