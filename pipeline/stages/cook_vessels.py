"""A vessel and what is in it, and one cooking of one line: what :mod:`pipeline.stages.cook_pots` keeps account of."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(eq=False)
class Pot:
    """What is together in one vessel now (``lines``) and ever was; its heat; tap water in it."""

    lines: list[int] = field(default_factory=list)
    heat: str = ""
    water: bool = False
    drained: bool = False
    oven: bool = False  # a roasting tin, a baking tray
    fried: bool = False  # something was fried in it
    kept: bool = False  # the words say that its water is not poured off
    ever: set[int] = field(default_factory=set)
    appliance: bool = False  # a slow cooker, a microwave oven: what is put there cooks
    together: bool = False  # mixed cold and set aside: "toss the beef in the soy sauce and set aside"
    called: str = ""  # "casserole", "wok": what the words call the vessel
    kinds: tuple | None = None  # what is in it, by kind: see Kitchen._kinds

    def put(self, numbers: list[int]) -> None:
        self.lines = list(dict.fromkeys([*self.lines, *numbers]))
        self.ever.update(numbers)

    def forget(self) -> None:
        """Only what is in it now was ever in it: the liquid was poured off, or things were taken out."""
        self.ever, self.kinds = set(self.lines), None


@dataclass(eq=False)
class Event:
    """One cooking of one line."""

    method: str
    minutes: float
    pot: Pot
    rule: str
    words: list[str]
    liquid: str = ""
    hint: str = ""
    held: bool = False  # a liquid of the recipe was in the pot
    in_liquid: bool = False  # and it was more than water: milk, juice, stock
    cake: bool = False  # with flour and sugar: a batter, not a sauce
    at: int = 0  # the events in order
    fate: str = ""  # what the words say became of its water afterwards: see cook_water
