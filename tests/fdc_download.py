"""A small FoodData Central CSV download for the tests, in the published layout (columns from memory); foods and figures invented.

Three kinds of food in one download: SR Legacy 1001 and 1002, Foundation 2001 with the samples behind it, Survey 3001.
"""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

FILES: dict[str, list[list[str]]] = {
    "food": [
        ["fdc_id", "data_type", "description", "food_category_id", "publication_date"],
        ["1001", "sr_legacy_food", "Leeks, raw", "11", "2019-04-01"],
        ["1002", "sr_legacy_food", "Lentils, cooked, boiled", "16", "2019-04-01"],
        ["2001", "foundation_food", 'Leeks, "winter", raw', "11", "2020-10-30"],
        ["2101", "sample_food", "Leek sample 1", "11", "2020-10-30"],
        ["2102", "market_acquistion", "Leek, market 1", "11", "2020-10-30"],
        ["3001", "survey_fndds_food", "Leek soup, home recipe", "", "2020-10-30"],
    ],
    "sr_legacy_food": [["fdc_id", "NDB_number"], ["1001", "1"], ["1002", "16070"]],
    "foundation_food": [["fdc_id", "NDB_number", "footnote"], ["2001", "1", "grown under\nglass"]],
    "survey_fndds_food": [["fdc_id", "food_code", "wweia_category_code", "start_date", "end_date"], ["3001", "75649110", "6418", "", ""]],
    "wweia_food_category": [["wweia_food_category_code", "wweia_food_category_description"], ["6418", "Soups, vegetable"]],
    "food_category": [["id", "code", "description"], ["11", "1100", "Vegetables and Vegetable Products"],
                      ["16", "1600", "Legumes and Legume Products"]],
    "nutrient": [
        ["id", "name", "unit_name", "nutrient_nbr", "rank"],
        ["1003", "Protein", "G", "203", "600"], ["1005", "Carbohydrate, by difference", "G", "205", "1110"],
        ["1008", "Energy", "KCAL", "208", "300"], ["1062", "Energy", "kJ", "268", "400"], ["1092", "Potassium, K", "MG", "306", "5700"],
        ["1093", "Sodium, Na", "MG", "307", "5800"], ["1177", "Folate, total", "UG", "417", "6900"], ["1009", "Starch", "G", "209", "2200"],
        ["2047", "Energy (Atwater General Factors)", "KCAL", "957", "280"], ["1018", "Alcohol, ethyl", "G", "221", "18200"],
        ["2998", "A number of its own", "SP_GR", "", "1"],
    ],
    "food_nutrient": [
        ["id", "fdc_id", "nutrient_id", "amount", "data_points", "derivation_id", "min", "max", "median", "loq", "footnote", "min_year_acquired"],
        ["1", "1001", "1092", "180.0", "16", "1", "", "", "", "", "", ""],
        ["2", "1001", "1008", "61.0", "0", "49", "", "", "", "", "", ""],
        ["3", "1001", "1018", "0.0", "0", "50", "", "", "", "", "", ""],
        ["4", "1001", "1177", "64.0", "0", "51", "", "", "", "", "", ""],
        ["5", "1002", "1092", "369.0", "2", "", "", "", "", "", "", ""],
        ["6", "1002", "1093", "2.0", "", "52", "", "", "", "", "", ""],
        ["7", "2001", "1092", "201.5", "6", "1", "150.0", "260.0", "199.0", "", "", "2018"],
        ["8", "2001", "1009", "", "6", "1", "", "", "", "0.25", "below the limit, see \"methods\"", "2018"],
        ["9", "2001", "1093", "", "", "1", "", "", "", "", "", ""],
        ["10", "2001", "2047", "55.1", "", "49", "", "", "", "", "", ""],
        ["11", "2001", "1005", "-0.3", "", "49", "", "", "", "", "", ""],
        ["12", "2001", "2998", "1.02", "1", "1", "", "", "", "", "", ""],
        ["13", "2101", "1092", "150.0", "1", "1", "", "", "", "", "", ""],
        ["14", "3001", "306", "140.0", "", "", "", "", "", "", "", ""],
        ["15", "3001", "203", "0.0", "", "", "", "", "", "", "", ""],
        ["16", "1001", "1003", "1.5", "1", "53", "", "", "", "", "", ""],
    ],
    "food_nutrient_derivation": [
        ["id", "code", "description", "source_id"], ["1", "A", "Analytical", "1"], ["49", "NC", "Calculated", "2"],
        ["50", "Z", "Assumed zero", "4"], ["51", "BFZN", "Based on another form", "2"], ["52", "XNEW", "A derivation of later years", "9"],
        ["53", "T", "Taken from another table", "2"],
    ],
    "food_nutrient_source": [
        ["id", "code", "description"], ["1", "1", "Analytical"], ["2", "4", "Calculated or imputed"], ["4", "7", "Assumed zero"],
        ["9", "9", "Calculated by manufacturer"],
    ],
    "food_portion": [
        ["id", "fdc_id", "seq_num", "amount", "measure_unit_id", "portion_description", "modifier", "gram_weight", "data_points", "footnote",
         "min_year_acquired"],
        ["501", "1001", "1", "1.0", "9999", "", "leek", "89.0", "", "", ""],
        ["502", "1001", "2", "0.5", "9999", "", "cup, chopped", "44.5", "", "", ""],
        ["503", "2001", "1", "2.0", "1001", "", "sliced", "160.0", "4", "", "2018"],
        ["504", "3001", "1", "", "9999", "1 1/2 cup, NFS", "10205", "366.0", "", "", ""],
        ["505", "3001", "2", "", "9999", "1/2 cup", "10206", "122.0", "", "", ""],
        ["506", "3001", "3", "", "9999", "Quantity not specified", "90000", "0", "", "", ""],
    ],
    "measure_unit": [["id", "name"], ["1001", "cup"], ["9999", "undetermined"]],
    "food_component": [
        ["id", "fdc_id", "name", "pct_weight", "is_refuse", "gram_weight", "data_points", "min_year_acquired"],
        ["9001", "2001", "Tops", "40.0", "Y", "", "", ""], ["9002", "2001", "Roots", "16", "Y", "", "", ""],
        ["9003", "2001", "Edible", "44", "N", "", "", ""],
    ],
}


def text(name: str) -> str:
    """One file as CSV, every field quoted, as published."""
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n").writerows(FILES[name])
    return out.getvalue()


def with_cell(name: str, row: int, column: str, value: str) -> bytes:
    """A file with one field changed; ``row`` counts the header as 1."""
    rows = [list(line) for line in FILES[name]]
    rows[row - 1][rows[0].index(column)] = value
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n").writerows(rows)
    return out.getvalue().encode()


def write(folder: Path, **changed: bytes | None) -> Path:
    """The download as a folder; ``changed`` gives other bytes for a file, None leaves it out."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in {**FILES, **changed}:
        content = changed[name] if name in changed else text(name).encode()
        if content is not None:
            (folder / f"{name}.csv").write_bytes(content)
    return folder


def zipped(path: Path) -> Path:
    """The download as one zip with a folder inside."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in FILES:
            archive.writestr(f"FoodData_Central_2020-10-30/{name}.csv", text(name))
    return path
