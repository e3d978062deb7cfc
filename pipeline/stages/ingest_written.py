"""A recipe as written, whatever file format it came from, and the limits every recipe must keep."""

from __future__ import annotations

import difflib
import hashlib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from pipeline.problems import ERROR, WARNING, Problem
from pipeline.tables import RECIPE_ID

MOST_LINES = 500  # ingredient lines, and likewise method steps, of one recipe
LONGEST_LINE = 1000  # characters
LONGEST_STEP = 10_000
_BREAK = re.compile(r"[\n\t\r\x85\u2028\u2029]+")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
# A lost character, or UTF-8 that was once read as Latin-1: "\u00c2\u00bd" stands where a half was written.
_GARBLED = re.compile(r"\ufffd|[\u00c2\u00c3][\u0080-\u00bf]|\u00e2\u20ac|\u00e2[\u0080-\u009f]")

Place = int | str  # a line of the file, or words such as "sheet lines, cell B7"; 0 is the whole file


@dataclass(frozen=True)
class Words:
    """Words as written and the line of the file where they stand."""

    text: str
    line: int


@dataclass(frozen=True)
class Line:
    """One ingredient line as written; ``section`` is the heading it stands under."""

    text: str
    line: int
    section: str = ""


@dataclass(frozen=True)
class Amount:
    """Another amount of a line: the words of the old one and of the new one."""

    named: Words
    old: str
    new: str


@dataclass(frozen=True)
class Change:
    """A written variant, or (``kind`` version) the recipe as made or as printed: what it does to the recipe, or to the variant
    ``of`` which it is. ``None`` means "as there"; ``lines`` are the ingredients of a version that has its own."""

    variant_id: str
    name: str
    line: int
    of: str = "base"
    portions: float | None = None
    add: tuple[Line, ...] = ()
    leave_out: tuple[Words, ...] = ()
    replace: tuple[tuple[Words, Line], ...] = ()
    amounts: tuple[Amount, ...] = ()
    method: tuple[str, ...] | None = None
    add_method: tuple[str, ...] = ()
    kind: str = "written"
    lines: tuple[Line, ...] | None = None


@dataclass(frozen=True)
class PrintedFigure:
    """One figure in print, in the unit in which it is printed."""

    variant_id: str
    component: str
    basis: str
    value: float
    unit: str
    printed_in: str
    line: int = 0


@dataclass(frozen=True)
class PrintedClaim:
    """One claim in print."""

    variant_id: str
    claim: str
    printed_in: str
    line: int = 0


@dataclass(frozen=True)
class Written:
    """One recipe as written. ``id_given`` is false where the id was derived from an address or the name."""

    recipe_id: str
    id_given: bool
    name: str
    portions: float
    source_file: str
    source_line: int
    lines: tuple[Line, ...]
    steps: tuple[str, ...]
    course: str = ""
    food_form: str = "solid"
    units_system: str = ""
    finished_mass_g: float = float("nan")
    figures: tuple[PrintedFigure, ...] = ()
    claims: tuple[PrintedClaim, ...] = ()
    changes: tuple[Change, ...] = ()
    lines_file: str = ""  # where the lines stand, if not in source_file


@dataclass
class Notes:
    """The problems of one recipe (or one file) while it is being read."""

    source_file: str
    recipe_id: str = ""
    problems: list[Problem] = field(default_factory=list)
    aside: list[Problem] = field(default_factory=list)  # about one variant: they take nothing else down

    @property
    def failed(self) -> bool:
        """Whether the recipe (or the variant, or the file) these notes are about cannot be kept."""
        return any(problem.severity == ERROR for problem in self.problems)

    def set_aside(self, variant: Notes, variant_id: str) -> None:
        """Keep the problems of one variant; its errors say that it alone was left out."""
        for problem in variant.problems:
            left_out = f"the variant {variant_id!r} was left out: {problem.what}"
            self.aside.append(replace(problem, what=left_out) if problem.severity == ERROR else problem)

    def error(self, place: Place, what: str, remedy: str, code: str) -> None:
        self._add(place, what, remedy, code, ERROR)

    def warning(self, place: Place, what: str, remedy: str, code: str) -> None:
        self._add(place, what, remedy, code, WARNING)

    def _add(self, place: Place, what: str, remedy: str, code: str, severity: str) -> None:
        self.problems.append(Problem(
            where=where(self.source_file, place), what=what, remedy=remedy, code=code,
            severity=severity, stage="ingest", recipe_id=self.recipe_id,
        ))


def where(source_file: str, place: Place) -> str:
    """``soup.yaml, line 7``, ``book.xlsx, sheet lines, cell B7`` or the file alone."""
    if not place:
        return source_file
    return f"{source_file}, line {place}" if isinstance(place, int) else f"{source_file}, {place}"


def words(text: str, place: Place, notes: Notes, what: str = "ingredient line", longest: int = LONGEST_LINE) -> str | None:
    """``text`` without outer blanks and inner line breaks; None, with a problem noted, if it cannot be kept."""
    kept = " ".join(part.strip() for part in _BREAK.split(text) if part.strip())
    if not kept:
        notes.warning(place, f"an empty {what} was left out", "Take it away, or write what belongs there", "line-empty")
        return None
    if len(kept) > longest:
        notes.error(
            place, f"one {what} has {len(kept):,} characters; at most {longest:,} are read",
            "Write one ingredient (or one step) per line", "line-too-long",
        )
        return None
    control = _CONTROL.search(kept)
    if control:
        notes.error(
            place, f"the {what} holds the control character U+{ord(control.group()):04X}",
            "Type the line again without it", "control-character",
        )
        return None
    garbled = _GARBLED.search(kept)
    if garbled:
        notes.error(
            place, f"the {what} holds {garbled.group()!r}, where a character was lost or garbled: {kept[:80]!r}",
            "Type the character again and save the file as UTF-8", "garbled",
        )
        return None
    return kept


def sectioned(written: Iterable[Words], notes: Notes, section: str = "") -> tuple[Line, ...]:
    """Lines with the heading each stands under. A line that ends in a colon is a heading and stays a line."""
    lines = []
    for item in written:
        text = words(item.text, item.line, notes)
        if text is None:
            continue
        if text.endswith(":"):
            section = text[:-1].strip()
        lines.append(Line(text, item.line, section))
    return tuple(lines)


def steps_of(written: Iterable[Words], notes: Notes) -> tuple[str, ...]:
    """Method steps in order; empty ones left out with a warning."""
    kept = (words(item.text, item.line, notes, "method step", LONGEST_STEP) for item in written)
    return tuple(text for text in kept if text is not None)


def keeps_limits(lines: tuple[Line, ...], steps: tuple[str, ...], place: Place, notes: Notes) -> None:
    """Note a recipe without lines, without a method, or with absurdly many of either."""
    if not lines and not notes.failed:
        notes.error(place, "the recipe has no ingredient lines", "Write its ingredients, one per line", "no-lines")
    for found, what in ((lines, "ingredient lines"), (steps, "method steps")):
        if len(found) > MOST_LINES:
            notes.error(
                place, f"the recipe has {len(found):,} {what}; at most {MOST_LINES} are read",
                "Split it into several recipes, or check the file", "too-many-lines",
            )
    if lines and not steps:
        notes.warning(
            place, "the recipe has no method, so nothing says how anything is cooked",
            "Write the method, one step per line", "no-method",
        )


def slug(text: str) -> str:
    """Lower-case letters and digits with hyphens; a short hash where none can be made of ``text``."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    made = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:80].strip("-")
    return made or f"recipe-{hashlib.sha256(text.encode()).hexdigest()[:8]}"


def shown(text: str) -> str:
    """``text`` cut to a length that a message can hold."""
    text = text.strip()
    return text if len(text) <= 80 else f"{text[:77]}..."


def is_id(text: str) -> bool:
    """Whether ``text`` may stand as a recipe or variant id."""
    return re.fullmatch(RECIPE_ID.strip("^$"), text) is not None


def choice(text: str, allowed: tuple[str, ...], what: str, place: Place, notes: Notes) -> str:
    """``text`` in lower case if it is one of ``allowed``; else an error is noted."""
    if text.strip().lower() in allowed:
        return text.strip().lower()
    notes.error(place, f"{what} is {shown(text)!r}", f"Write one of: {', '.join(allowed)}", "not-a-choice")
    return allowed[0]


def unknown_key(key: str, known: tuple[str, ...], place: Place, notes: Notes, what: str = "key") -> None:
    """Warn that a key or column is not read, and suggest the one that may be meant."""
    key = shown(key)
    near = difflib.get_close_matches(key.lower(), known, n=1)
    remedy = f"Did you mean {near[0]!r}?" if near else f"Known here: {', '.join(known)}"
    notes.warning(place, f"the {what} {key!r} is not known and was not read", remedy, f"unknown-{what}")
