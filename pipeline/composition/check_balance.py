"""Checks inside one entry: what its own values must add up to, whatever other foods hold.

The relations are those that food composition compilers check before they publish (FAO/INFOODS
Guidelines for Checking Food Composition Data prior to the Publication of a User Table, 2012;
from memory). Every number stands in ``reference/table_checks.csv``.
"""

from __future__ import annotations

import pandas as pd

from pipeline.composition.check_table import PER_GRAM, Rules, Table, finding_rows, findings, joined, most_severe, parts, together

FACTOR_SETS = ("energy-atwater", "energy-eu")
ENERGY_PARTS = ("PROCNT", "FAT", "CHOCDF", "FIBTG", "ALC")


def impossible_values(table: Table, rules: Rules) -> pd.DataFrame:
    """Negative values, and more than 100 g of a component in 100 g of food."""
    found = []
    negative, above = rules["negative-value"], rules["above-100-g"]
    for column, unit in table.units.items():
        values = table.wide[column]
        found.append(findings(
            table, negative, values < negative.low, component=column, value=values, low=negative.low, unit=unit,
            what="A negative amount cannot be", remedy="Correct the sign; if it stands for a code, give it its value type"))
        if unit in PER_GRAM:
            limit = (above.high + above.absolute) * PER_GRAM[unit]
            found.append(findings(
                table, above, values > limit, component=column, value=values, low=0.0, high=above.high * PER_GRAM[unit],
                unit=unit, what="More than 100 g in 100 g of food", remedy="Look for a slip of unit, decimal point or denominator"))
    return joined(found)


def proximates(table: Table, rules: Rules) -> pd.DataFrame:
    """The sum of water, protein, fat, carbohydrate, alcohol and ash of each entry that has the first four.

    A table that has no ash for an entry gets it estimated from its minerals (potassium as the
    carbonate, sodium as the chloride, and so on); the finding is then a warning at most.
    """
    total = pd.Series(float("nan"), index=table.wide.index)
    used = pd.Series("", index=table.wide.index, dtype="str")
    for rule in rules.of("proximates-parts"):
        named = parts(rule.components)
        present = sum((table.grams(name) for name in named[1:]), table.grams(named[0]))
        optional = sum((table.grams(name).fillna(0) for name in parts(rule.whole)), 0.0)
        used = used.mask(total.isna() & present.notna(), rule.components)
        total = total.fillna(present + optional)
    ash = table.grams("ASH")
    estimated = sum((table.grams(rule.components).fillna(0) * rule.high for rule in rules.of("ash-estimate")), 0.0)
    total = total + ash.fillna(estimated)
    found = []
    for rule in rules.of("proximates"):
        outside = ~total.between(rule.low, rule.high) & total.notna()
        for known in (True, False):
            severity_rule = rule if known or rule.severity == "note" else rule._replace(severity="warning")
            words = "with ash" if known else "with ash estimated from the minerals"
            wrong = outside & (ash.notna() == known)
            for components in sorted(set(used[wrong])):
                found.append(findings(
                    table, severity_rule, wrong & (used == components), component=together(parts(components)), value=total, low=rule.low,
                    high=rule.high, unit="g", what=f"The sum of the proximates ({words}) is not near 100 g",
                    remedy="Compare water, protein, fat, carbohydrate, alcohol and ash with the source"))
    return most_severe(joined(found), ["entry_id"])


def _by_factors(table: Table, rules: Rules, prefix: str) -> pd.Series:
    """Energy in kcal by one set of factors; fibre takes its own factor where the set has one."""
    grams = {name: table.grams(name) for name in ENERGY_PARTS}
    factor = {name: rules[f"{prefix}-{name}"].high for name in ENERGY_PARTS}
    fibre = grams["FIBTG"].fillna(0).clip(upper=grams["CHOCDF"])
    return (
        factor["PROCNT"] * grams["PROCNT"] + factor["FAT"] * grams["FAT"] + factor["CHOCDF"] * (grams["CHOCDF"] - fibre)
        + factor["FIBTG"] * fibre + factor["ALC"] * grams["ALC"].fillna(0)
    )


def energy_limits(table: Table, rules: Rules, rule) -> tuple[pd.Series, pd.Series]:
    """Lowest and highest energy in kcal by the general Atwater and the EU factors, with the tolerance of the rule."""
    both = pd.concat([_by_factors(table, rules, name) for name in FACTOR_SETS], axis=1)
    low, high = both.min(axis=1, skipna=False), both.max(axis=1, skipna=False)
    return low * (1 - rule.relative) - rule.absolute, high * (1 + rule.relative) + rule.absolute


def energy(table: Table, rules: Rules) -> pd.DataFrame:
    """Energy against the published factors, and kJ against kcal.

    What the general Atwater and the EU factors give, with what lies between them, is what is
    expected. The room that a warning leaves covers most specific factors (those of bran, cocoa
    and some spices are lower); the room that an error leaves covers them all.
    """
    found = []
    kj_per_kcal = rules["energy-kj-per-kcal"]
    kcal = table.energy_kcal(kj_per_kcal.high)
    kj = table.energy_kj()
    if kj is not None:
        expected = kcal * kj_per_kcal.high
        tolerance = kj_per_kcal.relative * expected + kj_per_kcal.absolute
        found.append(findings(
            table, kj_per_kcal, (kj - expected).abs() > tolerance, component="ENERC", value=kj, low=expected - tolerance,
            high=expected + tolerance, unit="kJ", what="Energy in kJ does not agree with energy in kcal",
            remedy="Correct the one that does not agree with the proximates"))
    for rule in rules.of("energy"):
        low, high = energy_limits(table, rules, rule)
        found.append(findings(
            table, rule, (kcal < low) | (kcal > high), component="ENERC", value=kcal, low=low.clip(lower=0), high=high,
            unit="kcal", what="Energy is far from both the general Atwater and the EU factors",
            remedy="Recompute energy from protein, fat, carbohydrate, fibre and alcohol; polyols and organic acids may explain it"))
    return most_severe(joined(found), ["entry_id", "unit"])


def parts_in_whole(table: Table, rules: Rules) -> pd.DataFrame:
    """Parts that together exceed the component they are part of.

    Parts that are not known count as nothing: what is known must fit in already. A rule
    without a whole compares with its own ``high`` in g.
    """
    found = []
    for rule in rules.of("parts-in-whole"):
        grams = pd.concat([table.grams(name) for name in parts(rule.components)], axis=1)
        sums = grams.sum(axis=1, min_count=1)
        whole = table.grams(rule.whole) if rule.whole else pd.Series(rule.high, index=sums.index)
        limit = whole * (1 + rule.relative) + rule.absolute
        named = rule.whole or f"{rule.high:g} g"
        found.append(findings(
            table, rule, sums > limit, component=together(parts(rule.components) + parts(rule.whole)),
            value=sums, low=0.0, high=whole, unit="g", what=f"The parts are more than {named}: {rule.note}",
            remedy=f"Compare the parts and {named} with the source", check=rule.words))
    return most_severe(joined(found), ["entry_id", "check", "component"])


def outside_own_range(values: pd.DataFrame, table: Table, rules: Rules) -> pd.DataFrame:
    """Values that lie outside the minimum and maximum that stand beside them."""
    rule = rules["outside-own-range"]
    slack = rule.relative * values["value"].abs() + rule.absolute
    wrong = (values["value"] < values["minimum"] - slack) | (values["value"] > values["maximum"] + slack)
    wrong &= ~values["value_type"].isin(("trace", "below-detection")) & values["entry_id"].isin(table.entries.index)
    rows = values[wrong]
    return findings_of_rows(
        table, rule, rows, low=rows["minimum"], high=rows["maximum"],
        what="The value is outside its own minimum and maximum", remedy="Compare all three with the source")


def findings_of_rows(table: Table, rule, rows: pd.DataFrame, low, high, what: str, remedy: str) -> pd.DataFrame:
    """One finding per row of the values table."""
    return finding_rows({
        "severity": rule.severity, "check": rule.check, "entry_id": rows["entry_id"].to_numpy(),
        "entry_name": table.entries["name"].reindex(rows["entry_id"]).to_numpy(), "component": rows["component"].to_numpy(),
        "value": rows["value"].to_numpy(), "expected_low": low.to_numpy(), "expected_high": high.to_numpy(),
        "unit": rows["unit"].to_numpy(), "what": what, "remedy": remedy, "source_id": rule.source_id,
    })
