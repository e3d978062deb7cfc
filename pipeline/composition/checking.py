"""``potash tables check NAME``: the checks on a table by its name, and where their report lies."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.composition import check, check_kept, check_report
from pipeline.composition.check_known import NOT_COMPARED
from pipeline.problems import InputError, Problem
from pipeline.protected import check_folder
from pipeline.root import ROOT

FIRST = 8  # findings that the terminal shows


@dataclass(frozen=True)
class Checked:
    """What the checks found, how many of the errors a rule explains, and the files of the report."""

    name: str
    findings: pd.DataFrame
    explained: int
    files: tuple[Path, ...]

    @property
    def exit_code(self) -> int:
        """1 when there is an error, else 0."""
        return check.exit_code(self.findings)

    def text(self) -> str:
        """Counts by severity and check, the gravest findings, and where the report lies."""
        counted = check.summary(self.findings)
        rows = [f"{self.name}: " + self._totals()]
        rows.append(f"  {'check':<26}{'errors':>8}{'warnings':>10}{'notes':>8}")
        rows += [f"  {row.check:<26}{row.error:>8,}{row.warning:>10,}{row.note:>8,}" for row in counted.itertuples(index=False)]
        grave = self.findings[self.findings["severity"] == "error"].head(FIRST)
        rows += ["The first errors:"] if len(grave) else []
        rows += [f"  {row.entry_id} {row.entry_name}: {row.what}" for row in grave.itertuples(index=False)]
        rows += [f"{row.what}. {row.remedy}." for row in self.findings[self.findings["check"] == NOT_COMPARED].itertuples()]
        if self.explained:
            rows.append(f"{self.explained:,} of the errors have a known innocent reason (rules `explained` of reference/table_checks.csv) "
                        "and do not count in a run.")
        return "\n".join([*rows, *(f"Report: {file}" for file in self.files)])

    def _totals(self) -> str:
        by_severity = self.findings["severity"].value_counts()
        return ", ".join(f"{by_severity.get(one, 0):,} {one}{'' if by_severity.get(one, 0) == 1 else 's'}" for one in check.SEVERITIES)

    def to_dict(self) -> dict:
        """The counts as plain data, for ``--json``."""
        return {"table": self.name, "counts": check.summary(self.findings).to_dict("records"), "explained": self.explained,
                "files": [str(file) for file in self.files]}


def check_by_name(name: str, folder: Path | None = None, root: Path | None = None) -> Checked:
    """Checks the curated or imported table ``name`` and writes findings.csv and report.html.

    ``folder`` is ``output/checks/<name>`` unless given. Raises InputError for a table
    that does not exist and for a folder that is protected or cannot be written.
    """
    home = root or ROOT
    usual = home / "output" / "checks"
    if folder is not None and not folder.resolve().is_relative_to(usual.resolve()):
        check_folder(folder, home, "a check")
    findings, entries, values = check_kept.findings(name, root)
    target = folder or usual / name
    try:
        target.mkdir(parents=True, exist_ok=True)
        files = check_report.write_report(findings, entries, values, target, f"Composition table {name}")
    except OSError as error:
        raise InputError(Problem(str(target), f"the report cannot be written ({error.strerror or error})",
                                 "Name a folder that can be written with -o", "cannot-write")) from None
    explained = int((findings["severity"] == "error").sum()) - int((check_kept.errors(name, root)["severity"] == "error").sum())
    return Checked(name, findings, explained, tuple(files))
