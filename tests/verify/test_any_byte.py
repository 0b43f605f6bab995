"""Whatever single byte of a sealed bundle changes, whatever file goes or comes: verification says so."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import wrap
from pipeline.verdict import Outcome, Verdict
from tests import make, make_bags
from tests.verify.make_bundles import codes, files_below, is_rejected, judge

FEW = settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
TAG_MANIFEST = "tagmanifest-sha512.txt"


@pytest.fixture(scope="module", params=["one digest", "two digests"])
def sealed(request: pytest.FixtureRequest) -> Iterator[Path]:
    """A preservation bundle as `pipeline.wrap` seals it, with an image and names beyond ASCII.

    Every test leaves it as it was.
    """
    algorithms = make_bags.SHA512 if request.param == "one digest" else make_bags.TWO
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        image = make.jpeg(folder / "B14_0001.jpg").read_bytes()
        payload = {
            "masters/B14_0001.jpg": image,
            "masters/B14_0002.bin": b"master 2",
            "metadata/mets.xml": b"<record/>",
            "metadata/größe.txt": b"x",
        }
        plan = make_bags.plan(make_bags.documents(payload, algorithms), algorithms=algorithms)
        wrap.seal(plan, folder)
        yield folder / plan.name


@contextlib.contextmanager
def _changed(file: Path, data: bytes) -> Iterator[None]:
    """Let a file have other bytes for a while;"""
    original = file.read_bytes()
    file.write_bytes(data)
    try:
        yield
    finally:
        file.write_bytes(original)


@contextlib.contextmanager
def _renamed(file: Path, other: Path) -> Iterator[None]:
    file.rename(other)
    try:
        yield
    finally:
        other.rename(file)


def test_the_bundle_itself_is_accepted(sealed: Path) -> None:
    verdict = judge(sealed)
    assert verdict.outcome is not Outcome.REJECTED
    assert _codes(verdict) == set()


def _codes(verdict: Verdict) -> set[str]:
    """All that is found but that its profile is not known here."""
    return set(codes(verdict)) - {"B081"}


# ------------------------------------------------------------------------------------------------ bytes


@FEW
@given(data=st.data())
def test_any_other_byte_in_any_file_is_found(data: st.DataObject, sealed: Path) -> None:
    file = data.draw(st.sampled_from(list(files_below(sealed))))
    original = file.read_bytes()
    at = data.draw(st.integers(0, len(original) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda byte: byte != original[at]))
    with _changed(file, original[:at] + bytes([byte]) + original[at + 1 :]):
        verdict = judge(sealed)
    found = _codes(verdict)
    assert is_rejected(verdict) or (file.name.startswith("tagmanifest") and found <= WITHOUT_MEANING)
    assert found


WITHOUT_MEANING = {"B015", "B018"}
"""What is said of changes that leave the meaning of a tag manifest as it was.

Nothing has the digest of a tag manifest, and RFC 8493 forbids to reject it for hexadecimal digits in either
case (section 2.4), for any line ends and blanks (2.1.3), for ``*`` before a path (6.1.3): they are remarks.
"""


@FEW
@given(data=st.data())
def test_any_change_of_a_tag_manifest_is_found(data: st.DataObject, sealed: Path) -> None:
    file = sealed / TAG_MANIFEST
    original = file.read_bytes()
    at = data.draw(st.integers(0, len(original) - 1))
    new = data.draw(st.sampled_from([b"", *(bytes([each]) for each in (*b"aA0 \t\r\n*/.", 0, 0xFF))]))
    is_inserted = data.draw(st.booleans())
    changed = original[:at] + new + original[at + (not is_inserted) :]
    with _changed(file, changed):
        verdict = judge(sealed)
    found = _codes(verdict)
    assert is_rejected(verdict) or found <= WITHOUT_MEANING
    assert bool(found) == (changed != original)


def test_each_change_of_a_tag_manifest_without_meaning_is_found(sealed: Path) -> None:
    file = sealed / TAG_MANIFEST
    original = file.read_bytes()
    line = original.index(b"\n") + 1
    for at in (*range(3), *range(line - 6, line + 3), len(original) - 1):
        for byte in {original[at] ^ 0x20, 0x09, 0x0D, 0x0A, 0x20} - {original[at]}:
            changed = bytearray(original)
            changed[at] = byte
            with _changed(file, bytes(changed)):
                assert _codes(judge(sealed)), (at, bytes([byte]))
    with _changed(file, original[:-1]):
        assert _codes(judge(sealed)) == {"B018"}


@pytest.mark.parametrize(
    "name", ["bagit.txt", "bag-info.txt", "manifest-sha512.txt", "data/metadata/mets.xml"]
)
def test_every_byte_of_small_files_counts(name: str, sealed: Path) -> None:
    original = (sealed / name).read_bytes()
    for at in (*range(0, len(original), max(1, len(original) // 10)), len(original) - 1):
        changed = bytearray(original)
        changed[at] ^= 0x20
        with _changed(sealed / name, bytes(changed)):
            assert judge(sealed).outcome is Outcome.REJECTED, at


# ------------------------------------------------------------------------------------------------ files


def test_any_file_that_goes_is_found(sealed: Path, tmp_path: Path) -> None:
    for file in files_below(sealed):
        with _renamed(file, tmp_path / "away"):
            verdict = judge(sealed)
        assert _codes(verdict), file
        assert is_rejected(verdict) or file.name.startswith("tagmanifest"), file


@FEW
@given(data=st.data())
def test_any_file_that_comes_is_found(data: st.DataObject, sealed: Path) -> None:
    folders = ["", "data/", "data/masters/", "data/new/", "notes/"]
    names = [
        "x",
        ".hidden",
        "._double",
        "manifest-md5.txt",
        "tagmanifest-sha256.txt",
        "fetch.txt",
        "a b",
        "%0A",
    ]
    letters = st.text(
        st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1, max_size=9
    )
    name = data.draw(st.sampled_from(names) | letters.filter(lambda name: name not in (".", "..")))
    path = sealed / (data.draw(st.sampled_from(folders)) + name)
    if path.exists():
        return
    is_new_folder = not path.parent.exists()
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data.draw(st.binary(max_size=3)))
    verdict = judge(sealed)
    path.unlink()
    if is_new_folder:
        path.parent.rmdir()
    assert _codes(verdict)
    assert is_rejected(verdict) or not path.is_relative_to(sealed / "data")


@FEW
@given(data=st.data())
def test_any_file_that_is_renamed_is_found(data: st.DataObject, sealed: Path) -> None:
    file = data.draw(st.sampled_from(list(files_below(sealed))))
    names = [file.name.swapcase(), file.name + " ", file.name + ".bak", "x", "." + file.name]
    other = file.parent / data.draw(st.sampled_from(names))
    if other.exists():
        return
    with _renamed(file, other):
        verdict = judge(sealed)
    assert _codes(verdict)
    assert is_rejected(verdict) or file.name.startswith("tagmanifest")


def test_two_files_that_change_places_are_found(sealed: Path) -> None:
    one, other = sealed / "data/masters/B14_0002.bin", sealed / "data/metadata/mets.xml"
    with _changed(one, other.read_bytes()), _changed(other, one.read_bytes() + b"x"):
        verdict = judge(sealed)
    assert codes(verdict, families="B").count("B070") == 2
