"""The traces of a recipe as a page: the tree of ``potash trace`` for every figure that the pages show."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape
from itertools import groupby
from typing import NamedTuple

from pipeline.page_frame import rendered
from pipeline.released import Evidence
from pipeline.stages.page_words import BASE, COMPARED, SHOWN, Dish, Figure, Names, Record, anchor, figure, is_traced
from pipeline.trace import Node, Trace, traces


class Traced(NamedTuple):
    """One figure and its tree, as HTML."""

    anchor: str
    name: str
    figure: Figure
    tree: str


def trace_pages(evidence: Evidence, names: Names, title: str, cautions: list[str]) -> Iterator[tuple[str, str]]:
    """For each recipe its id and the page of its traces."""
    rows = sorted((row for row in evidence.records("figures", basis="portion") if is_traced(row)), key=_order)
    # All at once, in the order of the page: what a line is stands under the first figure of its variant.
    found = zip(rows, traces(evidence, [row["figure_id"] for row in rows]), strict=True)
    for recipe_id, of_recipe in groupby(found, key=lambda one: one[0]["recipe_id"]):
        dish, together = Dish(evidence, recipe_id, names), list(of_recipe)
        sections = [(dish.variant_name(variant_id), [_traced(row, trace, names) for row, trace in of_variant])
                    for variant_id, of_variant in groupby(together, key=lambda one: one[0]["variant_id"])]
        yield recipe_id, rendered("trace.html", dish=dish, title=title, sections=sections, sources=together[0][1].sources, cautions=cautions)


def _order(row: Record) -> tuple[str, bool, str, int]:
    components = SHOWN if row["variant_id"] == BASE else COMPARED
    return row["recipe_id"], row["variant_id"] != BASE, row["variant_id"], components.index((row["component"], row["unit"]))


def _traced(row: Record, trace: Trace, names: Names) -> Traced:
    return Traced(anchor(row), names.of("component", row["component"]), figure(row), "".join(_branches([trace.root])))


def _branches(nodes: Iterable[Node]) -> Iterator[str]:
    """The nodes as a list; the end of an item is left to the reader, as HTML allows, to keep the page small."""
    for node in nodes:
        yield f"<li>{escape(node.text, quote=False)}"
        if node.children:
            yield "<ul>"
            yield from _branches(node.children)
            yield "</ul>"
        yield "\n"
