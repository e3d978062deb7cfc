"""What befell each line once the whole method has been followed: its chain of cooking, what
became of the water, and how sure that is.

A line's confidence is that of the weakest link of its reading (``CONFIDENCE``).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.stages.cook_water import EATEN, OUTCOMES, SAVED, SAVED_WORDS, implausible, joined

if TYPE_CHECKING:
    from pipeline.stages.cook_names import Line
    from pipeline.stages.cook_pots import Event, Kitchen

# How often a line was right whose weakest link is this one, when the reader met the recipe for the first time: 809 lines
# of sets B, C and D (tests/data/method_labels_blind_*.yaml), each read before anything was mended on it; the counts are in
# tests/test_cook_blind.py. "named" to "liquid-likely" are of recipes without a sign of doubt (447 lines, 94.6 % right).
# "beside-doubt": beside a plain misreading (with 54 lines more of method_labels_mended.yaml); "beside-unclear": beside a
# sentence that was not understood. Rules met fewer than ten times are set by judgement: common practice, no source.
# "pot": cooked with what is in the pot; "implied": the words leave the pot open; "liquid-...": what became of the
# cooking water; "raw-unlikely": food that nobody eats raw; "implausible": see cook_water.implausible and _misplaced.
CONFIDENCE = {
    "named": 0.93, "pot": 0.95, "group": 0.85, "pronoun": 0.95, "implied": 0.5, "raw-named": 0.5, "raw-served": 0.97, "raw-at-end": 0.84,
    "liquid-likely": 0.85, "liquid-unsaid": 0.75, "liquid-saved": 0.3, "implausible": 0.1, "raw-unlikely": 0.1, "beside-doubt": 0.66,
    "beside-unclear": 0.83, "not-mentioned": 0.2, "seasoning-not-mentioned": 0.2, "no-method": 0.2, "no-heat": 0.9, "for-the-table": 0.9,
}
DRAINED_BY_CUSTOM = ("pasta", "noodles", "potatoes", "sweet-potatoes", "roots", "leafy-greens", "other-vegetables", "eggs", "shellfish", "salt",
                     "water", "mushrooms", "tomatoes")
TAKES_UP = ("grains", "bread", "fruit", "dried-fruit", "flour", "nuts-seeds")  # softened in a little water, and eaten with it
MISREAD = ("implausible", "raw-unlikely")
# Nobody eats these raw: a reading that says so has missed something (common practice, no source).
NEVER_RAW = ("beef", "lamb", "pork", "chicken", "turkey", "liver", "sausage", "lean-fish", "shellfish", "pasta", "noodles", "rice", "legumes-dried",
             "potatoes", "sweet-potatoes", "eggs", "flour")
NEVER_RAW_WORDS = {"pastry", "dough", "gnocchi"}
UNCHANGED_BY_HEAT = ("salt", "sugars", "fats-oils", "herbs-spices", "water")
SALT_ON_FOOD = re.compile(r"\b(?:rub|massage|season|sprinkle|coat|dust|toss|pat)(?:s|ed|ing|bed|bing)?\b")
FRESH = re.compile(r"\b(?:fresh|clean|new|rins\w+)\b")


@dataclass(frozen=True)
class Reading:
    """What the method says befell one line. ``steps`` are (method, liquid) in order, ``times``
    their minutes (NaN when not said), ``minutes`` those of the main step;
    ``with_liquid_line``: the pot held a liquid that is itself an ingredient line."""

    line_id: str
    steps: tuple[tuple[str, str], ...]
    minutes: float
    evidence: str
    confidence: float
    reason: str
    with_liquid_line: bool = False
    times: tuple[float, ...] = ()
    rule: str = ""  # the weakest link: a key of CONFIDENCE
    cut: str = ""  # how the method cuts it, in its words
    fat_poured: bool = False  # the words say that its fat was poured or spooned off
    juices_kept: bool = False  # what runs out of meat is eaten: a gravy, a batter, a sauce in the same pan

    @property
    def chain(self) -> str:
        return " > ".join(method + (":" + liquid if liquid else "") for method, liquid in self.steps)


def _liquid(kitchen: Kitchen, number: int, event: Event) -> tuple[str, str]:
    """What became of the liquid, and the rule that says so ("" when the words do)."""
    liquid, rule = _liquid_at_first(kitchen, number, event)
    of_salt = liquid == "drained" and kitchen.lines[number].cooking_class == "salt"
    if of_salt and (kitchen.salt_parted or _on_food(kitchen.named.get(number, ("", ""))[0])):
        return "kept", "liquid-unsaid"  # rubbed into the meat, or the rest of it on the plate: not all of it goes with the water
    if liquid == "drained" and not event.fate and not event.liquid and any(
            other.fate in (EATEN, SAVED) and other.at < event.at for other in kitchen.events[number]):
        return "kept", rule  # "keep the water ... and simmer to a gravy": the gravy is not poured off
    return OUTCOMES[event.fate] if event.fate and liquid == "drained" else (liquid, rule)


def _on_food(sentence: str) -> bool:
    """Whether the sentence that names the salt puts it on food: "rub the pork with the salt"."""
    return bool(SALT_ON_FOOD.search(sentence.lower())) and "water" not in sentence.lower()


def _goes_along(kitchen: Kitchen, number: int, event: Event) -> bool:
    """Whether the soaking water was cooked in: nobody poured it off, and the pot is the same."""
    after = [other for other in kitchen.events[number] if other.at > event.at][:1]
    return bool(after) and after[0].pot is event.pot and not FRESH.search(" ".join(after[0].words).lower())


def _soaked(kitchen: Kitchen, number: int, event: Event) -> tuple[str, str]:
    """Nobody says that the soaking liquid was poured off: milk or juice stays, and so does water that bread or oats took up."""
    if event.in_liquid:
        return "kept", ""
    after = [word for other in kitchen.events[number] if other.at > event.at for word in other.words][:1]
    rinsed = FRESH.search(" ".join([*event.words, *after]).lower())
    swells = not rinsed and any(kitchen.lines[n].cooking_class in TAKES_UP for n in event.pot.ever)
    if event.hint == "kept" or swells or _goes_along(kitchen, number, event):
        return "kept", "liquid-likely"
    return "drained", "liquid-unsaid"


def _is_stew(classes: set[str]) -> bool:
    """Whether what simmers in one pot is eaten with its water: pulses, meat or another food that nobody drains is there, or tomatoes with other food."""
    foods = classes - {"", *UNCHANGED_BY_HEAT}
    return not foods <= set(DRAINED_BY_CUSTOM) or "tomatoes" in foods and len(foods) > 1


def _boiled_with(kitchen: Kitchen, event: Event) -> set[str]:
    """The classes of food that cooked in the same water."""
    there = [n for n, events in enumerate(kitchen.events) if any(other.pot is event.pot and other.method in ("boil", "simmer") for other in events)]
    return {kitchen.lines[n].cooking_class for n in there}


def _liquid_at_first(kitchen: Kitchen, number: int, event: Event) -> tuple[str, str]:
    line = kitchen.lines[number]
    if event.method in ("steam", "fry", "stir-fry", "grill", "microwave", "reheat", "raw"):
        return "", ""
    if event.liquid:
        return event.liquid, ""
    if event.method == "bake":
        return ("kept" if (event.held or event.pot.water) and not event.cake else ""), ""
    if event.method == "soak":
        return _soaked(kitchen, number, event)
    if event.hint == "lifted" and not event.held and kitchen.where.get(number) is not event.pot:
        return ("kept" if _left_in_it(kitchen, event.pot) else "drained"), "liquid-likely"
    if event.held or event.pot.kept:
        return "kept", ""
    if event.pot.fried:  # a little water poured on what was fried makes the sauce
        return "kept", "liquid-likely"
    if event.method == "simmer" and event.pot.water and not kitchen.eaten_as_soup:  # in tap water; nobody says what became of it
        stewed = event.hint != "drained" and _is_stew({kitchen.lines[n].cooking_class for n in event.pot.ever})
        return ("drained" if line.cooking_class in DRAINED_BY_CUSTOM and not stewed or event.hint == "drained" else "kept"), "liquid-unsaid"
    if event.hint == "kept":
        return "kept", ""
    if event.method == "simmer":
        return ("drained" if event.hint == "drained" else "kept"), "liquid-likely"
    drains = line.cooking_class in DRAINED_BY_CUSTOM and not _is_stew(_boiled_with(kitchen, event))
    return ("drained" if drains else "kept"), "liquid-unsaid"


def _left_in_it(kitchen: Kitchen, pot) -> bool:
    """Whether the water something was lifted from is eaten with what was left in it: the hock from the beans."""
    return any(_liquid(kitchen, number, event)[0] == "kept" for number in pot.lines if kitchen.lines[number].cooking_class not in ("", *UNCHANGED_BY_HEAT)
               for event in kitchen.events[number] if event.pot is pot and event.method in ("boil", "simmer"))


def reading_of(kitchen: Kitchen, number: int) -> Reading:
    """What befell one line, once the whole method has been followed."""
    line, events = kitchen.lines[number], kitchen.events[number]
    if not events:
        return _uncooked(kitchen, number)
    settled = [(event, *_liquid(kitchen, number, event)) for event in events]
    steps, times = joined([((event.method, liquid), event.minutes) for event, liquid, _ in settled])
    rule = weakest(*(link for event, _, liquid_rule in settled for link in (event.rule, liquid_rule) if link), *implausible(steps), *_misplaced(kitchen, events))
    main = next((event for event in events if event.method in ("boil", "simmer", "bake")), events[0])
    known = [event.minutes for event in events if event.method == main.method and not math.isnan(event.minutes)]
    words = list(dict.fromkeys(word for event in events for word in event.words))
    words += [SAVED_WORDS] if any(event.fate == SAVED and liquid == "kept" for event, liquid, _ in settled) else []
    return Reading(line.line_id, steps, sum(known) if known else math.nan, " | ".join(words), CONFIDENCE[rule], "stated",
                   any(event.held for event in events), times, rule, kitchen.cut.get(number, ""), number in kitchen.fat_off, _juices_kept(kitchen, events))


def _juices_kept(kitchen: Kitchen, events: list[Event]) -> bool:
    """Whether the juices of what was roasted or fried are eaten: the words say so, or a batter, or a sauce of the same pan, took them up."""
    hot = [event for event in events if event.method in ("bake", "grill", "stir-fry")]
    if any(event.liquid == "drained" for event in events) or not hot:
        return False
    return kitchen.juices_eaten or any(event.cake and event.method == "bake" or event.held or event.method == "stir-fry" and _in_sauce(kitchen, event.pot) for event in hot)


def _in_sauce(kitchen: Kitchen, pot) -> bool:
    """Whether a liquid or a sauce of the recipe came into this pan: it takes up what ran out of the meat."""
    return kitchen.holds_liquid(pot) or any(kitchen.lines[n].cooking_class == "stock-sauce" for n in pot.ever)


def _misplaced(kitchen: Kitchen, events: list[Event]) -> tuple[str, ...]:
    """Heat that was meant for another pot: nobody puts a frying pan into the microwave, or a soup under the grill.

    (At first contact all of 21 such lines were wrong.)
    """
    pairs = zip(events, events[1:], strict=False)
    misplaced = any(one.method in ("stir-fry", "simmer") and two.method == "microwave" or one.method == "simmer" and one.held and (
        two.method == "steam" or two.method == "grill" and any(kitchen.lines[n].cooking_class in ("water", "stock-sauce") for n in two.pot.lines))
        for one, two in pairs)
    return ("implausible",) if misplaced else ()


def _uncooked(kitchen: Kitchen, number: int) -> Reading:
    line = kitchen.lines[number]
    raw = (("raw", ""),)
    if not any(kitchen.events):
        sentence = kitchen.named.get(number, ("", ""))[0]
        rule = "no-heat" if number in kitchen.named else "not-mentioned"
        return Reading(line.line_id, raw, math.nan, sentence, CONFIDENCE[rule], "stated" if sentence else "not-mentioned", rule=rule)
    if number not in kitchen.named:
        rule = "for-the-table" if line.serve else "seasoning-not-mentioned" if line.cooking_class in UNCHANGED_BY_HEAT else "not-mentioned"
        return Reading(line.line_id, raw, math.nan, "", CONFIDENCE[rule], "not-mentioned", rule=rule)
    sentence, rule = kitchen.named[number]
    if (line.cooking_class in NEVER_RAW or line.words & NEVER_RAW_WORDS) and not line.cooked_already:
        return Reading(line.line_id, raw, math.nan, sentence, CONFIDENCE["raw-unlikely"], "stated", rule="raw-unlikely")
    pot = kitchen.where.get(number)
    hot = pot is not None and any(kitchen.events[n] for n in pot.ever if n != number)
    rule = "raw-served" if rule == "raw-served" else "raw-at-end" if hot else "raw-named"
    warmed = hot and line.cooking_class == "alcohol"
    return Reading(line.line_id, (("reheat", ""),) if warmed else raw, math.nan, sentence, CONFIDENCE[rule], "stated", rule=rule)


def in_doubt(readings: list[Reading], lines: list[Line], method: str, unclear: bool) -> list[Reading]:
    """The readings of one recipe: where one line was plainly misread, the others may have been in the wrong pot too.

    A line counts as misread when its chain cannot be, or when the words name it and no clause was found to. Flour does
    not count: what thickens a sauce is often only whisked in. ``unclear``: a sentence about food was not understood;
    food that is left beside every pot, or named by another word of its line only, is a sign of the same.
    """
    pairs = list(zip(lines, readings, strict=True))
    missed = [line for line, reading in pairs if reading.rule == "not-mentioned"]
    misread = any(reading.rule in MISREAD and line.cooking_class != "flour" for line, reading in pairs) or any(
        line.head and line.head in method for line in missed)
    unclear = unclear or any(reading.rule == "raw-named" for reading in readings) or any(
        word in method for line in missed for word in re.findall(r"[a-z]{4,}", line.phrase.lower()))
    if not misread and not unclear:
        return readings
    rule = "beside-doubt" if misread else "beside-unclear"
    lowered = CONFIDENCE[rule]
    return [replace(reading, confidence=lowered, rule=rule) if reading.confidence > lowered else reading for reading in readings]


def weakest(*rules: str) -> str:
    """The rule one is least sure of."""
    return min(rules, key=CONFIDENCE.__getitem__)
