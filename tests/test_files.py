from __future__ import annotations

import os
import re
import stat
import sys
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import files
from pipeline.errors import InputError, ToolError

ANY_TEXT = st.text(st.characters(exclude_categories=[]))

# --------------------------------------------------------------------------------------------- names


@pytest.mark.parametrize("name", ["msb-014", "a", "0", "B14_0001.tif", "a" * 100, "console", "com10"])
def test_safe_names(name: str) -> None:
    assert files.is_safe_name(name)


@pytest.mark.parametrize(
    "name",
    [
        *("", ".", "..", ".hidden", "-a", "_a", "a.", "a b", "a/b", "ä", "a\n", "a%", "a" * 101),
        *("con", "CON", "nul.tif", "Com1.a", "lpt9"),
    ],
)
def test_unsafe_names(name: str) -> None:
    assert not files.is_safe_name(name)


@given(ANY_TEXT)
def test_a_slug_is_safe_whatever_it_is_made_from(text: str) -> None:
    slug = files.slug(text)
    assert re.fullmatch(r"[A-Za-z0-9_-]+", slug)
    assert files.slug(slug) == slug
    assert not files.name_faults(slug[:200])


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("B14_0001", "B14_0001"),
        ("MS B 14", "MS-B-14"),
        ("Crème brûlée", "Creme-brulee"),
        ("f. 1r (detail)", "f-1r-detail"),
        ("Ægidius", "gidius"),
        ("seite ½", "seite-1-2"),
        ("٣", "u663"),
        ("巻子", "u5dfb-5b50"),
        ("", "unnamed"),
        ("con", "con_"),
        ("...", "u2e-2e-2e"),
    ],
)
def test_slugs(text: str, slug: str) -> None:
    assert files.slug(text) == slug


@pytest.mark.parametrize("text", ["αβγ-1", "a α b", "Ж1"])
def test_letters_that_are_left_out_leave_a_hyphen_between(text: str) -> None:
    assert files.slug(text) == re.sub(r"[^a-z0-9]+", "-", text).strip("-")


@pytest.mark.parametrize(
    ("name", "faults"),
    [
        ("B14_0001.tif", ()),
        ("Straße 1%, é~.tif", ()),
        ("a\tb", ("a control character",)),
        ("a?b<c", ("the reserved character <", "the reserved character ?")),
        ("aux.tif", ("a device name of Windows",)),
        ("aux .tif", ("a device name of Windows",)),
        ("a.tif ", ("a full stop or blank at its end",)),
        ("a\u3000", ("a full stop or blank at its end",)),
        ("a" * 256, ("more than 255 bytes",)),
        ("\udcff", ("bytes that are not UTF-8",)),
    ],
    ids=ascii,
)
def test_faults_of_names(name: str, faults: tuple[str, ...]) -> None:
    assert files.name_faults(name) == faults


def test_a_fault_of_a_folder_is_told_once_and_clashes_are_told_at_the_later_path() -> None:
    paths = ("a?/1.tif", "a?/2.tif", "b/1.tif", "B/1.TIF", "b/1.tif/x")
    assert list(files.path_faults(paths)) == [
        ("a?/1.tif", "the reserved character ?"),
        ("B/1.TIF", 'the same name as "b/1.tif", but for case or Unicode form'),
        ("b/1.tif/x", 'a folder of the same name as the file "b/1.tif"'),
    ]
    assert [path for path, _ in files.path_faults(("a" * 200, "b"), above="c" * 100)] == ["a" * 200]


@pytest.mark.parametrize(("one", "other"), [("A", "a"), ("é", "e\u0301"), ("ß", "SS"), ("Å", "\u212b")])
def test_names_that_fold_to_the_same(one: str, other: str) -> None:
    assert files.folded(one) == files.folded(other)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Straße 14, f. 3v.tif", "Straße 14, f. 3v.tif"),
        ("a\u202egpj.exe", r"a\u202egpj.exe"),
        ("\x1b[31ma\tb\r\n\0\x7f\x9b", r"\u001b[31ma\u0009b\u000d\u000a\u0000\u007f\u009b"),
        ("b14\u200b_\ufeff0001\u00ad.tif", r"b14\u200b_\ufeff0001\u00ad.tif"),
        ("a\u2028b\u2029c\x85d", r"a\u2028b\u2029c\u0085d"),
        ("B14\xa00001.tif \u3000", r"B14\u00a00001.tif \u3000"),
        ("b14_\udcff.tif", r"b14_\udcff.tif"),
        ("a\ufe0f\u3164\u034f\u2800b", r"a\ufe0f\u3164\u034f\u2800b"),
        ("\U000e0041\U000e0100\U0010ffff\ue000", r"\U000e0041\U000e0100\U0010ffff\ue000"),
        ("a\u0308.tif", "a\u0308.tif"),
    ],
    ids=["plain", "direction", "control", "no width", "lines", "blanks", "bytes", "formless", "far", "marks"],
)
def test_what_acts_or_hides_is_shown_as_an_escape(text: str, shown: str) -> None:
    assert files.visible(text) == shown


@pytest.mark.parametrize("word", ["می\u200cخواهم", "ක්\u200dෂ", "क्\u200cष"], ids=["fa", "si", "hi"])
def test_joiners_stay_where_they_are_spelling(word: str) -> None:
    assert files.visible(word) == word


@pytest.mark.parametrize("text", ["b14\u200d.tif", "\u200ca", "می\u200c", "क्\u200d", "क्\u200d.tif"])
def test_joiners_that_join_nothing_are_shown(text: str) -> None:
    assert re.search(r"\\u200[cd]", files.visible(text))


@given(ANY_TEXT)
def test_what_is_shown_is_one_line_of_text_and_is_shown_alike_again(text: str) -> None:
    shown = files.visible(text)
    assert shown.encode().decode() == shown
    assert len(shown.splitlines()) <= 1
    assert files.visible(shown) == shown
    assert all(char.isprintable() or char in "\u200c\u200d" for char in shown)


def test_natural_order_is_that_of_people() -> None:
    names = ["B14_10.tif", "b14_9.tif", "B14_9.tif", "B14_1a.tif", "B14_1.tif", "A2", "10", "9"]
    assert sorted(names, key=files.natural_key) == [
        *("9", "10", "A2", "B14_1.tif", "B14_1a.tif", "B14_9.tif", "b14_9.tif", "B14_10.tif")
    ]


@given(st.lists(ANY_TEXT))
def test_natural_order_is_total(names: list[str]) -> None:
    backwards = names[::-1]
    assert sorted(names, key=files.natural_key) == sorted(backwards, key=files.natural_key)
    keys = {name: files.natural_key(name) for name in names}
    assert len(set(keys.values())) == len(keys)


# ----------------------------------------------------------------------------------- staying inside


@pytest.mark.parametrize(
    "path",
    [
        *(
            "../a",
            "a/../../b",
            "/etc/passwd",
            "~/a",
            "~root/a",
            "C:\\a",
            "c:/a",
            "\\\\host\\a",
            "a\\b",
            "a\0b",
        ),
        *("", ".", "..", "./a", "a//b", "a/./b", "a/"),
    ],
)
def test_paths_that_lead_out_are_refused(path: str, tmp_path: Path) -> None:
    """RFC 8493, section 5.2."""
    assert files.resolve_inside(tmp_path, path) is None


@pytest.mark.parametrize("path", ["a", "a/b.tif", "a b/%41", ".hidden", "a..b", "é/~"])
def test_paths_that_stay_inside_are_joined(path: str, tmp_path: Path) -> None:
    assert files.resolve_inside(tmp_path, path) == tmp_path / path
    assert files.resolve_inside(tmp_path, PurePosixPath(path)) == tmp_path / path


def test_links_are_followed_to_see_whether_they_lead_out(tmp_path: Path) -> None:
    base = tmp_path / "base"
    (base / "in").mkdir(parents=True)
    (base / "link").symlink_to(base / "in")
    (base / "out").symlink_to(tmp_path)
    (base / "ring").symlink_to(base / "ring")
    assert files.resolve_inside(base, "link/a") == base / "link" / "a"
    assert files.resolve_inside(base, "out/a") is None
    assert files.resolve_inside(base, "ring/a") in (None, base / "ring" / "a")


@given(ANY_TEXT.filter(lambda text: "\0" not in text))
def test_what_is_joined_is_always_inside(path: str) -> None:
    base = Path("/nowhere/base")
    joined = files.resolve_inside(base, path)
    assert joined is None or (os.path.normpath(joined) == str(joined) and joined.is_relative_to(base))


# -------------------------------------------------------------------------------------------- writing


def test_a_file_is_written_whole_and_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "new" / "folder" / "a.json"
    for data in (b"one", b"two"):
        files.write_atomically(path, data)
        assert path.read_bytes() == data
    assert list(path.parent.iterdir()) == [path]


def test_a_file_that_cannot_be_written_is_told_and_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(b"before")

    def fail(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(ToolError, match=r"a\.json: .*left on device\); make room on the disk, then run"):
        files.write_atomically(path, b"after")
    assert path.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_is_flushed_before_it_gets_its_name_and_its_folder_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []

    def fsync(descriptor: int) -> None:
        status = os.fstat(descriptor)
        done.append("folder" if stat.S_ISDIR(status.st_mode) else f"{status.st_size} bytes")

    def replace(source: Path, destination: Path) -> Path:
        done.append("named")
        return source.rename(destination)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "replace", replace)
    files.write_atomically(tmp_path / "a.json", b"whole")
    assert done == ["5 bytes", "named", "folder"]


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    for act in (
        lambda: files.write_atomically(tmp_path / "file" / "a", b""),
        lambda: files.place(tmp_path / "file", tmp_path / "file" / "a"),
        lambda: files.locked(tmp_path / "file" / "a").__enter__(),
    ):
        with pytest.raises(ToolError, match="cannot be written"):
            act()


def test_a_written_folder_is_flushed(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    files.sync_folder(tmp_path)
    files.flush(tmp_path, [tmp_path / "a"])
    files.forget_cached(tmp_path / "a")
    assert (tmp_path / "a").read_bytes() == b"a"


def test_a_file_is_placed_and_its_source_is_not_altered(tmp_path: Path) -> None:
    source = tmp_path / "a.tif"
    source.write_bytes(b"master")
    os.utime(source, ns=(10**18, 10**18 + 1))
    source.chmod(0o440)
    before = source.stat()
    for link in (True, False):
        placed = tmp_path / f"placed {link}" / "a.tif"
        way = files.place(source, placed, link=link)
        assert way in ((files.REFLINK, files.HARD_LINK) if link else (files.REFLINK, files.COPY))
        assert placed.read_bytes() == b"master"
        assert placed.stat().st_mtime_ns == 10**18 + 1
    after = source.stat()
    assert (after.st_mtime_ns, after.st_mode, after.st_size) == (
        *(before.st_mtime_ns, before.st_mode, before.st_size),
    )


def test_a_link_to_a_file_is_placed_as_the_file(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(b"master")
    (tmp_path / "link.tif").symlink_to("a.tif")
    files.place(tmp_path / "link.tif", tmp_path / "placed" / "a.tif")
    assert not (tmp_path / "placed" / "a.tif").is_symlink()
    assert (tmp_path / "placed" / "a.tif").read_bytes() == b"master"


def test_what_cannot_be_linked_is_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*paths: object, **options: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    (tmp_path / "a.tif").write_bytes(b"master")
    assert files.place(tmp_path / "a.tif", tmp_path / "b.tif") in (files.REFLINK, files.COPY)
    assert (tmp_path / "b.tif").read_bytes() == b"master"


def test_a_source_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"a\.tif: cannot be read \(No such file or directory\)"):
        files.place(tmp_path / "a.tif", tmp_path / "b" / "a.tif")


def test_nothing_is_ever_placed_over_a_file(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").write_bytes(b"b")
    with pytest.raises(ToolError, match=r"b: cannot be written"):
        files.place(tmp_path / "a", tmp_path / "b", link=False)
    assert (tmp_path / "b").read_bytes() == b"b"


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such locks")
def test_one_run_at_a_time_works_in_a_folder(tmp_path: Path) -> None:
    with (
        files.locked(tmp_path / "item"),
        pytest.raises(ToolError, match="another run is at work"),
        files.locked(tmp_path / "item"),
    ):
        pass
    with files.locked(tmp_path / "item"):
        pass


def test_an_error_of_the_disk_inside_a_lock_keeps_its_name(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), files.locked(tmp_path):
        (tmp_path / "nowhere").read_bytes()


def test_a_tree_is_removed_and_what_it_links_to_stays(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "a").write_bytes(b"a")
    tree = tmp_path / "tree"
    (tree / "deep").mkdir(parents=True)
    (tree / "deep" / "link").symlink_to(kept)
    files.remove_tree(tree)
    files.remove_tree(tree)
    tree.symlink_to(kept)
    files.remove_tree(tree)
    assert not os.path.lexists(tree)
    assert (kept / "a").read_bytes() == b"a"


# -------------------------------------------------------------------------------------------- walking


def test_every_file_is_walked_in_the_order_of_the_bytes_of_its_path(tmp_path: Path) -> None:
    names = ["a/b", "a-b", "A", "é", "z/y/x", "a.b", "\U0001f4d6", "\ufb01"]
    for name in names:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "empty").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "A")
    (tmp_path / "ring").symlink_to(tmp_path)
    assert [str(path) for path in files.walk_files(tmp_path)] == sorted(names, key=str.encode)
