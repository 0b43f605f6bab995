"""`solander build`: statuses, streams, batches, JSON, and what stops it."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline.cli.main import run
from pipeline.errors import Interrupted
from tests import make_item
from tests.make_item import World

Said = pytest.CaptureFixture[str]

PROGRAM = "from pipeline.cli.main import main; main()"

needs_signals = pytest.mark.skipif(
    sys.platform == "win32", reason="processes are asked to end otherwise there"
)


def test_a_build_shows_its_bundles_on_standard_output_and_progress_on_standard_error(
    world: World, capsys: Said
) -> None:
    assert run(["build", "msb-014"]) == 0
    said = capsys.readouterr()
    first, *findings = said.out.splitlines()[:-3]
    assert first == "msb-014: 7 frames done; 4 warnings, 8 notes"
    codes = [line.split()[1] for line in findings if line.split()[0] in ("note", "warning")]
    # noise has neither a target nor lines of text
    assert codes == ["Q001", "S018", "C003", "Q001", "S019", "S023"]
    assert said.out.splitlines()[-3:] == [
        "  publication   bundles/msb-014-publication",
        "  preservation  bundles/msb-014-preservation",
        "  quality       bundles/msb-014-preservation/data/metadata/quality.html",
    ]
    assert "msb-014: frames, 7 to do" in said.err
    assert all((world.root / line.split()[1]).exists() for line in said.out.splitlines()[-3:])


def test_a_second_build_says_that_nothing_is_to_be_done_and_a_changed_label_that_it_described_anew(
    world: World, capsys: Said
) -> None:
    run(["build", "msb-014"])
    capsys.readouterr()
    assert run(["build", "msb-014"]) == 0
    said = capsys.readouterr()
    assert said.out.splitlines()[0] == "msb-014: up to date, nothing to do"
    assert said.err == ""
    world.rewrite("item.toml", "Herbal and calendar", "A herbal")
    assert run(["build", "msb-014"]) == 0
    said = capsys.readouterr()
    assert said.out.startswith("msb-014: described anew, 7 frames kept from before; 4 warnings, 8 notes")


def test_a_build_says_which_findings_stopped_it_and_tells_them_first(world: World, capsys: Said) -> None:
    world.rewrite("pages.csv", ",f. 2r,page,s1,,not captured\n", "")
    master = world.masters / "B14_0004.tif"
    master.write_bytes(master.read_bytes()[:3000])
    assert run(["build", "msb-014"]) == 5
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("msb-014: stopped; 2 errors")
    assert lines[1].startswith("  error F001  ")
    assert "  no bundles were made: mend F001 and build again" in lines
    assert not world.bundles.exists()
    assert lines[-1] == "  quality       .solander/msb-014/quality.html"
    assert (world.root / ".solander/msb-014/quality.html").is_file()


def test_an_item_that_is_not_cleared_stops_before_its_masters_are_read(world: World, capsys: Said) -> None:
    world.rewrite("item.toml", "cleared = true", "cleared = false")
    assert run(["build", "msb-014"]) == 3
    said = capsys.readouterr()
    assert said.out.startswith("msb-014: stopped before any master was read; 1 error")
    assert said.out.endswith("  no bundles were made: mend C001 and build again\n")
    assert said.err == ""


def test_a_build_that_is_up_to_date_still_says_what_its_status_comes_from(world: World, capsys: Said) -> None:
    world.rewrite("pages.csv", ",f. 2r,page,s1,,not captured\n", "")
    run(["build", "msb-014"])
    capsys.readouterr()
    assert run(["build", "msb-014"]) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "msb-014: up to date, nothing to do; 1 error, 4 warnings, 8 notes"
    assert lines[-1].startswith("  quality  ")


def test_that_there_is_no_base_url_is_said_once_for_a_batch(world: World, capsys: Said) -> None:
    other = make_item.world(world.root / "other")
    other.rewrite("item.toml", 'id = "msb-014"', 'id = "msb-015"')
    for root in (world.root, other.root):
        settings = root / "solander.toml"
        settings.write_text(settings.read_text().replace('base_url = "https://images.example.org"\n', ""))
    assert run(["build", "msb-014", "other/msb-014"]) == 0
    assert capsys.readouterr().err.count("note: no base_url in a solander.toml") == 1


def test_that_nobody_is_named_as_the_holder_is_said(world: World, capsys: Said) -> None:
    (world.root / "solander.toml").unlink()
    run(["build", "msb-014"])
    said = capsys.readouterr().err
    assert "note: no solander.toml: links in the manifest begin with http://localhost:8000" in said
    assert 'the holder is called "Unnamed holder"' in said


def test_that_the_title_is_still_the_shelfmark_is_said(world: World, capsys: Said) -> None:
    world.rewrite("item.toml", "Herbal and calendar", "MS B 14")
    assert run(["build", "msb-014"]) == 0
    assert 'its title is its shelfmark, "MS B 14": readers see no other' in capsys.readouterr().err


def test_a_waiver_of_the_clearance_lets_the_build_go_on(world: World, capsys: Said) -> None:
    world.rewrite("item.toml", "cleared = true", "cleared = false")
    assert run(["build", "msb-014", "--without-clearance", "emergency capture"]) in (0, 3)
    assert (world.bundles / "msb-014-preservation").is_dir()
    assert capsys.readouterr().err


def test_a_batch_does_every_item_says_which_did_not_pass_and_ends_with_the_highest_status(
    world: World, capsys: Said
) -> None:
    broken = make_item.world(world.root / "broken")
    broken.rewrite("item.toml", 'kind = "codex"', 'kind = "codx"')
    assert run(["build", "broken/msb-014", "nowhere", "msb-014"]) == 5
    said = capsys.readouterr()
    assert "msb-014: 7 frames done" in said.out
    assert 'found "codx"' in said.err
    assert said.err.splitlines()[-3:] == [
        "solander: 2 of 3 items did not end with status 0:",
        "  broken/msb-014: 4, a settings, item or specification file is wrong",
        "  nowhere: 5, input is missing or is not what it claims to be",
    ]


def test_with_json_standard_output_is_one_document_with_every_item(world: World, capsys: Said) -> None:
    broken = make_item.world(world.root / "broken")
    broken.rewrite("item.toml", 'kind = "codex"', 'kind = "codx"')
    assert run(["build", "msb-014", "broken/msb-014", "--json"]) == 4
    good, wrong = json.loads(capsys.readouterr().out)
    assert (good["item"], good["status"], good["frames_done"]) == ("msb-014", 0, 7)
    assert {row["code"] for row in good["findings"]} == {"C003", "Q001", "S018", "S019", "S023"}
    assert (wrong["folder"], wrong["status"]) == ("broken/msb-014", 4)
    assert [problem["found"] for problem in wrong["problems"]] == ['"codx"']


def test_two_items_with_one_id_do_not_replace_each_others_bundles(world: World, capsys: Said) -> None:
    make_item.world(world.root / "other").rewrite("item.toml", "MS B 14", "MS C 1")
    assert run(["build", "msb-014", "other/msb-014"]) == 4
    said = capsys.readouterr()
    assert "its bundles would replace those of msb-014" in said.err
    assert "MS B 14" in (world.bundles / "msb-014-preservation/data/metadata/item.toml").read_text()


def test_problems_of_one_kind_are_told_once_with_their_places(world: World, capsys: Said) -> None:
    world.rewrite("item.toml", '[[session]]\nid = "s1"', '[[session]]\nid = "s2"')
    assert run(["build", "msb-014"]) == 4
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 3
    assert lines[1].startswith('  - pages.csv, row 2, column "session": found "s1"')
    assert lines[2].endswith('… pages.csv, row 9, column "session" (7 places)')


def test_a_long_list_of_problems_is_cut_and_whole_in_json(world: World, capsys: Said) -> None:
    with (world.item / "pages.csv").open("a", encoding="utf-8") as pages:
        pages.writelines(f",f. {number}r,kind {number},s1,,\n" for number in range(3, 60))
    assert run(["build", "msb-014", "--json"]) == 4
    said = capsys.readouterr()
    assert len(said.err.splitlines()) == 1 + 30 + 1
    assert said.err.splitlines()[-1] == "  … and 27 more problems; --json gives all of them"
    assert len(json.loads(said.out)[0]["problems"]) == 57


@pytest.mark.parametrize("option", ["--out", "--work"])
def test_a_folder_that_is_a_file_is_refused_before_any_work(world: World, option: str, capsys: Said) -> None:
    (world.root / "note.txt").write_text("a note")
    assert run(["build", "msb-014", option, "note.txt"]) == 2
    said = capsys.readouterr().err
    assert 'found "note.txt", which is a file, expected a folder' in said
    assert "to do" not in said


@pytest.mark.parametrize("clock", ["", "yesterday", "-5", "1.5", "1_000", "1773133200000"])
def test_a_wrong_clock_is_status_4_also_as_json(
    world: World, clock: str, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", clock)
    assert run(["build", "msb-014", "--json"]) == 4
    said = capsys.readouterr()
    assert "SOURCE_DATE_EPOCH" in said.err
    assert json.loads(said.out)["problems"][0]["found"] == f'"{clock}"'


@pytest.mark.parametrize("address", ["nonsense", "http://host:1", "tcp://host", "tcp://host:port"])
def test_what_is_no_address_of_a_scheduler_is_refused(world: World, address: str, capsys: Said) -> None:
    assert run(["build", "msb-014", "--scheduler", address]) == 2
    assert "such as tcp://host:8786" in capsys.readouterr().err


def test_an_interruption_ends_the_batch_and_json_still_tells_what_was_done(
    world: World, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    from pipeline import run as runs

    def interrupted(*_: object) -> None:
        raise Interrupted("interrupted; run again to go on")

    monkeypatch.setattr(runs, "build_item", interrupted)
    assert run(["build", "msb-014", "nowhere", "--json"]) == 130
    said = capsys.readouterr()
    assert [each["status"] for each in json.loads(said.out)] == [130]
    assert said.err.startswith("solander: interrupted; run again to go on")


# ------------------------------------------------------------------------------------ real processes


def _begun(world: World) -> subprocess.Popen[str]:
    """Start a build, and return when its first frame has begun."""
    started = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, "build", "msb-014", "--jobs", "1", "--json"],
        cwd=world.root,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    ends = time.monotonic() + 30
    while not list(world.root.glob(".solander/msb-014/frames/*")):
        assert time.monotonic() < ends
        assert started.poll() is None
        time.sleep(0.002)
    return started


@needs_signals
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_stopped_build_ends_with_130_without_a_traceback_and_the_next_goes_on(
    world: World, name: str, capsys: Said
) -> None:
    started = _begun(world)
    os.killpg(started.pid, getattr(signal, name))  # as a terminal does, to all processes at once
    out, err = started.communicate(timeout=30)
    assert started.returncode == 130
    assert "Traceback" not in err
    if name != "SIGTERM":  # that one ends the workers too
        assert "stopping when what is in hand is finished" in err
    assert [each["status"] for each in json.loads(out)] == [130]
    assert not world.bundles.exists()
    assert run(["build", "msb-014", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["frames_done"] < 8


@needs_signals
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_a_second_request_to_stop_does_not_wait_and_shows_no_traceback(world: World, name: str) -> None:
    started = _begun(world)
    os.killpg(started.pid, getattr(signal, name))
    time.sleep(0.05)
    os.killpg(started.pid, getattr(signal, name))
    _, err = started.communicate(timeout=30)
    assert started.returncode == 130
    assert "Traceback" not in err
