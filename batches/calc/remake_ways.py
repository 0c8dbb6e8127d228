"""How each item of a remake plan is come by: the recipe chosen, or bought, or neither, and how deep it lies.

The first recipe whose inputs can all be had is chosen, else the item is bought, else the first recipe that at least is
no cycle is kept, so that what is on the shelf of its inputs can be used up. A walk in depth finds this and the cycles;
it keeps its own stack, since recipes may be nested deeper than calls. Low-level codes are the longest way from what no
recipe takes: planned in their order, every demand on an item is known before the item is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from batches.calc.remake_request import Item, ItemKey, Offer, Recipe, RemakeRequest
from batches.calc.remake_result import Obstacle
from studio.kernel.mass import LARGEST_MASS, micrograms

FOREVER = 10**8
"""Days: longer than any calendar reaches."""
_ON_THE_WAY, _FINISHED = 1, 2
_LARGEST = micrograms(LARGEST_MASS)


@dataclass(frozen=True, slots=True)
class Lack:
    """Why an item cannot be had beyond what is there: the obstacle, and the items from it to what stands in the way."""

    obstacle: Obstacle
    path: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Portion:
    """An input of a recipe: `item` by place, `parts` in the recipe's whole number of parts."""

    item: int
    parts: int


@dataclass(frozen=True, slots=True)
class Way:
    """How one item is come by. Days and micrograms.

    `lead` is from start (or order, at the soonest) to use; `keeps` how many days from the first day of use what is had
    at the last moment stays good, its inputs' ages included; `lives` the item's own rule, likewise. `yields` is in the
    parts of `inputs`; the inputs make the whole of it when `closed`. `lack` is set where some input cannot be had anew.
    """

    item: Item
    recipe: Recipe | None
    offers: tuple[Offer, ...]
    inputs: tuple[Portion, ...]
    yields: int
    closed: bool
    lead: int
    keeps: int
    lives: int
    smallest: int
    largest: int
    lack: Lack | None

    @property
    def exists(self) -> bool:
        return self.recipe is not None or bool(self.offers)


@dataclass(frozen=True, slots=True)
class Ways:
    """The ways of all items by their place in `keys`; `order` has what takes before what is taken."""

    keys: tuple[ItemKey, ...]
    places: Mapping[ItemKey, int]
    ways: tuple[Way, ...]
    levels: tuple[int, ...]
    order: tuple[int, ...]
    users: tuple[tuple[int, ...], ...]


def find_ways(request: RemakeRequest) -> Ways:
    """The ways, low-level codes and order of planning of a checked request."""
    items = sorted(request.items, key=lambda item: item.key.place)
    places = {item.key: place for place, item in enumerate(items)}
    recipes: list[list[Recipe]] = [[] for _ in items]
    for recipe in request.recipes:
        recipes[places[recipe.item]].append(recipe)
    offers: list[list[Offer]] = [[] for _ in items]
    for offer in request.offers:
        offers[places[offer.item]].append(offer)
    walk = _Walk(places, recipes, offers)
    for place in range(len(items)):
        walk.visit(place)
    ways: dict[int, Way] = {}
    for place in walk.finished:
        ways[place] = _way(place, items[place], walk, ways)
    found = tuple(ways[place] for place in range(len(items)))
    levels = _levels(found, walk.finished)
    users: list[list[int]] = [[] for _ in items]
    for place, way in enumerate(found):
        for portion in way.inputs:
            users[portion.item].append(place)
    return Ways(
        tuple(item.key for item in items),
        places,
        found,
        tuple(levels),
        tuple(sorted(range(len(items)), key=lambda place: (levels[place], place))),
        tuple(tuple(one) for one in users),
    )


class _Walk:
    """The walk in depth. An item is new, on the way down (so that meeting it again closes a cycle), or finished."""

    def __init__(
        self,
        places: Mapping[ItemKey, int],
        recipes: Sequence[Sequence[Recipe]],
        offers: Sequence[Sequence[Offer]],
    ) -> None:
        self.places = places
        self.inputs = [
            [[places[one.item] for one in recipe.inputs] for recipe in several] for several in recipes
        ]
        self.recipes = recipes
        self.offers = offers
        self.chosen: list[Recipe | None] = [None] * len(recipes)
        self.lacks: list[Lack | None] = [None] * len(recipes)
        self.finished: list[int] = []
        self._state = bytearray(len(recipes))
        self._cycles: dict[int, tuple[int, ...]] = {}

    def visit(self, place: int) -> None:
        if self._state[place]:
            return
        path = [place]
        waiting = [iter([one for inputs in self.inputs[place] for one in inputs])]
        self._state[place] = _ON_THE_WAY
        while path:
            step = next((one for one in waiting[-1] if self._state[one] != _FINISHED), None)
            if step is None:
                waiting.pop()
                self._finish(path.pop())
            elif self._state[step] == _ON_THE_WAY:
                self._cycles.setdefault(path[-1], (*path[path.index(step) :], step))
            else:
                path.append(step)
                waiting.append(iter([one for inputs in self.inputs[step] for one in inputs]))
                self._state[step] = _ON_THE_WAY

    def _finish(self, place: int) -> None:
        self._state[place] = _FINISHED
        self.finished.append(place)
        fallback: Recipe | None = None
        first_lack: Lack | None = None
        for recipe, inputs in zip(self.recipes[place], self.inputs[place], strict=True):
            if any(self._state[one] != _FINISHED or one == place for one in inputs):
                continue
            lack = next((self.lacks[one] for one in inputs if self.lacks[one] is not None), None)
            if lack is None:
                self.chosen[place] = recipe
                return
            if fallback is None:
                fallback, first_lack = recipe, seen_from(place, lack)
        if self.offers[place]:
            return
        if fallback is not None:
            self.chosen[place], self.lacks[place] = fallback, first_lack
        elif place in self._cycles:
            self.lacks[place] = Lack(Obstacle.CYCLE, self._cycles[place])
        else:
            self.lacks[place] = Lack(Obstacle.NO_ROUTE, (place,))


def _way(place: int, item: Item, walk: _Walk, ways: Mapping[int, Way]) -> Way:
    recipe, offers = walk.chosen[place], tuple(walk.offers[place])
    if recipe is not None:
        return _by_recipe(place, item, recipe, walk.places, ways)
    lives = FOREVER if item.shelf_life_days is None else item.shelf_life_days
    lead = min((offer.delivery_days for offer in offers), default=0)
    return Way(item, None, offers, (), 1, False, lead, lives, lives, 0, _LARGEST, walk.lacks[place])


def _by_recipe(
    place: int, item: Item, recipe: Recipe, places: Mapping[ItemKey, int], ways: Mapping[int, Way]
) -> Way:
    inputs = [places[one.item] for one in recipe.inputs]
    whole = _whole_parts([*(one.parts for one in recipe.inputs), recipe.yield_parts])
    lives = FOREVER if item.shelf_life_days is None else item.shelf_life_days - recipe.resting_days
    fresh = (ways[one].keeps - recipe.lead_days for one in inputs if ways[one].lack is None)
    keeps = min([lives, *fresh])
    if keeps < 0:
        lack = Lack(Obstacle.TOO_SHORT_LIVED, (place,))
        return Way(item, None, (), (), 1, False, 0, lives, lives, 0, _LARGEST, lack)
    lack_below = next((ways[one].lack for one in inputs if ways[one].lack is not None), None)
    return Way(
        item=item,
        recipe=recipe,
        offers=(),
        inputs=tuple(Portion(one, parts) for one, parts in zip(inputs, whole, strict=False)),
        yields=whole[-1],
        closed=sum(whole[:-1]) == whole[-1],
        lead=recipe.lead_days,
        keeps=keeps,
        lives=lives,
        smallest=micrograms(recipe.smallest),
        largest=_LARGEST if recipe.largest is None else micrograms(recipe.largest),
        lack=None if lack_below is None else seen_from(place, lack_below),
    )


def seen_from(place: int, lack: Lack) -> Lack:
    """The same obstacle seen from what takes it; a cycle is told from where it closes."""
    return lack if lack.obstacle is Obstacle.CYCLE else Lack(lack.obstacle, (place, *lack.path))


def _whole_parts(parts: Sequence[Decimal]) -> list[int]:
    """Parts as whole numbers in the same proportions, exactly."""
    finest = min(0, *(int(part.as_tuple().exponent) for part in parts))
    return [int(part.scaleb(-finest)) for part in parts]


def _levels(ways: Sequence[Way], finished: Sequence[int]) -> list[int]:
    levels = [0] * len(ways)
    for place in reversed(finished):
        for portion in ways[place].inputs:
            levels[portion.item] = max(levels[portion.item], levels[place] + 1)
    return levels
