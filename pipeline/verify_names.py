"""The names of a release, read again from the project's files: a group of people under another name would be told another group's verdict."""

from __future__ import annotations

from pipeline.verify_files import Rows, path_of, policy_of
from pipeline.verify_limits import read_policy
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project

DERIVED = {"component CHOAVLDF": "Carbohydrate, available, by difference", "component NACL": "Salt", "audience general": "Everybody, by law"}


def compare(tables: dict[str, Rows], project: Project, manifest: dict, ledger: Ledger) -> None:
    """Compares evidence/names.csv with ``reference/components.csv``, ``claims.csv`` and the policy."""
    path = policy_of(manifest)
    policy = read_policy(project, path)
    head, written = policy["policy"], tables["names"]
    expected = {f"claim {limit['claim']}": limit["claim"].replace("-", " ").capitalize() for limit in policy["limit"]}
    expected |= {f"claim {row['claim_id']}": row["claim"] for row in project.listed("reference/claims.csv")}
    for row in project.listed("reference/components.csv"):
        expected.setdefault(f"component {row['component']}", row["name"])
    expected |= DERIVED | {f"audience {row['id']}": row["name"] for row in policy["audience"]}
    expected[f"policy {head['name']}"] = (
        f"Under {head['name']}, adopted by {head['adopted_by']} ({head['role']}) on {head['date']}" if head["adopted_by"].strip()
        else f"Rests on the {'demo policy' if head['standing'] == 'invented' else 'policy'} '{head['name']}', which is not adopted locally")
    ledger.keys("source rows", path_of("names"), written, expected, path)
    for key in written.keys() & expected.keys():
        ledger.same(("source rows", path_of("names"), key), "name", written[key]["name"], expected[key], path)
    ledger.counts["names"] += len(expected)
