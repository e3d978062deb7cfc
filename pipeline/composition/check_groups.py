"""Checks against the like: values against those of the food group, slips of unit, zeros that hide a missing value.

Everything is on a logarithmic scale and robust: distance from the median in units of the scaled
median absolute deviation. ``kin`` are the entries of the group whose names begin with the same
term ("Beans, ..."); the group stands in where there are too few of them. That values are
compared with those of like foods is from the FAO/INFOODS guidelines (2012, from memory); the
method is the project's own, its numbers stand in ``reference/table_checks.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.composition.check_table import PER_GRAM, Rules, Table, finding_rows, findings, joined, most_severe, parts

MAD_TO_SIGMA = 1.4826  # of a normal distribution: 1 / (the normal quantile of 3/4)


@dataclass(frozen=True)
class Spread:
    """Per entry and component, of the positive values of the group (or kin): log10 median, scale, number."""

    median: pd.DataFrame
    scale: pd.DataFrame
    n: pd.DataFrame

    def distance(self, logs: pd.DataFrame) -> pd.DataFrame:
        """How many scales each value lies from the median; NaN where that is not known."""
        return (logs - self.median) / self.scale


class Norms(NamedTuple):
    """What is usual in the group, in the kin, and in the kin or else the group."""

    group: Spread
    kin: Spread
    closest: Spread


def logs_of(wide: pd.DataFrame) -> pd.DataFrame:
    """log10 of the positive values, NaN elsewhere."""
    return np.log10(wide.where(wide > 0))


def families(table: Table) -> tuple[pd.Series, pd.Series]:
    """The group of each entry and its kin: the group with the first term of the name."""
    group = table.entries["food_group"].astype("str")
    first = table.entries["name"].astype("str").str.split(",").str[0].str.strip().str.lower()
    return group, group + "/" + first


def spread(logs: pd.DataFrame, family: pd.Series, at_least_n: float, smallest_scale: float) -> Spread:
    """Median and scale of each family, given to each of its members; NaN where it has too few values."""
    grouped = logs.groupby(family)
    n = grouped.transform("count")
    median = grouped.transform("median").where(n >= at_least_n)
    scale = (logs - median).abs().groupby(family).transform("median") * MAD_TO_SIGMA
    return Spread(median, scale.clip(lower=smallest_scale).where(n >= at_least_n), n)


def spreads(table: Table, rules: Rules) -> Norms:
    """The spread of the group and of the kin. A few slips in the table do not move them."""
    logs = logs_of(table.wide)
    group, kin = families(table)
    of_group, of_kin = rules["group-spread"], rules["kin-spread"]
    by_group = spread(logs, group, of_group.at_least_n, of_group.absolute)
    by_kin = spread(logs, kin, of_kin.at_least_n, of_kin.absolute)
    return Norms(by_group, by_kin, closest_spread(by_group, by_kin))


def closest_spread(of_group: Spread, of_kin: Spread) -> Spread:
    """The kin's spread where there is one, else the group's."""
    return Spread(of_kin.median.fillna(of_group.median), of_kin.scale.where(of_kin.median.notna(), of_group.scale),
                  of_kin.n.where(of_kin.median.notna(), of_group.n))


def _cells(wrong: pd.DataFrame) -> list[tuple[str, pd.Series]]:
    """The columns that have any, each with its mask."""
    return [(column, wrong[column]) for column in wrong.columns[wrong.any()]]


def unit_slips(table: Table, rules: Rules, norms: Norms) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Values a whole 1000 or 100 times off, and the table with them put right.

    A slip is alone: the other values of the entry are where they belong, hardly another value of
    the group is as far out, and divided by the factor it lies in the middle of its like.
    """
    logs = logs_of(table.wide)
    of_group, closest = norms.group, norms.closest
    away = logs - closest.median
    distance = closest.distance(logs).abs()
    group, _ = families(table)
    usual = distance.median(axis=1)
    repaired = table.wide.copy()
    found = []
    for rule in rules.of("unit-slip"):
        for sign in (1, -1):
            power = sign * np.log10(rule.high)
            room = (rule.relative * closest.scale).clip(lower=rules["unit-slip-room"].high * abs(power))
            meets = (away - power).abs() <= room
            clear = (distance >= rule.low) & (closest.scale <= rule.absolute) & (closest.n >= rule.at_least_n)
            beyond = (logs - of_group.median.fillna(closest.median)) * sign > abs(power) / 2
            company = beyond.groupby(group).transform("sum") / beyond.groupby(group).transform("count").clip(lower=1)
            wanted = logs.columns.map(table.tagnames).isin(parts(rule.components))
            few = (beyond.groupby(group).transform("sum") <= 1) | (company <= rules["unit-slip-company"].high)
            wrong = (meets & clear & few).mul(wanted, axis=1)
            wrong = wrong.mul(usual <= rules["unit-slip-others"].high, axis=0).astype(bool)
            for column, mask in _cells(wrong):
                factor = f"{rule.high:g} times {'above' if sign > 0 else 'below'}"
                found.append(findings(
                    table, rule, mask, component=column, value=table.wide[column],
                    low=10 ** (closest.median[column] - room[column]), high=10 ** (closest.median[column] + room[column]),
                    unit=table.units[column],
                    what=f"About {factor} the foods like it, while the entry's other values are where they belong",
                    remedy="Look for a unit or a decimal point that slipped"))
                repaired.loc[mask, column] = table.wide.loc[mask, column] / 10 ** power
    return most_severe(joined(found), ["entry_id", "component"]), repaired


def zeros_for_missing(table: Table, rules: Rules) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Zeros, other than assumed ones, of a component that foods like it always have; and the table with
    the usual amount instead.

    "Always": nearly every known value of the kin (or of the group, where the kin are too few) is
    positive, and their median stands well above the smallest step of the column; or, in a table of
    any size, what no food with this much of another component is without.
    """
    rule = rules["zero-for-missing"]
    group, kin = families(table)
    zero = (table.wide == 0) & ~table.types.isin(("zero", "trace", "below-detection", "missing", ""))
    wide = table.wide.loc[:, zero.any()]
    positive = (wide > 0).where(wide.notna())
    step = 10.0 ** -wide.apply(_decimals) if len(wide.columns) else 1.0
    always = pd.DataFrame(False, index=wide.index, columns=wide.columns)
    medians = pd.DataFrame(np.nan, index=wide.index, columns=wide.columns)
    for family in (group, kin):  # what the kin say replaces what the group says
        grouped = positive.astype("float64").groupby(family)
        n, having = grouped.transform("count"), grouped.transform("sum")
        enough = n - 1 >= rule.at_least_n
        # The value in question is left out of its own share.
        has = having / (n - 1) >= rule.low
        present = wide.where(wide > 0).groupby(family)
        typical, smallest = present.transform("median"), present.transform("min")
        clear = typical.ge(rule.high * step, axis=1) & (smallest >= rule.absolute * typical)
        always, medians = (has & clear).where(enough, always), typical.where(enough, medians)
    for never in rules.of("zero-never"):
        for column in wide.columns[[table.tagnames[column] == never.components for column in wide.columns]]:
            always[column] |= (table.wide[column] == 0) & (table.grams(never.whole) >= never.low)
    wrong = zero & always.astype(bool).reindex(columns=zero.columns, fill_value=False)
    # With the usual amount, not without one: a sum that is wrong all the same must not become unknown and pass.
    repaired = table.wide.mask(wrong, medians.reindex(columns=zero.columns))
    found = [
        findings(table, rule, mask, component=column, value=table.wide[column], low=medians[column] * rule.absolute, high=np.nan,
                 unit=table.units[column], what="A zero that was not assumed, where foods like it always have some",
                 remedy="Find out whether it was measured; if not, its value type is missing")
        for column, mask in _cells(wrong)
    ]
    return joined(found), repaired


def _decimals(values: pd.Series) -> int:
    """The decimals a column is given with, 0 to 4: enough for nine in ten of its values."""
    known = values.dropna()
    return next((places for places in range(4) if np.isclose(known, known.round(places), atol=1e-9).mean() >= 0.9), 4) if len(known) else 0


def outliers(table: Table, rules: Rules, norms: Norms) -> pd.DataFrame:
    """Values far from those of the group and, where there are enough of them, of the kin and of the group in this state."""
    logs = logs_of(table.wide)
    group, _ = families(table)
    of_state = spread(logs, group + "/" + table.entries["state"], rules["group-spread"].at_least_n, rules["group-spread"].absolute)
    from_group, from_kin, from_state = (each.distance(logs).abs() for each in (norms.group, norms.kin, of_state))
    least = np.fmin(np.fmin(from_group, from_kin), from_state).where(from_group.notna())
    shown = norms.closest
    most = pd.Series({column: 100 * PER_GRAM.get(unit, np.inf) for column, unit in table.units.items()})
    found = []
    for rule in rules.of("group-outlier"):
        wanted = least > rule.high
        low = 10 ** (shown.median - rule.high * shown.scale)
        high = (10 ** (shown.median + rule.high * shown.scale)).clip(upper=most, axis=1)
        for column, mask in _cells(wanted):
            found.append(findings(
                table, rule, mask, component=column, value=table.wide[column], low=low[column], high=high[column],
                unit=table.units[column], what=_far(least.loc[mask, column], norms.group.n.loc[mask, column]),
                remedy="Compare with the source and with foods like it; it may well be right"))
    return most_severe(joined(found), ["entry_id", "component"])


def _far(distance: pd.Series, n: pd.Series) -> list[str]:
    return [f"{far:.0f} robust deviations from the median of its group ({count:.0f} values, logarithmic scale)"
            for far, count in zip(distance, n, strict=True)]


def swapped_in_rows(table: Table, rules: Rules, norms: Norms) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Two minerals (or two vitamins) of an entry that lie far out and, exchanged, lie where they belong; and the table exchanged back."""
    logs = logs_of(table.wide)
    closest = norms.closest
    far = closest.distance(logs).abs()
    repaired = table.wide.copy()
    found = []
    for rule in rules.of("swapped-in-row"):
        rows = []
        for one, other in combinations([name for name in parts(rule.components) if table.has(name)], 2):
            if table.units[one] != table.units[other]:
                continue
            nearer = np.minimum(far[one], far[other])
            wrong = exchange_fits(closest, logs, one, other, rule) & (nearer >= rule.absolute)
            rows += [(entry_id, one, other) for entry_id in logs.index[wrong]]
        # An entry with several explanations is exchanged by the first of them only.
        rows = list({entry_id: (entry_id, one, other) for entry_id, one, other in reversed(rows)}.values())
        for entry_id, one, other in rows:
            repaired.loc[entry_id, [one, other]] = table.wide.loc[entry_id, [other, one]].to_numpy()
        found.append(swap_rows(table, rule, rows))
    return joined(found), repaired


def exchange_fits(closest: Spread, logs: pd.DataFrame, one: str, other: str, rule) -> pd.Series:
    """Whether one of two values lies at least ``rule.high`` away, and both at most ``rule.low`` after an exchange."""
    before = [(logs[name] - closest.median[name]).abs() / closest.scale[name] for name in (one, other)]
    after = [(logs[name] - closest.median[there]).abs() / closest.scale[there] for name, there in ((one, other), (other, one))]
    return (np.maximum(*before) >= rule.high) & (np.maximum(*after) <= rule.low)


def swap_rows(table: Table, rule, rows: list[tuple[str, str, str]]) -> pd.DataFrame:
    return finding_rows({
        "severity": rule.severity, "check": rule.check, "entry_id": [entry_id for entry_id, _, _ in rows],
        "entry_name": [table.entries.at[entry_id, "name"] for entry_id, _, _ in rows],
        "component": [f"{one} + {other}" for _, one, other in rows],
        "value": [table.wide.at[entry_id, one] for entry_id, one, _ in rows],
        "expected_low": np.nan, "expected_high": np.nan, "unit": [table.units[one] for _, one, _ in rows],
        "what": [f"{one} and {other} each lie far from foods like it, and exchanged they do not" for _, one, other in rows],
        "remedy": "Compare the two columns with the source for this entry", "source_id": rule.source_id,
    })
