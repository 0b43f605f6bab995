"""The facts of MIX, MODS, XLink and rights URIs against what their publishers say."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from lxml import etree

from pipeline.model import Algorithm, ItemKind, ResolutionUnit
from pipeline.specs import iiif, mix, mods, pronom, rights, xlink
from pipeline.specs.rights import Copyright

_SCHEMA = "{http://www.w3.org/2001/XMLSchema}"


def enumerated(file: str) -> set[frozenset[str]]:
    """All enumerations of an official schema; skips if it is not there."""
    folder = os.environ.get("OFFICIAL_SCHEMAS")
    if not folder:
        pytest.skip("the official schemas are not here; set OFFICIAL_SCHEMAS to the folder that holds them")
    root = etree.parse(str(Path(folder) / file)).getroot()
    return {
        frozenset(str(each.get("value")) for each in found.iterfind(f"{_SCHEMA}enumeration"))
        for found in root.iter(f"{_SCHEMA}restriction")
    }


# ------------------------------------------------------------------------------------------------ MIX


@pytest.mark.parametrize(
    "terms",
    [
        mix.BYTE_ORDERS,
        mix.SCANNER_SENSORS,
        mix.CAMERA_SENSORS,
        mix.EXIF_VERSIONS,
        mix.EXPOSURE_PROGRAMS.values(),
        mix.METERING_MODES.values(),
        mix.LIGHT_SOURCES.values(),
        mix.FLASHES.values(),
        mix.SENSING_METHODS.values(),
        [*mix.ORIENTATIONS.values(), mix.UNKNOWN_ORIENTATION],
        mix.SAMPLING_UNITS.values(),
        [mix.EXTERNAL_TARGET, mix.INTERNAL_TARGET],
        map(str, mix.SUBSAMPLINGS),
        map(str, mix.POSITIONINGS),
    ],
)
def test_terms_are_all_that_the_schema_of_mix_allows(terms: list[str]) -> None:
    assert frozenset(terms) in enumerated("mix20.xsd")


@pytest.mark.parametrize(
    "terms",
    [
        mix.DIGEST_ALGORITHMS.values(),
        [mix.MILLIMETRE],
        [mix.TRANSMISSION_SCANNER, mix.REFLECTION_SCANNER, mix.DIGITAL_STILL_CAMERA],
        [mix.OBJECT_PLANE],
        [mix.INTEGER_SAMPLES],
    ],
)
def test_terms_are_some_that_the_schema_of_mix_allows(terms: list[str]) -> None:
    wanted = frozenset(terms)
    assert any(wanted <= each for each in enumerated("mix20.xsd"))


def test_every_digest_algorithm_and_unit_has_a_term() -> None:
    assert set(mix.DIGEST_ALGORITHMS) == set(Algorithm)
    assert set(mix.SAMPLING_UNITS) == set(ResolutionUnit)


# EXIF 3.0 (CIPA DC-008-2023): tags ExposureProgram, MeteringMode, LightSource, Flash, SensingMethod.
@pytest.mark.parametrize(
    ("terms", "code", "term"),
    [
        (mix.EXPOSURE_PROGRAMS, 3, "Aperture priority"),
        (mix.METERING_MODES, 3, "Spot"),
        (mix.METERING_MODES, 5, "Pattern"),
        (mix.LIGHT_SOURCES, 3, "Tungsten (incandescent light)"),
        (mix.LIGHT_SOURCES, 20, "D55"),
        (mix.LIGHT_SOURCES, 23, "D50"),
        (mix.FLASHES, 0x10, "Flash did not fire, compulsory flash mode"),
        (mix.SENSING_METHODS, 7, "Trilinear sensor"),
    ],
)
def test_codes_mean_what_exif_says(terms: dict[int, str], code: int, term: str) -> None:
    assert terms[code] == term


# TIFF 6.0, Orientation: where row 0 and column 0 lie. A rotation turns the stored image upright.
def test_orientations_that_turn_are_the_last_four() -> None:
    turning = {code for code, term in mix.ORIENTATIONS.items() if "90°" in term}
    assert turning == {5, 6, 7, 8}
    assert {code for code, term in mix.ORIENTATIONS.items() if "flipped" in term} == {2, 4, 5, 7}


# ----------------------------------------------------------------------------------------------- MODS


def test_every_kind_of_item_has_a_type_of_resource() -> None:
    assert set(mods.TYPES_OF_RESOURCE) == set(ItemKind)


@pytest.mark.parametrize("terms", [mods.DateEncoding, mods.RelatedType, mods.Reformatting])
def test_terms_are_some_that_the_schema_of_mods_allows(terms: list[str]) -> None:
    wanted = frozenset(map(str, terms))
    assert any(wanted <= each for each in enumerated("mods-3-8.xsd"))


def test_digital_origin_and_access_are_terms_of_mods() -> None:
    together = frozenset().union(*enumerated("mods-3-8.xsd"))
    assert {mods.REFORMATTED, mods.OBJECT_IN_CONTEXT, mods.VERSION} <= together


# ISO 639-2 registration authority: the twenty languages whose bibliographic code is not the terminological.
BIBLIOGRAPHIC = (
    "sq:alb hy:arm eu:baq my:bur zh:chi cs:cze nl:dut fr:fre ka:geo de:ger el:gre is:ice mk:mac mi:mao "
    "ms:may fa:per ro:rum sk:slo bo:tib cy:wel"
)


def test_the_twenty_bibliographic_codes_are_used() -> None:
    assert all(mods.iso639_2b(pair[:2]) == pair[3:] for pair in BIBLIOGRAPHIC.split())


def test_no_two_languages_of_two_letters_share_a_code() -> None:
    letters = "abcdefghijklmnopqrstuvwxyz"
    codes = [code for one in letters for other in letters if (code := mods.iso639_2b(one + other))]
    assert len(codes) == len(set(codes)) == 183
    assert all(re.fullmatch("[a-z]{3}", code) for code in codes)


@pytest.mark.parametrize(
    ("tag", "code"), [("LA", "lat"), ("az-Arab", "aze"), ("gml", ""), ("", ""), ("tlh-Latn", "tlh")]
)
def test_language_of_a_tag(tag: str, code: str) -> None:
    assert mods.iso639_2b(tag) == code


@pytest.mark.parametrize(
    ("tag", "script"), [("az-Arab", "Arab"), ("zh-hant-TW", "Hant"), ("en-GB", ""), ("", "")]
)
def test_script_of_a_tag(tag: str, script: str) -> None:
    assert mods.script_of(tag) == script


# ---------------------------------------------------------------------------------------------- XLink


@pytest.mark.parametrize(
    "uri",
    [
        "http://a.example/b?c#d",
        "https://h:80",
        "urn:isbn:1",
        "ark:/12345/x1",
        "http://user@host/",
        "doi:10.5/x",
        "http://h/%C3%A9",
    ],
)
def test_these_are_uris(uri: str) -> None:
    assert xlink.is_uri(uri)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "a:",
        "http://",
        "A://:",
        "http://a b",
        "http://h/%zz",
        "http://h:x/",
        "http://a/b#c#d",
        "a:b\n",
    ],
)
def test_these_are_none(text: str) -> None:
    assert not xlink.is_uri(text)


@pytest.mark.parametrize(("tag", "holds"), [("la", True), ("az-Arab", True), ("en_GB", False), ("", False)])
def test_language_that_xml_may_hold(tag: str, holds: bool) -> None:
    assert xlink.is_language(tag) is holds


# --------------------------------------------------------------------------------------- PRONOM, rights


def test_registry_keys_have_the_form_of_pronom() -> None:
    assert all(re.fullmatch(r"(?:x-)?fmt/\d+", key) for key in pronom.KEYS.values())


@pytest.mark.parametrize(
    ("uri", "label", "copyright_status", "is_licence"),
    [
        (
            "http://creativecommons.org/publicdomain/mark/1.0/",
            "Public Domain Mark 1.0",
            Copyright.PUBLIC_DOMAIN,
            False,
        ),
        (
            "http://creativecommons.org/publicdomain/zero/1.0/",
            "CC0 1.0 Universal",
            Copyright.PUBLIC_DOMAIN,
            True,
        ),
        (
            "http://creativecommons.org/licenses/by-nc-sa/4.0/",
            "Creative Commons Attribution-NonCommercial-ShareAlike 4.0",
            Copyright.COPYRIGHTED,
            True,
        ),
        (
            "http://creativecommons.org/licenses/by/3.0/de/",
            "Creative Commons Attribution 3.0",
            Copyright.COPYRIGHTED,
            True,
        ),
        ("http://rightsstatements.org/vocab/InC/1.0/", "In Copyright", Copyright.COPYRIGHTED, False),
        ("http://rightsstatements.org/vocab/CNE/1.0/", "Copyright Not Evaluated", Copyright.UNKNOWN, False),
        (
            "http://rightsstatements.org/vocab/NoC-US/1.0/",
            "No Copyright - United States",
            Copyright.PUBLIC_DOMAIN,
            False,
        ),
    ],
)
def test_rights_uris_mean_what_their_publishers_say(
    uri: str, label: str, copyright_status: Copyright, is_licence: bool
) -> None:
    assert rights.statement_of(uri) == rights.RightsStatement(
        label=label, copyright=copyright_status, is_licence=is_licence
    )
    assert rights.statement_of(iiif.rights_uri(uri)) == rights.statement_of(uri)


@pytest.mark.parametrize(
    "uri",
    [
        "",
        "https://aldermoor.example.org/terms",
        "http://creativecommons.org/licenses/by-xx/4.0/",
        "http://rightsstatements.org/vocab/InC/1.0/?lang=en",
        "http://creativecommons.org.example.org/publicdomain/mark/1.0/",
    ],
)
def test_other_uris_mean_nothing_here(uri: str) -> None:
    assert rights.statement_of(uri) is None
