"""A profile: how one published composition sheet is laid out, in a TOML file that a steward can read and correct.

Ready ones are in ``reference/profiles/``; they show every key in use. The tables of a profile:

``[table]``         source_id, source_name; standing (of what the profile says about the layout), note
``[file]``          decimal, thousands; encoding and delimiter of CSV files; sheets to read of a workbook with tagnames
``[values]``        which words mean trace, missing, present_unknown, below_detection, zero; the marks before
                    a detection limit; brackets and what they mean; footnote marks; the value type of a plain number
``[trace_limits]``  by component or by unit, in that unit: below what the table prints a trace
``[detection_limits]``  the same for words that mean below detection, where the table states them
``[basis]``         per 100 g or per 100 ml, for all or for some foods, and then the density to go by
``[[sheet]]``       header row, the columns that name the food, and ``columns``: heading, component, unit; unit_confirmed
                    where the heading seems to say another unit or basis and does not mean it
``[[calculated]]``  a component as a weighted sum of others, with its reason
``[group_names]``, ``[cooking_classes]``  by the beginning of the group's code; ``[[state]]`` by words in the name

A profile that cannot be read without doubt is refused with every place that is wrong.
"""

from __future__ import annotations

import codecs
import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.composition.profile_keys import key_problems
from pipeline.composition.sheet_cell import PAIRS, Limits, Words, read_cell
from pipeline.composition.sheet_units import factor, folded, heading_against, unit_word
from pipeline.problems import InputError, Problem
from pipeline.root import ROOT

CONFIRM = ("Correct the one that is wrong; where the numbers are in the unit of the profile, per 100 g or 100 ml, all the same, add "
           "unit_confirmed = true to the column")
WORD_LISTS = ("trace", "missing", "present_unknown", "below_detection", "zero")
EDIBLE_KINDS = {"edible_fraction": (1.0, False), "edible_percent": (0.01, False), "refuse_fraction": (1.0, True), "refuse_percent": (0.01, True)}


@dataclass(frozen=True)
class ColumnPlan:
    """One column of values. ``headings`` are spellings of the same heading; ``unit`` is the column's.

    ``unit_confirmed``: whatever the sheet seems to say. ``bracket_component``: a number in brackets is this component instead.
    """

    headings: tuple[str, ...]
    component: str
    unit: str
    value_type: str = ""
    limits: Limits = Limits()
    statistics: dict[str, tuple[str, ...]] = field(default_factory=dict)
    bracket_component: str = ""
    unit_confirmed: bool = False


@dataclass(frozen=True)
class SheetPlan:
    """One sheet; the first one names the foods. Headings are tuples of spellings, empty where there is no such column."""

    names: tuple[str, ...]
    code: tuple[str, ...]
    columns: tuple[ColumnPlan, ...]
    name: tuple[str, ...] = ()
    other_names: tuple[tuple[str, ...], ...] = ()
    scientific_name: tuple[str, ...] = ()
    group: tuple[str, ...] = ()
    density: tuple[str, ...] = ()
    per: tuple[str, ...] = ()
    edible: tuple[str, ...] = ()
    edible_kind: str = ""
    ignored: tuple[str, ...] = ()
    header_row: int = 0
    rows_below_header: int = 0
    group_rows: bool = False


@dataclass(frozen=True)
class Basis:
    """Which foods the table gives per 100 ml, or as purchased, and what brings them to 100 g edible portion."""

    per: str = "100 g"
    per_100_g_words: tuple[str, ...] = ()
    per_100_ml_words: tuple[str, ...] = ()
    per_100_ml_groups: tuple[str, ...] = ()
    as_purchased_names: tuple[str, ...] = ()
    density_g_per_ml: float = math.nan
    densities: dict[str, float] = field(default_factory=dict)
    density_source: str = ""


@dataclass(frozen=True)
class Calculated:
    """A component that is the sum of others times ``terms``; ``reason`` says why that is right."""

    component: str
    unit: str
    terms: dict[str, float]
    reason: str


@dataclass(frozen=True)
class Profile:
    """A profile as read and checked."""

    name: str
    source_id: str
    source_name: str
    standing: str
    words: Words
    sheets: tuple[SheetPlan, ...]
    basis: Basis = Basis()
    calculated: tuple[Calculated, ...] = ()
    group_names: dict[str, str] = field(default_factory=dict)
    cooking_classes: dict[str, str] = field(default_factory=dict)
    states: tuple[tuple[str, tuple[str, ...]], ...] = ()
    encoding: str = "utf-8"
    delimiter: str = ","
    note: str = ""
    food_headings: dict[str, tuple] = field(default_factory=dict)
    trace_limits: dict[str, float] = field(default_factory=dict)
    detection_limits: dict[str, float] = field(default_factory=dict)
    sheets_read: tuple[str, ...] = ()  # of a workbook that says itself which column is what; all that do where none is named


def profile_names(root: Path | None = None) -> list[str]:
    """The ready profiles, by name."""
    return sorted(path.stem for path in _folder(root).glob("*.toml"))


def load_profile(named: str | Path, root: Path | None = None, with_sheets: bool = True) -> Profile:
    """A ready profile by name, or the profile in a file.

    ``with_sheets``: False for a profile whose columns the workbook itself names. Raises
    :class:`InputError` with file and key of everything that is wrong.
    """
    path = _folder(root) / f"{named}.toml" if str(named) in profile_names(root) else Path(named)
    content = _content(path, root)
    problems = key_problems(str(path), content)
    if problems:
        raise InputError(problems)
    problems = [*_word_problems(path, content), *_basis_problems(path, content), *_file_problems(path, content)]
    problems += _sheet_problems(path, content) if with_sheets else _no_sheet_problems(path, content)
    if problems:
        raise InputError(problems)
    profile = _profile(path.stem, content)
    problems = _limit_problems(path, profile) + _calculated_problems(path, profile)
    if problems:
        raise InputError(problems)
    return profile


def limits_of(profile: Profile, component: str, unit: str) -> Limits:
    """The limits of a column: those stated for its component, else for its unit; NaN where neither is."""
    return Limits(*(stated.get(component, stated.get(unit, math.nan)) for stated in (profile.trace_limits, profile.detection_limits)))


def _folder(root: Path | None) -> Path:
    return (root or ROOT) / "reference" / "profiles"


def _content(path: Path, root: Path | None) -> dict:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        known = ", ".join(profile_names(root)) or "none is there"
        raise InputError(Problem(str(path), "there is no such profile", f"Give a file, or the name of a ready profile: {known}",
                                 "missing-file", stage="tables")) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, OSError) as error:
        raise InputError(wrong(path, "", f"cannot be read as TOML ({error})", "Correct the place named, as UTF-8 text")) from None


def wrong(path: Path, key: str, what: str, remedy: str) -> Problem:
    """A problem of a profile."""
    return Problem(f"{path}: {key}" if key else str(path), what, remedy, "profile", stage="tables")


# ---------------------------------------------------------------- from TOML to plans

def _texts(value: object) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value or ())


def _words_of(texts: object) -> frozenset[str]:
    return frozenset(" ".join(text.split()).casefold() for text in _texts(texts))


def _words(content: dict) -> Words:
    values, file = content["values"], content.get("file", {})
    return Words(
        **{name: _words_of(values.get(name)) for name in WORD_LISTS}, less_than=_texts(values.get("less_than")),
        footnote_marks=_texts(values.get("footnote_marks")), brackets=_texts(values.get("brackets")),
        estimate=values.get("estimate", "imputed"), number=values["number"],
        decimal=file.get("decimal", "."), thousands=file.get("thousands", ""),
    )


def _profile(name: str, content: dict) -> Profile:
    table, file, basis = content["table"], content.get("file", {}), content.get("basis", {})
    bare = Profile(
        name=name, source_id=table["source_id"], source_name=table["source_name"], standing=table["standing"], note=table.get("note", ""),
        words=_words(content), sheets=(), encoding=file.get("encoding", "utf-8"), delimiter=file.get("delimiter", ","),
        basis=Basis(**{key: tuple(value) if isinstance(value, list) else value for key, value in basis.items()}),
        calculated=tuple(Calculated(row["component"], unit_word(row["unit"]), dict(row["terms"]), row["reason"])
                         for row in content.get("calculated", [])),
        group_names=content.get("group_names", {}), cooking_classes=content.get("cooking_classes", {}),
        states=tuple((row["state"], tuple(row["words"])) for row in content.get("state", [])),
        food_headings={key: tuple(value) if key == "other_names" else _texts(value) for key, value in content.get("food", {}).items()},
        trace_limits=content.get("trace_limits", {}), detection_limits=content.get("detection_limits", {}), sheets_read=_texts(file.get("sheets")),
    )
    return Profile(**{**bare.__dict__, "sheets": tuple(_sheet(bare, row) for row in content.get("sheet", []))})


def _sheet(profile: Profile, row: dict) -> SheetPlan:
    kind = next((key for key in EDIBLE_KINDS if key in row), "")
    roles = {key: _texts(row.get(key)) for key in ("name", "scientific_name", "group", "density", "per")}
    return SheetPlan(
        names=_texts(row.get("sheet", "")), code=_texts(row["code"]), **roles, ignored=_texts(row.get("ignored")),
        other_names=tuple(_texts(heading) for heading in row.get("other_names", [])),
        edible=_texts(row[kind]) if kind else (), edible_kind=kind, header_row=row.get("header_row", 0),
        rows_below_header=row.get("rows_below_header", 0), group_rows=row.get("group_rows", False),
        columns=tuple(_column(profile, column) for column in row.get("columns", [])),
    )


def _column(profile: Profile, row: dict) -> ColumnPlan:
    unit = unit_word(row["unit"])
    stated = limits_of(profile, row["component"], unit)
    return ColumnPlan(
        headings=_texts(row["heading"]), component=row["component"], unit=unit, value_type=row.get("value_type", ""),
        limits=Limits(row.get("trace_limit", stated.trace), row.get("detection_limit", stated.detection)),
        statistics={key: _texts(row[key]) for key in ("n", "standard_error", "minimum", "maximum") if key in row},
        bracket_component=row.get("bracket_component", ""), unit_confirmed=row.get("unit_confirmed", False),
    )


# ---------------------------------------------------------------- checks

def _file_problems(path: Path, content: dict) -> list[Problem]:
    file, found = content.get("file", {}), []
    decimal, thousands = file.get("decimal", "."), file.get("thousands", "")
    if decimal == thousands:
        found.append(wrong(path, "file.thousands", f"is the decimal mark {decimal!r} too", "State which of the two it is"))
    try:
        codecs.lookup(file.get("encoding", "utf-8"))
    except LookupError:
        found.append(wrong(path, "file.encoding", f"{file['encoding']!r} is no encoding", 'Use "utf-8", "cp1252" or "latin-1"'))
    return found


def _word_problems(path: Path, content: dict) -> list[Problem]:
    words, found = _words(content), []
    means: dict[str, str] = {}
    for name in WORD_LISTS:
        for word in sorted(getattr(words, name)):
            if word in means:
                found.append(wrong(path, f"values.{name}", f"{word!r} is among {means[word]} too", "Keep it in one list"))
            means[word] = name
            as_number = read_cell(word, Words(decimal=words.decimal, thousands=words.thousands))
            if word and not as_number.fault and not (name == "zero" and as_number.value_type == "zero"):
                found.append(wrong(path, f"values.{name}", f"{word!r} reads as a number", "Take it out: a number is a number"))
    if "" in words.trace | words.zero | words.present_unknown | words.below_detection:
        found.append(wrong(path, "values", "an empty cell is said to be something else than missing", 'Put "" in missing, or in no list'))
    found += [wrong(path, "values.brackets", f"{pair!r} is no pair of brackets", f"Use: {', '.join(PAIRS)}")
              for pair in words.brackets if pair not in PAIRS]
    found += [wrong(path, f"values.{key}", f"has the mark {mark!r}, which numbers are written with", "Use another mark")
              for key in ("less_than", "footnote_marks") for mark in getattr(words, key)
              if not mark.strip() or any(letter in "0123456789.,-" or letter == words.decimal for letter in mark)]
    return found


def _basis_problems(path: Path, content: dict) -> list[Problem]:
    basis, found = content.get("basis", {}), []
    stated = [value for value in [basis.get("density_g_per_ml"), *basis.get("densities", {}).values()] if value is not None]
    if stated and not basis.get("density_source"):
        found.append(wrong(path, "basis.density_source", "is not given", "Say where the densities stated here come from"))
    found += [wrong(path, "basis", f"the density {value} g/ml is not between 0.2 and 3", "State it in g per ml")
              for value in stated if not 0.2 <= value <= 3]
    may_be_ml = basis.get("per") == "100 ml" or basis.get("per_100_ml_groups") or basis.get("per_100_ml_words")
    has_column = any("density" in row for row in [*content.get("sheet", []), content.get("food", {})])
    if may_be_ml and not stated and not has_column:
        found.append(wrong(path, "basis", "values per 100 ml cannot be brought to 100 g without a density",
                           "Name a density column in a sheet, or state density_g_per_ml (or densities) with density_source"))
    if (basis.get("per_100_ml_words") or basis.get("per_100_g_words")) and not any("per" in row for row in content.get("sheet", [])):
        found.append(wrong(path, "basis", "has words for the basis, but no sheet has a column `per`", "Name the column as per = ... in a sheet"))
    if basis.get("as_purchased_names") and not any(key in row for row in content.get("sheet", []) for key in EDIBLE_KINDS):
        found.append(wrong(path, "basis.as_purchased_names", "needs the edible portion, and no sheet has a column for it",
                           f"Name it as one of: {', '.join(EDIBLE_KINDS)}"))
    return found


def _no_sheet_problems(path: Path, content: dict) -> list[Problem]:
    found = [wrong(path, key, "does not belong in this profile: the workbook names its own columns", "Take it out")
             for key in ("sheet", "calculated") if key in content]
    if "food" not in content:
        found.append(wrong(path, "food", "is not given", "Name the headings of code and name under [food]"))
    return found


def _sheet_problems(path: Path, content: dict) -> list[Problem]:
    rows = content.get("sheet", [])
    if not rows:
        return [wrong(path, "sheet", "is not given", "Describe at least one sheet, as [[sheet]]")]
    found = [] if "name" in rows[0] else [wrong(path, "sheet 1", "names no column with the food's name", "Give name = its heading")]
    if len(rows) > 1:
        found += [wrong(path, f"sheet {number}", "has no sheet = its name", "Name every sheet where there are several")
                  for number, row in enumerate(rows, 1) if not row.get("sheet")]
    for role in ("group", "density", "per", "scientific_name", "edible"):
        keys = EDIBLE_KINDS if role == "edible" else (role,)
        having = [number for number, row in enumerate(rows, 1) for key in keys if key in row]
        if len(having) > 1:
            found.append(wrong(path, f"sheet {having[1]}", f"names a second column for {role}", "Keep one"))
    if not any(row.get("columns") for row in rows):
        found.append(wrong(path, "sheet", "no sheet has a column of values", "List them under columns"))
    seen: dict[tuple[str, str], str] = {}
    for number, row in enumerate(rows, 1):
        found += _heading_problems(path, number, row)
        for index, column in enumerate(row.get("columns", []), 1):
            found += _column_problems(path, f"sheet {number} column {index} ({_texts(column['heading'])[0]})", column, seen)
    return found


def _heading_problems(path: Path, number: int, row: dict) -> list[Problem]:
    values = [heading for column in row.get("columns", []) for key in ("heading", "n", "standard_error", "minimum", "maximum")
              for heading in _texts(column.get(key))]
    used = [folded(heading) for heading in [*values, *_texts(row.get("ignored"))]]
    twice = sorted({heading for heading in used if used.count(heading) > 1})
    return [wrong(path, f"sheet {number}", f"names the heading {heading!r} twice", "Name each column once") for heading in twice]


def _column_problems(path: Path, key: str, column: dict, seen: dict[tuple[str, str], str]) -> list[Problem]:
    unit, found = unit_word(column["unit"]), []
    if not unit:
        return [wrong(path, key, f"{column['unit']!r} is no unit that is known", "Write it as g, mg, ug, kJ, kcal, IU or 1")]
    for heading in () if column.get("unit_confirmed") else _texts(column["heading"]):
        if said := heading_against(heading, unit):
            found.append(wrong(path, key, f"the unit is {unit}, and the heading says {said}", CONFIRM))
    for component in filter(None, (column["component"], column.get("bracket_component"))):
        own = (component, unit if component == "ENERC" else "")
        if own in seen:
            found.append(wrong(path, key, f"gives {component} a second time (also {seen[own]})", "Keep one column, and put the other in ignored"))
        seen[own] = key
    return found


def _limit_problems(path: Path, profile: Profile) -> list[Problem]:
    # A column without a limit is no fault until one of its cells says trace: energy, say, never does.
    return [wrong(path, key, f"{name} is {value}", "State a limit above 0") for key in ("trace_limits", "detection_limits")
            for name, value in getattr(profile, key).items() if not value > 0]


def _calculated_problems(path: Path, profile: Profile) -> list[Problem]:
    unit_of = {column.component: column.unit for sheet in profile.sheets for column in sheet.columns if column.component != "ENERC"}
    found = []
    for row in profile.calculated:
        key = f"calculated {row.component}"
        if row.component in unit_of:
            found.append(wrong(path, key, "has a column, or is calculated twice", "Keep one of the two"))
        for term, weight in row.terms.items():
            if term not in unit_of:
                what = f"is made of {term}, which has no column and is not calculated before it"
                found.append(wrong(path, key, what, "Add it, or correct the name"))
            elif factor(unit_of[term], row.unit or "?") is None:
                found.append(wrong(path, key, f"{term} is in {unit_of[term]}, which is not convertible to the unit", "Correct the unit"))
            if not weight > 0:
                found.append(wrong(path, key, f"{term} has the weight {weight}", "Use a weight above 0"))
        unit_of[row.component] = row.unit
    return found
