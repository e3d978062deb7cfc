"""The words that stand for the ids of a release: components, claims, audiences, and the policy with who adopted it."""

from __future__ import annotations

import pandas as pd
from pandera.typing import Series

from pipeline.policy import Policy
from pipeline.schema import Table, checked, text_field

NAME_KINDS = ("component", "claim", "audience", "policy")
# Figures that follow from components, by INFOODS tagname; the reference file has the components alone.
DERIVED_NAMES = {"CHOAVLDF": "Carbohydrate, available, by difference", "NACL": "Salt"}
GENERAL = ("general", "Everybody, by law")


class Names(Table):
    """One row per id. A policy's row has the policy's name as its id, and says who adopted it."""

    kind: Series[str] = text_field(isin=NAME_KINDS)
    id: Series[str] = text_field(str_length={"min_value": 1})
    name: Series[str] = text_field(str_length={"min_value": 1})


def component_names(components: pd.DataFrame) -> dict[str, str]:
    """The name of each component by its tagname, from the reference file ``components`` and what follows from it."""
    return {**dict(zip(components["component"], components["name"], strict=True)), **DERIVED_NAMES}


def names(components: pd.DataFrame, claims: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """The table ``names`` (model :class:`Names`) from the reference files ``components`` and ``claims`` and a policy.

    A local limit is called by its id: a policy gives it no other name.
    """
    local = [(claim, claim.replace("-", " ")) for claim in policy.limits["claim"]]
    rows = {
        "component": list(component_names(components).items()),
        "claim": [*zip(claims["claim_id"], claims["claim"], strict=True), *((claim, words[0].upper() + words[1:]) for claim, words in local)],
        "audience": [GENERAL, *zip(policy.audiences["id"], policy.audiences["name"], strict=True)],
        "policy": [(policy.name, policy.caveat)],
    }
    listed = [(kind, one, name) for kind, found in rows.items() for one, name in found]
    frame = pd.DataFrame(listed, columns=["kind", "id", "name"]).drop_duplicates(["kind", "id"])
    return checked(Names, frame, "names")
