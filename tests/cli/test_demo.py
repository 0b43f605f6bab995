"""`solander demo`: draws masters, builds bundles, says what to look at. Here with one small item."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import demo_data
from demo_data.plan import MasterTask
from pipeline.cli.main import run
from tests import make

Said = pytest.CaptureFixture[str]

ITEM = "adl-pap-3"
FEW = (ITEM, demo_data.TRIAL)


@pytest.fixture
def small_library(place: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo with one item and the trial, whose masters are plain pictures instead of drawings."""
    write_texts, tasks = demo_data.write_texts, demo_data.tasks

    def only_few(folder: Path, *, scale: float = 1.0) -> tuple[Path, ...]:
        return tuple(item for item in write_texts(folder, scale=scale) if item.name in FEW)

    def drawn(task: MasterTask, *, scale: float = 1.0) -> Path:
        task.path.parent.mkdir(parents=True, exist_ok=True)
        shade = sum(task.path.name.encode()) % 200
        return make.tiff(task.path, pixels=make.picture(60, 40) // 256 * 200 + shade)

    monkeypatch.setattr(demo_data, "write_texts", only_few)
    monkeypatch.setattr(demo_data, "tasks", lambda folder: tasks(folder, only=FEW))
    monkeypatch.setattr(demo_data, "draw", drawn)
    return place / "demo"


def test_the_demo_makes_bundles_and_ends_with_what_to_look_at_and_do(
    small_library: Path, capsys: Said
) -> None:
    assert run(["demo", "--small"]) == 0
    said = capsys.readouterr()
    assert "demo: masters drawn," in said.err
    assert "They were drawn small, so each has too low a resolution (F012)." in said.out
    assert said.out.rstrip().endswith("solander new my-item --masters FOLDER-OF-MASTERS")
    named = [line.split()[0] for line in said.out.splitlines() if line.startswith("  demo/bundles/")]
    assert len(named) >= 3
    assert all(Path(path.rstrip(":")).exists() for path in named)


def test_a_second_demo_draws_nothing_and_builds_nothing(small_library: Path, capsys: Said) -> None:
    run(["demo", "--small"])
    capsys.readouterr()
    assert run(["demo", "--small", "--json"]) == 0
    said = capsys.readouterr()
    assert "drawn" not in said.err
    built, trial = json.loads(said.out)
    assert built["up_to_date"]
    assert trial["status"]


def test_the_item_that_is_wrong_on_purpose_is_judged_and_not_built(small_library: Path, capsys: Said) -> None:
    assert run(["demo", "--small"]) == 0
    said = capsys.readouterr().out
    assert f"demo/{demo_data.TRIAL}: one more item, a contractor's trial that is wrong on purpose" in said
    assert f"demo/reports/{demo_data.TRIAL}/quality.html" in said
    assert (small_library / "reports" / demo_data.TRIAL / "quality.html").exists()
    assert not list((small_library / "bundles").glob(f"{demo_data.TRIAL}*"))
    quality = json.loads((small_library / "reports" / demo_data.TRIAL / "quality.json").read_text("utf-8"))
    assert "S002" in json.dumps(quality)  # the verso that is missing
