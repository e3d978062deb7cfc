"""The foods of a composition sheet: names, group, state, refuse, and what brings their values to 100 g edible portion."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

from pipeline.composition.common import listed, problem
from pipeline.composition.profile import EDIBLE_KINDS, Profile
from pipeline.composition.sheet_cell import Words, plain, read_cell
from pipeline.composition.sheet_layout import Layout
from pipeline.problems import Problem

LEAST_DENSITY, MOST_DENSITY = 0.2, 3.0  # g/ml: outside these it is another quantity or another unit
NO_DENSITY = "Give a density for it under [basis] densities in the profile, with density_source, or correct the table as published"


@dataclass(frozen=True)
class Food:
    """One food. ``to_100_g``: what its printed values are multiplied by to be per 100 g edible portion."""

    code: str
    name: str
    other_names: tuple[str, ...]
    scientific_name: str
    group_code: str
    group: str
    state: str
    cooking_class: str
    refuse_fraction: float
    refuse_note: str
    per: str
    density_g_per_ml: float
    to_100_g: float
    basis_note: str


def foods_of(layouts: list[Layout], profile: Profile, faults: Any) -> tuple[dict[str, Food], list[Problem]]:
    """The foods of the first sheet by code, in its order; cells that are not understood go to ``faults``."""
    wrong: dict[str, list[tuple[str, str]]] = {}
    foods = {code: _food(code, layouts, profile, faults, wrong) for code in layouts[0].rows}
    file = layouts[0].grid.file
    problems = [item for remedy, found in wrong.items() for item in listed(file, found, remedy)]
    unused = sorted(set(profile.basis.densities) - set(foods))
    if unused:
        problems.append(problem(f"profile {profile.name}: basis.densities", f"names the food {unused[0]!r}, which the table does not have",
                                "Take it out, or correct the code"))
    return foods, problems


def _food(code: str, layouts: list[Layout], profile: Profile, faults: Any, wrong: dict[str, list[tuple[str, str]]]) -> Food:
    first = layouts[0]
    place = first.grid.place(first.rows[code])
    name = _text(layouts, "name", code, faults)
    if not name:
        wrong.setdefault("Write its name as published", []).append((place, f"the food {code!r} has no name"))
    group_code = _text(layouts, "group", code, faults) or first.groups.get(code, "")
    others = [_cell_text(first, heading, code, faults) for heading in first.plan.other_names]
    edible, kind = _edible(layouts, code, profile.words, faults)
    density = _density(layouts, code, profile, faults)
    per, to_100_g, note = _basis(code, name, group_code, edible, density, layouts, profile, place, wrong, faults)
    return Food(
        code=code, name=name, other_names=tuple(dict.fromkeys(text.replace(";", ",") for text in others if text and text != name)),
        scientific_name=_text(layouts, "scientific_name", code, faults), group_code=group_code,
        group=_by_beginning(profile.group_names, group_code) or group_code, state=_state(name, profile),
        cooking_class=_by_beginning(profile.cooking_classes, group_code) or "other",
        refuse_fraction=math.nan if math.isnan(edible) else round(1 - edible, 6),
        refuse_note=f"refuse, from the table's {kind.replace('_', ' ')}" if kind and edible < 1 else "",
        per=per, density_g_per_ml=density, to_100_g=to_100_g, basis_note=note,
    )


def _by_beginning(names: dict[str, str], group_code: str) -> str:
    """What the longest key that the code begins with stands for; "" where none does."""
    keys = [key for key in names if group_code.casefold().startswith(key.casefold())]
    return names[max(keys, key=len)] if keys else ""


def _state(name: str, profile: Profile) -> str:
    """The state whose words the name has; the first in the profile decides."""
    for state, words in profile.states:
        if any(re.search(rf"(?<!\w){re.escape(word)}(?!\w)", name, re.IGNORECASE) for word in words):
            return state
    return ""


def _with(layouts: list[Layout], role: str) -> Layout | None:
    """The sheet that has the column of this role."""
    return next((layout for layout in layouts if getattr(layout.plan, role)), None)


def _text(layouts: list[Layout], role: str, code: str, faults: Any) -> str:
    layout = _with(layouts, role)
    return _cell_text(layout, getattr(layout.plan, role), code, faults) if layout else ""


def _cell_text(layout: Layout, headings: tuple[str, ...], code: str, faults: Any) -> str:
    row, column = layout.rows.get(code), layout.column(headings)
    if row is None or column is None:
        return ""
    cell = layout.grid.at(row, column)
    if cell.fault:
        faults.add(layout, row, column, headings[0], code, cell.fault, cell.remedy)
    return " ".join(cell.text.split())


def _number(
    layouts: list[Layout], role: str, code: str, words: Words, faults: Any, low: float, high: float, divisor: float = 1,
) -> float:
    """A number of a food that stands in its own column, within bounds; NaN where it is missing."""
    layout = _with(layouts, role)
    row = layout.rows.get(code) if layout else None
    if layout is None or row is None:
        return math.nan
    headings = getattr(layout.plan, role)
    column = layout.column(headings)
    cell = layout.grid.at(row, column)
    reading = read_cell(cell.text, words, is_number=cell.is_number)
    if not cell.fault and (not cell.text.strip() or (reading.value_type == "missing" and not reading.fault)):
        return math.nan
    fits = not reading.fault and reading.value_type not in ("trace", "below-detection") and low <= reading.value / divisor <= high
    if cell.fault or not fits:
        what = cell.fault or f"{cell.text!r} is not a number from {plain(low * divisor)} to {plain(high * divisor)}"
        remedy = cell.remedy or "Correct it as published, or leave it empty where it is not known"
        faults.add(layout, row, column, headings[0], code, what, remedy)
        return math.nan
    return reading.value


def _edible(layouts: list[Layout], code: str, words: Words, faults: Any) -> tuple[float, str]:
    """The edible part of the food as purchased (NaN where the table does not say), and the kind of its column."""
    layout = _with(layouts, "edible")
    if layout is None:
        return math.nan, ""
    by, is_refuse = EDIBLE_KINDS[layout.plan.edible_kind]
    number = _number(layouts, "edible", code, words, faults, 0, 1, 1 / by)
    if math.isnan(number):
        return math.nan, layout.plan.edible_kind
    edible = 1 - number * by if is_refuse else number * by
    if edible <= 0:
        row = layout.rows[code]
        column, heading = layout.column(layout.plan.edible), layout.plan.edible[0]
        faults.add(layout, row, column, heading, code, "leaves nothing to eat", "Correct it as published")
        return math.nan, layout.plan.edible_kind
    return edible, layout.plan.edible_kind


def _density(layouts: list[Layout], code: str, profile: Profile, faults: Any) -> float:
    if code in profile.basis.densities:
        return float(profile.basis.densities[code])
    return _number(layouts, "density", code, profile.words, faults, LEAST_DENSITY, MOST_DENSITY)


def _basis(
    code: str, name: str, group_code: str, edible: float, density: float, layouts: list[Layout], profile: Profile, place: str,
    wrong: dict[str, list[tuple[str, str]]], faults: Any,
) -> tuple[str, float, str]:
    """(printed per, factor to 100 g edible portion, what was done)."""
    basis, to_100_g, notes = profile.basis, 1.0, []
    per = _per(code, group_code, layouts, profile, faults)
    if per == "100 ml":
        known = density if not math.isnan(density) else basis.density_g_per_ml
        if math.isnan(known):
            wrong.setdefault(NO_DENSITY, []).append((place, f"the food {code!r} is given per 100 ml, and has no density"))
            return per, math.nan, ""
        to_100_g /= known
        stated = f", {basis.density_source}" if code in basis.densities or math.isnan(density) else ""
        notes.append(f"per 100 ml, density {plain(float(known))} g/ml{stated}")
    if any(words.casefold() in name.casefold() for words in basis.as_purchased_names):
        if math.isnan(edible):
            what = f"the food {code!r} is given as purchased, and has no edible portion"
            wrong.setdefault("Give its edible portion, as published", []).append((place, what))
            return per, math.nan, ""
        to_100_g /= edible
        notes.append(f"as purchased, edible portion {plain(float(edible))}")
        per = f"{per} as purchased"
    return per, to_100_g, "; ".join(notes)


def _per(code: str, group_code: str, layouts: list[Layout], profile: Profile, faults: Any) -> str:
    basis = profile.basis
    if any(group_code.casefold().startswith(key.casefold()) for key in basis.per_100_ml_groups):
        return "100 ml"
    layout = _with(layouts, "per")
    if layout is None:
        return basis.per
    text = _cell_text(layout, layout.plan.per, code, faults)
    word = text.casefold()
    for per, words in (("100 g", basis.per_100_g_words), ("100 ml", basis.per_100_ml_words)):
        if word in [one.casefold() for one in words]:
            return per
    row, heading = layout.rows.get(code), layout.plan.per[0]
    if row is None:
        what = f"its basis is not stated: it is not on sheet {layout.grid.sheet}"
        faults.add(layouts[0], layouts[0].rows[code], 0, heading, code, what, "Add the row as published")
        return basis.per
    remedy = "Correct it, or add the word to per_100_g_words or per_100_ml_words of [basis]"
    faults.add(layout, row, layout.column(layout.plan.per), heading, code, f"{text!r} does not say per 100 g or per 100 ml", remedy)
    return basis.per
