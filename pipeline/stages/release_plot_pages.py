"""What the plots of a recipe say, in numbers and words; :mod:`release_plot_drawing` puts them on paper.

Two pages for each recipe as written (variant ``base``), each a grid with one column per component:

* ``raw-to-plate``: what every ingredient line of one portion brings in, what of it is on the plate with its
  90 % interval, and what went out in cooking; above them the whole portion, which is the released figure;
* ``uncertainties``: the share of each input in the width of that figure's interval.

A withheld figure has no number on either page: its column says why instead.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd

from pipeline import lineage
from pipeline.stages.conditions import plain, share_in_words
from pipeline.stages.total_sums import KEY, uses

Record = dict[str, Any]
BASE = "base"
COMPONENTS = {"K": "Potassium", "P": "Phosphorus", "NA": "Sodium", "PROCNT": "Protein"}
NEEDED = ("recipes", "variants", "lines", "weighed", "cooked", "contributions", "inputs", "figures")
RAW_TO_PLATE, UNCERTAINTIES = "raw-to-plate", "uncertainties"
# What a page has room for; lines and inputs beyond it are summed in one last row.
MOST_ROWS = 14
# A row whose share is below this in every column goes into that last row too.
SMALL = 0.01
OTHERS = "others"
# Below the one, two digits of an amount are enough; below the other, that it is below.
SHORT_BELOW, TINY = 0.01, 0.001
# The cautions that belong under a plot; a collection whose cautions have other ids gets all of those for readers.
CAUTIONS = ("defer-to-dietitian", "portion-is-a-choice", "home-variation", "cooking-water", "publish-only-ready")
KIND_WORDS = {
    "quantity": "How much is used", "measure": "What one measure weighs", "density": "What a volume weighs",
    "edible": "What is trimmed off", "composition": "What the food itself holds", "match": "Which food is meant",
    "retention": "What cooking leaves in it", "routes": "Raw and cooked entry disagree"}
LOST_EITHER_WAY = "poured away or lost"
FLAGS = {"withheld": "WITHHELD", "check": "TO CHECK", "ready": "NOTE"}


@dataclass(frozen=True)
class Cell:
    """One row in one column, in the column's unit: a bar from 0 to ``bar``, stripes from there to ``end``, the
    90 % interval ``low`` to ``high`` (all NaN where there is none), and the words below."""

    bar: float
    end: float
    low: float
    high: float
    words: tuple[str, ...]

    @property
    def most(self) -> float:
        """How far the cell reaches; 0 where nothing is drawn."""
        return float(np.nanmax([self.bar, self.end, self.high, 0.0]))


@dataclass(frozen=True)
class Column:
    """A component: its name, the unit of its scale and where that ends (0: at the largest cell), and what must be said
    of its figure ("TO CHECK: wide interval")."""

    name: str
    unit: str
    most: float
    note: str
    is_withheld: bool


@dataclass(frozen=True)
class Row:
    """An ingredient line, an input or a sum of them, with a cell for each column."""

    label: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Page:
    """One plot: ``whole`` is the first row, of the portion; ``key`` says what bar, stripes and interval mean
    ("" where the plot has none); ``description`` is all of it in words."""

    name: str
    title: str
    subtitle: str
    key: tuple[str, str, str]
    columns: tuple[Column, ...]
    whole: Row
    rows: tuple[Row, ...]
    cautions: tuple[str, ...]
    description: str


def pages(frames: Mapping[str, pd.DataFrame], cautions: pd.DataFrame) -> list[Page]:
    """Two pages per recipe, by recipe id; none where a table of ``NEEDED`` is missing.

    ``frames`` are the tables of a release by their released names, ``cautions`` has the columns of
    ``reference/cautions.csv``. Raises nothing.
    """
    if any(name not in frames for name in NEEDED):
        return []
    given = _of_base(frames)
    parts = _parts(given)
    effects = _effects_by_line(given, parts, frames.get("two_routes"))
    amounts, widths = _by_recipe(_amounts(parts, effects)), _by_recipe(_widths(parts, effects))
    figures = _by_recipe(given["figures"][given["figures"]["basis"] == "portion"])
    portions = given["variants"].set_index("recipe_id")["portions"]
    said = _said_under(cautions)
    made = []
    for recipe in given["recipes"].sort_values("recipe_id").itertuples():
        here = {figure["component"]: figure for figure in figures.get(recipe.recipe_id, ())}
        plotted = tuple(here[component] for component in COMPONENTS if component in here)
        if plotted:
            dish = _Dish(recipe.recipe_id, recipe.name, plain(portions[recipe.recipe_id]), plotted, said)
            made.append(_raw_to_plate(dish, amounts.get(recipe.recipe_id, [])))
            made.append(_uncertainties(dish, widths.get(recipe.recipe_id, [])))
    return made


# ---------------------------------------------------------------- from the released tables

def _of_base(frames: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    given = {name: frames[name] for name in NEEDED}
    for name in ("variants", "lines", "contributions", "figures"):
        given[name] = given[name][given[name]["variant_id"] == BASE]
    given["lines"] = given["lines"][given["lines"]["counted"] & (given["lines"]["outcome"] == "accepted")]
    return given


def _parts(given: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Contributions to the plotted components with what they are per portion: ``went_in`` and ``plate``.

    Beside them ``text`` and ``entry_name`` of the line, its cooking ``chain``, and ``row``: where it is
    shown, its ``line_id`` or ``OTHERS``; ``weight`` is its largest share in a column that shows numbers.
    """
    parts = given["contributions"][given["contributions"]["component"].isin(COMPONENTS)]
    parts = parts.merge(given["variants"][["recipe_id", "portions"]], on="recipe_id")
    parts = parts.merge(given["lines"][["line_id", "text", "entry_name"]], on="line_id")
    parts = parts.merge(given["cooked"][["line_id", "chain"]], on="line_id", how="left").fillna({"chain": ""})
    parts["went_in"] = parts["edible_g"] * parts["value_per_100g"] / 100 / parts["portions"]
    parts["plate"] = parts["amount"] / parts["portions"]
    size = parts["went_in"].fillna(0.0)
    whole = size.groupby([parts["recipe_id"], parts["component"]]).transform("sum")
    shown = given["figures"].loc[given["figures"]["status"] != "withheld", ["recipe_id", "component"]].drop_duplicates()
    told = pd.MultiIndex.from_frame(parts[["recipe_id", "component"]]).isin(pd.MultiIndex.from_frame(shown))
    share = (size / whole.where(whole > 0)).fillna(0.0).where(told, 0.0)
    parts["weight"] = share.groupby(parts["line_id"]).transform("max")
    unknown = parts["amount"].isna().groupby(parts["line_id"]).transform("any")
    return parts.assign(row=_rows(parts, unknown))


def _rows(parts: pd.DataFrame, unknown: pd.Series) -> pd.Series:
    """``line_id`` of the lines that have a row of their own, ``OTHERS`` for the rest. A line without a value is no small one."""
    lines = parts[["recipe_id", "line_id", "line_no", "weight"]].assign(unknown=unknown).drop_duplicates("line_id")
    lines = lines.sort_values(["recipe_id", "unknown", "weight", "line_no"], ascending=[True, False, False, True])
    place = lines.groupby("recipe_id").cumcount()
    rest = (place >= MOST_ROWS) | ~(lines["unknown"] | (lines["weight"] >= SMALL))
    several = rest.groupby(lines["recipe_id"]).transform("sum") > 1
    gathered = lines.loc[rest & several, "line_id"]
    return parts["line_id"].where(~parts["line_id"].isin(gathered), OTHERS)


def _effects_by_line(given: Mapping[str, pd.DataFrame], parts: pd.DataFrame, routes: pd.DataFrame | None) -> pd.DataFrame:
    """How each line's amount in the whole recipe depends on each input: recipe_id, line_id, component, input_id, effect.

    The propagation of the figures themselves, asked for every line as if it were a dish of its own.
    """
    alone = {name: given[name].assign(variant_id=given[name]["line_id"]) for name in ("contributions", "lines")}
    known = alone["contributions"][alone["contributions"]["component"].isin(parts["component"])]
    found = uses(known, alone["lines"], given["weighed"], given["cooked"], given["recipes"], given["inputs"], routes=routes)
    return found[found["component"].isin(COMPONENTS)].rename(columns={KEY[1]: "line_id"})


def _amounts(parts: pd.DataFrame, effects: pd.DataFrame) -> pd.DataFrame:
    """One row per recipe, row of the plot and component: went_in, plate, low and high per portion, and in words what
    was lost; ``lines`` and ``unknown`` count what the row sums. Inputs that lines of a row share count once."""
    by = ["recipe_id", "row", "component"]
    summed = parts.groupby(by, sort=True).agg(
        went_in=("went_in", "sum"), plate=("plate", "sum"), weight=("weight", "max"), line_no=("line_no", "min"),
        portions=("portions", "first"), text=("text", "first"), lines=("line_id", "size"), known=("amount", "count"),
        lost=("chain", _lost)).reset_index()
    of_row = effects.merge(parts[["line_id", "component", "row"]], on=["line_id", "component"])
    spread = lineage.combine(of_row, by)
    summed = summed.merge(spread, on=by, how="left").fillna({"uncertainty": 0.0})
    summed["low"], summed["high"] = lineage.figure_interval(summed["plate"], summed["uncertainty"] / summed["portions"])
    summed["last"] = summed["row"] == OTHERS
    return summed.sort_values(["recipe_id", "last", "weight", "line_no"], ascending=[True, True, False, True], ignore_index=True)


def _lost(chains: pd.Series) -> str:
    """What became of the part that is not on the plate: only a step that drains pours something away."""
    steps = {step.endswith(":drained") for chain in chains for step in chain.split(" > ") if step not in ("", "raw")}
    return {frozenset({True}): "poured away", frozenset({False}): "lost in cooking"}.get(frozenset(steps), LOST_EITHER_WAY)


def _widths(parts: pd.DataFrame, effects: pd.DataFrame) -> pd.DataFrame:
    """recipe_id, component, label, share: what makes each figure's interval wide; the shares of a figure add up to 1."""
    shares = lineage.width_shares(effects, ["recipe_id", "component"])
    told = parts.drop_duplicates("line_id").set_index("line_id")[["line_no", "text", "entry_name"]]
    users = effects[["recipe_id", "line_id", "input_id"]].drop_duplicates()
    users = users.assign(source=users["input_id"].map(lineage.source_of)).join(told, on="line_id").sort_values(
        ["recipe_id", "line_no", "input_id"])
    named = users.groupby(["recipe_id", "source"], sort=True).agg(
        texts=("text", lambda texts: "; ".join(dict.fromkeys(texts))), entry_name=("entry_name", "first")).reset_index()
    shares = shares.merge(named, on=["recipe_id", "source"])
    subject = shares["texts"].where(shares["kind"] != "composition", shares["entry_name"])
    words = shares["kind"].map(lambda kind: KIND_WORDS.get(kind, kind.replace("-", " ").capitalize()))
    shares["label"] = words.astype("str") + ": " + subject.astype("str")
    return shares.groupby(["recipe_id", "component", "label"], sort=True)["share"].sum().reset_index()


def _by_recipe(frame: pd.DataFrame) -> dict[str, list[Record]]:
    """The rows of each recipe in their order, as plain records: a page has too few of them for a table to be quick."""
    found: dict[str, list[Record]] = {}
    for one in frame.to_dict("records"):
        found.setdefault(one["recipe_id"], []).append(one)
    return found


def _said_under(cautions: pd.DataFrame) -> tuple[str, ...]:
    texts = cautions.set_index("caution_id")["text"]
    found = tuple(texts[one] for one in CAUTIONS if one in texts.index)
    return found or tuple(cautions.loc[cautions["audience_of_text"] == "reader", "text"])


# ---------------------------------------------------------------- the two pages

@dataclass(frozen=True)
class _Dish:
    """What both pages of a recipe begin with; ``figures`` are rows of Figures, one per plotted component of a portion."""

    recipe_id: str
    name: str
    portions: str
    figures: tuple[Record, ...]
    cautions: tuple[str, ...]

    def page(self, name: str, subtitle: str, key: tuple[str, str, str], columns: tuple[Column, ...], whole: tuple[Cell, ...],
             rows: tuple[Row, ...]) -> Page:
        first = Row("The whole portion", whole)
        named = f"{subtitle}: one of {self.portions} portions, the recipe as written"
        return Page(f"{self.recipe_id}-{name}", self.name, named, key, columns, first, rows, self.cautions,
                    _in_words(f"{self.name}. {named}", columns, first, rows))


def _raw_to_plate(dish: _Dish, amounts: list[Record]) -> Page:
    lost = {one["lost"] for one in amounts if _differ(one["plate"], one["went_in"])}
    words = lost.pop() if len(lost) == 1 else LOST_EITHER_WAY
    whole = tuple(_held() if _is_held(figure) else _whole(figure, amounts, words) for figure in dish.figures)
    rows = _grid(amounts, dish.figures, _line_label, _line_cell)
    return dish.page(RAW_TO_PLATE, "From what goes in to what is on the plate",
                     ("on the plate", "went in, and out again in cooking", "90 % interval of what is on the plate"),
                     tuple(_column(figure, figure["unit"], 0.0) for figure in dish.figures), whole, rows)


def _uncertainties(dish: _Dish, widths: list[Record]) -> Page:
    whole = tuple(_held() if _is_held(figure) else _figure_only(figure) for figure in dish.figures)
    told = {figure["component"] for figure in dish.figures if not _is_held(figure)}
    rows = _grid(_gathered([one for one in widths if one["component"] in told]), dish.figures,
                 lambda group: group[0]["row"], _share_cell)
    return dish.page(UNCERTAINTIES, "What makes the 90 % intervals wide",
                     ("share of the interval's width (of its variance): what would go if this were known exactly; a column adds up to 100 %",
                      "", ""),
                     tuple(_column(figure, "%", 100.0) for figure in dish.figures), whole, rows)


def _is_held(figure: Record) -> bool:
    return figure["status"] == "withheld"


def _column(figure: Record, unit: str, most: float) -> Column:
    note = f"{FLAGS[figure['status']]}: {figure['reason']}" if figure["reason"] else ""
    return Column(COMPONENTS[figure["component"]], unit, most, note, _is_held(figure))


def _grid(records: list[Record], figures: Sequence[Record], label: Callable, cell: Callable) -> tuple[Row, ...]:
    """A row for each ``row`` of the records, in their order, with a cell for every figure; none where every figure is withheld."""
    if all(_is_held(figure) for figure in figures):
        return ()
    rows = []
    for _, group in groupby(records, key=lambda one: one["row"]):
        members = list(group)
        by_component = {one["component"]: one for one in members}
        rows.append(Row(label(members), tuple(
            _held() if _is_held(figure) else cell(by_component.get(figure["component"]), figure["unit"]) for figure in figures)))
    return tuple(rows)


def _gathered(widths: list[Record]) -> list[Record]:
    """The inputs by their largest share in any column, the largest first; the small ones in one last row."""
    largest: dict[str, float] = {}
    for one in widths:
        largest[one["label"]] = max(one["share"], largest.get(one["label"], 0.0))
    ranked = sorted(largest, key=lambda label: (-largest[label], label))
    rest = [label for place, label in enumerate(ranked) if place >= MOST_ROWS or largest[label] < SMALL]
    others = f"{len(rest)} other inputs together"
    rows = {label: others if label in rest and len(rest) > 1 else label for label in ranked}
    shares: dict[tuple[str, str], float] = {}
    for label in ranked:
        for one in widths:
            if one["label"] == label:
                place = (rows[label], one["component"])
                shares[place] = shares.get(place, 0.0) + one["share"]
    return [{"row": row, "component": component, "share": share} for (row, component), share in shares.items()]


# ---------------------------------------------------------------- cells and words

def _blank(words: tuple[str, ...]) -> Cell:
    return Cell(np.nan, np.nan, np.nan, np.nan, words)


def _held() -> Cell:
    return _blank(("withheld",))


def _line_label(group: list[Record]) -> str:
    return f"{group[0]['lines']} other lines together" if group[0]["row"] == OTHERS else group[0]["text"]


def _line_cell(one: Record, unit: str) -> Cell:
    unknown = one["lines"] - one["known"]
    if unknown == one["lines"]:
        return _blank(("no value in the table",))
    cell = _amount(one["plate"], one["went_in"], one["low"], one["high"], one["lost"], unit)
    return replace(cell, words=(*cell.words, f"and {unknown} without a value")) if unknown else cell


def _whole(figure: Record, amounts: list[Record], lost: str) -> Cell:
    went_in = sum(one["went_in"] for one in amounts if one["component"] == figure["component"])
    return _amount(figure["value"], went_in, figure["low"], figure["high"], lost, figure["unit"])


def _amount(plate: float, went_in: float, low: float, high: float, lost: str, unit: str) -> Cell:
    words = (f"{_ranged(plate, low, high)} {unit}",)
    if not _differ(plate, went_in):
        return Cell(plate, plate, low, high, words)
    if plate > went_in:
        return Cell(plate, plate, low, high, (*words, f"{_short(plate - went_in)} more than the {_short(went_in)} that went in"))
    return Cell(plate, went_in, low, high, (*words, f"{_short(went_in - plate)} of {_short(went_in)} {lost}"))


def _differ(plate: float, went_in: float) -> bool:
    """Whether cooking changed the amount; the last digits of a sum say nothing."""
    return not math.isclose(plate, went_in, rel_tol=1e-9)


def _ranged(value: float, low: float, high: float) -> str:
    return _short(value) if low == high else f"{_short(value)} ({_short(low)} to {_short(high)})"


def _short(amount: float) -> str:
    """As everywhere, but where an amount is next to nothing only as long as its cell has room for."""
    if not 0 < amount < SHORT_BELOW:
        return plain(amount)
    return f"<{plain(TINY)}" if amount < TINY else f"{amount:.2g}"


def _figure_only(figure: Record) -> Cell:
    words = f"{_ranged(figure['value'], figure['low'], figure['high'])} {figure['unit']}"
    return _blank((words,) if figure["low"] < figure["high"] else (words, "an interval without width"))


def _share_cell(one: Record | None, _: str) -> Cell:
    if one is None:
        return _blank(("0 %",))
    share, words = one["share"], share_in_words(one["share"])
    return _blank(("under 0.1 %",)) if words == "0 %" else Cell(100 * share, 100 * share, np.nan, np.nan, (words,))


def _in_words(title: str, columns: Sequence[Column], whole: Row, rows: Sequence[Row]) -> str:
    """The page for those who do not see it; every number of the drawing is in it."""
    said = []
    for place, column in enumerate(columns):
        head = [f"{column.name}: {column.note}"] if column.note else [f"{column.name}"]
        if not column.is_withheld:
            head += [f"{row.label}: {', '.join(row.cells[place].words)}" for row in (whole, *rows)]
        said.append("; ".join(head))
    return ". ".join((title, *said)) + "."
