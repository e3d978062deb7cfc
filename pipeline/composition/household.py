"""Household measures as published ("1 cup, chopped = 160 g") in the columns of ``reference/measures.csv``.

A description is split into measure, size and preparation only where every word of it is
understood. Where one is not ("package (10 oz) yields"), the measure is the whole
description in lower case, so that a cook's "packet" is never weighed by it; where two rows
of a food would read alike, at most one keeps the words (see ``_apart``). A published
"piece" may be an eighth of a cake: it never becomes the canonical ``piece``, which is one
whole food. The description as published stays in ``note``. A "thigh" of a food that also has a
"thigh with skin" does not say what was on the scales, and is called by its whole text too.

The interval of one measure: 1.645 published standard deviations each way where there is
one; else the range that ``reference/composition/published_measures.csv`` gives for its kind.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import pandas as pd

from pipeline.composition.common import Measures
from pipeline.root import ROOT
from pipeline.sources import read_csv
from pipeline.tables import columns

NORMAL_90 = 1.645  # half-width of the central 90 % of a normal distribution, in standard deviations
# Least and most of one measure, as a part of its published weight, by kind of unit; the last is for anything counted.
SPREAD = ROOT / "reference" / "composition" / "published_measures.csv"
MEASURED, COUNTED = ("mass", "volume", "spoon", "cup"), "counted"
# How the note of a measure ends whose interval is not the publisher's.
NOT_PUBLISHED = "interval by common practice"

AGREEMENT = 0.05  # weights of one measure that differ by less are the same one, rounded (common practice, no source)

SIZES = {"baby": "baby", "small": "small", "medium": "medium", "large": "large", "sm": "small", "med": "medium", "lg": "large"}
PREPARATIONS = {
    **{word: word for word in (
        "chopped", "sliced", "diced", "shredded", "grated", "mashed", "cubed", "halved", "whole", "ground", "crushed", "melted",
        "pitted", "drained", "cooked", "raw", "packed", "peeled", "sifted", "unsifted", "pureed", "thawed", "unthawed", "crumbled",
        "minced", "trimmed", "unpeeled", "condensed", "stirred", "whipped", "dry", "quartered", "torn", "slivered", "boneless",
        "unpacked", "toasted", "flaked", "seedless", "shelled", "heated", "frozen", "dried",
    )},
    "slices": "sliced", "cubes": "cubed", "halves": "halved", "quarters": "quartered", "crumbs": "crumbed", "puree": "pureed",
    "chunks": "chunks", "kernels": "kernels", "leaves": "leaves", "strips": "strips", "sections": "segments", "segments": "segments",
    "florets": "florets", "flowerets": "florets", "rings": "rings", "balls": "balls", "wedges": "wedges", "sprigs": "sprigs",
}
ONE_FOOD = frozenset("each item fruit vegetable".split())
# Words of a bracket that say how the food is cut.
BRACKETED = {"cube": "cubed", "cubes": "cubed", "piece": "pieces", "pieces": "pieces"}
CUP = "8 fl oz"  # says no more than "cup" does
JOINING = frozenset("or and".split())
# What a bracket may say about the size of the thing measured, without changing what is measured.
_DIMENSION = re.compile(
    r'(?:[\d\s./"x\'–-]|about|approx|to|or|in|inch(?:es)?|cm|mm|dia(?:m(?:eter)?)?|thick|long|sq|square|high|wide|deep|cubes?|pieces?|per lb|,)+')
# What was or was not on the scales: "thigh with skin", "thigh, bone and skin removed".
_PARTS = re.compile(r"(?P<what>.+?)(?: with(?:out)? (?:skin|bone|shell|peel|rind|hulls?|refuse)|, [a-z ]*removed)\b.*")
_BRACKET = re.compile(r"\(([^()]*)\)")


class Words(NamedTuple):
    """A description in the words that recipes are weighed by; ``kind`` is that of its unit, "" when not understood."""

    measure: str
    size: str
    preparation: str
    kind: str


def measures_of(rows: pd.DataFrame, unit_words: pd.DataFrame) -> pd.DataFrame:
    """The measures (model Measures) of published household weights.

    ``rows`` has measure_id, entry_id, food (the entry's name), amount and amount_text (how
    many), description (of what), grams (of that many), standard_deviation (of grams; NaN
    if none), source_id, source_row. ``unit_words`` is ``mappings/unit_words.csv``. One row
    comes out for each that went in, in the order of measure_id.
    """
    units = {row.word: (row.unit, row.kind) for row in unit_words.itertuples()}
    split = [words_of(row.description, row.food, units) for row in rows[["description", "food"]].itertuples()]
    read = pd.DataFrame(split, columns=Words._fields, index=rows.index, dtype="str")
    read = _apart(rows, _which_part(rows, read))
    middle = rows["grams"] / rows["amount"]
    kinds = read["kind"].where(read["kind"].isin(MEASURED), COUNTED)
    ranges = read_csv(SPREAD, ("kind", "source_id", "note"), ("low", "high")).set_index("kind")
    low, high = (kinds.map(ranges[end]).astype("float64") for end in ("low", "high"))
    spread = NORMAL_90 * rows["standard_deviation"] / rows["amount"]
    published = spread > 0
    interval = pd.Series(NOT_PUBLISHED, index=rows.index).mask(published, "interval from the published standard deviation")
    interval = interval.mask(~published & (read["kind"] == "mass"), "interval none: a unit of mass")
    table = pd.DataFrame({
        "measure_id": rows["measure_id"], "scope": "entry", "scope_key": rows["entry_id"], "measure": read["measure"],
        "size": read["size"], "preparation": read["preparation"],
        "low": (middle - spread).clip(lower=0).where(published, middle * low), "middle": middle,
        "high": (middle + spread).where(published, middle * high), "unit": "g", "basis": "edible",
        "source_id": rows["source_id"], "source_row": rows["source_row"],
        "note": "published as: " + rows["amount_text"] + " " + rows["description"] + "; " + interval,
    })
    return table[columns(Measures)].sort_values("measure_id", ignore_index=True)


def _which_part(rows: pd.DataFrame, read: pd.DataFrame) -> pd.DataFrame:
    """Calls by its whole text a bare piece ("thigh") of a food that also has one with or without a part
    ("thigh with skin"): it does not say which it is. Measured amounts are of the food named, and stay."""
    said = rows["description"].map(_lower).str.extract(_PARTS)["what"]
    told = pd.MultiIndex.from_arrays([rows["entry_id"][said.notna()], said[said.notna()]])
    bare = pd.MultiIndex.from_arrays([rows["entry_id"], rows["description"].map(_lower)]).isin(told) & ~read["kind"].isin(MEASURED)
    whole = rows["amount_text"] + " " + rows["description"].map(_lower)
    return read.assign(measure=read["measure"].mask(bare, whole), kind=read["kind"].mask(bare, ""))


def _apart(rows: pd.DataFrame, read: pd.DataFrame) -> pd.DataFrame:
    """Makes each food's measures distinct: of rows that would mean the same, one keeps the words.

    It is the one with the largest amount, hence the least rounded, where they agree; else
    the only one without a bracket; else none. The others are called by their whole text.
    """
    keys = ["entry_id", "measure", "size", "preparation"]
    table = pd.concat([rows[["entry_id", "measure_id", "grams"]], read], axis="columns")
    table = table.assign(one=rows["grams"] / rows["amount"], plain=~rows["description"].str.contains("(", regex=False))
    group = table.groupby(keys)
    agree = group["one"].transform("max") <= group["one"].transform("min") * (1 + AGREEMENT)
    alone = group["plain"].transform("sum") == 1
    ranked = table.sort_values(["plain", "grams", "measure_id"], ascending=[False, False, True])
    first = ~ranked.duplicated(keys).reindex(table.index)
    single = ~table.duplicated(keys, keep=False)
    kept = single | (first & agree) | (table["plain"] & alone)
    text = rows["description"].map(_lower)
    named = read.assign(
        measure=read["measure"].where(kept, rows["amount_text"] + " " + text), size=read["size"].where(kept, ""),
        preparation=read["preparation"].where(kept, ""))
    again = pd.concat([rows["entry_id"], named], axis="columns").duplicated(keys) & ~kept
    return named.assign(measure=named["measure"].mask(again, named["measure"] + " (" + rows["measure_id"] + ")"))


def words_of(description: str, food: str, units: dict[str, tuple[str, str]]) -> Words:
    """Measure, size and preparation of a description; ``units`` gives (unit, kind) by word."""
    text, food = _lower(description), food.casefold()
    unclear = Words(text, "", "", "")
    brackets = [inside.strip() for inside in _BRACKET.findall(text)]
    if any(not _DIMENSION.fullmatch(inside) and not (inside == CUP and text.startswith("cup")) for inside in brackets):
        return unclear
    tokens = _BRACKET.sub(" ", text).replace(",", " ").split()
    size = ""
    if tokens and tokens[0] in SIZES:
        size, tokens = SIZES[tokens[0]], tokens[1:]
    unit, kind, rest = _unit(tokens, food, units)
    if not unit and not size:
        return unclear
    if not unit:
        unit, kind, rest = "piece", "piece", tokens
    said = [BRACKETED[word] for inside in brackets for word in inside.split() if word in BRACKETED]
    alternatives = False
    for token in rest:
        if token in SIZES and not size:
            size = SIZES[token]
        elif token in PREPARATIONS:
            said.append(PREPARATIONS[token])
        elif token in JOINING and said:
            alternatives = True
        elif token == "thin" or token == "thick":
            if unit != "slice":
                return unclear
            unit = f"{token} slice"
        else:
            return unclear
    # "chopped or diced" answers for either; "cooked, diced" only for both.
    preparation = said[0] if said and alternatives else " ".join(dict.fromkeys(said))
    return Words(unit, size, preparation, kind)


def _unit(tokens: list[str], food: str, units: dict[str, tuple[str, str]]) -> tuple[str, str, list[str]]:
    """The canonical unit that the words begin with, its kind, and the words after it."""
    for length in (3, 2, 1):
        words = " ".join(tokens[:length])
        if len(tokens) >= length and words in units:
            unit, kind = units[words]
            if unit == "piece" and words not in ONE_FOOD:
                return "", "", tokens
            return unit, kind, tokens[length:]
    if tokens and (tokens[0] in ONE_FOOD or _names(tokens[0], food)):
        return "piece", "piece", tokens[1:]
    return "", "", tokens


def _names(word: str, food: str) -> bool:
    """Whether a word is the food itself: the first term of its name, in the singular or plural."""
    head = set(re.findall(r"[a-z]+", food.split(",")[0]))
    forms = {word, f"{word}s", f"{word}es", f"{word[:-1]}ies", word.removesuffix("s"), word.removesuffix("es")}
    return len(word) > 2 and bool(forms & head)


def _lower(text: str) -> str:
    return " ".join(text.casefold().split())
