"""Every file is read once; what changes, grows, goes or becomes something else meanwhile is a finding."""

from __future__ import annotations

import hashlib
import io
import os
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO

import pytest

from pipeline import containers, images
from pipeline.containers import Container, Fault, Limits, Other
from pipeline.digests import CHUNK_BYTES
from pipeline.errors import ToolError
from pipeline.verify import file_reading
from pipeline.verify.bag import FIXITY, BagFacts, read_bag
from pipeline.verify.evidence import SIGNATURE_SIDE, Bundle, FileReading
from pipeline.verify.file_reading import Wanted, read_files
from tests import make
from tests.verify.make_bundles import bag

SHA512 = frozenset({"sha512"})


def wanted(
    path: Path, name: str = "", algorithms: frozenset[str] = SHA512, *, decodes: bool = True
) -> Wanted:
    size_bytes = path.stat().st_size
    return Wanted(path=name or path.name, size_bytes=size_bytes, algorithms=algorithms, decodes=decodes)


def read(path: Path, **options: object) -> FileReading:
    with containers.opened(path.parent) as container:
        each = wanted(path, **options)  # type: ignore[arg-type]
        return read_files(container, [each], Limits(), threads=1)[path.name]


@pytest.fixture(params=["in memory", "part by part"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both ways of reading: by the size of the file."""
    if request.param == "part by part":
        monkeypatch.setattr(file_reading, "IN_MEMORY_BYTES", 10)
    return str(request.param)


# ------------------------------------------------------------------------------------------- what is read


@pytest.mark.parametrize("size", [0, 1, 11, CHUNK_BYTES, CHUNK_BYTES + 1, 3 * CHUNK_BYTES])
def test_digests_are_those_of_the_standard_library(size: int, way: str, tmp_path: Path) -> None:
    data = os.urandom(size)
    (tmp_path / "a.bin").write_bytes(data)
    reading = read(tmp_path / "a.bin", algorithms=frozenset({"md5", "sha512"}))
    assert reading.digests == {name: hashlib.new(name, data).digest() for name in ("md5", "sha512")}
    assert (reading.size_bytes, reading.failure, reading.image) == (size, "", None)


@pytest.mark.parametrize("maker", [make.tiff, make.jpeg, make.png, make.jp2])
def test_images_are_digested_and_decoded_from_one_read(
    maker: Callable[[Path], Path], way: str, tmp_path: Path
) -> None:
    path = maker(tmp_path / "b14_0001.bin")
    reading = read(path)
    assert reading.digests["sha512"] == hashlib.sha512(path.read_bytes()).digest()
    assert reading.image is not None
    assert reading.image.problem == ""
    assert reading.image.facts is not None
    assert reading.image.facts.width_px == 97
    assert len(reading.image.signature) == SIGNATURE_SIDE**2
    assert read(path, decodes=False).image is None


def test_both_ways_give_the_same_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = make.tiff(tmp_path / "x.tif")
    first = read(path)
    monkeypatch.setattr(file_reading, "IN_MEMORY_BYTES", 10)
    assert read(path) == first


@pytest.mark.parametrize("keep", [0.0, 0.001, 0.3, 0.95])
@pytest.mark.parametrize("maker", [make.tiff, make.jpeg, make.png, make.jp2])
def test_a_cut_off_image_is_digested_and_told(
    maker: Callable[[Path], Path], keep: float, way: str, tmp_path: Path
) -> None:
    path = make.cut(maker(tmp_path / "x.tif"), keep)
    reading = read(path)
    assert reading.digests["sha512"] == hashlib.sha512(path.read_bytes()).digest()
    assert reading.failure == ""
    assert reading.image is not None
    assert reading.image.problem


def test_tiles_have_no_signature_for_none_is_compared(tmp_path: Path) -> None:
    path = make.jpeg(tmp_path / "default.jpg")
    with containers.opened(tmp_path.parent) as container:
        name = f"{tmp_path.name}/default.jpg"
        reading = read_files(container, [wanted(path, name)], Limits(), threads=1)[name]
    assert reading.image is not None
    assert reading.image.signature == b""


def test_many_files_come_back_in_their_order_and_each_is_told_once(tmp_path: Path) -> None:
    for number in range(300):
        (tmp_path / f"{number}").write_bytes(bytes(number))
    names = [wanted(tmp_path / f"{number}") for number in range(299, -1, -1)]
    told: list[str] = []
    with containers.opened(tmp_path) as container:
        readings = read_files(container, names, Limits(), threads=3, done=lambda each: told.append(each.path))
    assert [*readings] == [each.path for each in names]
    assert sorted(told) == sorted(readings)


def test_all_threads_end_when_the_person_stops(tmp_path: Path) -> None:
    for number in range(500):
        (tmp_path / f"{number}").write_bytes(b"x")

    def stop(reading: FileReading) -> None:
        raise KeyboardInterrupt

    names = [wanted(tmp_path / f"{number}") for number in range(500)]
    with containers.opened(tmp_path) as container, pytest.raises(KeyboardInterrupt):
        read_files(container, names, Limits(), threads=2, done=stop)
    assert not [each for each in threading.enumerate() if each.name.startswith("reading")]


# ------------------------------------------------------------------------- what happens while it is read


class Meddled:
    """A folder in which something happens to each file between listing and reading, or while it is read."""

    name = "x"
    media_type = ""
    is_document = False
    faults: Sequence[Fault] = ()

    def __init__(
        self, inner: Container, opening: Callable[[str], object], reading: Callable[[str], object]
    ) -> None:
        self.files = inner.files
        self.others: Mapping[str, Other] = inner.others
        self._inner = inner
        self._opening, self._reading = opening, reading

    def open(self, path: str) -> BinaryIO:
        self._opening(path)
        return _Meddled(self._inner.open(path), lambda: self._reading(path))  # type: ignore[return-value]


class _Meddled(io.RawIOBase):
    def __init__(self, file: BinaryIO, happen: Callable[[], object]) -> None:
        self._file, self._happen = file, happen
        self.has_happened = False

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._file.fileno()

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: bytearray) -> int:  # type: ignore[override]
        data = self._file.read(len(buffer))
        buffer[: len(data)] = data
        if not self.has_happened:
            self.has_happened = True
            self._happen()
        return len(data)

    def close(self) -> None:
        self._file.close()
        super().close()


def nothing(path: str) -> None:
    pass


def meddle(
    folder: Path, opening: Callable[[str], object] = nothing, reading: Callable[[str], object] = nothing
) -> FileReading:
    with containers.opened(folder) as container:
        each = wanted(folder / "a.tif")
        return read_files(Meddled(container, opening, reading), [each], Limits(), threads=1)["a.tif"]


@pytest.fixture
def file(tmp_path: Path, way: str) -> Path:
    return make.tiff(tmp_path / "a.tif")


def appended(file: Path) -> None:
    with file.open("ab") as more:
        more.write(b"more")


def test_a_file_that_nothing_happens_to_is_no_failure(file: Path) -> None:
    assert meddle(file.parent).failure == ""


def test_a_file_that_vanishes_before_it_is_opened_is_told(file: Path) -> None:
    assert (
        meddle(file.parent, opening=lambda _: file.unlink()).failure == "vanished while the bundle was read"
    )


def test_a_file_that_vanishes_while_it_is_open_is_read(file: Path) -> None:
    assert meddle(file.parent, reading=lambda _: file.unlink()).failure == ""


def test_a_file_that_became_a_pipe_is_told_and_not_waited_for(file: Path) -> None:
    def replace(_: str) -> None:
        file.unlink()
        os.mkfifo(file)

    assert "no regular file" in meddle(file.parent, opening=replace).failure


def test_a_file_that_became_a_link_is_told(file: Path) -> None:
    def replace(_: str) -> None:
        file.unlink()
        file.symlink_to("/etc/passwd")

    assert "symbolic link" in meddle(file.parent, opening=replace).failure


def test_a_file_that_became_a_folder_is_told(file: Path) -> None:
    def replace(_: str) -> None:
        file.unlink()
        file.mkdir()

    assert meddle(file.parent, opening=replace).failure


@pytest.mark.parametrize("when", ["opening", "reading"])
def test_a_file_that_grows_is_told_with_both_sizes(when: str, file: Path) -> None:
    size_bytes = file.stat().st_size
    reading = meddle(file.parent, **{when: lambda _: appended(file)})
    assert reading.failure.startswith((f"had {size_bytes:,} bytes when listed", "changed while"))


@pytest.mark.parametrize("when", ["opening", "reading"])
def test_a_file_that_shrinks_is_told(when: str, file: Path) -> None:
    reading = meddle(file.parent, **{when: lambda _: os.truncate(file, 1000)})
    assert reading.failure


def test_a_file_that_is_written_to_in_place_is_told(file: Path) -> None:
    def change(_: str) -> None:
        with file.open("r+b") as other:
            other.write(b"I")
        os.utime(file, ns=(1, 1))

    assert meddle(file.parent, reading=change).failure == "changed while it was read"


def test_a_file_that_always_grows_has_an_end(file: Path) -> None:
    class Endless(_Meddled):
        def readinto(self, buffer: bytearray) -> int:  # type: ignore[override]
            appended(file)
            buffer[:] = bytes(len(buffer))
            return len(buffer)

    class Folder(Meddled):
        def open(self, path: str) -> BinaryIO:
            return Endless(super().open(path), lambda: None)  # type: ignore[return-value]

    with containers.opened(file.parent) as container:
        each = wanted(file, decodes=False)
        reading = read_files(Folder(container, nothing, nothing), [each], Limits(), threads=1)["a.tif"]
    assert "when it was read" in reading.failure


def test_a_disk_that_fails_is_told_by_its_own_words(file: Path) -> None:
    def fail(_: str) -> None:
        raise OSError(5, "Input/output error")

    assert meddle(file.parent, reading=fail).failure == "Input/output error"


def test_no_room_for_us_is_no_fault_of_the_bundle(file: Path) -> None:
    def fail(_: str) -> None:
        raise ToolError("no room")

    with pytest.raises(ToolError):
        meddle(file.parent, opening=fail)


def test_a_file_without_access_is_told(file: Path) -> None:
    file.chmod(0)
    if os.access(file, os.R_OK):
        pytest.skip("this user may read everything")
    assert read(file).failure == "Permission denied"


def test_what_failed_is_one_finding_and_its_digest_none(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    page = "data/page-1.txt"
    with containers.opened(folder) as container:
        sha512 = [
            Wanted(path=path, size_bytes=size_bytes, algorithms=SHA512)
            for path, size_bytes in container.files.items()
        ]
        (folder / page).unlink()
        bundle = Bundle(
            container=container,
            limits=Limits(),
            bag=read_bag(container, Limits()),
            readings=read_files(container, sha512, Limits(), threads=1),
        )
        report = FIXITY.judge(BagFacts(bundle=bundle))
    assert [(each.code, each.place) for each in report.findings] == [("B072", page)]


# ------------------------------------------------------------------------------------------- image limits


@pytest.mark.parametrize("tag", [256, 257], ids=["width", "height"])
@pytest.mark.parametrize("claim", [600_000, 17_000_000, 2**32 - 1])
def test_images_that_claim_too_much_are_not_decoded(
    tag: int, claim: int, way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = make.tiff_claiming(tmp_path / "x.tif", tag, claim)
    for name in ("examine", "examine_bytes"):
        monkeypatch.setattr(images, name, None)
    reading = read(path)
    assert reading.image is not None
    assert "more than are decoded" in reading.image.problem
    assert reading.digests["sha512"] == hashlib.sha512(path.read_bytes()).digest()


def test_limits_of_pixels_are_the_bundle_s(tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "x.tif")
    with containers.opened(tmp_path) as container:
        for most, problem in ((97 * 61, ""), (97 * 61 - 1, "claims 97 × 61 pixels, more than are decoded")):
            reading = read_files(container, [wanted(path)], Limits(max_pixels=most), threads=1)["x.tif"]
            assert reading.image is not None
            assert reading.image.problem == problem


@pytest.mark.parametrize("maker", [make.jp2, lambda path: make.jpeg(path, progressive=True)])
def test_what_decodes_as_a_whole_has_a_lower_limit(
    maker: Callable[[Path], Path], way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(images, "MAX_WHOLE_PIXELS", 97 * 61 - 1)
    monkeypatch.setattr(images, "_FEW_PIXELS", 10)
    reading = read(maker(tmp_path / "x.tif"))
    assert reading.image is not None
    assert "can only be decoded as a whole" in reading.image.problem
    monkeypatch.setattr(images, "MAX_WHOLE_PIXELS", 97 * 61)
    reading = read(tmp_path / "x.tif")
    assert reading.image is not None
    assert reading.image.problem == ""
