"""What becomes of water that food was cooked or soaked in, when the method speaks of it again.

Its minerals are on the plate when it is eaten: whisked into the gravy, mashed in. A ladleful
that loosens a sauce is not the water. Water that is saved, and nobody says what for, counts
as eaten, in great doubt: for potassium that is the careful side.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from pipeline.stages.cook_names import GROUPS, mentions, singular
from pipeline.stages.cook_words import Clause

if TYPE_CHECKING:
    from pipeline.stages.cook_pots import Event, Kitchen

EATEN, SAVED, PART, HALF = "eaten", "saved", "part", "half"
# What a fate makes of water that would count as poured off: (liquid, rule of confidence).
OUTCOMES = {EATEN: ("kept", "liquid-likely"), SAVED: ("kept", "liquid-saved"), PART: ("drained", "liquid-unsaid"), HALF: ("kept", "liquid-saved")}
SALTED = re.compile(r"(?<!un)\bsalted (?:\w+ )?water\b|(?<!un)\bsalted boiling\b|\bsalt the water\b")
SALT_PARTED = re.compile(r"\b(?:rest of the|remaining|other half(?: of the)?|half(?: of)? the|some of the|a little of the|most of the) salt\b")
# So little water under a lid is gone when the food is done, and what it took up is in the pan (common practice, no source).
LITTLE_WATER = re.compile(r"\b(?:splash|dash|drop|(?:table-?|tea-?)?spoon(?:s|ful|fuls)?|tbsp|tbsps|little|inch|cm)\s(?:or so\s)?(?:of\s)?(?:(?:cold|hot|boiling|warm|salted|simmering)\s)*water\b")
SAVED_WORDS = "(the water is saved, and the words do not say what for: counted as eaten)"
WET = ("boil", "simmer", "soak")
LIQUID = re.compile(r"\b(?:water|liquid|liquor|stock|broth)\b")
SAVES = re.compile(r"(?<!the )(?<!of )(?<!with )(?<!its )(?<!their )(?<!your )(?<!some )(?<!little )"
                   r"\b(?:reserv(?:e|es|ing)|reserved|keep(?:s|ing)?|kept|sav(?:e|es|ed|ing)|retain(?:s|ed|ing)?|set(?:ting)? aside|catch(?:es|ing)?|"
                   r"hold(?:ing)? (?:back|on to)|collect(?:ing)?)\b(?! (?:it |them )?warm)")
SAVED_AFTER = re.compile(r"\s+(?:(?:is|are|should be|can be|must be)\s+)?(?:reserved|kept|saved|retained|set aside)\b|\s+to one side\b")
# A part of the water goes: "tip away half of the cooking water". (What a ladle takes is no part worth a word.)
PARTLY = re.compile(r"\b(?P<verb>drain|pour|tip|throw|strain|discard|ladle)\b(?P<off>\s(?:off|away|out))?\s(?:about |around |roughly )?"
                    r"(?P<part>half|some|part|most|nearly all|almost all|(?:a|two|three|one)[- ](?:thirds?|quarters?))(?:\sof)?(?:\s(?:the|its|their|that|this))?(?:\s[\w-]+){0,2}?"
                    r"\s(?:water|liquid|liquor)\b(?P<after>\s(?:off|away|out)\b)?(?!\s(?:in|into|over|onto|to)\b)")
STRAINS = re.compile(r"\b(?:strain|sieve)\b")
INTO_THE_DISH = re.compile(r"\b(?:in)?to the (?!sink|drain|plughole|bin)")
CAUGHT = re.compile(r"\b(?:over|into) (?:an?|the) (?:[\w-]+ )?(?:bowl|jug)\b")
THROWN = re.compile(r"\b(?:throw|chuck|ditch|discard)\w*\b|\b(?:pour|tip|drain)\w*\b[^,]*\b(?:away|off|out|down the sink)\b")
NEGATED = re.compile(r"\b(?:not|never|don't|don’t|without|instead of|rather than|no need to)\b[^,.]{0,40}$")
FOR_THE_DISH = re.compile(r"\bfor (?:the |your |a |some |making )*(?:[\w-]+ )?(?:gravy|sauce|soup|mash|broth)\b")
# A part of the water: what a spoon or a ladle holds; in ml up to SMALL_PART_ML. A cup is a part of the much
# water of pasta, and may be a good deal of other water (common practice, no source).
PART_WORDS = re.compile(r"(?:\b(?:ladle|splash|dash|drop|spoon|table-?spoon|tea-?spoon|tbsp|tsp|slosh|touch|little|bit)(?:ful|s|es|fuls)*\b|"
                        r"\b(?P<cup>mug|cup|glass|some|bowl)(?:ful|s|es|fuls)*\b|\b(?P<ml>\d+) ?ml\b)(?:\s+(?!and\b|with\b|to\b|into\b|in\b)[\w-]+){0,6}\s*$")
SMALL_PART_ML = 150
USES = re.compile(r"\b(?:use|using|uses)\b(?:\s(?:up|all|of))*(?:\s(?:the|its|their|that|this))?(?:\s[\w-]+){0,2}\s*$")
LOOSENS = re.compile(r"\b(?:loosen|thin|slacken|let(?:ting)? down)")
FOR_COOKING = {"cooking", "starchy", "poaching", "blanching"}
FOR_SOAKING = {"soaking", "steeping", "soak"}
SET_BY = {"reserved", "saved", "kept", "retained", "drained"}
OWN, PLAIN = {"their", "its"}, {"the", "that", "this", "all"}


def note(kitchen: Kitchen, clause: Clause) -> None:
    """Mark the events whose water a clause saves, eats or takes a part of."""
    text = f"{clause.before} {clause.verb.phrase} {clause.text}"
    drains = clause.verb.method == "drain"
    said = False
    for found in LIQUID.finditer(text):
        before = text[: found.start()]
        stems = re.findall(r"[\w-]+", re.split(r"[,;:]", before)[-1])[-4:]
        saves = _saves(text, before, found.end())
        events = _meant(kitchen, clause, stems, saves)
        if not events or NEGATED.search(before):
            continue
        said = True
        _mark(kitchen, clause, events, _fate(text, before, stems, saves, drains, kitchen, events))
    if drains and not said and CAUGHT.search(text):
        _mark(kitchen, clause, _latest(kitchen, None, WET), SAVED)


def partly(kitchen: Kitchen, clause: Clause) -> bool:
    """ "Pour off half the water, mash with the rest": what stays is eaten, and how much that is, nobody says; of "most of" it little stays.

    Counts as kept, in great doubt: for potassium that is the careful side. Returns whether a part of it was poured off.
    """
    found = PARTLY.search(f"{clause.verb.phrase}{clause.text}")
    if not found or not (found["off"] or found["after"] or found["verb"] in ("drain", "discard")):
        return False
    fate = PART if found["part"].startswith(("most", "nearly", "almost")) else HALF
    for _, event in _latest(kitchen, None, ("boil", "simmer")):
        event.fate = fate
        if clause.sentence not in event.words:
            event.words.append(clause.sentence)
    return True


def salt(kitchen: Kitchen) -> None:
    """ "Boil in salted water": the salt of the list that no words name is in that water, and goes where it goes."""
    if kitchen.salted is None:
        return
    pot, clause = kitchen.salted
    there = [event for events in kitchen.events for event in events if event.pot is pot and event.method in WET]
    for number, line in enumerate(kitchen.lines):
        if line.cooking_class != "salt" or line.serve or number in kitchen.named or kitchen.events[number] or not there:
            continue
        kitchen.event(number, there[0].method, clause, pot, "liquid-unsaid")
        kitchen.events[number][-1].liquid = "drained" if any(event.liquid == "drained" for event in there) else ""


def _saves(text: str, before: str, end: int) -> bool:
    """Whether the liquid that stands between is saved: "reserving the water", "the water is kept"."""
    verb = list(SAVES.finditer(before))
    near = bool(verb) and len(re.findall(r"[\w-]+", before[verb[-1].end():])) <= 8 and not re.search(r"\band\b|\bthen\b", before[verb[-1].end():])
    return near or bool(SAVED_AFTER.match(text[end:]))


def _fate(text, before, stems, saves, drains, kitchen, events) -> str:
    part = PART_WORDS.search(before)
    of_pasta = any(kitchen.lines[n].cooking_class in ("pasta", "noodles") for n, _ in events)
    small = bool(part) and not (part["ml"] and int(part["ml"]) > SMALL_PART_ML) and (of_pasta or not part["cup"])
    if of_pasta and LOOSENS.search(text):
        small = True  # nobody eats the whole pasta water in a sauce
    if USES.search(before):
        return PART if small else EATEN  # "strain, and use the water to make the gravy"
    if saves:
        return PART if small else EATEN if FOR_THE_DISH.search(text) else SAVED
    if drains and CAUGHT.search(text):
        return SAVED
    if drains and STRAINS.search(text) and INTO_THE_DISH.search(text):
        return EATEN  # "strain the soaking water into the stock"
    if drains or THROWN.search(text):
        return ""
    return PART if small else EATEN


def _mark(kitchen: Kitchen, clause: Clause, events: list[tuple[int, Event]], fate: str) -> None:
    for _, event in events:
        if not fate or event.fate == PART and fate == EATEN or event.fate == HALF:  # a cupful was kept, and the cupful goes in
            continue
        event.fate = fate if not (event.fate == EATEN and fate == SAVED) else EATEN
        if clause.sentence not in event.words:
            event.words.append(clause.sentence)


def _meant(kitchen: Kitchen, clause: Clause, stems: list[str], saves: bool) -> list[tuple[int, Event]]:
    """The events whose water the words mean; none when they mean tap water or a line of the list."""
    words = set(stems[-3:])
    foods = _lines_called(kitchen, stems)
    if words & FOR_SOAKING:
        return _latest(kitchen, foods or None, ("soak",))
    if foods or words & FOR_COOKING:
        return _latest(kitchen, foods or None, ("boil", "simmer"))
    if words & SET_BY:
        return _latest(kitchen, None, WET)
    if stems and stems[-1] in OWN:
        named = mentions(clause.text, kitchen.lines)
        return _latest(kitchen, named.lines() or kitchen.last, WET)
    if stems and (stems[-1] in PLAIN or words & {"half", "some"}):
        events = _latest(kitchen, None, WET)
        held_back = any(event.fate in (SAVED, PART) for _, event in events)
        listed = any(line.cooking_class == "water" and n not in kitchen.where for n, line in enumerate(kitchen.lines))
        return events if saves or held_back and not listed else []
    return _latest(kitchen, None, WET) if saves else []


def _lines_called(kitchen: Kitchen, stems: list[str]) -> list[int]:
    """The lines in "the potato water", "the pasta cooking water": named right before it."""
    for word in [singular(stem) for stem in stems[::-1] if stem not in FOR_COOKING | SET_BY][:1]:
        lines = [n for n, line in enumerate(kitchen.lines) if word in line.words or line.cooking_class in GROUPS.get(word, ())
                 or line.cooking_class in (word, word + "es")]
        return [n for n in lines if any(_candidate(event) for event in kitchen.events[n])]
    return []


def _candidate(event: Event) -> bool:
    """Whether the event was in water that may be poured off."""
    in_water = event.method in ("boil", "soak") or event.pot.water
    return event.method in WET and (event.liquid == "drained" or not event.held and in_water)


def _latest(kitchen: Kitchen, lines: list[int] | None, methods: tuple[str, ...]) -> list[tuple[int, Event]]:
    """The last cooking in water of those lines (None: of any), with what was in the same water."""
    last = [(n, events[-1]) for n, all_events in enumerate(kitchen.events)
            if (events := [event for event in all_events if event.method in methods and _candidate(event)])]
    chosen = [event for n, event in last if lines is None or n in lines]
    if not chosen:
        return []
    latest = max(chosen, key=lambda event: event.at)
    return [(n, event) for n, event in last if event.pot is latest.pot and event.method == latest.method]


def joined(steps: list[tuple[tuple[str, str], float]]) -> tuple[tuple[tuple[str, str], ...], tuple[float, ...]]:
    """The chain and its minutes, without a step that repeats the one before; water poured off twice stays twice."""
    kept: list[list] = []
    for step, minutes in steps:
        if kept and kept[-1][0] == step and step[1] != "drained":
            known = [time for time in (kept[-1][1], minutes) if not math.isnan(time)]
            kept[-1][1] = sum(known) if known else math.nan
            continue
        kept.append([step, minutes])
    return tuple(step for step, _ in kept), tuple(minutes for _, minutes in kept)


def implausible(steps: tuple[tuple[str, str], ...]) -> tuple[str, ...]:
    """Chains that no cook follows: the reading has probably run two pots together."""
    cooking = [step for step in steps if step[0] not in ("soak", "reheat")]
    baked = next((at for at, step in enumerate(cooking) if step[0] in ("bake", "grill")), len(cooking))
    drained_after = any(liquid == "drained" for _, liquid in cooking[baked:])
    return ("implausible",) if drained_after or len(cooking) > 4 else ()
