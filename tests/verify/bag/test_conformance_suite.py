"""The public conformance suite for BagIt, case by case: the outcome, and the rule that it comes from.

Source: bagit-conformance-suite, which the authors of RFC 8493 publish; checked out with its line ends as they
are (`core.autocrlf=false`). It is not stored here: the environment variable ``BAGIT_CONFORMANCE_SUITE`` names
a folder with it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pipeline.verdict import Outcome
from tests.verify.make_bundles import codes, judge

SUITE = os.environ.get("BAGIT_CONFORMANCE_SUITE", "")

pytestmark = pytest.mark.skipif(not SUITE, reason="BAGIT_CONFORMANCE_SUITE names no folder")

UNSAFE, UNSAFE_FETCH = ["B013"], ["B061"]
OUT_OF_SCOPE = "out-of-scope-file-paths-using"

# Version and category, case, codes of all errors and warnings; notes are left out.
CASES: list[tuple[str, str, list[str]]] = [
    ("v0.93/valid", "basic-bag", []),
    ("v0.93/valid", "duplicate-metadata-entries", []),
    ("v0.94/valid", "basic-bag", []),
    ("v0.94/valid", "duplicate-metadata-entries", []),
    ("v0.95/valid", "basic-bag", []),
    ("v0.95/valid", "duplicate-metadata-entries", []),
    ("v0.96/valid", "bag-in-a-bag", []),
    ("v0.96/valid", "bag-with-encoded-names", []),
    ("v0.96/valid", "bag-with-escapable-characters", []),
    ("v0.96/valid", "bag-with-leading-dot-slash-in-manifest", ["B016"]),
    ("v0.96/valid", "bag-with-space", []),
    ("v0.96/valid", "basic-bag", []),
    ("v0.96/valid", "duplicate-metadata-entries", []),
    ("v0.96/valid", "holey-bag", ["B043"]),
    ("v0.97/valid", "bag-in-a-bag", []),
    ("v0.97/valid", "bag-with-encoded-names", []),
    ("v0.97/valid", "bag-with-escapable-characters", []),
    ("v0.97/valid", "bag-with-leading-dot-slash-in-manifest", ["B016"]),
    ("v0.97/valid", "bag-with-space", []),
    ("v0.97/valid", "basic-bag", []),
    ("v0.97/valid", "duplicate-metadata-entries", ["B053"]),
    ("v0.97/valid", "holey-bag", ["B043"]),
    ("v0.97/valid", "minimal-bag", []),
    ("v0.97/valid", "ISO-8859-1-encoded-tag-files", ["B004"]),
    ("v0.97/valid", "UTF-16-encoded-tag-files", ["B004"]),
    ("v0.97/valid", "uncommon-metadata-separators", []),
    ("v0.97/invalid", "baginfo-missing-encoding", ["B002", "B071"]),
    ("v0.97/invalid", "bom-in-bagit.txt", ["B002"]),
    ("v0.97/invalid", "corrupt-data-file", ["B070"]),
    ("v0.97/invalid", "corrupt-tag-file", ["B071"] * 3),
    ("v0.97/invalid", "extra-file-in-bag", ["B022"]),
    ("v0.97/invalid", "invalid-version-number", ["B002", "B071"]),
    ("v0.97/invalid", "missing-baginfo", ["B044"]),
    ("v0.97/invalid", "missing-bagit.txt", ["B001"]),
    ("v0.97/invalid", f"{OUT_OF_SCOPE}-dot-notation", UNSAFE * 2),
    ("v0.97/invalid", f"{OUT_OF_SCOPE}-dot-notation-for-fetch", UNSAFE_FETCH),
    ("v0.97/invalid", "same-filename-listed-twice-with-different-hashes", ["B017"]),
    ("v0.97/warning", "duplicate-file-with-different-case", ["B025"]),
    ("v0.97/warning", "made-with-md5sum-tools", ["B015"] * 2),
    ("v0.97/warning", "relative-path", ["B016"]),
    ("v0.97/warning", "same-filename-listed-twice-with-different-normalization", ["B023", "B026", "B043"]),
    ("v0.97/warning", "same-filename-listed-twice-with-the-same-hash", ["B017", "B043"]),
    ("v0.97/warning", "special-system-files", ["B020", "B026", "B028"]),
    ("v0.97/linux-only", f"{OUT_OF_SCOPE}-absolute-path", UNSAFE),
    ("v0.97/linux-only", f"{OUT_OF_SCOPE}-absolute-path-for-fetch", UNSAFE_FETCH),
    ("v0.97/linux-only", f"{OUT_OF_SCOPE}-shortcut", UNSAFE),
    ("v0.97/linux-only", f"{OUT_OF_SCOPE}-shortcut-for-fetch", UNSAFE_FETCH),
    ("v0.97/linux-only", f"{OUT_OF_SCOPE}-shortcut-username", UNSAFE),
    ("v0.97/linux-only", f"{OUT_OF_SCOPE}-shortcut-username-for-fetch", UNSAFE_FETCH),
    ("v0.97/windows-only", f"{OUT_OF_SCOPE}-absolute-path", UNSAFE),
    ("v0.97/windows-only", f"{OUT_OF_SCOPE}-absolute-path-for-fetch", UNSAFE_FETCH),
    ("v0.97/windows-only", f"{OUT_OF_SCOPE}-shortcut", UNSAFE),
    ("v0.97/windows-only", f"{OUT_OF_SCOPE}-shortcut-for-fetch", UNSAFE_FETCH),
    ("v0.97/windows-only", f"{OUT_OF_SCOPE}-unc", UNSAFE),
    ("v0.97/windows-only", f"{OUT_OF_SCOPE}-unc-for-fetch", ["B043", "B043", *UNSAFE_FETCH]),
    ("v1.0/valid", "basicBag", []),
    ("v1.0/invalid", "bagit-with-invalid-whitespace", ["B002"]),
    ("v1.0/invalid", "notAllManifestsListAllFiles", ["B022"]),
    ("v1.0/invalid", "same-filename-listed-twice-with-different-hashes", ["B002", "B017", "B071"]),
    ("v1.0/invalid", "same-filename-listed-twice-with-the-same-hash", ["B017", "B043", "B071"]),
]

OTHERWISE = {
    "special-system-files": "`.DS_Store` is listed but not in the suite's repository: a file is missing",
}
"""Cases of the category "warning" that are rejected, and why that is right."""


def _expected(category: str, case: str) -> set[Outcome]:
    if case in OTHERWISE or category in ("invalid", "linux-only", "windows-only"):
        return {Outcome.REJECTED}
    return {Outcome.REMARKS} if category == "warning" else {Outcome.ACCEPTED, Outcome.REMARKS}


@pytest.mark.parametrize(("folder", "case", "expected"), CASES)
def test_each_case_has_its_outcome_for_the_right_reason(folder: str, case: str, expected: list[str]) -> None:
    verdict = judge(Path(SUITE) / folder / case)
    assert codes(verdict, families="ABI") == expected
    assert verdict.outcome in _expected(folder.partition("/")[2], case)


def test_no_case_is_left_out() -> None:
    there = {
        f"{case.parent.parent.name}/{case.parent.name}/{case.name}"
        for case in Path(SUITE).glob("v*/*/*")
        if case.is_dir()
    }
    assert there == {f"{folder}/{case}" for folder, case, _ in CASES}
    assert len(CASES) == 60
