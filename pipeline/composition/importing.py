"""Importing a published composition table: which reader, which source, and whether it is needed at all.

A format is one reader module. The importer's version is the content of everything that its
result depends on besides the source: its code, the component list and the unit words. So
the same file is read again exactly when it would come out otherwise.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline import decisions, sources
from pipeline.composition import check_kept, store
from pipeline.composition.common import Imported, problem, source_hash
from pipeline.composition.household import SPREAD
from pipeline.composition.load import load_table, table_names
from pipeline.composition.profile import profile_names
from pipeline.content import code_files, content_key
from pipeline.problems import InputError
from pipeline.root import ROOT


@dataclass(frozen=True)
class Request:
    """What a reader is given: the table as downloaded, the component list, the unit words, the source id, a profile."""

    path: Path
    components: pd.DataFrame
    unit_words: pd.DataFrame
    source_id: str
    profile: str = ""


@dataclass(frozen=True)
class Format:
    """One published format: what it is, its module, how to call the module's ``read``, and the profile it goes by."""

    what: str
    module: str
    read: Callable[[Callable[..., Imported], Request], Imported]
    takes_profile: bool = False
    default_profile: str = ""


def _usda(read: Callable[..., Imported], request: Request) -> Imported:
    return read(request.path, request.components, request.unit_words, request.source_id)


def _profiled(read: Callable[..., Imported], request: Request) -> Imported:
    return read(request.path, request.profile, request.components)


# A new format is one row here and one module.
FORMATS = {
    "usda-sr-ascii": Format("USDA Standard Reference, ASCII release (folder or zip)", "usda_sr", _usda),
    "usda-fdc-csv": Format("USDA FoodData Central, CSV download: SR Legacy, Foundation, Survey (folder or zip)", "fdc", _usda),
    "spreadsheet": Format("any spreadsheet or CSV that a profile describes (--profile: a ready one's name, or a TOML file)", "sheet",
                          _profiled, takes_profile=True),
    "infoods-workbook": Format("a workbook with INFOODS tagnames in a header row (--profile: a TOML file for one that differs)", "infoods",
                               _profiled, takes_profile=True, default_profile="infoods"),
}


@dataclass(frozen=True)
class Outcome:
    """What an import did: ``state`` is imported, replaced or current (nothing was done). ``errors``: what the check of the
    table finds, as a run will see it (columns ``check_table.FINDING_COLUMNS``)."""

    name: str
    state: str
    facts: dict
    notes: tuple[str, ...]
    errors: pd.DataFrame

    @property
    def _of_all(self) -> pd.DataFrame:
        return self.errors[self.errors["entry_id"] == check_kept.WHOLE_TABLE]

    @property
    def exit_code(self) -> int:
        """1 when an error is of the table as a whole, else 0."""
        return int((self._of_all["severity"] == "error").any())

    def faults(self) -> list[str]:
        """What is wrong with the table as a whole, and how many errors and doubts its check finds; one line each."""
        of_all = [f"{row.severity}: {row.what}. {row.remedy}" for row in self._of_all.itertuples()]
        counted = check_kept.counted(self.errors)
        if not counted:
            return of_all
        return [*of_all, f"note: the check finds {counted} in it; figures that rest on such an entry will be marked. "
                         f"Look at `potash tables check {self.name}`"]


def import_table(
    format_name: str, path: Path, name: str, source_id: str = "", profile: str = "", root: Path | None = None,
) -> Outcome:
    """Reads the table at ``path`` and stores it as ``name``, unless just that is stored already.

    ``source_id`` is its row in ``reference/sources.csv``; by default the row that has the
    file's SHA-256, else the one called ``name``. Raises :class:`InputError` for whatever
    cannot be used; the stored table, if any, is untouched then.
    """
    if format_name not in FORMATS:
        raise InputError(problem(f"format {format_name}", "is not known", f"Choose one of: {', '.join(FORMATS)}"))
    chosen = FORMATS[format_name]
    profile = profile or chosen.default_profile
    if bool(profile) != chosen.takes_profile:
        what, remedy = ("is of no use to", "Leave the option out") if profile else ("is needed by", f"Name a ready profile ({', '.join(profile_names())}), or a TOML file of your own")
        raise InputError(problem("--profile", f"{what} the format {format_name}", remedy))
    if source_id and chosen.takes_profile:
        raise InputError(problem("--source", "is given by the profile", "Leave the option out, or correct the profile's source_id"))
    store.check_name(name, root)
    digest = source_hash(path)
    components, known, unit_words = _read(root)
    source_id = source_id or ("" if chosen.takes_profile else _source_of(name, path, digest, known))
    request = Request(path, components, unit_words, source_id, profile)
    reader = importlib.import_module(f"pipeline.composition.{chosen.module}").read
    importer = f"{format_name} {_version(reader, request)}"
    if store.is_current(name, digest, importer, root):
        return Outcome(name, "current", store.facts(name, root), (), check_kept.errors(name, root))
    existed = name in store.names(root)
    imported = chosen.read(reader, request)
    store.save(name, imported, format_name, importer, {"file": path.resolve().name, "sha256": digest}, root)
    facts = store.facts(name, root)
    return Outcome(name, "replaced" if existed else "imported", facts, (*facts["notes"], *_citing(facts, path, known)),
                   check_kept.errors(name, root))


def _read(root: Path | None) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """The component list, the sources and the unit words: all that an import needs of the project's files."""
    home = root or ROOT
    components, known = (sources.read_csv(home / "reference" / f"{name}.csv", *sources.FILES[name]) for name in ("components", "sources"))
    return components, known, sources.read_csv(home / "mappings" / "unit_words.csv", decisions.FILES["unit_words"], ())


def _version(reader: Callable, request: Request) -> str:
    # By content alone: the same code in another folder is the same importer.
    code = [(file.relative_to(ROOT).as_posix() if file.is_relative_to(ROOT) else file.name, file.read_bytes()) for file in code_files(reader)]
    return content_key(code, request.components, request.unit_words, request.source_id, _profile_content(request.profile), SPREAD)[:16]


def _profile_content(profile: str) -> bytes:
    """The bytes of a profile, so that a changed one is a changed importer; what is wrong with it, its reader says."""
    ready = ROOT / "reference" / "profiles" / f"{profile}.toml"
    file = ready if ready.is_file() else Path(profile)
    return file.read_bytes() if profile and file.is_file() else profile.encode()


def _source_of(name: str, path: Path, digest: str, known: pd.DataFrame) -> str:
    """The source that a table rests on, by its file's hash or by its name."""
    same = known.loc[known["sha256"] == digest, "source_id"]
    if len(same):
        return str(same.iloc[0])
    named = known.loc[known["source_id"] == name, "sha256"]
    if len(named) and named.iloc[0] and path.is_file():
        raise InputError(problem(
            f"--name {name}", f"is a source in reference/sources.csv with the SHA-256 {named.iloc[0][:12]}..., and {path.name} has {digest[:12]}...",
            "Choose another name, or name the source of this file with --source"))
    return name


def _citing(facts: dict, path: Path, known: pd.DataFrame) -> tuple[str, ...]:
    """What remains to be said or done about the sources of the table."""
    digest = facts["source"]["sha256"]
    unlisted = sorted(set(facts["source_ids"]) - set(known["source_id"]))
    if unlisted:
        return (f"a run needs the source of this table: add {', '.join(unlisted)} to reference/sources.csv with its citation and licence, "
                f"and sha256 {digest}",)
    cited = known[known["source_id"].isin(facts["source_ids"]) & (known["sha256"] != "")]
    if len(cited) and not (cited["sha256"] == digest).any():
        what = "a folder, and cannot be compared with" if path.is_dir() else "not"
        named = ", ".join(cited["source_id"])
        return (f"{path.name} is {what} the file that reference/sources.csv cites as {named}: make sure that it is the same release",)
    return ()


def listed(root: Path | None = None) -> list[dict]:
    """Every composition table: name, kind (curated or imported), format, entries, values, components, measures, source."""
    rows = []
    imported = store.names(root)
    known = None
    for name in table_names(root):
        if name in imported:
            facts = store.facts(name, root)
            counted = {key: facts["rows"][key] for key in ("entries", "values", "missing", "components", "measures")}
            rows.append({"table": name, "kind": "imported", "format": facts["format"], **counted,
                         "source": {**facts["source"], "source_ids": facts["source_ids"]}, "published": facts["counts"]})
            continue
        known = sources.load(root).sources if known is None else known
        table = load_table(name, known, root)
        missing = int((table.values["value_type"] == "missing").sum())
        rows.append({"table": name, "kind": "curated", "format": "", "entries": len(table.entries), "values": len(table.values) - missing,
                     "missing": missing, "components": int(table.values["component"].nunique()), "measures": 0,
                     "source": {"source_id": ", ".join(sorted(set(table.values["source_id"])))}, "published": {}})
    return rows
