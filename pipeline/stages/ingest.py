"""Ingest: files -> recipes, variants, lines, steps, and what is in print about them; the words as written.

Read top to bottom: find the files, read each in its own format, drop what cannot be kept (with a problem that
says where, what and what to do), and lay the rest out in the tables of ``pipeline.tables``. A broken recipe
never takes another one down. No ingredient amount is read here.
"""

from __future__ import annotations

from collections.abc import Callable, Collection as AnyCollection
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

import pandas as pd

from pipeline.problems import WARNING, InputError, Problem
from pipeline.stages.ingest_files import JSON, SHEET_PAIR, WORKBOOK, YAML, SourceFile, Unreadable, source_files, unreadable
from pipeline.stages.ingest_schema_org import read_schema_org
from pipeline.stages.ingest_sheets import read_csv_pair, read_xlsx
from pipeline.stages.ingest_variants import expand
from pipeline.stages.ingest_written import Notes, Written, where
from pipeline.stages.ingest_yaml import COLLECTION_FILES, read_collection, read_yaml
from pipeline.tables import Lines, Published, Recipes, Steps, Variants, checked, columns

DEFAULT_UNITS = "uk"
CLAIM_COLUMNS = ("recipe_id", "variant_id", "claim", "printed_in")
FILE_COLUMNS = ("source_file", "sha256", "bytes")
_Read = tuple[list[Written], list[Notes]]


@dataclass(frozen=True)
class Collection:
    """A recipe collection as written, laid out in tables sorted by their keys.

    ``printed_claims`` has recipe_id, variant_id, claim, printed_in; ``files`` has source_file (relative to the
    collection), sha256 and bytes of every file that was read. ``problems`` are sorted.
    """

    name: str
    recipes: pd.DataFrame
    variants: pd.DataFrame
    lines: pd.DataFrame
    steps: pd.DataFrame
    published: pd.DataFrame
    printed_claims: pd.DataFrame
    problems: list[Problem]
    files: pd.DataFrame


def ingest(path: Path | str, components: AnyCollection[str] = ()) -> Collection:
    """Read a collection: a file or folder of YAML, schema.org JSON-LD, XLSX, or recipes.csv with lines.csv.

    ``components``: the tagnames that figures in print may have; empty accepts any. Raises
    :class:`InputError` if there is no such collection, or if no recipe of it can be kept.
    """
    path = Path(path)
    files, problems = source_files(path)
    head, notes = _head(files, problems)
    written = _read_all(files, notes, problems)
    problems += [problem for noted in notes for problem in (*noted.problems, *noted.aside)]
    written = _distinct(written, problems)
    if not written:
        nothing = Problem(
            where=str(path), what="holds no recipe that can be used",
            remedy="Correct what is listed above, or give another path", code="collection-empty", stage="ingest",
        )
        raise InputError([*sorted(set(problems)), nothing])
    if not head.get("units") and not all(recipe.units_system for recipe in written):
        problems.append(Problem(
            where=path.resolve().name, what="does not say whose spoons, cups and pints it means; UK measures are assumed",
            remedy=f"Write units: in {COLLECTION_FILES[0]} or in the recipe (uk, us or metric)", code="units-assumed",
            severity=WARNING, stage="ingest",
        ))
    name = head.get("name") or (path.resolve().name if path.is_dir() else path.stem)
    return _tables(name, head.get("units") or DEFAULT_UNITS, written, problems, files, components)


def _head(files: list[SourceFile], problems: list[Problem]) -> tuple[dict[str, str], list[Notes]]:
    head_file = next((file for file in files if file.name in COLLECTION_FILES), None)
    problems += [
        Problem(
            where=file.name, what="was not read; only the one at the top of a collection is",
            remedy="Write units: into its recipes, or ingest its folder alone", code="head-below",
            severity=WARNING, stage="ingest",
        )
        for file in files if PurePosixPath(file.name).name in COLLECTION_FILES and file is not head_file
    ]
    if head_file is None:
        return {}, []
    try:
        head, notes = read_collection(head_file)
    except Unreadable as error:
        problems.append(error.problem)
        return {}, []
    return head, [notes]


def _read_all(files: list[SourceFile], notes: list[Notes], problems: list[Problem]) -> list[Written]:
    written = []
    by_name = {file.name: file for file in files}
    for file in files:
        reader = _reader(file, by_name)
        if reader is None:
            continue
        try:
            recipes, noted = reader()
        except Unreadable as error:
            problems.append(error.problem)
            continue
        written += recipes
        notes += noted
    return written


def _reader(file: SourceFile, by_name: dict[str, SourceFile]) -> Callable[[], _Read] | None:
    if file.kind == YAML:
        is_head = PurePosixPath(file.name).name in COLLECTION_FILES
        return None if is_head else lambda: read_yaml(file)
    if file.kind == JSON:
        return lambda: read_schema_org(file)
    if file.kind == WORKBOOK:
        return lambda: read_xlsx(file)
    assert file.kind == SHEET_PAIR
    if file.name.endswith("lines.csv") and file.name.removesuffix("lines.csv") + "recipes.csv" in by_name:
        return None  # read together with its recipes
    return lambda: _csv_pair(file, by_name)


def _csv_pair(file: SourceFile, by_name: dict[str, SourceFile]) -> _Read:
    partner = file.name.removesuffix("recipes.csv") + "lines.csv"
    if not file.name.endswith("recipes.csv") or partner not in by_name:
        name = PurePosixPath(file.name).name
        missing = PurePosixPath(partner).name if name.endswith("recipes.csv") else "recipes.csv"
        raise unreadable(
            file.name, f"stands alone; there is no {missing} beside it",
            "Put recipes.csv and lines.csv side by side", "csv-alone",
        )
    return read_csv_pair(file, by_name[partner])


def _distinct(written: list[Written], problems: list[Problem]) -> list[Written]:
    """Recipes whose ids differ. An id given twice drops both: no one knows which is meant. A derived id that
    is taken gets a number, with a warning."""
    given: dict[str, list[Written]] = {}
    for recipe in written:
        if recipe.id_given:
            given.setdefault(recipe.recipe_id, []).append(recipe)
    kept, taken = [], set(given)
    for recipe in written:
        if recipe.id_given and len(given[recipe.recipe_id]) > 1:
            problems.append(_twice(recipe, given[recipe.recipe_id]))
        elif recipe.id_given:
            kept.append(recipe)
        else:
            kept.append(_renamed(recipe, taken, problems))
            taken.add(kept[-1].recipe_id)
    return kept


def _twice(recipe: Written, same: list[Written]) -> Problem:
    others = [where(other.source_file, other.source_line) for other in same if other is not recipe]
    named = "; ".join(others[:3]) + (f" and {len(others) - 3} more" if len(others) > 3 else "")
    return Problem(
        where=where(recipe.source_file, recipe.source_line),
        what=f"the id {recipe.recipe_id!r} is also that of {named}; all were left out",
        remedy="Give every recipe its own id", code="id-twice", stage="ingest", recipe_id=recipe.recipe_id,
    )


def _renamed(recipe: Written, taken: set[str], problems: list[Problem]) -> Written:
    if recipe.recipe_id not in taken:
        return recipe
    number = next(number for number in range(2, len(taken) + 3) if f"{recipe.recipe_id}-{number}" not in taken)
    new_id = f"{recipe.recipe_id}-{number}"
    problems.append(Problem(
        where=where(recipe.source_file, recipe.source_line),
        what=f"another recipe has the id {recipe.recipe_id!r}; this one became {new_id!r}",
        remedy="Give each recipe its own identifier, or take the second one away", code="id-numbered",
        severity=WARNING, stage="ingest", recipe_id=new_id,
    ))
    return replace(recipe, recipe_id=new_id)


def _tables(
    name: str, units: str, written: list[Written], problems: list[Problem], files: list[SourceFile], components: AnyCollection[str],
) -> Collection:
    recipes, variants, lines, steps, figures, claims = [], [], [], [], [], []
    for recipe in written:
        notes = Notes(recipe.source_file, recipe.recipe_id)
        more_variants, more_lines, more_steps = expand(recipe, notes)
        variants += more_variants
        lines += more_lines
        steps += more_steps
        recipes.append((
            recipe.recipe_id, recipe.name, recipe.portions, recipe.units_system or units, recipe.food_form,
            recipe.finished_mass_g, recipe.course, recipe.source_file, recipe.source_line,
        ))
        known = {row[1] for row in more_variants}
        figures += _figure_rows(recipe, known, components, notes)
        claims += _claim_rows(recipe, known, notes)
        problems += notes.problems + notes.aside
    return Collection(
        name=name,
        recipes=_table(Recipes, recipes, ["recipe_id"]),
        variants=_table(Variants, variants, ["recipe_id", "variant_id"]),
        lines=_table(Lines, lines, ["recipe_id", "variant_id", "line_no"]),
        steps=_table(Steps, steps, ["recipe_id", "variant_id", "step_no"]),
        published=_table(Published, figures, ["recipe_id", "variant_id", "component", "basis", "unit", "printed_in", "value"]),
        printed_claims=_plain_table(CLAIM_COLUMNS, sorted(set(claims))),
        problems=sorted(set(problems)),
        files=pd.DataFrame([(file.name, file.sha256, len(file.content)) for file in files], columns=list(FILE_COLUMNS)),
    )


def _figure_rows(recipe: Written, known: set[str], components: AnyCollection[str], notes: Notes) -> list[tuple]:
    rows = []
    for figure in recipe.figures:
        fault = f"the variant {figure.variant_id!r}" if figure.variant_id not in known else ""
        if components and figure.component not in components:
            fault = f"the component {figure.component!r}"
        if fault:
            notes.warning(
                figure.line, f"a figure in print is of {fault}, which is not known, and was left out",
                "Use an id or tagname that exists", "printed-figure",
            )
            continue
        rows.append((recipe.recipe_id, figure.variant_id, figure.component, figure.basis, figure.value, figure.unit, figure.printed_in))
    return list(dict.fromkeys(rows))


def _claim_rows(recipe: Written, known: set[str], notes: Notes) -> list[tuple]:
    rows = []
    for claim in recipe.claims:
        if claim.variant_id in known:
            rows.append((recipe.recipe_id, claim.variant_id, claim.claim, claim.printed_in))
        else:
            notes.warning(
                claim.line, f"a claim in print is of the variant {claim.variant_id!r}, which is not known, and was left out",
                "Use the id of a variant", "printed-claim",
            )
    return rows


def _table(model: type, rows: list[tuple], key: list[str]) -> pd.DataFrame:
    return checked(model, pd.DataFrame(rows, columns=columns(model)).sort_values(key, ignore_index=True), "ingest")


def _plain_table(names: tuple[str, ...], rows: list[tuple]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(names)).astype("str")
