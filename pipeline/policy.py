"""Local policy: which limits hold for which audience, from a TOML file.

Limits are the judgement of a unit, held in ``reference/limits/``, never in code. A policy
that cannot be read without doubt stops the run: the wrong limit is worse than none.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path

import pandas as pd

from pipeline import units
from pipeline.harm import HARM_ABOVE
from pipeline.problems import InputError, Problem
from pipeline.sources import STANDINGS

UPPER, LOWER = ("<=", "<"), (">=", ">")
COMPARATORS = (*UPPER, *LOWER)
BASES = ("portion", "100g")
LIMIT_COLUMNS = ("audience", "claim", "component", "basis", "comparator", "limit", "unit", "source_id", "note")

# table -> (keys that must be there, keys that may be there)
KEYS = {
    "policy": (("name", "adopted_by", "role", "date", "standing"), ("rounding",)),
    "assumptions": (("meal_share", "meal_share_source_id", "body_weight_kg", "body_weight_source_id"), ()),
    "course": (("ids", "share", "source_id"), ()),
    "audience": (("id", "name"), ("body_weight_kg",)),
    "daily": (("id", "audience", "component", "comparator", "amount", "unit", "source_id", "note"), ()),
    "limit": (LIMIT_COLUMNS, ("daily",)),
}
NUMBERS = ("meal_share", "body_weight_kg", "share", "amount", "limit")
MASS_UNITS = ("g", "mg", "ug")
# A day's figure may be per kilogram of body weight.
PER_KG = "/kg"
ENERGY_UNITS = ("kJ", "kcal")
# Grams per mole: IUPAC abridged standard atomic weights (source iupac-atomic-weights, from memory).
MOLAR_MASS = {"NA": 22.990, "P": 30.974, "K": 39.098}
# Words of a claim's id that say on which side of its limit a dish has to be.
SAYS_UPPER = frozenset({"low", "lower", "within", "less", "reduced", "free", "limited", "most"})
SAYS_LOWER = frozenset({"high", "higher", "source", "enough", "rich", "more", "least"})
# How far a limit may lie from the daily figure that it is said to come from: rounding only.
DERIVED_WITHIN = 0.02


@dataclass(frozen=True)
class Policy:
    """A policy as read.

    ``limits`` has the columns ``LIMIT_COLUMNS``, the limit in the component's own unit;
    ``audiences`` id, name; ``daily`` as in the file; ``course_shares`` gives, by course, the
    part of an upper limit for a main meal that a portion may use; ``rounding`` names the unit's own rule for print ("": none).
    """

    name: str
    adopted_by: str
    role: str
    date: str
    standing: str
    audiences: pd.DataFrame
    daily: pd.DataFrame
    limits: pd.DataFrame
    course_shares: dict[str, float]
    rounding: str = ""

    @property
    def adopted(self) -> bool:
        """Whether somebody adopted it locally, by name."""
        return bool(self.adopted_by.strip())

    @property
    def caveat(self) -> str:
        """What every verdict under this policy has to say about it."""
        if self.adopted:
            return f"Under {self.name}, adopted by {self.adopted_by} ({self.role}) on {self.date}"
        kind = "demo policy" if self.standing == "invented" else "policy"
        return f"Rests on the {kind} '{self.name}', which is not adopted locally"


def load_policy(
    path: Path, components: pd.DataFrame, source_ids: Collection[str] | None = None, rounding_rules: Collection[str] | None = None,
) -> Policy:
    """Read and check a policy file.

    ``components`` has the columns component and unit (as ``reference/components.csv``);
    ``source_ids`` are the sources that exist, ``rounding_rules`` the rules for print (None: not checked). Raises
    :class:`InputError` naming the file and key of everything that is wrong.
    """
    content = _read(path)
    problems = _shape_problems(path, content)
    if problems:
        raise InputError(problems)
    own_units = components.groupby("component", sort=False)["unit"].agg(list).to_dict()
    problems = [*_policy_problems(path, content["policy"], rounding_rules), *_course_problems(path, content["course"]),
                *_reference_problems(path, content, own_units, source_ids)]
    if problems:
        raise InputError(problems)
    limits = pd.DataFrame([_in_own_unit(_with_weight(row, content), own_units) for row in content["limit"]], columns=list(LIMIT_COLUMNS))
    problems = [*_ordering_problems(path, limits), *_side_problems(path, limits), *_derivation_problems(path, content)]
    if problems:
        raise InputError(problems)
    head = {**content["policy"], "date": _date(content["policy"]["date"])}
    shares = {_course(word): float(row["share"]) for row in content["course"] for word in row["ids"]}
    return Policy(**head, audiences=pd.DataFrame(content["audience"]), limits=limits, course_shares=shares,
                  daily=pd.DataFrame(content["daily"], columns=list(KEYS["daily"][0])))


def _course(word: str) -> str:
    return word.strip().lower()


def _read(path: Path) -> dict:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(Problem(str(path), "there is no such policy file", "Name a file of reference/limits/",
                                 "missing-file")) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, IsADirectoryError) as error:
        raise InputError(Problem(str(path), f"cannot be read as TOML ({error})", "Correct the place named, as UTF-8 text",
                                 "unreadable-file")) from None


def _wrong(path: Path, key: str, what: str, remedy: str, code: str = "policy") -> Problem:
    return Problem(f"{path}: {key}", what, remedy, code)


def _rows(content: dict, name: str) -> list[tuple[str, dict]]:
    """The tables of one name with how a person finds each: "limit 3 (haemodialysis, low-potassium)"."""
    if isinstance(content[name], dict):
        return [(name, content[name])]
    rows = []
    for number, row in enumerate(content[name], start=1):
        named = ", ".join(str(row[key]) for key in ("audience", "claim", "id") if row.get(key))
        rows.append((f"{name} {number} ({named})" if named else f"{name} {number}", row))
    return rows


def _shape_problems(path: Path, content: dict) -> list[Problem]:
    problems = [_wrong(path, name, "is not a table of a policy", f"Use: {', '.join(KEYS)}")
                for name in content if name not in KEYS]
    single = ("policy", "assumptions")
    for name in KEYS:
        kind = dict if name in single else list
        heading = f"[{name}]" if name in single else f"[[{name}]]"
        if name == "daily" and name not in content:
            content[name] = []  # a policy of the unit's own figures needs no daily statement
        rows = content.get(name)
        written_so = isinstance(rows, kind) and (kind is dict or all(isinstance(row, dict) for row in rows))
        if not written_so or (not rows and name != "daily"):
            problems.append(_wrong(path, name, f"is missing, empty or not written as {heading}", f"Add a table {heading}"))
            continue
        for place, row in _rows(content, name):
            problems.extend(_key_problems(path, place, row, *KEYS[name]))
    return problems


def _key_problems(path: Path, place: str, row: dict, required: tuple, optional: tuple) -> list[Problem]:
    problems = [_wrong(path, f"{place}: {key}", "is not a key of this table", f"Use: {', '.join((*required, *optional))}")
                for key in row if key not in (*required, *optional)]
    for key in required:
        if key not in row:
            problems.append(_wrong(path, f"{place}: {key}", "is missing", f"Add {key}"))
    for key in set(row) & {*required, *optional}:
        wanted = _wanted(key, row[key])
        if wanted:
            problems.append(_wrong(path, f"{place}: {key}", f"is {row[key]!r}", wanted))
    return sorted(problems)


def _wanted(key: str, value) -> str:
    """What a value should have been, or "" when it is right."""
    if key in NUMBERS:
        good = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value) and value > 0
        return "" if good else "Write a number above 0"
    if key == "ids":
        good = isinstance(value, list) and value and all(isinstance(word, str) for word in value)
        return "" if good else "Write a list of courses in quotes"
    if key == "date":
        return "" if isinstance(value, (str, date)) else "Write a date, for example \"2026-11-25\""
    if not isinstance(value, str):
        return "Write text in quotes"
    may_be_empty = key in ("adopted_by", "role", "note", "daily")
    return "" if value.strip() or may_be_empty else "Fill it in"


def _date(value) -> str:
    return value if isinstance(value, str) else value.isoformat()


def _policy_problems(path: Path, head: dict, rounding_rules: Collection[str] | None) -> list[Problem]:
    problems = []
    if head["standing"] not in STANDINGS:
        problems.append(_wrong(path, "policy: standing", f"is {head['standing']!r}", f"Use one of: {', '.join(STANDINGS)}"))
    if head["adopted_by"].strip() and head["standing"] == "invented":
        problems.append(_wrong(path, "policy: standing", "is 'invented' although the policy is adopted",
                               "Nobody adopts invented limits: put the unit's own in and say what they rest on, or empty adopted_by"))
    named = head.get("rounding", "")
    if named and rounding_rules is not None and named not in rounding_rules:
        problems.append(_wrong(path, "policy: rounding", f"{named!r} is no rule of reference/rounding.csv",
                               f"Use one of: {', '.join(sorted(set(rounding_rules)))}; or leave the key out"))
    if head["adopted_by"].strip() and not head["role"].strip():
        problems.append(_wrong(path, "policy: role", "is empty although the policy is adopted", "Say in which role it was adopted"))
    try:
        date.fromisoformat(_date(head["date"]))
    except ValueError:
        problems.append(_wrong(path, "policy: date", f"is {head['date']!r}", "Write the date as year-month-day"))
    return problems


def _course_problems(path: Path, rows: list[dict]) -> list[Problem]:
    words = [_course(word) for row in rows for word in row["ids"]]
    problems = [_wrong(path, f"course: ids: {word!r}", "is listed twice", "Keep one")
                for word in sorted({word for word in words if words.count(word) > 1})]
    over = [row["share"] for row in rows if row["share"] > 1]
    return problems + [_wrong(path, "course: share", f"is {share}", "Write a share of at most 1") for share in over]


def _reference_problems(path: Path, content: dict, own_units: dict, source_ids) -> list[Problem]:
    """What a row names has to exist: audiences, components, units, bases, comparators, sources."""
    problems = []
    audiences = [row["id"] for row in content["audience"]]
    problems += _repeated(path, "audience", audiences)
    problems += _repeated(path, "daily", [row["id"] for row in content["daily"]])
    allowed = {"audience": audiences, "component": sorted(own_units), "comparator": COMPARATORS, "basis": BASES}
    for name in ("daily", "limit"):
        for place, row in _rows(content, name):
            for key in set(allowed) & set(row):
                if row[key] not in allowed[key]:
                    problems.append(_wrong(path, f"{place}: {key}", f"{row[key]!r} is not known",
                                           f"Use one of: {', '.join(allowed[key])}"))
            fitting = _fitting_units(row["component"], own_units)
            if name == "daily":
                fitting += [f"{unit}{PER_KG}" for unit in fitting]
            if row["component"] in own_units and row["unit"] not in fitting:
                problems.append(_wrong(path, f"{place}: unit", f"{row['unit']!r} does not fit {row['component']}",
                                       f"Use one of: {', '.join(fitting)}"))
    if source_ids is not None:
        for name in KEYS:
            for place, row in _rows(content, name):
                problems += [_wrong(path, f"{place}: {key}", f"cites the unknown source {row[key]!r}",
                                    "Add the source to reference/sources.csv, or correct the id")
                             for key in row if key.endswith("source_id") and row[key] not in source_ids]
    return sorted(problems)


def _repeated(path: Path, name: str, ids: list[str]) -> list[Problem]:
    return [_wrong(path, f"{name}: id: {one!r}", "is used twice", "Give each its own id")
            for one in sorted({one for one in ids if ids.count(one) > 1})]


def _fitting_units(component: str, own_units: dict) -> list[str]:
    own = own_units.get(component, [])
    masses = list(MASS_UNITS) if set(own) & set(MASS_UNITS) else []
    return [*dict.fromkeys([*own, *masses]), *(["mmol"] if component in MOLAR_MASS else [])]


def _with_weight(row: dict, content: dict) -> dict:
    """A limit that comes from a figure per kilogram says in its note for which body weight."""
    day = next((day for day in content["daily"] if day["id"] == row.get("daily")), None)
    if day is None or not day["unit"].endswith(PER_KG):
        return row
    weight = _body_weight_kg(row["audience"], content)
    return {**row, "note": "; ".join(part for part in (row["note"], f"for a body weight of {weight:g} kg") if part)}


def _body_weight_kg(audience: str, content: dict) -> float:
    """That of the audience where it has one of its own, else the policy's."""
    own = next((row.get("body_weight_kg") for row in content["audience"] if row["id"] == audience), None)
    return own or content["assumptions"]["body_weight_kg"]


def _in_own_unit(row: dict, own_units: dict) -> dict:
    """A limit in the first unit of its component; a note keeps what was stated."""
    own = row["unit"] if row["unit"] in own_units[row["component"]] else own_units[row["component"]][0]
    stated = {name: row[name] for name in LIMIT_COLUMNS}
    if row["unit"] == own:
        return {**stated, "limit": float(row["limit"])}
    milligrams = in_mg(row["component"], row["limit"], row["unit"])
    note = f"{row['note']} (stated as {row['limit']} {row['unit']})".strip()
    return {**stated, "limit": milligrams / in_mg(row["component"], 1.0, own), "unit": own, "note": note}


def _ordering_problems(path: Path, limits: pd.DataFrame) -> list[Problem]:
    """A lower limit above its upper one, or the same limit twice: nothing could satisfy it,
    or nobody could say which was meant."""
    problems = []
    for key, rows in limits.groupby(["audience", "claim", "component", "basis", "unit"], sort=True):
        named = "limit (" + ", ".join(key[:3]) + ")"
        upper = rows[rows["comparator"].isin(UPPER)]["limit"]
        lower = rows[rows["comparator"].isin(LOWER)]["limit"]
        if len(upper) > 1 or len(lower) > 1:
            problems.append(_wrong(path, named, "is given twice", "Keep one upper and one lower limit"))
        elif len(upper) and len(lower) and lower.iloc[0] > upper.iloc[0]:
            what = f"the lower limit {lower.iloc[0]:g} {key[4]} is above the upper {upper.iloc[0]:g} {key[4]}"
            problems.append(_wrong(path, named, what, "Correct one of them"))
    return problems


def _side_problems(path: Path, limits: pd.DataFrame) -> list[Problem]:
    """A claim on the wrong side of its limit: "low-potassium" for dishes with no less than so much. Where too much does harm, a least
    amount alone is believed only of a claim that says so."""
    problems = []
    for (audience, claim, component), rows in limits.groupby(["audience", "claim", "component"], sort=True):
        words = set(claim.lower().split("-"))
        upper, lower = (rows["comparator"].isin(side).any() for side in (UPPER, LOWER))
        wants_upper = bool(words & SAYS_UPPER) and not words & SAYS_LOWER or component in HARM_ABOVE and not words & SAYS_LOWER
        wants_lower = bool(words & SAYS_LOWER) and not words & SAYS_UPPER
        if wants_upper and not upper or wants_lower and not lower:
            given, other = ("<= or <", ">= or >") if wants_lower else (">= or >", "<= or <")
            problems.append(_wrong(path, f"limit ({audience}, {claim}, {component}): comparator", f"the limit seems to be upside down: "
                                   f"{claim!r} would hold for a dish with {'at most' if wants_lower else 'at least'} {rows['limit'].iloc[0]:g} "
                                   f"{rows['unit'].iloc[0]}", f"Write {other} in place of {given}, or give the claim an id that says which side it means"))
    return problems


def _derivation_problems(path: Path, content: dict) -> list[Problem]:
    """A limit that names a daily figure has to follow from it: day x meal share (x body weight)."""
    daily = {row["id"]: row for row in content["daily"]}
    problems = []
    for place, row in _rows(content, "limit"):
        if not row.get("daily"):
            continue
        day = daily.get(row["daily"])
        if day is None or any(day[key] != row[key] for key in ("audience", "component", "comparator")) or _two_energies(day, row):
            problems.append(_wrong(path, f"{place}: daily", f"{row['daily']!r} is no daily figure of this audience, component and comparator",
                                   "Name the id of a [[daily]] table that fits"))
            continue
        assumed = content["assumptions"]
        expected, unit = _meal(day, row["unit"], assumed["meal_share"], _body_weight_kg(row["audience"], content))
        stated = in_mg(row["component"], row["limit"], row["unit"]) if unit == "mg" else row["limit"]
        if abs(stated / expected - 1) > DERIVED_WITHIN:
            own = expected / in_mg(row["component"], 1.0, row["unit"]) if unit == "mg" else expected
            problems.append(_wrong(path, f"{place}: limit", f"{row['limit']} {row['unit']} does not follow from daily {row['daily']!r}, which gives "
                                   f"{own:.3g} {row['unit']} a meal", "Correct the limit, the daily figure or the assumptions"))
    return problems


def _two_energies(day: dict, row: dict) -> bool:
    """Whether one is in kJ and the other in kcal: the law rounds each for itself, so neither follows from the other."""
    return row["unit"] != day["unit"].removesuffix(PER_KG) and row["unit"] in ENERGY_UNITS


def _meal(day: dict, wanted: str, meal_share: float, body_weight_kg: float) -> tuple[float, str]:
    """A meal's part of a daily figure: in mg, or in ``wanted`` where that is no unit of mass."""
    unit = day["unit"].removesuffix(PER_KG)
    share = meal_share * (body_weight_kg if unit != day["unit"] else 1.0)
    if wanted in ENERGY_UNITS:
        return day["amount"] * share, wanted
    return in_mg(day["component"], day["amount"], unit) * share, "mg"


def in_mg(component: str, amount: float, unit: str) -> float:
    """Milligrams of a component in an amount given in g, mg, ug or mmol (K, P, NA)."""
    if unit == "mmol":
        return amount * MOLAR_MASS[component]
    return amount * _mg_per(unit)


@lru_cache(maxsize=16)
def _mg_per(unit: str) -> float:
    # 15 significant digits: pint's intermediate steps leave noise in the last one.
    return float(f"{units.registry().Quantity(1, unit).to('mg').magnitude:.15g}")
