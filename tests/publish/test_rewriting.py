"""Documents under another base URL."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.publish.rewriting import base_url_of, mover, rewritten, rewritten_xml

OLD, NEW = "http://localhost:8000", "https://images.example.org/books"


def test_own_urls_are_moved_wherever_they_stand() -> None:
    document = {
        "id": f"{OLD}/iiif/a/manifest.json",
        "items": [{"target": f"{OLD}/iiif/a/canvas/1#xywh=0,0,1,1", "height": 3}],
        "provider": [{"id": OLD}],
    }
    moved = rewritten(document, base_url=OLD, to=NEW)
    assert moved == {
        "id": f"{NEW}/iiif/a/manifest.json",
        "items": [{"target": f"{NEW}/iiif/a/canvas/1#xywh=0,0,1,1", "height": 3}],
        "provider": [{"id": NEW}],
    }


@pytest.mark.parametrize(
    "text", ["http://localhost:80001/a", "http://localhost:8000.example.org/", f"see {OLD}/a", "f. 1r", ""]
)
def test_what_is_no_own_url_stays(text: str) -> None:
    assert rewritten({"id": text}, base_url=OLD, to=NEW) == {"id": text}


def test_links_in_html_are_moved() -> None:
    html = f"<p>See <a href=\"{OLD}/items/b/\">the other volume</a>, <img src='{OLD}/b.jpg'/></p>"
    assert mover(OLD, NEW)(html) == html.replace(OLD, NEW)


def test_a_base_url_below_the_old_one_is_not_moved_twice() -> None:
    once = rewritten({"id": f"{OLD}/a"}, base_url=OLD, to=f"{OLD}/a")
    assert once == {"id": f"{OLD}/a/a"}


ADDRESSES = st.sampled_from([OLD, NEW, "http://localhost:80", "https://example.org"])
TEXTS = st.one_of(st.text(), st.builds("{}/{}".format, ADDRESSES, st.text("ab/#")))
DOCUMENTS = st.dictionaries(
    st.text(max_size=3),
    st.recursive(
        TEXTS | st.integers() | st.none(),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
        max_leaves=8,
    ),
    max_size=4,
)


@given(DOCUMENTS)
def test_moving_there_and_back_changes_nothing_where_nothing_was_there_before(
    document: dict[str, object],
) -> None:
    unused = "https://nowhere.example.net/x"
    there = rewritten(document, base_url=OLD, to=unused)
    assert rewritten(there, base_url=unused, to=OLD) == document
    assert list(there) == list(document)


def test_the_base_url_is_read_from_the_manifest() -> None:
    assert base_url_of({"id": f"{NEW}/iiif/ms-7/manifest.json"}, "ms-7") == NEW


@pytest.mark.parametrize("identifier", [None, 3, f"{NEW}/iiif/ms-8/manifest.json", f"{NEW}/ms-7.json"])
def test_a_manifest_at_another_address_is_refused(identifier: object) -> None:
    with pytest.raises(InputError, match=r"expected an address that ends with /iiif/ms-7/manifest\.json"):
        base_url_of({"id": identifier}, "ms-7")


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (f"<url>{OLD}/a</url>", f"<url>{NEW}/a</url>"),
        (f'<a href="{OLD}/a"/>', f'<a href="{NEW}/a"/>'),
        (f"<url>\n  {OLD}\n</url>", f"<url>\n  {NEW}\n</url>"),
        (f"<note>{OLD}1/a</note>", f"<note>{OLD}1/a</note>"),
    ],
)
def test_own_urls_of_xml_are_moved_and_every_other_byte_stays(before: str, after: str) -> None:
    assert rewritten_xml(before.encode(), base_url=OLD, to=NEW) == after.encode()


def test_an_ampersand_in_a_url_is_written_as_xml_has_it() -> None:
    found = rewritten_xml(b"<url>http://a/x&amp;y/1</url>", base_url="http://a/x&y", to="http://b/p&q")
    assert found == b"<url>http://b/p&amp;q/1</url>"
