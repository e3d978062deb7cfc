"""Matching outside a run: the tables, the matchers and what they know, set up once for a list of lines."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import pandas as pd

from pipeline import decisions, sources
from pipeline.composition import combine
from pipeline.composition.combine_weigh import weighing
from pipeline.composition.load import CompositionTable, load_table
from pipeline.problems import Problem
from pipeline.stages import match as match_stage
from pipeline.stages import match_next
from pipeline.stages import parse as parse_stage
from pipeline.stages.match import Asked, Matcher
from pipeline.stages.match_naming import KIND_OF_WORD
from pipeline.stages.match_outcome import AT_STAKE

CALLED = {"K": "potassium", "P": "phosphorus", "NA": "sodium", "PROCNT": "protein"}
RECIPE, VARIANT = "input", "base"
# A list of lines does not say for how many or in whose cups: where that counts ("salt to taste"), for a family in the UK.
PORTIONS, SYSTEM = 4.0, "uk"


@dataclass(frozen=True)
class Bench:
    """Everything that matching and weighing a list of lines needs.

    ``table``: the composition table, or several combined; ``matchers``: one per table, the preferred one first.
    """

    reference: sources.Reference
    mappings: decisions.Mappings
    table: CompositionTable
    loaded: tuple[CompositionTable, ...]
    matchers: tuple[Matcher, ...]
    problems: tuple[Problem, ...]

    def read(self, texts: list[str], source: str = "") -> pd.DataFrame:
        """Parsed, one row per text; a text without any amount is a food description, asked for whole
        ("Milk, fluid, whole"), unless what follows the food is only kitchen work ("aubergine, peeled and cubed")."""
        parsed = parsed_texts(texts, self.mappings, source)
        whole = self.described(parsed)
        nothing_beside = {column: parsed[column].where(~whole, "") for column in ("state", "preparation", "note", "leftover", "alternative")}
        return parsed.assign(phrase=parsed["phrase"].where(~whole, parsed["text"].str.lower()), **nothing_beside)

    def described(self, parsed: pd.DataFrame) -> pd.Series:
        """Which rows are food descriptions, asked for whole."""
        return described(parsed) & ~_only_kitchen_work(parsed, self.mappings.preparations)

    def match(self, parsed: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Matched and Candidates: by the preferred table, and by the next ones what it does not settle."""
        return match_next.answered(parsed, self.matchers)

    def matcher(self, table: str) -> Matcher:
        """The matcher of one table; the preferred one's where ``table`` names none."""
        return next((matcher for matcher in self.matchers if matcher.table == table), self.matchers[0])

    def deciding(self, foods: pd.DataFrame) -> Bench:
        """The same tables under other decisions."""
        return _set_up(self.reference, replace(self.mappings, frames={**self.mappings.frames, "foods": foods}), self.loaded)

    @staticmethod
    def plain(amounts: pd.Series) -> dict[str, float | None]:
        """Amounts at stake as plain numbers, None where not known."""
        return {component: None if pd.isna(amounts[component]) else round(float(amounts[component]), 2) for component in AT_STAKE}

    def standing(self, table: str) -> decisions.Standing:
        """The decisions that hold for one table."""
        return self.matcher(table).standing

    @cached_property
    def names(self) -> pd.Series:
        """Entry names by entry id, of all tables."""
        return self.table.entries.set_index("entry_id")["name"]

    @cached_property
    def per_100g(self) -> pd.DataFrame:
        """The amounts at stake per 100 g by entry id (columns K, P, NA in mg, PROCNT in g); null where not known."""
        values = self.table.values
        wanted = values[values["component"].isin(AT_STAKE)]
        return wanted.pivot(index="entry_id", columns="component", values="value").reindex(columns=list(AT_STAKE))

    def difference(self, one: str, other: str) -> pd.Series:
        """What 100 g of entry ``other`` have more than 100 g of ``one``; null where either is not known."""
        empty = pd.Series(float("nan"), index=list(AT_STAKE))
        amounts = [self.per_100g.loc[entry] if entry in self.per_100g.index else empty for entry in (one, other)]
        return amounts[1] - amounts[0]

    def grams(self, parsed: pd.DataFrame, entry_ids: list[str]) -> pd.DataFrame:
        """What each line weighs if it is the entry of ``entry_ids``: line_id, edible_g, mass_g, weigh_reason (why not)."""
        from pipeline.stages import weigh as weigh_stage  # late: explaining a phrase needs no books of measures

        known = weighing(self.reference, list(self.loaded), self.mappings)
        lines = listed(parsed["text"].tolist(), "")
        recipes = pd.DataFrame({"recipe_id": [RECIPE], "units_system": [SYSTEM]})
        variants = pd.DataFrame({"recipe_id": [RECIPE], "variant_id": [VARIANT], "portions": [PORTIONS]})
        meant = pd.DataFrame({"line_id": parsed["line_id"], "entry_id": entry_ids, "match_outcome": "accepted", "match_reason": "matched"})
        weighed, _ = weigh_stage.weigh(parsed, meant, lines, recipes, variants, self.table.entries, known.measures, known.edible_portions,
                                       known.densities, known.amount_spread, known.amount_rules)
        return weighed[["line_id", "mass_g", "edible_g", "weigh_reason"]]


def open_bench(table: str, decided: bool = True, root: Path | None = None) -> Bench:
    """Loads ``table`` ("core", or several as in "core,usda-sr26") with everything that matching it needs.

    Without ``decided`` the matchers know of no decision. Raises InputError where something cannot be used.
    """
    reference, mappings = sources.load(root), decisions.load(root)
    loaded = tuple(load_table(name, reference.sources, root) for name in combine.table_names(table))
    if not decided:
        mappings = replace(mappings, frames={**mappings.frames, "foods": mappings.foods.iloc[:0]})
    return _set_up(reference, mappings, loaded)


def signed(amount: float | None) -> str:
    """A difference in amounts for a person to read: "+12.5", "-1950", "not known"."""
    if amount is None or pd.isna(amount):
        return "not known"
    return f"{amount:+.0f}" if abs(amount) >= 100 else f"{round(amount, 1) + 0.0:+g}"


def differences(amounts: dict[str, float | None]) -> str:
    """Differences by component in words: "potassium +12 mg, phosphorus ..."."""
    return ", ".join(f"{CALLED[one]} {signed(value)}" + ("" if signed(value) == "not known" else f" {AT_STAKE[one]}")
                     for one, value in amounts.items())


def _set_up(reference: sources.Reference, mappings: decisions.Mappings, loaded: tuple[CompositionTable, ...]) -> Bench:
    several = combine.combine(loaded, mappings.same_foods, mappings.foods) if len(loaded) > 1 else None
    table = several.table if several else loaded[0]
    sets = [(loaded[0].entries, loaded[0].name, mappings.foods)]
    sets += [(later.entries, later.name, later.foods) for later in several.later] if several else []
    made = [match_stage.matcher(*one, mappings.words, reference, table.values) for one in sets]
    problems = [*(several.problems if several else ()), *made[0][1]]
    return Bench(reference, mappings, table, loaded, tuple(matcher for matcher, _ in made), tuple(problems))


def parsed_texts(texts: list[str], mappings: decisions.Mappings, source: str = "") -> pd.DataFrame:
    """Parsed, one row per text."""
    parsed, _ = parse_stage.parse(listed(texts, source), mappings.unit_words, mappings.sizes, mappings.states, mappings.preparations)
    return parsed


def listed(texts: list[str], source: str) -> pd.DataFrame:
    """Texts as the lines of one recipe (model Lines)."""
    numbers = range(1, len(texts) + 1)
    return pd.DataFrame({
        "recipe_id": RECIPE, "variant_id": VARIANT, "line_no": numbers, "line_id": [f"{RECIPE}/{VARIANT}/{number}" for number in numbers],
        "text": texts, "section": "", "origin": "base", "source_file": source, "source_line": [number + 1 for number in numbers],
    })


def described(parsed: pd.DataFrame) -> pd.Series:
    """Which rows are food descriptions: no amount, no unit, nothing said about how much."""
    return (parsed["kind"] == "food") & parsed["quantity_low"].isna() & (parsed["unit"] == "") & (parsed["amount_rule"] == "none")


def _only_kitchen_work(parsed: pd.DataFrame, preparations: pd.DataFrame) -> pd.Series:
    """Which rows are a food and what a cook does to it with a knife, a sieve or a bowl: each part of the preparation holds
    a participle of ``mappings/preparations.csv`` that is no way of cooking, and every word has found its place."""
    named = preparations["kind"] == "participle"
    work = set(preparations.loc[named, "word"]) - {word for word, kind in KIND_OF_WORD.items() if kind == "cooked"} - {"processed"}

    def one(line) -> bool:
        parts = [part.split() for part in line.preparation.lower().replace(",", " ").split(";") if part.strip()]
        whole = line.phrase in line.text.lower() and not line.leftover and bool(parts or line.note)
        return whole and all(work.intersection(part) for part in parts)
    return pd.Series([one(line) for line in parsed.itertuples(index=False)], index=parsed.index, dtype=bool)


def asked(parsed: pd.DataFrame) -> list[Asked]:
    """What each parsed line asks of a table."""
    return [match_stage.asked_by(line) for line in parsed.itertuples(index=False)]
