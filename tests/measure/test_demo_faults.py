"""The demo's trial has faults of known size: each is measured as large as it is, and nothing else is found.

Drawn at three quarters of full size, 300 ppi, the least that the default specification allows. Found by
`check`: nine of nine faults. False alarms: none, on the trial's other frames and on a good item.
"""

from __future__ import annotations

import datetime as dt
import functools
import itertools
import math
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import pyvips

import demo_data
from demo_data import colour, plan, targets, trial, truth
from demo_data.plan import MasterTask
from demo_data.truth import Fault, Planted
from pipeline import foliation, icc, specification
from pipeline.findings import Finding, Level
from pipeline.measure.exposure import PageTone, clipping, page_tone, tone_standings
from pipeline.measure.geometry import Keystone, SheetSkew, sheet_keystone, sheet_skew
from pipeline.measure.of_flat import measure_flat
from pipeline.measure.of_target import TargetContext, measure_target_frame
from pipeline.measure.outline import Outline, find_outline
from pipeline.measure.pixels import ArrayPixels, Box
from pipeline.measure.profile import Profile, read_profile
from pipeline.measure.references import editions
from pipeline.measure.sharpness import Sharpness, focus_standings, sharpness
from pipeline.measure.siblings import Standing
from pipeline.measurements import RANGE_OF_LUMINANCE, FrameMeasures, Quantity
from pipeline.model import Frame, FrameKind
from pipeline.report import page
from pipeline.run import Judgement, Options, check_item, open_item

Numbers = npt.NDArray[np.float64]

SCALE = 0.75
LIBRARY = Path("library")
TASKS = demo_data.tasks(LIBRARY, only=(truth.TRIAL,))
PAGES = [each for each in TASKS if each.kind == "page"]
RECTOS, VERSOS = (
    [each.label for each in PAGES if each.session == "s1" and each.label.endswith(side)] for side in "rv"
)
CLEAN = [
    each.label
    for each in PAGES
    if each.session == "s1" and not any(fault.label == each.label for fault in truth.PLANTED)
]


def task(label: str) -> MasterTask:
    return next(each for each in PAGES if each.label == label)


def frames(session: str, kind: str) -> list[MasterTask]:
    return [each for each in TASKS if (each.session, each.kind) == (session, kind)]


def fault(which: Fault) -> Planted:
    return next(each for each in truth.PLANTED if each.fault is which)


_ROOT: list[Path] = []


@pytest.fixture(scope="module", autouse=True)
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the trial is drawn, once for all processes that run these tests."""
    base = tmp_path_factory.getbasetemp()
    root = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "trial"
    demo_data.write_texts(root, scale=SCALE)
    _ROOT[:] = [root]
    return root


def master(each: MasterTask) -> Path:
    path = _ROOT[0] / each.path.relative_to(LIBRARY)
    if not path.exists():
        demo_data.draw(replace(each, path=path), scale=SCALE)
    return path


@functools.cache
def pixels(each: MasterTask) -> ArrayPixels:
    return ArrayPixels(np.asarray(pyvips.Image.new_from_file(str(master(each))).numpy()))


@functools.cache
def outline(label: str) -> Outline:
    found = find_outline(pixels(task(label)))
    assert isinstance(found, Outline)
    return found


def wide() -> Profile:
    profile = read_profile(colour.rgb_profile())
    assert isinstance(profile, Profile)
    return profile


# ------------------------------------------------------------------------------------- faults of a page


def blur(label: str) -> Sharpness:
    found = sharpness(pixels(task(label)), outline(label))
    assert isinstance(found, Sharpness)
    return found


def with_pixel(sigma_px: float) -> float:
    """A Gaussian blur and that of the pixel itself, whose variance is 1/12."""
    return math.sqrt(sigma_px**2 + 1 / 12)


def test_the_soft_page_stands_out_by_its_blur_and_no_other_does() -> None:
    """Strokes of some 6 px pull the blur down: a sixth on sharp pages, more on the soft one."""
    found = [blur(label) for label in RECTOS]
    standings = focus_standings([each.rise_px for each in found])
    for label, each, standing in zip(RECTOS, found, standings, strict=True):
        assert isinstance(standing, Standing)
        assert isinstance(each.sigma_px, float)
        soft = truth.planted(label, Fault.SOFT)
        assert standing.stands_out is (soft is not None), label
        true = with_pixel(soft.amount if soft else truth.PAGE_SIGMA_PX)
        assert (0.6 if soft else 0.85) * true < each.sigma_px < 1.02 * true, label
        if soft:
            assert standing.deviation_sd > 15


def skew(label: str) -> float:
    found = sheet_skew(outline(label))
    assert isinstance(found, SheetSkew)
    return found.angle_deg


def keystone(label: str) -> Keystone:
    found = sheet_keystone(outline(label))
    assert isinstance(found, Keystone)
    return found


def test_the_skewed_page_is_skewed_by_as_much_as_it_was_turned() -> None:
    turned = fault(Fault.SKEWED)
    assert skew(turned.label) == pytest.approx(turned.amount, abs=0.05)


@pytest.mark.parametrize("label", CLEAN)
def test_pages_without_a_fault_lie_as_straight_as_they_were_laid(label: str) -> None:
    """Corners are off by 0.03 mm, which is 0.03° on average and three times that at most."""
    assert skew(label) == pytest.approx(trial.view_of(label).turn_deg, abs=0.06)
    assert abs(keystone(label).sides_deg) < 0.1
    assert abs(keystone(label).levels_deg) < 0.15


def test_the_keystoned_page_is_tilted_by_as_much_as_it_was_seen() -> None:
    """The left and the right edge run together towards the bottom."""
    tilted = fault(Fault.KEYSTONED)
    found = keystone(tilted.label)
    assert abs(found.sides_deg) == pytest.approx(tilted.amount, abs=0.09)
    assert abs(found.levels_deg) < 0.1


def test_the_overexposed_page_clips_where_its_light_is_beyond_the_scale() -> None:
    """The share is that of pixels whose light, times the factor, exceeds full scale in a channel."""
    over = fault(Fault.CLIPPED)
    each, view = task(over.label), trial.view_of(over.label)
    even = trial.View(
        shown=view.shown,
        turn_deg=view.turn_deg,
        keystone_deg=view.keystone_deg,
        sigma_px=view.sigma_px,
        exposure=1.0,
    )
    plate = plan.plate_of(each, scale=SCALE)
    light = colour.decoded(
        trial.page(plate, over.label, truth.SESSIONS[truth.TRIAL, "s1"], view=even).codes() / 65535
    )
    share = float((light * over.amount >= 1).any(axis=2).mean())
    found = clipping(pixels(each), outline(over.label))
    assert share > 0.4
    assert found.light_any == pytest.approx(share, abs=0.005)
    assert found.light_lost > 0.9 * found.light_any  # paper, no gold


def test_the_overexposed_page_is_lighter_than_its_siblings_and_no_other_is() -> None:
    tones = [page_tone(pixels(task(label)), outline(label), wide()) for label in VERSOS]
    standings = tone_standings([each.lightness for each in tones if isinstance(each, PageTone)])
    for label, standing in zip(VERSOS, standings, strict=True):
        assert isinstance(standing, Standing)
        assert standing.stands_out is bool(truth.planted(label, Fault.CLIPPED)), label
    light = [each.lightness for each in tones if isinstance(each, PageTone)]
    assert max(light) - sorted(light)[-2] > 10


@pytest.mark.parametrize("label", CLEAN)
def test_pages_without_a_fault_do_not_clip(label: str) -> None:
    found = clipping(pixels(task(label)), outline(label))
    assert max(found.light_any, found.dark_any) < 1e-4


def test_the_page_with_a_wrong_profile_says_another_space_than_its_siblings() -> None:
    wrong = fault(Fault.WRONG_PROFILE)
    named = {each.label: icc.read_profile(plan.profile_of(each)).description for each in PAGES}
    assert named.pop(wrong.label) == wrong.other
    assert set(named.values()) == {colour.PROFILE_NAME}


# ------------------------------------------------------------------------------------ what is not there


def small(label: str) -> Numbers:
    """Green of the sheet, in squares of 4 px, without its slow changes."""
    codes = np.asarray(pixels(task(label)).crop(_middle(label)), np.float64)[..., 1]
    rows, columns = (size // 4 * 4 for size in codes.shape)
    means = codes[:rows, :columns].reshape(rows // 4, 4, columns // 4, 4).mean(axis=(1, 3))
    return np.asarray(means - np.median(means))


def _middle(label: str) -> Box:
    each = pixels(task(label))
    return Box(
        left=each.width_px // 6,
        top=each.height_px // 8,
        width=each.width_px * 2 // 3,
        height=each.height_px * 3 // 4,
    )


def likeness(one: str, other: str) -> float:
    """The largest correlation of two pages over shifts, by the Fourier transform."""
    first, second = small(one), small(other)
    both = np.fft.ifft2(np.fft.fft2(first) * np.conj(np.fft.fft2(second))).real
    return float(both.max() / math.sqrt((first**2).sum() * (second**2).sum()))


def test_the_page_that_was_photographed_twice_is_like_that_page_and_no_other() -> None:
    twice = fault(Fault.DOUBLED)
    others = [label for label in RECTOS if label not in (twice.label, twice.other)]
    assert likeness(twice.label, twice.other) > 0.8
    assert max(likeness(twice.label, label) for label in others) < 0.6  # lines of one pitch: 0.53
    assert not np.array_equal(small(twice.label), small(twice.other))  # photographed again, not copied


def test_the_missing_side_is_the_only_one_between_the_first_and_the_last() -> None:
    labels = [each.label for each in PAGES]
    missing = [
        label
        for before, after in itertools.pairwise(labels)
        for label in foliation.missing_between(before, after)
    ]
    assert missing == [fault(Fault.MISSING).label]


# ---------------------------------------------------------------------------------- faults of a session


def of_target(each: MasterTask) -> FrameMeasures:
    facts = truth.SESSIONS[each.item, each.session].target
    context = TargetContext(
        references=editions(), pitch_mm=(facts.pitch_mm, facts.pitch_mm), stated_ppi=400 * SCALE
    )
    return measure_target_frame(pixels(each), wide(), context)


def seen_in(session: truth.SessionTruth) -> Numbers:
    """L*a*b* of the patches: their linear light times the cast and what the ramp makes of their places."""
    profile, facts = wide(), session.target
    x = np.array([facts.centre_mm(number)[0] / facts.size_mm[0] - 0.5 for number in range(24)])
    light = profile.linear(targets.patch_codes(facts)) * np.array(session.cast)
    return np.asarray(profile.lab(light * (1 + session.flat.ramp * x[:, None])))


@pytest.mark.parametrize("session", ["s1", "s2", "s3"])
def test_targets_show_the_light_of_their_session_and_nothing_else(session: str) -> None:
    facts = truth.SESSIONS[truth.TRIAL, session]
    found = of_target(frames(session, "target")[0])
    measured = np.array([patch.lab for patch in found.patches])
    assert measured == pytest.approx(seen_in(facts), abs=0.1)
    worst = found.value(Quantity.WHITE_BALANCE, "maximum", "CIEDE2000 without lightness")
    assert worst is not None
    assert worst > 8 if facts.cast != truth.NEUTRAL else worst < 0.2


@pytest.mark.parametrize("session", ["s1", "s2", "s3"])
def test_targets_of_the_trial_are_sharp_and_true_to_scale(session: str) -> None:
    """Within what noise makes of edges of 100 px: SFR50 within 3 %, five squares, both directions."""
    facts, found = truth.SMALL, of_target(frames(session, "target")[-1])
    of = {quantity: [m.value for m in found.measurements if m.quantity is quantity] for quantity in Quantity}
    assert len(of[Quantity.SFR50]) >= 10
    assert of[Quantity.SFR50] == pytest.approx(
        [200 * facts.frequency(0.5)] * len(of[Quantity.SFR50]), rel=0.03
    )
    assert all(value is not None and value < 1.02 for value in of[Quantity.SHARPENING])
    assert all(value is not None and value < 0.05 for value in of[Quantity.MISREGISTRATION])
    assert of[Quantity.SCALE] == pytest.approx([0], abs=0.03)
    assert of[Quantity.KEYSTONE] == pytest.approx([0, 0], abs=0.02)


@pytest.mark.parametrize("session", ["s1", "s2", "s3"])
def test_flats_are_as_uneven_as_their_light(session: str) -> None:
    """Means of blocks do not reach the border: a ramp reads less by a block's share of the width."""
    facts = truth.SESSIONS[truth.TRIAL, session].flat
    for each in frames(session, "flat"):
        found = measure_flat(pixels(each), wide())
        uneven = found.value(Quantity.EVENNESS, formula=RANGE_OF_LUMINANCE)
        assert uneven is not None
        assert 0.9 * facts.range_over_mean < uneven / 100 < facts.range_over_mean + 0.002


# ------------------------------------------------------------------------------------- the whole judgement

NOW = dt.datetime(2026, 4, 1, 9, tzinfo=dt.UTC)


@pytest.fixture
def without_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page of the report has tests of its own, and takes its time."""
    monkeypatch.setattr(page, "quality_page", lambda document, thumbnails: b"")


def judged(item: Path, work: Path) -> Judgement:
    opened, settings = open_item(item)
    options = Options(
        work=work / "work", bundles=work / "bundles", specification=specification.load(None), now=NOW
    )
    return check_item(opened, settings, options, ThreadPoolExecutor(2))


def alarms(judgement: Judgement) -> list[Finding]:
    return [each for level in (Level.ERROR, Level.WARNING) for each in judgement.report.at(level)]


def is_measured(judgement: Judgement, quantity: Quantity) -> bool:
    return any(
        record.measures and record.measures.value(quantity) is not None
        for record in judgement.records.values()
    )


def places(planted: Planted) -> list[str]:
    """Files at which a fault may be told."""
    if not planted.label:
        return [each.file for each in TASKS if each.session == planted.session]
    if planted.fault is Fault.MISSING:
        return ["trial1_0010_005r.tif"]  # the row that follows
    labels = (planted.label, planted.other) if planted.fault is Fault.DOUBLED else (planted.label,)
    return [each.file for each in PAGES if each.label in labels]


CODES: dict[Fault, str] = {
    Fault.DOUBLED: "S026",
    Fault.SKEWED: "Q040",
    Fault.KEYSTONED: "Q042",
    Fault.MISSING: "S002",
    Fault.WRONG_PROFILE: "F008",
    Fault.WARM: "Q011",
    Fault.UNEVEN: "Q020",
    Fault.SOFT: "Q050",
    Fault.CLIPPED: "Q060",
}


@pytest.mark.usefixtures("without_page")
def test_check_finds_nine_of_nine_planted_faults_and_raises_no_false_alarm(
    library: Path, tmp_path: Path
) -> None:
    for each in TASKS:
        master(each)
    found = alarms(judged(library / truth.TRIAL, tmp_path))
    hits = [
        each
        for each, code in CODES.items()
        if any(f.code == code and file in f.place for f in found for file in places(fault(each)))
    ]
    explained = [file for planted in truth.PLANTED for file in places(planted)]
    false = [f for f in found if not any(file in f.place for file in explained)]
    assert (len(hits), len(truth.PLANTED), false) == (9, 9, [])


@pytest.mark.usefixtures("without_page")
def test_check_has_no_alarm_for_a_good_item(tmp_path: Path) -> None:
    demo_data.write_texts(tmp_path, scale=0.5)
    for each in demo_data.tasks(tmp_path, only=("adl-pap-3",)):
        demo_data.draw(each, scale=0.5)
    judgement = judged(tmp_path / "adl-pap-3", tmp_path)
    assert not alarms(judgement)
    targets_ = [frame for frame in judgement.frames if is_colour_target(frame)]
    assert len(targets_) == 2
    for frame in targets_:
        measures = judgement.records[frame.identifier].measures
        assert measures is not None
        assert measures.value(Quantity.SFR50) == pytest.approx(200 * truth.SMALL.frequency(0.5), rel=0.02)


def is_colour_target(frame: Frame) -> bool:
    return frame.kind is FrameKind.TARGET and frame.session == "s1"
