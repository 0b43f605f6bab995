"""The invented library: its records load, its masters are what they say, its targets hold the truth."""

from __future__ import annotations

import functools
import hashlib
import io
import multiprocessing
import pickle
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from PIL import Image, ImageCms

import demo_data
from demo_data import codex_pages, colour, papyrus, plan, targets, truth
from demo_data.ink import opacity
from demo_data.plan import MasterTask
from demo_data.plate import Plate
from pipeline import icc
from pipeline.headers import master
from pipeline.model import FrameKind, ItemKind, LightKind, ViewingDirection
from pipeline.record import load_item, load_settings
from pipeline.specs.icc import D50

Array = npt.NDArray[Any]
TASKS = demo_data.tasks(Path("library"))
ONE_OF_EACH = [
    "ms7_0003_front-cover.tif",
    "ms7_0009_003r.tif",
    "ms7_0014_005r-unfolded.tif",
    "ms7_0017_fore-edge.tif",
    "or3_0005_001v.tif",
    "pap3_0006_verso-raking.tif",
    "pap3_0011_recto-ir.tif",
    "tab12_0003_obverse.tif",
    "tab12_0007_top-edge.tif",
    "let1823_0005_002v.tif",
    "alb5_0003_front-cover.tif",
    "alb5_0005_leaf-2.tif",
    "trial1_0007_003r.tif",
]
SCALE = 0.05


def task(file: str, folder: Path = Path("library")) -> MasterTask:
    return next(each for each in demo_data.tasks(folder) if each.file == file)


def lightness(codes: Array) -> Array:
    """L* of code values, 0 to 1, of a neutral."""
    linear = colour.decoded(codes)
    return np.asarray(np.where(linear > 216 / 24389, 116 * np.cbrt(linear) - 16, linear * 24389 / 27))


def lab(codes: Array) -> Array:
    """L*a*b* of code values by the profile's curve and colourants (CIE 15:2004, section 8.2.1)."""
    xyz = colour.decoded(codes) @ np.array(icc.WIDE_RGB.colourants()) / np.array(D50)
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )


def patch_means(picture: Array, plate: Plate, facts: truth.TargetTruth) -> Array:
    """Mean codes of the inner half of each patch, 0 to 1."""
    count = len(truth.PATCHES) if facts.kind == "24-patch" else len(truth.GREY_STEPS)
    quarter, scale = facts.patch_mm / 4, plate.px_per_mm
    means = []
    for number in range(count):
        x, y = facts.centre_mm(number)
        rows = slice(round((y - quarter) * scale), round((y + quarter) * scale))
        columns = slice(round((x - quarter) * scale), round((x + quarter) * scale))
        means.append(picture[rows, columns].mean(axis=(0, 1)) / 65535)
    return np.array(means)


# ------------------------------------------------------------------------------------------- records


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The text files, and empty files where the masters would be."""
    folder = tmp_path_factory.mktemp("library")
    demo_data.write_texts(folder)
    for each in demo_data.tasks(folder):
        each.path.parent.mkdir(exist_ok=True)
        each.path.touch()
    return folder


@pytest.mark.parametrize("name", demo_data.items())
def test_every_item_folder_loads_without_a_problem(library: Path, name: str) -> None:
    settings = load_settings(library / "solander.toml")
    item = load_item(library / name, settings).item
    assert item.identifier == name
    assert item.care.cleared
    for session in item.sessions:
        kinds = [frame.kind for frame in item.frames if frame.session == session.identifier]
        assert kinds[:2] == kinds[-2:] == [FrameKind.TARGET, FrameKind.FLAT]


def test_the_items_are_of_the_kinds_that_the_tool_has_to_carry(library: Path) -> None:
    settings = load_settings(library / "solander.toml")
    items = {name: load_item(library / name, settings).item for name in demo_data.items()}
    assert [item.kind for item in items.values()] == [
        ItemKind.CODEX, ItemKind.CODEX, ItemKind.FRAGMENT, ItemKind.TABLET, ItemKind.LETTER, ItemKind.ALBUM,
        ItemKind.CODEX,
    ]  # fmt: skip
    assert items["adl-or-3"].reading is ViewingDirection.RIGHT_TO_LEFT
    assert {frame.light.kind for frame in items["adl-pap-3"].frames} == {
        LightKind.NORMAL, LightKind.RAKING, LightKind.INFRARED,
    }  # fmt: skip
    assert len(items["adl-tab-12"].frames_of(FrameKind.FACE)) == 6
    assert len(items["adl-let-1823"].sections) == 4
    assert items["adl-ms-7"].frames_of(FrameKind.FOLDOUT, FrameKind.EDGE, FrameKind.SPINE)
    assert any(not view.is_captured for view in items["adl-ms-7"].views)


def test_settings_leave_the_base_url_to_its_default(library: Path) -> None:
    assert load_settings(library / "solander.toml").base_url_is_default


def test_what_a_person_changed_is_not_written_over(tmp_path: Path) -> None:
    folders = demo_data.write_texts(tmp_path)
    changed = folders[0] / "item.toml"
    changed.write_text("mine", encoding="utf-8")
    assert demo_data.write_texts(tmp_path) == folders
    assert changed.read_text(encoding="utf-8") == "mine"


def test_texts_for_small_masters_say_their_resolution(tmp_path: Path) -> None:
    demo_data.write_texts(tmp_path, scale=0.1)
    assert "\nppi = 60\n" in (tmp_path / "adl-ms-7" / "item.toml").read_text(encoding="utf-8")


def test_each_captured_row_has_one_task_that_can_be_sent_to_a_worker() -> None:
    assert len(TASKS) == len({each.path for each in TASKS}) >= 45
    assert pickle.loads(pickle.dumps(TASKS)) == TASKS
    assert all((each.item, each.session) in truth.SESSIONS for each in TASKS)


# ------------------------------------------------------------------------------------------- masters


@pytest.mark.parametrize("file", ONE_OF_EACH)
def test_a_master_is_drawn_at_the_size_that_its_resolution_says(file: str, tmp_path: Path) -> None:
    drawn = demo_data.draw(task(file, tmp_path), scale=SCALE)
    with tifffile.TiffFile(drawn) as tiff:
        page = tiff.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        picture = page.asarray()
        numerator, denominator = page.tags[282].value
    ppi = plan.session_of(task(file))["ppi"] * SCALE
    assert numerator / denominator == pytest.approx(ppi, rel=1e-3)
    for pixels, millimetres in zip(picture.shape[1::-1], plan.size_mm(task(file)), strict=True):
        assert pixels == pytest.approx(millimetres / 25.4 * ppi, abs=0.51)
    assert picture.dtype == np.uint16
    assert picture.std() > 2000  # there is something to see
    assert not list(tmp_path.rglob("*.part"))


@pytest.mark.parametrize("each", TASKS, ids=lambda each: each.file)
def test_full_size_is_about_twelve_megapixels_or_a_small_face_edge_or_target(each: MasterTask) -> None:
    plate = plan.plate_of(each)
    megapixels = plate.width_px * plate.height_px / 1e6
    is_small = each.kind in ("target", "flat", "spine", "edge", "face")
    if each.item == truth.TRIAL:
        assert 1 < megapixels < 4  # only to be judged: quick to draw
    else:
        assert (3 if is_small else 11) < megapixels < (12 if is_small else 19)


@pytest.mark.parametrize("file", ["tab12_0007_top-edge.tif", "let1823_0009_005r.tif"])
def test_the_same_task_gives_the_same_bytes_in_another_process(file: str, tmp_path: Path) -> None:
    here = demo_data.draw(task(file, tmp_path / "here"), scale=SCALE)
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        there = pool.submit(demo_data.draw, task(file, tmp_path / "there"), scale=SCALE).result()
    digests = {hashlib.sha256(path.read_bytes()).hexdigest() for path in (here, there)}
    assert len(digests) == 1


def test_order_of_drawing_makes_no_difference(tmp_path: Path) -> None:
    files = ["ms7_0011_004r.tif", "ms7_0012_004v.tif"]
    for name, order in (("one", files), ("other", files[::-1])):
        for file in order:
            demo_data.draw(task(file, tmp_path / name), scale=SCALE)
    for file in files:
        one, other = (task(file, tmp_path / name).path.read_bytes() for name in ("one", "other"))
        assert one == other


def test_tifffile_finds_the_capture_data_in_their_tags(tmp_path: Path) -> None:
    """TIFF 6.0 and EXIF 3.0, section 4.6, as an independent reader has them."""
    drawn = demo_data.draw(task("pap3_0004_recto-raking.tif", tmp_path), scale=SCALE)
    with tifffile.TiffFile(drawn) as tiff:
        page = tiff.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        tags = {tag.name: tag.value for tag in page.tags}
        assert page.compression == tifffile.COMPRESSION.NONE
        assert page.photometric == tifffile.PHOTOMETRIC.RGB
        assert page.bitspersample == 16
        assert len(tiff.pages) == 1
    exif = tags["ExifTag"]
    assert (tags["Make"], tags["Model"], tags["Software"]) == (
        "Kestrelworks", "KW 151 C", "Kestrelworks Develop 4.2",
    )  # fmt: skip
    assert exif["ExposureTime"] == (1, 4)
    assert exif["FNumber"] == (11, 1)
    assert exif["ISOSpeedRatings"] == 64
    assert exif["DateTimeOriginal"] == "2026:03:11 09:37:00"
    assert exif["OffsetTimeOriginal"] == "+01:00"
    assert exif["BodySerialNumber"] == "KW151C-20417"
    assert exif["LensModel"] == "Reprostar 120 mm f/5.6"
    assert exif["Flash"] == 0
    profile = ImageCms.ImageCmsProfile(io.BytesIO(tags["InterColorProfile"]))
    assert profile.profile.profile_description == colour.PROFILE_NAME


def test_our_own_reader_finds_the_same(tmp_path: Path) -> None:
    drawn = demo_data.draw(task("tab12_0005_left-edge.tif", tmp_path), scale=SCALE)
    facts = master.read_header(drawn).facts
    assert facts.icc is not None
    assert facts.icc.description == colour.PROFILE_NAME
    assert facts.capture.model == "KW 151 C"
    assert facts.capture.lens_model == "Reprostar 120 mm f/5.6"
    assert facts.capture.captured_at == "2026-03-13T09:39:20+01:00"
    assert facts.ppi == pytest.approx((800 * SCALE, 800 * SCALE), rel=1e-3)


def test_infrared_is_grey_of_16_bits_with_a_grey_profile(tmp_path: Path) -> None:
    drawn = demo_data.draw(task("pap3_0012_verso-ir.tif", tmp_path), scale=SCALE)
    with tifffile.TiffFile(drawn) as tiff:
        page = tiff.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        assert (page.samplesperpixel, page.bitspersample) == (1, 16)
        profile = page.tags[34675].value
    assert icc.read_profile(profile).colour_space == "GRAY"


def test_ink_that_faded_is_dark_in_infrared_and_the_lights_lie_over_one_another() -> None:
    pictures = {
        light: plan.picture_of(task(file), scale=0.15).codes() / 65535
        for light, file in (("normal", "pap3_0003_recto.tif"), ("infrared", "pap3_0011_recto-ir.tif"))
    }
    normal, infrared = pictures["normal"][..., 1], pictures["infrared"]
    plate = plan.plate_of(task("pap3_0003_recto.tif"), scale=0.15)
    left, top = (plate.width_mm - 132) / 2, 5.0 + (papyrus.GLASS_MM[1] - 88) / 2
    letters = opacity(papyrus.text("recto"), plate, dx=left, dy=top) > 200
    faded = np.zeros_like(letters)
    scale = plate.px_per_mm
    faded[
        round((top + 26) * scale) : round((top + 42) * scale),
        round((left + 78) * scale) : round((left + 98) * scale),
    ] = True
    blank = faded & (opacity(papyrus.text("recto"), plate, dx=left, dy=top) == 0)

    def contrast(picture: Array) -> float:
        return float(np.median(picture[blank]) - np.median(picture[faded & letters]))

    assert contrast(infrared) > 4 * contrast(normal)
    clear = letters & ~faded
    assert np.median(infrared[clear]) < 0.5 * np.median(infrared[blank])
    assert np.median(normal[clear]) < 0.8 * np.median(normal[blank])


def test_every_page_of_the_codex_is_another_page() -> None:
    plate = Plate(width_mm=110, height_mm=152, ppi=10)
    names = ["1r", "1v", "2r", "2v", "3r", "3v", "4r", "4v", "5r"]
    assert len({codex_pages.content(name).ink.svg(plate) for name in names}) == len(names)


# ----------------------------------------------------------------------------------------- the truth

COLOUR_TARGETS = [
    each
    for each in TASKS
    if each.kind == "target" and each.light == "normal" and truth.SESSIONS[each.item, each.session].is_right
]


@pytest.mark.parametrize("each", COLOUR_TARGETS, ids=lambda each: each.file)
def test_patches_measure_as_the_reference_says(each: MasterTask) -> None:
    plate, facts = plan.plate_of(each, scale=0.25), truth.SESSIONS[each.item, each.session].target
    measured = lab(patch_means(plan.picture_of(each, scale=0.25).codes(), plate, facts))
    reference = np.array([values for _, *values in truth.PATCHES])
    assert np.abs(measured - reference).max() < 0.25  # the mean of the noise


def test_littlecms_reads_the_same_patches_through_the_embedded_profile() -> None:
    each = COLOUR_TARGETS[0]
    plate, facts = plan.plate_of(each, scale=0.25), truth.SESSIONS[each.item, each.session].target
    means = patch_means(plan.picture_of(each, scale=0.25).codes(), plate, facts)
    image = Image.fromarray((means[None] * 255).round().astype(np.uint8))
    profile = ImageCms.ImageCmsProfile(io.BytesIO(plan.profile_of(each)))
    transform = ImageCms.buildTransform(
        profile, ImageCms.createProfile("LAB"), "RGB", "LAB", ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    converted = ImageCms.applyTransform(image, transform)
    assert converted is not None
    bytes_ = np.array(converted)[0].astype(float)
    bytes_[:, 0] *= 100 / 255
    bytes_[:, 1:] -= 256 * (bytes_[:, 1:] > 127)
    reference = np.array([values for _, *values in truth.PATCHES])
    assert np.abs(bytes_ - reference).max() < 1.5  # 8-bit codes and 8-bit Lab


def test_all_24_patches_lie_within_the_masters_space() -> None:
    codes = targets.patch_codes(truth.SMALL)
    assert codes.min() > 0
    assert codes.max() < 1
    assert lab(codes) == pytest.approx(np.array([values for _, *values in truth.PATCHES]), abs=1e-6)


def test_grey_steps_of_the_infrared_target_measure_as_they_should() -> None:
    each = task("pap3_0009_target-ir.tif")
    plate, facts = plan.plate_of(each, scale=0.25), truth.SESSIONS[each.item, each.session].target
    picture = plan.picture_of(each, scale=0.25).codes()[..., None]
    means = patch_means(picture, plate, facts)[:, 0]
    assert lightness(means) == pytest.approx(np.array(truth.GREY_STEPS), abs=0.15)


@pytest.mark.parametrize("facts", [truth.SMALL, truth.LARGE], ids=["8 mm pitch", "12 mm pitch"])
def test_ruler_ticks_stand_a_millimetre_apart(facts: truth.TargetTruth) -> None:
    plate = Plate(width_mm=facts.size_mm[0], height_mm=facts.size_mm[1], ppi=400)
    picture = targets.target(plate, facts, seed=5).codes()
    row = picture[round((facts.ruler_top_mm + 2) * plate.px_per_mm), :, 1] / 65535
    start = round((facts.ruler_left_mm - 1) * plate.px_per_mm)
    end = round((facts.ruler_left_mm + facts.ruler_length_mm + 1) * plate.px_per_mm)
    dark = 0.9 - row[start:end]
    inside = dark > 0.2
    begins = np.flatnonzero(np.diff(inside.astype(int)) == 1) + 1
    weights = [dark[at : at + 5].clip(0) for at in begins]
    centres = [at + (np.arange(len(w)) * w).sum() / w.sum() for at, w in zip(begins, weights, strict=True)]
    assert len(centres) == facts.ruler_length_mm + 1
    assert np.polyfit(np.arange(len(centres)), centres, 1)[0] == pytest.approx(400 / 25.4, rel=1e-3)


@pytest.mark.parametrize("centre_mm", truth.SMALL.edge_centres_mm)
def test_slanted_edges_have_their_angle_and_their_blur(centre_mm: tuple[float, float]) -> None:
    """ISO 12233, slanted edge: the edge's places row by row lie on a line; a step blurred by a Gaussian
    rises from 10 to 90 % over 2.5631 standard deviations.
    """
    facts, plate = (
        truth.SMALL,
        Plate(width_mm=truth.SMALL.size_mm[0], height_mm=truth.SMALL.size_mm[1], ppi=600),
    )
    picture = small_target()
    cx, cy = (centre * plate.px_per_mm for centre in centre_mm)
    half, tall = facts.edge_side_mm / 2 * plate.px_per_mm, 80
    rows = np.arange(round(cy) - tall, round(cy) + tall)
    columns = np.arange(round(cx + half) - 40, round(cx + half) + 40)
    light = colour.decoded(picture[np.ix_(rows, columns)] / 65535)
    share = (light - light[:, :8].mean()) / (light[:, -8:].mean() - light[:, :8].mean())
    places = columns[-1] + 1 - share.sum(axis=1)
    slope, offset = np.polyfit(rows, places, 1)
    assert np.degrees(np.arctan(-slope)) == pytest.approx(facts.edge_angle_deg, abs=0.05)
    away = (columns[None, :] + 0.5 - (slope * rows[:, None] + offset)) * np.cos(np.arctan(slope))
    order = np.argsort(away.ravel())
    smooth = np.convolve(share.ravel()[order], np.ones(41) / 41, mode="valid")
    at = away.ravel()[order][20:-20]
    rise = at[np.searchsorted(smooth, 0.9)] - at[np.searchsorted(smooth, 0.1)]
    assert rise == pytest.approx(2.5631 * facts.edge_sigma_px, rel=0.08)


@functools.cache
def small_target() -> Array:
    """The green of a small target at 600 ppi."""
    facts = truth.SMALL
    plate = Plate(width_mm=facts.size_mm[0], height_mm=facts.size_mm[1], ppi=600)
    return np.asarray(targets.target(plate, facts, seed=1).codes()[..., 1])


def test_the_response_of_the_edges_is_that_of_their_gaussian() -> None:
    """0.187391 / σ at a half, 0.341541 / σ at a tenth, from exp(-2·π²·σ²·f²)."""
    facts = truth.SMALL
    assert facts.frequency(0.5) == pytest.approx(0.187391 / facts.edge_sigma_px, rel=1e-5)
    assert facts.frequency(0.1) == pytest.approx(0.341541 / facts.edge_sigma_px, rel=1e-5)
    assert facts.response(facts.frequency(0.3)) == pytest.approx(0.3)


EVEN_SESSIONS = [key for key, session in truth.SESSIONS.items() if session.is_right]


@pytest.mark.parametrize("key", EVEN_SESSIONS, ids=lambda key: "-".join(key))
def test_flat_frames_fall_off_as_they_should(key: tuple[str, str]) -> None:
    each = next(each for each in TASKS if (each.item, each.session, each.kind) == (*key, "flat"))
    facts = truth.SESSIONS[key].flat
    picture = plan.picture_of(each, scale=0.25).codes()
    light = colour.decoded(picture.reshape(*picture.shape[:2], -1).mean(axis=2) / 65535)
    rows, columns = light.shape
    x, y = (np.arange(count) + 0.5 - count / 2 for count in (columns, rows))
    radius = (x[None, :] ** 2 + y[:, None] ** 2) / ((columns**2 + rows**2) / 4)
    slope, level = np.polyfit(radius.ravel(), light.ravel(), 1)
    assert -slope / level == pytest.approx(facts.falloff, abs=5e-4)
    assert lightness(np.array(level ** (1 / icc.WIDE_RGB.curve.gamma))) == pytest.approx(
        facts.lightness, abs=0.05
    )
