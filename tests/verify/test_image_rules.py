"""Every rule over images has a passing and a failing case, in bags whose digests are right."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from pipeline.verdict import Outcome
from pipeline.verify.image_rules import IMAGES
from tests import make
from tests.verify.make_bundles import Draft, codes, judge, places

Maker = Callable[[Path], object]


def judged(folder: Path, files: dict[str, Maker]) -> list[str]:
    return codes(judge(bag_of(folder, files)), families="I")


def bag_of(folder: Path, files: dict[str, Maker]) -> Path:
    payload = {}
    for path, maker in files.items():
        maker(folder / "image")
        payload[f"data/{path}"] = (folder / "image").read_bytes()
        (folder / "image").unlink()
    return Draft(payload=payload).write(folder / "msb-014")


def behind(maker: Callable[[Path], Path], data: bytes) -> Maker:
    def made(path: Path) -> None:
        maker(path)
        path.write_bytes(path.read_bytes() + data)

    return made


def without_resolution(path: Path) -> None:
    """The field XResolution bears the number of a private field."""
    data = make.tiff(path).read_bytes()
    path.write_bytes(data.replace(b"\x1a\x01\x05\0\1\0\0\0", b"\x1a\xf0\x05\0\1\0\0\0", 1))


def without_profile(path: Path) -> Path:
    return make.tiff(path, iccprofile=None)


def palette(path: Path) -> None:
    Image.fromarray(make.picture(bits=8)).convert("P").save(path, format="PNG")


def text(path: Path) -> None:
    path.write_text("no picture at all")


FAULTS: list[tuple[str, dict[str, Maker], list[str]]] = [
    ("cut off", {"b14_0001.tif": lambda path: make.cut(make.tiff(path), 0.5)}, ["I001"]),
    ("no picture", {"b14_0001.tif": text}, ["I001"]),
    ("empty", {"b14_0001.jpg": lambda path: path.write_bytes(b"")}, ["I001"]),
    ("a palette", {"b14_0001.png": palette}, ["I001"]),
    ("a PNG called JPEG", {"b14_0001.jpg": make.png}, ["I002"]),
    ("a TIFF without ending", {"b14_0001": make.tiff}, ["I002"]),
    ("a field that is missing", {"b14_0001.tif": without_resolution}, ["I003"]),
    ("bytes behind a TIFF", {"b14_0001.tif": behind(make.tiff, b"x" * 9)}, ["I004"]),
    ("bytes behind a JPEG", {"b14_0001.jpg": behind(make.jpeg, b"x")}, ["I004"]),
    ("no profile", {"b14_0001.tif": without_profile}, ["I005"]),
    ("the same twice", {"b14_0001.tif": make.tiff, "b14_0002.tif": make.tiff}, ["I006"]),
    ("the same three times", {f"b14_000{number}.tif": make.tiff for number in range(3)}, ["I006", "I006"]),
]


@pytest.mark.parametrize(
    ("files", "expected"), [each[1:] for each in FAULTS], ids=[each[0] for each in FAULTS]
)
def test_one_fault_of_an_image_is_one_finding(
    files: dict[str, Maker], expected: list[str], tmp_path: Path
) -> None:
    assert judged(tmp_path, files) == expected


def test_every_rule_over_images_has_a_failing_case() -> None:
    assert set(IMAGES.rules) == {code for *_, expected in FAULTS for code in expected}


GOOD: dict[str, dict[str, Maker]] = {
    "of each kind": {
        "b14_0001.tif": make.tiff,
        "b14_0002.jpg": make.jpeg,
        "b14_0003.png": make.png,
        "b14_0004.TIFF": lambda path: make.tiff(path, make.TIFF_KINDS[1]),
        "b14_0005.JPEG": lambda path: make.jpeg(path, quality=50),
        "b14_0006.tif": lambda path: make.tiff(path, make.TIFF_KINDS[2]),
    },
    "the same in two folders": {"masters/b14_0001.tif": make.tiff, "targets/b14_0001.tif": make.tiff},
    "tiles that are alike and carry no profile": {
        f"iiif/msb-014/b14_0001/{region}/256,/0/default.jpg": lambda path: make.jpeg(path, icc_profile=b"")
        for region in ("0,0,256,256", "256,0,256,256")
    },
    "no images": {"notes.txt": text},
}


@pytest.mark.parametrize("files", GOOD.values(), ids=GOOD.keys())
def test_good_images_are_accepted(files: dict[str, Maker], tmp_path: Path) -> None:
    assert judged(tmp_path, files) == []


def test_an_image_in_a_tag_folder_is_decoded_as_well(tmp_path: Path) -> None:
    draft = Draft(tags={"notes/sketch.jpg": make.cut(make.jpeg(tmp_path / "x"), 0.5).read_bytes()})
    assert codes(judge(draft.write(tmp_path / "msb-014"))) == ["I001"]


def test_what_a_jpeg_2000_file_lacks_is_a_remark(tmp_path: Path) -> None:
    verdict = judge(bag_of(tmp_path, {"b14_0001.jp2": make.jp2}))
    assert codes(verdict) == ["I005"]
    assert verdict.outcome is Outcome.REMARKS


def test_the_later_of_two_that_are_the_same_is_named(tmp_path: Path) -> None:
    verdict = judge(bag_of(tmp_path, {"b14_0001.tif": make.tiff, "b14_0002.tif": make.tiff}))
    assert len(places(verdict, "I006")) == 1
    assert verdict.outcome is Outcome.REJECTED
