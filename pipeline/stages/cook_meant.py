"""What a clause means, which may be more than its verb says: the action, and the words that may name lines."""

from __future__ import annotations

import math
import re

from pipeline.stages.cook_names import ADJECTIVES, FORM_WORDS, STOP_WORDS, mentions, singular
from pipeline.stages.cook_pots import HEATING, SOAKING_FROM_MINUTES, Kitchen, Pot
from pipeline.stages.cook_words import FAT_OF_MEAT, FAT_ON, FOOD_DETERMINED, NEW_CONTAINER, POURED, PURPOSE, RINSED_OUT, TAP_WATER, Clause, without_states

COLANDER = re.compile(r"\b(?:into|to|in|through|onto) (?:an?|the) (?:[\w-]+ )?(?:colander|sieve|strainer)\b")
# "tip the water away", "pour that liquid off"
POURED_AWAY = re.compile(r"\s*(?:away |off |out )?(?:all )?(?:the |this |that |its )?(?:[\w-]+ )?(?:water|liquid)\b(?=[^,.]*\b(?:away|off|out|down)\b)")
ALL_OVER = re.compile(r"^\s*(?:all over|generously|liberally|lightly|well|on (?:both|all) sides|both sides|inside and out)\s+(?=with\b)")  # "season all over with"
ONTO_A_TRAY = re.compile(r"\b(?:to|on|onto|into|in) (?:an?|the|your) (?:[\w-]+ ){0,3}(?:tray|baking sheet|sheet pan|roasting tin|tin|rack|ovenproof dish|baking dish|grill pan)\b")
ON_A_PLATTER = re.compile(r"\b(?:to|on|onto) (?:an?|the|your) (?:[\w-]+ )?(?:platter|(?:carving|cutting|chopping) board|serving (?:dish|plate|platter))\b")
THE_DISH = re.compile(r"^\s*(?:up )?(?:the|your) (?:chill?i|curry)\b(?! (?:flakes|powder|leaves|sauce|oil))")  # "serve the chilli with rice": no line
WHERE_TO = re.compile(r"\s(?:in|into|onto|on|over|round|around|alongside)(?=[\s,.]|$)")
SOAKED_BY_NAME_FROM_MINUTES = 10  # "leave the rice in a bowl of water": nothing else is done with it
DISCARDED = re.compile(r"\s*(?:away |out |off )?(?:the |its |their |that |all )(?:[\w-]+ )?(?:water|liquid|liquor|broth|brine|juices?)\b(?! of\b)")


def tap_is_meant(kitchen: Kitchen, clauses: list[Clause]) -> bool:
    """Whether "a pan of water" is tap water, because the listed water is named elsewhere."""
    if not any(line.cooking_class == "water" for line in kitchen.lines):
        return True
    plain = (POURED.sub(" ", TAP_WATER.sub(" ", clause.text)) for clause in clauses if clause.verb.method != "drain")
    return any(kitchen.names_water(mentions(text, kitchen.lines)) for text in plain)


def words_of(kitchen: Kitchen, clause: Clause) -> str:
    """The text that may name lines: without states to come about, and without tap water."""
    text = ALL_OVER.sub(" ", clause.text)
    if clause.verb.method == "serve":
        text = THE_DISH.sub(" ", text)
    text = FAT_ON.sub(" ", text) if clause.verb.method == "prepare" else text
    text = RINSED_OUT.sub(" ", FAT_OF_MEAT.sub(" over ", PURPOSE.sub(" ", POURED.sub(" ", without_states(text)))))
    if not kitchen.tap:
        return text
    listed = any(line.cooking_class == "water" and "boiling" in line.phrase.lower() and number not in kitchen.where
                 for number, line in enumerate(kitchen.lines))
    return TAP_WATER.sub(lambda found: found.group() if listed and "boiling" in found.group() else " ", text)


def _unknown_action(clause: Clause) -> str:
    """What a verb that the vocabulary lacks does: "plunge into boiling water for 2 minutes" cooks, "stud with garlic" does not."""
    heating = [phrase.method for phrase in clause.places if phrase.method in HEATING]
    if heating and (not math.isnan(clause.minutes) or "boil" in heating):
        return heating[-1]
    if re.match(r"\s*with\b", clause.text):  # "glaze with milk"
        return "add"
    return "place" if NEW_CONTAINER.search(clause.text) else "prepare"  # "pop into a dish"


def food_first(kitchen: Kitchen, clause: Clause, text: str) -> tuple[str, str] | None:
    """A food where the verb should stand: "rhubarb into a dish", "chives on top"; "pepper the chops". None when it is a verb."""
    word = singular(clause.verb.phrase)
    if word not in ADJECTIVES | FORM_WORDS | STOP_WORDS and not any(word in line.words for line in kitchen.lines):
        return None
    if FOOD_DETERMINED.match(text):
        return "combine", f" {clause.verb.phrase} and{text}"
    where = WHERE_TO.search(text)
    if where is None or not mentions(clause.verb.phrase + text[: where.start()], kitchen.lines).lines():
        return None
    return "place" if NEW_CONTAINER.search(text) else "add", f" {clause.verb.phrase}{text}"


def action_meant(kitchen: Kitchen, clause: Clause, text: str) -> tuple[str, str]:
    """What the clause does, which may be more than its verb says, and the words that may name lines."""
    if clause.verb.method == "unknown" and (meant := food_first(kitchen, clause, text)):
        return meant
    action = clause.verb.method if clause.verb.method != "unknown" else _unknown_action(clause)
    if action in ("add", "prepare", "combine", "remove") and POURED_AWAY.match(clause.text):
        return "drain", ""
    if action in ("add", "place", "remove") and COLANDER.search(clause.text) and _was_boiled(kitchen, text):  # "tip into a colander"
        return "drain", text
    if action == "remove" and ONTO_A_TRAY.search(clause.text) and mentions(text, kitchen.lines).lines():  # "lift the salmon onto a tray and grill"
        return "place", text
    onto_board = action in ("place", "add") and ON_A_PLATTER.search(clause.text)
    named = mentions(text, kitchen.lines).lines() if onto_board else []
    if onto_board and (set(named) & set(kitchen.current.lines if kitchen.current else ()) or not named and clause.verb.phrase == "transfer"):
        return "remove", ON_A_PLATTER.sub(" ", text)
    if action == "remove" and _stands_in_water(kitchen, text):  # "cover and set aside for 10 minutes"
        return "rest", text
    if clause.verb.phrase in ("discard", "throw", "throw away", "tip") and DISCARDED.match(clause.text) and latest_wet(kitchen):
        return "drain", ""
    in_water = any(phrase.method == "water" for phrase in clause.places)
    apart = not set(mentions(text, kitchen.lines).lines() or kitchen.last) & set(kitchen.where)
    if clause.verb.phrase == "leave" and in_water and clause.minutes >= (SOAKED_BY_NAME_FROM_MINUTES if apart else SOAKING_FROM_MINUTES):
        return "soak", text
    return action, text


def latest_wet(kitchen: Kitchen) -> Pot | None:
    """The pot in which something was cooked or soaked in liquid last; None when nothing was."""
    wet = [event for events in kitchen.events for event in events[-1:] if event.method in ("boil", "simmer", "soak")]
    return max(wet, key=lambda event: event.at).pot if wet else None


def not_cooked_there(kitchen: Kitchen, pot: Pot) -> bool:
    """Whether something in the pot has had no heat yet: "pour the hot milk on the yolks ... stir over a low heat"."""
    return not pot.heat or pot.heat in ("simmer", "boil", "stir-fry") and any(not kitchen.events[n] for n in pot.lines)


def _was_boiled(kitchen: Kitchen, text: str) -> bool:
    """Whether what is named, or what is in the pot, was boiled and not drained yet."""
    named = mentions(text, kitchen.lines).lines() or (kitchen.current.lines if kitchen.current else [])
    return any(event.method in ("boil", "simmer") and not event.liquid and not event.held for n in named for event in kitchen.events[n][-1:])


def _stands_in_water(kitchen: Kitchen, text: str) -> bool:
    """Whether grains or noodles that nothing has cooked yet stand in hot water, and no other food is named."""
    pot = kitchen.current
    if pot is None or not (pot.water and pot.heat == "boil") or not set(mentions(text, kitchen.lines).lines()) <= set(pot.lines):
        return False
    return any(kitchen.lines[n].cooking_class in ("grains", "noodles") and not kitchen.events[n] for n in pot.lines)


def unclear(kitchen: Kitchen, by_sentence: dict[str, list[Clause]]) -> bool:
    """Whether a sentence that names food has no clause, or a verb that the vocabulary lacks."""
    unread = [sentence.lower() for sentence, clauses in by_sentence.items() if not clauses]
    unknown = [clause for clauses in by_sentence.values() for clause in clauses if clause.verb.method == "unknown"]
    return any(mentions(text, kitchen.lines).lines() for text in unread) or any(
        mentions(clause.text, kitchen.lines).lines() and not food_first(kitchen, clause, clause.text) for clause in unknown)
