"""What the shelf gives each need of one item, before anything is made."""

from collections.abc import Sequence

from batches.calc.remake_book import Need, Supply, Take

Waiting = list[int]
"""A need by its place in the list, and how much of it waits."""


def served(needs: Sequence[Need], supplies: Sequence[Supply]) -> tuple[list[Take], list[Waiting]]:
    """Serve sorted needs in turn, each from the supply that ends first among those good for it; what waits is left over."""
    takes: list[Take] = []
    waiting: list[Waiting] = []
    stock = [supply for supply in supplies if supply.left]
    for index, need in enumerate(needs):
        left = need.mass
        day, until = need.day, need.until
        emptied = False
        for supply in stock:
            if supply.start > day or supply.end < until:
                continue
            taken = supply.left if supply.left < left else left
            supply.left -= taken
            left -= taken
            takes.append(Take(need, day, taken, supply))
            emptied = emptied or not supply.left
            if not left:
                break
        if emptied:
            stock = [supply for supply in stock if supply.left]
        if left:
            waiting.append([index, left])
    return takes, waiting
