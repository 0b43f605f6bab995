"""Bundles that are made to harm: nothing hangs, fills the memory, writes, or ends in anything but a verdict.

What could hang or fill the memory runs in a process of its own, with a limit of both.
"""

from __future__ import annotations

import io
import os
import random
import resource
import stat
import struct
import subprocess
import sys
import tarfile
import textwrap
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from pipeline import containers
from pipeline.containers import Limits
from pipeline.errors import PipelineError
from pipeline.verify.bag.reading import is_text_encoding
from pipeline.verify.file_reading import Wanted, read_files
from tests import make
from tests.verify.make_bundles import (
    Draft,
    all_codes,
    bag,
    codes,
    digest,
    is_rejected,
    judge,
    places,
    renew_tag_manifests,
)

ROOT = Path(__file__).parent.parent.parent
GIB = 1 << 30


def bounded(code: str, *arguments: object, seconds: float = 60, gigabytes: float = 2) -> str:
    """Run a piece of code in a process of its own; it must end in time and within its memory."""

    def limit() -> None:
        most = int(gigabytes * GIB)
        resource.setrlimit(resource.RLIMIT_AS, (most, most))

    command = [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, timeout=seconds, preexec_fn=limit, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.strip()


JUDGE = """
import sys
from pathlib import Path
from tests.verify.make_bundles import codes, judge
for path in sys.argv[1:]:
    verdict = judge(Path(path))
    print(verdict.outcome.value, *sorted(set(codes(verdict))))
"""


# ----------------------------------------------------------------------------------------------- names

NAMES = [
    *("\x1b[31mred\x1b[0m.tif", "a\nb.tif", "a\rb.tif", "a\tb.tif", "bell\a.tif", "\x7f.tif"),
    *("\u202egpj.tif", "a\u200bb.tif", "a\u2028b.tif", "\ufeffbom.tif", "\U000e0041tag.tif"),
    *("<script>alert(1)</script>.tif", '"><img src=x onerror=alert(1)>.tif'),
    *(
        "con.tif",
        "NUL",
        "aux.jpg",
        "com1.tif",
        "a.tif.",
        "a .tif ",
        "a:b.tif",
        "a|b?.tif",
        "\\\\server\\x.tif",
    ),
    "a*b.tif",
]


UNMARKED = ["'; DROP TABLE.tif", "{{7-7}}.tif", "-rf", "--help", "$(id)", "%s%n%d.tif", "`id`", "z̸̢a͢l̵g̶o̸.tif"]
"""Names that every system can hold and that hide nothing: harmless, if nobody hands them to a shell."""


@pytest.mark.parametrize("name", NAMES + UNMARKED)
def test_names_that_mislead_are_listed_and_said_to_mislead(name: str, tmp_path: Path) -> None:
    draft = Draft(payload={f"data/{name}": b"x"})
    written = name.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")
    draft.tags["manifest-sha512.txt"] = f"{digest('sha512', b'x')}  data/{written}\n"
    found = set(codes(judge(draft.write(tmp_path / "msb-014"))))
    assert found <= {"A009", "B013", "B022", "I001"}
    assert bool(found & {"A009", "B013"}) == (name in NAMES)


def test_names_that_are_no_text_are_told_and_can_be_read(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    try:
        (folder / os.fsdecode(b"data/\xff\xfe.txt")).write_bytes(b"x")
    except OSError:
        pytest.skip("this file system wants Unicode")
    assert codes(judge(folder)) == ["A009", "B022"]


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lines=st.lists(
        st.tuples(
            st.sampled_from(["", " ", "a" * 128, "A" * 127, "0" * 128, "é", "0" * 5000]),
            st.sampled_from([" ", "  ", "\t", " *", "", " ./", "\x0b", "\u2028"]),
            st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
            | st.sampled_from(
                ["data/page-1.txt", "../../x", "/x", "data", "data/", "~", "con", "%00", "%0a"]
            ),
        ),
        max_size=5,
    ),
    name=st.sampled_from(
        ["manifest-sha512.txt", "tagmanifest-sha512.txt", "fetch.txt", "bag-info.txt", "bagit.txt"]
    ),
    end=st.sampled_from(["\n", "\r", "\r\n", "\x0c", "\0"]),
)
def test_whatever_stands_in_a_tag_file_there_is_a_verdict(
    lines: list[tuple[str, str, str]], name: str, end: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = bag(tmp_path_factory.mktemp("bags") / "msb-014")
    (folder / name).write_bytes("".join("".join(each) + end for each in lines).encode())
    assert judge(folder).outcome


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.binary(max_size=60), name=st.sampled_from(["manifest-sha512.txt", "bag-info.txt", "bagit.txt"])
)
def test_whatever_bytes_stand_in_a_tag_file_there_is_a_verdict(
    data: bytes, name: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = bag(tmp_path_factory.mktemp("bags") / "msb-014")
    (folder / name).write_bytes(data)
    assert is_rejected(judge(folder))


ENCODINGS = [
    *("rot13", "base64", "zlib", "idna", "punycode", "unicode_escape", "undefined", "../x", "x" * 9999),
    *("a\0b", "\0", "utf-8\0", "UTF-7", "utf_32", "cp037", "hz", "encodings", "aliases", "os", "%s", "utf8"),
]  # fmt: skip


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_whatever_encoding_is_declared_there_is_a_verdict(encoding: str, tmp_path: Path) -> None:
    declaration = f"BagIt-Version: 1.0\nTag-File-Character-Encoding: {encoding}\n"
    folder = Draft(tags={"bagit.txt": declaration}).write(tmp_path / "msb-014")
    assert {"B004", "B002"} & set(codes(judge(folder)))


def test_encodings_of_the_language_s_own_are_no_character_sets() -> None:
    assert [each for each in ENCODINGS if is_text_encoding(each)] == [
        "UTF-7",
        "utf_32",
        "cp037",
        "hz",
        "utf8",
    ]


def test_an_encoding_whose_decoder_takes_the_square_of_its_time_is_not_used(tmp_path: Path) -> None:
    draft = Draft(tags={"bagit.txt": "BagIt-Version: 1.0\nTag-File-Character-Encoding: punycode\n"})
    draft.tags["bag-info.txt"] = b"a-" + b"b" * 2_000_000
    assert bounded(JUDGE, draft.write(tmp_path / "msb-014"), seconds=30).startswith("rejected B004")


# --------------------------------------------------------------------------------- links, pipes, devices


def test_a_folder_of_links_pipes_and_sockets_is_one_finding_each_and_does_not_hang(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    (folder / "data/up").symlink_to("..")
    (folder / "data/self").symlink_to("self")
    (folder / "data/outside").symlink_to("/etc")
    (folder / "data/nowhere").symlink_to("nowhere at all")
    os.mkfifo(folder / "data/pipe")
    os.mknod(folder / "data/socket", stat.S_IFSOCK | 0o600)
    assert bounded(JUDGE, folder, seconds=30) == "rejected A008"
    assert len(places(judge(folder), "A008")) == 6


@pytest.mark.parametrize(
    "name", ["bagit.txt", "manifest-sha512.txt", "tagmanifest-sha512.txt", "bag-info.txt", "data"]
)
@pytest.mark.parametrize("kind", ["pipe", "link to a device", "link to itself"])
def test_what_is_read_first_can_be_a_pipe_or_a_link(name: str, kind: str, tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    (folder / name).rename(tmp_path / "away")
    if kind == "pipe":
        os.mkfifo(folder / name)
    else:
        (folder / name).symlink_to("/dev/zero" if "device" in kind else name)
    verdict = judge(folder)
    assert "A008" in codes(verdict)
    assert is_rejected(verdict)


def test_a_device_is_not_opened(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    try:
        os.mknod(folder / "data/zero", stat.S_IFCHR | 0o600, os.makedev(1, 5))
    except OSError:
        pytest.skip("this user may not make devices")
    assert codes(judge(folder)) == ["A008"]


# ---------------------------------------------------------------------------------------------- archives


def _tarred(folder: Path, path: Path, change: Callable[[tarfile.TarInfo], tarfile.TarInfo | None]) -> Path:
    with tarfile.open(path, "w") as archive:
        archive.add(folder, folder.name, filter=change)
    return path


def test_an_archive_with_members_for_elsewhere_is_rejected_and_nothing_is_written(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    work = tmp_path / "work"
    work.mkdir()
    path = _tarred(folder, work / "msb-014.tar", lambda info: info)
    with tarfile.open(path, "a") as archive:
        for name, kind in (
            ("../evil", b"0"),
            ("/tmp/evil", b"0"),
            ("msb-014/data/link", b"2"),
            ("msb-014/data/fifo", b"6"),
        ):
            info = tarfile.TarInfo(name)
            info.type = kind
            info.linkname = "/etc/passwd" if kind == b"2" else ""
            archive.addfile(info, io.BytesIO())
    before = sorted(tmp_path.rglob("*"))
    assert codes(judge(path)) == ["A003", "A003", "A008", "A008"]
    assert sorted(tmp_path.rglob("*")) == before


def test_a_hard_link_in_place_of_a_file_is_one_finding(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014", payload={"data/a": b"same", "data/b": b"same"})
    (folder / "data/b").unlink()
    (folder / "data/b").hardlink_to(folder / "data/a")
    path = _tarred(folder, tmp_path / "msb-014.tar", lambda info: info)
    assert codes(judge(path)) == ["A008"]


def _zipped(path: Path, *folders: Path, name: Callable[[str], str] = str) -> Path:
    """Pack folders, with the names that their files are to have in the archive."""
    with zipfile.ZipFile(path, "w") as archive:
        for folder in folders:
            for file in sorted(each for each in folder.rglob("*") if each.is_file()):
                entry = zipfile.ZipInfo(file.name)
                entry.filename = name(f"{folder.name}/{file.relative_to(folder)}")
                archive.writestr(entry, file.read_bytes())
    return path


def test_an_archive_of_two_bags_is_rejected_for_one_of_them_was_not_judged(tmp_path: Path) -> None:
    path = _zipped(tmp_path / "two.zip", bag(tmp_path / "msb-014"), bag(tmp_path / "msb-015"))
    assert codes(judge(path)) == ["A006"]
    assert is_rejected(judge(path))


@pytest.mark.parametrize("suffix", ["tar", "tar.gz"])
def test_an_archive_that_is_cut_off_is_judged_no_further(suffix: str, tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014", payload={"data/a": random.Random(1).randbytes(100_000)})
    path = tmp_path / f"msb-014.{suffix}"
    with tarfile.open(path, "w:gz" if suffix == "tar.gz" else "w") as tar:
        for name in ("bagit.txt", "data/a", "manifest-sha512.txt"):
            tar.add(folder / name, f"msb-014/{name}")
    path.write_bytes(path.read_bytes()[:60_000])
    verdict = judge(path)
    assert all_codes(verdict) == {"A001"}
    assert {each.reason for each in verdict.report.skipped} == {"not judged, because of A001"}


def test_a_zip_with_backslashes_is_one_finding_whatever_the_number_of_files(tmp_path: Path) -> None:
    path = _zipped(tmp_path / "x.zip", bag(tmp_path / "msb-014"), name=lambda name: name.replace("/", "\\"))
    assert codes(judge(path)) == ["A003"]


def test_a_zip_with_a_password_is_one_finding_whatever_the_number_of_files(tmp_path: Path) -> None:
    path = _zipped(tmp_path / "msb-014.zip", bag(tmp_path / "msb-014"))
    data = path.read_bytes().replace(b"PK\x01\x02\x14\x03\x14\x00\x00", b"PK\x01\x02\x14\x03\x14\x00\x01")
    assert data != path.read_bytes()
    path.write_bytes(data)
    assert codes(judge(path)) == ["A005"]


def test_a_file_that_tar_stores_as_sparse_is_said_to_be_that(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014", payload={"data/a": b"a"})
    path = tmp_path / "msb-014.tar"
    with tarfile.open(path, "w") as tar:
        for name in ("bagit.txt", "manifest-sha512.txt", "bag-info.txt", "tagmanifest-sha512.txt"):
            tar.add(folder / name, f"msb-014/{name}")
        tar.add(folder / "data", "msb-014/data", recursive=False)
        info = tarfile.TarInfo("msb-014/data/a")
        info.type = tarfile.GNUTYPE_SPARSE
        tar.addfile(info)
    findings = judge(path).report.findings
    assert [(each.code, each.value) for each in findings if each.code != "B054"] == [
        ("A008", "a file whose empty parts were left out (sparse)")
    ]


@pytest.mark.parametrize("suffix", ["tar", "tar.gz", "zip"])
def test_a_sound_bag_in_an_archive_is_accepted(suffix: str, tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014", payload={"data/a.jpg": make.jpeg(tmp_path / "x").read_bytes()})
    path = tmp_path / f"msb-014.{suffix}"
    if suffix == "zip":
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in folder.rglob("*"):
                archive.write(file, file.relative_to(tmp_path))
    else:
        with tarfile.open(path, "w:gz" if suffix == "tar.gz" else "w") as tar:
            tar.add(folder, "msb-014")
    assert codes(judge(path)) == []


def test_archives_in_archives_are_payload_and_not_opened(tmp_path: Path) -> None:
    nested = b"x" * 1000
    for _ in range(6):
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
            for number in range(10):
                archive.writestr(f"{number}.zip", nested)
        nested = buffer.getvalue()
    assert codes(judge(bag(tmp_path / "msb-014", payload={"data/a.zip": nested}))) == []


def test_a_quarter_of_a_gigabyte_from_nothing_is_refused_within_a_little_memory(tmp_path: Path) -> None:
    path = tmp_path / "msb-014.tar.gz"
    packer = zlib.compressobj(1, wbits=31)
    zeros = bytes(1 << 20)
    info = tarfile.TarInfo("msb-014/data/a")
    info.size = 256 << 20
    with path.open("wb") as file:
        file.write(packer.compress(info.tobuf()))
        for _ in range(256):
            file.write(packer.compress(zeros))
        file.write(packer.flush())
    assert path.stat().st_size < 2 << 20
    assert "A002" in bounded(JUDGE, path, gigabytes=1)


def test_a_zip_that_is_cut_off_is_rejected_with_one_reason_for_the_archive(tmp_path: Path) -> None:
    path = tmp_path / "msb-014.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("msb-014/bagit.txt", "x" * 1000)
    path.write_bytes(path.read_bytes()[:-30])
    verdict = judge(path)
    assert codes(verdict) == ["A001"]
    assert {each.reason for each in verdict.report.skipped} == {"not judged, because of A001"}


# ------------------------------------------------------------------------------------------------- size


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="tells of memory on Linux alone")
@pytest.mark.parametrize("lines", [50_000, pytest.param(2_000_000, marks=pytest.mark.large)])
def test_a_manifest_of_millions_of_lines_has_a_verdict(lines: int, tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    with (folder / "manifest-sha512.txt").open("a") as file:
        for number in range(lines):
            file.write(f"{number:0128x}  data/iiif/msb-014/B14_{number:07}/full/max/0/default.jpg\n")
    renew_tag_manifests(folder)
    # not ru_maxrss: it begins with the size of the process that started this one
    code = JUDGE + "\nprint(int(open('/proc/self/status').read().split('VmHWM:')[1].split()[0]) // 1024)"
    outcome, megabytes = bounded(code, folder, seconds=120, gigabytes=4).splitlines()
    assert outcome == "rejected B020"
    assert int(megabytes) < 200 + lines / 1000 * 1.3


def test_findings_of_one_rule_have_an_end(tmp_path: Path) -> None:
    draft = Draft()
    draft.lines(lambda lines: lines + "".join(f"{number:0128x}  data/{number}\n" for number in range(10_050)))
    found = [each for each in judge(draft.write(tmp_path / "msb-014")).report.findings if each.code == "B020"]
    assert len(found) == 10_001
    assert found[-1].value == "50 more places"


def test_one_line_of_megabytes_is_no_trouble(tmp_path: Path) -> None:
    texts = ("a" * 3_000_000, " " * 3_000_000, "a" * 128 + "  " + "data/" * 600_000, "é " * 1_000_000)
    folders = []
    for number, text in enumerate(texts):
        draft = Draft(tags={"manifest-sha512.txt": text, "fetch.txt": text, "bag-info.txt": text})
        folders.append(draft.write(tmp_path / f"bag-{number}"))
    outcomes = bounded(JUDGE, *folders, seconds=60).splitlines()
    assert [each.split()[0] for each in outcomes] == ["rejected"] * 4


# ---------------------------------------------------------------------------------------------- pictures


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_bomb(path: Path, side_px: int, interlace: int = 0) -> None:
    packer = zlib.compressobj(9)
    row = bytes(side_px * 3 + 1)
    rows = b"".join(packer.compress(row) for _ in range(side_px * (2 if interlace else 1))) + packer.flush()
    header = struct.pack(">IIBBBBB", side_px, side_px, 8, 2, 0, 0, interlace)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", rows) + _chunk(b"IEND", b"")
    )


def scans_bomb(path: Path) -> None:
    """A progressive JPEG whose last scan comes five hundred times more."""
    buffer = io.BytesIO()
    Image.new("RGB", (4000, 4000)).save(buffer, format="JPEG", progressive=True)
    data = buffer.getvalue()
    tables = data.rfind(b"\xff\xc4", 0, data.rfind(b"\xff\xda"))
    path.write_bytes(data[:-2] + data[tables:-2] * 500 + data[-2:])


def jp2_claim(path: Path) -> None:
    data = bytearray(make.jp2(path).read_bytes())
    struct.pack_into(">II", data, data.index(b"ihdr") + 4, 17_000, 17_000)
    size = data.index(b"\xff\x51") + 6
    struct.pack_into(">II", data, size, 17_000, 17_000)
    struct.pack_into(">II", data, size + 16, 17_000, 17_000)
    path.write_bytes(data)


BOMBS: dict[str, Callable[[Path], object]] = {
    "a PNG of 25 million pixels in 80 KB": lambda path: png_bomb(path, 5_000),
    "an interlaced PNG": lambda path: png_bomb(path, 3_000, 1),
    "a JPEG of five hundred scans": scans_bomb,
    "a JPEG 2000 file that claims 289 million pixels": jp2_claim,
    "a TIFF that claims a billion pixels": lambda path: make.tiff_claiming(path, 256, 15_000_000),
    "a TIFF whose strips claim gigabytes": lambda path: make.tiff_claiming(path, 279, 0xFFFFFFF0),
    "a TIFF with one strip of all rows": lambda path: make.tiff_claiming(path, 278, 0x7FFFFFFF),
    "a TIFF whose directory is itself": lambda path: path.write_bytes(b"II*\0\x08\0\0\0\0\0\x08\0\0\0"),
}


@pytest.mark.parametrize("name", BOMBS)
def test_pictures_that_are_made_to_take_much_end_within_bounds(name: str, tmp_path: Path) -> None:
    BOMBS[name](tmp_path / "picture")
    payload = {"data/b14_0001.tif": (tmp_path / "picture").read_bytes()}
    outcome = bounded(JUDGE, bag(tmp_path / "msb-014", payload=payload), seconds=60, gigabytes=6)
    assert outcome.startswith("rejected I00")


@pytest.mark.parametrize("maker", [make.tiff, make.jpeg, make.png, make.jp2, make.tiff_with_exif])
def test_whatever_byte_of_a_picture_changes_there_is_a_reading(
    maker: Callable[[Path], Path], tmp_path: Path
) -> None:
    """Most in the first and last 600 bytes, where the structure is."""
    original = maker(tmp_path / "b14_0001.tif").read_bytes()
    draw = random.Random(1)
    ends = [*range(min(600, len(original))), *range(max(0, len(original) - 600), len(original))]
    for _ in range(150):
        changed = bytearray(original)
        for _ in range(draw.choice((1, 1, 3))):
            changed[draw.choice(ends)] = draw.choice((0, 0xFF, 0x7F, draw.randrange(256)))
        _read(tmp_path, bytes(changed))


def _read(folder: Path, data: bytes) -> None:
    path = folder / "b14_0001.tif"
    path.write_bytes(data)
    try:
        with containers.opened(folder) as container:
            each = Wanted(path=path.name, size_bytes=len(data), algorithms=frozenset({"md5"}))
            reading = read_files(container, [each], Limits(max_pixels=10_000_000), threads=1)[path.name]
    except PipelineError:
        return
    assert reading.failure == ""


def test_a_value_of_megabytes_that_is_folded_thousands_of_times_is_read_at_once(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014", info=f"X: {'a' * 8_000_000}\n" + " b\n" * 50_000)
    assert bounded(JUDGE, folder, seconds=20) == "accepted"
