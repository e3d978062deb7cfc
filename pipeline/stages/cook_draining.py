"""Pouring off the water while a method is read: which pot is meant, and whether its liquid is what is wanted."""

from __future__ import annotations

import re

from pipeline.stages import cook_moves as moves
from pipeline.stages.cook_meant import DISCARDED, latest_wet
from pipeline.stages.cook_names import mentions
from pipeline.stages.cook_outcome import DRAINED_BY_CUSTOM, weakest
from pipeline.stages.cook_pots import BOILED_BY_CUSTOM, Kitchen, Pot
from pipeline.stages.cook_words import Clause

STRAINED = re.compile(r"\b(?:stock|broth|liquid|liquor|juices?|sauce|soup|gravy|custard|milk|cream)\b|\binto an? ")
EXCESS = re.compile(r"\b(?:excess|surplus|leftover|left over)\b")
THROWN = re.compile(r"\b(?:discard\w*|throw\w*|thrown|pour\w* (?:it |them )?(?:away|off)|tip\w* (?:it )?away|down the (?:sink|drain)|get rid)\b")
ONTO_FOOD = re.compile(r"\b(?:over|onto|on to) the\b")  # "strain the custard over the bread"


def _drained_by_custom(kitchen: Kitchen, objects: list[int], pot: Pot) -> bool:
    """Whether straining is draining: pasta, potatoes and the like, named or boiled alone."""
    customary = (*DRAINED_BY_CUSTOM, *BOILED_BY_CUSTOM)
    if objects:
        return any(kitchen.lines[n].cooking_class in customary for n in objects)
    return pot.heat == "boil" and all(kitchen.lines[n].cooking_class in customary for n in pot.lines)


def drain(kitchen: Kitchen, clause: Clause, text: str) -> None:
    if re.search(r"\b(?:fat|kitchen paper|oil)\b", text):
        return
    if clause.verb.phrase in ("strain", "sieve") and STRAINED.search(text):  # the liquid is what is wanted
        if ONTO_FOOD.search(text):
            moves.gather(kitchen, clause, text, new=False)
        return
    objects = kitchen.objects(kitchen.resolve(text, "")) or mentions(clause.before, kitchen.lines).lines()
    if clause.verb.phrase in ("strain", "sieve") and (pot := latest_wet(kitchen)) and not _drained_by_custom(kitchen, objects, pot):
        kitchen.keep_in_doubt(pot)  # "strain and serve the broth": what is strained is mostly eaten
        return
    if clause.verb.method != "drain" and DISCARDED.match(clause.text):  # "discard the poaching liquid"
        if pot := latest_wet(kitchen):  # else the words pour away what no step was seen to wet: nothing is taken off
            kitchen.pour_off(pot, clause, False)
        return
    chosen = [kitchen.events[n][-1].pot for n in objects if kitchen.events[n]]
    if objects and not chosen:  # drains a tin
        for number in objects:
            kitchen.named.setdefault(number, (clause.sentence, "named"))
        kitchen.last = kitchen.topic = objects  # "drain the chickpeas and whizz with the onion"
        return
    now = kitchen.current
    if not chosen and now is not None and now.drained:
        return  # says twice that the water goes
    watery = [event.pot for events in kitchen.events for event in events[-1:] if event.liquid == "" and event.method in ("boil", "soak")]
    here = [now] if now is not None and any(e[-1].pot is now and e[-1].method in ("boil", "simmer", "soak") for e in kitchen.events if e) else []
    pots = list({id(pot): pot for pot in chosen or here or watery[-1:]}.values())
    unsure = bool(re.search(r"\b(?:reserv|keep|kept|save|saving|retain)\w*\b(?! (?:it |them )?warm)", clause.sentence.lower()))
    if EXCESS.search(text):  # what the grain has not taken up: nearly all of it is kept
        _doubt(kitchen, pots)
        return
    thrown = THROWN.search(clause.sentence.lower())
    for pot in pots:
        if kitchen.holds_own_liquid(pot) and not thrown:
            kitchen.keep_in_doubt(pot)  # milk, stock or juice of the recipe: nobody says that it is thrown away
        else:
            kitchen.pour_off(pot, clause, unsure)
    if pots:
        kitchen.current = pots[-1]
        kitchen.last = [n for n in objects if n in kitchen.where] or list(pots[-1].lines)


def _doubt(kitchen: Kitchen, pots: list[Pot]) -> None:
    """A little of the water of these pots went: kept, and not sure."""
    for event in (event for events in kitchen.events for event in events[-1:] if event.pot in pots):
        event.rule = weakest(event.rule, "liquid-unsaid")
