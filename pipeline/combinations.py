"""Which components make up each figure, and with which factor. Imports pandas alone, so that a trace starts at once."""

from __future__ import annotations

import pandas as pd

# Derived figures and the components they are derived from.
DERIVED = {"NACL": ("NA",), "CHOAVLDF": ("CHOCDF", "FIBTG"), "ENERC": ("PROCNT", "FAT", "CHOCDF", "FIBTG", "ALC")}
# g of salt per unit of sodium (Regulation (EU) No 1169/2011, Annex I: salt = sodium x 2.5).
SALT_PER_SODIUM = {"g": 2.5, "mg": 2.5 / 1000}


def combinations(components: pd.DataFrame, energy_factors: pd.DataFrame) -> pd.DataFrame:
    """Every figure as a linear combination of components: figure, unit, component, factor.

    Energy: EU 1169/2011 Annex XIV factors; salt: sodium x 2.5 (Annex I); available
    carbohydrate: carbohydrate by difference less fibre, which is what Annex XIV's
    carbohydrate factor applies to.
    """
    plain = components[components["component"] != "ENERC"]
    rows = [(name, unit, name, 1.0) for name, unit in zip(plain["component"], plain["unit"], strict=True)]
    rows += [("NACL", "g", "NA", SALT_PER_SODIUM["mg"]), ("CHOAVLDF", "g", "CHOCDF", 1.0), ("CHOAVLDF", "g", "FIBTG", -1.0)]
    for unit, column in (("kJ", "kj_per_g"), ("kcal", "kcal_per_g")):
        factor = energy_factors.set_index("component")[column]
        rows += [("ENERC", unit, name, factor[name]) for name in ("PROCNT", "FAT", "ALC")]
        rows += [("ENERC", unit, "CHOCDF", factor["CHOAVLDF"]), ("ENERC", unit, "FIBTG", factor["FIBTG"] - factor["CHOAVLDF"])]
    return pd.DataFrame(rows, columns=["figure", "unit", "component", "factor"])
