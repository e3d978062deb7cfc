"""``potash tables check``: what food composition compilers check before they publish a table.

The checks follow the FAO/INFOODS Guidelines for Checking Food Composition Data prior to the
Publication of a User Table/Database (version 1.0, 2012), from memory. A finding is a reason to
look, not a proof: ``error`` is what cannot be (or is dangerous enough to stop for), ``warning``
what a compiler would ask about, ``note`` what is worth knowing. All thresholds stand in
``reference/table_checks.csv`` with their sources.

One fault gives one finding: a value that is a slip of unit, an exchange or a zero that hides a
missing value is put right before the sums are checked again, and what is gone then is not
reported beside it, unless it is graver.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from pipeline.composition import check_balance, check_columns, check_entries, check_groups, check_known, check_pairs
from pipeline.composition.check_table import (
    FINDING_COLUMNS, SEVERITIES, Rules, finding_rows, joined, lay_out, members, read_thresholds,
)

__all__ = ["FINDING_COLUMNS", "SEVERITIES", "check", "exit_code", "read_thresholds", "summary"]


def check(
    entries: pd.DataFrame, values: pd.DataFrame, thresholds: pd.DataFrame, measures: pd.DataFrame | None = None,
    known: tuple[pd.DataFrame, pd.DataFrame] | None = None, decided: dict[str, pd.DataFrame] | None = None,
) -> pd.DataFrame:
    """What the checks find in one composition table, the most severe first.

    ``entries`` and ``values`` are in the common form (``tables.Entries``, ``tables.Values``; more
    columns do no harm, and impossible values need not have been refused yet), ``thresholds`` from
    :func:`read_thresholds`, ``measures`` the table's household measures (columns scope_key =
    entry_id, measure, middle, unit) where it has them, ``known`` entries and values of the curated
    core, with which the same foods are compared; ``decided`` says which these are where the names do not
    (``check_same.DECIDED``).

    Gives severity, check, entry_id, entry_name (both "" for the table as a whole), component
    (tagnames joined by " + "), value, expected_low, expected_high (null: open or not a number),
    unit, what, remedy, source_id. Raises InputError when a threshold is missing.
    """
    rules = Rules(thresholds)
    table = lay_out(entries, values)
    found = [
        check_pairs.duplicates(entries, table, rules),
        _values_twice(table, values, rules),
        check_entries.key_components(table, values, rules),
        check_entries.imputed_shares(table, rules),
        check_entries.densities(table, measures, rules),
        check_balance.outside_own_range(values, table, rules),
        check_balance.impossible_values(table, rules),
    ]
    table = table.with_values(table.wide.mask(table.wide < 0))
    unlike, wide = check_known.against_known(table, lay_out(*known) if known else None, rules, decided)
    found.append(unlike)
    table = table.with_values(wide)
    out_of_order = set(unlike.loc[unlike["check"] == check_known.OUT_OF_ORDER, "component"])
    swapped, wide = check_columns.swapped_columns(table, rules)
    if not any(out_of_order & set(members(component)) for component in swapped["component"]):  # else it is explained already
        found.append(swapped)
        table = table.with_values(wide)
    as_given = table
    norms = check_groups.spreads(table, rules)
    explanations: list[pd.DataFrame] = []
    for repair in (
        partial(check_groups.unit_slips, norms=norms),
        check_groups.zeros_for_missing,
        partial(check_groups.swapped_in_rows, norms=norms),
        partial(check_columns.swapped_macronutrients, norms=norms),
    ):
        rows, wide = repair(table, rules)
        explanations.append(rows)
        table = table.with_values(wide)
    explained = joined(explanations)
    found.append(explained)
    for balance in (
        check_balance.proximates, check_balance.energy, check_balance.parts_in_whole, check_pairs.raw_against_cooked,
    ):
        found.append(_not_explained(balance(as_given, rules), balance(table, rules), explained))
    found.append(check_entries.alcohol(as_given, rules))
    outliers = check_groups.outliers(table, rules, norms)
    return _ordered(_one_each(joined(found), outliers))


def _values_twice(table, values: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    rule = rules["value-twice"]
    rows = values[values.duplicated(["entry_id", "component", "unit"]) & values["entry_id"].isin(table.entries.index)]
    return finding_rows({
        "severity": rule.severity, "check": rule.check, "entry_id": rows["entry_id"].to_numpy(),
        "entry_name": table.entries["name"].reindex(rows["entry_id"]).to_numpy(), "component": rows["component"].to_numpy(),
        "value": rows["value"].to_numpy(), "expected_low": np.nan, "expected_high": np.nan, "unit": rows["unit"].to_numpy(),
        "what": "The component occurs a second time for this entry", "remedy": "Keep the one that is right",
        "source_id": rule.source_id,
    })


def _not_explained(as_given: pd.DataFrame, put_right: pd.DataFrame, explanations: pd.DataFrame) -> pd.DataFrame:
    """The findings that stay when slips are put right, and those graver than the slip that would explain them.

    Putting right never adds a finding, as it may be wrong; and a doubt must not hide an error.
    """
    keys = ["check", "entry_id", "component"]
    stay = pd.MultiIndex.from_frame(as_given[keys]).isin(pd.MultiIndex.from_frame(put_right[keys]))
    rank = {severity: place for place, severity in enumerate(SEVERITIES)}
    gravest = explanations["severity"].map(rank).groupby(explanations["entry_id"]).min()
    graver = as_given["severity"].map(rank).astype("float64") < as_given["entry_id"].map(gravest).astype("float64")
    return as_given[stay | graver.to_numpy()]


def _one_each(found: pd.DataFrame, outliers: pd.DataFrame) -> pd.DataFrame:
    """The findings without those that another one explains.

    More than 100 g in 100 g, or unlike the same food elsewhere, where an error says that the value is a slip of unit; far
    from the group, where a value is named in a finding of another check.
    """
    slips = found[(found["check"] == "unit-slip") & (found["severity"] == "error")]
    above = found["check"].isin(("value-above-100-g", "unlike-curated")) & _keys(found).isin(set(_keys(slips)))
    found = found[~above]
    graver = found[(found["severity"] != "note") & (found["component"] != "") & (found["check"] != "values-imputed")]
    named = {
        (entry_id, part) for entry_id, component in zip(graver["entry_id"], graver["component"], strict=True) for part in members(component)
    }
    kept = [(entry_id, component) not in named
            for entry_id, component in zip(outliers["entry_id"], outliers["component"], strict=True)]
    return joined([found, outliers[kept]])


def _keys(found: pd.DataFrame) -> pd.Series:
    return found["entry_id"] + "/" + found["component"]


def _ordered(found: pd.DataFrame) -> pd.DataFrame:
    """By severity, check, entry, component: the same table gives the same rows in the same order."""
    order = pd.Categorical(found["severity"], SEVERITIES, ordered=True)
    keys = ["_order", "check", "entry_id", "component", "unit", "what"]
    ordered = found.assign(_order=order).sort_values(keys, kind="stable")
    return ordered.drop(columns="_order").drop_duplicates().reset_index(drop=True)


def summary(found: pd.DataFrame) -> pd.DataFrame:
    """Counts for the terminal: columns check, error, warning, note, total; the last row is all checks together.

    The checks with errors come first, then those with warnings, the most frequent first.
    """
    counts = pd.crosstab(found["check"], found["severity"]).reindex(columns=list(SEVERITIES), fill_value=0)
    counts = counts.assign(total=counts.sum(axis=1)).reset_index()
    counts = counts.sort_values([*SEVERITIES, "check"], ascending=[False, False, False, True])
    total = pd.DataFrame([{"check": "all checks", **counts.drop(columns="check").sum().to_dict()}])
    return pd.concat([counts, total], ignore_index=True).astype({"check": "str", **dict.fromkeys([*SEVERITIES, "total"], "int64")})


def exit_code(found: pd.DataFrame) -> int:
    """1 when there is a finding of severity error, else 0."""
    return int((found["severity"] == "error").any())
