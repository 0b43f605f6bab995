from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import bags, wrap
from pipeline.errors import InputError
from tests import make_bags


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    plan = make_bags.preservation_plan(tmp_path / "item")
    wrap.seal(plan, tmp_path)
    return tmp_path / plan.name


def test_a_valid_bag_has_no_problems(bag: Path) -> None:
    assert bags.validate(bag) == ()


def test_every_problem_is_told(bag: Path) -> None:
    for name in ("B14_0001.tif", "B14_0002.tif"):
        (bag / "data" / "masters" / name).unlink()
        (bag / "data" / "masters" / name).write_bytes(b"MASTER !")
    assert sorted(name for problem in bags.validate(bag) for name in [problem.split()[0]]) == [
        "data/masters/B14_0001.tif",
        "data/masters/B14_0002.tif",
    ]


def test_a_wrong_oxum_is_told(bag: Path) -> None:
    (bag / "data" / "masters" / "more.tif").write_bytes(b"more")
    (problem,) = bags.validate(bag)
    assert "Oxum" in problem


def test_a_label_that_is_repeated_has_all_its_values(bag: Path) -> None:
    assert bags.info(bag)["External-Identifier"] == ["MS B 14", "local:catalogue 1873, no. 212"]


@pytest.mark.parametrize("read", [bags.validate, bags.info])
@pytest.mark.parametrize(
    "declaration",
    [
        b"",
        b"no bag",
        b"\xff\xfe",
        b"BagIt-Version: 1.0\n",
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: no-such-encoding\n",
    ],
)
def test_what_is_not_a_bag_is_refused(bag: Path, declaration: bytes, read: object) -> None:
    assert callable(read)
    (bag / "bagit.txt").write_bytes(declaration)
    with pytest.raises(InputError, match="is not a bag"):
        read(bag)


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not a bag"):
        bags.validate(tmp_path / "nowhere")


def test_nothing_is_logged(bag: Path, caplog: pytest.LogCaptureFixture) -> None:
    (bag / "data" / "masters" / "B14_0001.tif").unlink()
    bags.validate(bag)
    assert caplog.records == []
