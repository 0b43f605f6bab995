"""The public fixtures of OCFL: every good object accepted, every bad one rejected by a code in its name.

They belong to their publishers and are not kept here: `OCFL_FIXTURES` names a folder with them (the content
of github.com/OCFL/fixtures). Without it, the tests are skipped.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from pipeline.findings import Level, Report
from pipeline.ocfl import reading, validating
from pipeline.stores import FolderStore
from tests.ocfl.test_codes import read_all

FIXTURES = Path(os.environ.get("OCFL_FIXTURES", "")) if os.environ.get("OCFL_FIXTURES") else None
OBJECTS = sorted(FIXTURES.glob("1.[01]/*-objects/*")) if FIXTURES else []


def judged(folder: Path) -> Report:
    """The placeholder that keeps an empty folder in git is no part of the object."""
    store = FolderStore(folder.parent)
    entries = [each for each in store.walk(folder.name) if each.name != ".keep"]
    return validating.validate_object(read_all(reading.look(store, folder.name, entries=entries), folder))


def of(kind: str) -> list[Path]:
    return [each for each in OBJECTS if each.parent.name == f"{kind}-objects"]


@pytest.mark.skipif(FIXTURES is None, reason="OCFL_FIXTURES names no folder")
def test_the_fixtures_are_there() -> None:
    assert {kind: len(of(kind)) for kind in ("good", "warn", "bad")} == {"good": 22, "warn": 27, "bad": 107}


@pytest.mark.parametrize("folder", of("good"), ids=lambda path: f"{path.parts[-3]}-{path.name}")
def test_good_objects_are_accepted_without_a_word(folder: Path) -> None:
    assert judged(folder).codes == set()


@pytest.mark.parametrize("folder", of("warn"), ids=lambda path: f"{path.parts[-3]}-{path.name}")
def test_warned_objects_have_the_warnings_of_their_names_alone(folder: Path) -> None:
    assert judged(folder).codes == set(re.findall(r"W\d{3}", folder.name))


ALSO = {
    "E001_invalid_version_format": {"E104"},  # the inventory too says 1 for v1
    "E011_E013_invalid_padded_head_version": {"E023", "E042", "E092"},  # v08 lists v1 for v01
    "E017_invalid_content_dir": {"E023", "E092"},  # its own path cannot be told from two folders
    "E049_E050_E054_bad_version_block_values": {"E094"},  # the message is an array as well
    "E063_no_inv": {"E015"},  # its file lies beside the content folder
    "E096_manifest_duplicate_digests": {"E101"},  # both spellings list the same path
    "E100_E099_fixity_invalid_content_paths": {"E023", "E092"},  # the manifest names another folder
}
"""What else is wrong with some of them."""


@pytest.mark.parametrize("folder", of("bad"), ids=lambda path: f"{path.parts[-3]}-{path.name}")
def test_bad_objects_are_rejected_by_a_code_of_their_names(folder: Path) -> None:
    named = set(re.findall(r"E\d{3}", folder.name))
    found = {each.code for each in judged(folder).at(Level.ERROR)}
    assert found & named
    assert found <= named | ALSO.get(folder.name, set())
