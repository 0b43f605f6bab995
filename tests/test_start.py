from __future__ import annotations

import csv
import datetime as dt
import os
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError, SettingsError
from pipeline.headers import read_header
from pipeline.model import (
    CaptureFacts,
    FrameKind,
    ItemKind,
    LightKind,
    MasterFacts,
    MasterFormat,
    Rational,
    ResolutionUnit,
)
from pipeline.record import ItemFolder, load_item, load_settings
from pipeline.start import new_item_folder
from tests import make

TODAY = dt.date(2026, 3, 20)


def facts(
    *,
    day: str = "2026-03-09",
    ppi: int = 600,
    width_px: int = 3600,
    height_px: int = 5100,
    orientation: int = 1,
) -> MasterFacts:
    return MasterFacts(
        format=MasterFormat.TIFF,
        media_type="image/tiff",
        size_bytes=1,
        width_px=width_px,
        height_px=height_px,
        bits_per_sample=(16, 16, 16),
        photometric="RGB",
        compression="Uncompressed",
        orientation=orientation,
        resolution_unit=ResolutionUnit.INCH,
        x_resolution=Rational(numerator=ppi),
        y_resolution=Rational(numerator=ppi),
        capture=CaptureFacts(captured_at=f"{day}T10:11:12+01:00" if day else ""),
    )


def masters_named(folder: Path, names: Sequence[str]) -> Path:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return folder


def started(
    tmp_path: Path, names: Sequence[str], *, by_name: Mapping[str, MasterFacts | None] | None = None
) -> Path:
    """Start an item in `tmp_path`/item from masters of these names, and return its folder."""
    masters = masters_named(tmp_path / "masters", names)
    folder = tmp_path / "item"
    known = by_name or {}
    written = new_item_folder(
        folder, masters, read_facts=lambda p: known.get(p.name, facts()) if known else None, today=TODAY
    )
    assert written == (folder / "item.toml", folder / "pages.csv")
    return folder


def loaded(folder: Path) -> ItemFolder:
    return load_item(folder, load_settings(None))


def document(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "item.toml").read_text(encoding="utf-8"))


CODEX = (
    *("B14_T001.tif", "B14_flat.tif", "B14_front_cover.tif", "B14_back_cover.tif", "B14_spine.tif"),
    *("B14_001r.tif", "B14_001v.tif", "B14_001r_raking_left.tif", "B14_f_i_r.tif", "B14_001v-002r.tif"),
)


def test_what_is_written_can_be_loaded_as_it_stands(tmp_path: Path) -> None:
    opened = loaded(started(tmp_path, CODEX))
    item = opened.item
    assert (item.identifier, item.shelfmark, item.kind) == ("b14", "B14", ItemKind.CODEX)
    assert [view.label for view in item.views if view.kind.is_reading_matter] == [
        *("front cover", "f. i r", "f. 1r", "ff. 1v–2r", "f. 1v", "back cover", "spine"),
    ]
    assert [frame.kind for frame in item.frames[-2:]] == [FrameKind.TARGET, FrameKind.FLAT]
    raking = [frame for frame in item.frames if frame.light.kind is LightKind.RAKING]
    assert [(frame.label, frame.light.qualifier) for frame in raking] == [("f. 1r", "left")]
    assert opened.masters.resolve() == (tmp_path / "masters").resolve()


def test_nothing_is_cleared_and_the_file_says_who_must_clear_it(tmp_path: Path) -> None:
    folder = started(tmp_path, CODEX)
    assert loaded(folder).item.care.cleared is False
    text = (folder / "item.toml").read_text(encoding="utf-8")
    assert "conservator must clear" in text
    assert "fill in" in text


def test_every_remark_that_is_a_setting_may_be_used_as_it_stands(tmp_path: Path) -> None:
    folder = started(tmp_path, CODEX)
    text = (folder / "item.toml").read_text(encoding="utf-8")
    lines = [
        line.removeprefix("# ") if line.startswith(("# [", "# ")) and _is_setting(line[2:]) else line
        for line in text.splitlines()
    ]
    used = "\n".join(lines).replace('to = "f. 6v"', 'to = "f. 1v"')
    assert len(tomllib.loads(used)["session"][0]) == 9
    (folder / "item.toml").write_text(used, encoding="utf-8")
    item = loaded(folder).item
    assert item.sections[0].label.best("en") == "Calendar"
    assert item.date == "c. 1380"
    assert item.care.assessed_on == dt.date(2026, 3, 2)


def _is_setting(text: str) -> bool:
    return text.startswith("[[") or (" = " in text and text.split(" = ")[0].replace("_", "").isalpha())


def test_dates_and_resolution_are_taken_from_the_frames(tmp_path: Path) -> None:
    names = ("B14_001r.tif", "B14_001v.tif", "B14_002r.tif", "B14_T001.tif")
    by_name = {
        "B14_002r.tif": facts(day="2026-03-11", ppi=400),
        "B14_T001.tif": facts(day="", ppi=300),  # of a minority, so not the session's
    }
    folder = started(tmp_path, names, by_name=by_name)
    item = loaded(folder).item
    assert [(s.identifier, s.date, s.ppi) for s in item.sessions] == [
        ("s1", dt.date(2026, 3, 9), 600),
        ("s2", dt.date(2026, 3, 11), 400),
    ]
    assert [frame.session for frame in item.frames] == ["s1", "s1", "s2", "s1"]
    # 5100 and 3600 px at 600 ppi: 215.9 and 152.4 mm, table and margins included: no size of the object yet
    assert "# size_mm = [216, 152] " in (folder / "item.toml").read_text("utf-8")
    assert item.size_mm == ()


def test_a_turned_frame_gives_the_size_that_is_seen(tmp_path: Path) -> None:
    by_name = {"a_1r.tif": facts(width_px=5100, height_px=3600, orientation=6)}
    text = (started(tmp_path, ("a_1r.tif",), by_name=by_name) / "item.toml").read_text("utf-8")
    assert "# size_mm = [216, 152] " in text


@pytest.mark.parametrize("ppi", [1, 72, 96])
def test_a_placeholder_is_not_taken_for_the_resolution(tmp_path: Path, ppi: int) -> None:
    by_name = {name: facts(ppi=ppi) for name in ("B14_001r.tif", "B14_001v.tif")}
    item = loaded(started(tmp_path, tuple(by_name), by_name=by_name)).item
    assert item.sessions[0].ppi is None
    assert item.size_mm == ()


def test_frames_that_say_nothing_get_one_session_of_today_and_it_is_said(tmp_path: Path) -> None:
    folder = started(tmp_path, CODEX)
    assert [session.date for session in loaded(folder).item.sessions] == [TODAY]
    assert "the frames do not say" in (folder / "item.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("day", ["0000:00:00", "2026-13-40", "yesterday"])
def test_a_date_that_no_calendar_has_is_passed_over(tmp_path: Path, day: str) -> None:
    by_name = {"a_1r.tif": facts(day=day)}
    assert loaded(started(tmp_path, ("a_1r.tif",), by_name=by_name)).item.sessions[0].date == TODAY


def test_facts_come_from_real_headers_too(tmp_path: Path) -> None:
    masters = tmp_path / "masters"
    masters.mkdir()
    made = make.tiff_with_exif(masters / "B14_001r.tif")
    said = read_header(made).facts
    new_item_folder(tmp_path / "item", masters, read_facts=lambda p: read_header(p).facts, today=TODAY)
    session = loaded(tmp_path / "item").item.sessions[0]
    assert said.ppi
    assert session.ppi == said.ppi[0]
    assert session.date.isoformat() == said.capture.captured_at[:10]


# ---------------------------------------------------------------------------------- never overwriting


@pytest.mark.parametrize("there", [("item.toml",), ("pages.csv",), ("item.toml", "pages.csv")])
def test_files_that_are_there_are_never_overwritten(tmp_path: Path, there: tuple[str, ...]) -> None:
    masters = masters_named(tmp_path / "masters", CODEX)
    folder = tmp_path / "item"
    folder.mkdir()
    for name in there:
        (folder / name).write_text("mine")
    with pytest.raises(SettingsError, match="nothing was written") as caught:
        new_item_folder(folder, masters, read_facts=lambda _: None, today=TODAY)
    assert [problem.where for problem in caught.value.problems] == list(there)
    assert sorted(path.name for path in folder.iterdir()) == sorted(there)
    assert all((folder / name).read_text() == "mine" for name in there)


def test_a_dangling_link_is_not_written_through(tmp_path: Path) -> None:
    masters = masters_named(tmp_path / "masters", CODEX)
    folder = tmp_path / "item"
    folder.mkdir()
    (folder / "item.toml").symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(SettingsError):
        new_item_folder(folder, masters, read_facts=lambda _: None, today=TODAY)
    assert not (tmp_path / "elsewhere.toml").exists()


def test_a_folder_without_images_is_refused(tmp_path: Path) -> None:
    masters = masters_named(tmp_path / "masters", ("notes.txt", ".hidden.tif"))
    with pytest.raises(InputError, match="holds no image"):
        new_item_folder(tmp_path / "item", masters, read_facts=lambda _: None, today=TODAY)
    assert not (tmp_path / "item").exists()


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not a folder"):
        new_item_folder(tmp_path / "item", tmp_path / "none", read_facts=lambda _: None, today=TODAY)


@pytest.mark.parametrize("name", ["B14_001r .tif ", "B14\\001r.tif", "B14\n001r.tif", "~B14.tif"])
def test_names_that_a_page_list_cannot_hold_are_refused_by_name(tmp_path: Path, name: str) -> None:
    masters = masters_named(tmp_path / "masters", (name if name.endswith("tif") else f"{name[:-1]} .tif ",))
    masters = masters_named(masters, ("fine.tif",))
    if name.endswith(" "):
        (masters / " first.tif").touch()
    with pytest.raises(InputError, match="nothing was written") as caught:
        new_item_folder(tmp_path / "item", masters, read_facts=lambda _: None, today=TODAY)
    assert len(caught.value.problems) == 1
    assert "rename" in caught.value.problems[0].advice
    assert not (tmp_path / "item").exists()


def test_a_path_that_is_no_text_cannot_be_written_down(tmp_path: Path) -> None:
    masters = masters_named(tmp_path / os.fsdecode(b"caf\xe9"), ["1.tif"])
    with pytest.raises(InputError, match="nothing was written"):
        new_item_folder(tmp_path / "item", masters, read_facts=lambda _: None, today=TODAY)
    assert not (tmp_path / "item").exists()


def test_a_folder_whose_name_is_no_text_gives_the_shelfmark_what_can_be_read(tmp_path: Path) -> None:
    folder = tmp_path / os.fsdecode(b"MS caf\xe9")
    masters = masters_named(folder / "masters", ["1.tif"])
    new_item_folder(folder, masters, read_facts=lambda _: facts(), today=TODAY)
    assert loaded(folder).item.shelfmark == "MS caf"


def test_starting_twice_elsewhere_writes_the_same_bytes_and_leaves_masters_alone(tmp_path: Path) -> None:
    masters = masters_named(tmp_path / "masters", CODEX)
    before = {path: path.stat() for path in masters.iterdir()}
    for name in ("one", "two"):
        new_item_folder(tmp_path / name, masters, read_facts=lambda _: facts(), today=TODAY)
    for name in ("item.toml", "pages.csv"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    assert {path: path.stat() for path in masters.iterdir()} == before


# ------------------------------------------------------------------------------------- details of form


@pytest.mark.parametrize("place", ["item/masters", "item", "elsewhere/deep", "item/scans"])
def test_masters_are_found_wherever_they_lie(tmp_path: Path, place: str) -> None:
    masters = masters_named(tmp_path / place, ("a_001r.tif",))
    new_item_folder(tmp_path / "item", masters, read_facts=lambda _: None, today=TODAY)
    opened = loaded(tmp_path / "item")
    assert opened.masters.resolve() == masters.resolve()
    assert "\\" not in document(tmp_path / "item")["item"]["masters"]


def test_a_page_list_in_ascii_has_no_byte_order_mark_and_any_other_has_one(tmp_path: Path) -> None:
    # Spreadsheets take a list without the mark for text in an older encoding.
    plain = started(tmp_path / "a", ("a_001r.tif",)) / "pages.csv"
    other = started(tmp_path / "b", ("a_001v-002r.tif",)) / "pages.csv"
    assert plain.read_bytes().startswith(b"file,label,kind,session,light,note\n")
    assert other.read_bytes().startswith(b"\xef\xbb\xbffile,")


def test_commas_and_quotes_in_names_survive(tmp_path: Path) -> None:
    names = ('MS "B", 14_001r.tif', 'MS "B", 14_001v.tif')
    folder = started(tmp_path, names)
    with (folder / "pages.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["file"] for row in csv.DictReader(file)] == list(names)
    assert loaded(folder).item.shelfmark == 'MS "B", 14'


@pytest.mark.parametrize(
    ("names", "kind"),
    [
        (("t_obverse.tif", "t_reverse.tif", "t_left_edge.tif"), ItemKind.TABLET),
        (("s_recto.tif", "s_verso.tif", "s_recto_uv.tif"), ItemKind.SHEET),
        (("c_001r.tif", "c_001v.tif", "c_002r.tif"), ItemKind.CODEX),
        (("c_0001.tif", "c_0002.tif"), ItemKind.CODEX),
    ],
)
def test_the_kind_of_item_is_guessed_from_what_its_frames_show(
    tmp_path: Path, names: tuple[str, ...], kind: ItemKind
) -> None:
    assert loaded(started(tmp_path, names)).item.kind is kind


def test_leaves_that_stand_out_of_their_order_are_listed_as_they_stand(tmp_path: Path) -> None:
    names = ("0001_f002r.tif", "0002_f002v.tif", "0003_f001r.tif", "0004_f001v.tif")
    assert loaded(started(tmp_path, names)).item.follows_foliation is False


STEMS = st.sampled_from(
    ["{n:03}{s}", "{n:04}_{s}", "fol{n}{s}", "f{n:03}{s}", "p{n:03}", "{n:04}", "page-{n}", "{n:03}v-{m:03}r"]
)
EXTRAS = st.lists(
    st.sampled_from(
        [
            *("front_cover", "back_cover", "spine", "fore-edge", "head", "front_pastedown", "T001", "flat"),
            *(
                "front_flyleaf_i_r",
                "back_flyleaf_ii_v",
                "obverse",
                "reverse",
                "001r_uv",
                "001r_ir940",
                "chart",
            ),
        ]
    ),
    unique=True,
    max_size=6,
)
PREFIXES = st.sampled_from(
    ["", "B14_", "MS-B-14_", "CON_", "Ælfric_", "Ms. germ. 12_", "رسالة_", 'a "b"_', "x" * 90 + "_", "…_"]
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(PREFIXES, STEMS, st.integers(1, 12), EXTRAS, st.sampled_from([".tif", ".TIF", ".jp2"]))
def test_what_is_written_loads_whatever_family_the_names_are_of(
    prefix: str, stem: str, count: int, extras: list[str], suffix: str
) -> None:
    stems = [stem.format(n=n, m=n + 1, s=s) for n in range(1, count + 1) for s in "rv"]
    names = [f"{prefix}{each}{suffix}" for each in dict.fromkeys([*stems, *extras])]
    with tempfile.TemporaryDirectory() as temporary:
        opened = loaded(started(Path(temporary), names))
    assert sorted(str(frame.file) for frame in opened.item.frames) == sorted(names)
