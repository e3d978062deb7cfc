"""What weighing is given when tables other than the curated core are used.

Curated rows of ``reference/`` that name an entry mean the food that this entry is in the
curated core. In a run on other tables they hold for the entry that is the same food there,
and for no other: an id alone says nothing in another table. The household measures of an
imported table serve every food that it has, also one that an earlier table leads; each row
carries its table and that table's kitchen (``KITCHENS``), by which
:mod:`pipeline.stages.weigh_lookup` decides whether the curated row goes first.

A published "tablespoon" or "pint" is of the publisher's kitchen. How much a spoon or a pint
holds follows from the recipe's own units, and what that weighs from a density; so the
table's rows for units of mass and volume are left out, and those for cups and spoons where
they say no more than the unit and a density of the food's class answers. A cup of something
"chopped" stays: no density says that.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.composition import store
from pipeline.composition.combine import members_of
from pipeline.composition.combine_same import same_foods
from pipeline.composition.household import NOT_PUBLISHED
from pipeline.composition.load import CompositionTable, load_table
from pipeline.decisions import Mappings
from pipeline.sources import Reference

BY_ENTRY = ("measures", "edible_portions", "densities")
# Kinds of unit (mappings/unit_words.csv): those the recipe's units define, and those a density weighs as well.
OF_ANY_KITCHEN, BY_DENSITY = ("mass", "volume"), ("cup", "spoon")
# Whose pieces, slices and cups a published format weighs. A table of another format says nothing of its kitchen.
KITCHENS = {"usda-sr-ascii": "us", "usda-fdc-csv": "us"}
COMMON_PRACTICE = "common-practice"  # the source of an interval that reference/composition/published_measures.csv gives
MEANT = ["scope_key", "measure", "size", "preparation"]


def weighing(reference: Reference, loaded: list[CompositionTable], mappings: Mappings, root: Path | None = None) -> Reference:
    """``reference`` as it holds for the tables ``loaded`` (in their order), with their household measures.

    With the curated core alone it is ``reference`` itself.
    """
    curated = store.CURATED
    if [table.name for table in loaded] == [curated]:
        return reference
    named = any(table.name == curated for table in loaded)
    every = loaded if named else [*loaded, load_table(curated, reference.sources, root)]
    members = members_of(every, same_foods(every, mappings.same_foods)[0])
    here = members[members["table"].isin([table.name for table in loaded]) & members["leads"]]
    core = members[(members["table"] == curated) & members["entry_id"].isin(here["entry_id"])].set_index("own_id")["entry_id"]
    frames = dict(reference.frames)
    for name in BY_ENTRY:
        frames[name] = _for_entries(frames[name], core)
    pairs = frames["raw_cooked_pairs"]
    both = pairs["raw_entry_id"].isin(core.index) & pairs["cooked_entry_id"].isin(core.index)
    frames["raw_cooked_pairs"] = pairs[both].assign(
        raw_entry_id=pairs.loc[both, "raw_entry_id"].map(core), cooked_entry_id=pairs.loc[both, "cooked_entry_id"].map(core))
    own = _measures(loaded, members, root)
    if len(own):
        useful = _useful(own, mappings.unit_words, frames["densities"])
        frames["measures"] = _joined(frames["measures"], own[useful])
    return Reference(frames, reference.hashes)


def _for_entries(rows: pd.DataFrame, core: pd.Series) -> pd.DataFrame:
    """Rows that name an entry of the core under that food's id here; without those whose food is not here."""
    named = rows["scope"] == "entry"
    here = rows[~named | rows["scope_key"].isin(core.index)]
    return here.assign(scope_key=here["scope_key"].where(here["scope"] != "entry", here["scope_key"].map(core)))


def _measures(loaded: list[CompositionTable], members: pd.DataFrame, root: Path | None) -> pd.DataFrame:
    """The household measures that the imported tables have for their foods, under these foods' ids here, with
    the columns ``cooking_class``, ``table`` and ``kitchen`` ("" when nobody says whose)."""
    imported = set(store.names(root))
    frames = []
    for table in loaded:
        if table.name in imported:
            own = members[members["table"] == table.name].set_index("own_id")["entry_id"]
            rows = store.load(table.name, [], root, originals=False).measures
            rows = rows[rows["scope_key"].isin(own.index)]
            classes = rows["scope_key"].map(table.entries.set_index("entry_id")["cooking_class"])
            kitchen = KITCHENS.get(store.facts(table.name, root)["format"], "")
            frames.append(rows.assign(scope_key=rows["scope_key"].map(own), cooking_class=classes, table=table.name, kitchen=kitchen))
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def _useful(rows: pd.DataFrame, unit_words: pd.DataFrame, densities: pd.DataFrame) -> pd.Series:
    """Which rows say something that the recipe's own units and a density do not."""
    kind = rows["measure"].map(unit_words.drop_duplicates("unit").set_index("unit")["kind"]).fillna("")
    dense = rows["cooking_class"].isin(densities.loc[densities["scope"] == "class", "scope_key"])
    plain = (rows["preparation"] == "") & (rows["size"] == "")
    return ~kind.isin(OF_ANY_KITCHEN) & ~(kind.isin(BY_DENSITY) & plain & dense)


def _joined(curated: pd.DataFrame, own: pd.DataFrame) -> pd.DataFrame:
    """The curated measures, then those of the tables; for one thing of a food the first table's row counts."""
    invented = own["note"].str.endswith(NOT_PUBLISHED)  # the publisher gives the weight, and nobody its interval
    own = own.assign(spread_source_id=own["source_id"].mask(invented, COMMON_PRACTICE))
    own = own[~own.duplicated(MEANT) & ~own.duplicated("measure_id")]
    curated = curated.assign(table="", kitchen="")
    return pd.concat([curated, own[list(curated.columns)]], ignore_index=True)
