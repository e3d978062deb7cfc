"""What accepted lines leave open: a doubtful entry or method, two routes that disagree, and the inputs that make a figure wide.

Nothing waits for these lines, so they follow the unsettled ones on the worklist; the one that
leaves most potassium open per portion comes first. Of the doubtful lines of one dish the one with most potassium does.
"""

from __future__ import annotations

import pandas as pd

from pipeline import tables
from pipeline.combinations import combinations
from pipeline.stages import total_shares
from pipeline.stages.audit_plausible import is_grave
from pipeline.stages.conditions import plain

KEY = ["recipe_id", "variant_id"]
POTASSIUM, PORTION, BASE = "K", "portion", "base"
TWO_ROUTES, WIDE = "two-routes", "wide-interval"
WIDE_WORDS = "wide interval"  # how the total stage says it in the reason of a figure
# What narrows an input, by its kind.
REMEDIES = {
    "quantity": "Weigh it and write grams in the line", "measure": "Weigh it and write grams in the line",
    "density": "Write grams in the line", "edible": "Weigh what is eaten of it and say so in the line",
    "match": "Confirm or correct the entry in mappings/foods.csv",
    "composition": "Name an entry with more samples, or take the value from a table that has them",
    "retention": "Say in the method how long, how small and in how much water it is cooked; or add a measured factor to reference/retention.csv",
    "yield": "Weigh the finished dish and write it in the recipe",
    "routes": "Compare the retention factor and the yield with the cooked entry, and correct the one that is wrong"}


def with_stakes(worklist: pd.DataFrame, run: dict[str, pd.DataFrame], reference) -> pd.DataFrame:
    """``worklist`` (its model) with the lines that leave something open ranked after its own rows.

    ``run``: the tables of a release by name; ``reference`` gives components and energy_factors.
    A line that is on the list already is not added again.
    """
    worklist = most_potassium_first(worklist, run["contributions"])
    rows = pd.DataFrame([*disagreeing(run), *widest(run, reference)], columns=["mg_open", *_columns()])
    here = set(zip(worklist["recipe_id"], worklist["text"], strict=True))
    new = pd.Series([key not in here for key in zip(rows["recipe_id"], rows["text"], strict=True)], index=rows.index, dtype=bool)
    rows = rows[new].sort_values(["mg_open", "recipe_id", "line_no"], ascending=[False, True, True], kind="stable")
    rows = rows.drop_duplicates(["recipe_id", "text"])
    if rows.empty:
        return tables.checked(tables.Worklist, worklist, "worklist")
    frame = pd.concat([worklist, rows[_columns()]], ignore_index=True)
    frame["rank"] = range(1, len(frame) + 1)
    return tables.checked(tables.Worklist, frame, "worklist")


def most_potassium_first(worklist: pd.DataFrame, contributions: pd.DataFrame) -> pd.DataFrame:
    """``worklist`` with the doubtful lines of one dish, which leave as many figures to check, in the order of their potassium."""
    amounts = contributions[contributions["component"] == POTASSIUM].set_index([*KEY, "line_no"])["amount"]
    held = worklist["figures_withheld"].to_numpy() > 0
    frame = worklist.assign(
        held=held, place=worklist["rank"].where(held, 0),
        amount=amounts.reindex(pd.MultiIndex.from_frame(worklist[[*KEY, "line_no"]])).fillna(0.0).to_numpy())
    frame = frame.sort_values(["held", "place", "figures_to_check", "recipe_id", "amount", "line_no"],
                              ascending=[False, True, False, True, False, True], ignore_index=True)
    return frame[list(worklist.columns)].assign(rank=range(1, len(frame) + 1))


def disagreeing(run: dict[str, pd.DataFrame]) -> list[dict]:
    """One row per line text whose two routes somebody has to look at, with the potassium between them per portion."""
    routes = run["two_routes"]
    grave = routes[pd.Series([is_grave(row) for row in routes.to_dict("records")], index=routes.index, dtype=bool)]
    lines = _told(run).merge(grave, on="line_id")
    names = run["entries"].set_index("entry_id")["name"]
    rows = []
    for _, group in lines.groupby(["recipe_id", "text"], sort=True):
        first = group.iloc[0]
        stakes = [_between(row) for row in group[group["line_id"] == first["line_id"]].to_dict("records")]
        cooked = first["cooked_entry_id"]
        rows.append(_row(first, TWO_ROUTES, _between_mg(group, POTASSIUM), _waiting(run, group, "two-routes"),
                         f"{cooked} {names.get(cooked, '')}", f"{REMEDIES['routes']}; between them per portion: {'; '.join(stakes)}"))
    return rows


def widest(run: dict[str, pd.DataFrame], reference) -> list[dict]:
    """For each dish whose potassium is to be checked for its width: the line of the input with the largest share of it."""
    figures = run["figures"]
    wide = figures[(figures["component"] == POTASSIUM) & (figures["basis"] == PORTION) & (figures["variant_id"] == BASE)
                   & figures["reason"].str.contains(WIDE_WORDS, regex=False) & (figures["status"] == "check")]
    if wide.empty:
        return []
    base = {name: run[name].merge(wide[KEY], on=KEY) for name in ("contributions", "lines", "figures")}
    linear = combinations(reference.components, reference.energy_factors)
    shares = total_shares.figure_shares({**run, **base}, linear[linear["figure"] == POTASSIUM])
    first = shares[shares["basis"] == total_shares.RECIPE].drop_duplicates(KEY)
    told, rows = _told(run), []
    for figure in wide.merge(first[[*KEY, "source", "kind", "share"]], on=KEY).to_dict("records"):
        line = _line_of(figure, base["contributions"], told)
        if line is None:
            continue
        open_mg = figure["share"] * (figure["high"] - figure["value"])
        rows.append(_row(line, WIDE, open_mg, _waiting(run, told[told["line_id"] == line["line_id"]], WIDE_WORDS), "",
                         f"{REMEDIES[figure['kind']]}: it makes {plain(100 * figure['share'])} % of the width of {POTASSIUM} "
                         f"per portion ({plain(figure['low'])} to {plain(figure['high'])} mg)"))
    return rows


def _line_of(figure: dict, contributions: pd.DataFrame, told: pd.DataFrame) -> pd.Series | None:
    """The line that an input belongs to; of several, the one with most potassium. None for an input of the whole dish."""
    mine = contributions[(contributions["recipe_id"] == figure["recipe_id"]) & (contributions["component"] == POTASSIUM)]
    mine = mine.sort_values(["amount", "line_no"], ascending=[False, True]).merge(told, on="line_id", suffixes=("", "_told"))
    source = figure["source"]
    for line in mine.to_dict("records"):
        inputs = [line["composition_input"], line["retention_input"], f"yield:{line['yield_id']}", f"density:{line['density_id']}",
                  f"edible:{line['edible_id']}:{line['entry_id']}", f"measure:{line['measure_id']}:{line['recipe_id']}"]
        of_line = source.endswith(f":{line['line_id']}") or source.startswith(f"routes:{line['entry_id']}:")
        if of_line or any(one == source or one == f"{source}:{POTASSIUM}" for one in inputs):
            return pd.Series(line)
    return None


def _told(run: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The counted lines with what their inputs are called and their portions."""
    lines = run["lines"]
    counted = lines.loc[lines["counted"] & (lines["outcome"] == "accepted"),
                        [*KEY, "line_no", "line_id", "text", "entry_id", "edible_g"]]
    counted = counted.assign(later=counted["variant_id"] != BASE).sort_values(["recipe_id", "later", "variant_id", "line_no"])
    counted = counted.merge(run["variants"][[*KEY, "portions"]], on=KEY)
    counted = counted.merge(run["weighed"][["line_id", "measure_id", "density_id", "edible_id"]], on="line_id")
    return counted.merge(run["cooked"][["line_id", "yield_id"]], on="line_id")


def _between_mg(group: pd.DataFrame, component: str) -> float:
    mine = group[group["component"] == component]
    return float(((mine["by_cooked"] - mine["by_retention"]).abs() * mine["edible_g"] / 100 / mine["portions"]).max()) if len(mine) else 0.0


def _between(line: dict) -> str:
    first, second = (line[route] * line["edible_g"] / 100 / line["portions"] for route in ("by_retention", "by_cooked"))
    return f"{line['component']} {plain(first)} {line['unit']} in use, {plain(second)} by the cooked entry"


def _waiting(run: dict[str, pd.DataFrame], lines: pd.DataFrame, reason: str) -> int:
    """How many figures of these variants are to be checked for this reason."""
    figures = run["figures"].merge(lines[KEY].drop_duplicates(), on=KEY)
    return int(((figures["status"] == "check") & figures["reason"].str.contains(reason, regex=False)).sum())


def _row(line: pd.Series, reason: str, open_mg: float, figures: int, candidates: str, remedy: str) -> dict:
    return {"mg_open": open_mg, "rank": 1, "recipe_id": line["recipe_id"], "variant_id": line["variant_id"], "line_no": line["line_no"],
            "text": line["text"], "reason": reason, "figures_withheld": 0, "figures_to_check": figures, "verdicts_waiting": 0,
            "candidates": candidates, "remedy": remedy}


def _columns() -> list[str]:
    return tables.columns(tables.Worklist)
