"""The main job held against the outside world, end to end: independent readers, published rules.

- `bagit` (Library of Congress) on every bag; `sha512sum`-like digests are its own.
- `iiif-prezi3` on every manifest.
- `tifffile` on each MIX value, for every kind of TIFF that is read.
- Pillow on tiles and access images; numpy on their reduction.
- With OFFICIAL_SCHEMAS and OFFICIAL_PRESENTATION_SCHEMA set, the publishers' own schema files.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import bagit
import numpy as np
import pytest
import tifffile
from iiif_prezi3 import Manifest
from PIL import Image

from pipeline import run, xmldoc
from pipeline.run import Built
from pipeline.xmldoc import Element
from tests import make
from tests.describe import official
from tests.make_item import World
from tests.test_run import options_for

MIX = "{http://www.loc.gov/mix/v20}"
COLOUR = {0: "WhiteIsZero", 1: "BlackIsZero", 2: "RGB", 6: "YCbCr"}
SCHEMES = {1: "Uncompressed", 5: "LZW", 7: "JPEG", 8: "Deflate", 32773: "PackBits"}
UNITS = {1: "no absolute unit of measurement", 2: "in.", 3: "cm"}

ITEM = """
[item]
id = "many-kinds"
shelfmark = "Alm. K 1"
kind = "sheet"
title = "One picture, stored in every way"

[care]
cleared = true

[[session]]
id = "s1"
date = 2026-03-09
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[World, Built]:
    """An item with a frame for every kind of TIFF that is read."""
    root = tmp_path_factory.mktemp("outside")
    folder = root / "msb-014"
    (folder / "masters").mkdir(parents=True)
    rows = ["file,label,kind"]
    for number, kind in enumerate(make.TIFF_KINDS):
        pixels = make.picture(330 + number, 260, bits=kind.bits, samples=kind.samples)
        make.tiff(folder / "masters" / f"{kind.name}.tif", kind, pixels=pixels)
        rows.append(f"{kind.name}.tif,sheet {number + 1},page")
    (folder / "item.toml").write_text(ITEM)
    (folder / "pages.csv").write_text("\n".join(rows))
    place = World(root=root)
    opened, settings = run.open_item(folder)
    with ThreadPoolExecutor(2) as pool:
        return place, run.build_item(opened, settings, options_for(place), pool)


def mets_of(built: Built) -> Element:
    assert built.preservation
    return xmldoc.read(built.preservation / "data/metadata/mets.xml")


@pytest.mark.parametrize("kind", make.TIFF_KINDS, ids=lambda kind: kind.name)
def test_each_mix_value_is_what_tifffile_reads(kind: make.TiffKind, made: tuple[World, Built]) -> None:
    place, built = made
    record = next(
        element
        for element in mets_of(built).iter(f"{MIX}mix")
        if element.findtext(f".//{MIX}objectIdentifierValue") == kind.name
    )
    path = place.masters / f"{kind.name}.tif"

    def said(name: str) -> list[str]:
        return [str(element.text) for element in record.iter(f"{MIX}{name}")]

    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        tags = page.tags
        assert said("imageWidth") == [str(page.imagewidth)]
        assert said("imageHeight") == [str(page.imagelength)]
        assert said("byteOrder") == ["big endian" if file.byteorder == ">" else "little endian"]
        assert said("compressionScheme") == [SCHEMES[int(page.compression)]]
        assert said("colorSpace") == [COLOUR[int(page.photometric)]]
        assert said("bitsPerSampleValue") == [str(page.bitspersample)] * page.samplesperpixel
        assert said("samplesPerPixel") == [str(page.samplesperpixel)]
        assert said("samplingFrequencyUnit") == [UNITS[int(tags["ResolutionUnit"].value)]]
        x, y = tags["XResolution"].value, tags["YResolution"].value
        assert said("numerator")[-2:] == [str(x[0]), str(y[0])]
        assert said("denominator")[-2:] == [str(x[1]), str(y[1])]
        if kind.compression is None:
            assert said("compressionRatio") == ["\n                  "] or record.find(
                f".//{MIX}compressionRatio"
            )
    assert said("fileSize") == [str(path.stat().st_size)]
    assert said("orientation") == ["normal*"]


def test_both_bags_are_valid_for_the_bagit_library(made: tuple[World, Built]) -> None:
    _, built = made
    for bundle in (built.publication, built.preservation):
        assert bagit.Bag(str(bundle)).is_valid()


def test_the_manifest_is_read_by_an_independent_library(made: tuple[World, Built]) -> None:
    _, built = made
    assert built.publication
    text = (built.publication / "data/iiif/many-kinds/manifest.json").read_text()
    manifest = Manifest.model_validate_json(text)
    assert len(manifest.items) == len(make.TIFF_KINDS)
    assert json.loads(manifest.json())["id"] == json.loads(text)["id"]


def test_xml_and_manifest_pass_the_publishers_own_schemas(made: tuple[World, Built]) -> None:
    _, built = made
    assert built.preservation
    assert built.publication
    public = built.publication / "data/metadata/many-kinds"
    for path in (built.preservation / "data/metadata/mets.xml", public / "mets.xml", public / "mods.xml"):
        official.assert_valid(path.read_bytes())


def test_the_full_image_shows_the_master(made: tuple[World, Built]) -> None:
    """Decoded by Pillow and put through littleCMS from the master: mean within 1.5 codes."""
    from tests.test_images import converted_by_littlecms

    place, built = made
    assert built.publication
    for kind in (kind for kind in make.TIFF_KINDS if kind.samples == 3):
        expected = converted_by_littlecms(place.masters / f"{kind.name}.tif", _srgb())
        full = built.publication / f"data/iiif/many-kinds/{kind.name}/full/max/0/default.jpg"
        with Image.open(full) as image:
            difference = np.abs(np.asarray(image).astype(int) - expected.astype(int))
        assert difference.mean() < 1.5, kind.name


def _srgb() -> bytes:
    from pipeline import icc

    return icc.srgb_profile()


# ---------------------------------------------------------------------------------------------- memory

FRAME = """
import sys
from pathlib import Path
from pipeline import frame
from tests.test_frame import job_for
import dataclasses
job = job_for(Path(sys.argv[1]), Path(sys.argv[2]))
job = dataclasses.replace(job, derive=dataclasses.replace(job.derive, tile_px=512, access_long_edge_px=3000))
assert frame.process(job).record
status = Path("/proc/self/status").read_text()
print(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))
"""


@pytest.mark.large
@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_an_eighty_megapixel_master_takes_less_than_900_megabytes(tmp_path: Path) -> None:
    import pyvips

    xy = pyvips.Image.xyz(10328, 7760)
    noise = pyvips.Image.gaussnoise(10328, 7760, sigma=900)
    plane = (xy[0] / 97).sin() * 9000 + (xy[1] / 131).cos() * 9000 + 32000 + noise
    master = tmp_path / "big.tif"
    plane.bandjoin([plane * 0.9, plane * 0.8]).cast("ushort").copy(interpretation="rgb16").tiffsave(
        str(master), profile="srgb"
    )
    ran = subprocess.run(
        [sys.executable, "-c", FRAME, str(master), str(tmp_path)],
        capture_output=True,
        text=True,
        cwd=Path.cwd(),
    )
    assert ran.returncode == 0, ran.stderr
    assert int(ran.stdout) / 1000 < 900


PROBE = "from tests.test_outside import build_many; import sys; build_many(sys.argv[1], int(sys.argv[2]))"


def build_many(root: str, count: int) -> None:
    """Build an item of `count` small frames and print the peak memory of this process in kilobytes."""
    place = World(root=Path(root))
    (place.item / "masters").mkdir(parents=True)
    rows = ["file,label,kind"]
    for number in range(count):
        make.tiff(place.masters / f"a{number}.tif", pixels=make.picture(300, 300 + number))
        rows.append(f"a{number}.tif,sheet {number},page")
    (place.item / "item.toml").write_text(ITEM)
    (place.item / "pages.csv").write_text("\n".join(rows))
    opened, settings = run.open_item(place.item)
    with ThreadPoolExecutor(1) as pool:
        run.build_item(opened, settings, options_for(place), pool)
    status = Path("/proc/self/status").read_text()
    print(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_memory_is_set_by_one_frame_and_not_by_the_item(tmp_path: Path) -> None:
    peaks = []
    for count in (8, 64):
        ran = subprocess.run(
            [sys.executable, "-c", PROBE, str(tmp_path / str(count)), str(count)],
            capture_output=True,
            text=True,
            cwd=Path.cwd(),
            env=os.environ | {"VIPS_CONCURRENCY": "1"},
        )
        assert ran.returncode == 0, ran.stderr
        peaks.append(int(ran.stdout))
    assert peaks[1] < 1.25 * peaks[0]
