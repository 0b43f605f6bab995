"""Languages, HTML and addresses, each by itself."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.specs import bcp47
from pipeline.verify.presentation import addresses, html_text

# ------------------------------------------------------------------------------------------- languages


# Source: RFC 5646, appendix A.
@pytest.mark.parametrize(
    "tag",
    [
        "de",
        "fr",
        "ja",
        "i-enochian",
        "zh-Hant",
        "zh-Hans",
        "sr-Cyrl",
        "sr-Latn",
        "zh-cmn-Hans-CN",
        "cmn-Hans-CN",
        "zh-yue-HK",
        "sl-rozaj",
        "sl-rozaj-biske",
        "de-CH-1901",
        "sl-IT-nedis",
        "hy-Latn-IT-arevela",
        "de-DE",
        "en-US",
        "es-419",
        "de-CH-x-phonebk",
        "x-whatever",
        "qaa-Qaaa-QM-x-southern",
        "de-Qaaa",
        "en-US-u-islamcal",
        "zh-CN-a-myext-x-private",
        "grc",
        "gez",
        "akk",
    ],
)
def test_the_examples_of_the_standard_are_languages(tag: str) -> None:
    assert bcp47.has_form(tag)
    assert not bcp47.unknown(tag)


@pytest.mark.parametrize(
    "tag", ["", "@none", "en_US", "e", "de-419-DE", "a-DE", "en-", "en US", "englischsprachig"]
)
def test_what_has_another_form_is_no_language(tag: str) -> None:
    assert not bcp47.has_form(tag)


def test_countries_are_no_languages() -> None:
    assert bcp47.unknown("jp") == "jp is no language; ja is meant?"
    assert bcp47.unknown("xx") == "xx is no language"
    assert bcp47.unknown("latin") == "latin is no language"


@pytest.mark.parametrize(
    ("tag", "better"),
    [("eng", "en"), ("ger-AT", "de-AT"), ("deu", "de"), ("lat", "la"), ("iw", "he"), ("la", ""), ("grc", "")],
)
def test_the_shortest_tag_is_the_one_to_use(tag: str, better: str) -> None:
    assert bcp47.better(tag) == better


def test_all_183_languages_with_two_letters_are_known() -> None:
    """ISO 639-1 has 183 codes, "sh" left out."""
    assert len(set(bcp47.SHORTER.values())) == 183


# ------------------------------------------------------------------------------------------------ HTML


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('<p>Herbal, <a href="https://example.org/?a=1&amp;b=2">c. 1380</a><br/></p>', ""),
        ('<span><img src="https://example.org/x.png" alt="A leaf"/></span>', ""),
        ("<illegible>", "is not well-formed (no element found)"),
        ("<p>a & b</p>", "is not well-formed (not well-formed (invalid token))"),
        ("<p><!-- a comment --></p>", "has comments, declarations or instructions in it"),
        ("<p><iframe/></p>", "has the element iframe"),
        ('<p><a href=" java\tscript:x">x</a></p>', "has href on the element a"),
        ('<p><img src="data:text/html,x"/></p>', "has src on the element img"),
    ],
)
def test_html_is_harmless_and_well_formed(text: str, fault: str) -> None:
    assert html_text.fault(text) == fault


@given(st.text(alphabet="<>/ap&;\"'=! scriptxmlns:\ud800\x00", max_size=60))
def test_any_text_gets_a_verdict(text: str) -> None:
    assert isinstance(html_text.fault(f"<{text}>"), str)
    assert isinstance(html_text.dropped(text), tuple)
    assert html_text.has_elements(text) in (True, False)


@pytest.mark.parametrize("text", ["a < b and c > d", "<unidentified> hand", "<1380", "f. 1r"])
def test_signs_of_catalogues_are_no_html(text: str) -> None:
    assert not html_text.has_elements(text)


# ------------------------------------------------------------------------------------------- addresses

FILES = ("data/iiif/b14/manifest.json", "data/iiif/b14/p 1/info.json", "data/meta/mods.xml")


def found(*pairs: tuple[str, str]) -> addresses.Addresses:
    return addresses.find(pairs, FILES)


def test_the_base_is_what_the_ends_have_not_in_common() -> None:
    bases = found(("https://x.example.org/books/iiif/b14/manifest.json", FILES[0])).bases
    assert bases == (addresses.Base(address="https://x.example.org/books/", folder="data/"),)


def test_addresses_lead_to_paths_decoded_without_query_and_fragment() -> None:
    where = found(("https://x.example.org/iiif/b14/manifest.json", FILES[0]))
    assert where.path_of("https://x.example.org/iiif/b14/p%201/info.json?x=1#y") == FILES[1]
    assert where.path_of("https://x.example.org/none.xml") == "data/none.xml"
    assert where.path_of("https://y.example.org/meta/mods.xml") == ""


def test_what_lies_in_no_folder_of_the_bundle_is_elsewhere() -> None:
    where = found(("https://x.example.org/iiif/b14/manifest.json", FILES[0]))
    assert where.is_here("https://x.example.org/iiif/b15/manifest.json")
    assert not where.is_here("https://x.example.org/shop/b14")
    assert not where.is_here("https://y.example.org/iiif/b14/manifest.json")


def test_the_base_that_most_agree_on_is_taken() -> None:
    where = found(
        ("https://x.example.org/b14/manifest.json", FILES[0]),
        ("https://x.example.org/p%201", "data/iiif/b14/p 1"),
        ("https://x.example.org/p%202", "data/iiif/b14/p 2"),
    )
    assert where.bases == (addresses.Base(address="https://x.example.org/", folder="data/iiif/b14/"),)


@given(st.text(max_size=40), st.text(max_size=40))
def test_any_address_leads_somewhere_or_nowhere(one: str, other: str) -> None:
    where = addresses.find([(f"https://{one}", other), (one, other)], FILES)
    assert isinstance(where.path_of(f"https://{other}"), str)
    assert where.is_here(one) in (True, False)
    addresses.image_request(f"https://{one}/full/max/0/{other}")


def test_an_image_request_is_taken_apart() -> None:
    request = addresses.image_request("https://x.example.org/iiif/p1/pct:1,2,3,4/^75,/!90/default.jpg")
    assert request == addresses.ImageRequest(
        service="https://x.example.org/iiif/p1", region="pct:1,2,3,4", size="^75,"
    )
    assert addresses.image_request("https://x.example.org/a/b/c/d/e.jpg") is None
