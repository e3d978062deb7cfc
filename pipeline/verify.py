"""`potash verify`: a release recomputed from its own evidence and ``reference/`` alone.

A second implementation, in plain Python, that shares no arithmetic with the stages. It
goes from cause to effect: files, source rows, masses, cooking, lines, contributions,
inputs, figures, verdicts, suitability, additives, phosphorus by kind, figures for print, versions, print changes. Each step rests on what was recomputed before it, not on what
the release says, so that a changed number is reported where it stands and not in
everything that should follow from it. What cannot be recomputed is the reading of words:
``evidence/parsed.csv``, ``matched.csv``, the scores of ``candidates.csv`` and the method,
chain and minutes of ``cooked.csv`` are taken as they are, and held against what rests on
them (the words that name allergens, diets and additives are read again); other findings, worklist, problems, steps and recomputed against their Parquet files and hashes alone.

Numbers agree when they are the same to ten significant digits, as released tables carry.
"""

from __future__ import annotations

from pathlib import Path

from pipeline import (
    verify_additions, verify_additives, verify_amounts, verify_bands, verify_cooking, verify_figures, verify_files, verify_limits, verify_mass,
    verify_names, verify_pages, verify_phosphorus, verify_print, verify_print_changes, verify_routes, verify_sentences, verify_sources, verify_suit, verify_swaps,
    verify_verdicts, verify_versions,
)
from pipeline.verify_report import Ledger, Report

__all__ = ["Report", "verify"]


def verify(release_folder: Path, root: Path) -> Report:
    """Recomputes the release in ``release_folder`` against the project in ``root``.

    Raises :class:`pipeline.problems.InputError` when the folder is no release, or a table
    of it or a reference file cannot be read.
    """
    folder = Path(release_folder)
    manifest = verify_files.read_manifest(folder)
    ledger = Ledger()
    verify_files.compare_files(folder, manifest, ledger)
    tables = verify_files.read_tables(folder, ledger)
    project = verify_sources.Project(Path(root), manifest["composition_table"]["name"], folder)
    verify_sources.compare_inputs(manifest, project, ledger)
    not_needed = verify_files.WITH_SEVERAL_TABLES if len(project.table.split(",")) == 1 else set()
    missing = sorted(verify_files.TABLES.keys() - tables.keys() - not_needed)
    for name in missing:
        ledger.differs("files", verify_files.path_of(name), "", "", "no file", "a table", "what a release holds")
    if missing:
        ledger.notes.append("tables are missing, so nothing was recomputed")
        return ledger.report(manifest["release"])
    verify_files.compare_counts(manifest, tables, ledger)
    verify_sources.compare_rows(tables, project, ledger)
    try:
        _recompute(folder, tables, project, manifest, ledger)
    except KeyError as error:
        # A row that recomputing needs is gone: with what was found so far that is a difference, never an agreement.
        ledger.differs("files", "reference/ and evidence/", "", "", f"no row {error}", "a row", "what the release rests on")
        ledger.notes.append("a row that recomputing needs is missing, so the rest was not recomputed")
    return ledger.report(manifest["release"])


def _recompute(folder: Path, tables: dict, project: verify_sources.Project, manifest: dict, ledger: Ledger) -> None:
    verify_names.compare(tables, project, manifest, ledger)
    weights = verify_mass.masses(tables, project, ledger)
    yields = verify_cooking.yields(tables, project, ledger)
    retentions = verify_cooking.retentions(tables, project, ledger)
    lines = verify_cooking.lines(tables, weights, yields, project, ledger)
    kitchen = verify_amounts.Kitchen(tables, project, yields, retentions, verify_amounts.units_of(project), {})
    kitchen = kitchen._replace(routes=verify_routes.routes(lines, kitchen, ledger))
    amounts = verify_amounts.amounts(lines, kitchen, ledger)
    uncertainties = verify_amounts.inputs(lines, kitchen, ledger)
    figures = verify_figures.figures(lines, amounts, uncertainties, kitchen, ledger)
    verify_figures.compare_withheld(tables, ledger)
    verify_verdicts.compare(figures, tables, project, manifest, ledger)
    claims = verify_limits.local_of(verify_limits.conditions_of(tables, project, verify_files.policy_of(manifest)))
    verify_swaps.compare(figures, verify_figures.Dishes(lines, amounts, uncertainties, kitchen), claims, ledger)
    verify_additions.compare(figures, tables, claims, ledger)
    verify_bands.compare(figures, tables, project, ledger)
    verify_suit.compare(tables, project, ledger)
    verify_additives.compare(tables, project, ledger)
    verify_phosphorus.compare(figures, amounts, uncertainties, tables, project, ledger)
    verify_print.compare(figures, tables, project, verify_files.policy_of(manifest), ledger)
    added = {(one.line.line_id, one.component): one.amount for one in amounts}
    verify_versions.compare(figures, added, tables, ledger)
    verify_print_changes.compare(figures, tables, project, ledger)
    verify_sentences.compare(tables, ledger)
    verify_pages.compare(folder, tables, ledger)
