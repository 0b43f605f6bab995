"""The example bags of RFC 8493, section 4, with content of our own: accepted, and rejected once damaged.

Section 4.1 is a basic bag with one manifest and a tag file of its publisher's; 4.2 a bag of which a file is
still to be fetched. The RFC prints its digests cut short; here they are whole.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.verdict import Outcome
from tests import make_bags
from tests.verify.make_bundles import codes, digest, judge, places, renew_tag_manifests

LEAF = b"A drawing of henbane, folio 12 recto.\n"
SHOT = b"Raking light from the left, 12 degrees.\n"


def basic_bag(folder: Path) -> Path:
    """As in section 4.1: MD5, a leaf and what was noted of it, `bag-info.txt` that says whose it is."""
    files = {
        "data/b14-q172/leaf-0012.txt": LEAF,
        "data/b14-q172/leaf-0012-notes.txt": SHOT,
    }
    _write(folder, files)
    _write(
        folder,
        {
            "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
            "manifest-md5.txt": "".join(
                f"{digest('md5', data)} {path}\n" for path, data in files.items()
            ).encode(),
            "bag-info.txt": b"Source-Organization: Aldermoor Library\n"
            b"Organization-Address: 1 Weir Lane, Aldermoor\n"
            b"Contact-Name: Imaging unit\n"
            b"Contact-Email: imaging@aldermoor.example.org\n"
            b"External-Description: Leaves of a herbal, with what was\n"
            b"     noted while they were photographed.\n"
            b"Bagging-Date: 2026-03-09\n"
            b"External-Identifier: MS B 14\n"
            b"Payload-Oxum: %d.2\n"
            b"Bag-Group-Identifier: msb-014\n"
            b"Bag-Count: 1 of 1\n"
            b"Internal-Sender-Identifier: /storage/msb-014\n" % (len(LEAF) + len(SHOT)),
        },
    )
    return folder


def bag_with_fetch(folder: Path) -> Path:
    """As in section 4.2: two files are listed, both are to be fetched."""
    files = {"data/leaf-0012.txt": LEAF, "data/leaf-0012-notes.txt": SHOT}
    _write(
        folder,
        {
            "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
            "manifest-sha512.txt": "".join(
                f"{digest('sha512', data)}  {path}\n" for path, data in files.items()
            ).encode(),
            "fetch.txt": "".join(
                f"https://aldermoor.example.org/files/{path} {len(data)} {path}\n"
                for path, data in files.items()
            ).encode(),
        },
    )
    (folder / "data").mkdir()
    return folder


def _write(folder: Path, files: dict[str, bytes]) -> None:
    for path, data in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)


def test_the_basic_bag_is_accepted_with_remarks_on_what_should_be(tmp_path: Path) -> None:
    folder = basic_bag(tmp_path / "mybag")
    verdict = judge(folder)
    assert codes(verdict) == ["B012", "B040"]  # only MD5, no tag manifest
    assert verdict.outcome is Outcome.REMARKS
    assert make_bags.library_problems(folder) == ()
    assert dict(verdict.facts)["External-Identifier"] == "MS B 14"


def test_the_basic_bag_with_one_other_byte_is_rejected(tmp_path: Path) -> None:
    folder = basic_bag(tmp_path / "mybag")
    leaf = folder / "data/b14-q172/leaf-0012.txt"
    leaf.write_bytes(LEAF.replace(b"recto", b"verso"))
    verdict = judge(folder)
    assert places(verdict, "B070") == ["data/b14-q172/leaf-0012.txt"]
    assert verdict.outcome is Outcome.REJECTED


def test_the_basic_bag_with_a_tag_manifest_is_protected(tmp_path: Path) -> None:
    folder = basic_bag(tmp_path / "mybag")
    names = ("bagit.txt", "bag-info.txt", "manifest-md5.txt")
    (folder / "tagmanifest-md5.txt").write_text("".join(f"{'0' * 32} {name}\n" for name in names))
    assert codes(judge(folder)) == ["B012", "B071", "B071", "B071"]
    renew_tag_manifests(folder)
    assert codes(judge(folder)) == ["B012"]


def test_a_bag_with_files_to_fetch_is_not_complete_and_nothing_is_fetched(tmp_path: Path) -> None:
    folder = bag_with_fetch(tmp_path / "mybag")
    verdict = judge(folder)
    assert places(verdict, "B021") == ["data/leaf-0012.txt", "data/leaf-0012-notes.txt"]
    assert codes(verdict) == ["B021", "B021", "B040"]
    assert [*(folder / "data").iterdir()] == []


def test_a_bag_with_files_to_fetch_is_accepted_once_they_are_there(tmp_path: Path) -> None:
    folder = bag_with_fetch(tmp_path / "mybag")
    _write(folder, {"data/leaf-0012.txt": LEAF, "data/leaf-0012-notes.txt": SHOT})
    assert codes(judge(folder)) == ["B040"]
    assert make_bags.library_problems(folder) == ()
