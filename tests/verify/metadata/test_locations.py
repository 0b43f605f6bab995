"""Where pointers lead: in the bundle, out of it, nowhere; hostile ones are named and not followed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.containers import Folder, Limits
from pipeline.verify.evidence import Bundle
from pipeline.verify.metadata.locations import Finder, Reach, is_uri_reference

FILES = (
    "data/metadata/mets.xml",
    "data/masters/b14_0001.tif",
    "data/masters/with space.tif",
    "data/masters/50%25.tif",
    "data/masters/été.tif",
    "data/masters/B14_0002.TIF",
    "data/a#b.tif",
    "tagfiles/extra.tif",
)


@pytest.fixture(scope="module")
def finder(tmp_path_factory: pytest.TempPathFactory) -> Finder:
    base = tmp_path_factory.mktemp("bundle")
    for path in FILES:
        (base / path).parent.mkdir(parents=True, exist_ok=True)
        (base / path).write_bytes(b"x")
    (base.parent / "outside.tif").write_bytes(b"secret")
    return Finder(Bundle(container=Folder(base, Limits()), limits=Limits(), bag=None, readings={}))


@pytest.mark.parametrize(
    ("href", "path"),
    [
        ("../masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("../masters/./b14_0001.tif", "data/masters/b14_0001.tif"),
        ("masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("data/masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("./masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("tagfiles/extra.tif", "tagfiles/extra.tif"),
        ("file:///masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("file://masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("file:../masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("file://./masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("../masters/with%20space.tif", "data/masters/with space.tif"),
        ("../masters/with space.tif", "data/masters/with space.tif"),
        ("../masters/50%2525.tif", "data/masters/50%25.tif"),
        ("../masters/50%25.tif", "data/masters/50%25.tif"),
        ("../masters/%C3%A9t%C3%A9.tif", "data/masters/été.tif"),
        ("../masters/b14_0001.tif#page=1", "data/masters/b14_0001.tif"),
        ("../a%23b.tif", "data/a#b.tif"),
        ("../a#b.tif", "data/a#b.tif"),
    ],
)
def test_a_pointer_is_followed_as_many_write_it(finder: Finder, href: str, path: str) -> None:
    located = finder.locate(href, "data/metadata")
    assert (located.reach, located.path) == (Reach.INSIDE, path)


@pytest.mark.parametrize(
    "href",
    [
        "/etc/passwd",
        "../../../outside.tif",
        "../../../../../../etc/passwd",
        "..%2F..%2F..%2Foutside.tif",
        "file:///etc/passwd",
        "C:/masters/b14_0001.tif",
        "C:\\masters\\b14_0001.tif",
        "..\\masters\\b14_0001.tif",
        "file:///C:/masters/b14_0001.tif",
        "~/b14_0001.tif",
        "../masters/b14_0001.tif%00.txt",
    ],
)
def test_an_unsafe_pointer_is_named(finder: Finder, href: str) -> None:
    located = finder.locate(href, "data/metadata")
    assert located.reach is Reach.UNSAFE
    assert located.detail


@pytest.mark.parametrize(
    "href", ["https://images.example.org/a.tif", "urn:x:y", "ark:/12345/a", "doi:10.1/a"]
)
def test_an_address_on_the_web_is_outside(finder: Finder, href: str) -> None:
    assert finder.locate(href, "data/metadata").reach is Reach.OUTSIDE


@pytest.mark.parametrize(
    ("href", "detail"),
    [
        ("../masters/b14_0009.tif", ""),
        ("../masters/b14_0002.tif", 'there is "data/masters/B14_0002.TIF", which is spelt otherwise'),
        ("../masters/e%CC%81te%CC%81.tif", 'there is "data/masters/été.tif", which is spelt otherwise'),
        ("../masters", "there is a folder"),
        ("x" * 5000, "is too long for a path"),
    ],
)
def test_a_pointer_to_nothing_says_what_is_near(finder: Finder, href: str, detail: str) -> None:
    located = finder.locate(href, "data/metadata")
    assert (located.reach, located.detail) == (Reach.NOWHERE, detail)


@pytest.mark.parametrize("href", [None, "", "  "])
def test_no_pointer_is_unsaid(finder: Finder, href: str | None) -> None:
    assert finder.locate(href, "data/metadata").reach is Reach.UNSAID


@given(st.text("./\\%2eEfF:~abC #?\0é", max_size=40))
def test_nothing_is_found_that_does_not_lie_in_the_bundle(finder: Finder, href: str) -> None:
    located = finder.locate(href, "data/metadata")
    assert located.reach is not Reach.INSIDE or located.path in FILES


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("b14_0001.tif", "data/masters/b14_0001.tif"),
        ("B14_0001", "data/masters/b14_0001.tif"),
        ("msb-014/masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("masters/b14_0001.tif", "data/masters/b14_0001.tif"),
        ("nothing.tif", ""),
        ("", ""),
    ],
)
def test_a_file_is_found_by_the_name_that_a_record_gives(finder: Finder, name: str, path: str) -> None:
    assert finder.by_name(name) == path


@pytest.mark.parametrize(
    ("text", "is_one"),
    [("../a%20b.tif", True), ("../a b.tif", False), ("../é.tif", False), ("a\\b", False), ("50%", False)],
)
def test_a_uri_reference_has_no_blanks_and_no_letters_beyond_ascii(text: str, is_one: bool) -> None:
    assert is_uri_reference(text) is is_one
