"""Digests: every one of every manifest is compared, by the file that the entry means."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from pathlib import Path

import pytest

from pipeline.errors import ExitStatus
from pipeline.verdict import Outcome
from pipeline.verify import Options, verify
from tests.verify.make_bundles import Draft, bag, codes, digest, judge, places

PAGE = "data/page-1.txt"


def test_a_digest_that_differs_is_told_with_both_values_and_its_own_exit_status(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014")
    (folder / PAGE).write_bytes(b"ONE\n")
    verdict = judge(folder)
    (finding,) = verdict.report.findings
    assert finding.value == f"sha512 {digest('sha512', b'ONE' + bytes([10]))}"
    assert finding.limit == f"sha512 {digest('sha512', b'one' + bytes([10]))}"
    assert verdict.exit_status is ExitStatus.FIXITY


@pytest.mark.parametrize("wrong", ["md5", "sha512"])
def test_one_wrong_digest_of_two_is_enough(wrong: str, tmp_path: Path) -> None:
    draft = Draft(algorithms=["md5", "sha512"])
    draft.lines(lambda lines: ("0" if lines[0] != "0" else "1") + lines[1:], wrong)
    verdict = judge(draft.write(tmp_path / "msb-014"))
    assert places(verdict, "B070") == [PAGE]
    assert wrong in verdict.report.findings[0].value


def test_digests_in_capitals_are_the_same(tmp_path: Path) -> None:
    draft = Draft()
    draft.lines(lambda lines: re.sub("(?m)^[0-9a-f]+", lambda found: found[0].upper(), lines))
    folder = draft.write(tmp_path / "msb-014")
    assert codes(judge(folder)) == []
    (folder / PAGE).write_bytes(b"ONE\n")
    assert codes(judge(folder)) == ["B070"]


def test_a_file_in_another_unicode_form_is_compared_by_what_the_entry_means(tmp_path: Path) -> None:
    composed, decomposed = (unicodedata.normalize(form, "data/é.txt") for form in ("NFC", "NFD"))
    draft = Draft(payload={composed: b"x"})
    draft.lines(lambda lines: lines.replace(composed, decomposed))
    folder = draft.write(tmp_path / "msb-014")
    assert codes(judge(folder)) == ["B023"]
    next((folder / "data").iterdir()).write_bytes(b"y")
    assert codes(judge(folder)) == ["B023", "B070"]


def test_an_encoded_name_is_compared_by_what_the_entry_means(tmp_path: Path) -> None:
    folder = Draft(payload={"data/50%25.txt": b"x"}).write(tmp_path / "msb-014")
    assert codes(judge(folder)) == ["B024"]
    (folder / "data/50%25.txt").write_bytes(b"y")
    assert codes(judge(folder)) == ["B024", "B070"]


def test_an_algorithm_that_nobody_knows_proves_nothing(tmp_path: Path) -> None:
    draft = Draft(algorithms=[], has_tag_manifests=False)
    draft.tags["manifest-crc32.txt"] = "".join(f"00000000  {path}\n" for path in draft.payload)
    verdict = judge(draft.write(tmp_path / "msb-014"))
    assert codes(verdict) == ["B011", "B040"]
    assert verdict.outcome is Outcome.REJECTED


def test_tag_files_in_folders_are_compared_too(tmp_path: Path) -> None:
    folder = bag(tmp_path / "msb-014", tags={"notes/a.txt": "x"})
    (folder / "notes/a.txt").write_text("y")
    assert places(judge(folder), "B071") == ["notes/a.txt"]


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_the_number_of_threads_changes_nothing(threads: int, tmp_path: Path) -> None:
    draft = Draft(
        payload={f"data/{number:03}": hashlib.sha512(bytes([number])).digest() for number in range(90)}
    )
    folder = draft.write(tmp_path / "msb-014")
    for number in (3, 50, 77):
        (folder / f"data/{number:03}").write_bytes(b"changed")
    report = verify(folder, Options(threads=threads)).verdict.report
    assert [each.place for each in report.findings] == ["data/003", "data/050", "data/077"]
