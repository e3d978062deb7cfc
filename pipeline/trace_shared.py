"""What the traces of one release have in common, computed once."""

from __future__ import annotations

from functools import cached_property

import pandas as pd

from pipeline import lineage
from pipeline.combinations import combinations
from pipeline.released import Evidence
from pipeline.stages import total_shares
from pipeline.stages.total_inputs import measure_input_id


class Shared:
    """What the traces of one release have in common; ``whole`` where many are made, so that all shares are computed at once."""

    def __init__(self, evidence: Evidence, whole: bool = False):
        self.evidence, self.whole = evidence, whole
        self.told: dict[tuple[str, ...], set[int]] = {}  # by variant: lines that were told
        self.cited: dict[str, list[dict[str, str]]] = {}  # by recipe: sources that were cited
        self._measures: dict[str, dict[str, str]] = {}

    @cached_property
    def linear(self) -> pd.DataFrame:
        """What every figure is made of (:func:`pipeline.combinations.combinations`), from the evidence."""
        factors = self.evidence.rows("factors", file="energy_factors")
        energy = factors.pivot(index="row_id", columns="column", values="value").astype(float)
        energy = energy.rename_axis("component").reset_index()
        return combinations(self.evidence.table("values")[["component", "unit"]].drop_duplicates(), energy)

    @cached_property
    def terms(self) -> dict[tuple[str, str], list[tuple[str, float]]]:
        """The components and factors of each figure and unit."""
        found: dict[tuple[str, str], list[tuple[str, float]]] = {}
        for one in self.linear.to_dict("records"):
            found.setdefault((one["figure"], one["unit"]), []).append((one["component"], one["factor"]))
        return found

    def measures(self, recipe_id: str) -> dict[str, str]:
        """The id of the measure input of every line of a recipe."""
        if not self._measures:
            weighed = self.evidence.table("weighed")
            here = weighed if self.whole else _of_recipe(weighed, recipe_id)
            for line_id, input_id in zip(here["line_id"], measure_input_id(here), strict=True):
                self._measures.setdefault(line_id.split("/")[0], {})[line_id] = input_id
        return self._measures.get(recipe_id, {})

    @cached_property
    def names(self) -> dict[str, str]:
        """The names of the entries by id."""
        entries = self.evidence.table("entries")
        return dict(zip(entries["entry_id"], entries["name"], strict=True))

    def shares(self, figure: dict) -> list[dict]:
        """The share of each input in the width of a figure, the largest first."""
        basis = figure["basis"] if figure["basis"] == total_shares.PER_100G else total_shares.RECIPE
        wanted = (figure["recipe_id"], figure["variant_id"], figure["component"], figure["unit"], basis)
        if not self.whole:
            self._shares = _by_figure(self._of_variant(figure))
        elif not hasattr(self, "_shares"):
            named = ("contributions", "lines", "figures", "weighed", "cooked", "recipes", "inputs", "two_routes")
            self._shares = _by_figure(total_shares.figure_shares({name: self.evidence.table(name) for name in named}, self.linear))
        return self._shares.get(wanted, [])

    def _of_variant(self, figure: dict) -> pd.DataFrame:
        variant = {name: figure[name] for name in ("recipe_id", "variant_id")}
        here = {name: self.evidence.rows(name, **variant) for name in ("contributions", "lines", "figures")}
        whole = {name: self.evidence.table(name) for name in ("weighed", "cooked", "recipes", "inputs", "two_routes")}
        # a measure's error is shared within the recipe: the lines of all its variants tell which
        whole["weighed"] = _of_recipe(whole["weighed"], figure["recipe_id"])
        whole["recipes"] = self.evidence.rows("recipes", recipe_id=figure["recipe_id"])
        return total_shares.figure_shares({**whole, **here}, self.linear)


def _by_figure(shares: pd.DataFrame) -> dict[tuple[str, ...], list[dict]]:
    found: dict[tuple[str, ...], list[dict]] = {}
    names = ("recipe_id", "variant_id", "component", "unit", "basis", "source", "share")
    for *figure, source, share in zip(*(shares[name].tolist() for name in names), strict=True):
        found.setdefault(tuple(figure), []).append({"source": source, "share": share})
    return found


def _of_recipe(by_line: pd.DataFrame, recipe_id: str) -> pd.DataFrame:
    return by_line[lineage.recipe_of(by_line["line_id"]) == recipe_id]
