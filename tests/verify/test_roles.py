"""What images are by their folders and kinds, and which of them show one frame."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.containers import Limits
from pipeline.delivery import Folders, Role
from pipeline.verify.evidence import Bundle
from pipeline.verify.roles import Picture, frame_names, pair, pictures, stem_of
from tests.verify.metadata.world import Held


def roles(*paths: str) -> dict[str, Role]:
    """What files are by their names alone."""
    bundle = Bundle(
        container=Held(dict.fromkeys(paths, b"")), limits=Limits(), bag=None, readings={}, is_quick=True
    )
    return {each.path: each.role for each in pictures(bundle, Folders())}


@pytest.mark.parametrize(
    ("path", "role"),
    [
        ("data/masters/a.tif", Role.MASTERS),
        ("data/Preservation/a.jpg", Role.MASTERS),
        ("data/targets/a.tif", Role.TARGETS),
        ("data/masters/targets/a.tif", Role.TARGETS),
        ("data/access/v1/a.jpg", Role.ACCESS),
        ("data/iiif/x/a/full/max/0/default.jpg", Role.ACCESS),
        ("data/metadata/thumbs/a.jpg", Role.METADATA),
        ("data/a.tif", Role.MASTERS),
        ("data/a.jpg", Role.MASTERS),
    ],
)
def test_a_picture_is_what_its_nearest_folder_says(path: str, role: Role) -> None:
    assert roles(path) == {path: role}


def test_without_telling_folders_the_likelier_kind_of_file_is_the_master() -> None:
    assert roles("data/x/1.tif", "data/x/1.jpg", "data/y/2.jpg") == {
        "data/x/1.jpg": Role.ACCESS,
        "data/x/1.tif": Role.MASTERS,
        "data/y/2.jpg": Role.ACCESS,
    }
    assert roles("data/x/1.tif", "data/y/1.jp2", "data/y/2.jp2") == {
        "data/x/1.tif": Role.MASTERS,
        "data/y/1.jp2": Role.ACCESS,
        "data/y/2.jp2": Role.MASTERS,
    }


def test_tiles_and_what_is_no_image_are_no_pictures() -> None:
    assert roles("data/iiif/x/a/0,0,512,512/512,/0/default.jpg", "data/a.xml") == {}


@pytest.mark.parametrize(
    ("path", "names"),
    [
        ("data/masters/B14_0001.tif", ("b14_0001",)),
        ("B14_0001.tif", ("b14_0001",)),
        ("data/masters/edges/B14 7.tif", ("b14-7", "edges-b14-7")),
        ("data/v1/masters/0001.tif", ("0001", "v1-0001")),
        ("data/access/msb-014/edges-B14-7.jpg", ("edges-b14-7", "msb-014-edges-b14-7")),
        ("data/iiif/x/A.1/full/max/0/default.jpg", ("a-1", "x-a-1")),
        ("../../a.tif", ("a",)),
        ("", ()),
        ("/", ()),
        ("data/.tif", ("tif",)),
    ],
)
def test_a_frame_has_the_names_that_others_may_give_it(path: str, names: tuple[str, ...]) -> None:
    assert frame_names(path) == names


def test_the_frame_of_an_image_service_is_named_by_its_folder() -> None:
    assert stem_of("data/iiif/x/B14_0001/full/max/0/default.jpg") == "b14_0001"
    assert stem_of("data/masters/B14_0001.tif") == "b14_0001"


def picture(path: str, bundle: str = "one") -> Picture:
    return Picture(bundle=bundle, path=path, stem=stem_of(path), role=Role.MASTERS)


def test_a_surrogate_goes_with_the_master_of_its_folder_before_others() -> None:
    masters = [picture("data/v1/masters/1.tif"), picture("data/v2/masters/1.tif")]
    surrogate = picture("data/v2/access/1.jpg")
    assert pair(masters, [surrogate]) == ({surrogate: masters[1]}, frozenset())


def test_what_could_be_of_several_masters_is_unclear_and_not_guessed() -> None:
    masters = [picture("data/v1/masters/1.tif"), picture("data/v2/masters/1.tif")]
    surrogate = picture("data/access/1.jpg")
    assert pair(masters, [surrogate]) == ({}, frozenset({surrogate, *masters}))


def test_a_master_of_the_same_bundle_goes_before_one_of_another() -> None:
    masters = [picture("data/masters/1.tif", "one"), picture("data/masters/1.tif", "two")]
    surrogate = picture("data/access/1.jpg", "two")
    assert pair(masters, [surrogate])[0] == {surrogate: masters[1]}


@given(st.lists(st.text(min_size=1, max_size=9).filter(lambda text: "/" not in text), min_size=1, max_size=4))
def test_names_of_any_path_are_safe_and_each_ends_with_the_one_before(parts: list[str]) -> None:
    names = frame_names("data/masters/" + "/".join(parts) + ".tif")
    assert all(name and name == name.lower() and "/" not in name for name in names)
