"""Image services of bundles: good ones pass, and each damage is found by the one rule that it breaks."""

from __future__ import annotations

import io
import json
from collections.abc import Callable

import pytest
from PIL import Image

from pipeline.verify import image_service
from tests.verify.iiif_bundles import (
    BASE,
    INFO,
    SERVICE,
    Json,
    Published,
    codes,
    document,
    info,
    published,
    said,
)

Damage = Callable[[Published], None]


def judged_codes(bundle: Published) -> set[str]:
    return codes(image_service.judge(bundle.bundle()))


def test_a_bundle_that_we_build_gives_no_finding() -> None:
    report = image_service.judge(published().bundle()).report
    assert report.findings == ()
    assert report.skipped == ()


def test_nothing_is_said_of_a_bundle_without_image_services() -> None:
    assert image_service.judge(Published(files={"data/a.json": b"{}"}).bundle()).report.findings == ()


# ----------------------------------------------------------------------------------------- one damage each


def edited(change: Callable[[Json], None]) -> Damage:
    return lambda bundle: bundle.edit(INFO, change)


def setting(**values: Json) -> Damage:
    return edited(lambda document: document.update(values))


def dropping(key: str) -> Damage:
    return edited(lambda document: document.pop(key) and None)


def picture(width_px: int, height_px: int, *, mode: str = "RGB", kind: str = "JPEG") -> bytes:
    stream = io.BytesIO()
    Image.new(mode, (width_px, height_px), 0).save(stream, kind)
    return stream.getvalue()


def give_the_id_of_another(bundle: Published) -> None:
    bundle.move(SERVICE, "data/second/B14_0003")
    bundle.edit("data/second/B14_0003/info.json", lambda each: each.update(id=f"{BASE}/B14_0003"))


def without(*keys: str) -> Damage:
    def damage(bundle: Published) -> None:
        for key in keys:
            dropping(key)(bundle)

    return damage


TILE = f"{SERVICE}/0,0,128,128/128,128/0/default.jpg"
CORNER = f"{SERVICE}/128,128,22,72/22,72/0/default.jpg"

DAMAGES: dict[str, tuple[str, Damage]] = {
    "no JSON": ("T001", lambda bundle: bundle.write(INFO, b"{")),
    "UTF-16": ("T001", lambda bundle: bundle.write(INFO, bundle.files[INFO].decode().encode("utf-16"))),
    "Latin-1": ("T001", lambda bundle: bundle.write(INFO, bundle.files[INFO].replace(b"width", b"w\xefdth"))),
    "100,000 levels": ("T001", lambda bundle: bundle.write(INFO, b"[" * 100_000)),
    "a number that is none": (
        "T001",
        lambda bundle: bundle.write(INFO, bundle.files[INFO].replace(b'"width": 150', b'"width": NaN')),
    ),
    "a byte order mark": ("T002", lambda bundle: bundle.write(INFO, b"\xef\xbb\xbf" + bundle.files[INFO])),
    "a key twice": (
        "T002",
        lambda bundle: bundle.write(INFO, bundle.files[INFO].replace(b"{", b'{"profile": "level2",', 1)),
    ),
    "no width": ("T003", dropping("width")),
    "width as text": ("T003", setting(width="150")),
    "width of a world": ("T003", setting(width=10**12)),
    "a size without height": ("T003", setting(sizes=[{"width": 75}])),
    "tiles without factors": ("T003", setting(tiles=[{"width": 128}])),
    "no protocol": ("T004", dropping("protocol")),
    "a profile as an array": ("T004", setting(profile=["level0"])),
    "an older profile": ("T004", setting(profile="http://iiif.io/api/image/2/level0.json")),
    "another type": ("T004", setting(type="ImageService2")),
    "no context": ("T005", dropping("@context")),
    "context with https": ("T005", setting(**{"@context": "https://iiif.io/api/image/3/context.json"})),
    "context of version 2": ("T005", setting(**{"@context": "http://iiif.io/api/image/2/context.json"})),
    "context not last": (
        "T005",
        setting(**{"@context": ["http://iiif.io/api/image/3/context.json", "https://example.org/x.json"]}),
    ),
    "id with a slash": ("T006", setting(id=f"{BASE}/B14_0002/")),
    "id of info.json": ("T006", setting(id=f"{BASE}/B14_0002/info.json")),
    "id without host": ("T006", setting(id="/iiif/msb-014/B14_0002")),
    "id of another folder": ("T007", setting(id=f"{BASE}/B14_2222")),
    "another host": ("T032", setting(id="https://staging.example.org/iiif/msb-014/B14_0002")),
    "a size twice": (
        "T009",
        setting(sizes=[{"width": 75, "height": 100}, {"width": 75, "height": 100}]),
    ),
    "a feature of servers": ("T014", setting(extraFeatures=["cors", "sizeByWh"])),
    "rights with https": ("T015", setting(rights="https://creativecommons.org/publicdomain/mark/1.0/")),
    "a level of servers": ("T016", setting(profile="level2")),
    "a tile is missing": ("T020", lambda bundle: bundle.remove(CORNER)),
    "full/max is missing": ("T020", lambda bundle: bundle.remove(f"{SERVICE}/full/max/0/default.jpg")),
    "a size is missing": ("T020", lambda bundle: bundle.remove(f"{SERVICE}/full/75,100/0/default.jpg")),
    "a promised format is missing": ("T020", setting(extraFormats=["png"])),
    "a quality is missing": ("T020", setting(extraQualities=["gray"])),
    "a size of an older name": (
        "T021",
        lambda bundle: bundle.write(f"{SERVICE}/full/75,/0/default.jpg", picture(75, 100)),
    ),
    "a file of no use": ("T021", lambda bundle: bundle.write(f"{SERVICE}/thumbs.db", b"x")),
    "a tile cut short": ("T022", lambda bundle: bundle.write(TILE, bundle.files[TILE][:600])),
    "a tile of another size": ("T023", lambda bundle: bundle.write(TILE, picture(128, 127))),
    "full/max of another size": (
        "T023",
        lambda bundle: bundle.write(f"{SERVICE}/full/max/0/default.jpg", picture(75, 100)),
    ),
    "a tile as PNG": ("T024", lambda bundle: bundle.write(TILE, picture(128, 128, kind="PNG"))),
    "a tile in CMYK": ("T022", lambda bundle: bundle.write(TILE, picture(128, 128, mode="CMYK"))),
    "no info.json": ("T030", lambda bundle: bundle.remove(INFO)),
}


@pytest.mark.parametrize(("code", "damage"), [pytest.param(*each, id=name) for name, each in DAMAGES.items()])
def test_one_damage_is_found_by_one_rule(code: str, damage: Damage) -> None:
    bundle = published()
    damage(bundle)
    assert judged_codes(bundle) == {code}


TOGETHER: dict[str, tuple[set[str], Damage]] = {
    "the id of another service": ({"T031", "T032"}, give_the_id_of_another),
    "a tile of 16 bits": (
        {"T024", "T025"},
        lambda bundle: bundle.write(TILE, picture(128, 128, mode="I;16", kind="PNG")),
    ),
    "tiles under names of an older version": (
        {"T020"},
        lambda bundle: bundle.move(f"{SERVICE}/128,128,22,72/22,72", f"{SERVICE}/128,128,22,72/22,"),
    ),
    "a size rounded down": (
        {"T020"},
        setting(sizes=[{"width": 74, "height": 100}, {"width": 75, "height": 100}]),
    ),
    "a size that is larger than the image": (
        {"T009", "T020"},
        setting(sizes=[{"width": 300, "height": 400}]),
    ),
    "a size of another shape": ({"T009", "T020"}, setting(sizes=[{"width": 75, "height": 50}])),
    "a level left out": ({"T011", "T021"}, setting(tiles=[{"width": 128, "scaleFactors": [1]}], sizes=[])),
    "neither sizes nor tiles": (
        {"T012", "T021"},
        without("sizes", "tiles"),
    ),
    "a factor twice": ({"T010"}, setting(tiles=[{"width": 128, "scaleFactors": [1, 2, 2]}])),
    "tiles twice": (
        {"T010"},
        setting(tiles=[{"width": 128, "scaleFactors": [1]}, {"width": 128, "scaleFactors": [2]}]),
    ),
    "limits below a size": ({"T008", "T023"}, setting(maxWidth=50, maxHeight=67)),
    "a preferred format that is not offered": (
        {"T013", "T020"},
        setting(preferredFormats=["webp", "png"], extraFormats=["png"]),
    ),
    "one pixel too wide": ({"T023"}, setting(width=151)),
}


@pytest.mark.parametrize(
    ("found", "damage"), [pytest.param(*each, id=name) for name, each in TOGETHER.items()]
)
def test_what_breaks_several_promises_is_found_by_each(found: set[str], damage: Damage) -> None:
    bundle = published()
    damage(bundle)
    assert judged_codes(bundle) == found


# ---------------------------------------------------------------------------------------------- manners


def test_many_missing_tiles_are_one_finding_with_a_count_and_some_names() -> None:
    bundle = published()
    gone = [path for path in bundle.files if path.startswith(SERVICE) and path.endswith("default.jpg")]
    bundle.remove(*gone)
    judged = image_service.judge(bundle.bundle())
    assert codes(judged) == {"T020"}
    assert len(judged.report.findings) == 1
    assert f"{len(gone)} of {len(gone)}: full/max/0/default.jpg" in said(judged, "T020")
    assert f"and {len(gone) - 3} more" in said(judged, "T020")


def test_one_missing_tile_is_placed_where_it_should_be() -> None:
    bundle = published()
    bundle.remove(CORNER)
    assert image_service.judge(bundle.bundle()).report.findings[0].place == CORNER


def test_a_promise_of_more_tiles_than_can_be_listed_is_told_without_listing_them() -> None:
    bundle = published()
    bundle.edit(
        INFO, lambda each: each.update(width=10**9, height=10**9, tiles=[{"width": 1, "scaleFactors": [1]}])
    )
    judged = image_service.judge(bundle.bundle())
    assert "1,000,000,000,000,000,00" in said(judged, "T020")
    assert "T021" not in codes(judged)


def test_tiles_are_not_judged_by_measures_that_are_unusable() -> None:
    bundle = published()
    bundle.edit(INFO, lambda each: each.update(width=-1))
    report = image_service.judge(bundle.bundle()).report
    assert {each.code for each in report.findings} == {"T003"}
    assert {"T007", "T020", "T021", "T022", "T023"} <= {each.code for each in report.skipped}
    assert {each.reason for each in report.skipped} == {"not judged, because of T003"}


def test_a_quick_look_judges_names_and_says_that_pixels_were_not_judged() -> None:
    bundle = published()
    bundle.is_quick = True
    bundle.write(TILE, b"no image")
    bundle.remove(CORNER)
    judged = image_service.judge(bundle.bundle())
    assert codes(judged) == {"T020"}
    assert {each.code for each in judged.report.skipped} == {"T021", "T022", "T023", "T024", "T025"}


def test_a_document_alone_is_judged_without_files() -> None:
    judged = image_service.judge(document(info(), "info.json"))
    assert codes(judged) == set()
    assert {"T007", "T020", "T030"} <= {each.code for each in judged.report.skipped}
    assert codes(image_service.judge(document({**info(), "width": 0}, "info.json"))) == {"T003"}


@pytest.mark.parametrize("level", ["level1", "level2"])
def test_a_server_needs_no_files(level: str) -> None:
    bundle = Published(files={INFO: json.dumps({**info(), "profile": level}).encode()})
    assert judged_codes(bundle) == set()


def test_a_service_is_found_by_what_it_holds() -> None:
    bundle = published()
    bundle.move(INFO, f"{SERVICE}/image.json")
    assert "T020" not in judged_codes(bundle)


# --------------------------------------------------------------------------------------------- version 2


def older(**changes: Json) -> Json:
    return {
        "@context": "http://iiif.io/api/image/2/context.json",
        "@id": "https://images.example.org/iiif/p1",
        "protocol": "http://iiif.io/api/image",
        "width": 150,
        "height": 200,
        "sizes": [{"width": 75, "height": 100}],
        "tiles": [{"width": 128, "scaleFactors": [1, 2]}],
        "profile": ["http://iiif.io/api/image/2/level0.json", {"formats": ["jpg"], "qualities": ["default"]}],
    } | changes


TREE_2 = {
    "full/full": (150, 200),
    "full/75,": (75, 100),
    "0,0,128,128/128,": (128, 128),
    "128,0,22,128/22,": (22, 128),
    "0,128,128,72/128,": (128, 72),
    "128,128,22,72/22,": (22, 72),
}


def older_bundle(**changes: Json) -> Published:
    bundle = Published(files={})
    bundle.write("data/iiif/p1/info.json", json.dumps(older(**changes)).encode())
    for name, (width_px, height_px) in TREE_2.items():
        bundle.write(f"data/iiif/p1/{name}/0/default.jpg", picture(width_px, height_px))
    return bundle


def test_a_tree_of_version_2_is_judged_by_its_own_names() -> None:
    assert judged_codes(older_bundle()) == set()


def test_a_tree_of_version_2_may_have_both_ways_of_writing_sizes() -> None:
    bundle = older_bundle()
    bundle.write("data/iiif/p1/full/75,100/0/default.jpg", picture(75, 100))
    bundle.write("data/iiif/p1/full/max/0/default.jpg", picture(150, 200))
    bundle.move("data/iiif/p1/128,0,22,128/22,", "data/iiif/p1/128,0,22,128/22,128")
    assert judged_codes(bundle) == set()


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("T003", {"width": None}),
        ("T003", {"tiles": {"width": 128}}),
        ("T004", {"protocol": "image"}),
        ("T004", {"profile": "level0"}),
        ("T005", {"@context": "http://iiif.io/api/image/context.json"}),
        ("T006", {"@id": "iiif/p1"}),
        ("T007", {"@id": "https://images.example.org/iiif/p2"}),
    ],
)
def test_a_fault_of_version_2_is_found(code: str, changes: Json) -> None:
    assert judged_codes(older_bundle(**changes)) == {code}


def test_a_tile_of_version_2_is_missed() -> None:
    bundle = older_bundle()
    bundle.remove("data/iiif/p1/full/full/0/default.jpg")
    assert judged_codes(bundle) == {"T020"}
