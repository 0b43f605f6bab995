"""What is taken from a verified bundle, and how objects are named."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import containers
from pipeline.deposit import Bag
from pipeline.errors import InputError
from pipeline.storage import bag_of, named
from pipeline.verify import Options
from tests.deposit.world import make_bag

PREFIX = "https://library.example.org/id/"


def read(folder: Path) -> Bag:
    with containers.opened(folder) as container:
        return bag_of(container, Options())


def test_digests_are_those_of_all_manifests(tmp_path: Path) -> None:
    bag = read(make_bag(tmp_path / "bag"))
    assert bag.sizes.keys() - bag.digests["sha512"].keys() == {"tagmanifest-sha512.txt"}


def test_what_a_store_cannot_give_back_is_refused(tmp_path: Path) -> None:
    linked = make_bag(tmp_path / "linked")
    (linked / "link").symlink_to("bagit.txt")
    with pytest.raises(InputError, match="link, which cannot be stored"):
        read(linked)
    odd = make_bag(tmp_path / "odd")
    (odd / os.fsdecode(b"\xff.txt")).touch()
    with pytest.raises(InputError, match="not UTF-8"):
        read(odd)
    (tmp_path / "no bag").mkdir()
    with pytest.raises(InputError, match="is no bag"):
        read(tmp_path / "no bag")


@pytest.mark.parametrize(
    ("identifier", "name"),
    [
        ("msb-014", f"{PREFIX}msb-014"),
        (f"{PREFIX}msb-014", f"{PREFIX}msb-014"),
        ("MS B 14", f"{PREFIX}MS%20B%2014"),
        ("Mu\u0308nster <1>", f"{PREFIX}M\u00fcnster%20%3C1%3E"),
        ("ark:/99999/x1", f"{PREFIX}ark:/99999/x1"),
    ],
)
def test_objects_are_named_by_uris(identifier: str, name: str) -> None:
    assert named(identifier, PREFIX) == name


@given(st.text(min_size=1))
def test_naming_what_has_its_name_changes_nothing(text: str) -> None:
    name = named(text.strip() or "x", PREFIX)
    assert named(name, PREFIX) == name
