"""solander.toml: found from the item's folder upwards, or replaced by what serves on a laptop."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pipeline.errors import ExitStatus, InputError, SettingsError
from pipeline.model import Algorithm, Equipment, EquipmentKind, Holder, ImageDelivery, LanguageMap
from pipeline.record import find_settings, load_settings
from tests.record.make_record import SETTINGS, settings_problem

FULL = """\
[holder]
name = { en = "Aldermoor Library", de = "Bibliothek Aldermoor" }
identifier = "https://aldermoor.example.org/id"
homepage = "https://aldermoor.example.org/"
logo = "https://aldermoor.example.org/logo.svg"
address = "1 Chapter Lane, Aldermoor"
contact_name = "Imaging desk"
contact_email = "imaging@aldermoor.example.org"
contact_phone = "+00 0000"

[unit]
name = "Imaging unit"

[publication]
base_url = "https://images.aldermoor.example.org/iiif/"
images = "jp2"
image_service_url = "https://server.example.org/image/"
tile_px = 1024
access_long_edge_px = 2000
jpeg_quality = 92

[rights]
statement = "http://rightsstatements.org/vocab/NKC/1.0/"
credit = "Aldermoor Library"

[preservation]
checksums = ["sha512", "md5"]
id_prefix = "https://library.example.org/id/"

[colour]
untagged_profile = "profiles/copystand.icc"

[[equipment]]
id = "camera-2"
kind = "camera"
name = "copy stand camera"
maker = "Kestrelworks"
model = "KW 100 back"
serial = "0417"
owned_from = 2023-01-15
owned_until = "2026-06-30"
sensor = "OneChipColorArea"
note = "repaired 2024"

[[equipment]]
id = "lens-120"
kind = "lens"
focal_length_mm = 120

[[equipment]]
id = "flash-left"
kind = "light"
light_source = "Flash"

[[equipment]]
id = "patches"
kind = "target"
medium = "paper"
pitch_mm = [10, 10.5]
measured = "patches.txt"

[[equipment]]
id = "small-patches"
kind = "target"
pitch_mm = [8]
"""


def test_every_key_of_solander_toml_becomes_a_value(tmp_path: Path) -> None:
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "copystand.icc").touch()
    (tmp_path / "patches.txt").touch()
    (tmp_path / "solander.toml").write_text(FULL)
    settings = load_settings(tmp_path / "solander.toml")
    assert settings.holder == Holder(
        name=LanguageMap((("en", ("Aldermoor Library",)), ("de", ("Bibliothek Aldermoor",)))),
        identifier="https://aldermoor.example.org/id",
        homepage="https://aldermoor.example.org/",
        logo="https://aldermoor.example.org/logo.svg",
        address="1 Chapter Lane, Aldermoor",
        contact_name="Imaging desk",
        contact_email="imaging@aldermoor.example.org",
        contact_phone="+00 0000",
    )
    assert settings.unit_name == "Imaging unit"
    assert (settings.base_url, settings.base_url_is_default) == (
        "https://images.aldermoor.example.org/iiif",
        False,
    )
    assert (settings.images, settings.image_service_url) == (
        ImageDelivery.JP2,
        "https://server.example.org/image",
    )
    assert (settings.tile_px, settings.access_long_edge_px, settings.jpeg_quality) == (1024, 2000, 92)
    assert settings.rights == "http://rightsstatements.org/vocab/NKC/1.0/"
    assert settings.credit == LanguageMap.of("Aldermoor Library")
    assert settings.checksums == (Algorithm.SHA512, Algorithm.MD5)
    assert settings.id_prefix == "https://library.example.org/id/"
    assert settings.untagged_profile == str(tmp_path / "profiles" / "copystand.icc")
    assert settings.equipment[0] == Equipment(
        identifier="camera-2",
        kind=EquipmentKind.CAMERA,
        name="copy stand camera",
        maker="Kestrelworks",
        model="KW 100 back",
        serial="0417",
        owned_from=dt.date(2023, 1, 15),
        owned_until=dt.date(2026, 6, 30),
        sensor="OneChipColorArea",
        note="repaired 2024",
    )
    assert settings.owned("lens-120") == Equipment(
        identifier="lens-120", kind=EquipmentKind.LENS, focal_length_mm=120.0
    )
    assert [each.light_source for each in settings.equipment] == ["", "", "Flash", "", ""]
    assert settings.owned("patches") == Equipment(
        identifier="patches",
        kind=EquipmentKind.TARGET,
        medium="paper",
        pitch_mm=(10.0, 10.5),
        measured=str(tmp_path / "patches.txt"),
    )
    assert settings.equipment[-1].pitch_mm == (8.0, 8.0)


def test_without_a_file_the_defaults_suit_a_laptop() -> None:
    settings = load_settings(None)
    assert (settings.base_url, settings.base_url_is_default) == ("http://localhost:8000", True)
    assert settings.holder.name.first == "Unnamed holder"
    assert settings.equipment == ()


def test_a_file_with_the_holder_alone_keeps_the_defaults(tmp_path: Path) -> None:
    (tmp_path / "solander.toml").write_text('[holder]\nname = "Aldermoor Library"\n')
    settings, defaults = load_settings(tmp_path / "solander.toml"), load_settings(None)
    assert settings.holder.name.first == "Aldermoor Library"
    for field in (
        "base_url",
        "base_url_is_default",
        "images",
        "tile_px",
        "jpeg_quality",
        "checksums",
        "rights",
    ):
        assert getattr(settings, field) == getattr(defaults, field)


def test_the_settings_nearest_above_an_item_apply(tmp_path: Path) -> None:
    item = tmp_path / "items" / "b14"
    item.mkdir(parents=True)
    for folder in (tmp_path, tmp_path / "items", item):
        (folder / "solander.toml").touch()
        assert find_settings(item) == folder.resolve() / "solander.toml"


def test_where_no_settings_are_none_are_found(tmp_path: Path) -> None:
    found = find_settings(tmp_path / "not" / "there")
    assert found is None or not found.is_relative_to(tmp_path)


@pytest.mark.parametrize("text", ["sRGB", "srgb"])
def test_srgb_needs_no_file(text: str, tmp_path: Path) -> None:
    (tmp_path / "solander.toml").write_text(f'[holder]\nname = "A"\n[colour]\nuntagged_profile = "{text}"\n')
    assert load_settings(tmp_path / "solander.toml").untagged_profile == "sRGB"


def test_a_profile_that_is_not_there_is_input_that_is_missing(tmp_path: Path) -> None:
    path = tmp_path / "solander.toml"
    path.write_text('[holder]\nname = "A"\n[colour]\nuntagged_profile = "stand.icc"\n')
    with pytest.raises(InputError) as raised:
        load_settings(path)
    assert str(raised.value.problems[0]) == (
        f'solander.toml, line 4, colour, untagged_profile: found "stand.icc", and there is no file '
        f'{tmp_path / "stand.icc"}, expected an ICC profile, or "sRGB"; give its path from {tmp_path}'
    )


def test_settings_that_are_named_and_not_there_are_input_that_is_missing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"is not there; give the path of the unit's solander\.toml"):
        load_settings(tmp_path / "solander.toml")


MISTAKES = {
    "no holder": (
        "[unit]\nname = 'u'",
        "solander.toml: found no `holder`, expected the table `holder`; write a table [holder]",
    ),
    "images": (
        "[publication]\nimages = 'tile'",
        'solander.toml, line 11, publication, images: found "tile", expected one of tiles, pyramid-tiff, '
        "jp2; "
        'did you mean "tiles"?',
    ),
    "server without address": (
        "[publication]\nimages = 'jp2'",
        'solander.toml, line 11, publication, images: found "jp2" without `image_service_url`, expected '
        "the address "
        "of the image server that will serve these files; give `image_service_url`, or write images = "
        '"tiles"',
    ),
    "address without scheme": (
        "[publication]\nbase_url = 'images.example.org'",
        'solander.toml, line 11, publication, base_url: found "images.example.org", expected the address '
        "under "
        'which the bundles will be served, such as "https://images.example.org", without ? or #',
    ),
    "tile size": (
        "[publication]\ntile_px = 100000",
        "solander.toml, line 11, publication, tile_px: found 100000, expected the side of a tile in "
        "pixels, a whole "
        "number from 128 to 4096",
    ),
    "checksum": (
        "[preservation]\nchecksums = ['sha-512']",
        'solander.toml, line 11, preservation, checksums 1: found "sha-512", expected one of sha512, '
        "sha256, sha1, "
        'md5; did you mean "sha512"?',
    ),
    "rights": (
        "[rights]\nstatement = 'https://creativecommons.org/licenses/by/4.0/deed.en'",
        "solander.toml, line 11, rights, statement: found "
        '"https://creativecommons.org/licenses/by/4.0/deed.en", '
        "expected the URI of a Creative Commons licence or a RightsStatements.org statement, such as "
        '"http://creativecommons.org/publicdomain/mark/1.0/"; write '
        '"http://creativecommons.org/licenses/by/4.0/"',
    ),
    "kind of equipment": (
        "[[equipment]]\nid = 'x'\nkind = 'lense'",
        'solander.toml, line 12, equipment 3, kind: found "lense", expected one of camera, scanner, '
        "lens, light, "
        'support, target; did you mean "lens"?',
    ),
    "two of one id": (
        "[[equipment]]\nid = 'lens-120'\nkind = 'lens'",
        'solander.toml, line 11, equipment 3, id: found "lens-120" a second time, expected an id of its '
        "own for "
        "each; the first is at solander.toml, line 8, equipment 2, id",
    ),
    "sold before it was bought": (
        "[[equipment]]\nid = 'x'\nkind = 'lens'\nowned_from = 2026-01-01\nowned_until = 2025-01-01",
        "solander.toml, line 14, equipment 3, owned_until: found 2025-01-01, before `owned_from` = "
        "2026-01-01, "
        "expected a date on or after `owned_from`",
    ),
    "sensor of a scanner": (
        "[[equipment]]\nid = 'x'\nkind = 'scanner'\nsensor = 'OneChipColorArea'",
        'solander.toml, line 13, equipment 3, sensor: found "OneChipColorArea", expected one of undefined, '
        "MonochromeLinear, ColorTriLinear, ColorSequentialLinear, MonochromeArea, OneChipColourArea, "
        'TwoChipColorArea, ThreeChipColorArea, ColorSequentialArea; did you mean "OneChipColourArea"?',
    ),
    "light source": (
        "[[equipment]]\nid = 'x'\nkind = 'light'\nlight_source = 'flash'",
        'solander.toml, line 13, equipment 3, light_source: found "flash", expected one of Daylight, '
        "Fluorescent, "
        "Tungsten (incandescent light), Flash, Fine weather, Cloudy weather, Shade, Daylight fluorescent "
        "(D 5700 - "
        "7100K), Day white fluorescent (N 4600 - 5400K), Cool white fluorescent (W 3900 - 4500K), White "
        "fluorescent "
        "(WW 3200 - 3700K), Standard light A, Standard light B, Standard light C, D55, D65, D75, D50, "
        "ISO studio "
        'tungsten, other light source, unknown; did you mean "Flash"?',
    ),
    "table in singular brackets": (
        "[publications]\ntile_px = 512",
        "solander.toml, line 10, publications: found the unknown table or key `publications`, expected a "
        "table that "
        'we know; did you mean "publication"?',
    ),
}
BASE = """\
[holder]
name = "Aldermoor Library"

[[equipment]]
id = "camera-2"
kind = "camera"
[[equipment]]
id = "lens-120"
kind = "lens"
"""


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_told_with_line_key_find_and_way_out(mistake: str, tmp_path: Path) -> None:
    text, message = MISTAKES[mistake]
    base = "" if mistake == "no holder" else BASE
    assert str(settings_problem(tmp_path / "solander.toml", base + text)) == message


def test_all_problems_are_told_together(tmp_path: Path) -> None:
    path = tmp_path / "solander.toml"
    path.write_text(SETTINGS.replace('"lens"', '"lenz"') + "\n[publication]\ntile_px = 1\n")
    with pytest.raises(SettingsError) as raised:
        load_settings(path)
    assert raised.value.message == f"{path}: 2 problems in the unit's settings"
    assert raised.value.exit_status is ExitStatus.SETTINGS


def test_settings_that_are_no_toml_are_told_with_their_line(tmp_path: Path) -> None:
    problem = settings_problem(tmp_path / "solander.toml", "[holder]\nname = Aldermoor\n")
    assert problem.where == "solander.toml, line 2, column 8"
