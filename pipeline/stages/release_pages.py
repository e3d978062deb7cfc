"""The pages of a release: one for each recipe with its traces beside it, and one for all, in the folder ``pages``.

They are a function of the released tables alone. What they say is settled in the modules ``page_*``;
how it looks is in ``pipeline/templates``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import unescape

from pipeline.page_frame import rendered
from pipeline.released import Evidence
from pipeline.stages import page_index, page_lines, page_more, page_swaps, page_verdicts
from pipeline.stages.page_trace import trace_pages
from pipeline.stages.page_words import BASE, COMPARED, SHOWN, Dish, Names, number

FOLDER = "pages"
PLOTS = {"raw-to-plate": "From what goes in to what is on the plate", "uncertainties": "What makes the 90 % intervals wide"}
DESCRIPTION = re.compile(r"<desc[^>]*>(.*?)</desc>", re.DOTALL)
# The tables that a page cannot do without; a release of fewer has no pages.
NEEDED = ("recipes", "variants", "lines", "figures", "verdicts", "names", "sources")


def pages(evidence: Evidence, title: str, release_id: str, cautions: Sequence[str], drawn: Mapping[str, bytes]) -> dict[str, bytes]:
    """The files of all pages by their path in the release, for example ``pages/leek-soup.html``.

    ``evidence`` has the tables of the release as written, ``cautions`` the texts that stand beside every figure,
    ``drawn`` the plots by path (``release_plots.plots``). Raises :class:`pipeline.problems.InputError` for a table that cannot be read.
    """
    if not all(evidence.has(name) for name in NEEDED):
        return {}
    names = Names(evidence)
    dishes = [Dish(evidence, row["recipe_id"], names) for row in sorted(evidence.records("recipes"), key=lambda row: (row["name"], row["recipe_id"]))]
    told = list(cautions)
    made = {"index": page_index.index_page(evidence, dishes, names, title, release_id, told)}
    for dish in dishes:
        made[dish.recipe_id] = dish_page(dish, title, release_id, told, drawn)
    for recipe_id, page in trace_pages(evidence, names, title, told):
        made[f"{recipe_id}-trace"] = page
    return {f"{FOLDER}/{name}.html": page.encode() for name, page in made.items()}


def dish_page(dish: Dish, title: str, release_id: str, cautions: list[str], drawn: Mapping[str, bytes]) -> str:
    """The page of one recipe as HTML."""
    shown = [(component, dish.figure(BASE, *component)) for component in SHOWN]
    variants, changed = page_verdicts.variants(dish)
    printed, changes = page_lines.in_print(dish), page_more.print_changes(dish)
    standing = [one for one in printed if one.agrees] if changes else printed
    found_allergens, not_assessed = page_more.allergens(dish)
    return rendered(
        "recipe.html", dish=dish, title=title, release_id=release_id, cautions=cautions, policy=dish.names.policy,
        weight=_weight(dish), say=page_verdicts.sayings(dish), printable=page_more.for_print(dish),
        portion=[(dish.names.of("component", component), component, unit, figure) for (component, unit), figure in shown if figure],
        guidance=page_verdicts.by_guidance(dish), law=page_verdicts.by_law(dish), variants=variants, changed=changed,
        compared=[(dish.names.of("component", component), component, unit) for component, unit in COMPARED],
        swaps=page_swaps.swaps(dish), protein=page_swaps.protein_additions(dish),
        in_print=standing, misprinted=_misprinted(printed, changes), print_changes=changes,
        versions=page_swaps.versions(dish), moved=page_swaps.version_figures(dish), kinds=page_more.phosphorus_kinds(dish), ratio=page_more.phosphorus_to_protein(dish),
        additives=page_more.additives(dish), diets=page_more.diets(dish), allergens=found_allergens, not_assessed=not_assessed,
        lines=page_lines.base_lines(dish), other_lines=page_lines.other_lines(dish), open_lines=page_lines.open_lines(dish),
        steps=[row["text"] for row in dish.evidence.records("steps", recipe_id=dish.recipe_id, variant_id=BASE)],
        plots=_plots(dish, drawn), sources=_sources(dish))


def _weight(dish: Dish):
    """What one portion weighs, or None where it is not known."""
    rows = dish.evidence.records("bands", recipe_id=dish.recipe_id, variant_id=BASE)
    row = next((row for row in rows if row["portion_g"] > 0), None)
    return None if row is None else number(row["portion_g"], f"bands {BASE} {row['component']} portion_g")


def _misprinted(printed: list[page_lines.Printed], changes: list[dict]) -> str:
    """How much of what is in print does not stand; "" where all does."""
    wrong = len(changes) or sum(not one.agrees for one in printed)
    return f"{wrong} figure or claim" if wrong == 1 else f"{wrong} figures and claims" if wrong else ""


def _plots(dish: Dish, drawn: Mapping[str, bytes]) -> list[tuple[str, str, str]]:
    """Title, path from the page, and the figures in words, of each plot that was drawn."""
    found = []
    for name, title in PLOTS.items():
        path = f"plots/{dish.recipe_id}-{name}.svg"
        if path in drawn:
            said = DESCRIPTION.search(drawn[path].decode())
            found.append((title, f"../{path}", unescape(said[1]) if said else title))
    return found


def _sources(dish: Dish) -> list[dict]:
    """The sources that the verdicts, values and inputs of the recipe cite."""
    evidence, of_recipe = dish.evidence, {"recipe_id": dish.recipe_id}
    used = {name for row in evidence.records("contributions", **of_recipe) for name in (
        row["composition_input"], row["match_input"], row["retention_input"]) if name}
    used |= {f"quantity:{row['line_id']}" for row in evidence.records("lines", **of_recipe)}
    found = {row["source_id"] for name in used if (row := evidence.row("inputs", input_id=name))}
    found |= {row["source_id"] for row in evidence.records("verdicts", **of_recipe)}
    found |= {row["source_id"] for row in evidence.records("findings", **of_recipe) if row["source_id"]}
    return [row for row in evidence.records("sources") if row["source_id"] in found]
