"""Readings of a phrase: as written, with regional words replaced, with typing errors put right.

Each reading says which words it is about (its head: the last word before a comma, "with" or
"in"), because "chicken stock" is a stock and "tuna in oil" is a tuna.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from rapidfuzz import process
from rapidfuzz.distance import OSA

from pipeline.stages import match_naming as naming
from pipeline.stages import match_words as words
from pipeline.stages.match_state import COOKED
from pipeline.stages.match_index import MAIN_PART, Index, sharing_key, without_states
from pipeline.stages.match_named_state import STATE_WORDS, main_state, states_said

# Shorter words are never taken for typing errors; longer ones may differ by one slip, long ones by two.
REPAIRED_FROM, TWO_SLIPS_FROM = 5, 9
# The shortest parts in which a compound is sought ("sweetpotato"), and the shortest last part that names its food.
PART_FROM, ENDING_FROM = 3, 5
SLIP, GUESS = "slip", "guess"
_AND = re.compile(r"\band\b|&")


class Form(NamedTuple):
    """One reading: its words, those it is about, those before the first comma, the state asked for, whether a
    word of the line outside the phrase completes a name that cooks use, and how words were repaired."""

    words: tuple[str, ...]
    heads: frozenset[str]
    main: frozenset[str]
    state: str
    completed: bool = False
    repaired: str = ""
    said: frozenset[str] = frozenset()  # every state that its words say
    classed: bool = False  # the food is only named by its class ("spaghetti": pasta)
    made: tuple[words.Way, ...] = ()  # ways of cooking said behind the food


class _Read(NamedTuple):
    """A word of a reading: whether the phrase is about it, and whether it stands in its main part."""

    text: str
    head: bool
    main: bool


def forms(phrase: str, state: str, index: Index, vocabulary: words.Vocabulary, beside: tuple[str, ...] = ()) -> list[Form]:
    """The readings of a phrase to look for.

    A phrase that is itself a name is taken as it stands; otherwise regional words are
    replaced too (a replacement may say the state: "rollmops" are pickled), and unknown
    words become the nearest known word, if one is near. ``beside`` are words of the line
    outside the phrase that may complete a name: the unit of "4 crab sticks", the
    preparation of "500 g lamb, diced".
    """
    read = _read(phrase, vocabulary)
    if not read:
        return []
    texts = tuple(word.text for word in read)
    described = "," in phrase and any(naming.KIND_OF_WORD.get(text) == "cooked" for text in texts)
    state = state or main_state(states_said(texts)) or ("cooked" if described else "")
    written = without_states(texts)
    found = [_form(read, state)]
    stateless = index.keys.get(sharing_key(written, index.cuts)) in index.stateless  # "cooked bacon" does not name bacon
    if state or not stateless or not _is_name(written, found[0], index):
        found += [ground for form in found[:1] if (ground := _ground(form)) != form]
        replaced = _replaced(read, vocabulary)
        if replaced != read:
            found.append(_form(replaced, state or main_state(states_said([word.text for word in replaced]))))
            if len(texts) > 1 and words.replaced_whole(texts, vocabulary) and not _is_name(written, found[0], index) and not _only_written(found, index):
                del found[:-1]  # "chicken fillet" is no chicken in pieces, "bread soda" no bread
        found += [repaired for form in list(found) if (repaired := _repaired(form, index)) is not None]
    found += _classed(read, found, index, vocabulary)
    found += _completed(written, state, index, vocabulary, beside)
    return list(dict.fromkeys(form for form in found if form.words))


def readings(phrase: str, state: str, made: tuple[words.Way, ...], levels: tuple[float, ...], index: Index, vocabulary: words.Vocabulary,
             beside: tuple[str, ...] = ()) -> list[Form]:
    """The readings of a phrase with what the line says of it elsewhere.

    ``made``: ways of cooking behind it: "carrots, roasted" is sought as roasted carrots too, and either reading wants
    an entry that is made so. ``levels``: percentages: "milk (2%)" is sought as 2% milk where the table tells them apart.
    """
    found = _levelled(phrase, state, levels, index, vocabulary, beside) or forms(phrase, state, index, vocabulary, beside)
    if made:
        joined = " ".join((*(way.word for way in made), phrase))
        found = [form._replace(made=made) for form in (*found, *forms(joined, COOKED, index, vocabulary))]
    return list(dict.fromkeys(found))


def _levelled(phrase: str, state: str, levels: tuple[float, ...], index: Index, vocabulary: words.Vocabulary, beside: tuple[str, ...]) -> list[Form]:
    """The readings with the percentages before the food, where a name has them beside all other words."""
    if not levels:
        return []
    rest = naming.without_levels(phrase)
    for said in naming.level_wordings(levels, rest):
        found = forms(f"{said} {rest}", state, index, vocabulary, beside)
        if any(index.together(form.words) for form in found):
            return found + (forms(phrase, state, index, vocabulary, beside) if naming.levels(phrase) else [])
    return []


def _only_written(found: list[Form], index: Index) -> bool:
    """Whether the table has the words as written in one name, and not those that replace them."""
    written, replaced = (tuple(text for text in form.words if text not in naming.MINOR) or form.words for form in (found[0], found[-1]))
    return not index.together(replaced) and index.together(found[0].words)


def _classed(read: list[_Read], found: list[Form], index: Index, vocabulary: words.Vocabulary) -> list[Form]:
    """The reading by class, where no name of the table has all words of any other reading."""
    more = _replaced(read, vocabulary, vocabulary.classes) if vocabulary.classes else read
    if more == read or any(index.together(form.words) for form in found):
        return []
    form = _form(more, found[0].state or main_state(states_said([word.text for word in more])))
    return [form._replace(classed=True)]


def _is_name(written: tuple[str, ...], form: Form, index: Index) -> bool:
    """Whether the words are a name that cooks use, and about the same ("soda bread" is not bread soda)."""
    name = index.written.get(frozenset(written))
    return name is not None and (name == written or _last(name, index.cuts) in form.heads or name[-1] in form.heads)


def _read(phrase: str, vocabulary: words.Vocabulary) -> list[_Read]:
    said = words.told_tokens(phrase)
    main = words.told_tokens(MAIN_PART.split(naming.one_wording(words.plain(phrase)), maxsplit=1)[0])
    before = len(main) if main and said[:len(main)] == main else len(said)
    kept = [place for place, text in enumerate(said) if text not in vocabulary.ignored] or list(range(len(said)))
    telling = [place for place in kept if said[place] not in vocabulary.cuts and said[place] not in STATE_WORDS] or kept
    inside = [place for place in telling if place < before]
    heads = {(inside or telling)[-1]} if telling else set()
    if inside and all(said[place] in naming.CATEGORIES for place in inside) and len(telling) > len(inside):
        heads.add(telling[len(inside)])
    return [_Read(said[place], place in heads, place < before) for place in kept]


def _replaced(read: list[_Read], vocabulary: words.Vocabulary, by: words.Replacements | None = None) -> list[_Read]:
    """Regional words and synonyms (or what ``by`` lists) replaced; what replaces the head word is the head."""
    by = vocabulary.replacements if by is None else by
    result: list[_Read] = []
    place, texts = 0, tuple(word.text for word in read)
    while place < len(read):
        for source, target in by.get(texts[place], ()):
            span = read[place:place + len(source)]
            if texts[place:place + len(source)] == source and not (source in vocabulary.beside and all(word.main for word in span)):
                head, main = any(word.head for word in span), any(word.main for word in span)
                result.extend(_Read(text, head, main) for text in target)
                place += len(source)
                break
        else:
            result.append(read[place])
            place += 1
    return result


def _form(read: list[_Read], state: str) -> Form:
    kept = without_states(tuple(word.text for word in read))
    among = [word for word in read if word.text in kept]
    heads = frozenset(word.text for word in among if word.head) or frozenset(kept[-1:])
    return Form(kept, heads, frozenset(word.text for word in among if word.main) or frozenset(kept), state,
                said=states_said([word.text for word in read]) | _made(read))


def _ground(form: Form) -> Form:
    """The reading with minced meat as ground meat; "beef mince" is about beef."""
    words_ = naming.one_word_for_minced(form.words)
    swap = dict(zip(form.words, words_, strict=True)) if len(words_) == len(form.words) else {}
    if not swap or words_ == form.words:
        return form
    meats = frozenset(text for text in words_ if text in naming.MEATS)
    heads = frozenset(swap[text] for text in form.heads)
    return form._replace(words=words_, heads=meats if heads == {naming.GROUND} else heads, main=frozenset(swap[text] for text in form.main))


def _made(read: list[_Read]) -> frozenset[str]:
    """"Roasted peanuts" may be a cooked food, though nobody calls them that."""
    return frozenset({"cooked"} if any(naming.KIND_OF_WORD.get(word.text) == "cooked" for word in read) else ())


def _completed(written: tuple[str, ...], state: str, index: Index, vocabulary: words.Vocabulary, beside: tuple[str, ...]) -> list[Form]:
    found = []
    named = [frozenset(written), *(index.plainer(written) if beside else ())]
    for more in _beside(beside, vocabulary):
        name = next((index.written[food | set(more)] for food in named if food | set(more) in index.written), None)
        if written and more and name is not None and set(more) - set(written):
            found.append(Form(name, frozenset({_last(name, index.cuts)}), frozenset(name), state, completed=True))
    return found


def _beside(beside: tuple[str, ...], vocabulary: words.Vocabulary) -> list[tuple[str, ...]]:
    """The words that may complete a name: each text, and what "and" joins in it ("peeled and diced")."""
    said = dict.fromkeys((*beside, *(part for text in beside for part in _AND.split(text))))
    return list(dict.fromkeys(without_states(words.essential(words.told_tokens(text), vocabulary)) for text in said))


def _last(tokens: tuple[str, ...], cuts: frozenset[str]) -> str:
    return next((word for word in reversed(tokens) if word not in cuts), tokens[-1])


def _repaired(form: Form, index: Index) -> Form | None:
    """The form with every unknown word as the nearest known words, or None when nothing is near."""
    joined = _joined(form, index)
    found = {text: _nearest(text, index) for text in joined.words}
    if joined is form and all(near == ((text,), "") for text, near in found.items()):
        return None
    every = tuple(dict.fromkeys(near for text in joined.words for near in found[text][0]))
    heads = frozenset(near for text in joined.heads for near in found.get(text, ((text,), ""))[0][-1:])
    main = frozenset(near for text in joined.main for near in found.get(text, ((text,), ""))[0])
    how = GUESS if any(kind == GUESS for _, kind in found.values()) else SLIP
    return Form(every, heads, main, form.state, form.completed, how, form.said)


def _joined(form: Form, index: Index) -> Form:
    """Two words that the table writes as one ("sweet corn"), where it does not know both of them apart."""
    for first, second in zip(form.words, form.words[1:], strict=False):
        both = first + second
        if both in index.numbers and not (first in index.numbers and second in index.numbers):
            kept = tuple(both if text == first else text for text in form.words if text != second)

            def swap(of: frozenset[str]) -> frozenset[str]:
                return frozenset(both if text in (first, second) else text for text in of)
            return form._replace(words=kept, heads=swap(form.heads), main=swap(form.main))
    return form


def _nearest(word: str, index: Index) -> tuple[tuple[str, ...], str]:
    if word not in index.repairs:
        index.repairs[word] = _sought(word, index)
    return index.repairs[word]


def _sought(word: str, index: Index) -> tuple[tuple[str, ...], str]:
    if word in index.numbers or word in index.not_slips or len(word) < REPAIRED_FROM or not word.isalpha():
        return (word,), ""
    slips = 2 if len(word) >= TWO_SLIPS_FROM else 1
    near = [choice for choice in index.known.get(word[0], ()) if abs(len(choice) - len(word)) <= slips]
    found = process.extract(word, near, scorer=OSA.distance, score_cutoff=slips, limit=2)
    if found:
        certain = found[0][1] == 1 and (len(found) == 1 or found[1][1] > 1)
        return (found[0][0],), SLIP if certain else GUESS
    for cut in range(PART_FROM, len(word) - PART_FROM + 1):
        if word[:cut] in index.numbers and word[cut:] in index.numbers:
            return (word[:cut], word[cut:]), SLIP
    for cut in range(PART_FROM, len(word) - ENDING_FROM + 1):
        if word[cut:] in index.numbers:
            return (word, word[cut:]), GUESS
    return (word,), ""
