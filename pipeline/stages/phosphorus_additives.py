"""Lines likely to carry phosphate or potassium additives: by their words, their E numbers, and their entry.

A salt substitute made with potassium chloride can put somebody in hospital: it is an error, and stands first.
What the product holds is on its label; a flag says where to look.
"""

from __future__ import annotations

import re

import pandas as pd

from pipeline import schema
from pipeline.problems import ERROR, NOTE, SEVERITIES, WARNING
from pipeline.stages.audit_findings import finding
from pipeline.stages.suit_words import NEGATIONS, Lexicon, kitchen_words, named
from pipeline.suitability_form import AdditiveFlags
from pipeline.tables import Findings

# "E450", "E 450", "E-450i", "INS 450"; and ranges, "E450-E452", "E 450 to 452".
_NUMBER = r"(\d{3,4})(?:\s?\([ivx]+\)|[a-i]|[ivx]+)?\b"
_E_NUMBERS = re.compile(rf"\b(?:E|INS)[\s-]?{_NUMBER}(?:\s*(?:-|–|to)\s*(?:E|INS)?[\s-]?{_NUMBER})?", re.IGNORECASE)
_PHOSPHATE = re.compile(r"phosph|^phos$")
# A nutrient and a name for fats: not phosphate salts.
NO_PHOSPHATE = ("phosphorus", "phospholipid", "phosphatidyl")
PHOSPHATE_WORD = "phosphate-word"
REMEDIES = {
    ERROR: "Do not use it for people who limit potassium unless the renal dietitian says so: name another salt, or leave it out",
    WARNING: "Read the label of the product for phosphates and potassium salts, and name a product without them",
    NOTE: "Nothing to do for this alone: it is in small amounts",
}
COMPONENTS = {"phosphate": ("P",), "potassium": ("K",), "phosphate-and-potassium": ("K", "P"), "phosphate-and-sodium": ("NA", "P")}
ELEMENT_WORDS = {"phosphate": "phosphate", "potassium": "potassium", "phosphate-and-potassium": "phosphate and potassium",
                 "phosphate-and-sodium": "phosphate and salt"}


def flags(lines: pd.DataFrame, additive_rows: pd.DataFrame) -> pd.DataFrame:
    """Every sign of such an additive, the gravest first (model AdditiveFlags).

    ``lines`` has recipe_id, variant_id, line_no, line_id, text, entry_name, outcome and counted: all food lines, the optional and unsettled
    ones too, for a line that nobody could read may still name one. ``additive_rows`` is ``reference/additives.csv``.
    """
    by_word = {word: row for row in additive_rows.to_dict("records") for word in row["words"].split(";") if word}
    by_number = {int(row["e_number"]): row for row in additive_rows.to_dict("records") if row["e_number"]}
    lexicon = Lexicon.of(by_word)
    phosphate = additive_rows.set_index("additive_id", drop=False).loc[PHOSPHATE_WORD].to_dict()
    rows = []
    for line in lines[lines["outcome"] != "not-food"].itertuples(index=False):
        found = [*_in_words(line.text, lexicon, by_word), *_e_numbers(line.text, by_number), *_phosphate_words(line.text, phosphate)]
        entry = [(by_word[word], word, "entry") for word in named(line.entry_name, lexicon)]
        rows += [_row(line, *one) for one in _once([*found, *entry])]
    if not rows:
        return schema.empty(AdditiveFlags)
    table = pd.DataFrame(rows).sort_values(["severity", "recipe_id", "variant_id", "line_no", "additive_id"], kind="stable",
                                           key=lambda column: column.map(SEVERITIES.index) if column.name == "severity" else column)
    return schema.checked(AdditiveFlags, table, "phosphorus")


def with_flags(findings: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """``findings`` (model ``tables.Findings``) with those of the flags behind them: one per element that a flag is about.

    A line that counts and names the additive is a reason to doubt the figures (check ``additive``), for a table does not see what
    a label says. One whose entry alone is such a food is not (``additive-by-entry``: the table analysed it so), nor one that
    is left out here (``additive-left-out``).
    """
    rows = [_finding(row, component) for row in table.itertuples(index=False) for component in COMPONENTS[row.element]]
    if not rows:
        return findings
    return pd.concat([findings, schema.checked(Findings, pd.DataFrame(rows), "phosphorus")], ignore_index=True)


def _finding(row, component: str) -> dict:
    by_label = row.found_in == "words" or row.severity == ERROR
    check = ("additive" if by_label else "additive-by-entry") if row.counted else "additive-left-out"
    return finding(check, row.recipe_id, row.variant_id, (str(row.line_no), row.additive_id, component), row.severity, row.what, row.remedy,
                   component=component, line_no=row.line_no, source_id=row.source_id)


def _in_words(text: str, lexicon: Lexicon, by_word: dict[str, dict]) -> list[tuple[dict, str, str]]:
    """The additives a line names; an error after "not" or "no" is a warning, for it may be the opposite that is meant."""
    found = []
    for word in named(text, lexicon):
        row = by_word[word]
        if row["severity"] == ERROR and _ruled_out(text, word):
            row = {**row, "severity": WARNING}
        found.append((row, word, "words"))
    return found


def _ruled_out(text: str, word: str) -> bool:
    words, name = kitchen_words(text), kitchen_words(word)
    places = [place for place in range(len(words)) if words[place:place + len(name)] == name]
    return all(set(words[max(0, place - 2):place]) & (NEGATIONS | {"never", "avoid"}) for place in places)


def _e_numbers(text: str, by_number: dict[int, dict]) -> list[tuple[dict, str, str]]:
    found = []
    for match in _E_NUMBERS.finditer(text):
        first, last = int(match[1]), int(match[2] or match[1])
        found += [(row, match[0].strip(), "words") for number, row in by_number.items() if first <= number <= last]
    return found


def _phosphate_words(text: str, row: dict) -> list[tuple[dict, str, str]]:
    """Any other word with phosph in it, so that a salt which the file does not list is seen too."""
    return [(row, word, "words") for word in kitchen_words(text)
            if _PHOSPHATE.search(word) and not word.startswith(NO_PHOSPHATE)]


def _once(found: list[tuple[dict, str, str]]) -> list[tuple[dict, str, str]]:
    """Each additive once per line, and the plain word "phosphate" not beside one that says which."""
    first: dict[str, tuple[dict, str, str]] = {}
    for row, through, where in found:
        first.setdefault(row["additive_id"], (row, through, where))
    told = [one for one in first.values() if one[0]["additive_id"] != PHOSPHATE_WORD and one[0]["name"].find("phosph") >= 0]
    return [one for one in first.values() if not (told and one[0]["additive_id"] == PHOSPHATE_WORD)]


def _row(line, row: dict, through: str, found_in: str) -> dict:
    element = ELEMENT_WORDS[row["element"]]
    likely = "names" if found_in == "words" else "is counted as a food that often has"
    hazard = "POTASSIUM HAZARD: " if row["severity"] == ERROR else ""
    note = f"; {row['note']}" if row["note"] else ""
    number = f" (E{row['e_number']})" if row["e_number"] else ""
    what = f'{hazard}"{line.text}" {likely} {row["name"]}{number}, a likely source of {element}{note}'
    return {
        "recipe_id": line.recipe_id, "variant_id": line.variant_id, "line_no": line.line_no, "line_id": line.line_id,
        "counted": line.counted, "additive_id": row["additive_id"], "element": row["element"], "severity": row["severity"], "through": through,
        "found_in": found_in, "what": what, "remedy": REMEDIES[row["severity"]], "source_id": row["source_id"],
    }
