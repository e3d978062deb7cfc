"""Audits somebody else's matches: ranks the coded pairs that look wrong by what is at stake.

How wrong a pair looks is 1 - (chance of the coded entry) / (chance of its strongest rival), where the
rival is the best other entry or "none of these": 0 when the coded entry is the best answer, near 0 for a
close call, 1 when nothing speaks for it. What people decided goes before any chance.

The order is by that number times the largest difference at stake, each as a share of a day's reference:
potassium and phosphorus by the nutrient reference values of Regulation (EU) No 1169/2011, annex XIII
(``reference/nutrient_reference_values.csv``), sodium by ``audit_sodium_of_a_day_mg`` of ``reference/rules.csv``. A
potassium difference that nobody knows counts as that of a whole day. This only puts the rows in an order; it is no limit for anybody.

An entry is called better only where a run would accept it for the line; the likeliest one otherwise is a perhaps.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline import batch
from pipeline.match_bench import Bench, differences, open_bench
from pipeline.problems import InputError, Problem

MINERALS = POTASSIUM, *_ = ("K", "P", "NA")
SHOWN = 20
UNKNOWN, NO_TEXT, DECIDED, NOT_FOOD, ANOTHER, PERHAPS, NOTHING, AGREES = (
    "unknown-entry", "no-text", "decided-otherwise", "not-a-food", "another-entry", "perhaps-another", "nothing-fits", "agrees")
REMEDY = {
    UNKNOWN: "Correct the entry_id, or name the table that has it with --table",
    NO_TEXT: "Write the line that was coded",
    DECIDED: "Use what was decided, or decide again with potash decide --replaces",
    NOT_FOOD: "Take the pair out, or write the line so that it names a food",
    ANOTHER: "Compare the two entries and keep the one that the line means",
    PERHAPS: "Look the food up; a run would not accept the likelier entry without a person",
    NOTHING: "Look the food up; no entry of the table fits its words",
    AGREES: "",
}
WORDS = {
    UNKNOWN: "the table has no such entry", NO_TEXT: "there is no line", DECIDED: "people decided otherwise",
    NOT_FOOD: "the line is read as no food", ANOTHER: "another entry fits better", PERHAPS: "another entry may fit better",
    NOTHING: "no entry fits its words",
}


@dataclass(frozen=True)
class Audited:
    """The rows of a coded list, the worst first (columns ``COLUMNS``), and the file they came from."""

    source: str
    table: str
    rows: pd.DataFrame
    output: str = ""

    @property
    def doubted(self) -> int:
        """How many pairs look wrong, or cannot be judged."""
        return int((self.rows["finding"] != AGREES).sum())

    def to_dict(self) -> dict:
        """As plain values, the doubted rows only."""
        shown = self.rows[self.rows["finding"] != AGREES].astype("object")
        return {"file": self.source, "table": self.table, "pairs": len(self.rows), "doubted": self.doubted,
                "findings": self.rows["finding"].value_counts().sort_index().to_dict(),
                "rows": shown.where(shown.notna(), None).to_dict("records")}

    def text(self) -> str:
        """For a terminal: the counts, and the rows with most at stake."""
        told = [f"{self.source}: {len(self.rows)} pairs coded to {self.table}; {self.doubted} to look at"]
        counts = self.rows["finding"].value_counts()
        told += [f"  {counts[finding]:>5}  {words}" for finding, words in WORDS.items() if finding in counts]
        shown = self.rows[self.rows["finding"] != AGREES].head(SHOWN)
        for row in shown.itertuples(index=False):
            told += _told(row)
        if self.doubted > len(shown):
            told.append(f"... and {self.doubted - len(shown)} more{f' in {self.output}' if self.output else '; -o FILE.csv writes them all'}")
        elif self.output:
            told.append(f"All pairs are in {self.output}")
        return "\n".join(told)


COLUMNS = ["rank", "row", "text", "entry_id", "entry_name", "finding", "looks_wrong", "chance", "better_id", "better_name",
           "better_chance", "perhaps_id", "perhaps_name", "perhaps_chance", *(f"difference_{one}_mg_per_100g" for one in MINERALS), "grams", "grams_from",
           *(f"difference_{one}_mg_in_line" for one in MINERALS), "decision_id", "remedy"]


def audit_file(source: Path, table: str, target: Path | None = None) -> Audited:
    """Audits the CSV ``source`` (columns text, entry_id, and grams if known); writes every row to ``target`` where one is named.

    Raises InputError for a file that cannot be read and for grams that are no number.
    """
    coded = batch.rows(source, ("text", "entry_id"))
    grams = _grams(coded, source)
    bench = open_bench(table)
    audited = Audited(source.name, table, audit(coded, grams, bench), str(target) if target else "")
    if target is not None:
        batch.write(audited.rows, target)
    return audited


def _grams(coded: pd.DataFrame, source: Path) -> pd.Series:
    if "grams" not in coded:
        return pd.Series(float("nan"), index=coded.index)
    written = coded["grams"].str.strip()
    grams = pd.to_numeric(written.where(written != "", None), errors="coerce")
    wrong = coded.index[(written != "") & ~(grams >= 0)]
    if len(wrong):
        raise InputError([Problem(f"{source}, line {row + 2}", f"grams is {coded.at[row, 'grams']!r}",
                                  "Write a number, or leave it empty when it is not known", "not-a-number") for row in wrong])
    return grams.astype("float64")


def audit(coded: pd.DataFrame, grams: pd.Series, bench: Bench) -> pd.DataFrame:
    """``coded``: text, entry_id; ``grams``: of each line, null where not known. Returns columns ``COLUMNS``, the worst first."""
    parsed = bench.read(coded["text"].tolist())
    matched, candidates = bench.match(parsed)
    found = {line_id: rows for line_id, rows in candidates.groupby("line_id", sort=False)}
    asked = coded["entry_id"].str.strip()
    weighed = bench.grams(parsed, [entry if entry in bench.names.index else "" for entry in asked])["edible_g"]
    rows = []
    for number, line in enumerate(parsed.itertuples(index=False)):
        judged = _judged(asked[number], line, matched.iloc[number], found.get(line.line_id), bench)
        known = pd.notna(grams.iloc[number])
        mass = grams.iloc[number] if known else weighed[number]
        rows.append({"row": number + 2, "text": coded["text"].iloc[number], "entry_id": asked[number],
                     "entry_name": bench.names.get(asked[number], ""), **judged, "grams": mass,
                     "grams_from": "file" if known else "weighed" if pd.notna(mass) else "",
                     **_at_stake(asked[number], judged, mass, bench), "remedy": judged.get("remedy") or REMEDY[judged["finding"]]})
    return _ranked(pd.DataFrame(rows), bench)


def _judged(entry_id: str, line, matched: pd.Series, candidates: pd.DataFrame | None, bench: Bench) -> dict:
    """The finding about one pair, how wrong it looks, and the better candidate."""
    nothing = {"looks_wrong": 1.0, "chance": 0.0, "decision_id": matched["decision_id"], **_named("better"), **_named("perhaps")}
    chances = {} if candidates is None else dict(zip(candidates["entry_id"], candidates["probability"], strict=True))
    names = {} if candidates is None else dict(zip(candidates["entry_id"], candidates["entry_name"], strict=True))
    best = next((one for one in chances if one != entry_id), "")
    shown = chances.get(best, 0.0) >= bench.reference.rule("review_above")  # a candidate nobody would propose is no better one
    accepted = matched["match_outcome"] == "accepted" and matched["entry_id"] == best
    better = _named("better" if accepted else "perhaps", best, names[best], chances[best]) if shown else {}
    if entry_id not in bench.names.index:
        return nothing | better | {"finding": UNKNOWN} | _padded(entry_id, bench)
    if not line.text.strip():
        return nothing | {"finding": NO_TEXT}
    decided = _decided(entry_id, line, matched, bench)
    if decided is not None:
        return nothing | decided | better
    if matched["match_outcome"] == "not-food":
        return nothing | {"finding": NOT_FOOD}
    chance = chances.get(entry_id, 0.0)
    none = max(0.0, 1.0 - sum(chances.values()))
    rival = max(chances.get(best, 0.0), none)
    wrong = round(max(0.0, 1.0 - chance / rival), 4) if rival > 0 else 0.0
    if wrong < bench.reference.rule("audit_doubted_from") or (matched["decision_id"] and matched["entry_id"] == entry_id):
        return nothing | {"finding": AGREES, "looks_wrong": wrong, "chance": chance}
    finding = NOTHING if chances.get(best, 0.0) < none else ANOTHER if accepted else PERHAPS
    return nothing | better | {"finding": finding, "looks_wrong": wrong, "chance": chance}


def _named(how: str, entry_id: str = "", name: str = "", chance: float | None = None) -> dict:
    """The columns of another entry: a ``better`` one, or ``perhaps`` one."""
    return {f"{how}_id": entry_id, f"{how}_name": name, f"{how}_chance": chance}


def _decided(entry_id: str, line, matched: pd.Series, bench: Bench) -> dict | None:
    """The finding where people decided otherwise about the line."""
    if matched["match_reason"] in ("decided", "decided-none") and matched["entry_id"] != entry_id:
        return {"finding": DECIDED}
    table = matched["table"] or bench.matchers[0].table
    ruling = bench.standing(table).ruling(line.phrase, line.state)
    if entry_id in ruling.refused:
        return {"finding": DECIDED, "decision_id": ", ".join(ruling.ids)}
    return None


def _padded(entry_id: str, bench: Bench) -> dict:
    """A spreadsheet drops the zeros before a number: the entry that was meant, if one alone fits."""
    stripped = entry_id.lstrip("0").removesuffix(".0")
    meant = [one for one in bench.names.index if stripped and one.lstrip("0") == stripped]
    if len(meant) != 1:
        return {}
    return {**_named("better", meant[0], bench.names[meant[0]]),
            "remedy": f"Write {meant[0]}: a spreadsheet seems to have changed the number; keep the column as text"}


def _at_stake(entry_id: str, judged: dict, grams: float, bench: Bench) -> dict:
    """The differences, the other entry (better or perhaps) less coded; a line that is no food should have nothing of the coded entry."""
    more = bench.difference(entry_id, judged["better_id"] or judged["perhaps_id"])
    if judged["finding"] == NOT_FOOD:
        more = -bench.per_100g.loc[entry_id]
    return {**{f"difference_{one}_mg_per_100g": round(more[one], 2) for one in MINERALS},
            **{f"difference_{one}_mg_in_line": round(more[one] * grams / 100, 2) for one in MINERALS}}


def _ranked(rows: pd.DataFrame, bench: Bench) -> pd.DataFrame:
    """The worst first: what nobody can put a number on (no entry, no line, decided to be none), then by how wrong it looks
    times what is at stake, the whole entry where nothing better is known; what agrees last."""
    numberless = rows["finding"].isin([UNKNOWN, NO_TEXT]) | ((rows["finding"] == DECIDED) & (rows["better_id"] + rows["perhaps_id"] == ""))
    stake = pd.concat([_shares(rows, one, day, bench) for one, day in _days(bench).items()], axis=1).max(axis=1)
    order = pd.DataFrame({"agrees": rows["finding"] == AGREES, "numbered": ~numberless, "harm": -(rows["looks_wrong"] * stake.fillna(0.0)),
                          "wrong": -rows["looks_wrong"], "row": rows["row"]}).sort_values(["agrees", "numbered", "harm", "wrong", "row"])
    ranked = rows.loc[order.index].reset_index(drop=True)
    ranked["grams"] = ranked["grams"].astype("float64").round(1)
    return ranked.assign(rank=range(1, len(ranked) + 1))[COLUMNS]


def _days(bench: Bench) -> dict[str, float]:
    values = bench.reference.nutrient_reference_values.set_index("component")["value"]
    return {"K": values["K"], "P": values["P"], "NA": bench.reference.rule("audit_sodium_of_a_day_mg")}


def _shares(rows: pd.DataFrame, component: str, day: float, bench: Bench) -> pd.Series:
    """What is at stake as a share of a day's reference: in the line where it is known, else in 100 g; the whole of the
    coded entry where there is no other one. Potassium that nobody knows of may be a day's."""
    own = rows["entry_id"].map(bench.per_100g[component])
    difference = rows[f"difference_{component}_mg_per_100g"]
    compared = rows["better_id"] + rows["perhaps_id"] != ""
    per_100g = difference.where(compared | difference.notna(), own)
    in_line = per_100g * rows["grams"].astype("float64") / 100
    shares = in_line.fillna(per_100g).abs() / day
    return shares.mask(shares.isna() & (rows["entry_name"] != ""), 1.0) if component == POTASSIUM else shares


def _told(row) -> list[str]:
    """One doubted pair, for a terminal."""
    told = [f"{row.rank}. row {row.row}: \"{row.text}\" coded {row.entry_id} {row.entry_name}".rstrip() + f": {WORDS[row.finding]}"]
    for how in ("better", "perhaps"):
        other, name, other_chance = (getattr(row, f"{how}_{what}") for what in ("id", "name", "chance"))
        if other:
            chance = f" (chance {other_chance:.2f} against {row.chance:.2f})" if pd.notna(other_chance) else ""
            told.append(f"     {how}: {other} {name}{chance}")
    if row.entry_name and (row.better_id or row.perhaps_id or pd.notna(row.difference_K_mg_per_100g)):
        told.append(f"     at stake per 100 g: {_amounts(row, 'per_100g')}")
        if pd.notna(row.grams):
            told.append(f"     in this line ({row.grams:g} g): {_amounts(row, 'in_line')}")
    if row.finding in (UNKNOWN, NO_TEXT, DECIDED, NOT_FOOD, PERHAPS):
        told.append(f"     {row.remedy}" + (f" ({row.decision_id})" if row.finding == DECIDED and row.decision_id else ""))
    return told


def _amounts(row, basis: str) -> str:
    return differences({one: getattr(row, f"difference_{one}_mg_{basis}") for one in MINERALS})
