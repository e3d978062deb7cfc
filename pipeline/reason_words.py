"""Why a line is not settled, in words that a person can act on: one for each reason code of ``schema.LINE_REASONS`` that asks for it."""

REASON_WORDS = {
    "no-candidate": "no food of the table fits", "words-not-covered": "the best entry does not cover all its words",
    "head-differs": "the best entry is another kind of food", "state-differs": "raw, dried, canned or cooked is unclear",
    "cooked-otherwise": "it says a way of cooking that the best entry is not made by",
    "level-differs": "the best entry has another level of fat, salt or sugar, or another cut, than it says",
    "class-only": "only the kind of food is named in the table, not the food", "word-guessed": "a word of it had to be guessed",
    "words-left-over": "words beside the food may change what it is", "ambiguous-words": "cooks use these words for different foods",
    "salt-in-doubt": "a salt that may hold potassium", "decisions-conflict": "people decided against each other",
    "alternative-refused": "it leaves a choice that a person ruled out",
    "much-at-stake": "fairly sure, but a likely other entry would change a portion by much",
    "close-call": "another entry could be meant as well", "not-sure": "not sure enough that the best entry is the food",
    "decided-none": "it was decided that no entry stands for it",
    "reading-in-doubt": "the line may say more than was read", "no-quantity": "it says no amount",
    "no-measure": "nothing says what this measure weighs", "no-density": "nothing says what this volume weighs",
    "no-entry": "it has no entry to weigh by", "absurd-quantity": "no cook means this amount",
    "negative-quantity": "the amount is below zero", "no-food-words": "no word in it names a food",
    "too-long": "it is a paragraph, not a line", "unreadable": "it cannot be read",
}
