"""The lines of a dish as they were read, what is still open, and what is in print."""

from __future__ import annotations

import math
from typing import NamedTuple

from pipeline.harm import HARM_ORDER
from pipeline.page_frame import Datum
from pipeline.reason_words import REASON_WORDS, in_words, lower
from pipeline.stages.page_words import BASE, Dish, Record, number

OUTCOME_WORDS = {"accepted": "settled", "review": "to review", "none": "no entry", "not-food": "not food"}
LINE_WORDS = {"settled": "", "decided": "", "optional-left-out": "optional: not in the recipe as written", "heading": "a heading",
              "not-food": "no food", "wide-interval": "its interval is wide",
              "two-routes": "its raw and its cooked entry say different things", **REASON_WORDS}
ORIGIN_WORDS = {"base": "", "added": "added", "replaced": "in place of another line", "changed": "another amount"}
SEVERITY_WORDS = {"error": "wrong", "warning": "in doubt", "note": "agrees"}
IN_PRINT = ("drift", "printed-claim")


class Line(NamedTuple):
    """One line as it was read; ``grams`` and what follows are None where it was not weighed."""

    line_no: int
    text: str
    section: str
    origin: str
    entry_id: str
    entry_name: str
    matched: str
    grams: Datum | None
    low: Datum | None
    high: Datum | None
    eaten: Datum | None
    cooking: str
    assumed: str
    outcome: Datum
    reason: str
    counted: bool


class Variant(NamedTuple):
    """The lines in which a variant is not the recipe as written."""

    name: str
    lines: list[Line]
    left_out: list[str]


def base_lines(dish: Dish) -> list[Line]:
    """Every line of the recipe as written."""
    return [_line(dish, row) for row in dish.evidence.records("lines", recipe_id=dish.recipe_id, variant_id=BASE)]


def other_lines(dish: Dish) -> list[Variant]:
    """Of each variant the lines that the recipe as written has not, and those that it leaves out."""
    as_written = {row["text"]: row["counted"] for row in dish.evidence.records("lines", recipe_id=dish.recipe_id, variant_id=BASE)}
    found = []
    for one in dish.variants:
        if one["variant_id"] == BASE:
            continue
        rows = dish.evidence.records("lines", recipe_id=dish.recipe_id, variant_id=one["variant_id"])
        texts = {row["text"] for row in rows}
        other = [_line(dish, row) for row in rows if row["counted"] and not as_written.get(row["text"], False)]
        left_out = [text for text, counted in as_written.items() if text not in texts and counted]
        found.append(Variant(one["name"], other, left_out))
    return found


def _line(dish: Dish, row: Record) -> Line:
    of_line = {"line_id": row["line_id"]}
    source = dish.evidence.row("source_lines", **of_line) or {"section": "", "origin": "base"}
    matched = dish.evidence.row("matched", **of_line)
    weighed = dish.evidence.row("weighed", **of_line)
    cell = f"lines {row['variant_id']}/{row['line_no']}"
    weights = [None if math.isnan(row[column]) else number(row[column], f"{cell} {column}") for column in (
        "mass_g", "mass_low_g", "mass_high_g", "edible_g")]
    if row["mass_g"] == row["edible_g"]:
        weights[3] = None
    outcome = Datum(OUTCOME_WORDS[row["outcome"]], row["outcome"], f"{cell} outcome")
    return Line(row["line_no"], row["text"], source["section"], ORIGIN_WORDS[source["origin"]], row["entry_id"], row["entry_name"],
                _matched(row, matched), *weights, _cooking(dish, row), weighed["assumption"] if weighed else "", outcome,
                LINE_WORDS.get(row["reason"], row["reason"]), row["counted"])


def _matched(row: Record, matched: Record | None) -> str:
    if matched is None or not row["entry_id"]:
        return ""
    return f"decided: {matched['decision_id']}" if matched["decision_id"] else f"sure to {100 * row['match_confidence']:.0f} %"


def _cooking(dish: Dish, row: Record) -> str:
    cooked = dish.evidence.row("cooked", line_id=row["line_id"])
    if cooked is None or not row["method"]:
        return ""
    steps = (cooked["chain"] or cooked["method"]).replace(":kept", ", liquid kept").replace(":drained", ", drained").replace(" > ", ", then ")
    return steps if math.isnan(cooked["minutes"]) else f"{steps} ({cooked['minutes']:g} minutes)"


class Open(NamedTuple):
    """A line on the worklist: ``waiting`` is what it holds up. One that ``withholds`` leaves figures empty until it is settled."""

    place: str
    text: str
    reason: str
    candidates: str
    remedy: str
    waiting: str
    withholds: bool


def open_lines(dish: Dish) -> list[Open]:
    """The lines of the dish on the worklist, the one that would settle most first."""
    return [Open(_place(dish, row), row["text"], LINE_WORDS.get(row["reason"], row["reason"]), row["candidates"], row["remedy"], _waiting(row),
                 row["figures_withheld"] > 0)
            for row in dish.evidence.records("worklist", recipe_id=dish.recipe_id)]


def _waiting(row: Record) -> str:
    counted = ((row["figures_withheld"], "figures are withheld"), (row["figures_to_check"], "figures are to be checked"),
               (row["verdicts_waiting"], "verdicts wait"))
    return ", ".join(f"{count} {words}" for count, words in counted if count)


def _place(dish: Dish, row: Record) -> str:
    return f"Line {row['line_no']}" + ("" if row["variant_id"] == BASE else f", {dish.variant_name(row['variant_id'])}")


class Printed(NamedTuple):
    """Something in print beside today's figure."""

    variant: str
    standing: str
    what: str
    remedy: str

    @property
    def agrees(self) -> bool:
        """Whether today's figure confirms it."""
        return self.standing == SEVERITY_WORDS["note"]


def in_print(dish: Dish) -> list[Printed]:
    """What the audit says of figures and claims in print, the most harmful first."""
    rows = [row for row in dish.evidence.records("findings", recipe_id=dish.recipe_id) if row["check"] in IN_PRINT]
    return [printed(dish, row) for row in sorted(rows, key=harm)]


def printed(dish: Dish, row: Record) -> Printed:
    """A finding on print in words."""
    variant = "" if row["variant_id"] == BASE else dish.variant_name(row["variant_id"])
    name = lower(dish.names.of("component", row["component"]))
    what = in_words(row["what"], dish.names.components).replace(f" gives {row['component']} ", f" gives {name} ", 1) if row["component"] else row["what"]
    return Printed(variant, SEVERITY_WORDS[row["severity"]], what[:1].upper() + what[1:], row["remedy"])


def harm(row: Record) -> tuple[int, int, str]:
    """The order of findings on print: by what can do most harm, the gravest first; what agrees comes last."""
    place = HARM_ORDER.index(row["component"]) if row["component"] in HARM_ORDER else len(HARM_ORDER)
    return place + (1 + len(HARM_ORDER)) * (row["severity"] == "note"), list(SEVERITY_WORDS).index(row["severity"]), row["finding_id"]
