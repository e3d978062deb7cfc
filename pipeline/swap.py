"""What would happen to a release if its composition table were another one: a dry run.

The release's own recipes are run through the stages twice, today, with the same mappings,
reference files and policy: once on table A and once on table B. So every difference comes
from the table. Food decisions made on A are read as decisions on B, as they would be once
the steward has carried them over; those whose entry is gone or has another name break.
Nothing is written: no release, no decision, no kept result.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from pipeline import decisions, released, sources, steps
from pipeline.composition import combine, compare_decided, compare_entries, compare_swap, compare_why
from pipeline.composition.check_kept import with_errors
from pipeline.composition.combine_weigh import weighing
from pipeline.composition.load import CompositionTable, load_table
from pipeline.job import POLICY
from pipeline.policy import Policy, load_policy
from pipeline.problems import InputError, Problem, from_table
from pipeline.root import ROOT
from pipeline.stages.release import POLICY_COPY
from pipeline.stages.standing import doubted, judged_again

# Tables of a release under another name than the stages know them by.
RELEASED_AS = {"lines": "source_lines"}
KEPT = ("settled", "matched", "contributions", "figures", "verdicts")
STORED_DIGITS = 1e-6  # a release keeps ten significant digits; a larger difference is a real one


@dataclass(frozen=True)
class Setting:
    """What one run reads: the tables in their order of preference, the reference files as they
    hold for these, the mappings, the policy, and what was said when the recipes were read."""

    order: list[str]
    table: CompositionTable
    several: combine.Several | None
    reference: sources.Reference
    mappings: decisions.Mappings
    policy: Policy
    ingested: list[Problem]


@dataclass(frozen=True)
class Swap:
    """What a swap from table A to table B would do to one release.

    ``decisions``: every decision that concerns A or B (foods, same foods) or a line of the release (methods),
    with its row in that file of ``mappings/`` and its state. ``lines``, ``figures``, ``verdicts``: the rows that
    differ, the most harmful first (columns in ``compare_swap.py``). ``notes`` are for people;
    ``problems`` are recipes that broke a stage.
    """

    release: str
    table_a: str
    table_b: str
    recipes: int
    decisions: pd.DataFrame
    lines: pd.DataFrame
    figures: pd.DataFrame
    verdicts: pd.DataFrame
    notes: list[str]
    problems: list[Problem]
    adopt: list[str]

    @property
    def counts(self) -> dict[str, int]:
        """How many decisions break and hold (of the latter: once they name B), and how many lines, figures and verdicts change how."""
        states, effects = self.decisions["state"].value_counts(), self.figures["effect"].value_counts()
        return {
            "decisions that break": int(sum(states.get(state, 0) for state in compare_swap.BROKEN)),
            "decisions that hold": int(sum(states.get(state, 0) for state in compare_swap.HOLDING)),
            "decisions to carry over": int(states.get("carried", 0)),
            "lines": len(self.lines),
            **{f"figures {effect}": int(effects.get(effect, 0)) for effect in compare_swap.EFFECTS},
            "verdicts that flip": len(self.verdicts),
        }

    @property
    def differs(self) -> bool:
        """Whether the swap would change anything at all."""
        kept = ("decisions that hold", "decisions to carry over")
        changed = sum(count for what, count in self.counts.items() if what not in kept)
        return changed > 0 or bool(self.problems)


def swap(release: Path, table_a: str, table_b: str, root: Path | None = None) -> Swap:
    """The dry run for the release in folder ``release``.

    Raises :class:`pipeline.problems.InputError` when a table, the release or a file of the
    project cannot be read.
    """
    home = root or ROOT
    reference, mappings = sources.load(home), decisions.load(home)
    kept = release / POLICY_COPY
    policy = load_policy(kept if kept.is_file() else home / POLICY, reference.components, set(reference.sources["source_id"]))
    loaded = {name: _loaded(name, reference, home) for name in (table_a, table_b)}
    one, other = loaded[table_a], loaded[table_b]
    order_a, order_b = orders(made_on(release), table_a, table_b)
    for name in {*order_a, *order_b} - loaded.keys():
        loaded[name] = _loaded(name, reference, home)
    part = {name: released.table(release, RELEASED_AS.get(name, name)) for name in steps.BY_RECIPE}
    pairs = compare_entries.paired(one.entries, other.entries)
    on_b = carried(mappings, table_a, table_b)
    ingested = from_table(released.table(release, "problems"))
    before, broken_before = run(part, _setting(order_a, loaded, reference, mappings, policy, ingested, home))
    after, broken_after = run(part, _setting(order_b, loaded, reference, on_b, policy, ingested, home))
    for found, broken, name in ((before, broken_before, order_a), (after, broken_after, order_b)):
        if not found:
            raise InputError([*broken, steps.nothing_left(f"{release.name} on {_spec(name)}")])
    names = {name: table.entries.set_index("entry_id")["name"].to_dict() for name, table in loaded.items()}
    rows = compare_swap.breaks_first(pd.concat([
        compare_swap.decided(mappings.foods, on_b.foods, one, other, pairs, before["matched"]),
        compare_decided.same_foods(mappings.same_foods, names, table_a, table_b, pairs, before["matched"]),
        compare_decided.methods(mappings.methods, before["settled"], after["settled"])], ignore_index=True))
    in_print = compare_swap.InPrint(part["published"], part["printed_claims"])
    flips = compare_swap.verdicts(before["verdicts"], after["verdicts"], in_print)
    return Swap(
        released.manifest(release).get("release", release.name), table_a, table_b, len(part["recipes"]), rows,
        compare_swap.lines(before["settled"], after["settled"], pairs),
        compare_swap.figures(before["figures"], after["figures"], in_print),
        flips.assign(**{compare_swap.BECAUSE: compare_why.because(flips, before, after)}),
        _notes(release, order_a, before["figures"], broken_before), [one for one in broken_after if one not in broken_before],
        compare_swap.how_to_adopt(rows, table_a, table_b, _spec(order_b)))


def _loaded(name: str, reference: sources.Reference, home: Path) -> CompositionTable:
    """The table with the errors of its check, of which a dry run keeps nothing."""
    return with_errors([load_table(name, reference.sources, home)], home, keep=False)[0]


def _spec(order: list[str]) -> str:
    return combine.SEPARATOR.join(order)


def made_on(release: Path) -> str:
    """The table of a release, or several in their order ("core,usda-sr26"), as its manifest names them."""
    return released.manifest(release).get("composition_table", {}).get("name", "")


def orders(made: str, table_a: str, table_b: str) -> tuple[list[str], list[str]]:
    """The tables of both runs: A alone and B alone, or those of a release made on several of which A is one, B in A's place."""
    names = made.split(combine.SEPARATOR)
    before = names if table_a in names else [table_a]
    after = [table_b if name == table_a else name for name in before if name == table_a or name != table_b]
    return before, after


def _setting(
    order: list[str], loaded: dict[str, CompositionTable], reference: sources.Reference, mappings: decisions.Mappings,
    policy: Policy, ingested: list[Problem], home: Path,
) -> Setting:
    """As :func:`pipeline.job.prepare_job` makes it from the same tables."""
    tables = [loaded[name] for name in order]
    several = combine.combine(tables, mappings.same_foods, mappings.foods) if len(tables) > 1 else None
    weighed_by = weighing(reference, tables, mappings, home)
    return Setting(order, several.table if several else tables[0], several, weighed_by, mappings, policy, ingested)


def carried(mappings: decisions.Mappings, table_a: str, table_b: str) -> decisions.Mappings:
    """The mappings with every decision on a food or same food made on A read as one on B, unless B has its own."""
    foods = mappings.foods
    names = foods["table"].str.split(";")
    on_a, on_b = (names.map(lambda listed, name=name: name in listed) for name in (table_a, table_b))
    key = foods["phrase"].map(decisions.phrase_key)
    for column in ("state", "scope", "recipe_id"):
        key += "/" + (foods[column].replace("", "phrase") if column == "scope" else foods[column])
    moved = on_a & ~on_b & ~key.isin(set(key[on_b & ~on_a]))
    foods = foods.assign(table=(foods["table"] + ";" + table_b).where(moved, foods["table"]))
    same = compare_decided.carried_same_foods(mappings.same_foods, table_a, table_b)
    return replace(mappings, frames={**mappings.frames, "foods": foods, "same_foods": same})


def run(part: steps.Bundle, setting: Setting) -> tuple[steps.Bundle, list[Problem]]:
    """The tables ``KEPT`` for the recipes of ``part``. A recipe that breaks a stage is left out and listed."""
    try:
        return _stages(part, setting), []
    except OSError:
        raise
    except Exception as error:  # noqa: BLE001 - whatever it is, it is told, and the rest goes on
        if len(part["recipes"]) == 1:
            return {}, [steps.broken_recipe(part, error)]
    halves = [run(half, setting) for half in steps.halves(part)]
    found = [bundle for bundle, _ in halves if bundle]
    problems = [problem for _, listed in halves for problem in listed]
    if not found:
        return {}, problems
    return {name: pd.concat([bundle[name] for bundle in found], ignore_index=True) for name in KEPT}, problems


def _stages(part: steps.Bundle, setting: Setting) -> steps.Bundle:
    done = steps.straight(part, setting, "audit")
    read, totals, judged = done["read"], done["total"], done["judge"]
    figures = doubted(totals["figures"], done["audit"]["findings"], read["variants"], setting.ingested)
    verdicts = judged_again(judged["verdicts"], totals["figures"], figures, read["recipes"], read["variants"], setting.policy, setting.reference,
                            totals["settled"], totals["contributions"])
    return {"settled": totals["settled"], "matched": done["match"]["matched"], "contributions": totals["contributions"], "figures": figures,
            "verdicts": verdicts}


def _notes(release: Path, order_a: list[str], today: pd.DataFrame, broken: list[Problem]) -> list[str]:
    """What a reader has to know about the release before reading the comparison."""
    notes, made = [], made_on(release)
    if made != _spec(order_a):
        notes.append(f"the release was made on {made or 'an unknown table'}, not on {_spec(order_a)}; its recipes are used, not its figures")
    else:
        known = released.table(release, "figures").merge(today, on="figure_id", how="outer", suffixes=("_then", "_now"))
        apart = (known["value_now"] - known["value_then"]).abs() > STORED_DIGITS * known["value_then"].abs()
        older = int((apart | (known["status_then"].astype("str") != known["status_now"].astype("str"))).sum())
        if older:
            notes.append(f"{older} figures of the release would come out otherwise today on {_spec(order_a)} itself (other mappings, reference "
                         "files or code); what follows is the table's part alone")
    notes += [f"left out of both runs: {problem}" for problem in broken]
    return notes
