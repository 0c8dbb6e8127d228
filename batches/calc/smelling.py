"""The scales of a smelling note, and how a word of the studio's list is compared.

Intensity goes from 0 to 10. On the *plain* scale the numbers mean what the studio takes them for. On the *magnitude*
scale words stand where people place them when they judge ratios, so that twice the figure is twice as strong: the
labelled magnitude scale of Green, Shaffer and Gilmore (Chemical Senses 18, 1993, 683–702), which has 0 to 100, divided
by ten; values from memory. Liking has the nine points of the hedonic scale (Peryam and Pilgrim, Food Technology 11,
1957, 9–14; the words from memory).
"""

import unicodedata
from decimal import Decimal

LOWEST_INTENSITY, HIGHEST_INTENSITY = 0, 10
HIGHEST_LIKING = 9
MAGNITUDE_WORDS = (
    (Decimal("0"), "none"),
    (Decimal("0.14"), "barely detectable"),
    (Decimal("0.61"), "weak"),
    (Decimal("1.72"), "moderate"),
    (Decimal("3.47"), "strong"),
    (Decimal("5.25"), "very strong"),
    (Decimal("10"), "strongest imaginable"),
)
LIKING_WORDS = {
    9: "like extremely",
    8: "like very much",
    7: "like moderately",
    6: "like slightly",
    5: "neither like nor dislike",
    4: "dislike slightly",
    3: "dislike moderately",
    2: "dislike very much",
    1: "dislike extremely",
}


def tidy_word(text: str) -> str:
    """A word as it is shown: composed, with single spaces."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def word_key(text: str) -> str:
    """What two words share that are the same word: letters without regard to case or spaces around."""
    return tidy_word(text).casefold()
