"""Policy files: the demo policy is sound, and every way to get one wrong is named by file and key."""

from __future__ import annotations

import re

import pytest
from hand_figures import COMPONENTS, DEMO_POLICY, demo_policy, reference_file

from pipeline.policy import load_policy
from pipeline.problems import InputError

SOURCES = {"kdoqi-2020-from-memory", "tern-bay", "common-practice"}


def broken(tmp_path, pattern, replacement, count=1):
    """The demo policy with one change; the messages of the error that it raises."""
    text = DEMO_POLICY.read_text(encoding="utf-8")
    changed = re.sub(pattern, replacement, text, count=count)
    assert changed != text
    path = tmp_path / "unit.toml"
    path.write_text(changed, encoding="utf-8")
    with pytest.raises(InputError) as error:
        load_policy(path, COMPONENTS, SOURCES)
    assert all(str(path) in problem.where and problem.remedy for problem in error.value.problems)
    return str(error.value)


def test_the_demo_policy():
    policy = load_policy(DEMO_POLICY, COMPONENTS, SOURCES)
    assert not policy.adopted and policy.standing == "invented"
    assert len(policy.audiences) == 3 and len(policy.limits) == 12
    assert set(policy.limits["component"]) == {"K", "P", "NA", "PROCNT"} and set(policy.limits["basis"]) == {"portion"}
    protein = policy.limits[policy.limits["component"] == "PROCNT"].set_index("audience")["comparator"]
    assert protein.to_dict() == {"ckd-not-on-dialysis": "<=", "haemodialysis": ">=", "peritoneal-dialysis": ">="}
    # Guidance gives no number for potassium and phosphorus: those figures must not borrow its name.
    assert set(policy.limits.loc[policy.limits["component"].isin(["K", "P"]), "source_id"]) == {"tern-bay"}


def test_demo_limits_follow_from_the_daily_statements():
    # KDOQI 2020, from memory: sodium below 2300 mg a day; protein 0.6 g/kg a day, on dialysis 1.0 g/kg; a third, at 70 kg.
    limits = demo_policy().limits.set_index(["audience", "component"])["limit"]
    assert limits[("haemodialysis", "NA")] == pytest.approx(2300 / 3, abs=1)
    assert limits[("ckd-not-on-dialysis", "PROCNT")] == pytest.approx(0.6 * 70 / 3)
    assert limits[("peritoneal-dialysis", "PROCNT")] == pytest.approx(1.0 * 70 / 3, abs=0.1)


@pytest.mark.parametrize("pattern, replacement, said", [
    (r'\[\[limit\]\]\naudience', '[[limit]]\ncolour = "red"\naudience', r"limit 1 \(ckd-not-on-dialysis, low-potassium\): colour: is not a key"),
    (r"\[policy\]", "[extra]\nx = 1\n[policy]", "extra: is not a table of a policy"),
    (r'limit = 600\nunit = "mg"\n', "limit = 600\n", r"limit 1 .*: unit: is missing"),
    (r'limit = 600\nunit = "mg"', 'limit = 600\nunit = ""', "Fill it in"),
    (r'limit = 600\nunit = "mg"', 'limit = 600\nunit = "ml"', "'ml' does not fit K.*mg, g, ug, mmol"),
    (r'limit = 14\nunit = "g"', 'limit = 14\nunit = "mmol"', "'mmol' does not fit PROCNT"),
    (r"limit = 600", 'limit = "600"', "limit: is '600'. Write a number"),
    (r"limit = 600", "limit = -600", "limit: is -600. Write a number above 0"),
    (r"limit = 600", "limit = nan", "Write a number above 0"),
    (r"limit = 600", "limit = true", "Write a number above 0"),
    (r'audience = "haemodialysis"\nclaim', 'audience = "dialysis"\nclaim', "audience: 'dialysis' is not known.*haemodialysis"),
    (r'component = "K"', 'component = "potassium"', "component: 'potassium' is not known"),
    (r'comparator = "<="\nlimit', 'comparator = "=<"\nlimit', "comparator: '=<' is not known"),
    (r'basis = "portion"', 'basis = "meal"', "basis: 'meal' is not known"),
    (r'source_id = "tern-bay"\nnote', 'source_id = "nowhere"\nnote', "cites the unknown source 'nowhere'"),
    (r'standing = "invented"', 'standing = "sure"', "policy: standing: is 'sure'"),
    (r'adopted_by = ""', 'adopted_by = "A. Nobody"', "policy: role: is empty although"),
    (r'date = "2026-11-25"', 'date = "last week"', "policy: date: is 'last week'"),
    (r"share = 0.5", "share = 1.5", "course: share: is 1.5"),
    (r'"dessert", "pudding"', '"dessert", "dessert"', "'dessert': is listed twice"),
    (r'id = "haemodialysis"', 'id = "peritoneal-dialysis"', "'peritoneal-dialysis': is used twice"),
    (r'daily = "sodium-hd"', 'daily = "sodium-pd"', "'sodium-pd' is no daily figure of this audience"),
    (r"amount = 2300", "amount = 1500", "does not follow from daily 'sodium-ckd', which gives 500 mg"),
    (r"limit = 766", "limit = 900", "does not follow from daily"),
    (r'comparator = "<="\nlimit = 600', 'comparator = ">="\nlimit = 600', "seems to be upside down: 'low-potassium' would hold for a dish with at least 600 mg"),
    (r'"low-potassium"\ncomponent = "K"\nbasis = "portion"\ncomparator = "<="', '"our-potassium"\ncomponent = "K"\nbasis = "portion"\ncomparator = ">="',
     "upside down: 'our-potassium'"),
    (r'claim = "low-potassium"', 'claim = "high-potassium"', "'high-potassium' would hold for a dish with at most 600 mg.*Write >= or >"),
])
def test_each_fault_is_named(tmp_path, pattern, replacement, said):
    assert re.search(said, broken(tmp_path, pattern, replacement))


ADOPTED = (("adopted_by = \"\"", "adopted_by = \"R. Nephew\""), ("role = \"\"", "role = \"lead renal dietitian\""),
           ('standing = "invented"', 'standing = "common-practice"'))


def written(tmp_path, *changes):
    """The demo policy with these texts replaced, as a file."""
    text = DEMO_POLICY.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "unit.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("old, new", [
    ('audience = "haemodialysis"\nclaim', 'audience = "dialysis"\nclaim'),  # unknown audience
    ('limit = 600\nunit = "mg"\nsource_id = "tern-bay"', 'limit = 600\nunit = "mg"'),  # no source
    ('unit = "mg"\nsource_id = "tern-bay"', 'unit = "mg"\nsource_id = ""'), ('limit = 600\nunit = "mg"', 'limit = 600\nunit = "ml"'),
    ("limit = 600", "limit = -600"), ("limit = 600", "limit = 0"), ('comparator = "<="\nlimit = 600', 'comparator = "under"\nlimit = 600'),
    ("body_weight_kg = 70", "body_weight_kg = -70"), ('basis = "portion"', 'basis = "day"'), ("limit = 766", "limit = 776.0e1"),
    ('rounding = "tern-bay"', 'rounding = "to the nearest ten"'), ('id = "ckd-not-on-dialysis"', 'id = "ckd-not-on-dialysis"\nbody_weight_kg = "70 kg"')])
def test_one_fault_gives_one_clear_error(tmp_path, old, new):
    with pytest.raises(InputError) as error:
        load_policy(written(tmp_path, (old, new)), COMPONENTS, SOURCES, {"eu-2012", "tern-bay"})
    assert len(error.value.problems) == 1, str(error.value)
    problem = error.value.problems[0]
    assert "unit.toml: " in problem.where and problem.what and problem.remedy


def test_who_adopted_it_is_said_and_an_invented_policy_is_not_adopted(tmp_path):
    adopted = load_policy(written(tmp_path, *ADOPTED), COMPONENTS, SOURCES)
    assert adopted.caveat == "Under Tern Bay demo policy, adopted by R. Nephew (lead renal dietitian) on 2026-11-25"
    assert load_policy(written(tmp_path), COMPONENTS, SOURCES).caveat.startswith("Rests on the demo policy")
    own = load_policy(written(tmp_path, ADOPTED[2]), COMPONENTS, SOURCES)
    assert own.caveat == "Rests on the policy 'Tern Bay demo policy', which is not adopted locally"
    blank = load_policy(written(tmp_path, ('adopted_by = ""', 'adopted_by = "  "')), COMPONENTS, SOURCES)
    assert not blank.adopted
    with pytest.raises(InputError, match="is 'invented' although the policy is adopted"):
        load_policy(written(tmp_path, *ADOPTED[:2]), COMPONENTS, SOURCES)


def test_an_audience_may_have_a_body_weight_of_its_own(tmp_path):
    # 1.0 g of protein per kg at 60 kg, a third of it: 20 g.
    own = ('id = "haemodialysis"', 'id = "haemodialysis"\nbody_weight_kg = 60')
    path = written(tmp_path, own, ("limit = 23.3", "limit = 20"))
    limits = load_policy(path, COMPONENTS, SOURCES).limits.set_index(["audience", "component"])
    assert limits.at[("haemodialysis", "PROCNT"), "limit"] == 20 and "for a body weight of 60 kg" in limits.at[("haemodialysis", "PROCNT"), "note"]
    assert "for a body weight of 70 kg" in limits.at[("peritoneal-dialysis", "PROCNT"), "note"]
    assert "body weight" not in limits.at[("haemodialysis", "K"), "note"]
    with pytest.raises(InputError, match="gives 20 g a meal"):
        load_policy(written(tmp_path, own), COMPONENTS, SOURCES)


def test_a_lower_limit_above_the_upper(tmp_path):
    row = '[[limit]]\naudience = "haemodialysis"\nclaim = "low-potassium"\ncomponent = "K"\nbasis = "portion"\ncomparator = ">="\n' \
          'limit = {}\nunit = "g"\nsource_id = "tern-bay"\nnote = ""\n'
    message = broken(tmp_path, r"\Z", row.format("0.6"))
    assert "limit (haemodialysis, low-potassium, K)" in message and "the lower limit 600 mg is above the upper 550 mg" in message
    path = tmp_path / "range.toml"
    path.write_text(DEMO_POLICY.read_text(encoding="utf-8") + row.format("0.2"), encoding="utf-8")
    assert len(load_policy(path, COMPONENTS).limits) == 13  # a range is a policy


def test_the_same_limit_twice(tmp_path):
    assert "is given twice" in broken(tmp_path, r'audience = "haemodialysis"\nclaim = "low-potassium"', 'audience = "ckd-not-on-dialysis"\nclaim = "low-potassium"')


def test_everything_wrong_is_told_at_once(tmp_path):
    message = broken(tmp_path, r"limit = (600|300)\n", r"limit = -\1\n", count=2)
    assert message.count("Write a number above 0") == 2


def test_millimoles_become_the_unit_of_the_figures(tmp_path):
    # 15 mmol of potassium x 39.098 g/mol (IUPAC abridged, from memory) = 586.47 mg.
    path = tmp_path / "mmol.toml"
    path.write_text(DEMO_POLICY.read_text(encoding="utf-8").replace('limit = 600\nunit = "mg"', 'limit = 15\nunit = "mmol"'), encoding="utf-8")
    row = load_policy(path, COMPONENTS).limits.iloc[0]
    assert row["limit"] == pytest.approx(586.47) and row["unit"] == "mg" and "stated as 15 mmol" in row["note"]


def test_a_daily_figure_per_kilogram_in_milligrams_or_millimoles(tmp_path):
    # 1 mmol of potassium per kg a day (a figure to try out with) at 70 kg, a third of it: 23.33 mmol = 912.2 mg.
    day = '[[daily]]\nid = "k-hd"\naudience = "haemodialysis"\ncomponent = "K"\ncomparator = "<="\namount = {}\nunit = "{}"\n' \
          'source_id = "tern-bay"\nnote = ""\n'
    text = DEMO_POLICY.read_text(encoding="utf-8").replace('limit = 550\nunit = "mg"', 'limit = {}\nunit = "{}"\ndaily = "k-hd"')
    path = tmp_path / "kg.toml"
    for amount, unit, limit, written in ((1, "mmol/kg", 23.33, "mmol"), (39.098, "mg/kg", 912.2, "mg"), (0.039098, "g/kg", 23.33, "mmol")):
        path.write_text(text.format(limit, written) + day.format(amount, unit), encoding="utf-8")
        limits = load_policy(path, COMPONENTS).limits.set_index(["audience", "claim"])["limit"]
        assert limits[("haemodialysis", "low-potassium")] == pytest.approx(912.2, rel=1e-3)
    path.write_text(text.format(1000, "mg") + day.format(1, "mmol/kg"), encoding="utf-8")
    with pytest.raises(InputError, match="does not follow from daily 'k-hd', which gives 912 mg a meal"):
        load_policy(path, COMPONENTS)


def test_a_daily_energy_is_held_against_a_meal_in_the_same_unit(tmp_path):
    # 30 kcal per kg a day at 70 kg, a third of it: 700 kcal.
    rows = '[[daily]]\nid = "e"\naudience = "haemodialysis"\ncomponent = "ENERC"\ncomparator = ">="\namount = 30\nunit = "kcal/kg"\n' \
           'source_id = "tern-bay"\nnote = ""\n[[limit]]\naudience = "haemodialysis"\nclaim = "energy"\ncomponent = "ENERC"\nbasis = "portion"\n' \
           'comparator = ">="\nlimit = {}\nunit = "{}"\ndaily = "e"\nsource_id = "tern-bay"\nnote = ""\n'
    path = tmp_path / "energy.toml"
    path.write_text(DEMO_POLICY.read_text(encoding="utf-8") + rows.format(700, "kcal"), encoding="utf-8")
    assert len(load_policy(path, COMPONENTS).limits) == 13
    for limit, unit, said in ((600, "kcal", "gives 700 kcal a meal"), (2929, "kJ", "no daily figure of this audience")):
        path.write_text(DEMO_POLICY.read_text(encoding="utf-8") + rows.format(limit, unit), encoding="utf-8")
        with pytest.raises(InputError, match=said):
            load_policy(path, COMPONENTS)


def test_grams_become_milligrams(tmp_path):
    path = tmp_path / "g.toml"
    path.write_text(DEMO_POLICY.read_text(encoding="utf-8").replace('limit = 600\nunit = "mg"', 'limit = 0.6\nunit = "g"'), encoding="utf-8")
    assert load_policy(path, COMPONENTS).limits.iloc[0]["limit"] == pytest.approx(600)


@pytest.mark.parametrize("content, said", [(b"[policy\n", "line 1"), (b"\xff\xfe", "cannot be read as TOML"), (b"", "is missing, empty"),
                                           (b"policy = 3", r"not written as \[policy\]")])
def test_a_file_that_is_no_policy(tmp_path, content, said):
    path = tmp_path / "bad.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=said):
        load_policy(path, COMPONENTS)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="no such policy file"):
        load_policy(tmp_path / "none.toml", COMPONENTS)


def test_cautions_are_there_for_readers_and_publishers():
    cautions = reference_file("cautions")
    assert set(cautions["audience_of_text"]) == {"reader", "publisher"} and cautions["caution_id"].is_unique
    for_readers = " ".join(cautions.loc[cautions["audience_of_text"] == "reader", "text"])
    for said in ("renal dietitian", "not advice to a patient", "potassium chloride", "Phosphate", "made at home"):
        assert said in for_readers


@pytest.mark.parametrize("name, key", [
    ("claims", ["claim_id", "condition_no"]), ("energy_factors", ["component"]), ("nutrient_reference_values", ["component"]), ("cautions", ["caution_id"]),
    ("tolerances", ["component", "unit", "from_value"])])
def test_reference_files_are_sorted_by_their_key(name, key):
    frame = reference_file(name)
    assert frame.sort_values(key, kind="stable").index.tolist() == frame.index.tolist()
    if name != "tolerances":  # two rows a band: the end below and the end above
        assert not frame.duplicated(key).any()


def test_every_tolerance_band_has_an_end_below_and_an_end_above():
    tolerances = reference_file("tolerances")
    change = tolerances["tolerance_absolute"].fillna(tolerances["tolerance_relative"])
    signs = change.gt(0).groupby([tolerances["component"], tolerances["unit"], tolerances["from_value"]]).agg(list)
    assert signs.map(lambda pair: pair == [False, True]).all()
