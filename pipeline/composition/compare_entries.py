"""Which entry of one table is which of another: by identity and name, then by name, then by identity.

The name says what the food is, so it goes before the number: a table that is numbered
anew keeps its names, and one that gives an old number to another food must not pass that
food off as the old one.
"""

from __future__ import annotations

import pandas as pd
from rapidfuzz import fuzz

from pipeline.decisions import phrase_key

CHANGES = ("added", "gone", "renamed", "renumbered")
# What else an entry says that enters matching, weighing and cooking.
FIELDS = ("common_names", "food_group", "state", "cooking_class", "refuse_fraction", "refuse_description")
PAIR_COLUMNS = ["change", "entry_id_a", "name_a", "entry_id_b", "name_b", "likeness"]


def paired(entries_a: pd.DataFrame, entries_b: pd.DataFrame) -> pd.DataFrame:
    """One row per entry of either table: change, entry_id_a, name_a, entry_id_b, name_b, likeness.

    ``change``: "" (the same id and name), ``renamed`` (the same id, another name),
    ``renumbered`` (the same name, but for case and marks, under another id; only where the
    name is unique among what is left), ``gone`` or ``added``; then the other side is "".
    ``likeness`` of the two names is 0 to 100 (100 the same words in any order); a renamed
    entry with a low one may be another food under an old number. Sorted by change and id.
    """
    left = _named(entries_a, "a")
    right = _named(entries_b, "b")
    same = left.merge(right, left_on=["entry_id_a", "name_a"], right_on=["entry_id_b", "name_b"])
    left, right = _without(left, same, "a"), _without(right, same, "b")
    by_name = _unique(left.assign(key=left["name_a"].map(phrase_key))).merge(
        _unique(right.assign(key=right["name_b"].map(phrase_key))), on="key").drop(columns="key")
    left, right = _without(left, by_name, "a"), _without(right, by_name, "b")
    by_id = left.merge(right, left_on="entry_id_a", right_on="entry_id_b")
    left, right = _without(left, by_id, "a"), _without(right, by_id, "b")
    moved = by_name["entry_id_a"] != by_name["entry_id_b"]
    parts = [same.assign(change=""), by_name[moved].assign(change="renumbered"), by_name[~moved].assign(change="renamed"),
             by_id.assign(change="renamed"), left.assign(change="gone"), right.assign(change="added")]
    pairs = pd.concat([part for part in parts if len(part)] or [same.assign(change="")], ignore_index=True)
    pairs = pairs.reindex(columns=PAIR_COLUMNS[:-1])
    text = PAIR_COLUMNS[:-1]
    pairs[text] = pairs[text].astype("str").where(pairs[text].notna(), "")
    return _alike(pairs).sort_values(["change", "entry_id_a", "entry_id_b"], ignore_index=True)


def _named(entries: pd.DataFrame, side: str) -> pd.DataFrame:
    named = entries[["entry_id", "name"]].astype("str")
    return named.rename(columns={"entry_id": f"entry_id_{side}", "name": f"name_{side}"})


def _without(rows: pd.DataFrame, found: pd.DataFrame, side: str) -> pd.DataFrame:
    return rows[~rows[f"entry_id_{side}"].isin(found[f"entry_id_{side}"])]


def _unique(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[~rows["key"].duplicated(keep=False) & (rows["key"] != "")]


def _alike(pairs: pd.DataFrame) -> pd.DataFrame:
    names = zip(pairs["change"], pairs["name_a"], pairs["name_b"], strict=True)
    likeness = [fuzz.token_sort_ratio(phrase_key(a), phrase_key(b)) if change == "renamed" else 100.0 if a and b else float("nan")
                for change, a, b in names]
    return pairs.assign(likeness=pd.Series(likeness, dtype="float64", index=pairs.index))


def attributes(pairs: pd.DataFrame, entries_a: pd.DataFrame, entries_b: pd.DataFrame) -> pd.DataFrame:
    """One row per paired entry and field of ``FIELDS`` that differs: entry_id_a, entry_id_b, name_b, field, value_a, value_b (text)."""
    both = pairs[(pairs["entry_id_a"] != "") & (pairs["entry_id_b"] != "")]
    left = entries_a.set_index("entry_id").loc[both["entry_id_a"].tolist()]
    right = entries_b.set_index("entry_id").loc[both["entry_id_b"].tolist()]
    named = both[["entry_id_a", "entry_id_b", "name_b"]].reset_index(drop=True)
    parts = []
    for field in FIELDS:
        one, other = (_as_text(side[field]) for side in (left, right))
        rows = named.assign(field=field, value_a=one, value_b=other)
        parts.append(rows[rows["value_a"] != rows["value_b"]])
    return pd.concat(parts, ignore_index=True).sort_values(["field", "entry_id_a"], ignore_index=True)


def _as_text(column: pd.Series) -> list[str]:
    if column.dtype.kind == "f":
        return ["" if value != value else f"{value:g}" for value in column.tolist()]
    return column.astype("str").tolist()
