"""The nutrients and value types of FoodData Central in the words of the common form.

FoodData Central keeps the nutrient numbers of the Standard Reference; ``TAGNAMES`` is what
NUTR_DEF of release 26 prints beside them (source usda-sr26), so that both tables name a
component alike. Numbers without a tagname become "FDC:" and the number. The codes of
derivations are those of the Standard Reference; those of labels that came later, and the
units that are no mass or energy, are from memory, and so is 202, nitrogen, which release 26 does not list.
"""

from __future__ import annotations

import pandas as pd

from pipeline.composition.usda_sr_types import ALWAYS_COMPUTED, BY_DERIVATION, by_codes

UNITS = {"G": "g", "MG": "mg", "UG": "ug", "KCAL": "kcal", "kJ": "kJ", "KJ": "kJ", "IU": "IU"}
# What later releases added (from memory): figures from labels.
LABELS = dict.fromkeys(("LCCS", "LCCD", "LCSA", "LCSG", "LCSL", "LCGA", "LCGC", "LCGP"), "calculated")
BY_CODE = {**BY_DERIVATION, **LABELS}
TAGNAMES = dict(pair.split(":") for pair in """
    202:NT 203:PROCNT 204:FAT 205:CHOCDF 207:ASH 208:ENERC_KCAL 209:STARCH 210:SUCS 211:GLUS 212:FRUS 213:LACS 214:MALS 221:ALC
    255:WATER 262:CAFFN 263:THEBRN 268:ENERC_KJ 269:SUGAR 287:GALS 291:FIBTG 301:CA 303:FE 304:MG 305:P 306:K 307:NA
    309:ZN 312:CU 313:FLD 315:MN 317:SE 318:VITA_IU 319:RETOL 320:VITA_RAE 321:CARTB 322:CARTA 323:TOCPHA 324:VITD
    325:ERGCAL 326:CHOCAL 328:VITD 334:CRYPX 337:LYCPN 338:LUT+ZEA 341:TOCPHB 342:TOCPHG 343:TOCPHD 344:TOCTRA 345:TOCTRB
    346:TOCTRG 347:TOCTRD 401:VITC 404:THIA 405:RIBF 406:NIA 410:PANTAC 415:VITB6A 417:FOL 418:VITB12 421:CHOLN 428:MK4
    429:VITK1D 430:VITK1 431:FOLAC 432:FOLFD 435:FOLDFE 454:BETN 501:TRP_G 502:THR_G 503:ILE_G 504:LEU_G 505:LYS_G
    506:MET_G 507:CYS_G 508:PHE_G 509:TYR_G 510:VAL_G 511:ARG_G 512:HISTN_G 513:ALA_G 514:ASP_G 515:GLU_G 516:GLY_G
    517:PRO_G 518:SER_G 521:HYP 601:CHOLE 605:FATRN 606:FASAT 607:F4D0 608:F6D0 609:F8D0 610:F10D0 611:F12D0 612:F14D0
    613:F16D0 614:F18D0 615:F20D0 617:F18D1 618:F18D2 619:F18D3 620:F20D4 621:F22D6 624:F22D0 625:F14D1 626:F16D1
    627:F18D4 628:F20D1 629:F20D5 630:F22D1 631:F22D5 636:PHYSTR 638:STID7 639:CAMD5 641:SITSTR 645:FAMS 646:FAPU
    652:F15D0 653:F17D0 654:F24D0 662:F16D1T 663:F18D1T 664:F22D1T 669:F18D2TT 670:F18D2CLA 671:F24D1C 672:F20D2CN6
    673:F16D1C 674:F18D1C 675:F18D2CN6 676:F22D1C 685:F18D3CN6 687:F17D1 689:F20D3 693:FATRNM 695:FATRNP 696:F13D0
    697:F15D1 851:F18D3CN3 852:F20D3N3 853:F20D3N6 855:F20D4N6 857:F21D5 858:F22D4 859:F18D1TN7
""".split())


def components_of(nutrients: pd.DataFrame, components: pd.DataFrame) -> pd.DataFrame:
    """Every nutrient of the download: columns id, number, component, unit, printed_unit; no component twice in a unit."""
    wanted = dict(zip(components["source_nutrient"], components["component"], strict=True))
    taken = set(zip(components["component"], components["unit"], strict=True))
    rows, used = [], set()
    for row in nutrients.sort_values("row").itertuples():
        unit = UNITS.get(row.unit_name, row.unit_name)
        component = wanted.get(row.nutrient_nbr, "")
        if not component or row.nutrient_nbr in used:
            tagname = TAGNAMES.get(row.nutrient_nbr, "")
            choices = (tagname, f"FDC:{row.nutrient_nbr}" if row.nutrient_nbr else "", f"FDC:id-{row.id}")
            component = next(name for name in choices if name and (name, unit) not in taken)
        used.add(row.nutrient_nbr)
        taken.add((component, unit))
        rows.append((row.id, row.nutrient_nbr, component, unit, row.unit_name))
    return pd.DataFrame(rows, columns=["id", "number", "component", "unit", "printed_unit"], dtype="str")


def types_of(data: pd.DataFrame) -> pd.Series:
    """The value type of each row; "" where its codes say nothing that is known.

    ``data`` has derivation and source (codes, "" if none), n (NaN if none), number (the
    nutrient's), survey (bool). What codes say, :func:`by_codes` tells.
    Without any code, a survey value is calculated (the survey table is made of recipes),
    one with data points is analysed, energy and carbohydrate are calculated, others imputed.
    """
    kinds = by_codes(data["source"], data["derivation"], data["number"], BY_CODE)
    uncoded = (data["derivation"] == "") & (data["source"] == "")
    kinds = kinds.mask(uncoded, "imputed").mask(uncoded & data["number"].isin(ALWAYS_COMPUTED), "calculated")
    kinds = kinds.mask(uncoded & (data["n"] > 0), "analysed").mask(uncoded & data["survey"], "calculated")
    kinds = kinds.mask((kinds == "analysed") & (data["n"] == 0), "calculated")
    return kinds.fillna("").astype("str")
