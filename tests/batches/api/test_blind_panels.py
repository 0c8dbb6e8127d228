"""Nobody who sits can learn from any address what a number on their tray stands for, before the panel is closed.

Two open panels are alike in everything but what stands behind their numbers: where one has lot A the other has lot B.
Whatever the service answers about the one, it must answer about the other, byte for byte but for ids; so no field, file
name, count or order can tell. And nothing it answers anywhere holds the seed, from which all of it could be drawn.
"""

import re
from typing import Any

import pytest

from batches.models import Panel, PanelMethod, PanelServing, PanelSitter, PanelStep
from tests.api.contract import of_floors
from tests.api.world import furnished
from tests.batches.panelling import answer, set_up
from tests.conftest import NOW
from tests.workbench import Workbench

CODES = ([101, 202, 303], [404, 505, 606], [707, 808, 909])
ORDERS = ("AAB", "BAB", "ABB")
SWAP = str.maketrans("AB", "BA")
IDS = re.compile(
    r'"id":"\d+"|/panels/\d+/|cursor=[^"&>]+|subject=panel&amp;name=\d+|(?:value|content)="\w{20,}"'
)
ITS_OWN = ("X-Request-Id", "ETag", "Content-Length")
"""Headers that are made of the rest of an answer, or of nothing that matters."""


def twin(bench: Workbench, sitter: Any, orders: list[str], lots: tuple[Any, Any]) -> Panel:
    """A panel whose orders are given, which no action takes."""
    told = {"studio": bench.by.studio}
    panel = Panel.objects.create(
        title="Twin",
        method=PanelMethod.TRIANGLE,
        level="0.05",
        planned=3,
        seed="f" * 32,
        by=bench.by,
        at=NOW,
        **told,
    )
    step = PanelStep.objects.create(panel=panel, position=1, lot_a=lots[0], lot_b=lots[1], **told)
    PanelSitter.objects.create(panel=panel, member=sitter, **told)
    for number, (places, codes) in enumerate(zip(orders, CODES, strict=True), 1):
        PanelServing.objects.create(panel=panel, step=step, number=number, places=places, codes=codes, **told)
    return panel


@pytest.fixture
def twins(owner: Any, maker: Any) -> list[Panel]:
    bench = Workbench(owner, NOW)
    lots = (bench.bottle("linalool 5g"), bench.bottle("geraniol 5g"))
    return [
        twin(bench, maker, list(ORDERS), lots),
        twin(bench, maker, [order.translate(SWAP) for order in ORDERS], lots),
    ]


API = (
    "", "servings/", "servings/?ordering=-number&limit=2", "servings/?format=csv", "answers/", "answers/?format=csv",
    "result/", "key/",
)  # fmt: skip


def told(answer: Any) -> tuple[int, str]:
    """A status and all that was said, ids aside."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    said = "\n".join(
        f"{name}: {value}" for name, value in sorted(answer.headers.items()) if name not in ITS_OWN
    )
    return answer.status_code, IDS.sub("…", f"{said}\n{body.decode()}")


def test_what_stands_on_a_tray_changes_no_answer_to_those_who_sit(twins, maker, reader, api_of):
    for member in (maker, reader):
        api = api_of(member)
        for path in API:
            one, other = (told(api.get(f"panels/{panel.pk}/{path}")) for panel in twins)
            assert one == other, path
        assert api.get(f"panels/{twins[0].pk}/key/").status_code == 403
        assert api.get(f"panels/{twins[0].pk}/result/").status_code == 409


def test_what_was_answered_is_told_to_nobody_before_the_panel_is_closed(owner, maker, api_of):
    bench = Workbench(owner, NOW)
    panel = set_up(bench, maker, answers=2)
    answer(bench, panel, maker, 1)
    for member in (owner, maker):
        assert [one["code"] for one in api_of(member).all(f"panels/{panel.pk}/answers/")] == [None]
    answer(bench, panel, maker, 2)
    assert None not in [one["code"] for one in api_of(maker).all(f"panels/{panel.pk}/answers/")]


def test_no_address_of_the_api_tells_the_seed(owner, maker, reader, api_of):
    world = furnished(owner, maker, reader)
    seeds = list(
        Panel.objects.of(owner.studio).filter(closed_at=None, by=maker).values_list("seed", flat=True)
    )
    assert seeds
    api = api_of(owner)
    asked = 0
    for operation in of_floors():
        if operation.writes:
            continue
        address = world.address(operation)
        for place in {address, address.replace(world.names["panel_id"], world.names["sat panel"])}:
            answer = api.get(place)
            body = b"".join(answer.streaming_content) if answer.streaming else answer.content
            assert not any(seed in body.decode(errors="replace") for seed in seeds), place
            asked += 1
    history = api.get("history/?limit=200").content.decode()
    assert not any(seed in history for seed in seeds)
    assert asked > 50
