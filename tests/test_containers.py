"""What a bundle comes in: the same files out of a folder, a .tar, a .tar.gz and a .zip; and what is wrong."""

from __future__ import annotations

import contextlib
import gzip
import io
import os
import random
import shutil
import stat
import struct
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import containers
from pipeline.containers import Container, FaultKind, Kind, Limits
from pipeline.errors import InputError, PipelineError, ToolError

FILES = {"bagit.txt": b"BagIt", "data/a.txt": b"one", "data/sub/b.txt": b"two" * 999, "data/größe": b""}


REFUSED = r"symbolic link|no regular file|No such device|Is a directory"


def folder(base: Path, files: dict[str, bytes] = FILES, name: str = "msb-014") -> Path:
    for path, data in files.items():
        (base / name / path).parent.mkdir(parents=True, exist_ok=True)
        (base / name / path).write_bytes(data)
    return base / name


def tar(path: Path, members: dict[str, bytes], mode: str = "w", form: int = tarfile.PAX_FORMAT) -> Path:
    with tarfile.open(path, mode, format=form) as archive:  # type: ignore[call-overload]
        for name, data in members.items():
            info = tarfile.TarInfo(name)
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))
    return path


def zipped(path: Path, members: dict[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return path


def inside(files: dict[str, bytes] = FILES, name: str = "msb-014") -> dict[str, bytes]:
    return {f"{name}/{path}": data for path, data in files.items()}


def faults(path: Path, limits: Limits | None = None) -> list[str]:
    with containers.opened(path, limits=limits) as container:
        return [each.kind.value for each in container.faults]


def content(container: Container) -> dict[str, bytes]:
    found = {}
    for path, size_bytes in container.files.items():
        with container.open(path) as file:
            found[path] = file.read()
            assert len(found[path]) == size_bytes
    return found


def test_files_are_found_by_suffix_in_any_case(tmp_path: Path) -> None:
    for name in ("a.JSON", "b.json", "c.tar.json", "json", "x.y/plain", "folder.json/z.Tif"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    with containers.opened(tmp_path) as container:
        found = containers.files_by_suffix(container)
    assert sorted(found[".json"]) == ["a.JSON", "b.json", "c.tar.json"]
    assert found[".tif"] == ["folder.json/z.Tif"]
    assert sum(map(len, found.values())) == 6


def contents(path: Path) -> dict[str, bytes]:
    with containers.opened(path) as container:
        return content(container)


def by_tar(base: Path, *options: str) -> Path:
    tool = shutil.which("tar")
    if tool is None:
        pytest.skip("no tar on this system")
    made = base / "made"
    made.mkdir()
    target = made / "msb-014.tar"
    subprocess.run([tool, *options, "-cf", target, "msb-014"], cwd=base, check=True)
    return target


KINDS: dict[str, Callable[[Path], Path]] = {
    "folder": folder,
    "tar, pax": lambda base: tar(base / "msb-014.tar", inside()),
    "tar, GNU": lambda base: tar(base / "msb-014.tar", inside(), form=tarfile.GNU_FORMAT),
    "tar, ustar": lambda base: tar(base / "msb-014.tar", inside(), form=tarfile.USTAR_FORMAT),
    "tar.gz": lambda base: tar(base / "msb-014.tar.gz", inside(), "w:gz"),
    "tgz": lambda base: tar(base / "msb-014.tgz", inside(), "w:gz"),
    "zip": lambda base: zipped(base / "msb-014.zip", inside()),
    "zip, stored": lambda base: zipped(base / "msb-014.zip", inside(), zipfile.ZIP_STORED),
    "zip, bzip2": lambda base: zipped(base / "msb-014.zip", inside(), zipfile.ZIP_BZIP2),
    "zip, LZMA": lambda base: zipped(base / "msb-014.zip", inside(), zipfile.ZIP_LZMA),
}


@pytest.mark.parametrize("make", KINDS.values(), ids=KINDS.keys())
def test_every_kind_of_container_gives_the_same_files(make: Callable[[Path], Path], tmp_path: Path) -> None:
    with containers.opened(make(tmp_path)) as container:
        assert content(container) == FILES
        assert container.name == "msb-014"
        assert [*container.faults] == []
        assert not container.is_document


@pytest.mark.parametrize("form", ["gnu", "oldgnu", "pax", "posix", "ustar", "v7"])
def test_archives_of_the_system_s_own_tar_are_read(form: str, tmp_path: Path) -> None:
    """The outside maker of the format, in every form that it knows."""
    files = FILES if form not in ("v7", "ustar") else {"bagit.txt": b"BagIt", "data/a.txt": b"one"}
    long = {f"data/{'folder' * 9}/{'name' * (9 if form in ('v7', 'ustar') else 50)}.txt": b"x"}
    base = folder(tmp_path, files | ({} if form == "v7" else long)).parent
    with containers.opened(by_tar(base, f"--format={form}")) as container:
        assert content(container) == files | ({} if form == "v7" else long)
        assert [*container.faults] == []
        assert container.others["data"].kind is Kind.FOLDER


def test_a_document_by_itself_is_one_entry(tmp_path: Path) -> None:
    path = tmp_path / "manifest.json"
    path.write_bytes(b"{}")
    with containers.opened(path) as container:
        assert container.is_document
        assert content(container) == {"manifest.json": b"{}"}


def test_the_name_s_ending_does_not_matter(tmp_path: Path) -> None:
    made = tar(tmp_path / "x.zip", inside())
    with containers.opened(made) as container:
        assert container.media_type == "application/x-tar"
        assert [each.kind for each in container.faults] == [FaultKind.NAME]


def test_files_can_be_read_anywhere_and_by_several_at_once(tmp_path: Path) -> None:
    data = random.Random(1).randbytes(300_000)
    for make in (tar, zipped):
        made = make(tmp_path / "x", {"x/a": data, "x/b": data[::-1]})
        with containers.opened(made) as container:
            one, other = container.open("a"), container.open("b")
            with one, other:
                assert one.seek(-10, 2) == 299_990
                assert one.read() == data[-10:]
                assert other.read(5) == data[::-1][:5]
                assert one.seek(1000) == one.tell() == 1000
                assert one.read(7) == data[1000:1007]
                assert one.seek(3, 1) == 1010
                assert other.read(3) == data[::-1][5:8]


def test_large_members_of_a_zip_are_inflated_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "SPOOLED_BYTES", 1000)
    data = random.Random(1).randbytes(300_000)
    with (
        containers.opened(zipped(tmp_path / "x.zip", {"x/a": data})) as container,
        container.open("a") as file,
    ):
        assert file.fileno() >= 0
        assert file.read() == data


def test_no_room_to_inflate_is_told_with_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full() -> Iterator[io.RawIOBase]:
        while True:
            yield open("/dev/full", "r+b", buffering=0)  # noqa: SIM115, PTH123

    if not Path("/dev/full").exists():
        pytest.skip("no device that is always full")
    made = full()
    monkeypatch.setattr(containers.tempfile, "TemporaryFile", lambda **options: next(made))  # type: ignore[attr-defined]
    with (
        pytest.raises(ToolError, match="TMPDIR"),
        containers.opened(tar(tmp_path / "x.tgz", inside(), "w:gz")),
    ):
        pass


# ------------------------------------------------------------------------------------ what cannot be opened


@pytest.mark.parametrize("name", ["nothing", "fifo", "a\0b", "socket", "loop"])
def test_what_is_no_bundle_is_refused_at_once(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    if name == "fifo":
        os.mkfifo(path)
    elif name == "socket":
        os.mknod(path, stat.S_IFSOCK | 0o600)
    elif name == "loop":
        path.symlink_to(path)
    with pytest.raises(InputError), containers.opened(path):
        pass


def test_limits_of_a_folder_are_kept(tmp_path: Path) -> None:
    files = {f"data/{number}.txt": b"x" for number in range(20)}
    assert faults(folder(tmp_path, files), Limits(max_files=10)) == ["too much"]
    assert faults(folder(tmp_path, files), Limits(max_files=21)) == []


# --------------------------------------------------------------------------------- folders in a bad state


def test_links_and_special_files_are_listed_and_never_opened(tmp_path: Path) -> None:
    base = folder(tmp_path)
    (base / "up").symlink_to("..")
    (base / "data/loop").symlink_to("loop")
    (base / "data/out").symlink_to("/etc/passwd")
    os.mkfifo(base / "data/pipe")
    os.mknod(base / "data/socket", stat.S_IFSOCK | 0o600)
    with containers.opened(base) as container:
        assert {each.path: (each.kind.value, each.target) for each in containers.irregular(container)} == {
            "up": ("link", ".."),
            "data/loop": ("link", "loop"),
            "data/out": ("link", "/etc/passwd"),
            "data/pipe": ("special file", ""),
            "data/socket": ("special file", ""),
        }
        assert content(container) == FILES
        for path in ("up", "data/loop", "data/out", "data/pipe", "data/socket"):
            with pytest.raises(OSError, match=REFUSED):
                container.open(path)


def test_what_takes_a_file_s_place_is_not_opened(tmp_path: Path) -> None:
    base = folder(tmp_path)
    with containers.opened(base) as container:
        (base / "data/a.txt").unlink()
        os.mkfifo(base / "data/a.txt")
        (base / "bagit.txt").unlink()
        (base / "bagit.txt").symlink_to("/etc/passwd")
        for path in ("data/a.txt", "bagit.txt"):
            with pytest.raises(OSError, match=REFUSED):
                container.open(path)


def test_a_folder_without_access_is_told(tmp_path: Path) -> None:
    base = folder(tmp_path)
    (base / "data/sub").chmod(0)
    try:
        if os.access(base / "data/sub", os.R_OK):
            pytest.skip("this user may read everything")
        assert faults(base) == ["unreadable"]
    finally:
        (base / "data/sub").chmod(0o700)


def test_names_that_are_no_text_are_kept(tmp_path: Path) -> None:
    base = folder(tmp_path)
    try:
        (base / os.fsdecode(b"data/\xff\xfe.txt")).write_bytes(b"x")
    except OSError:
        pytest.skip("this file system wants Unicode")
    assert contents(base)["data/\udcff\udcfe.txt"] == b"x"


def test_folders_too_deep_for_the_system_are_a_fault(tmp_path: Path) -> None:
    base = folder(tmp_path)
    here = os.getcwd()  # noqa: PTH109
    try:
        os.chdir(base)
        for _ in range(60):
            os.mkdir("d" * 100)  # noqa: PTH102
            os.chdir("d" * 100)
        os.chdir(here)
        assert faults(base) == ["unreadable"]
    finally:
        os.chdir(here)
        subprocess.run(["rm", "-rf", base], check=True)


def test_a_file_that_grew_or_shrank_since_it_was_listed_is_not_taken(tmp_path: Path) -> None:
    base = folder(tmp_path)
    with containers.opened(base) as container:
        assert containers.read_bytes(container, "data/a.txt", limit=3) == b"one"
        with pytest.raises(InputError, match="3 bytes, expected 2 at most"):
            containers.read_bytes(container, "data/a.txt", limit=2)
        for data in (b"on", b"one and more"):
            (base / "data/a.txt").write_bytes(data)
            with pytest.raises(InputError, match="had 3 bytes"):
                containers.read_bytes(container, "data/a.txt", limit=100)
        (base / "data/a.txt").unlink()
        with pytest.raises(InputError, match="cannot be read"):
            containers.read_bytes(container, "data/a.txt", limit=100)


# ------------------------------------------------------------------------------- archives: names and shape

UNSAFE = [
    "../x",
    "/etc/x",
    "x/../../y",
    "C:/x",
    "c:x",
    "~/x",
    "~root/x",
    "$HOME/x",
    "%TEMP%/x",
    "a\\b",
    "x//y",
]


@pytest.mark.parametrize("name", UNSAFE)
@pytest.mark.parametrize("make", [tar, zipped], ids=["tar", "zip"])
def test_paths_that_would_leave_are_left_out(make: Callable[..., Path], name: str, tmp_path: Path) -> None:
    made = make(tmp_path / "msb-014.zip", inside() | {name: b"x"})
    with containers.opened(made) as container:
        assert [(each.kind, each.place) for each in container.faults] == [(FaultKind.UNSAFE_PATH, name)]
        assert content(container) == FILES


def test_a_name_with_a_nul_is_not_read_up_to_it(tmp_path: Path) -> None:
    made = zipped(tmp_path / "msb-014.zip", inside() | {"msb-014/data/aXb": b"x"})
    made.write_bytes(made.read_bytes().replace(b"aXb", b"a\0b"))
    assert faults(made) == ["unsafe path"]
    made = tar(tmp_path / "y.tar", inside())
    pax = b"25 path=msb-014/data/a\0b\n"
    made.write_bytes(header("x", b"x", len(pax)) + padded(pax) + header("short", size=0) + made.read_bytes())
    assert "unsafe path" in faults(made)


@pytest.mark.parametrize("make", [tar, zipped], ids=["tar", "zip"])
def test_names_that_are_one_name_elsewhere_are_told(make: Callable[..., Path], tmp_path: Path) -> None:
    more = {"msb-014/data/A.TXT": b"x", "msb-014/data/gro\u0308ße": b"x"}
    assert faults(make(tmp_path / "msb-014.zip", inside() | more)) == ["duplicate", "duplicate"]


@pytest.mark.parametrize("make", [tar, zipped], ids=["tar", "zip"])
def test_a_file_in_a_file_is_told_once(make: Callable[..., Path], tmp_path: Path) -> None:
    more = {f"msb-014/data/a.txt/{name}": b"x" for name in "abc"}
    assert faults(make(tmp_path / "msb-014.zip", inside() | more)) == ["duplicate"]


def test_one_entry_twice_is_told_and_the_first_is_taken(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as archive:
        archive.writestr("x/a", b"first")
        with pytest.warns(UserWarning, match="Duplicate name"):
            archive.writestr("x/a", b"second")
    assert faults(tmp_path / "x.zip") == ["duplicate"]
    assert contents(tmp_path / "x.zip") == {"a": b"first"}


def test_a_bag_without_its_folder_is_read_and_told(tmp_path: Path) -> None:
    for make in (tar, zipped):
        made = make(tmp_path / "msb-014.zip", FILES)
        assert faults(made) == ["top level"]
        assert contents(made) == FILES


def test_what_lies_beside_the_bag_is_told_and_left_out(tmp_path: Path) -> None:
    made = tar(tmp_path / "msb-014.tar", {"__MACOSX/._x": b"x", "a.txt": b"x"} | inside())
    assert faults(made) == ["top level"]
    assert contents(made) == FILES


def test_doubles_of_a_file_manager_are_files_like_others(tmp_path: Path) -> None:
    """They are unpacked as files wherever the file manager is another: the bag is not what it was."""
    more = {"msb-014/data/._a.txt": b"x"}
    assert "data/._a.txt" in contents(tar(tmp_path / "msb-014.tar", inside() | more))


def test_links_and_devices_in_a_tar_are_listed(tmp_path: Path) -> None:
    path = tar(tmp_path / "msb-014.tar", inside())
    with tarfile.open(path, "a") as archive:
        for number, kind in enumerate(
            (tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.FIFOTYPE, tarfile.CHRTYPE, tarfile.BLKTYPE)
        ):
            info = tarfile.TarInfo(f"msb-014/data/{number}")
            info.type = kind
            info.linkname = "../../../etc/passwd" if number < 2 else ""
            archive.addfile(info)
    with containers.opened(path) as container:
        found = [(each.kind.value, each.target) for each in containers.irregular(container)]
        assert found == [("link", "../../../etc/passwd")] * 2 + [("special file", "")] * 3
        assert content(container) == FILES


def test_links_and_devices_in_a_zip_are_listed(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as archive:
        for name, mode in (("x/link", stat.S_IFLNK), ("x/pipe", stat.S_IFIFO), ("x/file", stat.S_IFREG)):
            info = zipfile.ZipInfo(name)
            info.external_attr = (mode | 0o644) << 16
            archive.writestr(info, "/etc/passwd")
    with containers.opened(tmp_path / "x.zip") as container:
        assert [each.kind.value for each in container.others.values()] == ["link", "special file"]
        assert [*container.files] == ["file"]


def test_files_with_holes_in_a_tar_are_not_guessed_at(tmp_path: Path) -> None:
    base = folder(tmp_path)
    with (base / "data/holes").open("wb") as file:
        file.seek(8 << 20)
        file.write(b"x")
        file.seek(80 << 20)
        file.write(b"x")
    for form in ("gnu", "posix"):
        for version in ("0.0", "0.1", "1.0") if form == "posix" else ("1.0",):
            path = by_tar(base.parent, "-S", f"--format={form}", f"--sparse-version={version}")
            with containers.opened(path) as container:
                assert content(container) == FILES
                assert container.others["data/holes"].kind is Kind.SPECIAL
                assert [*container.faults] == []
            shutil.rmtree(path.parent)


# ---------------------------------------------------------------------------------------- tars, by hand


def header(name: str, kind: bytes = b"0", size: int | bytes = 0, magic: bytes = b"ustar\x0000") -> bytes:
    field = size if isinstance(size, bytes) else b"%011o\0" % size
    block = bytearray(512)
    block[: len(name)] = name.encode()
    block[100:124] = b"0000644\x000000000\x000000000\0"
    block[124:136] = field
    block[136:148] = b"00000000000\0"
    block[156:157] = kind
    block[257:265] = magic
    block[148:156] = b" " * 8
    block[148:156] = b"%06o\0 " % sum(block)
    return bytes(block)


def padded(data: bytes) -> bytes:
    return data + bytes(-len(data) % 512)


END = bytes(1024)


def hand_made(path: Path, *blocks: bytes) -> Path:
    path.write_bytes(header("x/a", size=3) + padded(b"one") + b"".join(blocks))
    return path


NEGATIVE = b"\xff" * 12
NINES = b"110 size=" + b"9" * 100 + b"\n"
HUGE = b"\x80" + b"\x7f" * 11
HOSTILE_TARS: dict[str, tuple[bytes, ...]] = {
    "a negative size": (header("x/b", size=NEGATIVE), END),
    "a size beyond all": (header("x/b", size=HUGE), END),
    "a size that is no number": (header("x/b", size=b"0000009999x\0"), END),
    "a member cut off": (header("x/b", size=4000), b"x" * 512),
    "a long name of gigabytes": (header("L", b"L", 4 << 30), END),
    "a long name of a negative size": (header("L", b"L", NEGATIVE), END),
    "an extended header of gigabytes": (header("x", b"x", 4 << 30), END),
    "an extended header cut off": (header("x", b"x", 2000), b"x" * 512),
    "an extended header of digits": (header("x", b"x", 1 << 20), b"1" * (1 << 20), END),
    "a record that claims too much": (header("x", b"x", 99), padded(b"99999999 path=x\n"), END),
    "a record of length 0": (header("x", b"x", 9), padded(b"0 path=x\n"), END),
    "a record without a line end": (header("x", b"x", 9), padded(b"9 path=xx"), END),
    "a negative size in a record": (header("x", b"x", 15), padded(b"15 size=-99999\n"), header("x/b"), END),
    "a size of a hundred digits": (header("x", b"x", 110), padded(NINES), header("x/b"), END),
    "a header with a wrong sum": (b"y" + header("x/b")[1:], END),
    "no end": (),
    "sparse maps without end": (header("x/b", b"S")[:482] + b"\1" + header("x/b", b"S")[483:], b"\1" * 5120),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE_TARS)
def test_a_damaged_or_hostile_tar_is_one_fault_and_gives_what_lies_before(name: str, tmp_path: Path) -> None:
    made = hand_made(tmp_path / "x.tar", *HOSTILE_TARS[name])
    assert faults(made) == ["unreadable"]
    assert contents(made) == {"a": b"one"}


def test_thousands_of_headers_in_a_row_are_no_depth(tmp_path: Path) -> None:
    record = padded(b"12 path=x/b\n")
    for block in ((header("x", b"x", 12) + record), (header("g", b"g", 12) + record)):
        made = hand_made(tmp_path / "x.tar", block * 2_500, header("short"), END)
        assert faults(made) == []
        assert set(contents(made)) == {"a", "b"}


def test_extended_headers_say_name_and_size(tmp_path: Path) -> None:
    records = "21 path=x/äöü.txt\n10 size=3\n18 comment=nought\n".encode()
    made = hand_made(
        tmp_path / "x.tar", header("x", b"x", len(records)), padded(records), header("b"), padded(b"two"), END
    )
    assert contents(made) == {"a": b"one", "äöü.txt": b"two"}


def test_sums_of_signed_bytes_are_taken_as_old_programs_wrote_them(tmp_path: Path) -> None:
    block = bytearray(header("x/b"))
    block[2] = 0xE9
    block[148:156] = b" " * 8
    block[148:156] = b"%06o\0 " % (sum(block) - 256)
    assert len(contents(hand_made(tmp_path / "x.tar", bytes(block), END))) == 2


def test_volume_labels_and_folders_are_no_files(tmp_path: Path) -> None:
    made = hand_made(
        tmp_path / "x.tar",
        header("label", b"V"),
        header("x/b", b"5"),
        header("x/c/", b"\0", magic=b"\0" * 8),
        END,
    )
    with containers.opened(made) as container:
        assert [*container.files] == ["a"]
        assert {path: each.kind.value for path, each in container.others.items()} == {
            "b": "folder",
            "c": "folder",
        }


@settings(max_examples=150)
@given(data=st.data())
def test_whatever_byte_of_a_tar_changes_nothing_but_faults_come(data: st.DataObject) -> None:
    buffer = io.BytesIO()
    with tarfile.open(fileobj=buffer, mode="w") as archive:
        for name in ("x/a", "x/" + "long" * 40, "x/größe"):
            info = tarfile.TarInfo(name)
            info.size = 3
            archive.addfile(info, io.BytesIO(b"one"))
    original = buffer.getvalue()[:6144]
    at = data.draw(st.integers(0, len(original) - 1))
    changed = original[:at] + bytes([data.draw(st.integers(0, 255))]) + original[at + 1 :]
    _survives(changed)


def _survives(archive: bytes) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        path = Path(made) / "x"
        path.write_bytes(archive)
        try:
            with containers.opened(path, limits=Limits(max_bytes=1 << 30)) as container:
                for name in container.files:
                    if not container.is_document:
                        with contextlib.suppress(OSError), container.open(name) as file:
                            file.read(1 << 20)
        except PipelineError:
            pass


# ---------------------------------------------------------------------------------------------- bombs


def test_an_archive_out_of_all_proportion_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "_SMALL_BYTES", 1 << 20)
    zeros = bytes(8 << 20)
    assert faults(zipped(tmp_path / "x.zip", {"x/a": zeros})) == ["too much"]
    bomb = tmp_path / "y.tar.gz"
    bomb.write_bytes(gzip.compress(tar(tmp_path / "y.tar", {"y/a": zeros}).read_bytes()))
    assert faults(bomb) == ["too much"]
    assert faults(bomb, Limits(max_ratio=10_000)) == []


def test_the_number_of_members_is_bounded(tmp_path: Path) -> None:
    members = {f"x/{number}": b"" for number in range(300)}
    for make in (tar, zipped):
        made = make(tmp_path / "x.zip", members)
        assert faults(made, Limits(max_files=200)) == ["too much"]
        assert faults(made, Limits(max_files=300)) == []


def test_the_list_of_a_zip_is_counted_and_not_believed(tmp_path: Path) -> None:
    """A number of members that is too low, and a record of a larger archive in the comment."""
    made = zipped(tmp_path / "x.zip", {f"x/{number}": b"" for number in range(30)})
    data = bytearray(made.read_bytes())
    struct.pack_into("<HH", data, len(data) - 14, 1, 1)
    fake = b"PK\6\6" + struct.pack("<QHHIIQQQQ", 44, 45, 45, 0, 0, 1, 1, 46, 0)
    struct.pack_into("<H", data, len(data) - 2, len(fake))
    made.write_bytes(data + fake)
    assert faults(made, Limits(max_files=20)) == ["too much"]


def test_a_zip_with_the_larger_records_is_read_and_bounded(tmp_path: Path) -> None:
    """Zip64: the numbers stand in a record of their own (APPNOTE 4.3.14)."""
    made = zipped(tmp_path / "x.zip", {f"x/{number}": b"" for number in range(30)})
    data = made.read_bytes()
    end = data.rindex(b"PK\5\6")
    at = data.index(b"PK\1\2")
    record = b"PK\6\6" + struct.pack("<QHHIIQQQQ", 44, 45, 45, 0, 0, 30, 30, end - at, at)
    locator = b"PK\6\7" + struct.pack("<IQI", 0, end, 1)
    old = b"PK\5\6" + struct.pack("<HHHHIIH", 0, 0, 0xFFFF, 0xFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0)
    made.write_bytes(data[:end] + record + locator + old)
    assert len(contents(made)) == 30
    assert faults(made, Limits(max_files=20)) == ["too much"]


def test_bytes_are_counted_before_anything_is_inflated(tmp_path: Path) -> None:
    made = zipped(tmp_path / "x.zip", {"x/a": b"12345", "x/b": b"12345"})
    assert faults(made, Limits(max_bytes=9)) == ["too much"]


# --------------------------------------------------------------------------------------- damaged archives


def test_a_compressed_tar_that_is_cut_off_gives_what_it_can(tmp_path: Path) -> None:
    made = tar(tmp_path / "msb-014.tar.gz", inside(), "w:gz")
    made.write_bytes(made.read_bytes()[:-12])
    assert faults(made) == ["unreadable"]
    assert contents(made)["data/a.txt"] == b"one"


def test_bytes_behind_a_compressed_tar_are_one_fault(tmp_path: Path) -> None:
    made = tar(tmp_path / "msb-014.tar.gz", inside(), "w:gz")
    made.write_bytes(made.read_bytes() + b"behind")
    assert faults(made) == ["unreadable"]
    assert contents(made) == FILES


def test_a_member_of_a_zip_with_a_wrong_sum_cannot_be_read(tmp_path: Path) -> None:
    made = zipped(tmp_path / "x.zip", {"x/a": b"unchanged", "x/b": b"two"}, zipfile.ZIP_STORED)
    made.write_bytes(made.read_bytes().replace(b"unchanged", b"otherwise"))
    with containers.opened(made) as container:
        with pytest.raises(OSError, match="damaged in the archive"), container.open("a") as file:
            file.read()
        with container.open("b") as file:
            assert file.read() == b"two"


def test_sizes_that_lie_are_found_when_read(tmp_path: Path) -> None:
    for lie in (3, 500, 1 << 31):
        made = zipped(tmp_path / "x.zip", {"x/a": bytes(100)})
        data = bytearray(made.read_bytes())
        at = data.index(b"PK\1\2")
        struct.pack_into("<L", data, at + 24, lie)
        made.write_bytes(data)
        if lie > 1 << 30:
            assert faults(made) == ["too much"]
            continue
        with contextlib.suppress(OSError), containers.opened(made) as container:
            assert len(container.open("a").read()) != container.files["a"]


def test_members_that_share_their_bytes_are_read_or_refused_but_bounded(tmp_path: Path) -> None:
    """A list of many members over one compressed block: what comes out counts, not what lies there."""
    made = zipped(tmp_path / "x.zip", {"x/000": bytes(1 << 20)})
    data = made.read_bytes()
    at = data.index(b"PK\1\2")
    end = data.index(b"PK\5\6")
    record = data[at:end]
    records = b"".join(record.replace(b"x/000", b"x/%03d" % number) for number in range(200))
    tail = bytearray(data[end:])
    struct.pack_into("<HHL", tail, 8, 200, 200, len(records))
    made.write_bytes(data[:at] + records + tail)
    assert faults(made) == ["too much"]


def test_encrypted_members_are_told_and_left_out(tmp_path: Path) -> None:
    made = zipped(tmp_path / "x.zip", {"x/a": b"one", "x/b": b"two"})
    data = bytearray(made.read_bytes())
    for signature, offset in ((b"PK\1\2", 8), (b"PK\3\4", 6)):
        data[data.index(signature) + offset] |= 1
    made.write_bytes(data)
    assert faults(made) == ["encrypted"]
    assert contents(made) == {"b": b"two"}


def test_a_kind_of_compression_that_nobody_knows_is_an_error_of_the_file(tmp_path: Path) -> None:
    made = zipped(tmp_path / "x.zip", {"x/a": b"one"})
    data = bytearray(made.read_bytes())
    for signature, offset in ((b"PK\1\2", 10), (b"PK\3\4", 8)):
        struct.pack_into("<H", data, data.index(signature) + offset, 97)
    made.write_bytes(data)
    with containers.opened(made) as container, pytest.raises(OSError, match=r"damaged|not supported"):
        container.open("a").read()


@pytest.mark.parametrize(
    "compression", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA]
)
def test_whatever_byte_of_a_zip_changes_nothing_but_faults_come(compression: int, tmp_path: Path) -> None:
    made = zipped(tmp_path / "x.zip", {"x/a": b"one" * 9, "x/größe": b"two"}, compression)
    original = made.read_bytes()
    draw = random.Random(compression)
    for at in range(len(original)):
        changed = bytearray(original)
        changed[at] = draw.randrange(256)
        _survives(bytes(changed))


def test_nothing_is_written_where_the_archive_lies(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    made = tar(home / "msb-014.tar.gz", inside() | {"../evil": b"x", "/tmp/evil": b"x"}, "w:gz")
    before = sorted(tmp_path.rglob("*"))
    assert set(faults(made)) == {"unsafe path"}
    assert sorted(tmp_path.rglob("*")) == before
    assert sys.platform != "linux" or not Path("/tmp/evil").exists()
