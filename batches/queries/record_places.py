"""The single places of a sealed record by names a person reads, for choosing what an amendment corrects."""

from collections.abc import Iterator, Mapping
from typing import Any

ITS_OWN = ("form", "amendment", "batch")


def places_of(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    """JSON pointer and words of every place that can be corrected, with what stands there now."""
    return [(pointer, f"{words}: {said}") for pointer, words, said in _places(record, "", "")]


def _places(inner: Any, pointer: str, words: str) -> Iterator[tuple[str, str, str]]:
    pairs = inner.items() if isinstance(inner, Mapping) else enumerate(inner)
    for key, value in pairs:
        if not pointer and key in ITS_OWN:
            continue
        step = str(key).replace("~", "~0").replace("/", "~1")
        name = f"{words[:-1]} {key + 1}" if isinstance(key, int) else f"{words}, {key}" if words else str(key)
        name = name.replace("_", " ")
        if isinstance(value, (Mapping, list)):
            yield from _places(value, f"{pointer}/{step}", name)
        else:
            said = "nothing" if value in (None, "") else str(value)
            yield f"{pointer}/{step}", name, said if len(said) <= 60 else f"{said[:60]}…"
