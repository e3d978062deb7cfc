"""Every variant of a recipe written out in full: the recipe as written, its written variants, and the recipe as made and
as printed. A variant may build on another one (``of``)."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rapidfuzz import fuzz, process

from pipeline.stages.ingest_written import MOST_LINES, Amount, Change, Line, Notes, Words, Written

BASE = "base"
# From this likeness of the letters on (0 to 100), a line is shown to somebody who seems to have mistyped it.
NEAR = 60
_Numbered = list[tuple[int, Line, str]]  # line number, line, origin


@dataclass(frozen=True)
class _Made:
    """A variant written out: what another one may build on."""

    name: str
    portions: float
    lines: _Numbered
    steps: tuple[str, ...]
    kind: str = "base"


def expand(written: Written, notes: Notes) -> tuple[list[tuple], list[tuple], list[tuple]]:
    """Rows for the variants, lines and steps tables, in the order of their columns.

    A kept line keeps its number, a replacement or another amount takes the number of its line, added lines are
    numbered on from the highest; a version with ingredients of its own is numbered as it is written. A variant that names
    a line which is not there, or is there twice, is left out with an error set aside in ``notes``; so is one that builds on
    a variant which is not there.
    """
    base = _Made("As written", written.portions, [(number, line, "base") for number, line in enumerate(written.lines, start=1)], written.steps)
    made: dict[str, _Made] = {BASE: base}
    for change in _in_order(written.changes):
        own = Notes(notes.source_file, notes.recipe_id)
        if change.variant_id in made:
            own.error(change.line, "another variant has this id", "Give every variant its own id", "variant-twice")
        if change.of not in made:
            own.error(change.line, f"it is a variant of {change.of!r}, {_why_not_made(change, written.changes)}", "Write the id of another variant "
                      f"of this recipe, not built on this one, after of: ({', '.join(made)})", "variant-of")
        else:
            new = _changed(made[change.of], change, own)
        notes.set_aside(own, change.variant_id)
        if not own.failed:
            made[change.variant_id] = new
    variants, lines, steps = [], [], []
    for variant_id, one in made.items():
        variants.append((written.recipe_id, variant_id, one.name, one.kind, one.portions))
        lines += _line_rows(written, variant_id, one.lines)
        steps += _step_rows(written, variant_id, one.steps)
    return variants, lines, steps


def _in_order(changes: tuple[Change, ...]) -> list[Change]:
    """The variants as written, but each behind the one it builds on; those that build on nothing that is there come last."""
    waiting, ordered, there = list(changes), [], {BASE}
    while waiting:
        ready = [change for change in waiting if change.of in there]
        if not ready:
            return ordered + waiting
        ordered += ready
        there |= {change.variant_id for change in ready}
        waiting = [change for change in waiting if change not in ready]
    return ordered


def _why_not_made(change: Change, changes: tuple[Change, ...]) -> str:
    """Why there is nothing that a variant could build on: it is not there, it was left out, or it builds on this very variant."""
    on = {one.variant_id: one.of for one in changes}
    if change.of not in on:
        return "which is not there"
    behind, name = [], change.of
    while name in on and name not in behind:
        behind.append(name)
        name = on[name]
    return "which is built on this one: the variants go round in a circle" if change.variant_id in behind else "which was left out itself"


def _changed(on: _Made, change: Change, notes: Notes) -> _Made:
    method = on.steps if change.method is None else change.method
    portions = on.portions if change.portions is None else change.portions
    if change.lines is not None:
        return _Made(change.name, portions, _own(on.lines, change.lines), method + change.add_method, change.kind)
    before = on.lines
    gone = {number for named in change.leave_out if (number := _number_of(named, before, notes))}
    new = {number: (line, "replaced") for named, line in change.replace if (number := _number_of(named, before, notes))}
    new |= _other_amounts(before, change.amounts, new.keys(), notes)
    if len(gone) + len(new) < len(change.leave_out) + len(change.replace) + len(change.amounts) and not notes.failed or gone & new.keys():
        notes.error(change.line, "it names the same line twice", "Replace a line, change its amount or leave it out, once", "line-named-twice")
    kept = [
        (number, replace(new[number][0], section=line.section), _origin(origin, new[number][1])) if number in new else (number, line, origin)
        for number, line, origin in before if number not in gone
    ]
    highest = max((number for number, _, _ in before), default=0)
    added = [(highest + more, line, "added") for more, line in enumerate(change.add, start=1)]
    if not kept and not added:
        notes.error(change.line, "it has no ingredient lines left", "Leave out fewer lines, or add some", "no-lines")
    if len(kept) + len(added) > MOST_LINES:
        notes.error(change.line, f"it has more than {MOST_LINES} ingredient lines", "Check the lines it adds", "too-many-lines")
    return _Made(change.name, portions, kept + added, method + change.add_method, change.kind)


def _origin(before: str, now: str) -> str:
    """A line that one variant added stays added, whatever a variant of that one does to it."""
    return before if before == "added" else now


def _other_amounts(before: _Numbered, amounts: tuple[Amount, ...], taken, notes: Notes) -> dict[int, tuple[Line, str]]:
    """The lines with other words for their amount, by number. The words stand in the line once, so nothing is guessed."""
    found: dict[int, tuple[Line, str]] = {}
    texts = {number: line for number, line, _ in before}
    for amount in amounts:
        number = _number_of(amount.named, before, notes)
        if number is None or number in taken:
            continue
        line = texts[number]
        if line.text.count(amount.old) != 1:
            notes.error(amount.named.line, f"the amount {amount.old!r} stands {line.text.count(amount.old)} times in {line.text!r}",
                        "Copy the words of the amount from the line, so that they stand in it once", "amount-not-found")
            continue
        found[number] = (Line(line.text.replace(amount.old, amount.new), amount.named.line), "changed")
    return found


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
    number = "no line of the recipe matches" if not found else f"{len(found)} lines of the recipe match"
    near = process.extractOne(wanted, [line.text for _, line, _ in base], scorer=fuzz.ratio, score_cutoff=NEAR) if not found else None
    notes.error(
        named.line, f"{number} {named.text!r}",
        "Copy the whole line from the ingredients" + (f"; did you mean {near[0]!r}?" if near else ""), "line-not-found",
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
