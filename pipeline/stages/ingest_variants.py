"""Every variant of a recipe written out in full: the recipe as written, its written variants, the recipe as made and
as printed, and (once the lines are parsed) the recipe with its optional lines."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from pipeline.stages.ingest_written import MOST_LINES, Change, Line, Notes, Words, Written
from pipeline.tables import Lines, Steps, Variants, columns

WITH_OPTIONAL = "with-optional"
_Numbered = list[tuple[int, Line, str]]  # line number, line, origin


def expand(written: Written, notes: Notes) -> tuple[list[tuple], list[tuple], list[tuple]]:
    """Rows for the variants, lines and steps tables, in the order of their columns.

    A kept line keeps its number, a replacement takes the number of the line it replaces, added lines are
    numbered on from the highest; a version with ingredients of its own is numbered as it is written. A variant that names a line which is not there, or is there twice, is left
    out with an error set aside in ``notes``.
    """
    base = [(number, line, "base") for number, line in enumerate(written.lines, start=1)]
    variants = [(written.recipe_id, "base", "As written", "base", written.portions)]
    lines = _line_rows(written, "base", base)
    steps = _step_rows(written, "base", written.steps)
    seen = {"base"}
    for change in written.changes:
        own = Notes(notes.source_file, notes.recipe_id)
        if change.variant_id in seen:
            own.error(change.line, "another variant has this id", "Give every variant its own id", "variant-twice")
        changed = _changed(base, change, own) if change.lines is None else _own(base, change.lines)
        notes.set_aside(own, change.variant_id)
        if own.failed:
            continue
        seen.add(change.variant_id)
        portions = written.portions if change.portions is None else change.portions
        variants.append((written.recipe_id, change.variant_id, change.name, change.kind, portions))
        lines += _line_rows(written, change.variant_id, changed)
        method = written.steps if change.method is None else change.method
        steps += _step_rows(written, change.variant_id, method + change.add_method)
    return variants, lines, steps


def _changed(base: _Numbered, change: Change, notes: Notes) -> _Numbered:
    gone = {number for named in change.leave_out if (number := _number_of(named, base, notes))}
    new = {number: line for named, line in change.replace if (number := _number_of(named, base, notes))}
    if len(gone) + len(new) < len(change.leave_out) + len(change.replace) and not notes.failed or gone & new.keys():
        notes.error(change.line, "it names the same line twice", "Replace a line or leave it out, once", "line-named-twice")
    kept = [
        (number, replace(new[number], section=line.section), "replaced") if number in new else (number, line, origin)
        for number, line, origin in base if number not in gone
    ]
    added = [(len(base) + more, line, "added") for more, line in enumerate(change.add, start=1)]
    if not kept and not added:
        notes.error(change.line, "it has no ingredient lines left", "Leave out fewer lines, or add some", "no-lines")
    if len(kept) + len(added) > MOST_LINES:
        notes.error(change.line, f"it has more than {MOST_LINES} ingredient lines", "Check the lines it adds", "too-many-lines")
    return kept + added


def _own(base: _Numbered, lines: tuple[Line, ...]) -> _Numbered:
    """The ingredients of a version that has its own; ``base`` only tells which of them are lines of the recipe too."""
    known = {line.text for _, line, _ in base}
    return [(number, line, "base" if line.text in known else "added") for number, line in enumerate(lines, start=1)]


def _number_of(named: Words, base: _Numbered, notes: Notes) -> int | None:
    """The number of the one line with exactly these words, or else of the one line that holds them."""
    wanted = " ".join(named.text.split())
    exact = [number for number, line, _ in base if line.text == wanted]
    holding = [number for number, line, _ in base if wanted.casefold() in line.text.casefold()] if wanted else []
    found = exact or holding
    if len(found) == 1:
        return found[0]
    number = "no line" if not found else f"{len(found)} lines"
    notes.error(
        named.line, f"{number} of the recipe match {named.text!r}",
        "Copy the whole line from the ingredients", "line-not-found",
    )
    return None


def _line_rows(written: Written, variant_id: str, numbered: _Numbered) -> list[tuple]:
    return [
        (written.recipe_id, variant_id, number, f"{written.recipe_id}/{variant_id}/{number}", line.text, line.section,
         origin, written.lines_file or written.source_file, line.line)
        for number, line, origin in numbered
    ]


def _step_rows(written: Written, variant_id: str, steps: tuple[str, ...]) -> list[tuple]:
    return [(written.recipe_id, variant_id, number, text) for number, text in enumerate(steps, start=1)]


def with_optional(
    lines: pd.DataFrame, parsed: pd.DataFrame, variants: pd.DataFrame, steps: pd.DataFrame,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """``lines``, ``variants`` and ``steps`` with one more variant, ``with-optional``, of each recipe that calls
    a line of its base variant optional: the base lines again, all of which count.

    ``parsed`` is the parse stage's table for ``lines``; only its ``line_id`` and ``optional`` are read. The new
    lines have no parsed rows yet. Called again on its own result it changes nothing.
    """
    base = lines[lines["variant_id"] == "base"]
    optional = set(parsed.loc[parsed["optional"].astype(bool), "line_id"])
    present = set(variants.loc[variants["variant_id"] == WITH_OPTIONAL, "recipe_id"])
    chosen = set(base.loc[base["line_id"].isin(optional), "recipe_id"]) - present
    if not chosen:
        return lines, variants, steps
    new_lines = _again(base, chosen)
    new_lines["line_id"] = new_lines["recipe_id"] + f"/{WITH_OPTIONAL}/" + new_lines["line_no"].astype("str")
    new_variants = _again(variants[variants["variant_id"] == "base"], chosen).assign(name="With the optional lines", kind="optional")
    new_steps = _again(steps[steps["variant_id"] == "base"], chosen)
    return (
        _joined(lines, new_lines, Lines, ["recipe_id", "variant_id", "line_no"]),
        _joined(variants, new_variants, Variants, ["recipe_id", "variant_id"]),
        _joined(steps, new_steps, Steps, ["recipe_id", "variant_id", "step_no"]),
    )


def _again(table: pd.DataFrame, recipes: set[str]) -> pd.DataFrame:
    return table[table["recipe_id"].isin(recipes)].assign(variant_id=WITH_OPTIONAL)


def _joined(table: pd.DataFrame, more: pd.DataFrame, model: type, key: list[str]) -> pd.DataFrame:
    together = pd.concat([table, more], ignore_index=True)[columns(model)]
    return together.astype(table.dtypes.to_dict()).sort_values(key, ignore_index=True)
