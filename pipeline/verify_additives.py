"""Second look for additives, in the words and E numbers of every line and in the name of its entry (``reference/additives.csv``)."""

from __future__ import annotations

import re

from pipeline.verify_files import Rows, path_of, place
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project
from pipeline.verify_words import TAKES_AWAY, Names, words

FILE = "reference/additives.csv"
CAUSE = "suitability"
# An E number, and the last one of a range, with a letter or small Roman numeral that says which of its salts.
WHICH = r"(?:\s?\([ivx]+\)|[a-i]|[ivx]+)?\b"
E_NUMBER = re.compile(rf"\b(?:E|INS)[ -]?([0-9]{{3,4}}){WHICH}(?:\s*(?:-|\u2013|to)\s*(?:E|INS)?[\s-]?([0-9]{{3,4}}){WHICH})?", re.IGNORECASE)
PLAIN_WORD = "phosphate-word"
NO_SALT = ("phosphorus", "phospholipid", "phosphatidyl")
ELEMENTS = {"phosphate": ["P"], "potassium": ["K"], "phosphate-and-potassium": ["K", "P"], "phosphate-and-sodium": ["NA", "P"]}
TO_DO = {
    "error": "Do not use it for people who limit potassium unless the renal dietitian says so: name another salt, or leave it out",
    "warning": "Read the label of the product for phosphates and potassium salts, and name a product without them",
    "note": "Nothing to do for this alone: it is in small amounts",
}
Found = tuple[dict[str, str], str, str]  # the row of the file, the words that showed it, where they stand


def compare(tables: dict[str, Rows], project: Project, ledger: Ledger) -> None:
    """Flags every line again and compares additives, and what the findings say of them."""
    reader = _Reader(project.listed(FILE))
    flags, findings = {}, {}
    for line_id, line in tables["lines"].items():
        if line["outcome"] == "not-food":
            continue
        for row, through, found_in in reader.found(line):
            flags[f"{line_id} {row['additive_id']}"] = (line, row, through, found_in)
            by_label = found_in == "words" or row["severity"] == "error"
            check = "additive-left-out" if line["counted"] != "true" else "additive" if by_label else "additive-by-entry"
            for element in ELEMENTS[row["element"]]:
                name = "/".join((check, line["recipe_id"], line["variant_id"], line["line_no"], row["additive_id"], element))
                findings[name] = {"check": check, "severity": row["severity"], "component": element, "line_no": line["line_no"],
                                  "source_id": row["source_id"]}
    _compare_flags(tables["additives"], flags, ledger)
    written = {key: row for key, row in tables["findings"].items() if row["check"].startswith("additive")}
    ledger.keys(CAUSE, path_of("findings"), written, findings, path_of("additives"))
    for key in sorted(written.keys() & findings.keys()):
        for column, told in findings[key].items():
            ledger.same(place(CAUSE, "findings", key), column, written[key][column], told, path_of("additives"))


def _compare_flags(written: Rows, flags: dict, ledger: Ledger) -> None:
    ledger.keys(CAUSE, path_of("additives"), written, flags, FILE)
    for key in sorted(written.keys() & flags.keys()):
        ledger.counts["additives"] += 1
        (line, row, through, found_in), stands, where = flags[key], written[key], place(CAUSE, "additives", key)
        expected = {**{name: line[name] for name in ("recipe_id", "variant_id", "line_no", "counted")}, "element": row["element"],
                    "severity": row["severity"], "through": through, "found_in": found_in, "source_id": row["source_id"]}
        for column, told in expected.items():
            ledger.same(where, column, stands[column], told, FILE)
        ledger.same(where, "what", stands["what"], _what(line["text"], row, found_in), f"{path_of('lines')} and {FILE}")
        ledger.same(where, "remedy", stands["remedy"], TO_DO[row["severity"]], "the severity")


def _what(text: str, row: dict[str, str], found_in: str) -> str:
    """What a flag says: an error is said loudly."""
    says = "names" if found_in == "words" else "is counted as a food that often has"
    number = f" (E{row['e_number']})" if row["e_number"] else ""
    source = row["element"].replace("-and-sodium", " and salt").replace("-and-", " and ")
    told = [f'"{text}" {says} {row["name"]}{number}, a likely source of {source}', *([row["note"]] if row["note"] else [])]
    return ("POTASSIUM HAZARD: " if row["severity"] == "error" else "") + "; ".join(told)


class _Reader:
    """The rows of the file by the words and E numbers that show them."""

    def __init__(self, rows: list[dict[str, str]]):
        self._by_word = {word: row for row in rows for word in row["words"].split(";") if word}
        self._by_number = {int(row["e_number"]): row for row in rows if row["e_number"]}
        self._plain = next(row for row in rows if row["additive_id"] == PLAIN_WORD)
        self._names = Names(self._by_word)

    def found(self, line: dict[str, str]) -> list[Found]:
        """Every additive of a line, once: by its words before its E numbers, and by those before its entry."""
        text = line["text"]
        signs: list[Found] = [(self._softened(word, text), word, "words") for word in self._names.named(text)]
        for told in E_NUMBER.finditer(text):
            first, last = int(told[1]), int(told[2] or told[1])
            signs += [(row, told[0].strip(), "words") for number, row in self._by_number.items() if first <= number <= last]
        signs += [(self._plain, word, "words") for word in words(text)
                  if ("phosph" in word or word == "phos") and not word.startswith(NO_SALT)]
        signs += [(self._by_word[word], word, "entry") for word in self._names.named(line["entry_name"])]
        once: dict[str, Found] = {}
        for row, through, where in signs:
            if row["additive_id"] not in once:
                once[row["additive_id"]] = (row, through, where)
        if any(name != PLAIN_WORD and "phosph" in row["name"] for name, (row, _, _) in once.items()):
            once.pop(PLAIN_WORD, None)  # another one says which
        return list(once.values())

    def _softened(self, word: str, text: str) -> dict[str, str]:
        """The row of a word; an error is a warning where the line says "not" before it, wherever it stands."""
        row = self._by_word[word]
        if row["severity"] != "error":
            return row
        told, name = words(text), words(word)
        begins = [at for at in range(len(told)) if told[at:at + len(name)] == name]
        against = TAKES_AWAY | {"never", "avoid"}
        denied = all(against.intersection(told[max(0, at - 2):at]) for at in begins)
        return {**row, "severity": "warning"} if denied else row
