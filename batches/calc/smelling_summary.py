"""What several notes say together: how many there are, of how many noses, and means that never stand without their count.

Liking and intensity are means over the notes that give one; intensities on different scales are not added up, because
their figures mean different things. Every note counts once, so somebody who smelled often counts often; the number of
noses says how far that goes. A mean is rounded half-even to a tenth, or a hundredth for intensity.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

LIKING_STEP, INTENSITY_STEP = Decimal("0.1"), Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Told:
    """What one note says of the vial `lot`: whose nose it was, and what of liking, intensity and words it gives."""

    lot: int
    nose: int
    liking: int | None = None
    scale: str = ""
    intensity: Decimal | None = None
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean and the number of notes it is of."""

    value: Decimal
    count: int


@dataclass(frozen=True, slots=True)
class Summary:
    """Notes taken together; `words` with the number of notes that say each, the most frequent first."""

    vials: int
    notes: int
    noses: int
    liking: Mean | None
    intensity: Mapping[str, Mean]
    words: tuple[tuple[str, int], ...]

    @property
    def counted_words(self) -> list[dict[str, object]]:
        """The words with their counts by name."""
        return [{"word": word, "count": count} for word, count in self.words]


def summary_of(notes: Sequence[Told]) -> Summary:
    """The notes taken together."""
    by_scale: dict[str, list[Decimal]] = defaultdict(list)
    for note in notes:
        if note.intensity is not None:
            by_scale[note.scale].append(note.intensity)
    words = Counter(word for note in notes for word in set(note.words))
    return Summary(
        vials=len({note.lot for note in notes}),
        notes=len(notes),
        noses=len({note.nose for note in notes}),
        liking=_mean([Decimal(note.liking) for note in notes if note.liking is not None], LIKING_STEP),
        intensity={
            scale: mean
            for scale, values in sorted(by_scale.items())
            if (mean := _mean(values, INTENSITY_STEP)) is not None
        },
        words=tuple(sorted(words.items(), key=lambda pair: (-pair[1], pair[0]))),
    )


@dataclass(frozen=True, slots=True)
class Pairing:
    """What the notes on vials of two materials say; `a` comes before `b` by name."""

    a: str
    b: str
    summary: Summary


def pairings(notes: Sequence[Told], pairs: Mapping[int, tuple[str, str]]) -> list[Pairing]:
    """The notes by the two materials of their vials, `pairs` having those by lot; the most noted first, then by name.

    Notes on vials that are in no pair are left out.
    """
    gathered: dict[tuple[str, str], list[Told]] = defaultdict(list)
    for note in notes:
        if note.lot in pairs:
            one, other = sorted(pairs[note.lot])
            gathered[one, other].append(note)
    found = [Pairing(a, b, summary_of(of_pair)) for (a, b), of_pair in gathered.items()]
    return sorted(found, key=lambda pair: (-pair.summary.notes, pair.a, pair.b))


COLUMNS = ("material", "other material", "vials", "notes", "noses", "liking", "likings", "words")


def pairing_row(pair: Pairing) -> list[object]:
    """A pairing as the cells of a sheet; each word with its count behind it."""
    told = pair.summary
    liking, likings = (told.liking.value, told.liking.count) if told.liking else ("", 0)
    words = ", ".join(f"{word} ({count})" for word, count in told.words)
    return [pair.a, pair.b, told.vials, told.notes, told.noses, liking, likings, words]


def _mean(values: Sequence[Decimal], step: Decimal) -> Mean | None:
    if not values:
        return None
    return Mean((sum(values, Decimal(0)) / len(values)).quantize(step), len(values))
