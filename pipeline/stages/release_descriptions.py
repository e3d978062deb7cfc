"""What each column of a release says, in words, and the unit of those that have one.

A key is a column name, or ``table.column`` where one table says something of its own.
"""

from __future__ import annotations

DESCRIPTIONS: dict[str, str] = {
    "alternative": "The other food that the line allows, as written",
    "amount": "What the line adds: edible_g x value_per_100g / 100 x retention_fraction; empty where the table has no value",
    "amount_rule": "How the amount is given: stated, to taste, to serve, for cooking, or not at all",
    "assumption": "What was assumed to weigh the line",
    "audience": "The group of people that the claim or limit is judged for",
    "based_on": "What the decision was decided on",
    "basis": "What the figure is for: the whole recipe, one portion, or 100 g as eaten",
    "candidates": "The best candidates for a match",
    "chain": "The cooking steps that befell the line, in order",
    "check": "The audit check that noticed it",
    "claim": "The nutrition claim or local limit",
    "code": "A fixed word for this kind of problem",
    "common_names": "Other names of the entry, separated by semicolons",
    "component": "The food component, by INFOODS tagname",
    "components": "The components whose figures are withheld, by INFOODS tagname, separated by semicolons",
    "composition_input": "The input that is the composition value",
    "confidence": "From 0 (a guess) to 1 (certain)",
    "cook_reason": "Why this method, yield and retention",
    "cooked_g": "Mass as eaten: edible portion x yield",
    "cooking_class": "The class of food by which cooking factors are chosen",
    "counted": "Whether the line is in the sums of its variant",
    "course": "The course, as written",
    "coverage": "Share of the edible mass whose composition value is known, from 0 to 1",
    "decided_by": "Who decided",
    "decided_on": "The day of the decision",
    "decision_id": "The human decision that was applied; empty if none",
    "density_g_per_ml": "Density used",
    "density_high": "Upper end of the 90 % interval of the density",
    "density_id": "The density used; empty if none",
    "density_low": "Lower end of the 90 % interval of the density",
    "derivation": "How the table says the value was obtained",
    "each_quantity": "Size of one unit, as in 2 x 400 g tins",
    "each_unit": "Unit of each_quantity",
    "edible_fraction": "Edible portion over mass as purchased",
    "edible_g": "Mass of the edible portion, raw",
    "edible_high": "Upper end of the 90 % interval of the edible fraction",
    "edible_id": "The edible portion used; empty if none",
    "edible_low": "Lower end of the 90 % interval of the edible fraction",
    "entry_id": "The entry of the composition table; empty if none was matched",
    "entry_name": "Name of the entry in the composition table",
    "evidence": "The words of the method that showed it",
    "expected_high": "Upper end of what was expected",
    "expected_low": "Lower end of what was expected",
    "figure_id": "Name of the figure: recipe, variant, component and basis",
    "figures": "How many figures",
    "figures_to_check": "Figures that stay to be checked until the line is settled",
    "figures_withheld": "Figures that are withheld until the line is settled",
    "finding_id": "Name of the finding",
    "finished_mass_g": "Mass of the finished dish as weighed in the kitchen; empty if not weighed",
    "food_form": "Solid or liquid: decides which limit of a claim applies",
    "food_group": "Food group of the composition table",
    "high": "Upper end of the 90 % interval",
    "input_id": "Name of the input; figures that name one input share its error",
    "kind": "Which kind of row this is",
    "leftover": "Words of the line that no rule read",
    "limit": "The limit that the figure is judged against",
    "line_id": "The line: recipe, variant and number, joined by slashes",
    "line_no": "Number of the line in its variant; 0 where no line is meant",
    "line_text": "The line, as written",
    "liquid": "Whether the cooking liquid is kept or drained; empty if there is none",
    "low": "Lower end of the 90 % interval",
    "margin": "Headroom from the near end of the interval to the limit, as a fraction of the limit; negative if it does not hold",
    "mass_g": "Mass as purchased",
    "mass_high_g": "Upper end of the 90 % interval of the mass as purchased",
    "mass_low_g": "Lower end of the 90 % interval of the mass as purchased",
    "match_confidence": "Probability that the entry is the right one, from 0 to 1",
    "match_input": "The input that is the doubt in the match; empty if there is none",
    "match_outcome": "What came of matching",
    "match_reason": "Why this entry, or why none",
    "maximum": "Largest analysed value; empty if not published",
    "measure_high": "Upper end of the 90 % interval of one measure",
    "measure_id": "The household measure used; empty if the amount is in units of mass or volume",
    "measure_low": "Lower end of the 90 % interval of one measure",
    "measure_unit": "Unit of one measure: g or ml",
    "measure_value": "Size of one measure, in measure_unit",
    "method": "Cooking method that befell the line",
    "method_confidence": "How sure the method is, from 0 to 1",
    "minimum": "Smallest analysed value; empty if not published",
    "minutes": "Cooking time; empty if not said",
    "n": "Number of samples analysed; empty if not published",
    "name": "Name, as written",
    "note": "A remark",
    "optional": "Whether the line says it is optional",
    "origin": "Whether the line is of the recipe as written, added or replaced in the variant",
    "outcome": "What came of the line: accepted, review, none or not-food",
    "parse_confidence": "How sure the reading of the line is, from 0 to 1",
    "parse_reason": "What is in doubt in the reading; empty if nothing",
    "phrase": "The food phrase of the line",
    "portions": "How many portions the variant makes",
    "preparation": "How the food is prepared, as written",
    "printed_in": "Where it is printed",
    "probability": "Probability that the candidate is the right one, from 0 to 1",
    "quantity": "Quantity used, in units of the line",
    "quantity_high": "Largest quantity that the line allows; empty if none is written",
    "quantity_low": "Smallest quantity that the line allows; empty if none is written",
    "rank": "Place in the ranking, 1 first",
    "reason": "Why; for a figure, empty when it is ready",
    "recipe_id": "The recipe",
    "refuse_description": "What is refuse",
    "refuse_fraction": "Refuse over mass as purchased, by the composition table; empty if not published",
    "standard_uncertainty": "Standard uncertainty, in the unit of the value",
    "remedy": "What to do about it",
    "replaces": "The earlier decision that this one replaces; empty if none",
    "retention_code": "Code of the retention factors used",
    "retention_fraction": "Fraction of the component that stays in the food",
    "retention_high": "Upper end of the 90 % interval of the retention",
    "retention_id": "The retention factor used",
    "retention_input": "The input that is the retention factor; empty if there is none",
    "retention_low": "Lower end of the 90 % interval of the retention",
    "score": "Score of the candidate before it became a probability",
    "section": "The heading that the line stands under",
    "severity": "How grave: error, warning or note",
    "share": "Share of the variance that comes from the input",
    "size": "Size word of the line",
    "source_file": "The file that it was read from",
    "source_id": "The source, by its id in the sources of this package",
    "source_line": "Line number in the source file; 0 if unknown",
    "source_row": "Row, page or code in the source",
    "stage": "The stage that reports it",
    "standard_error": "Standard error of the value; empty if not published",
    "state": "State of the food as bought or added; empty if not said",
    "status": "ready, check (publish only after a person has looked), or withheld",
    "step_no": "Number of the step",
    "table": "Name of the composition table",
    "text": "The words as written",
    "unit": "Unit of the row's value or quantity",
    "units_system": "Which cups, spoons and pints are meant",
    "value": "The value; empty when it is withheld or unknown, which is not zero",
    "value_per_100g": "Composition value per 100 g edible portion; empty if missing",
    "value_type": "How the composition value was obtained, or that it is missing",
    "variant_id": "The variant; base is the recipe as written without its optional lines",
    "verdict": "holds, fails, uncertain or not-assessable, judged on the whole interval",
    "verdicts_waiting": "Verdicts that wait for the line",
    "weigh_reason": "Why the line could not be weighed; empty if it was",
    "what": "What is wrong or was noticed",
    "where": "Where: a file and line, or a recipe and line",
    "yield_fraction": "Cooked mass over raw edible mass",
    "yield_high": "Upper end of the 90 % interval of the yield",
    "yield_id": "The yield factor used",
    "yield_low": "Lower end of the 90 % interval of the yield",
    "entries.common_names": "Names that a cook writes for the entry, separated by semicolons",
    "entries.name": "Name in the composition table, as published",
    "inputs.basis": "What the input rests on",
    "inputs.kind": "Which factor of the chain the input is",
    "lines.method": "Cooking method that befell the line; empty if it was not cooked or not settled",
    "lines.reason": "Why the line has this outcome",
    "values.value": "Value per 100 g edible portion; empty if missing, which is not zero",
    "verdicts.basis": "What the limit is for",
    "verdicts.component": "The component of the condition that decides",
    "verdicts.kind": "A regulated nutrition claim, or a limit of local policy",
    "verdicts.reason": "Why the verdict is what it is",
    "withheld.reason": "Why the figures are withheld",
}

# Units of columns whose name does not end in one.
_FRACTIONS = (
    "coverage", "confidence", "match_confidence", "method_confidence", "parse_confidence", "probability", "share", "edible_low",
    "edible_high", "retention_low", "retention_high", "yield_low", "yield_high", "margin",
)
_DENSITIES = ("density_g_per_ml", "density_low", "density_high")
_IN_UNIT_COLUMN = {
    "value", "low", "high", "limit", "amount", "expected_low", "expected_high", "value_per_100g", "standard_error",
    "minimum", "maximum", "standard_uncertainty", "quantity_low", "quantity_high",
}


def description(table: str, column: str) -> str:
    """What the column says; the column's own name where nothing is written down for it."""
    return DESCRIPTIONS.get(f"{table}.{column}") or DESCRIPTIONS.get(column) or column.replace("_", " ")


def unit(table: str, columns: list[str], column: str) -> str:
    """The unit of a numeric column: a symbol, ``1`` for a fraction, or ``{name}`` of the column that holds it."""
    if column in _DENSITIES:
        return "g/ml"
    if column in _FRACTIONS or column.endswith("_fraction"):
        return "1"
    if column.endswith("_g"):
        return "g"
    if column == "minutes":
        return "min"
    if column.startswith("measure_"):
        return "{measure_unit}"
    if column == "each_quantity":
        return "{each_unit}"
    return "{unit}" if column in _IN_UNIT_COLUMN and "unit" in columns else ""
