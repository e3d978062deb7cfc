"""Two releases beside each other: what changed, why, and which verdicts flipped."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline import released, sources
from pipeline.composition import compare_swap
from pipeline.problems import InputError, Problem
from pipeline.release_causes import causes, with_places
from pipeline.root import ROOT

TABLES = ("figures", "lines", "verdicts", "contributions", "cooked", "recipes", "published", "printed_claims")
BECAUSE = "because"
LINE_COLUMNS = ["recipe_id", "variant_id", "effect", "text_a", "text_b", "entry_id_a", "entry_name_a", "entry_id_b", "entry_name_b", "outcome_a",
                "outcome_b", "reason_a", "reason_b", "edible_g_a", "edible_g_b", "yield_fraction_a", "yield_fraction_b", "chain_a", "chain_b"]
# The gravest first: a line that no figure knows any more, then what is another food.
LINE_EFFECTS = ("unsettled", "removed", "added", "other-entry", "settled", "outcome", "rewritten", "weight", "cooking")
WHY = {"line": "the line", "amount": "rewritten", "weighing": "weighed otherwise", "entry": "another entry", "composition": "another value",
       "cooking": "cooked otherwise", "portions": "portions", "weight": "finished weight", "rest": "the water balance"}
NO_LINE = "no part of its middle: its interval, its status or what is judged beside it changed"


@dataclass(frozen=True)
class Releases:
    """What differs from release A to release B; the tables have the columns named beside them in this module and ``compare_swap``."""

    release_a: str
    release_b: str
    inputs: list[str]
    recipes: pd.DataFrame  # recipe_id, variant_id, effect
    lines: pd.DataFrame
    figures: pd.DataFrame
    causes: pd.DataFrame
    verdicts: pd.DataFrame

    @property
    def differs(self) -> bool:
        return any(len(table) for table in (self.recipes, self.lines, self.figures, self.verdicts))


def compare(folder_a: Path, folder_b: Path, root: Path = ROOT) -> Releases:
    """Compares two release folders. Raises :class:`InputError` where one is no whole release, or is of another program's form."""
    before, after = _read(folder_a), _read(folder_b)
    reference = sources.load(root)
    in_print = compare_swap.InPrint(after["published"], after["printed_claims"])
    why = causes(before, after, reference.components, reference.energy_factors)
    figures = compare_swap.figures(before["figures"], after["figures"], in_print)
    verdicts = compare_swap.verdicts(before["verdicts"], after["verdicts"], in_print)
    return Releases(
        folder_a.name, folder_b.name, _inputs(folder_a, folder_b), _dishes(before["figures"], after["figures"]), _lines(before, after), figures, why,
        verdicts.assign(**{BECAUSE: _because(verdicts, before["verdicts"], after["verdicts"], figures, why)}))


def _read(folder: Path) -> dict[str, pd.DataFrame]:
    released.manifest(folder)
    tables = {name: released.table(folder, name) for name in TABLES}
    for name, needed in (("figures", "figure_id"), ("lines", "line_id"), ("contributions", "retention_fraction"), ("verdicts", "limit")):
        if needed not in tables[name]:
            raise InputError(Problem(str(folder), f"has no column {needed} in {name}", "Make the release again with `potash run`", "other-form"))
    return tables


def _inputs(folder_a: Path, folder_b: Path) -> list[str]:
    """The inputs that differ, by path: "changed", "only in A", "only in B"."""
    one, other = ({row["path"]: row["sha256"] for row in released.manifest(folder)["inputs"]} for folder in (folder_a, folder_b))
    words = {path: "only in A" if path not in other else "only in B" if path not in one else "changed"
             for path in sorted({*one, *other}) if one.get(path) != other.get(path)}
    return [f"{path} ({word})" for path, word in words.items()]


def _dishes(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    both = before[["recipe_id", "variant_id"]].drop_duplicates().merge(
        after[["recipe_id", "variant_id"]].drop_duplicates(), how="outer", indicator="effect")
    both["effect"] = both["effect"].astype("str").map({"left_only": "removed", "right_only": "added", "both": ""})
    return both[both["effect"] != ""].sort_values(["recipe_id", "variant_id"]).reset_index(drop=True)


def _lines(before: dict[str, pd.DataFrame], after: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Lines that end otherwise, columns ``LINE_COLUMNS``; of dishes that both releases have."""
    one, other = with_places(before, after)
    key, kept = ["recipe_id", "variant_id", "place"], [name.removesuffix("_a") for name in LINE_COLUMNS if name.endswith("_a")]
    dishes = one[key[:2]].drop_duplicates().merge(other[key[:2]].drop_duplicates())
    rows = one[[*key, *kept]].merge(other[[*key, *kept]], on=key, how="outer", suffixes=("_a", "_b"), indicator=True).merge(dishes, on=key[:2])
    texts = [f"{name}_{side}" for name in kept for side in "ab" if not name.endswith(("_g", "_fraction"))]
    rows[texts] = rows[texts].fillna("")
    accepted = {side: rows[f"outcome_{side}"] == "accepted" for side in "ab"}
    apart = {name: compare_swap.apart(rows[f"{name}_a"], rows[f"{name}_b"]) for name in ("edible_g", "yield_fraction")}
    differ = {name: rows[f"{name}_a"] != rows[f"{name}_b"] for name in ("text", "entry_id", "outcome", "reason", "chain")}
    effect = np.select(
        [rows["_merge"] == "left_only", rows["_merge"] == "right_only", accepted["a"] & ~accepted["b"], ~accepted["a"] & accepted["b"],
         differ["entry_id"], differ["outcome"] | differ["reason"], differ["text"], apart["edible_g"], differ["chain"] | apart["yield_fraction"]],
        ["removed", "added", "unsettled", "settled", "other-entry", "outcome", "rewritten", "weight", "cooking"], "")
    rows = rows.assign(effect=effect)[effect != ""]
    order = rows.assign(rank=rows["effect"].map({name: place for place, name in enumerate(LINE_EFFECTS)})).sort_values(["rank", *key]).index
    return rows.loc[order, LINE_COLUMNS].reset_index(drop=True)


def _because(flips: pd.DataFrame, before: pd.DataFrame, after: pd.DataFrame, figures: pd.DataFrame, why: pd.DataFrame) -> list[str]:
    """One reason per flip: its limit, or a doubt that came or went and the part of its figure that changed most."""
    key = ["recipe_id", "variant_id", "audience", "claim", "kind"]
    limits = before[[*key, "limit", "unit", "basis"]].merge(after[[*key, "limit", "unit", "basis"]], on=key, how="outer", suffixes=("_a", "_b")).set_index(key)
    first = why.drop_duplicates("figure_id").set_index("figure_id")
    doubts = {row.figure_id: f"its figure is {row.status_b} now, before {row.status_a}" for row in figures.itertuples() if row.status_a != row.status_b}
    reasons = []
    for flip in flips.itertuples():
        limit = limits.loc[(flip.recipe_id, flip.variant_id, flip.audience, flip.claim, flip.kind)]
        limit = limit.iloc[0] if isinstance(limit, pd.DataFrame) else limit
        if compare_swap.apart(pd.Series([limit["limit_a"]]), pd.Series([limit["limit_b"]])).item():
            reasons.append(f"its limit is {_number(limit['limit_b'], limit['unit_b'])}, before {_number(limit['limit_a'], limit['unit_a'])}")
            continue
        figure_id = f"{flip.recipe_id}/{flip.variant_id}/{flip.component_b or flip.component_a}/{limit['basis_b'] or limit['basis_a']}"
        parts = [doubts.get(figure_id, ""), told(first.loc[figure_id]) if figure_id in first.index else ""]
        reasons.append("; ".join(part for part in parts if part) or (f"of this: {flip.reason_b}" if flip.verdict_b == "not-assessable" else NO_LINE))
    return reasons


def told(cause: pd.Series) -> str:
    """A row of the causes in words."""
    of = f' "{cause["text"]}"' if cause["text"] and cause["cause"] != "amount" else ""
    moved = f': {cause["before"]} -> {cause["now"]}' if cause["before"] or cause["now"] else ""
    return f'{WHY[cause["cause"]]}{of}{moved} ({cause["change"]:+.4g} {cause["unit"]})'


def _number(value: float, unit: str) -> str:
    return "none" if value != value else f"{value:.4g} {unit}"
