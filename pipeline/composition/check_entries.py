"""Checks of what an entry has at all: key components, how much of it is imputed, alcohol, density."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.composition.check_pairs import name_words
from pipeline.composition.check_table import Rules, Table, finding_rows, findings, joined, parts
from pipeline.units import VOLUME_UNITS, millilitres_per


def key_components(table: Table, values: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Entries without any value, entries that lack a key component, and values of entries that are not there."""
    none, some = rules["no-values"], rules["key-components"]
    empty = ~table.wide.notna().any(axis=1) if len(table.wide.columns) else pd.Series(True, index=table.wide.index)
    known = {name: _known(table, name) for name in parts(some.components)}
    lacking = ~pd.DataFrame(known).astype(bool)
    wrong = lacking.any(axis=1) & ~empty
    which = [", ".join(lacking.columns[row]) for row in lacking[wrong].to_numpy()]
    found = [
        findings(table, none, empty, what="The entry has no value at all", remedy="Add its values, or remove the entry"),
        findings(table, some, wrong, value=lacking.sum(axis=1).astype("float64"), high=0.0, low=0.0, unit="components",
                 what=[f"Has no value for {names}" for names in which],
                 remedy="Borrow the value from the same food in another table, or leave it missing: never 0"),
    ]
    orphan_rule = rules["values-without-entry"]
    orphans = sorted(set(values["entry_id"].unique()) - set(table.entries.index))
    found.append(finding_rows({
        "severity": orphan_rule.severity, "check": orphan_rule.check, "entry_id": orphans, "entry_name": "", "component": "",
        "value": np.nan, "expected_low": np.nan, "expected_high": np.nan, "unit": "", "what": "Has values, and is not among the entries",
        "remedy": "Add the entry, or remove the values", "source_id": orphan_rule.source_id,
    }))
    return joined(found)


def _known(table: Table, tagname: str) -> pd.Series:
    columns = [column for column, tag in table.tagnames.items() if tag == tagname]
    return table.wide[columns].notna().any(axis=1) if columns else pd.Series(False, index=table.wide.index)


def imputed_shares(table: Table, rules: Rules) -> pd.DataFrame:
    """Components most of whose values are imputed or borrowed, and entries most of whose key values are."""
    of_component, of_entry = rules["imputed-component"], rules["imputed-entry"]
    imputed, known = table.types.isin(("imputed", "borrowed")), table.wide.notna()
    n = known.sum()
    share = (imputed & known).sum() / n
    columns = [column for column in share.index if share[column] > of_component.high and n[column] >= of_component.at_least_n]
    whole_table = finding_rows({
        "severity": of_component.severity, "check": of_component.check, "entry_id": "", "entry_name": "",
        "component": [table.tagnames[column] for column in columns], "value": [share[column] for column in columns],
        "expected_low": 0.0, "expected_high": of_component.high, "unit": "share of values",
        "what": [f"{share[column]:.0%} of {n[column]} values in the table are imputed or borrowed" for column in columns],
        "remedy": "Widen their intervals, or look for analysed values", "source_id": of_component.source_id,
    })
    key = [column for column, tag in table.tagnames.items() if tag in parts(of_entry.components)]
    n_key = known[key].sum(axis=1)
    share_key = (imputed[key] & known[key]).sum(axis=1) / n_key.clip(lower=1)
    wrong = (share_key > of_entry.high) & (n_key >= of_entry.at_least_n)
    per_entry = findings(
        table, of_entry, wrong, value=share_key, low=0.0, high=of_entry.high, unit="share of values",
        what=[f"{part:.0%} of its values for {', '.join(parts(of_entry.components))} are imputed or borrowed" for part in share_key[wrong]],
        remedy="Prefer an entry with analysed values where there is one")
    return joined([whole_table, per_entry])


def alcohol(table: Table, rules: Rules) -> pd.DataFrame:
    """Entries whose name says that they hold alcohol, and that have none or no value for it."""
    rule = rules["alcohol-by-name"]
    if not table.has("ALC"):
        return finding_rows({})
    words = name_words(table.entries["name"])
    says, unsays = frozenset(parts(rule.words, ";")), frozenset(parts(rules["alcohol-free"].words, ";"))
    named = words.map(lambda name: bool(name & says) and not name & unsays)
    value = table.grams("ALC")
    return findings(
        table, rule, named & ~(value > 0), component="ALC", value=value, low=rule.low, unit="g",
        what="The name says that it holds alcohol, and it has none",
        remedy="Add the alcohol; energy and the sum of proximates depend on it")


def densities(table: Table, measures: pd.DataFrame | None, rules: Rules) -> pd.DataFrame:
    """Densities in g/ml, given as a component (DEN) or by a volume in the table's household measures."""
    rule = rules["density"]
    found = []
    for column in (column for column, tag in table.tagnames.items() if tag == "DEN"):
        values = table.wide[column]
        found.append(findings(
            table, rule, ~values.between(rule.low, rule.high) & values.notna(), component="DEN", value=values, low=rule.low,
            high=rule.high, unit="g/ml", what="No food has this density", remedy="Look for a slip of unit: kg/m3 is 1000 times g/ml"))
    if measures is None or measures.empty:
        return joined(found)
    # A table's own volumes are those of its country; the US sizes are the smaller, and the limits are wide.
    size = {unit: millilitres_per(unit, "us").middle for unit in VOLUME_UNITS}
    volumes = measures[measures["measure"].isin(size) & (measures["unit"] == "g") & measures["scope_key"].isin(table.entries.index)]
    density = volumes["middle"] / volumes["measure"].map(size).astype("float64")
    wrong = ~density.between(rules["density-measure"].low, rules["density-measure"].high) & density.notna()
    rows = volumes[wrong]
    by_measure = rules["density-measure"]
    found.append(finding_rows({
        "severity": by_measure.severity, "check": by_measure.check, "entry_id": rows["scope_key"].to_numpy(),
        "entry_name": table.entries["name"].reindex(rows["scope_key"]).to_numpy(), "component": "", "value": density[wrong].to_numpy(),
        "expected_low": by_measure.low, "expected_high": by_measure.high, "unit": "g/ml",
        "what": [f"A {measure} of it weighs {grams:g} g, a density that no food has as it is measured"
                 for measure, grams in zip(rows["measure"], rows["middle"], strict=True)],
        "remedy": "Compare the measure with the source: its unit, its number or its weight", "source_id": by_measure.source_id,
    }))
    return joined(found)
