"""Which values differ beyond the precision in which the two tables print them.

Two printed numbers stand for ranges: "1.2" for 1.15 to 1.25. A difference is rounding when
the finer number, rounded as the coarser one is, gives the coarser one; the precision is read
from the text as published, or from the decimals of the value where no text is kept. One
thing the text does not tell: a table that drops trailing zeros prints 10.00 as "10". Where a
component has decimals in a table and no text of it ever ends in a zero after the point, a
whole number is taken to be as precise as that component's values usually are there, so that
a real change from 10 to 10.4 is not waved through. The rule is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline import units
from pipeline.harm import HARM_ORDER

READ = ["entry_id", "component", "unit", "value", "value_type", "original", "original_unit"]
CHANGE_COLUMNS = [
    "change", "entry_id_a", "entry_id_b", "name_b", "component", "unit", "value_a", "value_b", "difference",
    "relative_change", "value_type_a", "value_type_b", "original_a", "original_b"]
COUNT_COLUMNS = [
    "component", "unit", "only_in", "compared", "changed", "up", "down", "types_changed", "became_present", "became_missing",
    "rounding", "median_relative_change", "largest_relative_change", "largest_entry_id", "largest_name"]
MASS_UNITS = ("g", "mg", "ug")
_NUMBER = r"(?=[.,]?\d)(\d*)(?:[.,](\d+))?(?:[eE]([+-]?\d+))?"


def half_units(values: pd.DataFrame) -> pd.Series:
    """Half a unit of the last printed digit of each value, in the value's unit (NaN where there is no value).

    ``values`` has the columns ``READ``. A value converted on import ("0.05 g", kept as
    50 mg) has the precision of the text, converted with it.
    """
    value = values["value"]
    codes, uniques = pd.factorize(values["original"])
    parsed = _parsed(pd.Series(uniques, dtype="str"))
    printed, decimals = (parsed[name].to_numpy()[codes] for name in ("number", "decimals"))
    unread = np.isnan(printed) & value.notna().to_numpy()
    if unread.any():
        own = _parsed(value[unread].map(lambda number: f"{number:.12g}").astype("str"))
        printed[unread], decimals[unread] = own["number"], own["decimals"]
    decimals = _with_dropped_zeros(values, printed, decimals)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(printed > 0, value.to_numpy() / printed, 1.0)
    half = 0.5 * 10.0 ** -decimals * np.where(factor > 0, factor, 1.0)
    # No number is printed more coarsely than by its first digit.
    half = np.where(value.to_numpy() > 0, np.fmin(half, 0.5 * value.to_numpy()), half)
    return pd.Series(half, index=values.index).where(value.notna())


def _parsed(texts: pd.Series) -> pd.DataFrame:
    """The first number of each text and its decimals; NaN where there is none."""
    plain = texts.str.replace(r"(?<=\d)[\s\u00a0\u202f](?=\d)", "", regex=True)
    plain = plain.str.replace(r"(?<=\d)[,.](?=\d{3}(?:[,.]))", "", regex=True)  # 1,234.5 and 1.234,5
    parts = plain.str.extract(_NUMBER)
    whole, fraction = parts[0].fillna(""), parts[1].fillna("")
    power = pd.to_numeric(parts[2], errors="coerce").fillna(0.0).astype("float64")
    number = pd.to_numeric((whole + "." + fraction).where((whole + fraction) != "", None), errors="coerce").astype("float64")
    decimals = fraction.str.len().astype("float64") - power
    return pd.DataFrame({"number": number * 10.0 ** power, "decimals": decimals.where(number.notna())}).astype("float64")


def _with_dropped_zeros(values: pd.DataFrame, printed: np.ndarray, decimals: np.ndarray) -> np.ndarray:
    """``decimals``, with whole numbers raised to what their component usually has where trailing zeros are dropped."""
    key = values["component"].astype("str") + "/" + values["unit"].astype("str")
    ends_in_zero = values["original"].str.contains(r"[.,]\d*0\D*$", regex=True)
    rows = pd.DataFrame({"key": key.to_numpy(), "decimals": decimals})
    keeps = set(rows.loc[ends_in_zero.to_numpy(), "key"])
    told = rows[(printed > 0) & ~rows["key"].isin(keeps)]
    usual = told.groupby(["key", "decimals"]).size().reset_index(name="rows").sort_values(["rows", "decimals"]).groupby("key")["decimals"].last()
    raised = rows["key"].map(usual).to_numpy(dtype="float64")
    return np.where(decimals == 0, np.fmax(decimals, raised), decimals)


def joined(values_a: pd.DataFrame, values_b: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """One row per paired entry and component that both tables have, with both values and whether and how they differ.

    Columns: pair (row of ``pairs``), component, unit, and value, value_type, original of
    each side; ``change`` ("", value, value-type, value-and-type, rounding). A component that
    a table has, but not for this entry, counts as missing there. Units are those of A.
    """
    both = pairs[(pairs["entry_id_a"] != "") & (pairs["entry_id_b"] != "")]
    values_b = in_units_of(values_a, values_b)
    keys = set(_keys(values_a)) & set(_keys(values_b))
    sides = [_side(values, both[f"entry_id_{side}"], keys, side) for values, side in ((values_a, "a"), (values_b, "b"))]
    rows = sides[0].merge(sides[1], on=["pair", "component", "unit"], how="outer")
    for side in "ab":
        rows[f"value_type_{side}"] = rows[f"value_type_{side}"].fillna("missing")
        rows[f"original_{side}"] = rows[f"original_{side}"].fillna("")
    return rows.assign(change=_change(rows))


def _keys(values: pd.DataFrame) -> list[tuple[str, str]]:
    return list(values[["component", "unit"]].drop_duplicates().itertuples(index=False, name=None))


def in_units_of(values_a: pd.DataFrame, values_b: pd.DataFrame) -> pd.DataFrame:
    """``values_b`` with each component that A has in another unit of mass alone converted to A's unit."""
    units_a, units_b = ({component: rows["unit"].tolist() for component, rows in values[["component", "unit"]].drop_duplicates()
                         .groupby("component")} for values in (values_a, values_b))
    factors = {}
    for component in units_a.keys() & units_b.keys():
        one, other = units_a[component], units_b[component]
        if len(one) == len(other) == 1 and one != other and {*one, *other} <= set(MASS_UNITS):
            factors[component] = (float(units.registry().Quantity(1, other[0]).to(one[0]).magnitude), one[0])
    if not factors:
        return values_b
    affected = values_b["component"].isin(factors)
    scale = values_b.loc[affected, "component"].map({name: factor for name, (factor, _) in factors.items()})
    changed = values_b.copy()
    changed.loc[affected, "value"] *= scale
    changed.loc[affected, "unit"] = values_b.loc[affected, "component"].map({name: unit for name, (_, unit) in factors.items()})
    return changed


def _side(values: pd.DataFrame, ids: pd.Series, keys: set[tuple[str, str]], side: str) -> pd.DataFrame:
    wanted = pd.MultiIndex.from_frame(values[["component", "unit"]]).isin(list(keys)) if keys else np.zeros(len(values), dtype=bool)
    half = half_units(values)[wanted]
    rows = values[wanted]
    pair = rows["entry_id"].map(pd.Series(ids.index, index=ids.to_numpy()))
    rows = rows[["component", "unit", "value", "value_type", "original"]].rename(
        columns={name: f"{name}_{side}" for name in ("value", "value_type", "original")})
    rows = rows.assign(**{f"half_{side}": half, "pair": pair})
    return rows[rows["pair"].notna()].astype({"pair": "int64"})


def _change(rows: pd.DataFrame) -> np.ndarray:
    one, other = rows["value_a"].to_numpy(), rows["value_b"].to_numpy()
    apart = np.abs(other - one)
    noise = 1e-9 * np.fmax(np.abs(one), np.abs(other))
    coarser = np.fmax(rows["half_a"].to_numpy(), rows["half_b"].to_numpy())
    with np.errstate(invalid="ignore"):
        beyond = apart > coarser * (1 + 1e-9) + noise
        rounding = (apart > noise) & ~beyond
    types = (rows["value_type_a"] != rows["value_type_b"]).to_numpy()
    return np.select([beyond & types, beyond, types, rounding], ["value-and-type", "value", "value-type", "rounding"], "")


def changes(rows: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """The rows of :func:`joined` that differ, columns ``CHANGE_COLUMNS``; what can harm most and differs most first.

    ``relative_change`` is (B - A) / A, null from zero and where a side has no value.
    """
    found = rows[rows["change"] != ""]
    named = pairs.loc[found["pair"], ["entry_id_a", "entry_id_b", "name_b"]].set_index(found.index)
    table = pd.concat([found, named], axis="columns")
    table = table.assign(difference=table["value_b"] - table["value_a"], relative_change=relative(table["value_a"], table["value_b"]))
    order = pd.DataFrame({"rounding": table["change"] == "rounding", "harm": harm(table["component"]),
                          "size": -size(table["value_a"], table["value_b"]), "component": table["component"],
                          "unit": table["unit"], "entry_id": table["entry_id_b"]}).sort_values(
        ["rounding", "harm", "size", "component", "unit", "entry_id"])
    return table.loc[order.index, CHANGE_COLUMNS].reset_index(drop=True)


def harm(components: pd.Series) -> pd.Series:
    """The place of each component in ``HARM_ORDER``; the others after them, all alike."""
    return components.map({name: place for place, name in enumerate(HARM_ORDER)}).fillna(len(HARM_ORDER)).astype("int64")


def relative(before: pd.Series, after: pd.Series) -> pd.Series:
    """(after - before) / before; null where either is unknown or before is zero."""
    return (after - before) / before.where(before > 0)


def size(before: pd.Series, after: pd.Series) -> pd.Series:
    """|after - before| over the greater of the two, 0 to 1: ten times and a tenth are as far; from or to zero
    or nothing is 1, and 0 where both are unknown."""
    greater = np.fmax(before, after)
    apart = ((after - before).abs() / greater.where(greater > 0)).fillna(0.0)
    return apart.mask(before.isna() ^ after.isna(), 1.0)


def counts(
    rows: pd.DataFrame, pairs: pd.DataFrame, values_a: pd.DataFrame, values_b: pd.DataFrame, components: pd.DataFrame,
) -> pd.DataFrame:
    """One row per component and unit of either table, columns ``COUNT_COLUMNS``.

    ``only_in`` "A" or "B": the other table has no value of it, and nothing was compared.
    ``changed`` (``up``, ``down``): beyond rounding. ``became_present`` and ``became_missing``
    are among ``types_changed``. Relative changes are of the changed values, null from zero;
    the largest is the farthest either way. What can harm most comes first, then the order
    of ``reference/components.csv``.
    """
    values_b = in_units_of(values_a, values_b)
    in_a, in_b = set(_keys(values_a)), set(_keys(values_b))
    rank = {(row.component, row.unit): row.order for row in components.itertuples()}
    harmful = {name: place for place, name in enumerate(HARM_ORDER)}
    ordered = sorted(in_a | in_b, key=lambda key: (harmful.get(key[0], 99), rank.get(key, 1e9), key))
    groups = dict(iter(rows.groupby(["component", "unit"])))
    found = [_counted(key, "" if key in in_a & in_b else "A" if key in in_a else "B", groups.get(key, rows.iloc[:0]), pairs)
             for key in ordered]
    return pd.DataFrame(found, columns=COUNT_COLUMNS)


def _counted(key: tuple[str, str], only_in: str, rows: pd.DataFrame, pairs: pd.DataFrame) -> dict:
    changed = rows[rows["change"].isin(["value", "value-and-type"])]
    by = relative(changed["value_a"], changed["value_b"])
    apart = size(changed["value_a"], changed["value_b"])
    largest = apart.idxmax() if len(apart) else None
    pair = pairs.loc[rows.at[largest, "pair"]] if largest is not None else None
    types = rows["value_type_a"] != rows["value_type_b"]
    return {
        "component": key[0], "unit": key[1], "only_in": only_in, "compared": len(rows), "changed": len(changed),
        "up": int((changed["value_b"] > changed["value_a"]).sum()), "down": int((changed["value_b"] < changed["value_a"]).sum()),
        "types_changed": int(types.sum()), "became_present": int((types & (rows["value_type_a"] == "missing")).sum()),
        "became_missing": int((types & (rows["value_type_b"] == "missing")).sum()),
        "rounding": int((rows["change"] == "rounding").sum()), "median_relative_change": by.median() if len(by) else float("nan"),
        "largest_relative_change": float(by[largest]) if largest is not None else float("nan"),
        "largest_entry_id": "" if pair is None else pair["entry_id_b"], "largest_name": "" if pair is None else pair["name_b"],
    }
