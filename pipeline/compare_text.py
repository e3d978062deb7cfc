"""A comparison of two tables, and a dry run of a swap, for a person at a terminal: the worst first, the rest counted."""

from __future__ import annotations

import pandas as pd

from pipeline.composition.compare import Comparison
from pipeline.composition.compare_swap import BROKEN, HOLDING, MOVED_ABOVE
from pipeline.swap import Swap

TOP = 8
LONGEST = 56
CAUTION = "Figures are for the renal dietitian to judge, by local rules. They are not advice to a patient."
FIGURE_WORDS = {"withheld": "would be withheld", "moved": "would move", "settled": "would get a value", "status": "ready or to check, otherwise",
                "slight": "would change slightly"}
LINE_WORDS = {"lost": "drops out", "other-entry": "another food", "gained": "is settled", "outcome": "stays unsettled, otherwise",
              "renamed": "the same food, renamed", "weight": "another weight"}


def text(comparison: Comparison, swapped: Swap | None) -> str:
    """Everything that is told on the terminal."""
    rows = _head(comparison) + _entry_rows(comparison.entries) + _component_rows(comparison.components) + _value_rows(comparison.values)
    if swapped is not None:
        rows += ["", *_swap_rows(swapped)]
    return "\n".join(rows)


def _head(told: Comparison) -> list[str]:
    count = told.counts
    rows = [f"{told.table_a} ({told.size_a:,} entries) -> {told.table_b} ({told.size_b:,} entries)"]
    if not told.differs:
        rows.append("  Nothing differs beyond rounding.")
    rows.append("  Entries     " + ", ".join(f"{count[f'entries {kind}']:,} {kind}" for kind in ("added", "gone", "renamed", "renumbered")))
    by_field = told.attributes["field"].value_counts()
    if len(by_field):
        rows.append("  Described   " + ", ".join(f"{number:,} with other {field.replace('_', ' ')}" for field, number in sorted(by_field.items())))
    rows.append(f"  Values      {int(told.components['compared'].sum()):,} compared: {count['values changed']:,} changed, "
                f"{count['value types changed']:,} of another type, {count['values rounded otherwise']:,} by rounding alone")
    if count["components only in A"] or count["components only in B"]:
        rows.append(f"  Components  {count['components only in A']} only in {told.table_a}, {count['components only in B']} only in {told.table_b}")
    return rows


def _entry_rows(entries: pd.DataFrame) -> list[str]:
    rows: list[str] = []
    for change in ("gone", "renumbered", "renamed", "added"):
        found = entries[entries["change"] == change]
        if found.empty:
            continue
        rows.append(f"Entries {change}:")
        for row in found.sort_values("likeness", kind="stable").head(TOP).itertuples():
            rows.append("  " + _entry(change, row))
        rows += _more(found)
    return rows


def _entry(change: str, row) -> str:
    if change == "renamed":
        return f"{row.entry_id_a}  {cut(row.name_a)} -> {cut(row.name_b)}" + ("  (is it the same food?)" if row.likeness < 60 else "")
    if change == "renumbered":
        return f"{row.entry_id_a} -> {row.entry_id_b}  {cut(row.name_b)}"
    return f"{row.entry_id_a or row.entry_id_b}  {cut(row.name_a or row.name_b)}"


def _component_rows(components: pd.DataFrame) -> list[str]:
    found = components[(components["changed"] > 0) | (components["types_changed"] > 0) | (components["rounding"] > 0)]
    if found.empty:
        return []
    rows = ["Values by component:",
            f"  {'':<14}{'compared':>9}{'changed':>9}{'up':>7}{'down':>7}{'type':>7}{'rounding':>10}   largest change"]
    for row in found.itertuples():
        largest = f"{_percent(row.largest_relative_change)}  {row.largest_entry_id} {cut(row.largest_name, 40)}" if row.changed else ""
        rows.append(f"  {row.component + ' ' + row.unit:<14}{row.compared:>9,}{row.changed:>9,}{row.up:>7,}{row.down:>7,}"
                    f"{row.types_changed:>7,}{row.rounding:>10,}   {largest}".rstrip())
    return rows


def _value_rows(values: pd.DataFrame) -> list[str]:
    rows: list[str] = []
    changed = values[values["change"].isin(["value", "value-and-type"])]
    types = values[values["change"].isin(["value-type", "value-and-type"])]
    if len(changed):
        rows.append("Values changed, what can harm most first:")
        rows += [f"  {row.component:<7}{_from_to(row)} ({_percent(row.relative_change)})  "
                 f"{row.entry_id_b} {cut(row.name_b)}" for row in changed.head(TOP).itertuples()]
        rows += _more(changed)
    if len(types):
        rows.append("Value types changed:")
        rows += [f"  {row.component:<7}{row.value_type_a} -> {row.value_type_b}  {row.entry_id_b} {cut(row.name_b)}"
                 for row in types.head(TOP).itertuples()]
        rows += _more(types)
    return rows


# ---------------------------------------------------------------- the dry run

def _swap_rows(told: Swap) -> list[str]:
    rows = [f"If {told.table_b} took the place of {told.table_a} in {told.release} ({told.recipes} recipes). "
            "A dry run: nothing changes until it is adopted."]
    rows += [f"  Note: {note}" for note in told.notes]
    rows += [f"  Left out on {told.table_b}: {problem}" for problem in told.problems]
    rows += verdict_rows(told.verdicts) + figure_rows(told.figures, FIGURE_WORDS) + _line_rows(told.lines) + _decision_rows(told.decisions)
    if not told.differs:
        rows.append("  No decision breaks; no line, figure or verdict changes.")
    rows += ["To adopt it:", *(f"  {number}. {step}" for number, step in enumerate(told.adopt, start=1)), CAUTION]
    return rows


def verdict_rows(verdicts: pd.DataFrame) -> list[str]:
    """The verdicts that flip (columns of ``compare_swap`` and ``because``), the worst of them one by one."""
    if verdicts.empty:
        return []
    rows = [f"Verdicts that flip: {len(verdicts):,} ({by_kind(verdicts['verdict_a'] + ' -> ' + verdicts['verdict_b'])}), the most harmful first:"]
    alike = [group for _, group in verdicts.groupby(["recipe_id", "variant_id", "claim", "verdict_a", "verdict_b"], sort=False)]
    for group in alike[:TOP]:  # one dish and claim, for several audiences
        row = next(group.itertuples())
        judged = ", ".join(f"{one.audience + ' ' if one.audience else ''}(limit {_amount(one.limit, one.unit)})" for one in group.itertuples())
        rows.append(f"  {row.verdict_a} -> {row.verdict_b}: {row.claim}: {dish(row)}{' (in print)' if group['in_print'].any() else ''}")
        rows.append(f"     {row.component_b or row.component_a} {_from_to(row)}; {judged}")
        rows.append(f"     because {row.because}")
    shown = sum(len(group) for group in alike[:TOP])
    return rows + ([f"  and {len(verdicts) - shown:,} more (-o DIR writes all)"] if shown < len(verdicts) else [])


def figure_rows(figures: pd.DataFrame, said: dict[str, str]) -> list[str]:
    """The figures that change, counted by effect in the words of ``said``, and the worst of them per portion."""
    if figures.empty:
        return []
    counts = figures["effect"].value_counts()
    rows = ["Figures: " + ", ".join(f"{counts[effect]:,} {words}" for effect, words in said.items() if effect in counts)
            + f" (move: outside the interval, or by more than {100 * MOVED_ABOVE:g} %)"]
    shown = figures[(figures["effect"] != "slight") & (figures["basis"] == "portion")]
    for row in shown.head(TOP).itertuples():
        by = f" ({_percent(row.relative_change)}{', outside its interval' if row.outside_interval else ''})" if row.effect == "moved" else ""
        status = f"{row.status_a} -> {row.status_b}" if row.status_a != row.status_b else row.status_b
        rows.append(f"  {row.component:<9}{_from_to(row)} a portion{by}: {dish(row)}, {status}"
                    f"{' (in print)' if row.in_print else ''}")
    return rows + _more(shown, " per portion")


def _line_rows(lines: pd.DataFrame) -> list[str]:
    if lines.empty:
        return []
    rows = [f"Lines that end otherwise: {len(lines):,} ({by_kind(lines['effect'].map(LINE_WORDS))}):"]
    for row in lines.head(TOP).itertuples():
        rows.append(f"  {row.line_id}: \"{cut(row.text)}\"")
        rows.append(f"     {LINE_WORDS[row.effect]}: {_line(row)}")
    return rows + _more(lines)


def _line(row) -> str:
    if row.effect == "weight":
        yields = "" if row.yield_fraction_a == row.yield_fraction_b else f", yield {row.yield_fraction_a:.3g} -> {row.yield_fraction_b:.3g}"
        return f"{row.entry_id_b} {cut(row.entry_name_b, 40)}: {_amount(row.edible_g_a, 'g')} -> {_amount(row.edible_g_b, 'g')}{yields}"
    before, now = (f"{number} {cut(name, 40)}" if number else "no entry"
                   for number, name in ((row.entry_id_a, row.entry_name_a), (row.entry_id_b, row.entry_name_b)))
    return f"{before} -> {now} ({row.outcome_b}: {row.reason_b})"


def _decision_rows(rows: pd.DataFrame) -> list[str]:
    broken = rows[rows["state"].isin(BROKEN)]
    states = rows["state"].value_counts()
    held = int(sum(states.get(state, 0) for state in HOLDING))
    told = [f"Decisions that hold: {held:,} of {len(rows):,} that concern these tables ({states.get('carried', 0):,} of them once they name the new one)."]
    if len(broken):
        told.append(f"Decisions that break: {len(broken)} ({by_kind('in mappings/' + broken['file'] + '.csv')}):")
        for row in broken.itertuples():
            now = f"; now {row.now_entry_id} {cut(row.now_name)!r}" if row.now_entry_id else ""
            told.append(f"  mappings/{row.file}.csv:{row.row}: {row.decision_id} ({row.phrase!r}, {row.lines} lines) was made on "
                        f"{row.entry_id} {cut(row.entry_name)!r}: {row.state}{now}")
            told.append(f"     {row.remedy}")
    return told


def by_kind(kinds: pd.Series) -> str:
    """How many of each kind, the most frequent first."""
    return ", ".join(f"{number:,} {kind}" for kind, number in kinds.value_counts().sort_index().sort_values(ascending=False, kind="stable").items())


def dish(row) -> str:
    """The recipe of a row, and its variant."""
    return row.recipe_id if row.variant_id == "base" else f"{row.recipe_id} ({row.variant_id})"


def _more(rows: pd.DataFrame, what: str = "") -> list[str]:
    return [f"  and {len(rows) - TOP:,} more{what} (-o DIR writes all)"] if len(rows) > TOP else []


def cut(words: str, longest: int = LONGEST) -> str:
    """Words that fit a line."""
    return words if len(words) <= longest else words[:longest] + "..."


def _from_to(row) -> str:
    return f"{_amount(row.value_a, row.unit)} -> {_amount(row.value_b, row.unit)}"


def _amount(value: float, unit: str) -> str:
    return "nothing" if value != value else f"{value:.4g} {unit}".strip()


def _percent(share: float) -> str:
    return "from zero" if share != share else f"{100 * share:+.3g} %"
