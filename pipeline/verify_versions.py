"""Second comparison of the versions of a recipe: every difference of ``versions.csv``, and every row of ``version_figures.csv``.

Which lines are the same food by their words is taken from the table. What is held against it: every line of both
versions is named once or has an equal on the other side; texts, masses, codes and effects follow from the evidence. What the
words of a method say (rows ``method``) is not read again.
"""

from __future__ import annotations

import math

from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_report import Ledger
from pipeline.verify_verdicts import Figures

BASE, VERSION = "base", "version"
CAUSE = "versions"
BASES = ("recipe", "portion", "100g")
EFFECTS = {"potassium_mg": ("K", "mg"), "phosphorus_mg": ("P", "mg"), "sodium_mg": ("NA", "mg"), "protein_g": ("PROCNT", "g")}
ORDER = ("food", "state", "preparation", "amount", "optional", "cooking")
WRITTEN = ("quantity_low", "quantity_high", "unit", "each_quantity", "each_unit", "size", "amount_rule")
EQUAL = 1e-9
Amounts = dict[tuple[str, str], float]


def compare(figures: Figures, amounts: Amounts, tables: dict[str, Rows], ledger: Ledger) -> None:
    """Compares every version with its recipe as analysed again; ``amounts`` by (line_id, component), recomputed."""
    asked = [(row["recipe_id"], row["variant_id"]) for row in tables["variants"].values() if row["kind"] == VERSION]
    rows: dict[tuple[str, str], list[tuple[str, dict]]] = {one: [] for one in asked}
    for key, row in tables["versions"].items():
        ledger.counts["differences"] += 1
        owner = (row["recipe_id"], row["variant_id"])
        if owner not in rows or row["from_variant"] != BASE:
            ledger.differs(*place(CAUSE, "versions", key), "variant_id", row["variant_id"], "a version beside base", path_of("variants"))
        else:
            rows[owner].append((key, row))
    for (recipe_id, variant_id), found in rows.items():
        _Pair(recipe_id, variant_id, amounts, tables, ledger).compare(found)
    _compare_figures(asked, figures, tables, ledger)


class _Pair:
    """One version beside its recipe as analysed."""

    def __init__(self, recipe_id: str, variant_id: str, amounts: Amounts, tables: dict[str, Rows], ledger: Ledger):
        self.amounts, self.tables, self.ledger = amounts, tables, ledger
        self.old, self.new = self._lines(recipe_id, BASE), self._lines(recipe_id, variant_id)
        variants = tables["variants"]
        self.portions = [number(variants[f"{recipe_id} {one}"]["portions"]) for one in (BASE, variant_id)]
        self.name = f"{recipe_id} {variant_id} {BASE}"

    def _lines(self, recipe_id: str, variant_id: str) -> dict[str, dict]:
        rows = {}
        for line_id, row in self.tables["lines"].items():
            if (row["recipe_id"], row["variant_id"]) == (recipe_id, variant_id) and row["outcome"] != "not-food":
                rows[row["line_no"]] = {**self.tables["parsed"][line_id], **row, "chain": self._cooking(line_id, row)}
        return rows

    def _cooking(self, line_id: str, row: dict) -> tuple[str, ...]:
        cooked = self.tables["cooked"].get(line_id)
        if cooked is None or row["outcome"] != "accepted" or row["counted"] != "true":
            return ("", "", "")
        return cooked["method"], cooked["liquid"], cooked["chain"]

    def amount(self, line: dict | None, component: str) -> float:
        """What a line adds to the recipe."""
        if line is None or line["counted"] != "true":
            return 0.0
        return self.amounts.get((line["line_id"], component), math.nan)

    def compare(self, rows: list[tuple[str, dict]]) -> None:
        """Every row, and that no difference is left out."""
        numbers = sorted(int(row["difference_no"]) for _, row in rows)
        if numbers != list(range(1, len(rows) + 1)):
            self.ledger.differs(*place(CAUSE, "versions", self.name), "difference_no", str(numbers), f"1 to {len(rows)}")
        left_old, left_new, portions = dict(self.old), dict(self.new), []
        for key, row in rows:
            where = place(CAUSE, "versions", key)
            if row["kind"] in ("dropped", "added", "changed"):
                old = left_old.pop(row["from_line_no"], None) if row["kind"] != "added" else None
                new = left_new.pop(row["line_no"], None) if row["kind"] != "dropped" else None
                if (old is None) != (row["kind"] == "added") or (new is None) != (row["kind"] == "dropped"):
                    self.ledger.differs(*where, "line_no", f"{row['from_line_no']}, {row['line_no']}", "a line that is named once", path_of("lines"))
                    continue
                self._line(where, row, old, new)
            else:
                portions += [(where, row)] if row["kind"] == "portions" else []
                self._words(where, row)
        if len(portions) != (self.portions[0] != self.portions[1]):
            self.ledger.differs(*place(CAUSE, "versions", self.name), "kind", f"{len(portions)} rows on portions",
                                f"{self.portions[0]:g} and {self.portions[1]:g} portions", path_of("variants"))
        scaled = self._unnamed(left_old, left_new)
        for where, row in portions:
            self._portions(where, row, scaled)

    def _line(self, where, row: dict, old: dict | None, new: dict | None) -> None:
        for prefix, line in (("from_", old), ("", new)):
            self.ledger.same(where, f"{prefix}text", row[f"{prefix}text"], line["text"] if line else "", path_of("lines"))
            self.ledger.same(where, f"{prefix}mass_g", row[f"{prefix}mass_g"], line["mass_g"] if line else "", path_of("lines"))
            if line is None:
                self.ledger.same(where, f"{prefix}line_no", row[f"{prefix}line_no"], "0")
        if old and new:
            expected = self._codes(old, new)
            if expected is not None:
                self.ledger.same(where, "changed", row["changed"], "; ".join(expected), path_of("lines"))
        else:
            self.ledger.same(where, "changed", row["changed"], "")
        for column, (component, _) in EFFECTS.items():
            parts = [self.amount(line, component) / self.portions[1] for line in (new, old)]
            self.ledger.number(where, column, row[column], parts[0] - parts[1], path_of("contributions"), scale=max(parts))

    def _words(self, where, row: dict) -> None:
        """A row on the whole recipe names no line, and one on its words knows no amounts."""
        for column in ("text", "from_text", "mass_g", "from_mass_g", *(EFFECTS if row["kind"] == "method" else ())):
            self.ledger.same(where, column, row[column], "")

    def _portions(self, where, row: dict, scaled: list[tuple[dict, dict]]) -> None:
        """``scaled``: the lines without an amount of their own, which follow the number of portions."""
        for column, (component, _) in EFFECTS.items():
            total = sum(self.amount(line, component) for line in self.old.values())
            more = sum(self.amount(new, component) - self.amount(old, component) for old, new in scaled)
            parts = [total / one for one in self.portions]
            self.ledger.number(where, column, row[column], parts[1] - parts[0] + more / self.portions[1], path_of("contributions"), scale=max(parts))

    def _unnamed(self, old: dict[str, dict], new: dict[str, dict]) -> list[tuple[dict, dict]]:
        """Lines that no row names differ in nothing, or follow the portions: each has its equal. Gives those that follow."""
        rest, scaled = list(new.values()), []
        for line in old.values():
            equal = next((other for other in rest if self._equal(line, other, 1.0)), None)
            if equal is None and self.portions[0] != self.portions[1]:
                equal = next((other for other in rest if self._equal(line, other, self.portions[1] / self.portions[0])), None)
                scaled += [(line, equal)] if equal else []
            if equal is None:
                self.ledger.differs(*place(CAUSE, "versions", self.name), "from_line_no", "no row",
                                    f"a difference of line {line['line_no']}", f"{path_of('lines')} {line['line_id']}")
            else:
                rest.remove(equal)
        for line in rest:
            self.ledger.differs(*place(CAUSE, "versions", self.name), "line_no", "no row", f"a difference of line {line['line_no']}",
                                f"{path_of('lines')} {line['line_id']}")
        return scaled

    def _equal(self, old: dict, new: dict, ratio: float) -> bool:
        settled = [line["outcome"] == "accepted" for line in (old, new)]
        if settled[0] != settled[1] or settled[0] and old["entry_id"] != new["entry_id"]:
            return False
        if not settled[0] or ratio != 1.0:  # as far as the evidence tells: the words are not read again
            return settled[0] == (ratio != 1.0) and all(old[column] == new[column] for column in (*WRITTEN, "counted", "chain")) and all(
                _near(number(old[column]) * ratio, number(new[column])) for column in ("mass_g", "edible_g"))
        return not self._codes(old, new)

    def _codes(self, old: dict, new: dict) -> list[str] | None:
        """What differs between two lines; None for two lines without an entry, whose words alone tell."""
        settled = [line["outcome"] == "accepted" for line in (old, new)]
        if not any(settled):
            return None
        entries = [line["entry_id"] if is_settled else "" for line, is_settled in zip((old, new), settled, strict=True)]
        states, prepared = old["state"] != new["state"], old["preparation"] != new["preparation"]
        amounts = any(old[column] != new[column] for column in WRITTEN)
        found = set()
        if entries[0] != entries[1]:
            found.add("state" if states else "food")
        if states and old["state"] and new["state"]:
            found.add("state")
        aside = "state" if states else "preparation"
        if not _same(old["mass_g"], new["mass_g"]) or amounts and not all(settled):
            found.add("amount" if amounts or not states and not prepared else aside)
        elif not _same(old["edible_g"], new["edible_g"]):
            found.add(aside)
        crossed = [number(one["edible_g"]) * number(other["mass_g"]) for one, other in ((old, new), (new, old))]
        if "amount" in found and prepared and not _near(*crossed):
            found.add("preparation")
        if old["counted"] != new["counted"]:
            found.add("optional")
        elif old["chain"] != new["chain"]:
            found.add("cooking")
        if not found and not all(_near(self.amount(old, name), self.amount(new, name)) for name, _ in EFFECTS.values()):
            found.add("cooking")
        return [code for code in ORDER if code in found]


def _same(written: str, other: str) -> bool:
    return _near(number(written), number(other))


def _near(one: float, other: float) -> bool:
    if math.isnan(one) or math.isnan(other):
        return math.isnan(one) and math.isnan(other)
    return math.isclose(one, other, rel_tol=EQUAL, abs_tol=EQUAL)


# ---------------------------------------------------------------- figure by figure

def _compare_figures(asked: list[tuple[str, str]], figures: Figures, tables: dict[str, Rows], ledger: Ledger) -> None:
    of_variant: dict[tuple[str, str], dict] = {}
    for (recipe_id, variant_id, *key), figure in figures.items():
        of_variant.setdefault((recipe_id, variant_id), {})[tuple(key)] = figure
    expected = {}
    for recipe_id, variant_id in asked:
        weighed = tables["recipes"][recipe_id]["finished_mass_g"] != ""
        flips = _flips(tables["verdicts"], recipe_id, variant_id, "100g" if weighed else "")
        old, new = of_variant.get((recipe_id, BASE), {}), of_variant.get((recipe_id, variant_id), {})
        for component, unit, basis in sorted(old.keys() & new.keys()):
            if basis in BASES and not (weighed and basis == "100g"):
                expected[f"{recipe_id} {variant_id} {BASE} {component} {unit} {basis}"] = (
                    old[component, unit, basis], new[component, unit, basis], flips.get((component, basis), []))
        shown = {(component, basis) for component, _, basis in old.keys() & new.keys() if not (weighed and basis == "100g")}
        for component, basis in flips.keys() - shown:
            expected[f"{recipe_id} {variant_id} {BASE} {component}  {basis}"] = (None, None, flips[component, basis])
    written = tables["version_figures"]
    ledger.keys(CAUSE, path_of("version_figures"), written, expected, path_of("figures"))
    for key, (old, new, flips) in expected.items():
        ledger.counts["version figures"] += 1
        if key in written:
            _compare_figure(place(CAUSE, "version_figures", key), written[key], old, new, flips, ledger)


def _compare_figure(where, row: dict, old, new, flips: list[str], ledger: Ledger) -> None:
    ends = {f"{prefix}{name}": getattr(figure, name) if figure else math.nan
            for prefix, figure in (("from_", old), ("", new)) for name in ("value", "low", "high")}
    for column, value in ends.items():
        ledger.number(where, column, row[column], value, path_of("figures"))
    ledger.number(where, "difference", row["difference"], ends["value"] - ends["from_value"], path_of("figures"),
                  scale=0.0 if math.isnan(ends["value"]) else ends["value"])
    beyond = ends["low"] > ends["from_high"] or ends["high"] < ends["from_low"]
    ledger.same(where, "beyond_intervals", row["beyond_intervals"], "true" if beyond else "false", path_of("figures"))
    ledger.same(where, "verdicts", row["verdicts"], "; ".join(flips), path_of("verdicts"))


def _flips(verdicts: Rows, recipe_id: str, variant_id: str, left_out: str) -> dict[tuple[str, str], list[str]]:
    """The verdicts that are not the same, by the figure they are about; none on the basis ``left_out``."""
    found: dict[tuple[str, str], list[str]] = {}
    judged = {(row["audience"], row["claim"]): row for row in verdicts.values()
              if (row["recipe_id"], row["variant_id"]) == (recipe_id, BASE)}
    for (audience, claim), old in sorted(judged.items()):
        new = verdicts.get(f"{recipe_id} {variant_id} {audience} {claim}")
        if new is None or new["verdict"] == old["verdict"] or left_out and left_out in (old["basis"], new["basis"]):
            continue
        about = new if new["component"] else old
        basis = about["basis"] if about["basis"] in BASES else "100g"
        found.setdefault((about["component"].split("+")[0], basis), []).append(
            f"{claim} for {audience}: {old['verdict']} -> {new['verdict']}")
    return found
