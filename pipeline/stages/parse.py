"""Stage 2, parse: from the words of each line to quantity, unit, food phrase and state.

``parse`` reads each distinct text once. Every token of a line ends in exactly one field:
:func:`account` shows which. What the parts do: ``parse_words`` cuts a text into tokens and
compiles the vocabulary, ``parse_quantity`` reads numbers, ``parse_measure`` and ``parse_amount``
read amounts, ``parse_stated`` weights that are said of a state, ``parse_thousands`` dots and commas that may part thousands,
``parse_food`` with ``parse_alternatives``, ``parse_juice`` and ``parse_salt`` the food, and ``parse_line`` puts one line together and says how sure that is.

How the fields are to be read:

* ``unit`` is a canonical word of ``mappings/unit_words.csv``, or "" for a bare count ("3 eggs").
  "Juice of 2 lemons" counts lemons: quantity 2, phrase "lemon juice", preparation "juiced" ("zested" for zest).
  "heaped tablespoon" is a unit of its own; other such words ("scant", "good") are notes.
* A length ("a 5 cm piece of ginger") is quantity 5, unit ``cm``; of what has a diameter or a thickness
  it is the size of one ("7-inch tortilla": quantity 1, each 7 inch; "3 1-inch-thick slices").
* "400 g tin" is one ``tin`` of each 400 g; "2 dozen" is 24; a pinch, a bay leaf, a sprig is one.
* A unit word behind the food that only counts ("3 garlic cloves") leaves the phrase and is the unit. One
  that is part of the name stays there and is counted: "4 salmon fillets", "2 bay leaves", "1 stock cube"
  and "4 chicken thighs" have no unit.
* ``each_*`` is the size of one unit; ``each_unit`` is ``piece`` in "1 pack of 4 crumpets".
* A state before the food stays in the phrase ("dried apricots") and is in ``state`` too; behind the
  food ("peas, frozen") it is only in ``state``. A tin is ``canned``, and ``drained`` when that is said.
* Of two measures the first is the quantity, for it is the author's own ("8 oz/225 g" is 8 oz), and the other is in ``note``.
  A surer second one sizes it: "2 cups (240 g)" are 2 cups of each 120 g, "1 pint (600 ml)" is one of 600 ml.
  Measures that disagree are reported.
* A list of foods with one amount ("1 tsp each cumin and coriander", "oil, salt, pepper") is one
  phrase joined by "and", with the reason ``two-foods``.
* A weight that is said of a state is the amount in that state, and another weight of the line a note: "1 tin (400 g, drained
  weight 240 g)" is one tin of each 240 g, preparation "drained weight"; "200 g chicken (raw weight 260 g)" is 260 g, raw.
* An alternative of salt that may hold potassium ("or diet-salt") is in ``alternative`` and in ``leftover`` too, so
  that nobody takes the line for settled.
* An amount behind "plus" or "and" with the same food is added; with another food it stays in
  ``leftover`` with the reason ``plus-food``.

Parse confidence is the product of the factors in ``parse_line.REASONS``, one per doubt; the
doubts are named in ``parse_reason``, joined by ";".
"""

from __future__ import annotations

import pandas as pd

from pipeline.problems import ERROR, WARNING, Problem
from pipeline.stages.parse_line import LONGEST_LINE, REASONS, fields, read_line
from pipeline.stages.parse_words import Vocabulary, clean, tokenise, vocabulary
from pipeline.tables import Parsed, checked, columns

__all__ = ["REASONS", "account", "parse", "parse_text", "vocabulary"]

_TOLD = {
    "absurd-quantity": (ERROR, "Correct the amount in the recipe"),
    "negative-quantity": (ERROR, "Write the amount without a minus sign; put a space after a dash that is a bullet"),
    "too-long": (ERROR, f"Split it into one ingredient per line (at most {LONGEST_LINE} characters)"),
    "no-food-words": (ERROR, "Write the food, or mark the line as a heading with a colon"),
    "thousand-or-decimal": (WARNING, "Write 1500 g where thousands are meant, and 1.5 g where they are not"),
    "salt-alternative": (WARNING, "Name one salt in the line; a salt that may hold potassium is a variant of its own"),
    "measures-disagree": (WARNING, "Correct one of the two measures in the recipe"),
}


def parse_text(text: str, known: Vocabulary) -> dict:
    """What one line says: the columns of :class:`pipeline.tables.Parsed` without ``line_id``.

    Never raises, whatever the text; a line that cannot be read has kind ``unreadable``.
    """
    return fields(text, known)


def account(text: str, known: Vocabulary) -> list[tuple[str, str]]:
    """Every token of a line with the role it was given, in order: nothing is left out.

    Roles: quantity, unit, each, size, phrase, state, preparation, note, alternative, leftover,
    joint (marks and words that only join). A line that is too long is one leftover token.
    """
    _, _, tokens = read_line(text, known)
    if not tokens and tokenise(clean(text)):
        return [(text, "leftover")]
    return [(token.text, token.role) for token in tokens]


def parse(
    lines: pd.DataFrame, unit_words: pd.DataFrame, sizes: pd.DataFrame, states: pd.DataFrame, preparations: pd.DataFrame,
) -> tuple[pd.DataFrame, list[Problem]]:
    """``Lines`` to ``Parsed``, one row per line, in the order of ``lines``, with the problems.

    The four other tables are those of ``mappings/``. Each distinct text is read once.
    """
    known = vocabulary(unit_words, sizes, states, preparations)
    read = {text: parse_text(text, known) for text in dict.fromkeys(lines["text"])}
    rows = [{"line_id": line_id, **read[text]} for line_id, text in zip(lines["line_id"], lines["text"])]
    table = checked(Parsed, pd.DataFrame(rows, columns=columns(Parsed)), "parse")
    return table, _problems(lines, read)


def _problems(lines: pd.DataFrame, read: dict[str, dict]) -> list[Problem]:
    problems: list[Problem] = []
    for row in lines.itertuples(index=False):
        found = read[row.text]
        told = [reason for reason in found["parse_reason"].split(";") if reason in _TOLD]
        if found["kind"] == "unreadable" and not told:
            told = ["no-food-words"]
        for reason in told:
            severity, remedy = _TOLD[reason]
            place = f"{row.source_file}:{row.source_line}" if row.source_file else row.line_id
            shown = row.text if len(row.text) <= 80 else row.text[:77] + "..."
            problems.append(Problem(place, f"line {row.line_no} of {row.recipe_id} {shown!r}: {REASONS[reason][1]}", remedy, reason, severity, "parse", row.recipe_id))
    return list(dict.fromkeys(problems))
