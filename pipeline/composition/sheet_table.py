"""From sheets as found to the common form: foods joined on their code, one value per food and component."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import pandas as pd

from pipeline.composition.common import WITH_LIMIT, Imported, checked, listed, no_measures, problem, with_missing
from pipeline.composition.profile import ColumnPlan, Profile
from pipeline.composition.sheet_calculated import calculated_rows
from pipeline.composition.sheet_cell import Reading, Words, read_cell
from pipeline.composition.sheet_foods import Food, foods_of
from pipeline.composition.sheet_layout import Layout, named
from pipeline.composition.sheet_units import factor
from pipeline.problems import WARNING, InputError, Problem
from pipeline.tables import VALUE_TYPES

CHOOSE = "Correct the cell as published, or say in the profile what it means ([values])"
COLUMNS = ("entry_id", "component", "value", "unit", "value_type", "n", "standard_error", "minimum", "maximum", "derivation",
           "source_id", "source_row", "original", "original_unit")
DECIMALS = 15  # significant digits kept of a converted value: what binary numbers hold


@dataclass
class Faults:
    """Cells that are not understood, by column and remedy, so that each kind is listed and then counted."""

    found: dict[tuple[str, str, str, str], list[tuple[str, str]]] = field(default_factory=dict)

    def add(self, layout: Layout, row: int, column: int, heading: str, code: str, what: str, remedy: str) -> None:
        """One cell."""
        key = (layout.grid.file, layout.grid.sheet, heading, remedy)
        self.found.setdefault(key, []).append((layout.grid.place(row, column), f"({heading}, food {code}) {what}"))

    def problems(self) -> list[Problem]:
        """All of them."""
        return [item for (file, _, _, remedy), places in self.found.items() for item in listed(file, places, remedy)]


def table(layouts: list[Layout], profile: Profile, components: pd.DataFrame, notes: list[str]) -> Imported:
    """The table in the common form; ``components`` has the columns component and unit.

    Raises :class:`InputError` with every cell that is not understood.
    """
    faults = Faults()
    problems = _join_problems(layouts)
    foods, food_problems = foods_of(layouts, profile, faults)
    problems += food_problems
    wanted = components.groupby("component", sort=False)["unit"].agg(list).to_dict()
    targets, unit_problems = _targets(layouts, wanted)
    problems += unit_problems
    if [item for item in problems if item.severity != WARNING]:
        raise InputError([*problems, *faults.problems()])
    rows = [row for layout in layouts for plan in layout.plan.columns for row in _column_rows(layout, plan, targets, foods, profile, faults)]
    problems += faults.problems()
    if [item for item in problems if item.severity != WARNING]:
        raise InputError(problems)
    rows += calculated_rows(rows, foods, profile, wanted)
    _note_formulas(layouts, notes)
    values = pd.DataFrame(rows, columns=list(COLUMNS)).astype({name: "float64" for name in ("value", "n", "standard_error", "minimum", "maximum")})
    entries = _entries(foods, profile)
    values = with_missing(values, entries, components).sort_values(["entry_id", "component", "unit"], ignore_index=True)
    kinds = values["value_type"].value_counts()
    counts = {"foods": len(foods), "values": int((values["value_type"] != "missing").sum()), "cells": len(rows),
              **{kind: int(kinds.get(kind, 0)) for kind in VALUE_TYPES}}
    extra = {"foods": _extra(foods)}
    return checked(Imported(entries, values, no_measures(), counts, notes, problems, extra))


# ---------------------------------------------------------------- the join

def _join_problems(layouts: list[Layout]) -> list[Problem]:
    """Codes without a food on the first sheet are errors, foods that a further sheet lacks are warnings; a food that
    has another name on another sheet is an error, because then the codes of one sheet may have slipped by a row."""
    first, problems = layouts[0], []
    for other in layouts[1:]:
        grid = other.grid
        code_column = other.column(other.plan.code)
        lost = [(grid.place(row, code_column), f"the food code {code!r} is not on sheet {first.grid.sheet}, which names the foods")
                for code, row in other.rows.items() if code not in first.rows]
        problems += listed(grid.file, lost, "Add the food to that sheet, or correct the code, as published")
        absent = [code for code in first.rows if code not in other.rows]
        if absent:
            problems.append(replace(
                problem(f"{grid.file} sheet {grid.sheet}", f"has no row for {len(absent)} food(s) of sheet {first.grid.sheet}: {named(absent)}",
                        "Their values of this sheet are missing; compare with the table as published"), severity=WARNING))
        name_column = other.column(other.plan.name)
        if name_column is None:
            continue
        of_first = first.column(first.plan.name)
        differing = [
            (grid.place(row, name_column), f"the food {code!r} is called {' '.join(grid.at(row, name_column).text.split())!r} here and"
             f" {' '.join(first.grid.at(first.rows[code], of_first).text.split())!r} on sheet {first.grid.sheet}")
            for code, row in other.rows.items() if code in first.rows
            and _bare(grid.at(row, name_column).text) != _bare(first.grid.at(first.rows[code], of_first).text)]
        problems += listed(grid.file, differing, "Check whether the codes of one sheet have slipped; then give the food one name,"
                                                 " or leave out name = ... of this sheet")
    return problems


def _bare(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())


# ---------------------------------------------------------------- values

def _targets(layouts: list[Layout], wanted: dict[str, list[str]]) -> tuple[dict[tuple[str, str], tuple[str, float]], list[Problem]]:
    """(component, unit of the column) -> (unit it is stored in, what it is multiplied by)."""
    targets: dict[tuple[str, str], tuple[str, float]] = {}
    problems = []
    for layout in layouts:
        for plan in layout.plan.columns:
            for component in filter(None, (plan.component, plan.bracket_component)):
                own = wanted.get(component, [plan.unit])
                found = [(unit, by) for unit in sorted(own, key=lambda unit: unit != plan.unit) if (by := factor(plan.unit, unit)) is not None]
                if not found:
                    column = layout.column(plan.headings)
                    what = f"{component} is in {plan.unit}, which is not convertible to {own[0]}"
                    problems.append(problem(layout.grid.where(layout.header_row, column), what,
                                            "Correct the unit in the profile, or give the column another tagname"))
                    continue
                targets[component, plan.unit] = found[0]
    stored = [(component, unit) for (component, _), (unit, _) in targets.items()]
    twice = sorted({pair for pair in stored if stored.count(pair) > 1})
    problems += [problem(layouts[0].grid.file, f"two columns give {component} in {unit}", "Keep one of them in the profile")
                 for component, unit in twice]
    return targets, problems


def _column_rows(
    layout: Layout, plan: ColumnPlan, targets: dict[tuple[str, str], tuple[str, float]], foods: dict[str, Food], profile: Profile, faults: Faults,
) -> list[tuple]:
    column = layout.column(plan.headings)
    words = replace(profile.words, number=plan.value_type) if plan.value_type else profile.words
    heading = " ".join(plan.headings[0].split())
    statistics = {name: layout.column(spellings) for name, spellings in plan.statistics.items()}
    rows = []
    read: dict[tuple[str, bool], Reading] = {}  # most cells of a column say what another has said
    for code, food in foods.items():
        row = layout.rows.get(code)
        if row is None:
            place, cell_text, given = f"not on sheet {layout.grid.sheet}", "", {}
            reading = Reading(derivation=place)
        else:
            cell = layout.grid.at(row, column)
            place, cell_text = layout.grid.place(row, column), cell.text.strip()
            reading = read.get((cell.text, cell.is_number))
            if reading is None:
                reading = read[cell.text, cell.is_number] = read_cell(cell.text, words, plan.limits, cell.is_number)
            if cell.fault or reading.fault:
                faults.add(layout, row, column, heading, code, cell.fault or reading.fault, cell.remedy or reading.remedy or CHOOSE)
                continue
            given = {name: _statistic(layout, row, index, name, words, code, faults) for name, index in statistics.items()}
        for component, said in _by_brackets(plan, reading, words):
            unit, by = targets[component, plan.unit]
            rows.append(_row(food, component, unit, said, by * food.to_100_g, given, place, cell_text, plan, profile))
    return rows


def _by_brackets(plan: ColumnPlan, reading: Reading, words: Words) -> list[tuple[str, Reading]]:
    if not plan.bracket_component:
        return [(plan.component, reading)]
    if not reading.bracketed:
        return [(plan.component, reading), (plan.bracket_component, Reading(derivation=f"given as {plan.component}"))]
    kind = words.number if reading.value_type == words.estimate and reading.value else ("zero" if reading.value == 0 else reading.value_type)
    return [(plan.component, Reading(derivation=f"given as {plan.bracket_component}")), (plan.bracket_component, replace(reading, value_type=kind))]


def _statistic(layout: Layout, row: int, column: int, name: str, words: Words, code: str, faults: Faults) -> float:
    cell = layout.grid.at(row, column)
    reading = read_cell(cell.text, words, is_number=cell.is_number)
    if not cell.text.strip() and not cell.fault:
        return math.nan
    limited = reading.value_type in WITH_LIMIT and name in ("n", "standard_error")
    if cell.fault or reading.fault or limited:
        faults.add(layout, row, column, name, code, cell.fault or reading.fault or f"{cell.text!r} is not a number", cell.remedy or CHOOSE)
        return math.nan
    if reading.value_type in WITH_LIMIT:
        return 0.0 if name == "minimum" else reading.maximum
    return reading.value


def _row(food: Food, component: str, unit: str, reading: Reading, by: float, given: dict[str, float], place: str, original: str,
         plan: ColumnPlan, profile: Profile) -> tuple:
    limited = reading.value_type in WITH_LIMIT
    missing = reading.value_type == "missing"
    stated = {} if missing else {name: value if name == "n" else scaled(value, by) for name, value in given.items()}
    minimum, maximum = (0.0, scaled(reading.maximum, by)) if limited else (stated.get("minimum", math.nan), stated.get("maximum", math.nan))
    derivation = "; ".join(part for part in (reading.derivation, "" if missing else food.basis_note) if part)
    return (
        food.code, component, scaled(reading.value, by), unit, reading.value_type, stated.get("n", math.nan), stated.get("standard_error", math.nan),
        minimum, maximum, derivation, profile.source_id, f"{profile.source_name}, {food.code}, {place}",
        original, plan.unit if food.per == "100 g" else f"{plan.unit} per {food.per}",
    )


def scaled(value: float, by: float) -> float:
    """``value`` times ``by``, without the noise of binary fractions."""
    return value if by == 1 or math.isnan(value) else float(f"{value * by:.{DECIMALS}g}")


# ---------------------------------------------------------------- foods

def _entries(foods: dict[str, Food], profile: Profile) -> pd.DataFrame:
    rows = [{
        "entry_id": food.code, "name": food.name, "common_names": "; ".join(food.other_names), "food_group": food.group, "state": food.state,
        "cooking_class": food.cooking_class, "refuse_fraction": food.refuse_fraction,
        "refuse_description": "" if math.isnan(food.refuse_fraction) else food.refuse_note,
        "source_id": profile.source_id, "source_row": f"{profile.source_name}, {food.code}",
    } for food in foods.values()]
    return pd.DataFrame(rows).astype({"refuse_fraction": "float64"}).sort_values("entry_id", ignore_index=True)


def _extra(foods: dict[str, Food]) -> pd.DataFrame:
    """What the common form has no column for."""
    rows = [{"entry_id": food.code, "scientific_name": food.scientific_name, "group_as_printed": food.group_code, "per": food.per,
             "density_g_per_ml": food.density_g_per_ml} for food in foods.values()]
    return pd.DataFrame(rows).astype({"density_g_per_ml": "float64"}).sort_values("entry_id", ignore_index=True)


def _note_formulas(layouts: list[Layout], notes: list[str]) -> None:
    for layout in layouts:
        grid = layout.grid
        columns = sorted(set(layout.columns.values()))
        found = [(row, column) for row in layout.rows.values() for column in columns if grid.at(row, column).from_formula]
        if found:
            shown = f"{grid.place(*found[0])} ({' '.join(grid.at(*found[0]).text.split())})"
            notes.append(f"{grid.file}: {len(found)} cells are formulas; the values stored with them were taken, the first at {shown}")
