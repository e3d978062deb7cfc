"""Two releases beside each other, for a person at a terminal: the worst first, the rest counted."""

from __future__ import annotations

from pipeline.compare_text import CAUTION, TOP, by_kind, cut, dish, figure_rows, verdict_rows
from pipeline.release_compare import Releases, told

LINE_WORDS = {"unsettled": "is settled no more", "removed": "taken out", "added": "added", "other-entry": "another food", "settled": "is settled now",
              "outcome": "stays unsettled, otherwise", "rewritten": "rewritten", "weight": "weighs otherwise", "cooking": "cooked otherwise"}
FIGURE_WORDS = {"withheld": "withheld now", "moved": "moved", "settled": "have a value now", "status": "ready or to check, otherwise",
                "slight": "changed slightly"}


def text(found: Releases) -> str:
    """Everything that is told on the terminal."""
    rows = [f"{found.release_a} -> {found.release_b}"]
    if not found.differs:
        return "\n".join([*rows, *_inputs(found), "  No line, figure or verdict differs.", CAUTION])
    rows += _inputs(found)
    rows += [f"  {row.effect}: {dish(row)}" for row in found.recipes.head(TOP).itertuples()]
    rows += [f"  and {len(found.recipes) - TOP:,} more recipes and variants"] if len(found.recipes) > TOP else []
    rows += verdict_rows(found.verdicts) + figure_rows(found.figures, FIGURE_WORDS) + _cause_rows(found) + _line_rows(found)
    return "\n".join([*rows, CAUTION])


def _inputs(found: Releases) -> list[str]:
    if not found.inputs:
        return ["  Inputs: the same" + (": the program or its libraries differ" if found.differs else "")]
    more = f", and {len(found.inputs) - TOP:,} more" if len(found.inputs) > TOP else ""
    return [f"  Inputs that differ: {', '.join(found.inputs[:TOP])}{more}"]


def _cause_rows(found: Releases) -> list[str]:
    """For the figures that are shown, the two parts that changed most."""
    shown = found.figures[(found.figures["effect"] == "moved") & (found.figures["basis"] == "portion")].head(TOP)
    rows = []
    for figure in shown.itertuples():
        of_it = found.causes[found.causes["figure_id"] == figure.figure_id]
        parts = "; ".join(told(cause) for _, cause in of_it.head(2).iterrows())
        rows.append(f"  {figure.component:<9}{dish(figure)}: {parts}{f'; and {len(of_it) - 2:,} more' if len(of_it) > 2 else ''}")
    return [f"Why, the largest parts first (all: {len(found.causes):,}, -o DIR):", *rows] if rows else []


def _line_rows(found: Releases) -> list[str]:
    lines = found.lines
    if lines.empty:
        return []
    rows = [f"Lines that end otherwise: {len(lines):,} ({by_kind(lines['effect'].map(LINE_WORDS))}):"]
    for row in lines.head(TOP).itertuples():
        before, now = (f'"{cut(text)}" {number} {cut(name, 40)}'.strip() for text, number, name in (
            (row.text_a, row.entry_id_a, row.entry_name_a), (row.text_b, row.entry_id_b, row.entry_name_b)))
        moved = {"removed": before, "added": now, "weight": f"{now}: {row.edible_g_a:.4g} -> {row.edible_g_b:.4g} g",
                 "cooking": f"{now}: {row.chain_a or 'raw'} -> {row.chain_b or 'raw'}",
                 "unsettled": f"{now}: {row.outcome_b}, {row.reason_b}"}.get(row.effect, f"{before} -> {now}")
        rows.append(f"  {dish(row)}: {LINE_WORDS[row.effect]}: {moved}")
    return rows + ([f"  and {len(lines) - TOP:,} more (-o DIR writes all)"] if len(lines) > TOP else [])
