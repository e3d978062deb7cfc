"""Versions of a recipe compared: as analysed, as made, as printed.

``compared`` sets each version beside the recipe as analysed (variant ``base``), line by line and figure by figure;
``differences`` and ``figures_beside`` do it for any two variants of a recipe. They read the tables of a release and change nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import pandas as pd

from pipeline import tables
from pipeline.stages import method_words
from pipeline.stages.conditions import plain
from pipeline.stages.versions_pair import ROUNDING, Line, pairs, same
from pipeline.versions_form import CHANGES, EFFECTS, KINDS

BASE, VERSION = "base", "version"
NEEDED = ("recipes", "variants", "lines", "parsed", "cooked", "contributions", "steps", "figures", "verdicts")
WRITTEN = ("quantity_low", "quantity_high", "unit", "each_quantity", "each_unit", "size", "amount_rule")
LIQUID_WORDS = {"drained": " with the water poured away", "kept": " with the water kept"}
METHOD_WORDS = {
    "salted-water": ("the cooking water is salted", "the cooking water is not salted"),
    "fat-at-the-end": ("oil or butter goes on at the end", "no oil or butter goes on at the end"),
}
NOT_IN_THE_FIGURES = "; where no ingredient line gives it, it is in no figure"


def compared(given: Mapping[str, pd.DataFrame]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(Versions, VersionFigures): every version of the collection beside its recipe as analysed.

    ``given`` holds the tables named in ``NEEDED``, as a release has them.
    """
    versions = given["variants"].loc[given["variants"]["kind"] == VERSION, ["recipe_id", "variant_id"]]
    recipes = set(versions["recipe_id"])
    if not recipes:
        return tables.empty(tables.Versions), tables.empty(tables.VersionFigures)
    here = {name: _only(given[name], recipes) for name in NEEDED}
    asked = [(row.recipe_id, BASE, row.variant_id) for row in versions.itertuples(index=False)]
    rows = [row for one in asked for row in differences(here, *one)]
    found = pd.DataFrame(rows, columns=tables.columns(tables.Versions))
    figures = pd.concat([figures_beside(here, *one) for one in asked], ignore_index=True)
    return tables.checked(tables.Versions, found, "versions"), tables.checked(tables.VersionFigures, figures, "versions")


def _only(table: pd.DataFrame, recipes: set[str]) -> pd.DataFrame:
    owner = table["recipe_id"] if "recipe_id" in table else table["line_id"].str.partition("/")[0]
    return table[owner.isin(recipes)]


# ---------------------------------------------------------------- line by line

def differences(given: Mapping[str, pd.DataFrame], recipe_id: str, before: str, after: str) -> list[dict]:
    """Rows of Versions: what ``after`` does otherwise than ``before``, both variants of one recipe. The order of lines does not matter."""
    portions = given["variants"].set_index(["recipe_id", "variant_id"])["portions"]
    from_portions, portions = portions[recipe_id, before], portions[recipe_id, after]
    before_lines, after_lines = _lines(given, recipe_id, before), _lines(given, recipe_id, after)
    ratio, rows, scaled = portions / from_portions, [], []
    for one, other in pairs(before_lines, after_lines):
        if one and other and ratio != 1 and _scaled(one, other, ratio):
            scaled.append((one, other))
        elif row := _line_row(one, other, portions):
            rows.append(row)
    if ratio != 1:
        rows.append(_portions_row(before_lines, scaled, from_portions, portions))
    rows += _method_rows(given["steps"], recipe_id, before, after)
    rows.sort(key=lambda row: (KINDS.index(row["kind"]), row["from_line_no"], row["line_no"], row["changed"]))
    named = {"recipe_id": recipe_id, "variant_id": after, "from_variant": before}
    return [{**named, "difference_no": number, **row} for number, row in enumerate(rows, start=1)]


def _lines(given: Mapping[str, pd.DataFrame], recipe_id: str, variant_id: str) -> list[Line]:
    """The lines of a variant that are food; headings and notes are none."""
    lines = given["lines"]
    mine = lines[(lines["recipe_id"] == recipe_id) & (lines["variant_id"] == variant_id) & (lines["outcome"] != "not-food")]
    ids = mine["line_id"]
    parsed = given["parsed"].set_index("line_id").loc[ids]
    cooked = given["cooked"].set_index("line_id").reindex(ids)
    told = given["contributions"][given["contributions"]["line_id"].isin(ids)]
    amounts: dict[str, dict[str, float]] = {}
    for line_id, component, unit, amount in zip(*(told[name] for name in ("line_id", "component", "unit", "amount")), strict=True):
        if (component, unit) in EFFECTS.values():
            amounts.setdefault(line_id, {})[component] = amount
    return [_line(row, read, how, amounts.get(row.line_id, {}))
            for row, read, how in zip(mine.itertuples(index=False), parsed.itertuples(), cooked.itertuples(), strict=True)]


def _line(row, read, how, amounts: dict[str, float]) -> Line:
    settled = row.outcome == "accepted"
    cooking = (how.method, how.liquid, how.chain) if settled and row.counted and isinstance(how.method, str) else ("", "", "")
    written = tuple(None if isinstance(one, float) and math.isnan(one) else one for one in (getattr(read, name) for name in WRITTEN))
    return Line(row.line_no, row.text, row.phrase, row.state, read.preparation, written, row.entry_id if settled else "",
                row.entry_name if settled else "", bool(row.counted), settled, row.mass_g, row.edible_g, cooking, amounts)


def _line_row(before: Line | None, after: Line | None, portions: float) -> dict | None:
    """The difference of one line; None where there is none."""
    if before and after:
        changed = _changed(before, after)
        if not changed:
            return None
        what = f"\"{after.text}\" for \"{before.text}\": " + "; ".join(_said(one, before, after) for one in changed)
        kind = "changed"
    else:
        line, kind, changed = (before, "dropped", []) if before else (after, "added", [])
        aside = "" if line.counted else " (it is optional and in no figure)"
        what = f"\"{line.text}\" is {'left out' if before else 'added'}{aside}"
    effects = {column: _amount(after, component) / portions - _amount(before, component) / portions
               for column, (component, _) in EFFECTS.items()}
    return {
        "kind": kind, "changed": "; ".join(changed), "line_no": after.line_no if after else 0, "from_line_no": before.line_no if before else 0,
        "text": after.text if after else "", "from_text": before.text if before else "", "mass_g": after.mass_g if after else math.nan,
        "from_mass_g": before.mass_g if before else math.nan, **effects, "what": what}


def _amount(line: Line | None, component: str) -> float:
    """What a line adds to the recipe; unknown where it is counted and not settled."""
    if line is None or not line.counted:
        return 0.0
    return line.amounts.get(component, math.nan)


def _changed(before: Line, after: Line) -> list[str]:
    """What differs between two lines that are the same food, by the codes of ``CHANGES``."""
    found = set()
    if before.entry_id != after.entry_id:
        found.add("state" if before.state != after.state else "food")
    elif not before.entry_id and before.food != after.food:
        found.add("food")
    if before.state and after.state and before.state != after.state:
        found.add("state")
    if not same(before.mass_g, after.mass_g) or not (before.settled and after.settled) and before.written != after.written:
        found.add("amount" if before.written != after.written or before.state == after.state and before.preparation == after.preparation
                  else "state" if before.state != after.state else "preparation")
    elif not same(before.edible_g, after.edible_g):
        found.add("state" if before.state != after.state else "preparation")
    if "amount" in found and before.preparation != after.preparation and not same(
            before.edible_g * after.mass_g, after.edible_g * before.mass_g):
        found.add("preparation")
    if before.counted != after.counted:
        found.add("optional")
    elif before.cooking != after.cooking:
        found.add("cooking")
    if not found and not all(same(_amount(before, name), _amount(after, name)) for name, _ in EFFECTS.values()):
        found.add("cooking")
    return sorted(found, key=CHANGES.index)


def _said(code: str, before: Line, after: Line) -> str:
    if code == "food":
        return f"{after.entry_name or after.phrase or 'no entry'} instead of {before.entry_name or before.phrase or 'no entry'}"
    if code == "state":
        return f"{after.state or 'no state said'} instead of {before.state or 'no state said'}"
    if code == "preparation":
        return f"{_prepared(after)} instead of {_prepared(before)}"
    if code == "amount":
        return f"{_grams(after.mass_g)} instead of {_grams(before.mass_g)}"
    if code == "optional":
        return "counted, where it was optional" if after.counted else "optional and in no figure, where it was counted"
    return f"{_cooking(after)} instead of {_cooking(before)}"


def _prepared(line: Line) -> str:
    return f"{line.preparation or 'no preparation'} ({_grams(line.edible_g)} edible)"


def _grams(mass_g: float) -> str:
    return "no known weight" if math.isnan(mass_g) else f"{plain(mass_g)} g"


def _cooking(line: Line) -> str:
    steps = [part.strip().partition(":") for part in line.cooking[2].split(">")]
    return ", then ".join(f"{method or 'nothing said'}{LIQUID_WORDS.get(liquid, '')}" for method, _, liquid in steps)


# ---------------------------------------------------------------- the whole recipe

def _scaled(before: Line, after: Line, ratio: float) -> bool:
    """Whether a line without an amount of its own ("to taste") only follows the number of portions."""
    return (before.entry_id == after.entry_id != "" and before.written == after.written and before.counted == after.counted
            and before.cooking == after.cooking and same(before.mass_g * ratio, after.mass_g) and same(before.edible_g * ratio, after.edible_g))


def _portions_row(before: list[Line], scaled: list[tuple[Line, Line]], from_portions: float, portions: float) -> dict:
    """What another number of portions does to one portion of the recipe as it was before."""
    effects = {}
    for column, (component, _) in EFFECTS.items():
        total = math.fsum(_amount(line, component) for line in before)
        follows = math.fsum(_amount(new, component) - _amount(old, component) for old, new in scaled)
        effects[column] = total / portions - total / from_portions + follows / portions
    return {**_WHOLE, "kind": "portions", **effects, "what": f"{plain(portions)} portions instead of {plain(from_portions)}"}


_WHOLE = {"changed": "", "line_no": 0, "from_line_no": 0, "text": "", "from_text": "", "mass_g": math.nan, "from_mass_g": math.nan,
          **dict.fromkeys(EFFECTS, math.nan)}


def _method_rows(steps: pd.DataFrame, recipe_id: str, before: str, after: str) -> list[dict]:
    """What the words of the method say otherwise; how much of it there is they do not say."""
    mine = steps[steps["recipe_id"] == recipe_id].sort_values("step_no")
    old, new = (method_words.features(mine.loc[mine["variant_id"] == one, "text"]) for one in (before, after))
    return [{**_WHOLE, "kind": "method", "changed": code,
             "what": METHOD_WORDS[code][0] + NOT_IN_THE_FIGURES if code in new else METHOD_WORDS[code][1]} for code in sorted(old ^ new)]


# ---------------------------------------------------------------- figure by figure

def figures_beside(given: Mapping[str, pd.DataFrame], recipe_id: str, before: str, after: str) -> pd.DataFrame:
    """Rows of VersionFigures: the figures of ``after`` beside those of ``before``.

    Per 100 g they are compared where both dishes were weighed in the same way: the weight of a finished dish
    in a kitchen is that of the recipe as analysed alone.
    """
    figures, key = given["figures"], ["component", "basis", "unit"]
    mine = figures[figures["recipe_id"] == recipe_id]
    old, new = (mine.loc[mine["variant_id"] == one, [*key, "value", "low", "high"]] for one in (before, after))
    finished_mass_g = given["recipes"].set_index("recipe_id").at[recipe_id, "finished_mass_g"]
    weighed = not math.isnan(finished_mass_g) and BASE in (before, after) and before != after
    beside = old.merge(new, on=key, suffixes=("_old", ""))
    beside = beside[beside["basis"] != "100g"] if weighed else beside
    flipped = verdicts_changed(given["verdicts"], recipe_id, before, after, "100g" if weighed else "")
    shown = set(zip(beside["component"], beside["basis"], strict=True))
    elsewhere = pd.DataFrame([(*about, "") for about in sorted(flipped.keys() - shown)], columns=key).astype("str")
    beside = pd.concat([beside, elsewhere], ignore_index=True) if len(elsewhere) else beside
    beside = beside.rename(columns={f"{name}_old": f"from_{name}" for name in ("value", "low", "high")})
    apart = beside["value"] - beside["from_value"]
    beside["difference"] = apart.where(apart.isna() | (apart.abs() > ROUNDING * beside[["value", "from_value"]].max(axis=1)), 0.0)
    # A comparison with an unknown number is false: nothing exceeds what is not known.
    beside["beyond_intervals"] = (beside["low"] > beside["from_high"]) | (beside["high"] < beside["from_low"])
    beside["verdicts"] = ["; ".join(flipped.get((row.component, row.basis), ())) for row in beside.itertuples(index=False)]
    beside = beside.assign(recipe_id=recipe_id, variant_id=after, from_variant=before)
    return beside[tables.columns(tables.VersionFigures)].sort_values(key, ignore_index=True)


def verdicts_changed(verdicts: pd.DataFrame, recipe_id: str, before: str, after: str, left_out: str = "") -> dict[tuple[str, str], list[str]]:
    """The verdicts that differ, in words, by the (component, basis) of the figure that they are about; none on the basis ``left_out``."""
    mine = verdicts[(verdicts["recipe_id"] == recipe_id) & (verdicts["basis"] != left_out)] if left_out else verdicts[
        verdicts["recipe_id"] == recipe_id]
    columns = ["verdict", "component", "basis"]
    old, new = (mine[mine["variant_id"] == one].set_index(["audience", "claim"])[columns] for one in (before, after))
    both = old.add_suffix("_old").join(new, how="inner").sort_index()
    found: dict[tuple[str, str], list[str]] = {}
    for (audience, claim), row in both[both["verdict"] != both["verdict_old"]].iterrows():
        component, basis = (row["component"], row["basis"]) if row["component"] else (row["component_old"], row["basis_old"])
        about = component.split("+")[0], basis if basis in tables.BASES else "100g"
        found.setdefault(about, []).append(f"{claim} for {audience}: {row['verdict_old']} -> {row['verdict']}")
    return found
