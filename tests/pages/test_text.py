"""Texts of manifests: which comes first, what markup is left."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.pages.text import Piece, pieces, plain, shown, texts


@pytest.mark.parametrize(
    ("language_map", "expected"),
    [
        ({"de": ["Buch"], "en": ["Book"]}, ["en", "de"]),
        ({"la": ["Liber"], "none": ["B"]}, ["", "la"]),
        ({"en-GB": ["Colour"], "fr": ["Couleur"]}, ["en-GB", "fr"]),
        ({"fr": [], "de": ["", " "], "la": ["Liber"]}, ["la"]),
        ({'x"y': ["a"]}, [""]),
        ("Book", []),
        (None, []),
        ({"en": "Book"}, ["en"]),
        ({"en": [3, None, "Book"]}, ["en"]),
    ],
)
def test_the_pages_own_language_comes_first_then_texts_of_none(
    language_map: Any, expected: list[str]
) -> None:
    assert [text.language for text in texts(language_map)] == expected


def test_several_texts_of_a_language_are_one() -> None:
    assert texts({"en": ["parchment", "paper"]})[0].value == "parchment; paper"


def test_text_that_is_no_markup_is_left_alone() -> None:
    assert pieces("<Liber> a & b") == (Piece(text="<Liber> a & b"),)


def test_markup_becomes_text_links_and_lines() -> None:
    value = '<p>One <b>bold</b> <a href="https://a.example.org/">link</a></p>'
    assert [(piece.text, piece.href, piece.breaks) for piece in pieces(value)] == [
        ("One ", "", False),
        ("bold", "", False),
        (" ", "", False),
        ("link", "https://a.example.org/", True),
    ]


def test_markup_on_one_line_is_its_text() -> None:
    assert plain("<span>a<br>b <script>x</script></span>") == "a b"
    assert plain("<p>Herb<i>al</i> <b>of</b> bees</p>\n<p>Wax</p>") == "Herbal of bees Wax"


@given(st.text() | st.text(st.sampled_from("<>/abp ='\"!-&;"), max_size=40).map(lambda text: f"<{text}>"))
def test_any_text_has_its_pieces(value: str) -> None:
    assert all(isinstance(piece.text, str) for piece in pieces(value))


@given(st.text(st.characters()))
def test_what_is_shown_can_be_written(text: str) -> None:
    shown(text + "\udcff").encode()
    assert not set(shown(text)) & set(map(chr, range(32)))
