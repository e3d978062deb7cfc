"""With and without what a recipe calls optional or serves beside it: variants that follow from the lines once they are parsed.

An optional line does not count in the recipe as written; a line "to serve" that is not optional does. So a recipe gets

- ``with-optional``: all optional lines, whenever it has one;
- ``with-line-N``: the optional line N alone, where it has two or three of them;
- ``without-line-N``: the recipe as written without the line N that is to serve, for up to three such lines;
- ``without-served``: without all of these, where it has several.

More than three of a kind are tried together only: nobody reads eight variants of a dish.
"""

from __future__ import annotations

import re

import pandas as pd

from pipeline.tables import Lines, Steps, Variants, columns

WITH_OPTIONAL, WITHOUT_SERVED = "with-optional", "without-served"
OF_ONE_LINE = re.compile(r"with(?:out)?-line-\d+")
FEW = 3
_Made = tuple[str, str, set[str]]  # variant id, name, the base lines that it has not


def with_optional(
    lines: pd.DataFrame, parsed: pd.DataFrame, variants: pd.DataFrame, steps: pd.DataFrame,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """``lines``, ``variants`` and ``steps`` with the variants of kind ``optional`` that the head of this module names.

    ``parsed`` is the parse stage's table for ``lines``. The new lines have no parsed rows yet. Called again on its own
    result it changes nothing.
    """
    base = lines[lines["variant_id"] == "base"]
    read = base.merge(parsed[["line_id", "kind", "phrase", "optional", "amount_rule", "note"]], on="line_id")
    read["served"] = ~read["optional"] & (read["kind"] == "food") & (
        (read["amount_rule"] == "to-serve") | read["note"].map(lambda note: "to serve" in note.split("; ")))
    read = read[~read["recipe_id"].isin(set(variants.loc[variants["kind"] == "optional", "recipe_id"]))]
    chosen = read[read["optional"] | read["served"]]["recipe_id"].unique()
    made = [(recipe_id, one) for recipe_id in chosen for one in _made(read[read["recipe_id"] == recipe_id])]
    if not made:
        return lines, variants, steps
    new_lines, new_variants, new_steps = [], [], []
    for recipe_id, (variant_id, name, gone) in made:
        mine = base[(base["recipe_id"] == recipe_id) & ~base["line_id"].isin(gone)]
        new_lines.append(mine.assign(variant_id=variant_id, line_id=f"{recipe_id}/{variant_id}/" + mine["line_no"].astype("str")))
        new_variants.append(_of_base(variants, recipe_id, variant_id).assign(name=name, kind="optional"))
        new_steps.append(_of_base(steps, recipe_id, variant_id))
    return (
        _joined(lines, new_lines, Lines, ["recipe_id", "variant_id", "line_no"]),
        _joined(variants, new_variants, Variants, ["recipe_id", "variant_id"]),
        _joined(steps, new_steps, Steps, ["recipe_id", "variant_id", "step_no"]),
    )


def _made(read: pd.DataFrame) -> list[_Made]:
    """The variants of one recipe."""
    optional, served = read[read["optional"]], read[read["served"]]
    all_optional, all_served = set(optional["line_id"]), set(served["line_id"])
    found: list[_Made] = [(WITH_OPTIONAL, "With the optional lines", set())] if all_optional else []
    if 1 < len(optional) <= FEW:
        found += [(f"with-line-{row.line_no}", f"With {row.phrase or row.text}", all_optional - {row.line_id}) for row in optional.itertuples()]
    if (read["kind"] == "food").sum() <= len(served) + len(optional):
        return found  # nothing would be left to eat
    if len(served) <= FEW:
        found += [(f"without-line-{row.line_no}", f"Without {row.phrase or row.text}", all_optional | {row.line_id}) for row in served.itertuples()]
    if len(served) > 1:
        found.append((WITHOUT_SERVED, "Without what is served beside it", all_optional | all_served))
    return found


def _of_base(table: pd.DataFrame, recipe_id: str, variant_id: str) -> pd.DataFrame:
    return table[(table["recipe_id"] == recipe_id) & (table["variant_id"] == "base")].assign(variant_id=variant_id)


def _joined(table: pd.DataFrame, more: list[pd.DataFrame], model: type, key: list[str]) -> pd.DataFrame:
    together = pd.concat([table, *more], ignore_index=True)[columns(model)]
    return together.astype(table.dtypes.to_dict()).sort_values(key, ignore_index=True)
