from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import jsondoc
from pipeline.specs import bagit

PATH_TEXT = st.text(st.sampled_from("a%\r\n25ADd0/é ") | st.characters(exclude_categories=["Cs"]))


@given(PATH_TEXT)
def test_an_encoded_path_is_one_line_and_decodes_to_itself(path: str) -> None:
    encoded = bagit.encode_path(path)
    assert not re.search("[\r\n]", encoded)
    assert bagit.decode_path(encoded) == path


@pytest.mark.parametrize(
    ("path", "encoded"),
    [
        ("data/a\nb", "data/a%0Ab"),
        ("data/a\rb", "data/a%0Db"),
        ("data/100%", "data/100%25"),
        ("data/a%0Ab", "data/a%250Ab"),
        ("data/name with blanks/Straße ~", "data/name with blanks/Straße ~"),
    ],
)
def test_three_characters_alone_are_encoded(path: str, encoded: str) -> None:
    """RFC 8493, section 2.1.3."""
    assert bagit.encode_path(path) == encoded


@pytest.mark.parametrize(
    ("text", "path"),
    [("a%0ab", "a\nb"), ("a%0db", "a\rb"), ("a%7Eb", "a%7Eb"), ("100%", "100%"), ("%2525", "%25")],
)
def test_decoding_takes_either_case_and_leaves_all_else(text: str, path: str) -> None:
    assert bagit.decode_path(text) == path


def test_the_declaration_is_that_of_the_standard() -> None:
    """RFC 8493, section 2.1.1."""
    assert bagit.DECLARATION == "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def test_labels_of_profiles_and_software_are_not_reserved() -> None:
    assert len(bagit.RESERVED_LABELS) == 14  # RFC 8493, section 2.2.2, lists so many
    assert bagit.Label.PROFILE_IDENTIFIER not in bagit.RESERVED_LABELS


def test_every_profile_of_ours_is_there_under_its_own_identifier() -> None:
    for identifier, name in bagit.PROFILE_FILES.items():
        document = jsondoc.read(jsondoc.schemas_folder() / name)
        about = document["BagIt-Profile-Info"]
        assert about["BagIt-Profile-Identifier"] == identifier
        assert about["BagIt-Profile-Version"] == bagit.PROFILE_SPECIFICATION_VERSION
        assert document["Accept-BagIt-Version"] == [bagit.VERSION]
