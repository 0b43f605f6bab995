from __future__ import annotations

import functools
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import files, wrap
from pipeline.errors import FixityError, InputError, SettingsError, ToolError
from pipeline.model import Algorithm, LanguageMap, Settings
from pipeline.receipts import read as read_receipt
from pipeline.receipts import write as write_receipt
from pipeline.specs import bagit
from tests import make_bags
from tests.make_bags import SHA512, TWO

ROOT = Path(__file__).parent.parent


@pytest.fixture
def bundles(tmp_path: Path) -> Path:
    return tmp_path / "bundles"


@pytest.fixture
def plan(tmp_path: Path) -> wrap.BagPlan:
    return make_bags.preservation_plan(tmp_path / "item")


# ------------------------------------------------------------------------------------------- the bag


@pytest.mark.parametrize("algorithms", [SHA512, TWO, tuple(Algorithm)], ids=len)
def test_both_kinds_of_bag_are_valid_to_the_bagit_library(
    algorithms: tuple[Algorithm, ...], tmp_path: Path, bundles: Path
) -> None:
    for plan in (make_bags.preservation_plan(tmp_path, algorithms), make_bags.publication_plan(algorithms)):
        wrap.seal(plan, bundles)
        assert make_bags.library_problems(bundles / plan.name) == ()


def test_tag_files_are_as_the_standard_spells_them(plan: wrap.BagPlan, bundles: Path) -> None:
    """RFC 8493, sections 2.1.1, 2.1.3, 2.2.1 and the example of section 4.1."""
    wrap.seal(plan, bundles)
    bag = bundles / plan.name
    assert (bag / "bagit.txt").read_bytes() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    lines = (bag / "manifest-sha512.txt").read_bytes().decode().split("\n")
    assert lines.pop() == ""
    assert all(re.fullmatch(r"[0-9a-f]{128}  data/\S+", line) for line in lines)
    assert [line[130:] for line in lines] == sorted(f"data/{path}" for path in make_bags.PRESERVATION)
    tags = (bag / "tagmanifest-sha512.txt").read_text().splitlines()
    assert [line[130:] for line in tags] == ["bag-info.txt", "bagit.txt", "manifest-sha512.txt"]


def test_manifests_are_what_sha512sum_checks(plan: wrap.BagPlan, bundles: Path) -> None:
    """The coreutils' tool is the outside reader of the format."""
    tool = shutil.which("sha512sum")
    if tool is None:
        pytest.skip("no sha512sum on this system")
    wrap.seal(plan, bundles)
    for name in ("manifest-sha512.txt", "tagmanifest-sha512.txt"):
        command = [tool, "--check", "--strict", "--quiet", name]
        assert subprocess.run(command, cwd=bundles / plan.name, check=False).returncode == 0


def test_bag_info_tells_whose_what_and_how_much(plan: wrap.BagPlan, bundles: Path) -> None:
    wrap.seal(plan, bundles)
    assert make_bags.library_info(bundles / plan.name) == {
        "Source-Organization": "Aldermoor Library",
        "Organization-Address": "1 Weir Lane Aldermoor",
        "Contact-Name": "Imaging unit",
        "Contact-Phone": "+00 555 0100",
        "Contact-Email": "imaging@aldermoor.example.org",
        "External-Description": "Herbal and calendar (MS B 14). Preservation bundle: master images, "
        "target frames and their description",
        "External-Identifier": ["msb-014", "MS B 14", "local:catalogue 1873, no. 212"],
        "Bagging-Date": "2026-03-10",
        "Bag-Size": "56 bytes",
        "Payload-Oxum": "56.8",
        "Bag-Group-Identifier": "msb-014",
        "Bag-Software-Agent": "solander 0.1.0",
        "BagIt-Profile-Identifier": bagit.PRESERVATION_PROFILE,
    }


def test_what_the_unit_does_not_say_is_left_out() -> None:
    bare = Settings(
        holder=replace(make_bags.SETTINGS.holder, name=LanguageMap(), address="", contact_name="")
    )
    labels = {label for label, _ in make_bags.plan((), settings=bare).info}
    assert not labels & {"Source-Organization", "Organization-Address", "Contact-Name"}


@given(st.text(max_size=400))
def test_bag_info_survives_any_text_and_its_lines_stay_short(text: str) -> None:
    holder = replace(make_bags.SETTINGS.holder, address=text)
    plan = make_bags.plan((), settings=replace(make_bags.SETTINGS, holder=holder))
    data = wrap.tag_files(plan)["bag-info.txt"].decode()
    assert "\r" not in data
    lines = data.split("\n")
    assert lines.pop() == ""
    assert all(len(line) <= 79 or " " not in line.strip().partition(": ")[2] for line in lines)
    unfolded = re.sub("\n ", " ", data).split("\n")[:-1]
    assert [tuple(line.split(": ", 1)) for line in unfolded] == list(plan.info)
    assert all(value == " ".join(value.split()) != "" for _, value in plan.info)


@pytest.mark.parametrize(
    ("size_bytes", "text"),
    [
        (0, "0 bytes"),
        (999, "999 bytes"),
        (1000, "1.0 kB"),
        (999_949, "999.9 kB"),
        (999_950, "1.0 MB"),
        (1_310_000_000, "1.3 GB"),
        (10**18, "1000.0 PB"),
    ],
)
def test_sizes_are_readable(size_bytes: int, text: str) -> None:
    assert wrap.readable_size(size_bytes) == text


def test_the_same_plan_gives_the_same_bytes_in_any_order(plan: wrap.BagPlan, tmp_path: Path) -> None:
    wrap.seal(plan, tmp_path / "one")
    wrap.seal(replace(plan, payload=plan.payload[::-1]), tmp_path / "two")
    assert make_bags.snapshot(tmp_path / "one") == make_bags.snapshot(tmp_path / "two")


def test_a_digest_that_is_not_known_is_a_mistake_of_ours(plan: wrap.BagPlan, bundles: Path) -> None:
    with pytest.raises(ValueError, match="no sha256 is known"):
        wrap.seal(replace(plan, algorithms=TWO), bundles)
    assert not bundles.exists()


def test_a_wrong_oxum_is_a_mistake_of_ours(plan: wrap.BagPlan, bundles: Path) -> None:
    with pytest.raises(ValueError, match="does not tell of this payload"):
        wrap.seal(replace(plan, payload=plan.payload[:-1]), bundles)


def test_an_empty_payload_is_a_bag_too(bundles: Path) -> None:
    wrap.seal(make_bags.plan((), name="empty"), bundles)
    assert make_bags.library_problems(bundles / "empty") == ()


# ------------------------------------------------------------------------------------------- masters


def _state(folder: Path) -> dict[str, tuple[object, ...]]:
    return {
        str(path): (status.st_mode, status.st_mtime_ns, status.st_size, status.st_ino, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if (status := path.stat()) and path.is_file()
    }


def test_masters_are_not_altered_by_sealing_replacing_or_failing(tmp_path: Path, bundles: Path) -> None:
    plan = make_bags.preservation_plan(tmp_path / "item")
    for path in (tmp_path / "item" / "masters").iterdir():
        os.utime(path, ns=(1_700_000_000_123_456_789, 1_700_000_000_123_456_789))
        path.chmod(0o440)
    before = _state(tmp_path / "item")
    wrap.seal(plan, bundles)
    wrap.seal(plan, bundles)
    wrong = replace(plan.payload[0], fixity=plan.payload[1].fixity)
    with pytest.raises(FixityError):
        wrap.seal(replace(plan, payload=(wrong, *plan.payload[1:])), bundles)
    assert _state(tmp_path / "item") == before
    shutil.rmtree(bundles)
    assert _state(tmp_path / "item") == before


def test_files_are_linked_or_share_blocks_and_documents_are_written(tmp_path: Path, bundles: Path) -> None:
    on_disk = make_bags.masters({"masters/a.tif": b"a", "masters/b.tif": b"b"}, tmp_path)
    plan = make_bags.plan((*on_disk, *make_bags.documents({"metadata/mets.xml": b"<mets/>"})))
    sealed = wrap.seal(plan, bundles)
    assert (sealed.reflinks + sealed.hard_links, sealed.copies) == (2, 1)
    assert sealed.payload_oxum == "9.3"


def test_a_file_that_must_not_be_linked_is_copied_with_its_time_stamp(tmp_path: Path, bundles: Path) -> None:
    (entry,) = make_bags.masters({"masters/a.tif": b"a"}, tmp_path)
    assert isinstance(entry.source, Path)
    sealed = wrap.seal(make_bags.plan((replace(entry, link=False),), name="copied"), bundles)
    copy = bundles / "copied" / "data" / "masters" / "a.tif"
    assert sealed.hard_links == 0
    assert copy.stat().st_ino != entry.source.stat().st_ino
    assert copy.stat().st_mtime_ns == entry.source.stat().st_mtime_ns


def test_a_master_that_is_a_symbolic_link_is_in_the_bag_itself(tmp_path: Path, bundles: Path) -> None:
    (entry,) = make_bags.masters({"a.tif": b"a"}, tmp_path)
    link = tmp_path / "link.tif"
    link.symlink_to(tmp_path / "a.tif")
    wrap.seal(make_bags.plan((replace(entry, source=link),), name="linked"), bundles)
    placed = bundles / "linked" / "data" / "a.tif"
    assert placed.read_bytes() == b"a"
    assert not placed.is_symlink()


# ------------------------------------------------------------------------------- what is found wrong


def test_a_master_that_was_altered_meanwhile_is_named(
    plan: wrap.BagPlan, tmp_path: Path, bundles: Path
) -> None:
    (tmp_path / "item" / "masters" / "B14_0002.tif").write_bytes(b"MASTER 2")
    with pytest.raises(FixityError) as caught:
        wrap.seal(plan, bundles)
    (problem,) = caught.value.problems
    assert problem.where == "data/masters/B14_0002.tif"
    assert problem.found.startswith("sha512 ")
    assert problem.found != problem.expected
    assert str(tmp_path / "item" / "masters" / "B14_0002.tif") in problem.advice
    assert list(bundles.iterdir()) == []


def test_a_master_that_grew_meanwhile_is_told_by_its_size(
    plan: wrap.BagPlan, tmp_path: Path, bundles: Path
) -> None:
    (tmp_path / "item" / "masters" / "B14_0001.tif").write_bytes(b"master 1, and more")
    with pytest.raises(FixityError) as caught:
        wrap.seal(plan, bundles)
    assert [(each.found, each.expected) for each in caught.value.problems] == [("18 bytes", "8 bytes")]


def test_a_master_that_vanished_is_named(plan: wrap.BagPlan, tmp_path: Path, bundles: Path) -> None:
    (tmp_path / "item" / "masters" / "B14_0002.tif").unlink()
    with pytest.raises(InputError, match=r"B14_0002\.tif: cannot be read"):
        wrap.seal(plan, bundles)
    assert list(bundles.iterdir()) == []


def test_an_earlier_bag_stays_when_the_new_one_fails(
    plan: wrap.BagPlan, tmp_path: Path, bundles: Path
) -> None:
    wrap.seal(plan, bundles)
    before = make_bags.snapshot(bundles)
    master = tmp_path / "item" / "masters" / "B14_0002.tif"
    master.unlink()
    master.write_bytes(b"MASTER 2")
    with pytest.raises(FixityError):
        wrap.seal(plan, bundles)
    assert make_bags.snapshot(bundles) == before


def test_a_large_file_is_read_back_too(tmp_path: Path, bundles: Path) -> None:
    plan = make_bags.plan(make_bags.masters({"large.tif": bytes(3 << 20), "small.tif": b"s"}, tmp_path))
    wrap.seal(plan, bundles)
    with (bundles / plan.name / "data" / "large.tif").open("r+b") as file:
        file.seek(2 << 20)
        file.write(b"\1")
    with pytest.raises(FixityError, match=r"data/large\.tif"):
        wrap.prove(plan, bundles / plan.name)


def _damage(bag: Path, kind: str, data: st.DataObject) -> str:
    """Do one thing to a bag; return the path that it was done to."""
    paths = sorted(str(path.relative_to(bag)) for path in bag.rglob("*") if path.is_file())
    path = data.draw(st.sampled_from(paths))
    file = bag / path
    content = file.read_bytes()
    file.unlink()  # it may be a hard link
    if kind == "added":
        file.write_bytes(content)
        path = data.draw(st.sampled_from(["data/more.tif", "data/masters/more.tif"]))
        (bag / path).write_bytes(b"more")
    elif kind == "flipped":
        at = data.draw(st.integers(0, len(content) - 1))
        bit = 1 << data.draw(st.integers(0, 7))
        file.write_bytes(content[:at] + bytes([content[at] ^ bit]) + content[at + 1 :])
    elif kind == "cut":
        file.write_bytes(content[: data.draw(st.integers(0, len(content) - 1))])
    return path


@pytest.mark.parametrize("kind", ["flipped", "cut", "removed", "added"])
def test_any_damage_is_found_by_us_and_by_the_bagit_library(kind: str, tmp_path: Path) -> None:
    plan = make_bags.preservation_plan(tmp_path / "item")
    wrap.seal(plan, tmp_path)
    sealed, bag = tmp_path / plan.name, tmp_path / "damaged"

    @settings(max_examples=25, deadline=None)
    @given(st.data())
    def damage(data: st.DataObject) -> None:
        shutil.rmtree(bag, ignore_errors=True)
        shutil.copytree(sealed, bag)
        path = _damage(bag, kind, data)
        with pytest.raises(FixityError) as caught:
            wrap.prove(plan, bag)
        assert [problem.where for problem in caught.value.problems] == [path]
        if path != "tagmanifest-sha512.txt":  # nothing lists a tag manifest: the library cannot know
            assert make_bags.library_problems(bag)

    damage()


# --------------------------------------------------------------------------------------------- names

REFUSED = {
    "masters/a\tb.tif": "a control character",
    "masters/a\nb.tif": "a control character",
    "masters/a\x85b.tif": "a control character",
    "masters/a\u2028b.tif": "a line separator",
    "masters/a\udc80b.tif": "bytes that are not UTF-8",
    "masters/a?.tif": "the reserved character ?",
    "masters/a:b*.tif": "the reserved character *",
    "masters/back\\slash.tif": "the reserved character \\",
    "masters/a.tif.": "a full stop or blank at its end",
    "masters /a.tif": "a full stop or blank at its end",
    "masters/a.tif\u00a0": "a full stop or blank at its end",
    "masters/aux.tif": "a device name of Windows",
    "Con/a.tif": "a device name of Windows",
    f"masters/{'ä' * 126}.tif": "more than 255 bytes",
    f"{'long/' * 50}a.tif": "a path of more than 255 characters",
    "../a.tif": "a path that leaves its folder",
    "/a.tif": "a path that leaves its folder",
}


@pytest.mark.parametrize("path", REFUSED, ids=ascii)
def test_names_that_other_systems_cannot_hold_are_refused(path: str, bundles: Path) -> None:
    plan = make_bags.plan(make_bags.documents({path: b"x"}))
    with pytest.raises(InputError) as caught:
        wrap.seal(plan, bundles)
    assert REFUSED[path] in [problem.found for problem in caught.value.problems]
    assert str(caught.value).isprintable() or "\n" in str(caught.value)
    assert not bundles.exists()


@pytest.mark.parametrize(
    ("one", "other", "found"),
    [
        ("masters/A.tif", "masters/a.tif", "the same name"),
        ("Masters/a.tif", "masters/a.tif", "the same name"),
        ("masters/Straße.tif", "masters/STRASSE.tif", "the same name"),
        ("masters/e\u0301.tif", "masters/\u00e9.tif", "the same name"),
        ("masters/\u00c5.tif", "masters/\u212b.tif", "the same name"),
        ("masters/a.tif", "masters/a.tif", "the same name"),
        ("masters/a", "masters/A/b.tif", "a folder of the same name"),
    ],
    ids=ascii,
)
def test_names_that_other_systems_take_for_one_are_refused(
    one: str, other: str, found: str, bundles: Path
) -> None:
    entries = (*make_bags.documents({one: b"1"}), *make_bags.documents({other: b"2"}))
    with pytest.raises(InputError) as caught:
        wrap.seal(make_bags.plan(entries), bundles)
    (problem,) = caught.value.problems
    assert problem.where == other
    assert problem.found.startswith(found)
    assert one in problem.found


def test_all_bad_names_are_told_together(bundles: Path) -> None:
    plan = make_bags.plan(make_bags.documents(dict.fromkeys(("a?", "b*", "c.", "D", "d"), b"x")))
    with pytest.raises(InputError) as caught:
        wrap.seal(plan, bundles)
    assert [problem.where for problem in caught.value.problems] == ["a?", "b*", "c.", "d"]


def _is_writable(name: str) -> bool:
    return name not in (".", "..") and not files.name_faults(name)


NAMES = st.text(
    st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"], exclude_characters='<>:"|?*\\/'),
    min_size=1,
    max_size=12,
).filter(_is_writable)
PATHS = st.lists(NAMES, min_size=1, max_size=4).map("/".join)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(PATHS, st.binary(max_size=20), max_size=8))
def test_any_tree_of_names_becomes_a_bag_that_the_bagit_library_finds_valid(
    bundles: Path, payload: dict[str, bytes]
) -> None:
    plan = make_bags.plan(make_bags.documents(payload), name="tree")
    if wrap.name_problems(plan):
        with pytest.raises(InputError):
            wrap.seal(plan, bundles)
        return
    wrap.seal(plan, bundles)
    placed = {
        str(path.relative_to(bundles / "tree" / "data")): path.read_bytes()
        for path in (bundles / "tree" / "data").rglob("*")
        if path.is_file()
    }
    assert placed == payload
    if not any("%" in path for path in payload):  # see the next test
        assert make_bags.library_problems(bundles / "tree") == ()


def test_the_per_cent_sign_is_encoded_though_the_bagit_library_does_not_know(bundles: Path) -> None:
    """RFC 8493, section 2.1.3, wants %25; version 1.9.0 of the library decodes %0A and %0D alone.

    If this fails the library has learnt it: then let it judge all names above.
    """
    plan = make_bags.plan(make_bags.documents({"100%.tif": b"x", "a%0Ab.tif": b"y"}), name="per cent")
    wrap.seal(plan, bundles)
    lines = (bundles / "per cent" / "manifest-sha512.txt").read_text().splitlines()
    assert [line[130:] for line in lines] == ["data/100%25.tif", "data/a%250Ab.tif"]
    assert wrap.still_sealed(bundles / "per cent", wrap.seal(plan, bundles).tagmanifest_digest)
    assert make_bags.library_problems(bundles / "per cent") != ()


# ------------------------------------------------------------------------------------------- profiles


def test_a_bag_that_does_not_fit_its_profile_is_not_made(bundles: Path) -> None:
    plan = make_bags.plan(
        make_bags.documents({"masters/a.tif": b"x", "notes.txt": b"x"}), profile=bagit.PRESERVATION_PROFILE
    )
    with pytest.raises(SettingsError) as caught:
        wrap.seal(plan, bundles)
    found = [problem.found for problem in caught.value.problems]
    assert "no data/metadata/mets.xml" in found
    assert "data/notes.txt" in found
    assert not bundles.exists()


# ------------------------------------------------------------------------------- replacing, recovering


def test_a_bag_of_the_same_name_is_replaced_whole(plan: wrap.BagPlan, bundles: Path, tmp_path: Path) -> None:
    wrap.seal(plan, bundles)
    wrap.seal(make_bags.changed(plan), bundles)
    wrap.seal(make_bags.changed(plan), tmp_path / "alone")
    assert make_bags.snapshot(bundles) == make_bags.snapshot(tmp_path / "alone")


def test_a_folder_that_is_not_a_bag_is_never_replaced(plan: wrap.BagPlan, bundles: Path) -> None:
    (bundles / plan.name).mkdir(parents=True)
    (bundles / plan.name / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match="is not a bag; move it away"):
        wrap.seal(plan, bundles)
    assert make_bags.snapshot(bundles / plan.name).keys() == {"notes.txt"}


def test_what_killed_runs_left_is_taken_away(plan: wrap.BagPlan, bundles: Path) -> None:
    wrap.seal(plan, bundles)
    before = make_bags.snapshot(bundles)
    for left in (".making", ".replaced"):
        (bundles / f".{plan.name}{left}" / "data").mkdir(parents=True)
    wrap.recover(bundles, plan.name)
    assert make_bags.snapshot(bundles) == before


def test_a_bag_that_stood_aside_goes_back(plan: wrap.BagPlan, bundles: Path) -> None:
    wrap.seal(plan, bundles)
    before = make_bags.snapshot(bundles)
    (bundles / plan.name).rename(bundles / f".{plan.name}.replaced")
    wrap.recover(bundles, plan.name)
    assert make_bags.snapshot(bundles) == before


def test_a_bag_is_on_the_disk_before_it_is_proved_and_gets_its_name(
    plan: wrap.BagPlan, bundles: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []

    def told(name: str, act: Callable[..., object], *given: object, **named: object) -> object:
        done.append(name)
        return act(*given, **named)

    for module, name in ((files, "flush"), (files, "forget_cached"), (wrap, "prove"), (files, "sync_folder")):
        monkeypatch.setattr(module, name, functools.partial(told, name, getattr(module, name)))
    wrap.seal(plan, bundles)
    assert list(dict.fromkeys(done)) == ["flush", "forget_cached", "prove", "sync_folder"]


def test_an_interrupted_seal_leaves_nothing(plan: wrap.BagPlan, bundles: Path) -> None:
    class Impatient(Listener):
        def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        wrap.seal(plan, bundles, progress=Impatient())
    assert list(bundles.iterdir()) == []


def test_a_disk_that_cannot_be_written_is_told(plan: wrap.BagPlan, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(ToolError, match="cannot be written"):
        wrap.seal(plan, tmp_path / "file")


class Listener:
    """Adds up what it is told."""

    def __init__(self) -> None:
        self.total = self.done = 0
        self.finished = False

    def start(self, task: str, *, total: int) -> None:
        self.total += total

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        self.done += amount

    def say(self, message: str) -> None: ...

    def finish(self) -> None:
        self.finished = True


@pytest.mark.parametrize("count", [1, 99, 100, 101, 250])
def test_progress_adds_up(count: int, bundles: Path) -> None:
    plan = make_bags.plan(make_bags.documents({f"{n}.tif": b"x" for n in range(count)}))
    listener = Listener()
    wrap.seal(plan, bundles, progress=listener)
    assert (listener.total, listener.done, listener.finished) == (2 * count, 2 * count, True)


# A child process that kills itself at one of its steps: every call that Python's audit hooks tell of
# (making, opening, linking, renaming, removing) is a step. No instant between two of them is special.
KILLED = """
import os, signal, sys
from pathlib import Path
sys.path.insert(0, {root!r})
from pipeline import wrap
from tests import make_bags

steps, last = 0, int(sys.argv[1])

def count(event, arguments):
    global steps
    if event == "open" or event.startswith("os."):
        steps += 1
        if steps == last:
            os.kill(os.getpid(), signal.SIGKILL)

plan = make_bags.preservation_plan(Path({item!r}))
wrap._READERS = 1
sys.addaudithook(count)
wrap.seal(make_bags.changed(plan), Path({bundles!r}))
print(steps)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")
@pytest.mark.parametrize("has_earlier_bag", [False, True])
def test_a_seal_killed_at_any_step_leaves_a_whole_bag_or_none(has_earlier_bag: bool, tmp_path: Path) -> None:
    item, bundles = tmp_path / "item", tmp_path / "bundles"
    plan = make_bags.preservation_plan(item)
    old, new = plan, make_bags.changed(plan)
    wrap.seal(new, tmp_path / "never killed")
    undisturbed = make_bags.snapshot(tmp_path / "never killed")

    def run(last: int) -> subprocess.CompletedProcess[str]:
        shutil.rmtree(bundles, ignore_errors=True)
        if has_earlier_bag:
            wrap.seal(old, bundles)
        script = KILLED.format(root=str(ROOT), item=str(item), bundles=str(bundles))
        command = [sys.executable, "-c", script, str(last)]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    steps = int(run(0).stdout)
    assert make_bags.snapshot(bundles) == undisturbed
    for last in sorted({*range(1, steps, steps // 12), *range(steps - 5, steps + 1)}):
        assert run(last).returncode == -signal.SIGKILL
        whole = [name for name in _visible(bundles, plan.name) if _is_whole(bundles / name, old, new)]
        assert len(whole) == len(_visible(bundles, plan.name)) >= has_earlier_bag
        wrap.seal(new, bundles)
        assert make_bags.snapshot(bundles) == undisturbed


def _visible(bundles: Path, name: str) -> list[str]:
    """The names under which a whole bag is looked for: its own, or else that of the bag set aside."""
    return [each for each in (name, f".{name}.replaced") if (bundles / each).exists()][:1]


def _is_whole(bag: Path, *plans: wrap.BagPlan) -> bool:
    for plan in plans:
        try:
            wrap.prove(plan, bag)
        except FixityError:
            continue
        return True
    return False


# ----------------------------------------------------------------------------------------- resuming


def test_a_receipt_keeps_what_was_sealed(plan: wrap.BagPlan, bundles: Path, tmp_path: Path) -> None:
    sealed = wrap.seal(plan, bundles)
    write_receipt(sealed, tmp_path / "receipt.json")
    assert read_receipt(wrap.SealedBag, tmp_path / "receipt.json") == sealed


@pytest.mark.parametrize("algorithms", [SHA512, TWO, (Algorithm.MD5, Algorithm.SHA1)], ids=len)
def test_a_sealed_bag_is_known_again(
    algorithms: tuple[Algorithm, ...], tmp_path: Path, bundles: Path
) -> None:
    plan = make_bags.preservation_plan(tmp_path, algorithms)
    sealed = wrap.seal(plan, bundles)
    assert wrap.still_sealed(bundles / plan.name, sealed.tagmanifest_digest)
    assert not wrap.still_sealed(bundles / plan.name, "0" * 64)
    assert not wrap.still_sealed(bundles / "another", sealed.tagmanifest_digest)


@pytest.mark.parametrize(
    "path", ["bagit.txt", "bag-info.txt", "manifest-sha512.txt", "tagmanifest-sha512.txt"]
)
def test_a_bag_with_an_altered_tag_file_is_not_still_sealed(
    path: str, plan: wrap.BagPlan, bundles: Path
) -> None:
    sealed = wrap.seal(plan, bundles)
    (bundles / plan.name / path).write_bytes((bundles / plan.name / path).read_bytes() + b"\n")
    assert not wrap.still_sealed(bundles / plan.name, sealed.tagmanifest_digest)


def test_a_bag_that_lost_a_file_or_part_of_one_is_not_still_sealed(plan: wrap.BagPlan, bundles: Path) -> None:
    for change in (Path.unlink, lambda path: os.truncate(path, 3)):
        sealed = wrap.seal(plan, bundles)
        page = bundles / plan.name / "data" / "metadata" / "quality.html"
        _part_from_source(page)
        change(page)
        assert not wrap.still_sealed(bundles / plan.name, sealed.tagmanifest_digest)


def _part_from_source(path: Path) -> None:
    data = path.read_bytes()
    path.unlink()
    path.write_bytes(data)
