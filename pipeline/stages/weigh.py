"""Weigh: from the words of a line to grams, as purchased and edible.

mass_g = quantity x measure_value (x density_g_per_ml when the measure is a volume)
edible_g = mass_g x edible_fraction

Both hold exactly in double precision, in this order, so that the row alone lets anyone
recompute them. ``quantity`` counts the measure that ``measure_id`` names, which is a
row of reference/measures.csv, a unit of the registry ("unit:uk_tablespoon"), or a row
of reference/amount_rules.csv ("rule:salt-to-taste"): "2 x 400 g tins" is 800 of
"unit:gram", and a large one of which only a medium one is known is 1.45 of that.

A line that no rule and no row can weigh stays empty, with the reason why. Nothing is
guessed: an assumption that was made is written in ``assumption``.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline import lineage, tables, units
from pipeline.problems import ERROR, Problem
from pipeline.stages import weigh_edible, weigh_sizes, weigh_words
from pipeline.stages.weigh_density import find_density, of_like_food
from pipeline.stages.weigh_lookup import Books, Density, Edible, Measure, Spread, find_edible, find_measure, find_rule, open_books
from pipeline.stages.weigh_names import Food

# Why a line has no mass: closed. "not-food" and "unreadable" lines have nothing to weigh.
REASONS = ("", "no-quantity", "no-measure", "no-density", "no-entry", "absurd-quantity", "not-food", "unreadable")

# Reasons of a line under review whose likeliest entry says at least of what class the food is: of several cheddars it is one.
LIKELY = frozenset({"close-call", "cooked-otherwise", "level-differs", "much-at-stake", "not-sure", "words-left-over"})

# Number-free wording that stands for exactly one: "a pinch of", "handful of", "knob of".
ONE_OF = frozenset({
    "pinch", "dash", "drop", "splash", "drizzle", "glug", "squeeze", "knob", "handful", "dollop", "sprinkle", "grind",
    "bunch", "sprig", "clove", "slice", "thumb", "tin", "jar", "packet", "sachet", "stick", "stalk", "leaf", "strip", "spray",
})
VAGUE = ONE_OF - {"bunch", "sprig", "clove", "slice", "tin", "jar", "packet", "sachet", "stick", "stalk", "leaf", "strip"}

# Beyond these a number is taken for a slip of the pen, and nothing is worked out from it.
# Per portion, because a kitchen that feeds two hundred may use 40 kg; a line above 20 kg is
# held to the stricter bound. Common practice, no source.
ABSURD_LINE_G = 20_000.0
ABSURD_PORTION_OF_BIG_LINE_G = 3_000.0
ABSURD_PORTION_G = 8_000.0
# Salt above 50 g a portion is poisonous, and in a crust it is not eaten: a person must look.
ABSURD_PORTION_OF_CLASS_G = {"salt": 50.0, "herbs-spices": 250.0}


class Line(NamedTuple):
    """Everything the weight of a line depends on; equal lines are weighed once."""

    text: str
    kind: str
    quantity_low: float | None
    quantity_high: float | None
    unit: str
    each_quantity: float | None
    each_unit: str
    size: str
    preparation: str
    amount_rule: str
    units_system: str
    portions: float
    food: Food


class Amount(NamedTuple):
    """A number of measures. ``spread`` is the kind of row in amount_spread.csv, ``other`` what another
    kitchen gives for the same measure."""

    low: float
    high: float
    measure: Measure
    spread: str
    assumption: tuple[str, ...] = ()
    other: Measure | None = None


class CannotWeigh(Exception):
    """The line has no weight; the argument is one of ``REASONS``."""


def weigh(parsed, matched, lines, recipes, variants, entries, measures, edible_portions, densities, amount_spread,
          amount_rules) -> tuple[pd.DataFrame, list[Problem]]:
    """The mass of every line.

    ``parsed``, ``matched``, ``lines``, ``recipes``, ``variants`` and ``entries`` are
    tables of the models of the same name; the last five are the files of ``reference/``.
    An entry counts only where its match was accepted; other lines are weighed by their
    own words as far as those go, and by the class and state of the likeliest entry where only
    the choice of the entry is open. Returns the table :class:`pipeline.tables.Weighed` in
    the order of ``parsed``, and problems: absurd quantities, unusable reference rows.
    """
    books, unusable = open_books(measures, edible_portions, densities, amount_spread, amount_rules)
    problems = list(unusable)
    joined = _join(parsed, matched, lines, recipes, variants, entries)
    weigh_once = lru_cache(maxsize=None)(lambda line: _weigh_line(line, books))
    rows = []
    for line_id, line in zip(joined["line_id"], _lines(joined)):
        rows.append({"line_id": line_id, **weigh_once(line)})
    table = pd.DataFrame(rows, columns=tables.columns(tables.Weighed))
    table = _with_intervals(table) if len(table) else tables.empty(tables.Weighed)
    absurd = joined[(table["weigh_reason"] == "absurd-quantity").to_numpy()] if len(table) else joined.iloc[:0]
    problems.extend(_absurd(row) for row in absurd.itertuples())
    return tables.checked(tables.Weighed, table, "weigh"), problems


# ---------------------------------------------------------------- one line

def _weigh_line(line: Line, books: Books) -> dict:
    try:
        return _weighed(line, books)
    except CannotWeigh as reason:
        return _nothing(str(reason))


def _weighed(line: Line, books: Books) -> dict:
    if line.kind != "food":
        raise CannotWeigh("unreadable" if line.kind == "unreadable" else "not-food")
    amount = _amount(line, books)
    if amount.high <= 0:
        raise CannotWeigh("absurd-quantity")
    density = _density(line, amount.measure, books)
    if density and of_like_food(line.food, density):
        amount = amount._replace(spread="like-density", assumption=(*amount.assumption, f"lies in the spoon or cup as {density.name} does"))
    spread = books.spread.get(amount.spread, Spread())  # "exact" has no row
    quantity = (amount.low + amount.high) / 2 * spread.middle
    mass_g = quantity * amount.measure.middle
    if density:
        mass_g = mass_g * density.middle
    if _is_absurd(mass_g, line):
        raise CannotWeigh("absurd-quantity")
    edible, edible_note = weigh_edible.portion(line, amount, find_edible(books, weigh_words.as_bought(line), weigh_words.is_bone_in(line.text)))
    measure, other_note = _over_both(amount, edible)
    notes = dict.fromkeys(note for note in (*amount.assumption, other_note, edible_note) if note)
    return {
        "quantity": quantity, "quantity_low": amount.low * spread.low, "quantity_high": amount.high * spread.high,
        "measure_id": measure.measure_id, "measure_value": measure.middle,
        "measure_low": measure.low, "measure_high": measure.high, "measure_unit": measure.unit,
        "density_id": density.density_id if density else "",
        "density_g_per_ml": density.middle if density else np.nan,
        "density_low": density.low if density else np.nan, "density_high": density.high if density else np.nan,
        "mass_g": mass_g, "mass_low_g": np.nan, "mass_high_g": np.nan,
        "edible_id": edible.edible_id, "edible_fraction": edible.middle, "edible_low": edible.low,
        "edible_high": edible.high, "edible_g": mass_g * edible.middle,
        "assumption": "; ".join(notes), "weigh_reason": "",
    }


def _nothing(reason: str) -> dict:
    text = {"measure_id": "", "measure_unit": "", "density_id": "", "edible_id": "", "assumption": "", "weigh_reason": reason}
    return {name: text.get(name, np.nan) for name in tables.columns(tables.Weighed) if name != "line_id"}


def _over_both(amount: Amount, edible: Edible) -> tuple[Measure, str]:
    """The measure with an interval that reaches over another kitchen's too, where that one's middle is outside it.

    A weight without refuse is compared with one with it by the edible fraction; the other
    way round, with a weight whose refuse is not known here, nothing is compared.
    """
    measure, other = amount.measure, amount.other
    if other is None or (measure.basis != other.basis and (measure.basis, other.basis) != ("as-purchased", "edible")):
        return measure, ""
    scale = 1.0 if measure.basis == other.basis else edible.middle
    low, middle, high = other.low / scale, other.middle / scale, other.high / scale
    if measure.low <= middle <= measure.high:
        return measure, ""
    joined = f"{measure.measure_id}+{other.measure_id}"
    whose = other.table or "the curated measure"
    return (measure._replace(measure_id=joined, low=min(low, measure.low), high=max(high, measure.high)),
            f"{whose} gives {middle:.3g} {measure.unit}: the interval reaches over both")


def _density(line: Line, measure: Measure, books: Books) -> Density | None:
    if measure.unit != "ml":
        return None
    density = find_density(books, line.food, line.preparation)
    if density is None:
        raise CannotWeigh("no-density" if line.food.entry_id else "no-entry")
    return density


def _is_absurd(mass_g: float, line: Line) -> bool:
    per_portion = mass_g / line.portions
    most = ABSURD_PORTION_OF_CLASS_G.get(line.food.cooking_class, ABSURD_PORTION_G)
    return per_portion > most or (mass_g > ABSURD_LINE_G and per_portion > ABSURD_PORTION_OF_BIG_LINE_G)


# ---------------------------------------------------------------- how much

def _amount(line: Line, books: Books) -> Amount:
    """The quantity and the measure it counts."""
    low, high, notes = line.quantity_low, line.quantity_high, ()
    if low is None or high is None:
        if line.each_quantity is None and not _means_one(line):
            return _rule_amount(line, books)
        low = high = 1.0
        notes = ("one assumed: no number is written",)
    if line.each_quantity is not None:
        return _of_each(line, low, high, notes, books)
    amount = _counted(line, low, high, line.unit, notes, books)
    return amount._replace(spread="one-assumed") if notes else amount


def _means_one(line: Line) -> bool:
    """No number, but the unit in the singular: "knob of butter", not "sprigs of thyme"."""
    if line.unit not in ONE_OF:
        return False
    return re.search(rf"\b{re.escape(line.unit)}\b", line.text, re.I) is not None


def _of_each(line: Line, low: float, high: float, notes, books: Books) -> Amount:
    """So many of a stated size: the number and the size multiply."""
    low, high = low * line.each_quantity, high * line.each_quantity
    amount = _counted(line, low, high, line.each_unit, notes, books, container=line.unit)
    measured = units.is_mass(line.unit) or units.is_volume(line.unit)  # "1 cup (120 g)": the cook's own
    stated = not measured and (units.is_mass(line.each_unit) or units.is_volume(line.each_unit))
    return amount._replace(spread="stated-size") if stated else amount


def _counted(line: Line, low: float, high: float, unit: str, notes, books: Books, container: str = "") -> Amount:
    """So many of one unit."""
    drained, drained_note = weigh_words.is_drained(line, container or unit)
    notes = (*notes, *drained_note)
    perhaps = not drained and weigh_words.is_tinned_then_drained(line)
    if perhaps and units.is_mass(unit):
        note = "taken as the drained weight; with the liquid it would be about half to four fifths of it"
        return _mass(line, low, high, unit, (*notes, note), False, books)._replace(spread="drained-or-not")
    if units.is_mass(unit) or (units.is_volume(unit) and container in weigh_words.CONTAINERS and drained):
        return _mass(line, low, high, unit, notes, drained, books)
    if units.is_volume(unit):
        return _volume(line, low, high, unit, notes, books)
    preparation = f"{line.preparation} drained" if drained or perhaps else line.preparation
    # The whole tin would count the liquid that was poured away.
    basis = "drained" if drained and unit in weigh_words.CONTAINERS else ""
    found = find_measure(books, line.food, unit or "piece", line.size, preparation, basis=basis, units_system=line.units_system)
    if found is None:
        raise CannotWeigh("no-measure" if line.food.entry_id else "no-entry")
    measure, size_note, other, doubt = found
    doubt = doubt or weigh_sizes.beyond(measure.size, line.size, line.text)
    vague = measure.scope in ("class", "any") or unit in VAGUE
    vague_note = f"{unit or 'piece'} taken as {measure.middle:g} {measure.unit} ({measure.low:g}-{measure.high:g})" if vague else ""
    size_note = size_note if line.size or unit not in VAGUE else ""
    whole = float(low).is_integer() and float(high).is_integer()
    return Amount(low, high, measure, doubt or ("counted" if whole else "counted-part"), (*notes, size_note, vague_note), other)


def _mass(line: Line, low: float, high: float, unit: str, notes, drained: bool, books: Books) -> Amount:
    if drained:
        found = find_measure(books, line.food, "tin-drained-fraction", "", "")
        if found is None:
            raise CannotWeigh("no-measure")
        # A tin's contents in g; one that states ml holds about as many grams of brine as ml.
        grams = units.grams_per(unit).middle if units.is_mass(unit) else units.millilitres_per(unit, line.units_system).middle
        note = f"drained contents are {found[0].middle:g} of the tin's weight"
        return Amount(low * grams, high * grams, found[0], "stated-size", (*notes, note))
    size = units.grams_per(unit)
    measure = Measure(f"unit:{size.name}", size.low, size.middle, size.high, "g", "as-purchased")
    return Amount(low, high, measure, "weighed-mass", notes)


def _volume(line: Line, low: float, high: float, unit: str, notes, books: Books) -> Amount:
    spread = weigh_words.how_filled(line.text) or ("spoon" if unit in units.SPOONS else "cup" if unit == "cup" else "measured-volume")
    own = find_measure(books, line.food, unit, line.size, line.preparation, scopes=("entry", "name"), units_system=line.units_system,
                       measured=True)
    # What another kitchen's plain spoon holds of a food says less than this kitchen's spoon and the food's density.
    if own and not (own.measure.table and not own.measure.preparation and find_density(books, line.food, line.preparation)):
        return Amount(low, high, own.measure, spread, (*notes, own.note), own.other)
    size = units.millilitres_per(unit, line.units_system)
    note = "" if size.exact else f"{unit} taken as {size.middle:g} ml ({size.low:.0f}-{size.high:.0f})"
    measure = Measure(f"unit:{size.name}", size.low, size.middle, size.high, "ml", "edible")
    return Amount(low, high, measure, spread, (*notes, note))


def _rule_amount(line: Line, books: Books) -> Amount:
    """An amount without a number, by a rule of the food's class."""
    asked = "none" if line.amount_rule == "stated" else line.amount_rule
    kinds = (*weigh_words.use_said(line.text), asked)
    rule = next(filter(None, (find_rule(books, kind, line.food.cooking_class) for kind in kinds)), None)
    if rule is None or line.unit or weigh_words.is_deep_frying(line.text):
        raise CannotWeigh("no-quantity")
    times = line.portions if rule.per == "portion" else 1.0
    measure = Measure(f"rule:{rule.rule_id}", rule.low, rule.middle, rule.high, rule.unit, "edible")
    note = (f"no amount written: {rule.middle:g} {rule.unit} ({rule.low:g}-{rule.high:g}) per {rule.per} "
            f"by the rule {rule.rule_id}")
    return Amount(times, times, measure, "exact", (note,))


# ---------------------------------------------------------------- tables

def _join(parsed, matched, lines, recipes, variants, entries) -> pd.DataFrame:
    """One row per parsed line with its match, recipe, portions and entry."""
    frame = parsed.merge(matched[["line_id", "entry_id", "match_outcome", "match_reason"]], on="line_id", how="left")
    frame = frame.merge(
        lines[["line_id", "recipe_id", "variant_id", "line_no", "source_file", "source_line"]], on="line_id", how="left")
    frame = frame.merge(recipes[["recipe_id", "units_system"]], on="recipe_id", how="left")
    frame = frame.merge(variants[["recipe_id", "variant_id", "portions"]], on=["recipe_id", "variant_id"], how="left")
    accepted = frame["match_outcome"] == "accepted"
    likely = (frame["match_outcome"] == "review") & frame["match_reason"].isin(LIKELY)
    frame["entry_id"] = frame["entry_id"].where(accepted | likely, "").fillna("")
    known = entries[["entry_id", "name", "common_names", "state", "cooking_class", "refuse_fraction", "refuse_description"]]
    known = known.rename(columns={"name": "entry_name", "state": "entry_state"})
    frame = frame.merge(known, on="entry_id", how="left")
    frame.loc[~accepted, ["entry_id", "entry_name", "common_names", "refuse_description"]] = ""
    frame.loc[~accepted, "refuse_fraction"] = np.nan
    return frame


def _lines(frame: pd.DataFrame) -> list[Line]:
    def text(name):
        return frame[name].fillna("").astype(str).tolist()

    def number(name):
        return [None if pd.isna(value) else float(value) for value in frame[name]]

    kinds = ["not-food" if outcome == "not-food" else kind for outcome, kind in zip(text("match_outcome"), text("kind"))]
    foods = [Food(*parts) for parts in zip(
        text("phrase"), text("state"), text("entry_id"), text("entry_name"), text("common_names"), text("cooking_class"),
        text("entry_state"), number("refuse_fraction"), text("refuse_description"))]
    portions = [value or 1.0 for value in number("portions")]
    systems = [system or "uk" for system in text("units_system")]
    return [Line(*parts) for parts in zip(
        text("text"), kinds, number("quantity_low"), number("quantity_high"), text("unit"), number("each_quantity"),
        text("each_unit"), text("size"), text("preparation"), text("amount_rule"), systems, portions, foods)]


def _with_intervals(table: pd.DataFrame) -> pd.DataFrame:
    """``mass_low_g`` and ``mass_high_g``: the relative variances of the factors add (JCGM 100, 5.1.6)."""
    variance = np.zeros(len(table))
    for value, low, high in (("quantity", "quantity_low", "quantity_high"), ("measure_value", "measure_low", "measure_high"),
                             ("density_g_per_ml", "density_low", "density_high")):
        numbers = table[[value, low, high]].astype("float64")
        relative = lineage.standard_uncertainty(numbers[low], numbers[high]) / numbers[value]
        variance += np.square(np.nan_to_num(relative))
    table["mass_low_g"], table["mass_high_g"] = lineage.figure_interval(
        table["mass_g"].astype("float64"), np.sqrt(variance) * table["mass_g"].astype("float64"))
    return table


def _absurd(row) -> Problem:
    return Problem(
        where=f"{row.source_file}:{row.source_line} ({row.recipe_id}/{row.variant_id} line {row.line_no})",
        what=f"the amount cannot be meant: {row.text!r}",
        remedy="Correct the number or the unit in the recipe; the line is not weighed until then",
        code="absurd-quantity", severity=ERROR, stage="weigh", recipe_id=row.recipe_id)
