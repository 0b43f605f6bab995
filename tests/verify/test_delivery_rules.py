"""Every term of a delivery specification: a good bundle keeps it, a breach is one finding that cites it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from pipeline import icc
from pipeline.findings import Finding, Level
from pipeline.verify import verify
from pipeline.verify.delivery_rules import DELIVERED, DELIVERY
from tests import make
from tests.make_item import World
from tests.verify import deliver
from tests.verify.deliver import CITATION, Both, edit, judged, options, seal, told

GOOD = """
[folders]
masters = ["masters"]
targets = ["targets"]
access = ["access"]
metadata = ["metadata"]

[bag]
name = "{item:word}-{volume:3}-preservation"
versions = ["1.0"]
algorithms_required = ["sha512"]
algorithms_allowed = ["sha512"]
serialisation = ["folder"]
labels = ["Source-Organization", "Bagging-Date"]
fetch_allowed = false

[names]
longest_characters = 20
other_files_allowed = false

[names.masters]
pattern = "{letter:B|C}14_{number:4}.tif"
numbered_from = 1

[names.targets]
pattern = "B14_{kind:T|F}{number:3}.tif"
numbered_from = 1

[names.metadata]
pattern = "*.{extension:xml|csv|toml|json|html}"

[images.masters]
formats = ["TIFF"]
compressions = ["none"]
bits_per_channel = [16]
colour_modes = ["RGB"]
profiles = ["sRGB", "RGB"]
ppi = 600
ppi_tolerance_percent = 1
min_long_edge_px = 200
one_image_per_file = true
max_trailing_bytes = 0

[metadata]
mets = true
mods = true
premis = true
mix = true
pages = true
mods_elements = ["titleInfo/title", "identifier", ["abstract", "location/shelfLocator"]]
mix_values = ["imageWidth", "xSamplingFrequency", "bitsPerSampleValue", ["scannerModelName", "colorSpace"]]

[targets]
required = ["colour", "flat"]
each_session = true
every_frames = 10

[checksums]
algorithms = ["sha512"]
every_file = true
"""
METS, PAGES = "data/metadata/mets.xml", "data/metadata/pages.csv"
MASTERS, TARGETS = "data/masters", "data/targets"


@pytest.fixture
def bundle(built: World, tmp_path: Path) -> Path:
    return deliver.copied(built, tmp_path / "delivered").preservation


def found(bundle: Path, folder: Path, terms: str = GOOD, *, is_quick: bool = False) -> list[Finding]:
    report = verify(bundle, options(terms, folder, is_quick=is_quick)).verdict.report
    return [each for each in report.findings if each.code[0] == "D"]


def said(findings: list[Finding]) -> list[str]:
    return [f"{each.code} {each.place}: {each.value}" for each in findings]


def test_a_good_bundle_keeps_all_terms_and_nothing_is_skipped(bundle: Path, tmp_path: Path) -> None:
    report = verify(bundle, options(GOOD, tmp_path)).verdict.report
    assert said([each for each in report.findings if each.level is not Level.NOTE]) == []
    assert report.skipped == ()


def test_without_terms_no_rule_of_terms_runs(bundle: Path) -> None:
    report = verify(bundle, options()).verdict.report
    codes = {*(each.code for each in report.findings), *(each.code for each in report.skipped)}
    assert not codes & {*DELIVERY.rules, *DELIVERED.rules}


# ------------------------------------------------------------------------------ one breach, one finding


def _terms(*changes: tuple[str, str]) -> str:
    text = GOOD
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


STRICTER: dict[str, tuple[str, str, str]] = {
    "name of the bag": ("-preservation", "-archive", "D001 msb-014-preservation: msb-014-preservation"),
    "version": ('["1.0"]', '["0.97"]', "D002 msb-014-preservation: BagIt 1.0"),
    "serialisation": ('["folder"]', '["tar"]', "D002 msb-014-preservation: a folder"),
    "algorithm wanted": (
        'required = ["sha512"]\nalgorithms_allowed = ["sha512"]',
        'required = ["md5"]',
        "D003 msb-014-preservation: no manifest-md5.txt",
    ),
    "algorithm not allowed": (
        'required = ["sha512"]\nalgorithms_allowed = ["sha512"]',
        'allowed = ["md5"]',
        "D003 manifest-sha512.txt: sha512",
    ),
    "label": ('"Bagging-Date"', '"Contact-Fax"', "D004 bag-info.txt, Contact-Fax: none"),
    "length": (
        "characters = 20",
        "characters = 11",
        "D010 data/masters/: all 5 names, the first B14_0001.tif: 12 characters",
    ),
    "extension": ("xml|csv|toml|", "xml|csv|", "D010 data/metadata/item.toml: item.toml"),
    "a field of the bag's name": (
        "{letter:B|C}14_{number:4}",
        "{item:B|C}14_{number:4}",
        "D010 data/masters/: all 5 names, the first B14_0001.tif",
    ),
    "first number": ("numbered_from = 1\n\n[names.targets]", "numbered_from = 0\n\n[names.targets]",
                     "D011 msb-014-preservation, masters of B: no number 0"),
    "format": ('formats = ["TIFF"]', 'formats = ["JPEG 2000"]', "D020 data/masters/B14_0001.tif: TIFF"),
    "compression": ('["none"]', '["LZW"]', "D020 data/masters/B14_0001.tif: compression Uncompressed"),
    "bits": ("channel = [16]", "channel = [8]", "D020 data/masters/B14_0001.tif: 16 bits per channel"),
    "colour mode": ('["RGB"]', '["grey"]', "D020 data/masters/B14_0001.tif: RGB"),
    "ppi": ("ppi = 600", "ppi = 400", "D020 data/masters/B14_0001.tif: 600 ppi"),
    "size": ("edge_px = 200", "edge_px = 201", "D020 data/masters/B14_0001.tif: 150 × 200 px"),
    "manifest": ("pages = true", "manifest = true", "D030 msb-014-preservation: no IIIF manifest"),
    "element of MODS": ('"identifier",', '"part",', "D031 data/metadata/mets.xml, line 18: "),
    "value of MIX": ('"imageWidth",', '"meteringMode",',
                     "D032 msb-014-preservation: no meteringMode in 7 of 7 records: "),
    "checksums": ('algorithms = ["sha512"]\nevery', 'algorithms = ["sha256"]\nevery',
                  "D034 data/metadata/mets.xml: sha512 in METS for "),
    "targets": ('"colour", "flat"', '"colour", "scale"',
                "D040 msb-014-preservation, session s1: 0 of scale for 5 masters"),
    "more targets": ("every_frames = 10", "every_frames = 3",
                     "D040 msb-014-preservation, session s1: 1 of colour, 1 of flat for 5 masters"),
    "first and last": ("each_session = true", "first_and_last = true",
                       "D042 msb-014-preservation, session s1: the first frame is data/masters/B14_0001.tif"),
}  # fmt: skip


@pytest.mark.parametrize("name", STRICTER)
def test_a_stricter_term_is_broken_and_is_cited(built: World, tmp_path: Path, name: str) -> None:
    old, new, expected = STRICTER[name]
    bundle = built.bundles / "msb-014-preservation"
    findings = found(bundle, tmp_path, _terms((old, new)))
    assert findings
    assert said(findings)[0].startswith(expected)
    assert {each.code for each in findings} == {expected.split()[0]}
    assert {each.source for each in findings} == {CITATION}
    assert {each.level for each in findings} == {Level.ERROR}


def _rename(bundle: Path) -> None:
    (bundle / MASTERS / "B14_0004.tif").rename(bundle / MASTERS / "b14_4.tif")


def _stray(bundle: Path) -> None:
    (bundle / "data/readme.txt").write_text("hello")


def _no_target(bundle: Path) -> None:
    """The target was never there: no document names it."""
    (bundle / TARGETS / "B14_T001.tif").unlink()
    text = (bundle / METS).read_text()
    named = re.search(r'<mets:file ID="master.B14_T001".*?</mets:file>', text, re.DOTALL)
    assert named
    (bundle / METS).write_text(text.replace(named[0], ""))


def _grey(bundle: Path) -> None:
    make.tiff(
        bundle / MASTERS / "B14_0004.tif",
        next(each for each in make.TIFF_KINDS if each.name == "grey-16"),
        pixels=make.picture(150, 200, samples=1),
        resolution=(600, 600),
        resolutionunit="INCH",
    )


def _no_shelfmark(bundle: Path) -> None:
    edit(bundle / METS, ("<mods:shelfLocator>MS B 14</mods:shelfLocator>", "<mods:shelfLocator/>"))


def _md5_for_one(bundle: Path) -> None:
    text = (bundle / METS).read_text()
    start = text.index("<mets:file ")
    tag = text[start : text.index(">", start)]
    plain = " ".join(each for each in tag.split() if not each.startswith("CHECKSUM"))
    (bundle / METS).write_text(text.replace(tag, f'{plain} CHECKSUM="{"0" * 32}" CHECKSUMTYPE="MD5"'))


def _other_session(bundle: Path) -> None:
    edit(
        bundle / PAGES,
        ("B14_T001.tif,,target,s1", "B14_T001.tif,,target,s2"),
        ("B14_0005.tif,f. 2v,page,s1", "B14_0005.tif,f. 2v,page,s2"),
    )


BREACHES: dict[str, tuple[Callable[[Path], None], list[str]]] = {
    "a master misnamed": (_rename, ["D010 data/masters/b14_4.tif: b14_4.tif"]),
    "a file in no folder": (_stray, ["D010 data/readme.txt: readme.txt"]),
    "no colour target": (_no_target, ["D040 msb-014-preservation, session s1: 0 of colour for 5 masters"]),
    "one master in grey": (_grey, ["D020 data/masters/B14_0004.tif: grey"]),
    "an empty element": (_no_shelfmark, ["D031 data/metadata/mets.xml"]),
    "another checksum for one file": (
        _md5_for_one, ["D034 data/metadata/mets.xml: md5 in METS for data/masters/B14_0001.tif"]
    ),
    "a target in another session": (
        _other_session,
        [
            "D040 msb-014-preservation, session s1: 0 of colour for 4 masters",
            "D040 msb-014-preservation, session s2: 0 of flat for 1 master",
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BREACHES)
def test_a_breach_is_told_with_its_place(bundle: Path, tmp_path: Path, name: str) -> None:
    change, expected = BREACHES[name]
    change(bundle)
    seal(bundle)
    findings = said(found(bundle, tmp_path))
    assert [each[: len(words)] for each, words in zip(findings, expected, strict=True)] == expected


def test_a_missing_number_is_told_by_its_series(bundle: Path, tmp_path: Path) -> None:
    (bundle / MASTERS / "B14_0002.tif").unlink()
    (bundle / MASTERS / "B14_0004.tif").unlink()
    seal(bundle)
    findings = [each for each in said(found(bundle, tmp_path)) if each.startswith("D011")]
    assert findings == ["D011 msb-014-preservation, masters of B: no number 2, 4"]


def test_times_of_capture_go_before_the_order_of_the_list(bundle: Path, tmp_path: Path) -> None:
    terms = '[targets]\nrequired = ["colour"]\nfirst_and_last = true\n'
    edit(bundle / PAGES, ("B14_T001.tif,,target,s1,,24-patch\n", ""))
    text = (bundle / PAGES).read_text()
    head, _, rest = text.partition("\n")
    (bundle / PAGES).write_text(f"{head}\nB14_T001.tif,,target,s1,,24-patch\n{rest}")
    seal(bundle)
    assert said(found(bundle, tmp_path, terms)) == []  # no times: a target first, a flat last
    for at, name in enumerate(("masters/B14_0001", "targets/B14_T001", "targets/B14_F001")):
        _stamp(bundle / f"data/{name}.tif", f"2026:03:09 10:00:0{at}")
    for at, name in enumerate(("B14_0002", "B14_0003", "B14_0004", "B14_0005")):
        _stamp(bundle / f"data/masters/{name}.tif", f"2026:03:09 11:00:0{at}")
    seal(bundle)
    (words,) = said(found(bundle, tmp_path, terms))
    assert words == (
        "D042 msb-014-preservation, session s1: the first frame is data/masters/B14_0001.tif; "
        "the last frame is data/masters/B14_0005.tif"
    )


def _stamp(path: Path, when: str) -> None:
    """Write a frame that says when it was captured."""
    exif = Image.Exif()
    exif.get_ifd(34665)[36867] = when
    exif[34665] = 0  # that it is there; Pillow fills in where
    frame = Image.fromarray(make.picture(150, 200, bits=8))
    frame.save(path, format="TIFF", exif=exif, icc_profile=icc.srgb_profile(), dpi=(600, 600))


def test_without_sessions_the_bundle_is_judged_as_one_and_that_is_said(bundle: Path, tmp_path: Path) -> None:
    edit(bundle / PAGES, (",s1,", ",,"))
    seal(bundle)
    findings = found(bundle, tmp_path)
    assert said(findings) == ["D043 msb-014-preservation: none is named: judged as one"]
    assert findings[0].level is Level.NOTE


def test_a_frame_in_no_session_is_a_remark(bundle: Path, tmp_path: Path) -> None:
    edit(bundle / PAGES, ("f. 1v,page,s1", "f. 1v,page,"))
    seal(bundle)
    words = said(found(bundle, tmp_path))
    assert "D043 msb-014-preservation: data/masters/B14_0004.tif" in words


def test_images_that_do_not_decode_break_no_rule_of_terms(bundle: Path, tmp_path: Path) -> None:
    make.cut(bundle / MASTERS / "B14_0001.tif", 0.5)
    (bundle / MASTERS / "B14_0002.tif").write_bytes(b"II*\0 and no more")
    (bundle / MASTERS / "B14_0003.tif").write_bytes(b"")
    (bundle / MASTERS / "B14_0004.tif").write_text("text")
    seal(bundle)
    imaging = '[imaging]\nspecification = "fadgi-2016-bound-rare-4-star"\n'
    codes = {each.code for each in found(bundle, tmp_path, GOOD + imaging)}
    assert codes <= {"D020", "D021"}


def test_an_imaging_specification_is_kept_by_masters_and_cited(bundle: Path, tmp_path: Path) -> None:
    terms = '[imaging]\nspecification = "fadgi-2016-bound-rare-4-star"\n[folders]\nmasters = ["masters"]\n'
    make.tiff(
        bundle / MASTERS / "B14_0004.tif",
        pixels=deliver.scene(3),
        resolution=(200, 200),
        resolutionunit="INCH",
    )
    seal(bundle)
    low = [each for each in found(bundle, tmp_path, terms) if "200" in each.value]
    assert [each.place for each in low] == ["data/masters/B14_0004.tif"]
    assert "FADGI" in low[0].source


# ----------------------------------------------------------------------------- surrogates, severity


SURROGATES = "[views]\nsurrogates = true\nmax_picture_difference = 0.1\n"


def test_surrogates_may_come_in_another_bundle_of_the_group(both_in: Both, tmp_path: Path) -> None:
    by = options(SURROGATES, tmp_path)
    verified, between = deliver.judged(*both_in.paths, by=by)
    assert deliver.told(between, *(each.verdict.report for each in verified)) == []
    verified, between = deliver.judged(both_in.preservation, by=by)
    assert deliver.told(between) == ["X010 msb-014: no surrogate for any of 5 masters"]
    assert between.findings[0].source == CITATION
    verified, between = deliver.judged(both_in.publication, by=by)
    assert deliver.told(between) == ["X010 msb-014: no master for any of 5 surrogates"]


@pytest.fixture
def both_in(built: World, tmp_path: Path) -> Both:
    return deliver.copied(built, tmp_path / "delivered")


@pytest.mark.parametrize(
    ("word", "levels"), [("warning", {Level.WARNING}), ("note", {Level.NOTE}), ("off", set())]
)
def test_a_specification_weighs_rules(built: World, tmp_path: Path, word: str, levels: set[Level]) -> None:
    terms = f'[bag]\nname = "other"\n[severity]\nD001 = "{word}"\n'
    findings = found(built.bundles / "msb-014-preservation", tmp_path, terms)
    assert {each.level for each in findings} == levels


def test_structure_alone_judges_names_documents_and_targets(bundle: Path, tmp_path: Path) -> None:
    _no_target(bundle)
    _no_shelfmark(bundle)
    _rename(bundle)
    seal(bundle)
    quick = found(bundle, tmp_path, is_quick=True)
    assert {each.code for each in quick} == {"D010", "D031", "D040"}


def test_targets_that_are_known_to_be_missing_are_told_of_once(bundle: Path, tmp_path: Path) -> None:
    (bundle / TARGETS / "B14_T001.tif").unlink()
    verified, _ = judged(bundle, by=options(_terms(), tmp_path))
    assert [each[:4] for each in told(verified[0].verdict.report)] == ["B020"]


def test_documents_that_are_missing_are_told_of_together(bundle: Path, tmp_path: Path) -> None:
    (bundle / METS).unlink()
    findings = said(found(seal(bundle), tmp_path, _terms()))
    assert [each for each in findings if each.startswith("D03")] == [
        "D030 msb-014-preservation: no METS document, no MIX record for any master, no MODS record, "
        "no PREMIS record"
    ]


def test_bytes_behind_an_image_are_an_error_if_the_terms_say_so(bundle: Path, tmp_path: Path) -> None:
    path = bundle / MASTERS / "B14_0001.tif"
    path.write_bytes(path.read_bytes() + b"x")
    verified, _ = judged(seal(bundle), by=options(_terms(), tmp_path))
    assert {each.code: each.level for each in verified[0].verdict.report.findings}["I004"] is Level.ERROR
