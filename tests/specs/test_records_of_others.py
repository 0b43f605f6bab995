"""Facts by which records that others wrote are judged."""

from __future__ import annotations

import pytest

from pipeline.specs import mets, mix, mods, premis


def test_iso_639_2_has_486_codes_and_a_range_for_local_use() -> None:
    """The registration authority's list has 487 entries: https://www.loc.gov/standards/iso639-2/."""
    letters = [chr(ord("a") + number) for number in range(26)]
    codes = [a + b + c for a in letters for b in letters for c in letters if mods.is_iso639_2b(a + b + c)]
    assert len(codes) == 486 + 20 * 26


@pytest.mark.parametrize("code", ["lat", "ger", "sux", "gem", "zxx", "qtz", "cnr"])
def test_bibliographic_codes_are_known(code: str) -> None:
    assert mods.is_iso639_2b(code)


@pytest.mark.parametrize("code", ["", "la", "Lat", "deu", "qua1", "quz", "xxx", "latin"])
def test_other_codes_are_not(code: str) -> None:
    assert not mods.is_iso639_2b(code)


def test_twenty_languages_have_another_code_for_terminology() -> None:
    assert len(mods.TERMINOLOGY_CODES) == 20
    assert all(mods.is_iso639_2b(code) for code in mods.TERMINOLOGY_CODES.values())
    assert not any(mods.is_iso639_2b(code) for code in mods.TERMINOLOGY_CODES)


def test_codes_of_events_are_three_letters_and_unique() -> None:
    codes = list(premis.EVENT_TYPES.codes.values())
    assert all(len(code) == 3 for code in codes)
    assert len(codes) == len(set(codes)) == 50


def test_wordings_are_letters_and_digits_in_lower_case() -> None:
    for wordings in (mix.PHOTOMETRICS, mix.COMPRESSIONS):
        assert all(word == "".join(filter(str.isalnum, word.lower())) for word in wordings)


def test_every_kind_of_record_has_namespace_and_roots() -> None:
    assert set(mets.RECORD_NAMESPACES) == set(mets.RECORD_ROOTS)


def test_no_division_is_a_page_and_a_proof() -> None:
    assert not mets.PAGE_TYPES & mets.PROOF_TYPES
