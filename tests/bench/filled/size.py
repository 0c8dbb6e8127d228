"""How large a studio is filled."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Size:
    """`lots` in all, a tenth of them open, ten movements for each; the trace forward reaches about `descendants`."""

    name: str
    lots: int
    odorants: int
    formulas: int
    descendants: int

    @property
    def rounds(self) -> int:
        """Spells of work; what one makes is emptied two rounds later, so that a tenth of all lots is open."""
        return 20

    @property
    def movements(self) -> int:
        return 10 * self.lots


SMALL = Size("small", lots=3_000, odorants=60, formulas=30, descendants=600)
FULL = Size("full", lots=100_000, odorants=280, formulas=400, descendants=20_000)


def growing() -> list[Size]:
    """10 k, 100 k and 1 M movements, with the same answers to be read from them."""
    return [
        Size(name, lots=lots, odorants=60, formulas=30, descendants=300)
        for name, lots in (("10k", 1_000), ("100k", 10_000), ("1M", 100_000))
    ]


SIZES = {size.name: size for size in (SMALL, FULL, *growing())}
