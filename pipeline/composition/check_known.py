"""Against the curated core: columns exchanged, in another unit or out of order, a value far from the same food there.

A table of ten foods is too small to be compared with itself. The core holds the foods that
kitchens use, and what they hold is known: a column that agrees with another column of the
core, or with its own after a factor of 10 or 1000, over the foods that both tables have, is
in the wrong place or the wrong unit; one that agrees with none of them stands beside the wrong
foods. A few wrong pairs do no harm to a verdict on a column; one value is judged on the very same
food alone. A table of which too few foods are known to be foods of the core says nothing here, and that is told.

The method is the project's own; its numbers stand in ``reference/table_checks.csv``.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.composition.check_same import pairs_of
from pipeline.composition.check_table import PER_GRAM, Rules, Table, finding_rows, joined, most_severe, parts, together

NOT_COMPARED, OUT_OF_ORDER = "not-compared", "column-order"
# A standard deviation from the median of the deviations, and two standard errors of a median, both of a normal distribution.
TO_DEVIATION, TO_SURE = 1.4826, 2 * 1.2533


class Compared(NamedTuple):
    """The foods of a table that the core has too: its values and the core's, in g per 100 g, row by row."""

    own: pd.DataFrame
    known: pd.DataFrame


def against_known(
    table: Table, known: Table | None, rules: Rules, decided: dict[str, pd.DataFrame] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What the core says of the columns and of single values, and the values of the table with its columns put right.

    ``known`` is the curated core, laid out; without one nothing is found. ``decided``: which foods are the same by decision
    (``check_same.DECIDED``).
    """
    if known is None:
        return finding_rows({}), table.wide
    pairs = pairs_of(table.entries, known.entries, decided, rules)
    floors = _floors(rules)
    found, put_right = [_not_compared(table, known, pairs, rules)], table
    for repair in (_exchanged, _slipped):
        rows, put_right = repair(put_right, known, pairs, floors, rules)
        found.append(rows)
    out_of_order = _out_of_order(put_right, known, pairs, floors, rules)
    # Where a whole column is beside the wrong foods, its single values say nothing more.
    single = _far_from_the_same_food(put_right, known, pairs[pairs["exact"]], rules, set(out_of_order["component"]))
    return joined([*found, out_of_order, single]), put_right.wide


def _not_compared(table: Table, known: Table, pairs: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """One finding with the components of which too few values could be compared with the core, where there is any.

    Enough are ``at_least_n`` foods, or in a smaller table every one, by the very same food.
    """
    rule = rules[NOT_COMPARED]
    counts = {}
    for name in (name for name in parts(rule.components) if table.has(name) and known.has(name)):
        having = table.wide.index[table.wide[name].notna()]
        there = pairs[pairs["entry_id"].isin(having) & pairs["known_id"].isin(known.wide.index[known.wide[name].notna()])]
        every = there.loc[there["exact"], "entry_id"].nunique() == len(having)
        if there["entry_id"].nunique() < rule.at_least_n and not every:
            counts[name] = there["entry_id"].nunique()
    if not counts:
        return finding_rows({})
    compared = f"only {min(counts.values())} of its {len(table.entries)} foods" if any(counts.values()) else f"none of its {len(table.entries)} foods"
    return _column_finding(
        rule, rule.check, together(counts), min(counts.values()),
        f"The values for {', '.join(counts)} were never compared with a known table: {compared} can be recognised among those of the curated core",
        f"Say of {rule.at_least_n:g} foods or more which entry of the core they are, in mappings/same_foods.csv or by deciding one phrase for both "
        "tables")


# ---------------------------------------------------------------- columns

def _floors(rules: Rules) -> dict[str, float]:
    """Component -> the amount in g per 100 g below which two foods do not differ."""
    return {name: rule.absolute / PER_GRAM[rule.unit] for rule in rules.of("known-components") for name in parts(rule.components)}


def _compared(table: Table, known: Table, pairs: pd.DataFrame, components: list[str]) -> Compared:
    """The values of the paired entries; where several foods of the core are as like, the middle one's."""
    own = pd.DataFrame({name: table.grams(name) for name in components})
    theirs = pd.DataFrame({name: known.grams(name) for name in components})
    middle = theirs.reindex(pairs["known_id"]).groupby(pairs["entry_id"].to_numpy()).median()
    return Compared(own.reindex(middle.index), middle)


def _distance(own: pd.Series, known: pd.Series, floor: float) -> pd.Series:
    """How many powers of ten apart, where less than the floor is all one."""
    return np.log10((own + floor) / (known + floor)).abs()


def _gain(before: pd.Series, after: pd.Series, rule) -> float:
    """By how many powers of ten the foods come nearer; 0 unless nearly all that can tell say so and then agree."""
    known = before.notna() & after.notna()
    before, after = before[known], after[known]
    telling = (before - after).abs() >= rule.absolute
    if telling.sum() < rule.at_least_n or telling.mean() < rule.relative:
        return 0.0
    agreed = (before > after)[telling].mean() >= rule.high and after.median() <= rule.low
    return float((before - after)[telling].median()) if agreed else 0.0


def _exchanged(table: Table, known: Table, pairs: pd.DataFrame, floors: dict[str, float], rules: Rules) -> tuple[pd.DataFrame, Table]:
    """Pairs of columns that agree with the core when they are exchanged, the clearest first; and the table so."""
    rule, found = rules["known-exchanged"], []
    for one, other, compared in _clearest(table, known, pairs, floors, rule):
        wide = table.wide.copy()
        wide[[one, other]] = wide[[other, one]].to_numpy()
        table = table.with_values(wide)
        found.append(_column_finding(
            rule, rule.check, f"{one} + {other}", compared,
            f"{one} and {other} look exchanged in the whole table: the {compared} foods that the curated core has too agree with it when "
            f"{one} is read as {other} and {other} as {one}. The other checks are done on the exchanged columns",
            "Compare the two columns with the source, correct the profile or the file, and import again"))
    return joined(found), table


def _clearest(table: Table, known: Table, pairs: pd.DataFrame, floors: dict[str, float], rule) -> Iterator[tuple[str, str, int]]:
    """Columns to exchange with the number of foods compared, each column once."""
    names = [name for name in floors if table.has(name) and known.has(name)]
    own, theirs = _compared(table, known, pairs, names)
    apart = {(one, other): _distance(own[one], theirs[other], floors[other]) for one in names for other in names}
    gains = []
    for one, other in combinations(names, 2):
        if table.units[one] == table.units[other]:
            gain = _gain(apart[one, one] + apart[other, other], apart[one, other] + apart[other, one], rule)
            gains += [(gain, one, other)] if gain > 0 else []
    used: set[str] = set()
    for _, one, other in sorted(gains, reverse=True):
        if not used & {one, other}:
            used |= {one, other}
            yield one, other, int((apart[one, one] + apart[other, other]).notna().sum())


def _slipped(table: Table, known: Table, pairs: pd.DataFrame, floors: dict[str, float], rules: Rules) -> tuple[pd.DataFrame, Table]:
    """Columns that agree with the core when they are multiplied or divided by a factor of another unit; and the table so."""
    rule, found = rules["known-slip"], []
    for name in [name for name in floors if table.has(name) and known.has(name)]:
        compared = _compared(table, known, pairs, [name])
        own, theirs = compared.own[name], compared.known[name]
        factor, is_unit = _factor_between(own, theirs, floors[name], rules, name)
        before = _distance(own, theirs, floors[name])
        if _gain(before, _distance(own * factor, theirs, floors[name]), rule) <= 0:
            continue
        found.append(_slip_finding(rule, name, factor, is_unit, int(before.notna().sum())))
        table = table.with_values(table.wide.assign(**{name: table.wide[name] * factor}))
    return joined(found), table


def _factor_between(own: pd.Series, theirs: pd.Series, floor: float, rules: Rules, name: str) -> tuple[float, bool]:
    """What the column must be multiplied by to agree with the core, and whether that is the factor of another unit.

    It is the middle one of the foods; a listed factor is meant only where it lies as near as the middle is sure.
    """
    telling = (own > 0) & (theirs > floor)
    if not telling.any():
        return 1.0, False
    apart = np.log10(theirs[telling] / own[telling])
    middle = apart.median()
    spread = TO_DEVIATION * (apart - middle).abs().median()
    near = max(rules["known-factor-near"].absolute, TO_SURE * spread / np.sqrt(telling.sum()))
    listed = min(_factors(rules, name), key=lambda factor: abs(np.log10(factor) - middle))
    return (listed, True) if abs(np.log10(listed) - middle) <= near else (float(10**middle), False)


def _slip_finding(rule, name: str, factor: float, is_unit: bool, count: int) -> pd.DataFrame:
    much = max(factor, 1 / factor)
    times = f"{much if is_unit else float(f'{much:.2g}'):g} times too {'small' if factor > 1 else 'large'}"
    if is_unit:
        what = (f"{name} looks {times} in the whole table: the {count} foods that the curated core has too agree with it in the other unit. "
                "The other checks are done so")
        remedy = "Compare the unit of the column with the source, correct the profile or the file, and import again"
    else:
        what = (f"{name} looks about {times} in the whole table: so the {count} foods that the curated core has too agree with it, and that is "
                "the factor of no other unit. It may be of another amount of food (a portion, dry matter) or another component. The other checks are done so")
        remedy = "Compare unit, amount of food and component of the column with the source, correct the profile or the file, and import again"
    return _column_finding(rule, "unit-slip", name, count, what, remedy)


def _out_of_order(table: Table, known: Table, pairs: pd.DataFrame, floors: dict[str, float], rules: Rules) -> pd.DataFrame:
    """Columns whose values belong to other foods: they differ from the core's food by food, and rank the foods otherwise.

    Judged on the very same foods where there are enough of them, else on those that are called alike, which differ more.
    """
    found = []
    exact, alike = rules.of("known-order")
    for name in (name for name in parts(exact.components) if table.has(name) and known.has(name)):
        for rule, those in ((exact, pairs[pairs["exact"]]), (alike, pairs)):
            compared = _compared(table, known, those, [name])
            own, theirs = compared.own[name], compared.known[name]
            both = own.notna() & theirs.notna()
            if both.sum() < rule.at_least_n:
                continue
            own, theirs = own[both], theirs[both]
            unlike = (_distance(own, theirs, floors[name]) > np.log10(rule.high)).mean()
            if unlike >= rule.relative and not own.rank().corr(theirs.rank()) >= rule.low:
                found.append(_order_finding(rule, name, own, theirs, unlike, floors[name]))
            break
    return joined(found)


def _order_finding(rule, name: str, own: pd.Series, theirs: pd.Series, unlike: float, floor: float) -> pd.DataFrame:
    sorted_apart = _distance(pd.Series(np.sort(own)), pd.Series(np.sort(theirs)), floor).median()
    zero = (own == 0).mean()
    if zero >= rule.relative:
        why = f"it is 0 for {zero:.0%}"
    elif sorted_apart <= rule.absolute:
        why = "its amounts as a whole are as there, so its rows look shifted, sorted or mixed up"
    else:
        why = "no exchange and no factor explains it, so a part of its rows may be in another unit or from another column"
    return _column_finding(
        rule, OUT_OF_ORDER, name, len(own),
        f"{name} does not fit its foods in the whole table: of the {len(own)} foods that the curated core has too, {unlike:.0%} have more than "
        f"{rule.high:g} times as much or as little, and {why}",
        "Compare the column with the source row by row, correct the file, and import again")


def _factors(rules: Rules, name: str) -> Iterator[float]:
    for rule in rules.of("known-factor"):
        if name in (parts(rule.components) or [name]):
            yield rule.high
            yield 1 / rule.high


def _column_finding(rule, check: str, components: str, count: int, what: str, remedy: str) -> pd.DataFrame:
    return finding_rows({
        "severity": [rule.severity], "check": check, "entry_id": "", "entry_name": "", "component": components, "value": float(count),
        "expected_low": np.nan, "expected_high": np.nan, "unit": "foods compared", "what": what, "remedy": remedy,
        "source_id": rule.source_id})


# ---------------------------------------------------------------- single values

def _far_from_the_same_food(table: Table, known: Table, exact: pd.DataFrame, rules: Rules, without: set[str]) -> pd.DataFrame:
    """Values far away from the very same food in the core, a zero of what it has plenty of too; not of the columns ``without``."""
    found = []
    names = known.entries["name"]
    called = exact.groupby("entry_id")["known_id"].first()
    for rule in rules.of("unlike-curated"):
        components = [name for name in parts(rule.components) if table.has(name) and known.has(name) and name not in without]
        compared = _compared(table, known, exact, components)
        for name in components:
            own, theirs = compared.own[name], compared.known[name]
            enough = rule.absolute / PER_GRAM[rule.unit]
            far = ((own > theirs * rule.high) & (own >= enough)) | ((own * rule.high < theirs) & (theirs >= enough))
            ids = far.index[far]
            unit = table.units[name]
            shown = theirs[ids].to_numpy() * PER_GRAM[unit]
            found.append(finding_rows({
                "severity": rule.severity, "check": rule.check, "entry_id": ids.to_numpy(),
                "entry_name": table.entries["name"].reindex(ids).to_numpy(), "component": name,
                "value": table.wide[name].reindex(ids).to_numpy(), "expected_low": shown / rule.high, "expected_high": shown * rule.high,
                "unit": unit,
                "what": [f"More than {rule.high:g} times away from the same food in the curated core, {known_id} ({names[known_id]}), which has "
                         f"{amount:.4g} {unit}" for known_id, amount in zip(called.reindex(ids), shown, strict=True)],
                "remedy": "Compare the value and its unit with the source; if it is another food, its name should say so",
                "source_id": rule.source_id}))
    return most_severe(joined(found), ["entry_id", "component"])
