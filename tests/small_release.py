"""A real release of a few invented dishes, made by the stages themselves."""

from __future__ import annotations

from pathlib import Path

import release_example
import straight

from pipeline import job as jobs
from pipeline.stages.release import release
from pipeline.stages.release_pages import pages

# Invented dishes that between them use every kind of number: pieces, thirds, spoons, a drained tin, refuse, an
# amount by rule, poured-off water, evaporation, a finished weight, variants, and a line that nothing matches.
COLLECTION = """
recipes:
  - id: quay-soup
    name: Quay soup
    course: soup
    portions: 4
    food_form: liquid
    finished_mass: 1.1 kg
    ingredients:
      - 2 medium leeks, trimmed
      - 1 tbsp olive oil
      - 1/3 cup double cream
      - 750 ml water
      - 2 potatoes, peeled and diced
      - salt, to taste
      - chopped parsley, to serve (optional)
    method:
      - Fry the leeks gently in the oil for 5 minutes.
      - Add the potatoes and water and simmer for 20 minutes. Stir in the cream.
    variants:
      - {id: with-cod, name: With cod, add: ["200 g cod fillet, skinned"], add_method: ["Poach the cod in the soup for 5 minutes."]}
  - id: pier-beans
    name: Pier beans and greens
    course: main
    portions: 4
    ingredients:
      - 1 x 400 g tin chickpeas, drained
      - 300 g carrots
      - 150 g spinach
    method:
      - Boil the carrots for 15 minutes and drain.
      - Tip the carrots into a dish, stir in the chickpeas and the raw spinach and serve.
  - id: grated-carrots
    name: Grated carrots
    course: side
    portions: 2
    ingredients:
      - 200 g carrots, grated
    method:
      - Toss the carrots in a bowl and serve.
  - id: unsettled-dish
    name: Unsettled dish
    course: main
    portions: 2
    ingredients:
      - 100 g zorblefruit paste
      - 200 g white rice
    method:
      - Boil the rice for 12 minutes and drain.
"""
# Two more, as made and as printed beside as analysed, one of them weighed, with figures and claims in print.
VERSIONS = """
  - id: jetty-greens
    name: Jetty potatoes and greens
    course: main
    portions: 4
    ingredients:
      - 400 g potatoes, peeled and diced
      - 1 x 400 g tin kidney beans, drained
      - 150 g spinach
      - black pepper, to taste
    method:
      - Boil the potatoes for 15 minutes and drain.
      - Tip the potatoes into a dish, stir in the beans and the raw spinach and serve.
    published:
      - {printed_in: Jetty card, basis: portion, figures: {K: 250 mg, PROCNT: 9 g, NACL: 0.9 g}}
      - {printed_in: Jetty card, version: printed, basis: 100g, figures: {K: 5.1 mmol, FAT: 4.1 g, P: 60 mg}}
    claims: [low-salt, high-fibre, tasty]
    versions:
      - as: made
        where: jetty film
        leave_out: [spinach]
        add: ["1 tbsp olive oil"]
        replace: [{line: "400 g potatoes, peeled and diced", with: "0.5 kg potatoes, peeled and diced"}]
        method:
          - Boil the potatoes in salted water for 15 minutes and drain.
          - Tip the potatoes into a dish with the beans and drizzle over the oil.
      - {as: printed, where: Jetty card, portions: 2, replace: [{line: "1 x 400 g tin kidney beans, drained", with: "100 g dried kidney beans"}]}
  - id: jetty-soup
    name: Jetty soup
    course: soup
    portions: 4
    food_form: liquid
    finished_mass: 1.1 kg
    ingredients: [2 medium leeks, "1 tbsp olive oil", 750 ml water, "100 g zorblefruit paste"]
    method: [Fry the leeks gently in the oil for 5 minutes. Add the water and paste and simmer for 20 minutes.]
    versions: [{as: made, ingredients: ["100 g zorblefruit paste", "1 tablespoon olive oil", "750 ml water", "2 medium leeks"]}]
"""


def build(folder: Path, collection: str = COLLECTION, policy: Path | None = None) -> Path:
    """Writes the collection and its release (under ``policy``, or the demo's) below ``folder``, without Prefect; returns the release's folder."""
    (folder / "quay.yaml").write_text(collection, encoding="utf-8")
    job = jobs.prepare_job(folder / "quay.yaml", "core", policy=policy)
    tables = straight.tables(job, restored=True)
    return release(tables, jobs.meta(job, 1), folder / "output", release_example.PASSED, pages=pages).folder
