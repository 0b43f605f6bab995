"""`solander verify`: what is said and written, statuses, mistakes."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from pipeline import acceptance
from pipeline.cli.main import run
from pipeline.verify import Verified, verify
from tests import make_item
from tests.verify import deliver

Said = pytest.CaptureFixture[str]
NAMES = ("msb-014-preservation", "msb-014-publication")
HEAD = '[delivery]\nid = "terms"\ntitle = "Terms"\nversion = "1"\nholder = "Aldermoor Library"\n'


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> make_item.World:
    """An item with its bundles, made once."""
    return deliver.build(tmp_path_factory.mktemp("built"))


@pytest.fixture
def bundles(built: make_item.World, place: Path) -> Path:
    """The folder that we stand in, with copies of both bundles in it."""
    deliver.copied(built, place)
    return place


def alter(path: Path) -> None:
    """Change one byte."""
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def state(folder: Path) -> dict[str, tuple[int, bytes]]:
    return {
        str(path.relative_to(folder)): (path.stat().st_mtime_ns, path.read_bytes() if path.is_file() else b"")
        for path in folder.rglob("*")
    }


# ------------------------------------------------------------------------------------- what is said


def test_a_good_bundle_is_accepted_and_its_report_named(bundles: Path, capsys: Said) -> None:
    assert run(["verify", NAMES[1]]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("msb-014-publication: accepted; ")
    assert lines[-1] == "  report  reports/msb-014-publication.html"


def test_several_bundles_have_a_line_each_and_a_summary(bundles: Path, capsys: Said) -> None:
    assert run(["verify", *NAMES]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.partition(";")[0] for line in lines] == [
        "msb-014-preservation: accepted",
        "msb-014-publication: accepted",
        "2 bundles: 2 accepted",
        "  summary  reports/delivery.html",
    ]
    assert sorted(path.name for path in (bundles / "reports").iterdir()) == [
        "delivery.csv",
        "delivery.html",
        *(f"{name}.{kind}" for name in NAMES for kind in ("html", "json")),
    ]


def test_a_rejected_bundle_is_status_3_with_place_limit_and_advice(bundles: Path, capsys: Said) -> None:
    (bundles / NAMES[0] / "data/masters/B14_0004.tif").unlink()
    assert run(["verify", NAMES[0]]) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("msb-014-preservation: rejected; ")
    assert any("data/masters/B14_0004.tif" in line for line in lines)
    assert any(line.startswith("      → ") for line in lines)


def test_an_altered_file_is_status_6(bundles: Path, capsys: Said) -> None:
    alter(bundles / NAMES[0] / "data/masters/B14_0004.tif")
    assert run(["verify", *NAMES]) == 6
    assert "msb-014-preservation: rejected" in capsys.readouterr().out


def test_the_highest_status_of_a_batch_counts(bundles: Path, capsys: Said) -> None:
    (bundles / NAMES[0] / "data/metadata/pages.csv").unlink()
    assert run(["verify", *NAMES, "nowhere"]) == 5
    said = capsys.readouterr()
    assert "nowhere: is not there" in said.err
    assert "2 of 3 items did not end with status 0" in said.err
    assert "3 bundles: 1 accepted, 1 rejected, 1 not judged" in said.out


def test_what_differs_between_two_bundles_is_status_3_and_said(bundles: Path, capsys: Said) -> None:
    access = bundles / NAMES[1] / "data/access/msb-014"
    shutil.copy(access / "B14_0002.jpg", access / "B14_0004.jpg")
    deliver.seal(bundles / NAMES[1])
    assert run(["verify", *NAMES, "--json"]) == 3
    *documents, between = json.loads(capsys.readouterr().out)
    assert between["status"] == 3
    assert [each["code"] for each in between["findings"]] == ["X011"]
    assert between["report"] == "reports/delivery.html"
    assert len(documents) == 2


def test_json_has_a_document_for_each_bundle(bundles: Path, capsys: Said) -> None:
    assert run(["verify", *NAMES, "--json"]) == 0
    documents = json.loads(capsys.readouterr().out)
    assert [(each["bundle"], each["status"], each["outcome"], each["report"]) for each in documents] == [
        (name, 0, "accepted", f"reports/{name}.json") for name in NAMES
    ]
    report = json.loads(Path(documents[0]["report"]).read_text())
    assert report["bundle"]["name"] == NAMES[0]


def test_quick_says_that_structure_alone_was_judged(bundles: Path, capsys: Said) -> None:
    alter(bundles / NAMES[0] / "data/masters/B14_0004.tif")
    assert run(["verify", NAMES[0], "--quick"]) == 0
    assert "structure alone" in capsys.readouterr().out
    report = json.loads((bundles / f"reports/{NAMES[0]}.json").read_text())
    assert "B070" in json.dumps(report["not_judged"])


@pytest.mark.parametrize("options", [[], ["--quick"]])
def test_a_sample_is_laid_out_on_contact_sheets(bundles: Path, options: list[str], capsys: Said) -> None:
    assert run(["verify", NAMES[0], "--sample", *options]) == 0
    sheets = (bundles / f"reports/{NAMES[0]}.contact-sheets.html").read_text()
    assert "f. 1r" in sheets
    assert sheets.count("data:image/jpeg;base64,") == 5
    report = json.loads((bundles / f"reports/{NAMES[0]}.json").read_text())
    assert report["sample"]["lot_size"] == 5


def test_bundles_of_one_name_get_reports_of_their_own(bundles: Path, capsys: Said) -> None:
    shutil.copytree(NAMES[0], f"again/{NAMES[0]}")
    assert run(["verify", NAMES[0], f"again/{NAMES[0]}", "--json"]) == 0
    *documents, between = json.loads(capsys.readouterr().out)
    reports = [each["report"] for each in documents]
    assert reports == [f"reports/{NAMES[0]}.json", f"reports/{NAMES[0]}-2.json"]
    assert [each["code"] for each in between["findings"]] == ["X012"]  # the same bundle twice


@pytest.mark.parametrize("path", ["data/iiif/msb-014/manifest.json", "data/metadata/msb-014/mets.xml"])
def test_a_bare_document_is_judged(bundles: Path, path: str, capsys: Said) -> None:
    assert run(["verify", f"{NAMES[1]}/{path}"]) == 0
    assert "accepted" in capsys.readouterr().out


# ------------------------------------------------------------------------------------- what is written


def test_nothing_is_changed_and_nothing_written_but_reports(bundles: Path, capsys: Said) -> None:
    before = state(bundles)
    assert run(["verify", *NAMES, "--sample", "--report", "out/reports"]) == 0
    after = state(bundles)
    written = {path for path in after if path not in before}
    assert all(path == "out" or path.startswith("out/reports") for path in written)
    assert {path: after[path] for path in before} == before


def test_the_same_call_at_the_same_time_gives_the_same_bytes(bundles: Path, capsys: Said) -> None:
    alter(bundles / NAMES[0] / "data/masters/B14_0004.tif")
    (bundles / NAMES[1] / "data/access/msb-014/B14_0002.jpg").unlink()
    for folder in ("one", "two"):
        assert run(["verify", *NAMES, "--sample", "--report", folder, "--jobs", "2"]) == 6
    assert make_item.tree(bundles / "one") == make_item.tree(bundles / "two")


# ------------------------------------------------------------------------------------------ mistakes


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("nowhere", "is not there"),
        ("note.txt", "is neither an archive nor an XML or JSON document"),
        ("empty.tar", "is neither an archive"),
    ],
)
def test_what_cannot_be_judged_is_status_5(place: Path, path: str, message: str, capsys: Said) -> None:
    (place / "note.txt").write_text("a note")
    (place / "empty.tar").write_bytes(b"")
    assert run(["verify", path]) == 5
    said = capsys.readouterr()
    assert said.err.startswith(f"solander: {path}: {message}")
    assert said.out == ""
    assert not (place / "reports").exists()


def test_a_folder_that_is_no_bag_is_rejected_with_the_way_out(place: Path, capsys: Said) -> None:
    (place / "scans").mkdir()
    assert run(["verify", "scans"]) == 3
    out = capsys.readouterr().out
    assert "B001" in out
    assert "→ Deliver the bag's own folder" in out


def test_a_folder_of_bundles_in_place_of_a_bundle_is_known_for_what_it_is(
    bundles: Path, capsys: Said
) -> None:
    assert run(["verify", ".", "--report", "../reports"]) == 3
    out = capsys.readouterr().out
    assert "no bagit.txt, but one in each of 2 folders in it; expected one" in out
    assert "Of a folder of bags each is given by itself, as in delivery/*" in out


SPECIFICATIONS = {
    "an imaging specification": ('[specification]\nid = "x"\n', "is not a delivery specification"),
    "a record of an item": ('[item]\nid = "x"\n', "the record of an item"),
    "no TOML": ("[delivery\n", "is not TOML"),
    "a key misspelt": (f"{HEAD}[baag]\n", "baag"),
    "an unknown code": (
        f'{HEAD}[severity]\nZ999 = "off"\n',
        "[severity] names no rules of verification: Z999",
    ),
    "a code of another command": (f'{HEAD}[severity]\nF001 = "off"\n', "F001"),
    "several mistakes": (f'{HEAD}[bag]\nversions = ["2.0"]\nlabels = 3\n', "2 problems"),
}


@pytest.mark.parametrize("name", SPECIFICATIONS)
def test_a_wrong_specification_is_status_4_and_nothing_is_judged(
    bundles: Path, name: str, capsys: Said
) -> None:
    text, message = SPECIFICATIONS[name]
    (bundles / "terms.toml").write_text(text)
    assert run(["verify", NAMES[0], "--specification", "terms.toml"]) == 4
    said = capsys.readouterr()
    assert message in said.err
    assert "Traceback" not in said.err
    assert said.out == ""
    assert not (bundles / "reports").exists()


def test_the_name_of_an_imaging_specification_is_told_from_a_path(bundles: Path, capsys: Said) -> None:
    assert run(["verify", NAMES[0], "--specification", "fadgi-2016-bound-rare-4-star"]) == 4
    assert "the name of an imaging specification" in capsys.readouterr().err


def test_terms_that_are_broken_reject_and_are_cited(bundles: Path, capsys: Said) -> None:
    (bundles / "terms.toml").write_text(f'{HEAD}[bag]\nname = "b{{number:4}}"\n')
    assert run(["verify", NAMES[0], "--specification", "terms.toml", "--json"]) == 3
    (document,) = json.loads(capsys.readouterr().out)
    (finding,) = [each for each in document["findings"] if each["level"] == "error"]
    assert (finding["code"], finding["source"]) == ("D001", "Terms, version 1")


def test_reports_are_not_written_into_a_bundle(bundles: Path, capsys: Said) -> None:
    before = state(bundles)
    for reports in (NAMES[0], f"{NAMES[0]}/data/reports", f"./x/../{NAMES[0]}/reports"):
        assert run(["verify", NAMES[0], "--report", reports]) == 2
        assert f'inside the bundle "{NAMES[0]}"' in capsys.readouterr().err
    os.chdir(NAMES[0])
    assert run(["verify", "."]) == 2
    assert state(bundles) == before


def test_a_file_in_place_of_the_report_folder_is_a_mistake(bundles: Path, capsys: Said) -> None:
    (bundles / "reports").write_text("a file")
    assert run(["verify", NAMES[0]]) == 2
    assert "which is a file, expected a folder" in capsys.readouterr().err


def test_a_report_folder_that_cannot_be_written_is_status_7(
    bundles: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert run(["verify", NAMES[0], "--report", "out"]) == 7
    assert "give another folder as '--report'" in capsys.readouterr().err


def test_a_folder_in_place_of_a_report_is_status_7_and_others_go_on(bundles: Path, capsys: Said) -> None:
    (bundles / f"reports/{NAMES[0]}.json").mkdir(parents=True)
    assert run(["verify", *NAMES]) == 7
    said = capsys.readouterr()
    assert f"reports/{NAMES[0]}.json: cannot be written" in said.err
    assert "msb-014-publication: accepted" in said.out


def test_what_an_interrupted_run_did_not_judge_stands_in_the_summary(
    bundles: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    """Whoever opens the summary later must not take a part of the delivery for the whole of it."""

    def judge(path: Path, *rest: Any) -> Verified:
        if path.name == NAMES[1]:
            raise KeyboardInterrupt
        return verify(path, *rest)

    monkeypatch.setattr(acceptance, "verify", judge)
    assert run(["verify", *NAMES, "third"]) == 130
    said = capsys.readouterr()
    assert "3 bundles: 1 accepted, 2 not judged" in said.out
    assert "run again to go on" not in said.err  # it begins anew
    table = (bundles / "reports/delivery.csv").read_text("utf-8-sig")
    reason = "not judged,,,,,,,,,,the run was interrupted before it was judged"
    assert [line for line in table.splitlines() if line.endswith(reason)] == [
        f"{name},{name},,{reason}" for name in (NAMES[1], "third")
    ]


@pytest.mark.parametrize("name", ["a\x1b[31mb", "x\u202etxt", "<b>", "B\udcfcch"])
def test_names_are_shown_escaped(place: Path, name: str, capsys: Said) -> None:
    (place / name).mkdir()
    status = run(["verify", name])
    said = capsys.readouterr()
    assert status in (3, 5)
    assert "\x1b[31m" not in said.out + said.err
    assert "\u202e" not in said.out + said.err
    for page in (place / "reports").glob("*.html"):
        assert not {name} & {"<b>"} or "<b>" not in page.read_text()
        assert not {"\x1b", "\u202e"} & set(page.read_text())


def test_help_says_what_can_be_given(capsys: Said) -> None:
    assert run(["verify", "--help"]) == 0
    out = capsys.readouterr().out
    assert all(word in out for word in ("BUNDLE", "--specification", "--quick", "--sample", "--report"))
