"""A small whole Standard Reference release for the tests: every file, in the published layout; foods and figures invented."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pandas as pd

from pipeline.composition.usda_sr_types import BY_DERIVATION
from pipeline.root import ROOT

COMPONENTS = pd.read_csv(ROOT / "reference" / "components.csv", dtype="str", keep_default_na=False)
UNIT_WORDS = pd.read_csv(ROOT / "mappings" / "unit_words.csv", dtype="str", keep_default_na=False)
PRINTED = {"ug": "\xb5g"}

FILES = {
    "FOOD_DES": [
        "~00001~^~1100~^~Leeks, raw~^~LEEKS,RAW~^~porret~^~~^~Y~^~Tops~^56^~Allium~^6.25^2.44^8.37^3.57",
        "~00002~^~1100~^~Leeks, cooked, boiled, drained~^~LEEKS,CKD~^~~^~~^~~^~~^0^~~^^^^",
        "~00003~^~1600~^~Lentils, raw~^~LENTILS~^~~^~~^~~^~~^^~~^^^^",
    ],
    "FD_GROUP": ["~1100~^~Vegetables and Vegetable Products~", "~1600~^~Legumes and Legume Products~"],
    "NUTR_DEF": [
        *(f"~{row.source_nutrient}~^~{PRINTED.get(row.unit, row.unit)}~^~{row.component}~^~{row.name}~^~2~^{row.order}"
          for row in COMPONENTS.itertuples(index=False)),
        "~209~^~g~^~STARCH~^~Starch~^~2~^2200", "~573~^~mg~^~~^~Vitamin E, added~^~2~^7920", "~299~^~g~^~FIBTG~^~A tagname in use~^~2~^1201",
    ],
    "SRC_CD": [f"~{code}~^~words~" for code in (1, 4, 5, 6, 7, 8, 9, 11, 12, 13)],
    "DERIV_CD": [f"~{code}~^~words~" for code in BY_DERIVATION],
    "NUT_DATA": [
        "~00001~^~306~^180^16^2.5^~1~^~A~^~~^~~^3^120^240^4^-3^190.5^~2, 3~^~03/2006~^~~",
        "~00001~^~268~^255^0^^~4~^~NC~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00001~^~208~^61^0^^~4~^~~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00001~^~417~^0^0^^~7~^~Z~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00001~^~307~^.5^4^.05^~1~^~A~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00002~^~306~^87^0^^~1~^~~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00002~^~417~^24^0^^~4~^~BFZN~^~00001~^~~^^^^^^^~~^~03/2006~^~~",
        "~00003~^~306~^677^1^^~4~^~T~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00003~^~209~^44.2^1^^~1~^~A~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00003~^~573~^0^1^^~1~^~A~^~~^~Y~^^^^^^^~~^~03/2006~^~~",
        "~00003~^~299~^11^1^^~1~^~A~^~~^~~^^^^^^^~~^~03/2006~^~~",
    ],
    "WEIGHT": [
        "~00001~^~1~^1^~leek~^89^12^20", "~00001~^~2~^.5^~cup, chopped~^44.5^^", "~00001~^~3~^1^~slice (1/4\" thick)~^6^^",
        "~00003~^~1~^1^~cup~^192^^", "~00003~^~2~^1^~package (10 oz) yields~^250^^", "~00003~^~10~^1^~tbsp~^12^^",
    ],
    "FOOTNOTE": ["~00001~^~01~^~D~^~~^~Grown under glass~", "~00001~^~02~^~N~^~306~^~Two methods~"],
    "DATA_SRC": ["~S1~^~~^~A survey of leeks~^~2004~^~~^~~^~~^~~^~~"],
    "DATSRCLN": ["~00001~^~306~^~S1~"],
}


def encoded(lines: list[str]) -> bytes:
    return "".join(line + "\r\n" for line in lines).encode("iso-8859-1")


def with_line(name: str, number: int, line: str) -> bytes:
    """A file with one line changed."""
    lines = list(FILES[name])
    lines[number - 1] = line
    return encoded(lines)


def write(path: Path, **changed: bytes | None) -> Path:
    """The release as a folder; ``changed`` gives other bytes for a file, None leaves it out."""
    path.mkdir(parents=True, exist_ok=True)
    for name in {**FILES, **changed}:
        content = changed[name] if name in changed else encoded(FILES[name])
        if content is not None:
            (path / f"{name}.txt").write_bytes(content)
    return path


def zipped(path: Path) -> Path:
    """The release as a zip."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, lines in FILES.items():
            archive.writestr(zipfile.ZipInfo(f"{name}.txt"), encoded(lines))
    return path


def project(folder: Path) -> Path:
    """A project root with this project's reference and mappings, and a store of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    for part in ("reference", "mappings"):
        (folder / part).symlink_to(ROOT / part)
    return folder
