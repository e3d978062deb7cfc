"""What people decided about the foods of a table and those of the curated core, for comparing the two.

Read apart from the other decisions, as a check needs no more of them, and a project without them can be checked too.
Decisions that have expired (the table calls the entry otherwise now) say nothing.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline import decisions
from pipeline.composition.check_same import DECIDED
from pipeline.root import ROOT
from pipeline.sources import read_csv


def decided(name: str, entries: pd.DataFrame, core: str, known: pd.DataFrame, root: Path | None = None) -> dict[str, pd.DataFrame]:
    """The pairs and phrases of ``check_same.DECIDED`` for the table ``name`` with its ``entries`` against the table ``core``."""
    foods, same = rows_about(name, core, root)
    here, there = _phrases(foods, name, entries), _phrases(foods, core, known)
    by_phrase = here.merge(there, on=["phrase", "state"], suffixes=("", "_known")).rename(columns={"entry_id_known": "known_id"})
    pairs = pd.concat([_same(same, name, entries, core, known), by_phrase[DECIDED["same"]]]).drop_duplicates("entry_id", ignore_index=True)
    return {"same": pairs, "called": here[DECIDED["called"]].drop_duplicates(ignore_index=True)}


def rows_about(name: str, core: str, root: Path | None = None) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The rows of both files that can say something of the table ``name``: food decisions, same foods."""
    folder = (root or ROOT) / "mappings"
    foods, same = (_read(folder, file) for file in ("foods", "same_foods"))
    phrases = set(foods.loc[_serves(foods, name), "phrase"])
    ends = same[["table_a", "table_b"]].apply(frozenset, axis=1) if len(same) else pd.Series(dtype=object)
    return (foods[(_serves(foods, name) | _serves(foods, core)) & foods["phrase"].isin(phrases)].reset_index(drop=True),
            same[ends == frozenset((name, core))].reset_index(drop=True))


def _serves(foods: pd.DataFrame, table: str) -> pd.Series:
    return foods["table"].map(lambda tables: tables == "" or table in tables.split(";")).astype("bool")


def _read(folder: Path, file: str) -> pd.DataFrame:
    path = folder / f"{file}.csv"
    columns = decisions.FILES[file]
    return read_csv(path, columns, ()) if path.is_file() else pd.DataFrame(columns=list(columns), dtype="str")


def _same(same: pd.DataFrame, name: str, entries: pd.DataFrame, core: str, known: pd.DataFrame) -> pd.DataFrame:
    """Rows that make an entry of the table the same food as one of the core, whichever of the two stands first."""
    found = []
    for own, other in (("a", "b"), ("b", "a")):
        rows = same[(same[f"table_{own}"] == name) & (same[f"table_{other}"] == core)]
        rows = rows[_is_called(rows[f"entry_{own}"], rows[f"name_{own}"], entries) & _is_called(rows[f"entry_{other}"], rows[f"name_{other}"], known)]
        found.append(rows[[f"entry_{own}", f"entry_{other}"]].set_axis(DECIDED["same"], axis=1))
    return pd.concat(found, ignore_index=True)


def _phrases(foods: pd.DataFrame, table: str, entries: pd.DataFrame) -> pd.DataFrame:
    """The phrases that are an entry of the table by decision: entry_id, phrase, state."""
    phrase = (foods["kind"] == "match") & foods["scope"].isin(("", decisions.PHRASE))
    standing = ~foods["decision_id"].isin(set(foods["replaces"]) - {""})
    rows = foods[_serves(foods, table) & phrase & standing & _is_called(foods["entry_id"], foods["entry_name"], entries)]
    return rows[DECIDED["called"]]


def _is_called(ids: pd.Series, names: pd.Series, entries: pd.DataFrame) -> pd.Series:
    """Whether the table has the entry under the name that was decided on."""
    return (ids.map(entries.drop_duplicates("entry_id").set_index("entry_id")["name"]).fillna("") == names) & (names != "")
