"""Links of pages: relative within the site, http and https elsewhere, nothing that acts."""

from __future__ import annotations

from urllib.parse import urljoin, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.pages.links import Links, web_url

BASE_URL = "https://library.example.org/books"
texts = st.text(st.sampled_from("abjhtps:/\\@#?%&.<>\"' \t\n\u2028é[]"), max_size=30)


@pytest.mark.parametrize("depth", [0, 2])
def test_what_lies_on_the_site_is_linked_relatively(depth: int) -> None:
    links = Links(base_url=BASE_URL, depth=depth)
    page = f"{BASE_URL}/{'x/' * depth}"
    for path in ("iiif/a/manifest.json", "javascript:alert(1)", "a?b#c"):
        link = links.of(f"{BASE_URL}/{path}")
        assert link.startswith(".")
        assert urljoin(page, link) == f"{BASE_URL}/{path}"


@given(texts, st.sampled_from([0, 2]))
def test_no_link_leads_anywhere_but_to_the_web(text: str, depth: int) -> None:
    for url in (text, f"{BASE_URL}/{text}", f"https://{text}"):
        link = Links(base_url=BASE_URL, depth=depth).of(url)
        assert not link or urlsplit(urljoin(f"{BASE_URL}/x/y/", link)).scheme in ("http", "https")
        assert "\n" not in link


def test_a_base_url_that_only_begins_alike_is_elsewhere() -> None:
    assert Links(base_url=BASE_URL, depth=0).of(f"{BASE_URL}-old/x") == f"{BASE_URL}-old/x"


@pytest.mark.parametrize("url", ["https://a.example.org/b?c#d", "http://localhost:8000/", "https://[::1]/x"])
def test_web_addresses_are_kept_as_they_are(url: str) -> None:
    assert web_url(url) == url
