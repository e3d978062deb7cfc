"""Measures matching on lines whose right entries are known: how often it is right, how sure it is, and what a mistake costs."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline import batch
from pipeline.match_baselines import TOP, baselines
from pipeline.match_bench import Bench, open_bench
from pipeline.problems import InputError, Problem

NONE = "none"
BINS = 10
WORST = 10


@dataclass(frozen=True)
class Measured:
    """What was measured. ``lines``: text, acceptable, outcome, reason, entry_id, entry_name, probability, rank (of the first right
    entry among the candidates, null if none), right, potassium_difference_mg_per_100g (given less the nearest right one)."""

    source: str
    table: str
    lines: pd.DataFrame
    unknown: int
    compared: dict[str, dict[str, float]] = field(default_factory=dict)

    @property
    def matchable(self) -> pd.DataFrame:
        """The lines that have a right entry."""
        return self.lines[self.lines["acceptable"] != NONE]

    def figures(self) -> dict[str, float | int | None]:
        """The measures by name; shares between 0 and 1, None where there is nothing to share."""
        lines, with_entry = self.lines, self.matchable
        accepted = lines[lines["outcome"] == "accepted"]
        without = lines[lines["acceptable"] == NONE]
        return {
            "lines": len(lines), "lines_with_an_entry": len(with_entry), "lines_without": len(without), "entries_unknown": self.unknown,
            "top_1": _share(with_entry["right"]), "top_5": _share(with_entry["rank"].notna()),
            "accepted": len(accepted), "coverage": _share(lines["outcome"] == "accepted"),
            "coverage_of_lines_with_an_entry": _share(with_entry["outcome"] == "accepted"),
            "precision_of_accepts": _share(accepted["right"]),
            "none_kept_out": _share(without["outcome"] != "accepted"),
            "calibration_error": calibration_error(lines), "mean_chance": round(float(lines["probability"].mean()), 4),
            "right": _share(lines["right"]),
        }

    def reliability(self) -> list[dict]:
        """By tenth of the chance given: lines, mean chance, share that is right."""
        return [{"from": row.Index / BINS, "to": (row.Index + 1) / BINS, "lines": row.lines, "chance": round(row.said, 4), "right": round(row.right, 4)}
                for row in reliability(self.lines).itertuples()]

    def worst(self) -> pd.DataFrame:
        """The mistakes, accepted ones first, by the size of the difference in potassium."""
        wrong = self.lines[~self.lines["right"] & (self.lines["entry_id"] != "") & (self.lines["outcome"] != "none")]
        order = pd.DataFrame({"accepted": wrong["outcome"] != "accepted",
                              "difference": -wrong["potassium_difference_mg_per_100g"].abs().fillna(0.0)})
        return wrong.loc[order.sort_values(["accepted", "difference"], kind="stable").index].head(WORST)

    def to_dict(self) -> dict:
        """As plain values."""
        worst = self.worst().astype("object")
        return {"file": self.source, "table": self.table, **self.figures(), "reliability": self.reliability(),
                "worst": worst.where(worst.notna(), None).to_dict("records"), "baselines": self.compared}

    def text(self) -> str:
        """For a terminal."""
        told, got = [f"{self.source} against {self.table}"], self.figures()
        told.append(f"  {got['lines']} lines: {got['lines_with_an_entry']} with a right entry, {got['lines_without']} without")
        if self.unknown:
            told.append(f"  {self.unknown} more name only entries that {self.table} does not have, and are left out")
        told += [f"  {'first candidate right':<42}{_percent(got['top_1'])}", f"  {f'right among the first {TOP}':<42}{_percent(got['top_5'])}",
                 f"  {'accepted, of all lines':<42}{_percent(got['coverage'])}",
                 f"  {'accepted, of lines with a right entry':<42}{_percent(got['coverage_of_lines_with_an_entry'])}",
                 f"  {'right, of the accepted':<42}{_percent(got['precision_of_accepts'])}",
                 f"  {'lines without an entry kept out':<42}{_percent(got['none_kept_out'])}",
                 f"  {'calibration error (10 bins)':<42}{got['calibration_error']:.3f}"]
        told += [*self._baselines(), "How sure it said it was, and how often the first candidate was right"]
        told += [f"  {row['from']:.1f} to {row['to']:.1f}: {row['lines']:>5} lines, said {row['chance']:.2f}, right {row['right']:.2f}"
                 for row in self.reliability()]
        return "\n".join([*told, *self._mistakes()])

    def _baselines(self) -> list[str]:
        if not self.compared:
            return []
        told = ["By letters alone (first candidate right; among the first 5)"]
        return told + [f"  {name:<42}{_percent(got['top_1'])} {_percent(got['top_5'])}" for name, got in self.compared.items()]

    def _mistakes(self) -> list[str]:
        worst = self.worst()
        if worst.empty:
            return ["No mistakes among what was accepted or proposed"]
        told = ["Worst mistakes by potassium (mg per 100 g, given less right)"]
        for row in worst.itertuples(index=False):
            amount = "not known" if pd.isna(row.potassium_difference_mg_per_100g) else f"{row.potassium_difference_mg_per_100g:+.0f}"
            told.append(f"  {amount:>9}  {row.outcome}: \"{row.text}\" given {row.entry_id} {row.entry_name} ({row.probability:.2f}); right: {row.acceptable}")
        return told


def evaluate_file(source: Path, table: str, with_baselines: bool, decided: bool = True, target: Path | None = None) -> Measured:
    """Measures on the CSV ``source`` (columns text, acceptable: entry ids joined by ";", or none).

    Without ``decided`` as if nobody had decided anything; ``target``: where a row per line is written.
    Raises InputError for a file that cannot be read and for a row that does not say what is right.
    """
    labelled = batch.rows(source, ("text", "acceptable"))
    unsaid = labelled.index[labelled["acceptable"].str.strip(" ;") == ""]
    if len(unsaid):
        raise InputError([Problem(f"{source}, line {row + 2}", "does not say which entries are right",
                                  "Write entry ids joined by ; or the word none", "no-label") for row in unsaid[:WORST]])
    measured = evaluate(labelled, open_bench(table, decided), source.name, with_baselines)
    if target is not None:
        batch.write(measured.lines, target)
    return measured


def evaluate(labelled: pd.DataFrame, bench: Bench, source: str, with_baselines: bool = False) -> Measured:
    """Measures on ``labelled`` (columns text, acceptable)."""
    known = set(bench.names.index)
    said = [[one.strip() for one in cell.split(";") if one.strip()] for cell in labelled["acceptable"]]
    right = [[] if [one.lower() for one in ids] == [NONE] else [one for one in ids if one in known] for ids in said]
    usable = [bool(entries) or [one.lower() for one in ids] == [NONE] for ids, entries in zip(said, right, strict=True)]
    if not any(usable):
        raise InputError(Problem(source, f"names no entry that table {bench.table.name} has", "Name the table it was labelled for with --table",
                                 "unknown-entries"))
    texts = [text for text, use in zip(labelled["text"], usable, strict=True) if use]
    right = [ids for ids, use in zip(right, usable, strict=True) if use]
    parsed = bench.read(texts)
    matched, candidates = bench.match(parsed)
    lines = _lines(texts, right, parsed, matched, candidates, bench)
    compared = {}
    if with_baselines:
        phrases = (parsed["phrase"] + " " + parsed["state"]).str.strip().tolist()
        compared = {name: _compared(found, right) for name, found in baselines(phrases, bench.table.entries).items()}
    return Measured(source, bench.table.name, lines, len(usable) - len(texts), compared)


def _lines(texts, right, parsed, matched, candidates, bench: Bench) -> pd.DataFrame:
    found = {line_id: list(rows["entry_id"]) for line_id, rows in candidates.groupby("line_id", sort=False)}
    first = candidates[candidates["rank"] == 1].set_index("line_id")
    rows = []
    for text, ids, row in zip(texts, right, matched.itertuples(index=False), strict=True):
        nearest = found.get(row.line_id, [])
        best = nearest[0] if nearest else ""
        place = next((number for number, entry in enumerate(nearest[:TOP], start=1) if entry in ids), None)
        rows.append({"text": text, "acceptable": ";".join(ids) or NONE, "outcome": row.match_outcome, "reason": row.match_reason,
                     "entry_id": best, "entry_name": bench.names.get(best, ""),
                     "probability": float(first.at[row.line_id, "probability"]) if best else 0.0, "rank": place, "right": best != "" and best in ids,
                     "potassium_difference_mg_per_100g": _potassium(best, ids, bench)})
    frame = pd.DataFrame(rows)
    return frame.assign(rank=frame["rank"].astype("Int64"), right=frame["right"].astype("bool"))


def _potassium(given: str, right: list[str], bench: Bench) -> float:
    """What the given entry has more than the nearest right one; the whole of it where none is right."""
    amounts = bench.per_100g["K"]
    own = amounts.get(given, np.nan)
    differences = [own - amounts.get(one, np.nan) for one in right] or [own]
    known = [one for one in differences if not np.isnan(one)]
    return round(min(known, key=abs), 2) if known else np.nan


def _compared(found: list[list[str]], right: list[list[str]]) -> dict[str, float | None]:
    pairs = [(best, ids) for best, ids in zip(found, right, strict=True) if ids]
    return {"top_1": _share(pd.Series([best[0] in ids for best, ids in pairs], dtype="bool")),
            "top_5": _share(pd.Series([not set(best).isdisjoint(ids) for best, ids in pairs], dtype="bool"))}


def reliability(lines: pd.DataFrame) -> pd.DataFrame:
    """By tenth of the chance given (``lines``: probability, right): lines, said (mean chance), right (share)."""
    tenth = np.minimum((lines["probability"] * BINS).astype("int64"), BINS - 1)
    return lines.groupby(tenth).agg(lines=("right", "size"), said=("probability", "mean"), right=("right", "mean"))


def calibration_error(lines: pd.DataFrame) -> float:
    """Expected calibration error: the mean distance between chance and share right, over ten bins of equal width, by their lines."""
    by_bin = reliability(lines)
    return round(float((by_bin["lines"] * (by_bin["said"] - by_bin["right"]).abs()).sum() / len(lines)), 4)


def _share(rows: pd.Series) -> float | None:
    return round(float(rows.mean()), 4) if len(rows) else None


def _percent(share: float | None) -> str:
    return "   none" if share is None else f"{share:7.1%}"
