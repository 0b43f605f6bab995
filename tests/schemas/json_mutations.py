"""Faults in JSON documents, by the hundred: one change each, chosen by a seed.

A change renames, removes, adds, reorders or retypes one thing, or gives a text another value. What a
document became is judged by two schemas; this module knows neither.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

Path: TypeAlias = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """A document with one change."""

    change: str
    """What was done and where, for the one who reads that a test failed."""
    document: Any


def mutants(
    document: Any, count: int, *, seed: int, additions: Mapping[str, Sequence[Any]], texts: Sequence[str]
) -> Iterator[Mutant]:
    """Yield `count` documents that differ from `document` by one change each.

    `additions` are properties with values to add; `texts` are values to put in the place of others.
    """
    chance = random.Random(seed)
    changes = _changes(additions, texts)
    while count:
        changed = copy.deepcopy(document)
        place = chance.choice(list(_places(changed)))
        change = chance.choice(changes)
        said = change(chance, _at(changed, place[:-1]), place[-1])
        if said and changed != document:
            count -= 1
            yield Mutant(change=f"{said} at /{'/'.join(map(str, place))}", document=changed)


def _places(value: Any, path: Path = ()) -> Iterator[Path]:
    pairs: Any = ()
    if isinstance(value, dict):
        pairs = value.items()
    elif isinstance(value, list):
        pairs = enumerate(value)
    for step, each in pairs:
        yield (*path, step)
        yield from _places(each, (*path, step))


def _at(value: Any, path: Path) -> Any:
    for step in path:
        value = value[step]
    return value


Change: TypeAlias = Callable[[random.Random, Any, Any], str]
"""Changes something at a step of its container; says what, or nothing if it does not fit there."""


def _changes(additions: Mapping[str, Sequence[Any]], texts: Sequence[str]) -> list[Change]:
    names = sorted(additions)

    def rename(chance: random.Random, outer: Any, step: Any) -> str:
        if not isinstance(outer, dict):
            return ""
        name = chance.choice([f"{step}x", step.capitalize(), f"@{step}", step.lower(), chance.choice(names)])
        if name in outer:
            return ""
        pairs = [(name if key == step else key, value) for key, value in outer.items()]
        outer.clear()
        outer.update(pairs)
        return f"rename to {name}"

    def add(chance: random.Random, outer: Any, step: Any) -> str:
        target = outer[step]
        if isinstance(target, list) and target:
            target.append(copy.deepcopy(chance.choice([target[0], "x", {}, 1])))
            return "add an item"
        if not isinstance(target, dict):
            return ""
        name = chance.choice(names)
        if name in target:
            return ""
        target[name] = copy.deepcopy(chance.choice(additions[name]))
        return f"add {name} {str(target[name])[:60]}"

    def alter(chance: random.Random, outer: Any, step: Any) -> str:
        if isinstance(outer[step], str):
            outer[step] = chance.choice([*texts, outer[step] + "x", ""])
        elif isinstance(outer[step], int | float) and not isinstance(outer[step], bool):
            outer[step] = chance.choice([0, -1, 1, 0.5, outer[step] + 1])
        else:
            return ""
        return f"alter to {outer[step]!r}"

    return [rename, _remove, add, _reorder, _retype, alter]


def _remove(chance: random.Random, outer: Any, step: Any) -> str:
    del outer[step]
    return "remove"


def _reorder(chance: random.Random, outer: Any, step: Any) -> str:
    inner = outer[step]
    if isinstance(inner, list):
        chance.shuffle(inner)
        return "reorder"
    if isinstance(outer, dict):
        other = chance.choice(list(outer))
        outer[step], outer[other] = outer[other], outer[step]
        return f"exchange with {other}"
    return ""


def _retype(chance: random.Random, outer: Any, step: Any) -> str:
    inner = outer[step]
    choices: list[Any] = [None, True, 7, "text", [], {}, [inner], {"en": [inner]}, {"en": inner}]
    if isinstance(inner, list) and inner:
        choices += [inner[0]] * 3
    if isinstance(inner, dict) and inner:
        choices += [next(iter(inner.values())), inner.get("id", "x")] * 2
    if isinstance(inner, int | float):
        choices += [str(inner)]
    outer[step] = copy.deepcopy(chance.choice(choices))
    return f"retype to {type(outer[step]).__name__}"
