"""The dry run of a swap: exactly what depends on a planted change moves, flips or breaks, and nothing on disk does.

Expected figures come from the release's own contributions by hand arithmetic (a food's share of a
figure grows as its value does), expected verdicts from the interval and the limit.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
import small_release
import straight
from table_root import NEXT, Rows, plant, root, row, tree

from pipeline import job as jobs
from pipeline import released, steps
from pipeline import compare_cli, swap
from pipeline.composition import check_kept, compare_decided, compare_swap
from pipeline.problems import InputError

CARROTS, CREAM = "11124", "01053"
FACTOR = 9.0
BASES = {"portion", "100g", "recipe"}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, quay_release: Path) -> Path:
    """A project root with a release of invented dishes, made on the core."""
    folder = root(tmp_path_factory.mktemp("swap"))
    check_kept.errors("core", folder)  # as any run on it leaves them
    shutil.copytree(quay_release, folder / "output" / quay_release.name)
    (folder / "output" / "latest").write_text(quay_release.name, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def release(home: Path) -> Path:
    return released.find(None, home / "output")


def potassium_times(factor: float):
    def change(entries: Rows, values: Rows) -> None:
        cell = row(values, entry_id=CARROTS, component="K")
        cell["value"] = str(float(cell["value"]) * factor)

    return change


def renamed(entries: Rows, values: Rows) -> None:
    row(entries, entry_id=CREAM)["name"] = "Cream, double, 48 % fat"


def gone(entries: Rows, values: Rows) -> None:
    entries.remove(row(entries, entry_id=CREAM))
    values[:] = [one for one in values if one["entry_id"] != CREAM]


def renumbered(entries: Rows, values: Rows) -> None:
    for one in [row(entries, entry_id=CREAM), *(one for one in values if one["entry_id"] == CREAM)]:
        one["entry_id"] = "91053"


@pytest.fixture(scope="module")
def told_of(home: Path, release: Path):
    """The dry run of the core against a planted table; each is made once."""
    made: dict[str, swap.Swap] = {}

    def told(change, name: str) -> swap.Swap:
        if name not in made:
            made[name] = swap.swap(release, "core", plant(home, change, name), home)
        return made[name]

    return told


@pytest.fixture(scope="module")
def raised(home: Path, release: Path) -> swap.Swap:
    """Far more potassium in raw carrots."""
    return swap.swap(release, "core", plant(home, potassium_times(FACTOR)), home)


def test_the_same_table_under_another_name_changes_nothing(home: Path, release: Path) -> None:
    told = swap.swap(release, "core", plant(home, lambda entries, values: None, "core-copy"), home)
    assert not told.differs
    assert told.lines.empty and told.figures.empty and told.verdicts.empty and told.notes == [] and told.problems == []
    assert set(told.decisions["state"]) <= {"carried", "holds"}
    assert told.adopt[-1] == "potash run --table core-copy"


def test_exactly_the_figures_that_rest_on_the_value_move(release: Path, raised: swap.Swap) -> None:
    contributions = released.table(release, "contributions")
    lines = released.table(release, "lines")
    dishes = set(lines.loc[lines["counted"] & (lines["entry_id"] == CARROTS), ["recipe_id", "variant_id"]].itertuples(index=False, name=None))
    assert {dish for dish, _ in dishes} == {"pier-beans", "grated-carrots"}
    expected = {(dish, variant, "K", basis) for dish, variant in dishes for basis in BASES}
    found = raised.figures
    assert set(found[["recipe_id", "variant_id", "component", "basis"]].itertuples(index=False, name=None)) == expected
    assert set(found["effect"]) == {"moved"} and not found["in_print"].any()
    carrots = set(lines.loc[lines["entry_id"] == CARROTS, "line_id"])
    potassium = contributions[contributions["component"] == "K"]
    for one in found[found["basis"] == "recipe"].itertuples():
        rows = potassium[(potassium["recipe_id"] == one.recipe_id) & (potassium["variant_id"] == one.variant_id)]
        from_carrots = rows.loc[rows["line_id"].isin(carrots), "amount"].sum()
        assert one.value_a == pytest.approx(rows["amount"].sum())
        assert one.value_b == pytest.approx(rows["amount"].sum() + (FACTOR - 1) * from_carrots)
        assert one.relative_change == pytest.approx((FACTOR - 1) * from_carrots / rows["amount"].sum())
    assert raised.lines.empty
    assert raised.counts["decisions that break"] == 0


def test_exactly_the_verdicts_that_rest_on_those_figures_flip(home: Path, release: Path, raised: swap.Swap) -> None:
    flips = raised.verdicts
    assert set(flips["component_b"]) == {"K"} and set(flips["recipe_id"]) <= {"pier-beans", "grated-carrots"}
    portion = raised.figures[raised.figures["basis"] == "portion"].set_index("recipe_id")
    before = released.table(release, "verdicts")
    limits = before[(before["claim"] == "low-potassium") & before["recipe_id"].isin(portion.index)]
    expected = {}
    for one in limits.itertuples():
        low, high = portion.at[one.recipe_id, "low_b"], portion.at[one.recipe_id, "high_b"]
        now = "holds" if high <= one.limit else "fails" if low > one.limit else "uncertain"
        if now != one.verdict:
            expected[(one.recipe_id, one.audience)] = (one.verdict, now)
    local = flips[flips["claim"] == "low-potassium"]
    assert {(one.recipe_id, one.audience): (one.verdict_a, one.verdict_b) for one in local.itertuples()} == expected
    assert ("holds", "fails") in expected.values()
    # Regulated claims on potassium flip too; they come after the limits that broke.
    assert (flips.iloc[0]["verdict_a"], flips.iloc[0]["verdict_b"], flips.iloc[0]["kind"]) == ("holds", "fails", "local-limit")


def test_a_change_within_the_interval_and_five_per_cent_is_slight(home: Path, release: Path) -> None:
    told = swap.swap(release, "core", plant(home, potassium_times(1.004), "core-nudged"), home)
    assert set(told.figures["effect"]) == {"slight"} and set(told.figures["component"]) == {"K"}
    assert told.verdicts.empty and told.differs


@pytest.mark.parametrize(("change", "state", "now"), [(renamed, "renamed", CREAM), (gone, "gone", ""), (renumbered, "renumbered", "91053")])
def test_a_decision_whose_entry_changed_breaks_and_is_named_by_its_row(home: Path, told_of, change, state: str, now: str) -> None:
    told = told_of(change, f"core-{state}")
    broken = told.decisions[told.decisions["state"].isin(compare_swap.BROKEN)]
    file = (home / "mappings" / "foods.csv").read_text(encoding="utf-8").splitlines()
    resting = [number for number, line in enumerate(file, start=1) if f",{CREAM}," in line]
    assert sorted(broken["row"]) == resting and set(broken["state"]) == {state} and set(broken["now_entry_id"]) == {now}
    assert all(file[one.row - 1].startswith(f"{one.decision_id},") for one in told.decisions.itertuples())
    used = broken.set_index("decision_id")["lines"]
    assert used["double-cream"] == 3 and used.sum() == 3  # quay-soup as written, with its optional line, with cod
    assert set(told.decisions["state"]) == {state, "carried"}
    assert told.adopt[0].startswith(f"decide again on {len(broken)} row") and told.adopt[-1] == f"potash run --table core-{state}"
    assert set(told.lines["line_id"]) == {f"quay-soup/{variant}/3" for variant in ("base", "with-cod", "with-optional")}
    # With one entry fewer a word is rarer, and so is the doubt about other matches: that moves an interval, no value.
    others = told.figures[told.figures["recipe_id"] != "quay-soup"]
    assert (others["value_a"] == others["value_b"]).all() and set(told.verdicts["recipe_id"]) <= {"quay-soup"}


def test_lines_that_lose_their_entry_withhold_figures_potassium_first(release: Path, told_of) -> None:
    told = told_of(gone, "core-gone")
    # The core has no other double cream: the cream of quay-soup as written, with its optional line and with cod is lost.
    assert told.lines["effect"].tolist() == ["lost"] * 3 and told.lines["line_id"].str.startswith("quay-soup/").all()
    before = released.table(release, "figures")
    given = before.loc[(before["recipe_id"] == "quay-soup") & before["value"].notna(), "figure_id"]
    assert len(given) and set(told.figures["figure_id"]) == set(given) and set(told.figures["effect"]) == {"withheld"}
    assert told.figures.iloc[0]["component"] == "K"
    of_figures = told.verdicts[told.verdicts["claim"] != "no-added-sugars"]  # which is about the ingredients: one that is lost leaves it uncertain
    assert told.verdicts.iloc[0]["component_a"] == "K" and set(of_figures["verdict_b"]) == {"not-assessable"}
    assert set(told.verdicts["verdict_b"]) <= {"not-assessable", "uncertain"}


def test_the_other_way_round_figures_get_values(home: Path, release: Path, told_of) -> None:
    forth, back = told_of(gone, "core-gone"), swap.swap(release, "core-gone", "core", home)
    assert back.notes and "made on core, not on core-gone" in back.notes[0] and forth.notes == []
    assert set(back.decisions["state"]) == {"own"}  # they name the core, and hold there
    lost, gained = forth.figures[forth.figures["effect"] == "withheld"], back.figures[back.figures["effect"] == "settled"]
    assert len(lost) and set(lost["figure_id"]) == set(gained["figure_id"])
    assert set(back.lines["effect"]) == {"gained"}


def test_the_dry_run_tells_what_a_run_then_gives_once_it_is_adopted(
        home: Path, release: Path, tmp_path: Path) -> None:
    def change(entries: Rows, values: Rows) -> None:
        potassium_times(FACTOR)(entries, values)
        gone(entries, values)

    plant(home, change, "core-adopted")
    told = swap.swap(release, "core", "core-adopted", home)
    (tmp_path / "quay.yaml").write_text(small_release.COLLECTION, encoding="utf-8")
    before = jobs.prepare_job(tmp_path / "quay.yaml", "core", home)
    path = home / "mappings" / "foods.csv"
    kept = path.read_text(encoding="utf-8")
    rows = pd.read_csv(path, dtype="str", keep_default_na=False)
    carried = rows["decision_id"].isin(told.decisions.loc[told.decisions["state"] == "carried", "decision_id"])
    try:  # step 2 of what it says; step 1, deciding again, is left
        rows.assign(table=(rows["table"] + ";core-adopted").where(carried, rows["table"])).to_csv(path, index=False)
        after = jobs.prepare_job(tmp_path / "quay.yaml", "core-adopted", home)
    finally:
        path.write_text(kept, encoding="utf-8")
    one, other = whole(before), whole(after)
    runs = one["figures"].merge(other["figures"], on="figure_id", suffixes=("_a", "_b"), validate="one_to_one").set_index("figure_id")
    figures, values = told.figures.set_index("figure_id"), other["figures"].set_index("figure_id")["value"]
    effects = figures.loc[figures["effect"] != "slight", "effect"].to_dict()
    slight = figures.index[figures["effect"] == "slight"]
    assert set(effects.values()) == {"withheld", "moved"}
    assert effects == became(runs.drop(index=slight))
    pd.testing.assert_series_equal(figures["value_b"], values[figures.index], check_names=False)
    key = ["recipe_id", "variant_id", "audience", "claim"]
    verdicts = one["verdicts"].merge(other["verdicts"], on=key, suffixes=("_a", "_b"), validate="one_to_one").set_index(key)
    sides = ["verdict_a", "verdict_b"]
    flipped = verdicts.loc[verdicts["verdict_a"] != verdicts["verdict_b"], sides]
    assert {"not-assessable", "fails"} <= set(flipped["verdict_b"])
    pd.testing.assert_frame_equal(told.verdicts.set_index(key)[sides].sort_index(), flipped.sort_index())


def became(runs: pd.DataFrame) -> dict[str, str]:
    """What two real runs say became of each figure that is not as it was, by figure id."""
    one, other = runs["value_a"], runs["value_b"]
    moved = (one - other).abs() > 1e-9 * one
    effect = pd.Series("", index=runs.index, dtype="str").mask(runs["status_a"] != runs["status_b"], "status").mask(moved, "moved")
    effect = effect.mask(one.notna() & other.isna(), "withheld").mask(one.isna() & other.notna(), "settled")
    return effect[effect != ""].to_dict()


def whole(job: jobs.Job) -> dict[str, pd.DataFrame]:
    """The tables of a release, made by the stages as a run makes them."""
    return straight.tables(job)


def test_a_row_that_names_both_tables_holds_without_an_edit_and_breaks_all_the_same(home: Path, release: Path) -> None:
    plant(home, renamed, "core-both")
    path = home / "mappings" / "foods.csv"
    kept = path.read_text(encoding="utf-8")
    rows = pd.read_csv(path, dtype="str", keep_default_na=False)
    try:
        rows.assign(table=rows["table"] + ";core-both").to_csv(path, index=False)
        told = swap.swap(release, "core", "core-both", home)
    finally:
        path.write_text(kept, encoding="utf-8")
    cream = told.decisions["entry_id"] == CREAM
    assert cream.any() and set(told.decisions.loc[cream, "state"]) == {"renamed"} and set(told.decisions.loc[~cream, "state"]) == {"holds"}
    assert len(told.adopt) == 2  # nothing to carry over


@pytest.mark.parametrize(("made", "expected"), [
    ("core", (["core"], ["next"])), ("other", (["core"], ["next"])), ("", (["core"], ["next"])),
    ("core,sr", (["core", "sr"], ["next", "sr"])), ("sr,core", (["sr", "core"], ["sr", "next"])),
    ("core,next", (["core", "next"], ["next"])), ("next,core", (["next", "core"], ["next"])),
])
def test_a_release_on_several_tables_keeps_the_others(made: str, expected: tuple) -> None:
    assert swap.orders(made, "core", "next") == expected


def test_decisions_already_made_on_the_new_table_win(home: Path, release: Path) -> None:
    plant(home, renamed, "core-decided")
    path = home / "mappings" / "foods.csv"
    kept = path.read_text(encoding="utf-8")
    try:
        again = "zz-double-cream,match,double cream,,core-decided,01053,\"Cream, double, 48 % fat\",data steward (test),2026-11-25,The entry was renamed,\n"
        path.write_text(kept + again, encoding="utf-8")
        told = swap.swap(release, "core", "core-decided", home)
    finally:
        path.write_text(kept, encoding="utf-8")
    states = told.decisions.set_index("decision_id")["state"]
    assert (states["zz-double-cream"], states["double-cream"]) == ("own", "superseded")
    assert told.figures.empty and set(told.lines["effect"]) == {"renamed"}


def test_another_decision_on_the_new_table_does_not_clash_with_the_old_one(home: Path, release: Path) -> None:
    plant(home, lambda entries, values: None, "core-again")
    path = home / "mappings" / "foods.csv"
    kept = path.read_text(encoding="utf-8")
    try:
        again = "zz-light,match,double cream,,core-again,01050,\"Cream, fluid, light (coffee cream or table cream)\",data steward (test),2026-11-25,Test,\n"
        path.write_text(kept + again, encoding="utf-8")
        told = swap.swap(release, "core", "core-again", home)
    finally:
        path.write_text(kept, encoding="utf-8")
    assert told.counts["decisions that break"] == 0
    assert set(told.lines["effect"]) == {"other-entry"} and set(told.lines["entry_id_b"]) == {"01050"}
    assert len(told.lines) == 3 and set(told.figures["recipe_id"]) == {"quay-soup"}


def test_a_recipe_that_breaks_a_stage_on_the_new_table_is_told_and_the_rest_goes_on(
        home: Path, release: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plant(home, potassium_times(1.0), "core-broken")
    weigh = steps.weigh

    def broken(read, matched, entries, reference):
        if set(matched["matched"]["table"]) >= {"core-broken"} and "quay-soup" in set(read["recipes"]["recipe_id"]):
            raise ValueError("planted")
        return weigh(read, matched, entries, reference)

    monkeypatch.setattr(steps, "weigh", broken)
    told = swap.swap(release, "core", "core-broken", home)
    assert [problem.recipe_id for problem in told.problems] == ["quay-soup"] and "planted" in str(told.problems[0])
    assert set(told.figures["recipe_id"]) == {"quay-soup"} and set(told.figures["effect"]) == {"withheld"}
    assert told.differs


# ---------------------------------------------------------------- decisions on methods and same foods

def test_decisions_on_methods_and_same_foods_that_break_are_told_with_their_file_and_row(
        home: Path, release: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture) -> None:
    def change(entries: Rows, values: Rows) -> None:
        gone(entries, values)
        row(entries, entry_id=CARROTS)["name"] = "Carrots, orange, raw"

    plant(home, change, "core-other")
    plant(home, lambda entries, values: None, "harbour")
    folder = home / "mappings"
    kept = {name: (folder / f"{name}.csv").read_text(encoding="utf-8") for name in ("methods", "same_foods", "foods")}
    signed = "data steward (test),2026-11-25"
    try:
        (folder / "same_foods.csv").write_text(kept["same_foods"] + "".join(
            f"{one},core,{entry},\"{name}\",harbour,{entry},\"{name}\",the same root,{signed}\n" for one, entry, name in (
                ("s1", CARROTS, "Carrots, raw"), ("s2", "11457", "Spinach, raw"), ("s3", "99999", "Nothing"))), encoding="utf-8")
        (folder / "methods.csv").write_text(kept["methods"] + "".join(
            f"{one},{recipe},{line},boil,drained,{signed},the cook says so\n" for one, recipe, line in (
                ("m1", "quay-soup", "1/3 cup double cream"), ("m2", "pier-beans", "300 g carrots"), ("m3", "quay-soup", "no such line"),
                ("m4", "another-recipe", "300 g carrots"))), encoding="utf-8")
        # without a cream of its own in the new table, no other may stand in for it
        (folder / "foods.csv").write_text(kept["foods"] + "".join(
            f"zz-{number},no-match,double cream,,core-other,,,{signed},Test,{rest}\n" for number, rest in ((1, _rest(kept["foods"])),)), encoding="utf-8")
        told = swap.swap(release, "core", "core-other", home)
        monkeypatch.setattr(compare_cli, "ROOT", home)
        compare_cli.compare.main(["core", "core-other", "--release", "latest"], standalone_mode=False)
        back = swap.swap(release, "core-other", "core", home)
        lines = {name: (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines() for name in kept}
    finally:
        for name, text in kept.items():
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    rows = told.decisions.set_index("decision_id")
    assert rows.loc[["s1", "s2", "s3"], "state"].tolist() == ["renamed", "carried", "expired-before"]
    assert rows.loc[["m1", "m2", "m3"], "state"].tolist() == ["gone", "holds", "expired-before"] and "m4" not in rows.index
    for one in told.decisions.itertuples():
        assert lines[one.file][one.row - 1].startswith(f"{one.decision_id},")
    assert told.counts["decisions that break"] == int(told.decisions["state"].isin(compare_swap.BROKEN).sum())
    assert "mappings/foods.csv and mappings/methods.csv and mappings/same_foods.csv" in told.adopt[0]
    assert any("write core-other for core in the 1 rows of mappings/same_foods.csv" in step for step in told.adopt)
    out = capsys.readouterr().out
    for words in ("1 in mappings/same_foods.csv", "1 in mappings/methods.csv", "mappings/same_foods.csv:", "mappings/methods.csv:"):
        assert words in out
    assert back.decisions.set_index("decision_id").loc["s1", "state"] == "own"


def _rest(text: str) -> str:
    """Empty cells for the columns after the reason."""
    return "," * (len(text.splitlines()[0].split(",")) - 11)


def test_same_foods_of_the_old_table_serve_the_new_one_in_the_dry_run() -> None:
    columns = ["decision_id", "table_a", "entry_a", "name_a", "table_b", "entry_b", "name_b"]
    rows = pd.DataFrame([("d1", "core", "1", "Leek", "sr", "7", "Leek"), ("d2", "sr", "8", "Kale", "core", "2", "Kale"),
                         ("d3", "core", "3", "Beet", "sr", "9", "Beet"), ("d4", "next", "5", "Beet", "sr", "9", "Beet"),
                         ("d5", "core", "4", "Chard", "next", "4", "Chard"), ("d6", "x", "1", "Rye", "sr", "1", "Rye")], columns=columns)
    read = compare_decided.carried_same_foods(rows, "core", "next")
    assert read[["table_a", "table_b"]].values.tolist() == [
        ["next", "sr"], ["sr", "next"], ["core", "sr"], ["next", "sr"], ["core", "next"], ["x", "sr"]]


# ---------------------------------------------------------------- ranking, in print (small tables by hand)

def figure(component: str, value: float | None, spread: float = 0.2, basis: str = "portion", status: str = "ready") -> dict:
    return {"figure_id": f"pie/base/{component}/{basis}", "recipe_id": "pie", "variant_id": "base", "component": component, "basis": basis,
            "unit": "mg", "value": value, "low": None if value is None else value * (1 - spread), "high": None if value is None else value * (1 + spread),
            "status": "withheld" if value is None else status, "reason": ""}


NOTHING_IN_PRINT = compare_swap.InPrint(
    pd.DataFrame(columns=["recipe_id", "variant_id", "component", "basis"], dtype="str"),
    pd.DataFrame(columns=["recipe_id", "variant_id", "claim"], dtype="str"))


@pytest.mark.parametrize(("before", "after", "effect"), [
    (figure("K", 100.0), figure("K", None), "withheld"), (figure("K", None), figure("K", 100.0), "settled"),
    (figure("K", 100.0), figure("K", 106.0), "moved"), (figure("K", 100.0), figure("K", 104.0), "slight"),
    (figure("K", 100.0, 0.01), figure("K", 103.0, 0.01), "moved"),  # less than 5 %, and outside 99 to 101
    (figure("K", 100.0), figure("K", 100.0, 0.3), "slight"), (figure("K", 100.0), figure("K", 100.0, status="check"), "status"),
    (figure("K", 0.0), figure("K", 3.0), "moved"), (figure("K", 100.0), figure("K", 100.0), None), (figure("K", None), figure("K", None), None),
])
def test_what_becomes_of_a_figure(before: dict, after: dict, effect: str | None) -> None:
    one, other = (pd.DataFrame([side]).astype({name: "float64" for name in ("value", "low", "high")}) for side in (before, after))
    found = compare_swap.figures(one, other, NOTHING_IN_PRINT)
    assert found["effect"].tolist() == ([] if effect is None else [effect])


def test_figures_are_ranked_by_harm_effect_direction_and_print() -> None:
    before = pd.DataFrame([figure("FAT", 1.0), figure("NA", 100.0), figure("P", 100.0), figure("K", 100.0), figure("K", 50.0, basis="100g")])
    after = pd.DataFrame([figure("FAT", 9.0), figure("NA", 200.0), figure("P", None), figure("K", 90.0), figure("K", 60.0, basis="100g")])
    printed = compare_swap.InPrint(before.iloc[[3]], NOTHING_IN_PRINT.claims)
    found = compare_swap.figures(before, after, printed)
    assert (found["component"] + " " + found["basis"]).tolist() == ["K 100g", "K portion", "P portion", "NA portion", "FAT portion"]
    assert found["in_print"].tolist() == [False, True, False, False, False]


def settled(entry_id: str, name: str, outcome: str = "accepted", reason: str = "settled", edible_g: float = 100.0) -> pd.DataFrame:
    return pd.DataFrame([{"line_id": "pie/base/1", "text": "leeks", "entry_id": entry_id, "entry_name": name, "outcome": outcome,
                          "reason": reason, "edible_g": edible_g, "yield_fraction": 0.9, "counted": True}])


@pytest.mark.parametrize(("after", "effect"), [
    (settled("1", "Leeks"), None), (settled("1", "Leeks", edible_g=90.0), "weight"), (settled("1", "Leeks", "review", "close-call"), "lost"),
    (settled("", "", "none", "no-candidate"), "lost"), (settled("7", "Kale, raw"), "other-entry"), (settled("2", "Kale"), "other-entry"),
])
def test_what_becomes_of_a_line(after: pd.DataFrame, effect: str | None) -> None:
    pairs = pd.DataFrame({"entry_id_a": ["1", "2"], "entry_id_b": ["1", "2"]})
    before = settled("1", "Leeks")
    assert compare_swap.lines(before, after, pairs)["effect"].tolist() == ([] if effect is None else [effect])
    if effect == "lost":
        assert compare_swap.lines(after, before, pairs)["effect"].tolist() == ["gained"]


def test_the_same_food_under_another_number_is_not_another_food() -> None:
    pairs = pd.DataFrame({"entry_id_a": ["1", "2"], "entry_id_b": ["5", "1"]})  # 1 is now another food's number
    assert compare_swap.lines(settled("1", "Leeks"), settled("5", "Leeks"), pairs)["effect"].tolist() == ["renamed"]
    assert compare_swap.lines(settled("1", "Leeks"), settled("1", "Kale"), pairs)["effect"].tolist() == ["other-entry"]


def verdict(claim: str, component: str, verdict: str, kind: str = "local-limit", audience: str = "haemodialysis") -> dict:
    return {"recipe_id": "pie", "variant_id": "base", "audience": audience, "claim": claim, "kind": kind, "verdict": verdict, "component": component,
            "value": 1.0, "margin": 0.1, "limit": 2.0, "unit": "mg", "reason": ""}


def test_verdicts_are_ranked_potassium_first_and_a_lost_yes_before_a_new_one() -> None:
    claims = {"low-salt": ("NA", "regulated-claim"), "low-phosphorus": ("P", "local-limit"), "source-of-potassium": ("K", "regulated-claim"),
              "low-potassium": ("K", "local-limit"), "potassium-kept": ("K", "local-limit"), "low-fat": ("FAT", "regulated-claim")}
    was = {"source-of-potassium": "fails", "low-potassium": "holds", "potassium-kept": "holds"}
    now = {"source-of-potassium": "holds", "low-potassium": "fails", "potassium-kept": "holds", "low-fat": "fails", "low-salt": "fails",
           "low-phosphorus": "uncertain"}
    before, after = (pd.DataFrame([verdict(claim, component, states.get(claim, "holds"), kind) for claim, (component, kind) in claims.items()])
                     for states in (was, now))
    printed = compare_swap.InPrint(NOTHING_IN_PRINT.published, pd.DataFrame([{"recipe_id": "pie", "variant_id": "base", "claim": "low-sodium"}]))
    found = compare_swap.verdicts(before, after, printed)
    assert found["claim"].tolist() == ["low-potassium", "source-of-potassium", "low-phosphorus", "low-salt", "low-fat"]
    assert found.set_index("claim")["in_print"].to_dict()["low-salt"]  # print calls it low-sodium


# ---------------------------------------------------------------- command

def test_the_command_tells_the_dry_run_and_writes_only_where_told(
        home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture, tmp_path: Path) -> None:
    monkeypatch.setattr(compare_cli, "ROOT", home)
    plant(home, potassium_times(FACTOR))
    before = tree(home)
    code = compare_cli.compare.main(["core", NEXT, "--release", "latest", "-o", str(tmp_path)], standalone_mode=False)
    out = capsys.readouterr().out
    assert code == 1
    for words in ("A dry run: nothing changes until it is adopted.", "Verdicts that flip:", "holds -> fails: low-potassium", "would move",
                  "because 11124 Carrots, raw: K ", "Decisions that hold: ",
                  f"potash run --table {NEXT}", "not advice to a patient"):
        assert words in out
    assert {path.name for path in tmp_path.iterdir()} == {f"{name}.csv" for name in (
        "entries", "attributes", "values", "components", "swap_decisions", "swap_lines", "swap_figures", "swap_verdicts")}
    assert tree(home) == before
    (tmp_path / "notes.csv").write_text("mine\n", encoding="utf-8")
    compare_cli.compare.main(["core", NEXT, "-o", str(tmp_path)], standalone_mode=False)  # no dry run: its files would be an earlier one's
    assert {path.name for path in tmp_path.iterdir()} == {"entries.csv", "attributes.csv", "values.csv", "components.csv", "notes.csv"}


def test_the_command_gives_the_dry_run_as_json(home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture) -> None:
    monkeypatch.setattr(compare_cli, "ROOT", home)
    plant(home, renamed, "core-renamed")
    code = compare_cli.compare.main(["core", "core-renamed", "--release", "latest", "--json"], standalone_mode=False)
    told = json.loads(capsys.readouterr().out)["swap"]
    assert code == 1 and told["differs"] and told["counts"]["decisions that break"] == len(
        [one for one in told["decisions"] if one["state"] == "renamed"])
    assert {"decisions", "lines", "figures", "verdicts", "notes", "adopt"} <= set(told)


def test_a_release_without_its_evidence_is_refused(home: Path, release: Path, tmp_path: Path) -> None:
    (tmp_path / "manifest.json").write_text((release / "manifest.json").read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(InputError, match="has no table recipes"):
        swap.swap(tmp_path, "core", "core", home)
