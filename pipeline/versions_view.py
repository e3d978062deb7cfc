"""`potash versions`: two versions of a recipe beside each other, read from a release."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.problems import InputError, Problem
from pipeline.released import Evidence
from pipeline.reason_words import in_words
from pipeline.stages.conditions import plain
from pipeline.stages.page_words import Names
from pipeline.stages.versions import BASE, NEEDED, VERSION, differences, figures_beside

AS_ANALYSED = ("as-analysed", "analysed")
# Told whether they differ or not; any other figure where the intervals do not explain the difference.
ALWAYS = ("K", "P", "NA", "PROCNT", "ENERC")
SHORT = {"potassium_mg": "potassium", "phosphorus_mg": "phosphorus", "sodium_mg": "sodium", "protein_g": "protein"}


@dataclass(frozen=True)
class Comparison:
    """``after`` beside ``before``: rows of Versions and of VersionFigures as plain data, unknown numbers None. ``doubts``: why a
    figure of ``after`` is not ready, by (component, basis, unit)."""

    recipe_id: str
    before: str
    after: str
    names: tuple[str, str]
    differences: list[dict]
    figures: list[dict]
    doubts: dict[tuple[str, str, str], str]
    words: Names

    @property
    def differs(self) -> bool:
        """Whether there is any difference at all."""
        return bool(self.differences) or any(row["difference"] or row["verdicts"] for row in self.figures)


def compared(evidence: Evidence, recipe_id: str, before: str | None, after: str | None) -> list[Comparison]:
    """Every version of the recipe beside the recipe as analysed, or the two variants that are named.

    Raises :class:`InputError` for a recipe or variant that is not in the release, and for a recipe without versions.
    """
    variants = evidence.rows("variants", recipe_id=recipe_id)
    if variants.empty:
        raise InputError(Problem(f"recipe {recipe_id}", "is not in this release",
                                 f"Name one of its recipes, for example {evidence.table('variants')['recipe_id'].iloc[0]}", "unknown-recipe"))
    names = dict(zip(variants["variant_id"], variants["name"], strict=True))
    first = _named(before or BASE, names, recipe_id)
    others = [_named(after, names, recipe_id)] if after else variants.loc[variants["kind"] == VERSION, "variant_id"].tolist()
    others = [one for one in others if one != first] if after is None else others
    if not others:
        raise InputError(Problem(f"recipe {recipe_id}", "has no version as made or as printed to compare with",
                                 f"Write versions: in its file, or name two of its variants with --from and --to: {', '.join(names)}", "no-versions"))
    words = Names(evidence)
    tables = {name: evidence.table(name) for name in NEEDED}
    return [Comparison(recipe_id, first, one, (names[first], names[one]), [_plain(row) for row in differences(tables, recipe_id, first, one)],
                       [_plain(row) for row in figures_beside(tables, recipe_id, first, one).to_dict("records")],
                       _doubts(evidence, recipe_id, one), words) for one in others]


def _doubts(evidence: Evidence, recipe_id: str, variant_id: str) -> dict[tuple[str, str, str], str]:
    rows = evidence.rows("figures", recipe_id=recipe_id, variant_id=variant_id)
    rows = rows[rows["status"] != "ready"]
    return {(row.component, row.basis, row.unit): f"{row.status}: {row.reason}" for row in rows.itertuples(index=False)}


def _named(variant_id: str, names: dict[str, str], recipe_id: str) -> str:
    variant_id = BASE if variant_id in AS_ANALYSED else variant_id
    if variant_id not in names:
        raise InputError(Problem(f"recipe {recipe_id}", f"has no variant {variant_id!r} in this release",
                                 f"Name one of: {', '.join(names)} (base is the recipe as analysed)", "unknown-variant"))
    return variant_id


def _plain(row: dict) -> dict:
    return {key: None if isinstance(value, float) and math.isnan(value) else value.item() if hasattr(value, "item") else value
            for key, value in row.items()}


def to_dict(found: Sequence[Comparison]) -> dict:
    """For a machine: the rows as in the tables versions and version_figures."""
    return {"comparisons": [{"recipe_id": one.recipe_id, "from": one.before, "to": one.after, "differs": one.differs,
                             "differences": one.differences,
                             "figures": [{**row, "doubt": one.doubts.get((row["component"], row["basis"], row["unit"]), "")} for row in one.figures]}
                            for one in found]}


def text(found: Sequence[Comparison], release: Path) -> str:
    """For the terminal: the differences with their effects, the figures per portion, the verdicts that change, the cautions."""
    rows = [line for one in found for line in _comparison(one)]
    cautions = release / "CAUTIONS.txt"
    if cautions.is_file():
        rows += ["Cautions", *(f"  {line}" for line in cautions.read_text(encoding="utf-8").split("\n\n"))]
    return "\n".join(rows).rstrip()


def _comparison(one: Comparison) -> list[str]:
    before, after = (f"{name[:1].lower()}{name[1:]}" if variant_id != BASE else "as analysed"
                     for variant_id, name in zip((one.before, one.after), one.names, strict=True))
    rows = [f"{one.recipe_id}: {after}, beside {before}"]
    rows += ["  No line, amount or cooking differs."] if not one.differences else []
    for row in one.differences:
        rows += [f"  {row['difference_no']}. {row['what']}", f"     {_effects(row)}"]
    rows.append("  Figures per portion: before, after, difference")
    told = [row for row in one.figures if row["basis"] == "portion" and row["unit"] and (row["component"] in ALWAYS or row["beyond_intervals"])]
    width = max((len(one.words.of("component", row["component"])) for row in told), default=0)
    rows += [f"    {one.words.of('component', row['component']):<{width}} {_interval(row, 'from_'):<30} {_interval(row, ''):<30} {_signed(row['difference'], row['unit'])}"
             + ("  more than the intervals explain" if row["beyond_intervals"] else "")
             + "".join(f"  ({in_words(one.doubts[key], one.words.components)})" for key in [(row["component"], row["basis"], row["unit"])] if key in one.doubts) for row in told]
    flips = dict.fromkeys(flip for row in one.figures if row["verdicts"] for flip in row["verdicts"].split("; "))
    rows += ["  Verdicts that change:", *(f"    {flip}" for flip in one.words.flips("; ".join(flips)).split("; "))] if flips else ["  No verdict changes."]
    return [*rows, ""]


def _effects(row: dict) -> str:
    if row["kind"] == "method":
        return "per portion: not known from the words"
    return "per portion: " + ", ".join(f"{name} {_signed(row[column], column.rpartition('_')[2])}" for column, name in SHORT.items())


def _signed(number: float | None, unit: str) -> str:
    if number is None:
        return "unknown"
    shown = f"{abs(number):.1f}" if abs(number) >= 0.05 else "0"
    return f"{'+' if number > 0 and shown != '0' else '-' if shown != '0' else ''}{shown} {unit}"


def _interval(row: dict, prefix: str) -> str:
    value, low, high = (row[f"{prefix}{name}"] for name in ("value", "low", "high"))
    return "withheld" if value is None else f"{plain(value)} {row['unit']} ({plain(low)} to {plain(high)})"
