"""Our judgement held against the library `ocfl` (ocfl-py), on good objects and on each that is broken.

Both agree on what is valid, but for six objects. Each is listed with the reason; our finding cites the clause
of the specification.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path

import pytest
from ocfl.validator import Validator

from pipeline.findings import Level
from tests.make_ocfl import Object, an_object, two_versions
from tests.ocfl.test_codes import LATER_OBJECTS, OBJECTS, judged, written

DISAGREEMENTS = {
    "E002": "a declaration that is a folder ends the library with IsADirectoryError",
    "E041": "a missing manifest ends the library with TypeError, after it was told",
    "E055": "keys that are not specified pass there",
    "E102": "keys that are not specified pass there",
    "E038 E103": "an inventory of 1.0 passes there under a declaration of 1.1",
}


def is_valid_there(folder: Path) -> bool:
    return bool(Validator().validate_object(str(folder)))


@pytest.mark.parametrize(
    "made",
    [
        two_versions(),
        two_versions(algorithm="sha256"),
        two_versions(fixity=()),
        two_versions(fixity=("md5", "sha1", "sha256", "blake2b-512")),
        two_versions(spec="1.0"),
        an_object({}),
    ],
    ids=["two", "sha256", "no fixity", "fixity", "1.0", "empty"],
)
def test_good_objects_are_good_for_both(tmp_path: Path, made: Object) -> None:
    place = copy.deepcopy(made).write(tmp_path / "object")
    assert is_valid_there(place)
    assert judged(place).at(Level.ERROR) == ()


AGREED = [
    pytest.param(change, id=f"{number}-{codes}")
    for number, (codes, change) in enumerate(OBJECTS)
    if codes not in DISAGREEMENTS
]
DISAGREED = [
    pytest.param(change, id=f"{number}-{codes}")
    for number, (codes, change) in enumerate(OBJECTS)
    if codes in DISAGREEMENTS
]


@pytest.mark.parametrize("change", AGREED)
def test_broken_objects_are_broken_for_both(tmp_path: Path, change: Callable[[Object], object]) -> None:
    made = two_versions()
    change(made)
    place = written(made, tmp_path / "object")
    assert bool(judged(place).at(Level.ERROR)) == (not is_valid_there(place))


@pytest.mark.parametrize("change", DISAGREED)
def test_where_the_two_disagree_it_is_as_described(
    tmp_path: Path, change: Callable[[Object], object]
) -> None:
    made = two_versions()
    change(made)
    place = written(made, tmp_path / "object")
    assert judged(place).at(Level.ERROR)
    try:
        passes_or_fails_badly = is_valid_there(place)
    except (OSError, TypeError):
        passes_or_fails_badly = True
    assert passes_or_fails_badly


@pytest.mark.parametrize("codes", LATER_OBJECTS)
def test_broken_histories_are_broken_for_both(tmp_path: Path, codes: str) -> None:
    place = written(LATER_OBJECTS[codes](), tmp_path / "object")
    assert bool(judged(place).at(Level.ERROR)) == (not is_valid_there(place))
