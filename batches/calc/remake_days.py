"""The order of work on one making day: what is made of each other in turn, each container in hand as few times as can be.

A container stays in hand from one making to the next when both take from it, so the times it is picked up are its
makings less the neighbours that share it: the best order is the path through the makings, parents before children, whose
neighbours share most. Up to ten makings that hang together are solved exactly, by the programme over sets of Held and Karp
(1962); makings that share nothing are ordered apart, which loses nothing. More are chained greedily, each time the one that
shares most with the last, and the chain is improved by moving single makings until no move helps. A container that all
take from stays in hand throughout and is left out of account.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

MOST_EXACT = 10
_MOST_ROUNDS = 20
_MOST_LOOKS = 4_000_000


@dataclass(frozen=True, slots=True)
class Task:
    """One making: its key, the containers it takes from, and the makings of the same day that must come before it."""

    key: str
    containers: frozenset[str]
    after: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Order:
    """Keys in the order to work, how often a container is picked up, and whether no order needs fewer."""

    keys: tuple[str, ...]
    times_in_hand: int
    exact: bool


def order_of_work(tasks: Sequence[Task]) -> Order:
    """The order of a day's tasks, given with what comes before earlier in the list or not; no task may wait for itself."""
    by_key = {task.key: task for task in tasks}
    common = frozenset.intersection(*(task.containers for task in tasks)) if tasks else frozenset()
    keys: list[str] = []
    exact = True
    for group in _together(tasks, common):
        exact = exact and len(group) <= MOST_EXACT
        ordered = _exactly(group) if len(group) <= MOST_EXACT else _chained(group)
        keys += [task.key for task in ordered]
    return Order(tuple(keys), _times([by_key[key] for key in keys]), exact)


def _together(tasks: Sequence[Task], common: frozenset[str]) -> list[list[Task]]:
    """Tasks that share a container other than the common ones, or wait for each other, in the order given."""
    parent = list(range(len(tasks)))

    def root(place: int) -> int:
        while parent[place] != place:
            parent[place] = parent[parent[place]]
            place = parent[place]
        return place

    holders: dict[str, int] = {}
    for place, task in enumerate(tasks):
        for mark in (task.containers - common) | {f"task {key}" for key in (*task.after, task.key)}:
            other = root(holders.setdefault(mark, place))
            mine = root(place)
            parent[max(other, mine)] = min(other, mine)
    groups: dict[int, list[Task]] = {}
    for place, task in enumerate(tasks):
        groups.setdefault(root(place), []).append(task)
    return [groups[place] for place in sorted(groups)]


def _exactly(tasks: Sequence[Task]) -> list[Task]:
    """The programme over sets: for each set done and last task, the most sharing that leads there."""
    places = {task.key: place for place, task in enumerate(tasks)}
    before = [sum(1 << places[key] for key in task.after if key in places) for task in tasks]
    shared = _shared(tasks)
    best: dict[tuple[int, int], tuple[int, int]] = {
        (1 << place, place): (0, -1) for place in range(len(tasks)) if not before[place]
    }
    layer = sorted(best)
    for _ in range(len(tasks) - 1):
        reached: set[tuple[int, int]] = set()
        for done, last in layer:
            so_far = best[done, last][0]
            for place in range(len(tasks)):
                if done >> place & 1 or before[place] & ~done:
                    continue
                state = (done | 1 << place, place)
                if state not in best or so_far + shared[last][place] > best[state][0]:
                    best[state] = (so_far + shared[last][place], last)
                    reached.add(state)
        layer = sorted(reached)
    state = max(layer, key=lambda each: (best[each][0], -each[1]))
    return [tasks[place] for place in _walked_back(state, best)]


def _walked_back(state: tuple[int, int], best: Mapping[tuple[int, int], tuple[int, int]]) -> list[int]:
    path = []
    done, last = state
    while last >= 0:
        path.append(last)
        done, last = done & ~(1 << last), best[done, last][1]
    return path[::-1]


def _chained(tasks: Sequence[Task]) -> list[Task]:
    before, after = _neighbours_in_time(tasks)
    missing = [len(several) for several in before]
    ready = {place for place, count in enumerate(missing) if not count}
    chain: list[int] = []
    last: frozenset[str] = frozenset()
    while ready:
        following = max(sorted(ready), key=lambda place: len(last & tasks[place].containers))
        ready.remove(following)
        chain.append(following)
        last = tasks[following].containers
        for place in after[following]:
            missing[place] -= 1
            if not missing[place]:
                ready.add(place)
    return [tasks[place] for place in _improved(chain, _Ties(before, after, _sharing(tasks)))]


@dataclass(frozen=True, slots=True)
class _Ties:
    """By the place of each task in the list: what comes before it, what after, and what it shares how much with."""

    before: list[set[int]]
    after: list[set[int]]
    sharing: list[dict[int, int]]


def _neighbours_in_time(tasks: Sequence[Task]) -> tuple[list[set[int]], list[set[int]]]:
    places = {task.key: place for place, task in enumerate(tasks)}
    before = [{places[key] for key in task.after if key in places} for task in tasks]
    after: list[set[int]] = [set() for _ in tasks]
    for place, several in enumerate(before):
        for other in several:
            after[other].add(place)
    return before, after


def _sharing(tasks: Sequence[Task]) -> list[dict[int, int]]:
    holders: dict[str, list[int]] = {}
    for place, task in enumerate(tasks):
        for container in task.containers:
            holders.setdefault(container, []).append(place)
    return [
        dict(Counter(other for container in task.containers for other in holders[container]))
        for task in tasks
    ]


def _improved(chain: list[int], ties: _Ties) -> list[int]:
    """Move single tasks to where they save most, until none saves anything; a very full day is gone over fewer times."""
    for _ in range(min(_MOST_ROUNDS, 1 + _MOST_LOOKS // len(chain) ** 2)):
        moved = False
        for place in range(len(chain)):
            task = chain[place]
            rest = chain[:place] + chain[place + 1 :]
            at = _best_place(rest, place, task, ties)
            if at != place:
                chain = [*rest[:at], task, *rest[at:]]
                moved = True
        if not moved:
            break
    return chain


def _best_place(rest: Sequence[int], place: int, task: int, ties: _Ties) -> int:
    """Where a task adds most sharing; it stays at `place` where nothing is better."""
    first, last = 0, len(rest)
    for at, other in enumerate(rest):
        if other in ties.before[task]:
            first = at + 1
        elif other in ties.after[task]:
            last = at
            break
    best, gain = place, _gain(rest, place, task, ties)
    for at in range(first, last + 1):
        found = _gain(rest, at, task, ties)
        if found > gain:
            best, gain = at, found
    return best


def _gain(rest: Sequence[int], at: int, task: int, ties: _Ties) -> int:
    """How much sharing a task adds when it is put in at a place."""
    shares = ties.sharing[task]
    before = rest[at - 1] if at else -1
    after = rest[at] if at < len(rest) else -1
    parted = ties.sharing[before].get(after, 0) if before >= 0 else 0
    return shares.get(before, 0) + shares.get(after, 0) - parted


def _shared(tasks: Sequence[Task]) -> list[list[int]]:
    return [[len(one.containers & other.containers) for other in tasks] for one in tasks]


def _times(tasks: Sequence[Task]) -> int:
    picked = 0
    last: frozenset[str] = frozenset()
    for task in tasks:
        picked += len(task.containers - last)
        last = task.containers
    return picked
