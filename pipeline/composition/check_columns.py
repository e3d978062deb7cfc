"""Two columns of a table exchanged: for every entry, or for one whose energy then comes right; a whole column in another unit.

Inside its own groups a table whose columns were exchanged as a whole looks normal. What it
breaks are relations that hold for nearly all foods: the order of minerals in raw foods
(potassium above sodium, and so on) and the energy that the proximates give.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pandas as pd

from pipeline.composition.check_balance import energy_limits
from pipeline.composition.check_groups import Norms, exchange_fits, logs_of, swap_rows
from pipeline.composition.check_table import Rules, Table, finding_rows, parts

MACRONUTRIENTS = ("PROCNT", "FAT", "CHOCDF", "WATER")
Repair = tuple[tuple[str, ...], float, pd.DataFrame]  # columns, what one of them is multiplied by, the values then


def swapped_columns(table: Table, rules: Rules) -> tuple[pd.DataFrame, pd.DataFrame]:
    """At most one pair of columns that were exchanged in the whole table, or one column that is in
    another unit throughout, and the table with them put right.

    Named when some relation fails for most entries, and all relations hold again afterwards.
    """
    rule, slip = rules["swapped-columns"], rules["slipped-column"]
    shares = _shares(table, rules)
    broken = [name for name, (share, least) in shares.items() if share < least]
    if not broken:
        return finding_rows({}), table.wide
    orders = [*rules.of("order-in-raw-foods"), *rules.of("order-in-all-foods")]
    names = sorted({name for relation in orders for name in (relation.components, relation.whole)})
    exchanged, rescaled = _best(table, rules, _exchanged(table, names)), _best(table, rules, _rescaled(table, names, slip.high))
    repair = exchanged or rescaled
    if not repair:
        return finding_rows({}), table.wide
    columns, factor, wide = repair
    other = f"; or {rescaled[0][0]} is {_times(slip, rescaled[1])} in it" if exchanged and rescaled else ""
    listed = ", ".join(f"{name} {shares[name][0]:.0%}" for name in sorted(broken))
    found = {
        "severity": [rule.severity], "check": rule.check, "entry_id": "", "entry_name": "", "component": " + ".join(columns),
        "value": min(share for share, _ in shares.values()), "expected_low": rule.high, "expected_high": 1.0, "unit": "share of entries",
        "what": f"{' and '.join(columns)} look exchanged in the whole table: what should hold for nearly all foods holds too rarely"
                f" ({listed}), and for nearly all after an exchange{other}. The other checks are done on the exchanged columns",
        "remedy": "Compare the two columns with the source, and import again", "source_id": rule.source_id,
    }
    if factor != 1:
        found |= {
            "severity": [slip.severity], "check": "unit-slip", "source_id": slip.source_id,
            "what": f"{columns[0]} looks {_times(slip, factor)} in the whole table: what should hold for"
                    f" nearly all foods holds too rarely ({listed}), and for nearly all in the other unit. The other checks are done so",
            "remedy": "Compare the unit of the column with the source, and import again",
        }
    return finding_rows(found), wide


def _times(slip, factor: float) -> str:
    return f"{slip.high:g} times too {'small' if factor > 1 else 'large'}"


def _best(table: Table, rules: Rules, repairs: Iterator[Repair]) -> Repair | None:
    """The repair after which the weakest relation holds most often, if all then hold for nearly all foods.

    A column with few values takes what could be said of the other one away; such an exchange explains nothing.
    """
    best, most = None, rules["swapped-columns"].high
    told = set(_shares(table, rules))
    for repair in repairs:
        shares = _shares(table.with_values(repair[2]), rules)
        worst = min(share for share, _ in shares.values()) if told <= set(shares) else 0.0
        if worst >= most and (best is None or worst > most):
            best, most = repair, worst
    return best


def _exchanged(table: Table, names: list[str]) -> Iterator[Repair]:
    for one, other in [*combinations(names, 2), *combinations(MACRONUTRIENTS, 2)]:
        if table.has(one, other) and table.units[one] == table.units[other]:
            wide = table.wide.copy()
            wide[[one, other]] = wide[[other, one]].to_numpy()
            yield (one, other), 1.0, wide


def _rescaled(table: Table, names: list[str], times: float) -> Iterator[Repair]:
    for name in names:
        for factor in (times, 1 / times):
            if table.has(name):
                yield (name,), factor, table.wide.assign(**{name: table.wide[name] * factor})


def _shares(table: Table, rules: Rules) -> dict[str, tuple[float, float]]:
    """The share of entries for which each relation holds, and the least that is plausible, where enough entries have what it needs."""
    enough, least_order, least_balance = (
        rules["swapped-columns"].at_least_n, rules["swapped-columns"].low, rules["swapped-columns-balance"].low)
    raw, every = table.entries["state"] == "raw", pd.Series(True, index=table.entries.index)
    shares = {}
    for check, foods, words in (("order-in-raw-foods", raw, "raw foods"), ("order-in-all-foods", every, "all foods")):
        for relation in rules.of(check):
            greater, less = table.grams(relation.components)[foods], table.grams(relation.whole)[foods]
            known = greater.notna() & less.notna() & (greater + less > 0)
            if known.sum() >= enough:
                shares[f"{relation.components} above {relation.whole} in {words}"] = float((greater >= less)[known].mean()), least_order
    holds = _energy_holds(table, rules)
    if len(holds) >= enough:
        shares["energy from the proximates"] = float(holds.mean()), least_balance
    for relation in rules.of("parts-in-whole"):
        if relation.severity == "error" and relation.whole in (*MACRONUTRIENTS, "ASH"):
            grams = [table.grams(name) for name in parts(relation.components)]
            together = pd.concat(grams, axis=1).sum(axis=1, min_count=1)
            whole = table.grams(relation.whole)
            known = together.notna() & whole.notna()
            if known.sum() >= enough:
                fits = together <= whole * (1 + relation.relative) + relation.absolute
                shares[f"{relation.components} within {relation.whole}"] = float(fits[known].mean()), least_balance
    return shares


def _energy_holds(table: Table, rules: Rules) -> pd.Series:
    """Whether energy agrees with the general factors, for the entries where that can be said."""
    kcal = table.energy_kcal(rules["energy-kj-per-kcal"].high)
    low, high = energy_limits(table, rules, rules["energy-warning"])
    return kcal.between(low, high)[kcal.notna() & low.notna()]


def swapped_macronutrients(table: Table, rules: Rules, norms: Norms) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Entries whose energy comes right when exactly one pair of macronutrients is exchanged.

    The pair must also lie far from foods like it, and near them after the exchange: the energy
    alone fits by chance now and then.
    """
    rule = rules["swapped-for-energy"]
    if not table.has(*MACRONUTRIENTS):
        return finding_rows({}), table.wide
    kcal = table.energy_kcal(rules["energy-kj-per-kcal"].high)
    low, high = energy_limits(table, rules, rules["energy-warning"])
    suspects = table.wide.index[((kcal < low) | (kcal > high)).fillna(False)]
    repaired, logs = table.wide.copy(), logs_of(table.wide)
    if suspects.empty:
        return finding_rows({}), repaired
    right: dict[str, list[tuple[str, str]]] = {entry_id: [] for entry_id in suspects}
    for one, other in combinations(MACRONUTRIENTS, 2):
        wide = table.wide.loc[suspects].copy()
        wide[[one, other]] = wide[[other, one]].to_numpy()
        low, high = energy_limits(table.with_values(wide), rules, rules["energy-exchanged"])
        apart = np.abs(wide[one] - wide[other]) > rule.absolute
        fits = exchange_fits(norms.closest, logs, one, other, rule).loc[suspects]
        for entry_id in suspects[(kcal.loc[suspects].between(low, high) & apart & fits).to_numpy()]:
            right[entry_id].append((one, other))
    rows = [(entry_id, *pairs[0]) for entry_id, pairs in right.items() if len(pairs) == 1]
    for entry_id, one, other in rows:
        repaired.loc[entry_id, [one, other]] = table.wide.loc[entry_id, [other, one]].to_numpy()
    found = swap_rows(table, rule, rows)
    found["what"] = [f"Energy cannot come from these values, and does when {one} and {other} are exchanged" for _, one, other in rows]
    return found, repaired
