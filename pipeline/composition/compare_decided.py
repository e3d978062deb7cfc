"""What a swap of tables does to the decisions that are not about a phrase: methods of cooking, and same foods."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pipeline.composition.compare_swap import DECISION_COLUMNS, REMEDIES

SIDES = (("a", "b"), ("b", "a"))


def carried_same_foods(rows: pd.DataFrame, table_a: str, table_b: str) -> pd.DataFrame:
    """``mappings/same_foods.csv`` with every decision made on A read as one on B, unless B has its own on that other entry."""
    own = _own(rows, table_b)
    read = rows.copy()
    for index, this, that in _of_table(rows, table_a):
        far = rows.loc[index, f"table_{that}"]
        if far != table_b and (far, rows.loc[index, f"entry_{that}"]) not in own:
            read.loc[index, f"table_{this}"] = table_b
    return read


def same_foods(
    rows: pd.DataFrame, names: Mapping[str, Mapping[str, str]], table_a: str, table_b: str, pairs: pd.DataFrame, matched: pd.DataFrame,
) -> pd.DataFrame:
    """One row per decision on a same food that names A or B (columns ``DECISION_COLUMNS``).

    ``rows``: ``mappings/same_foods.csv``; ``names``: entry id to name, by table, of the tables at hand;
    ``pairs`` as :func:`pipeline.composition.compare_entries.paired` gives them. States as in
    :func:`pipeline.composition.compare_swap.decided`; ``unused`` makes A and B the same food, of which only B is
    left. ``phrase`` is the entry of the other table, ``lines`` how many lines are that food on A.
    """
    left = pairs[pairs["entry_id_a"] != ""].set_index("entry_id_a")["entry_id_b"].to_dict()
    own, resting = _own(rows, table_b), matched["entry_id"].value_counts()
    found = []
    for index, this, that in [*_of_table(rows, table_a), *_of_table(rows, table_b)]:
        row = rows.loc[index]
        table, entry, name = (row[f"{column}_{this}"] for column in ("table", "entry", "name"))
        far_table, far, far_name = (row[f"{column}_{that}"] for column in ("table", "entry", "name"))
        if table == table_b and far_table == table_a:
            continue  # told once, from the side of A
        standing = names[table].get(entry) == name and names.get(far_table, {far: far_name}).get(far) == far_name
        now = left.get(entry, "") if table == table_a else entry
        if not standing:
            state = "expired-before"
        elif table == table_b:
            state = "own"
        elif far_table == table_b:
            state = "unused"
        elif (far_table, far) in own:
            state = "superseded"
        elif names[table_b].get(entry) == name:
            state, now = "carried", entry
        else:
            state = "gone" if not now else "renamed" if now == entry else "renumbered"
        remedy = "Write the new table and entry in the row, or add one" if state == "carried" else REMEDIES[state]
        found.append(_row(state, "same_foods", index, row["decision_id"], "same-food", f"{far_table} {far} {far_name}", table, entry, name,
                          now, names[table_b].get(now, ""), int(resting.get(entry, 0)), remedy))
    return pd.DataFrame(found, columns=DECISION_COLUMNS)


def methods(rows: pd.DataFrame, before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """One row per decision on a method for a recipe of the release (columns ``DECISION_COLUMNS``).

    ``rows``: ``mappings/methods.csv``; ``before`` and ``after``: model Settled on A and on B. Such a decision is about a
    line; it breaks (``gone``) when the line has an entry on A and none on B, so that nothing is left to cook.
    """
    found = []
    for index, row in rows[rows["recipe_id"].isin(before["recipe_id"])].iterrows():
        lines = [side[(side["recipe_id"] == row["recipe_id"]) & (side["text"].str.strip() == row["line_text"].strip())
                      & (side["outcome"] == "accepted")] for side in (before, after)]
        there = (before["recipe_id"] == row["recipe_id"]) & (before["text"].str.strip() == row["line_text"].strip())
        state = "expired-before" if not there.any() else "gone" if len(lines[0]) and lines[1].empty else "holds"
        ids, named = ([next(iter(side[column]), "") for side in lines] for column in ("entry_id", "entry_name"))
        remedy = "Decide on an entry for the line first" if state == "gone" else REMEDIES[state]
        found.append(_row(state, "methods", index, row["decision_id"], "method", row["line_text"], "", ids[0], named[0], ids[1], named[1],
                          len(lines[0]), remedy))
    return pd.DataFrame(found, columns=DECISION_COLUMNS)


def _row(state, file, index, decision_id, kind, phrase, table, entry_id, entry_name, now_id, now_name, lines, remedy) -> dict:
    return dict(zip(DECISION_COLUMNS, (state, file, index + 2, decision_id, kind, phrase, "", table, entry_id, entry_name, now_id, now_name,
                                       lines, remedy), strict=True))


def _of_table(rows: pd.DataFrame, table: str):
    """(index, this side, the other side) of each row that names the table."""
    return [(index, this, that) for this, that in SIDES for index in rows.index[rows[f"table_{this}"] == table]]


def _own(rows: pd.DataFrame, table: str) -> set[tuple[str, str]]:
    """(table, entry) on the other side of every row that names this table."""
    return {(rows.loc[index, f"table_{that}"], rows.loc[index, f"entry_{that}"]) for index, _, that in _of_table(rows, table)}
