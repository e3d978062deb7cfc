"""What `potash verify` found: every disagreement with its place, and what was recomputed."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import asdict, dataclass, field

# In the order of cause and effect: a changed source row comes before the figures it changes.
CAUSES = ("files", "source rows", "masses", "cooking", "lines", "contributions", "inputs", "figures", "verdicts", "swaps",
          "suitability", "phosphorus", "print", "versions", "print changes", "sentences", "pages")
SHOWN = 40
# Released tables carry 10 significant digits (written numbers are off by half a unit of the
# tenth); what remains beside that is rounding in the computer.
DIGITS = 10
ROUNDING = 1e-11


@dataclass(frozen=True)
class Disagreement:
    """One place where the release and the recomputation differ.

    ``file`` is a path in the release (or the project), ``row`` the key of the row,
    ``written`` what stands there, ``recomputed`` what should, ``rests_on`` where the
    recomputed value comes from.
    """

    cause: str
    file: str
    row: str
    column: str
    written: str
    recomputed: str
    rests_on: str = ""

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.row, self.column) if part)
        origin = f" (from {self.rests_on})" if self.rests_on else ""
        return f"{place}: written {self.written or 'nothing'}, recomputed {self.recomputed or 'nothing'}{origin}"


@dataclass(frozen=True)
class Report:
    """The outcome: ``agrees`` is False when there is a single disagreement."""

    release: str
    disagreements: tuple[Disagreement, ...]
    notes: tuple[str, ...]
    counts: dict[str, int]

    @property
    def agrees(self) -> bool:
        """Whether everything recomputed is as written."""
        return not self.disagreements

    def text(self) -> str:
        """For the terminal: one line with the outcome, what was recomputed, then each disagreement by cause."""
        total = len(self.disagreements)
        head = (f"agrees: {self.release} is what its evidence gives" if self.agrees
                else f"differs: {self.release} is not what its evidence gives, in {total} {'place' if total == 1 else 'places'}")
        done = ", ".join(f"{count:,} {name}" for name, count in self.counts.items())
        rows = [head, f"recomputed: {done}"]
        cause = ""
        for one in self.disagreements[:SHOWN]:
            if one.cause != cause:
                cause = one.cause
                number = sum(other.cause == cause for other in self.disagreements)
                rows += ["", f"{cause} ({number}):"]
            rows.append(f"  {one}")
        if total > SHOWN:
            rows += ["", f"and {total - SHOWN} more; --json lists all"]
        if not self.agrees:
            rows += ["", "Do not use this release. The first cause listed is the one to look at: what follows may only repeat it."]
        return "\n".join([*rows, *(f"note: {note}" for note in self.notes)])

    def to_dict(self) -> dict:
        """The same for a machine: agrees, counts, disagreements, notes."""
        return {"release": self.release, "agrees": self.agrees, "recomputed": self.counts,
                "disagreements": [asdict(one) for one in self.disagreements], "notes": list(self.notes)}


def plain(number: float | None) -> str:
    """A number as the release writes it: ten significant digits; "" for an unknown one."""
    if number is None or math.isnan(number):
        return ""
    return f"{number:.{DIGITS}g}"


def is_written(written: str, number: float | None, scale: float = 0.0) -> bool:
    """Whether ``written`` is ``number`` to ten significant digits; "" is an unknown number.

    ``scale`` is the size of the terms whose difference the number is: a difference keeps
    their rounding.
    """
    if number is None or math.isnan(number) or written == "":
        return (written == "") == (number is None or math.isnan(number))
    stands = float(written)
    size = max(abs(stands), abs(number))
    if size == 0:
        return True
    half_unit = 0.5 * 10.0 ** (math.floor(math.log10(size)) - DIGITS + 1)
    return abs(stands - number) <= half_unit + ROUNDING * max(size, scale)


@dataclass
class Ledger:
    """Collects disagreements, notes and counts while the release is recomputed."""

    found: list[Disagreement] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    counts: Counter = field(default_factory=Counter)

    def differs(self, cause: str, file: str, row: str, column: str, written: str, recomputed: str, rests_on: str = "") -> None:
        """Records a disagreement."""
        self.found.append(Disagreement(cause, file, row, column, written, recomputed, rests_on))

    def number(self, place: tuple[str, str, str], column: str, written: str, expected: float | None, rests_on: str = "",
               scale: float = 0.0) -> bool:
        """Compares a written number; ``place`` is (cause, file, row)."""
        same = is_written(written, expected, scale)
        if not same:
            self.differs(*place, column, written, plain(expected), rests_on)
        return same

    def same(self, place: tuple[str, str, str], column: str, written: str, expected: str, rests_on: str = "") -> bool:
        """Compares a written text."""
        if written != expected:
            self.differs(*place, column, written, expected, rests_on)
        return written == expected

    def keys(self, cause: str, file: str, written, expected, rests_on: str = "") -> None:
        """Rows that are there and should not be, and the other way round; keys are texts."""
        for key in sorted(set(written) - set(expected)):
            self.differs(cause, file, key, "", "a row", "no row", rests_on)
        for key in sorted(set(expected) - set(written)):
            self.differs(cause, file, key, "", "no row", "a row", rests_on)

    def report(self, release: str) -> Report:
        """Everything found, causes first."""
        ordered = sorted(dict.fromkeys(self.found), key=lambda one: CAUSES.index(one.cause))
        return Report(release, tuple(ordered), tuple(self.notes), dict(self.counts))
