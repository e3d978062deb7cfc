"""The whole job as data: what a run needs, and the tables it releases."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from pipeline import decisions, evidence, problems, sources
from pipeline.combinations import combinations
from pipeline.composition import combine
from pipeline.composition.check_kept import counted, with_errors
from pipeline.composition.combine_weigh import weighing
from pipeline.composition.load import CompositionTable, load_table
from pipeline.content import content_key
from pipeline.names import names
from pipeline.page_frame import TEMPLATES
from pipeline.policy import Policy, load_policy
from pipeline.problems import ERROR, NOTE, Problem
from pipeline.sources import ROOT
from pipeline.stages import audit_entries, match_words, phosphorus, versions
from pipeline.stages.for_print import for_print
from pipeline.stages.ingest import Collection, ingest
from pipeline.stages.judge import conditions_by_variant
from pipeline.stages.judge_bands import bands
from pipeline.stages.judge_headroom import with_headroom
from pipeline.stages.print_changes import print_changes
from pipeline.stages.release import POLICY_COPY, InputFile, ReleaseMeta
from pipeline.stages.standing import doubted, judged_again
from pipeline.stages.total_stakes import with_stakes
from pipeline.stages.worklist import worklist
from pipeline.tables import OUTCOMES, STATUSES

DEMO = "reference/demo"
POLICY = "reference/limits/tern-bay-demo.toml"
# Figures that follow from components; they may be in print too.
DERIVED = {"NACL", "CHOAVLDF"}
LICENCE = {"name": "CC0-1.0", "title": "Figures computed by Potash; see sources for what they rest on"}
# Tables that partitions produce and that a release carries under another name.
RELEASED_AS = {"settled": "lines", "lines": "source_lines"}
STAGE_TABLES = (
    "recipes", "variants", "lines", "steps", "parsed", "matched", "candidates", "weighed", "cooked", "retentions", "settled",
    "contributions", "inputs", "two_routes", "shares", "figures", "verdicts", "findings", "suitability_evidence", "suitability", "allergens",
    "additives", "swaps", "protein_additions",
)
# Tables whose rows cite a source each.
CITING = ("factors", "values", "inputs", "verdicts", "bands", "suitability_evidence", "additives", "phosphorus_kinds", "protein_additions")
# Tables whose rows may repeat between partitions: the same input serves many recipes.
SHARED = {"inputs": "input_id"}


@dataclass(frozen=True)
class PolicyFile:
    """The policy as it lies on the disk: ``path`` from the project, or ``policy/<name>`` where it lies elsewhere."""

    path: str
    sha256: str
    content: bytes


@dataclass(frozen=True)
class Job:
    """Everything a run reads, loaded and checked. ``table`` is the one composition table, or several
    combined, which ``several`` then describes; ``loaded`` are they one by one; ``nitrogen`` is what they
    say of their protein."""

    collection: Collection
    table: CompositionTable
    reference: sources.Reference
    mappings: decisions.Mappings
    policy: Policy
    policy_file: PolicyFile
    release_id: str
    several: combine.Several | None = None
    nitrogen: pd.DataFrame | None = None
    loaded: tuple[CompositionTable, ...] = ()

    @property
    def ingested(self) -> list[Problem]:
        """What was said when the recipes were read."""
        return self.collection.problems


def prepare_job(collection: Path | None, table: str, root: Path | None = None, policy: Path | None = None) -> Job:
    """Loads the collection, the reference files, the mappings, the table and the policy.

    ``table`` may name several tables, the preferred one first ("core,usda-sr26").
    ``root`` is another project folder with ``reference/`` and ``mappings/``; ``policy`` another policy file than the demo's.
    Raises :class:`pipeline.problems.InputError` when one of them cannot be used.
    """
    home = root or ROOT
    reference = sources.load(root)
    mappings = decisions.load(root)
    loaded = with_errors([load_table(name, reference.sources, root) for name in combine.table_names(table)], root)
    several = combine.combine(loaded, mappings.same_foods, mappings.foods) if len(loaded) > 1 else None
    composition = several.table if several else loaded[0]
    reference = weighing(reference, loaded, mappings, root)
    policy_path = policy or home / POLICY
    limits = load_policy(policy_path, reference.components, set(reference.sources["source_id"]), set(reference.rounding["rule"]))
    policy_file = _policy_file(policy_path, home)
    read = ingest(collection or home / DEMO, set(reference.components["component"]) | DERIVED)
    policy_hash = sources.file_sha256(policy_path)
    content = content_key(read.files, reference.hashes, mappings.hashes, composition.hashes, policy_file.sha256,
                          version("potash"), sorted((ROOT / "pipeline").rglob("*.py")), sorted(TEMPLATES.iterdir()))
    nitrogen = evidence.nitrogen(loaded, several.members if several else None, root)
    return Job(read, composition, reference, mappings, limits, policy_file, f"{_slug(read.name)}-{content[:8]}", several, nitrogen,
               tuple(loaded))


def _policy_file(path: Path, home: Path) -> PolicyFile:
    own = path.resolve()
    named = own.relative_to(home.resolve()).as_posix() if own.is_relative_to(home.resolve()) else f"policy/{path.name}"
    return PolicyFile(named, sources.file_sha256(path), path.read_bytes())


def _slug(name: str) -> str:
    words = "".join(mark if mark.isalnum() and mark.isascii() else " " for mark in name.lower()).split()
    return "-".join(words)[:60].strip("-") or "collection"


def assemble(job: Job, bundles: list[dict[str, pd.DataFrame]], failed: list[Problem]) -> dict[str, pd.DataFrame]:
    """The tables of the release, from the bundles of every partition."""
    staged = {name: _joined(name, bundles) for name in STAGE_TABLES}
    tables = {RELEASED_AS.get(name, name): table for name, table in staged.items()}
    ingested = job.collection
    figures = doubted(tables["figures"], tables["findings"], tables["variants"], ingested.problems)
    tables["verdicts"] = judged_again(tables["verdicts"], tables["figures"], figures, tables["recipes"], tables["variants"],
                                      job.policy, job.reference, tables["lines"], tables["contributions"])
    tables["figures"] = figures
    tables["verdicts"] = with_headroom(tables["verdicts"], tables, combinations(job.reference.components, job.reference.energy_factors))
    tables |= _kinds_and_print(job, tables)
    tables["bands"] = bands(figures, tables["recipes"], tables["variants"], job.reference.bands)
    tables["worklist"] = worklist(tables["lines"], tables["candidates"], tables["figures"], tables["verdicts"],
                                  job.reference.rule("check_confidence_below"))
    tables["published"] = _of_recipes(ingested.published, tables["recipes"])
    tables["printed_claims"] = _of_recipes(ingested.printed_claims, tables["recipes"])
    tables["versions"], tables["version_figures"] = versions.compared(tables)
    tables["print_changes"] = print_changes(tables, job.reference)
    tables["entries"], tables["values"] = evidence.used_composition(job.table, tables)
    tables["worklist"] = with_stakes(tables["worklist"], tables, job.reference)
    tables["recomputed"] = evidence.used_recomputed(job.reference, job.nitrogen, tables)
    noted = audit_entries.entries(tables["recomputed"], tables["lines"], job.reference)
    tables["findings"] = pd.concat([tables["findings"], noted], ignore_index=True)
    tables["factors"] = evidence.used_factors(job.reference, tables)
    changes = tables["print_changes"]
    citing = [*(tables[name] for name in CITING), changes[changes["source_id"] != ""]]
    if job.several:
        tables["disagreements"] = evidence.used_disagreements(job.several.disagreements, tables)
        citing.append(tables["disagreements"])
    tables["decisions"] = evidence.used_decisions(job.mappings, tables, job.several.members if job.several else None)
    citing += [tables["for_print"][[column]].set_axis(["source_id"], axis=1) for column in ("guidance_source_id", "unit_rule_source_id")]
    tables["names"] = names(job.reference.components, job.reference.claims, job.policy)
    tables["sources"] = evidence.used_sources(job.reference, *citing)
    stage_problems = [bundle["problems"] for bundle in bundles if "problems" in bundle]
    found = [one for table in stage_problems for one in problems.from_table(table)]
    combined = job.several.problems if job.several else ()
    tables["problems"] = problems.to_table([
        *ingested.problems, *combined, *_faulty_tables(job, tables["lines"]), *found, *failed, *_unused_decisions(job, tables["parsed"])])
    return tables


def _kinds_and_print(job: Job, tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Phosphorus by kind and to protein, and the figures for print: what is said of figures when they stand for good."""
    lines, reference = tables["lines"], job.reference
    counted = lines[lines["counted"] & (lines["outcome"] == "accepted")]
    hung = (tables["contributions"], counted, tables["weighed"], tables["cooked"], tables["recipes"])
    asked = conditions_by_variant(tables["recipes"], tables["variants"], reference.claims, reference.nutrient_reference_values, job.policy,
                                  reference.energy_factors)
    return {
        "phosphorus_kinds": phosphorus.by_kind(*hung, tables["variants"], tables["inputs"], tables["figures"], job.table.entries,
                                               reference.phosphorus_kinds, tables["two_routes"]),
        "phosphorus_to_protein": phosphorus.to_protein(*hung, tables["inputs"], tables["figures"], tables["two_routes"]),
        "for_print": for_print(tables["figures"], asked, reference.rounding, job.policy.rounding),
    }


def _faulty_tables(job: Job, lines: pd.DataFrame) -> list[Problem]:
    """Per table with errors or doubts of its check: how many, how many of its entries with one are in use, and what is wrong with
    it as a whole, or was never compared."""
    used = lines.loc[lines["outcome"] == "accepted", "entry_id"]
    here = job.table.errors[job.table.errors["entry_id"].isin(used)].groupby("table")["entry_id"].nunique()
    return [_faulty_table(table, int(here.get(table.name, 0))) for table in job.loaded if len(table.errors)]


def _faulty_table(table: CompositionTable, in_use: int) -> Problem:
    whole = table.errors[table.errors["whole"]].drop_duplicates("what").sort_values(["severity", "what"])
    count, used = counted(table.errors), f"the lines use {in_use} {_plural('entry', in_use)}"
    what = f"has {count} of the check, and {used} with one" if count else f"{used} of it"
    remedy = "every figure that rests on such an entry is to be checked" if in_use else "no figure rests on them"
    severity = ERROR if in_use and (whole["severity"] == "error").any() else problems.WARNING if in_use else NOTE
    return Problem(f"composition table {table.name}", "; ".join([what, *whole["what"]]),
                   f"Look at `potash tables check {table.name}`: {remedy}", "table-errors", severity, "tables")


def _plural(word: str, count: int) -> str:
    return word if count == 1 else word.removesuffix("y") + "ies" if word.endswith("y") else word + "s"


def _unused_decisions(job: Job, parsed: pd.DataFrame) -> list[Problem]:
    """Decisions that no line asked for: each that lost its line, and the others in one note."""
    ignored = match_words.vocabulary(job.mappings.words).ignored
    found = decisions.dead_rows(job.mappings.foods, {table.name: table.entries for table in job.loaded}, parsed,
                                lambda word: match_words.singular(word) in ignored)
    lost = [one for one in found if one.severity != NOTE]
    kept = len(found) - len(lost)
    if not kept:
        return lost
    return [*lost, Problem(decisions.WHERE, f"{kept} decisions are asked for by no line of this collection",
                           "Nothing to do: they stand for other recipes and the next refresh", "dead-decision", NOTE, "match")]


def _joined(name: str, bundles: list[dict[str, pd.DataFrame]]) -> pd.DataFrame:
    found = [bundle[name] for bundle in bundles if name in bundle]
    table = pd.concat(found, ignore_index=True)
    return table.drop_duplicates(SHARED[name], ignore_index=True) if name in SHARED else table


def _of_recipes(table: pd.DataFrame, recipes: pd.DataFrame) -> pd.DataFrame:
    return table[table["recipe_id"].isin(recipes["recipe_id"])].reset_index(drop=True)


def exit_status(tables: dict[str, pd.DataFrame]) -> int:
    """0: all settled; 1: done, and something is withheld or a recipe could not be used."""
    withheld = (tables["figures"]["status"] == "withheld").any()
    return int(withheld or (tables["problems"]["severity"] == ERROR).any())


def meta(job: Job, status: int) -> ReleaseMeta:
    """What the release says about itself."""
    files = [InputFile(name, digest, role) for hashes, role in (
        (job.reference.hashes, "reference"), (job.mappings.hashes, "mapping"), (job.table.hashes, "composition table"))
        for name, digest in hashes.items()]
    files += [InputFile(job.policy_file.path, job.policy_file.sha256, "policy")]
    read = job.collection.files
    files += [InputFile(f"collection/{name}", digest, "collection")
              for name, digest in zip(read["source_file"], read["sha256"], strict=True)]
    cited = job.reference.sources
    return ReleaseMeta(
        release_id=job.release_id, title=job.collection.name, tool_version=version("potash"), table_name=job.table.name,
        table_version=content_key(job.table.hashes)[:16], inputs=tuple(sorted(files, key=lambda file: file.path)),
        cautions=job.reference.cautions, sources=cited, exit_status=status, licences=(LICENCE,),
        further={POLICY_COPY: job.policy_file.content})


def counts(tables: dict[str, pd.DataFrame]) -> dict[str, dict[str, int]]:
    """How many figures, lines and verdicts are in each state; states without a row count 0."""
    verdicts = tables["verdicts"]["verdict"].value_counts().to_dict()
    lines = tables["lines"]["outcome"].value_counts().to_dict()
    figures = tables["figures"]["status"].value_counts().to_dict()
    return {
        "figures": {name: int(figures.get(name, 0)) for name in STATUSES},
        "lines": {name: int(lines.get(name, 0)) for name in OUTCOMES},
        "verdicts": {name: int(count) for name, count in sorted(verdicts.items())},
    }
