"""Where the width of a figure comes from: the share of every input, on the figure's own basis.

:func:`pipeline.lineage.width_shares` has the arithmetic; here are the effects that it needs,
from the tables of a run or of a release (which calls the settled lines ``lines``).
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pipeline import lineage
from pipeline.stages import total_sums

BY = ["recipe_id", "variant_id", "figure", "unit"]
RECIPE, PER_100G = "recipe", "100g"


def figure_shares(tables: Mapping[str, pd.DataFrame], linear: pd.DataFrame) -> pd.DataFrame:
    """The share of each source of error in the variance of every figure; those of one figure sum to 1.

    ``tables``: contributions, lines, weighed, cooked, recipes, inputs, two_routes and figures, of
    one variant or of many; ``linear`` as :func:`pipeline.combinations.combinations` gives it. Returns
    recipe_id, variant_id, component, unit, basis (``recipe``, which a portion shares, or
    ``100g``, where the cooked weight counts too), source, kind, share; the largest first.
    """
    every = effects(tables)
    amounts = every.merge(linear, on="component")
    amounts["effect"] *= amounts["factor"]
    # Of a ratio a / m the effects are those of a less a / m times those of m, over m: shares need no division.
    figures = tables["figures"].rename(columns={"component": "figure"})
    per_100g = figures.loc[(figures["basis"] == PER_100G) & figures["value"].notna(), [*BY, "value"]]
    below = every[every["component"] == total_sums.MASS].merge(per_100g, on=total_sums.KEY)
    below["effect"] *= -below["value"] / 100
    columns = [*BY, "input_id", "effect"]
    whole = lineage.width_shares(amounts[columns], BY).assign(basis=RECIPE)
    ratio = lineage.width_shares(pd.concat([amounts[columns], below[columns]], ignore_index=True), BY).assign(basis=PER_100G)
    frame = pd.concat([whole, ratio], ignore_index=True).rename(columns={"figure": "component"})
    return frame[["recipe_id", "variant_id", "component", "unit", "basis", "source", "kind", "share"]]


def effects(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """How each component of each variant depends on each input (:func:`pipeline.stages.total_sums.uses`), from the tables of a release."""
    lines = tables["lines"]
    counted = lines[lines["counted"] & (lines["outcome"] == "accepted")]
    return total_sums.uses(tables["contributions"], counted, tables["weighed"], tables["cooked"], tables["recipes"], tables["inputs"],
                           tables["two_routes"])


def in_words(source: str, texts: Mapping[str, str], names: Mapping[str, str]) -> str:
    """A source of error as a reader would name it; ``texts`` of lines by line_id, ``names`` of entries by entry_id."""
    kind, _, rest = source.partition(":")
    parts = rest.split(":")
    line = next((f'"{texts[part]}"' for part in parts if part in texts), "")
    named = [names[part] for part in parts if part in names]
    entry = named[0] if named else ""
    words = {
        "quantity": f"how much is meant in {line}", "match": f"whether another food is meant in {line}",
        "composition": f"what {entry} holds", "edible": f"how much of {entry} is eaten",
        "routes": f"{entry} raw and cooked say different things", "finished-mass": "the weight of the finished dish",
        "density": f"the density {rest}", "yield": f"the cooked weight, factor {rest}", "retention": f"what stays in cooking, factor {rest}",
        "measure": f"the measure {':'.join(parts[:-1])}" + (f" in {line}" if line else "")}
    return words.get(kind, source)
