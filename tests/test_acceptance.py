"""A delivery as a whole: a report for each bundle, a summary, the bundles of one item held together."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.acceptance import Acceptance
from pipeline.errors import InputError, ToolError
from pipeline.verdict import Outcome
from pipeline.verify import Options
from tests.make_item import World
from tests.verify import deliver
from tests.verify.make_bundles import bag, renew_tag_manifests

NOW = dt.datetime(2026, 3, 10, 9, tzinfo=dt.UTC)


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> World:
    """An item with its bundles, made once."""
    return deliver.build(tmp_path_factory.mktemp("built"))


def acceptance(reports: Path, by: Options | None = None) -> Acceptance:
    return Acceptance(
        options=by or Options(threads=1), reports=reports, now=NOW, made_by="solander, for a test"
    )


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_each_bundle_has_a_report_and_all_have_a_summary(built: World, tmp_path: Path) -> None:
    taking = acceptance(tmp_path / "reports")
    pages = [taking.take(path)[1] for path in sorted(built.bundles.iterdir())]
    delivery = taking.close()
    assert [page.name for page in pages] == ["msb-014-preservation.html", "msb-014-publication.html"]
    assert all(page.is_file() and page.with_suffix(".json").is_file() for page in pages)
    assert delivery.outcomes[Outcome.ACCEPTED] == 2
    assert delivery.between.findings == ()
    assert {"delivery.csv", "delivery.html"} <= set(names(tmp_path / "reports"))


def test_a_report_is_there_as_soon_as_its_bundle_was_judged(tmp_path: Path) -> None:
    taking = acceptance(tmp_path / "reports")
    taking.take(bag(tmp_path / "one"))
    assert names(tmp_path / "reports") == ["one.html", "one.json"]


def test_what_cannot_be_judged_leaves_nothing_behind_and_others_go_on(tmp_path: Path) -> None:
    taking = acceptance(tmp_path / "reports")
    with pytest.raises(InputError, match="is not there"):
        taking.take(tmp_path / "nowhere")
    assert not (tmp_path / "reports").exists()
    assert taking.close().verdicts == ()
    assert not (tmp_path / "reports").exists()
    taking.take(bag(tmp_path / "one"))
    delivery = taking.close()
    assert len(delivery.verdicts) == 1
    assert [Path(each.path).name for each in delivery.not_judged] == ["nowhere"]
    assert delivery.not_judged[0].reason.startswith("is not there")


def test_a_report_that_cannot_be_written_is_an_error_and_its_bundle_does_not_count(tmp_path: Path) -> None:
    (tmp_path / "reports/one.html").mkdir(parents=True)
    taking = acceptance(tmp_path / "reports")
    with pytest.raises(ToolError, match="cannot be written"):
        taking.take(bag(tmp_path / "one"))
    taking.take(bag(tmp_path / "two"))
    assert [each.name for each in taking.close().verdicts] == ["two"]


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from(["one", "ONE", "öne", "delivery", "one-2", "a b", "con"]), max_size=6))
def test_no_two_bundles_share_a_report(
    tmp_path_factory: pytest.TempPathFactory, given_names: list[str]
) -> None:
    root = tmp_path_factory.mktemp("delivery")
    taking = acceptance(root / "reports")
    pages = [taking.take(bag(root / str(at) / name))[1] for at, name in enumerate(given_names)]
    taking.close()
    assert len({str(page).lower() for page in pages}) == len(given_names)
    assert all(page.is_file() for page in pages)
    if pages:
        assert names(root / "reports").count("delivery.html") == 1


def test_bundles_of_one_item_are_compared_only_if_they_say_so(built: World, tmp_path: Path) -> None:
    both = deliver.copied(built, tmp_path)
    access = both.publication / "data/access/msb-014"
    shutil.copy(access / "B14_0002.jpg", access / "B14_0004.jpg")
    deliver.seal(both.publication)
    for group, expected in (("msb-014", ["X011"]), ("another", [])):
        deliver.edit(both.publication / "bag-info.txt", *_group(both.publication, group))
        renew_tag_manifests(both.publication)
        taking = acceptance(tmp_path / f"reports-{group}")
        for path in both.paths:
            taking.take(path)
        assert [each.code for each in taking.close().between.findings] == expected


def test_an_item_that_was_delivered_twice_is_told_whatever_its_bundles_are_called(tmp_path: Path) -> None:
    """Each by itself is in order, and the item in whose place the second stands is missing."""
    taking = acceptance(tmp_path / "reports")
    first, second = bag(tmp_path / "box-1"), bag(tmp_path / "box-2")
    file = next(path for path in sorted((second / "data").rglob("*")) if path.is_file())
    file.rename(file.with_name("renamed"))
    other = bag(tmp_path / "box-3")
    (other / "data" / "more.txt").write_bytes(b"more")
    for each in (second, other):
        deliver.seal(each)
    for path in (first, other, second):
        taking.take(path)
    found = taking.close().between.findings
    assert [(each.code, each.place, each.value) for each in found] == [
        ("X012", str(second), f"lists the same files as {first}")
    ]


def _group(folder: Path, group: str) -> list[tuple[str, str]]:
    lines = (folder / "bag-info.txt").read_text().splitlines()
    (old,) = [line for line in lines if line.startswith("Bag-Group-Identifier")]
    return [(old, f"Bag-Group-Identifier: {group}")]


def test_two_calls_give_the_same_bytes_in_any_number_of_threads(built: World, tmp_path: Path) -> None:
    written = []
    for threads in (1, 4):
        folder = tmp_path / str(threads)
        taking = acceptance(folder, Options(threads=threads, draws_sample=True))
        for path in sorted(built.bundles.iterdir()):
            taking.take(path)
        taking.close()
        written.append({path.name: path.read_bytes() for path in folder.iterdir()})
    assert written[0] == written[1]


def test_the_sample_is_drawn_by_the_seed_of_the_specification(built: World, tmp_path: Path) -> None:
    frames = []
    for seed in "ab":
        folder = tmp_path / seed
        folder.mkdir()
        terms = f'[sampling]\naql = 6.5\nseed = "{seed}"\n'
        by = deliver.options(terms, folder)
        by = Options(terms=by.terms, threads=1, draws_sample=True)
        verdict, _ = acceptance(folder / "reports", by).take(built.bundles / "msb-014-preservation")
        assert verdict.sample
        assert verdict.sample.seed == seed
        frames.append(verdict.sample.frames)
    assert all(len(each) == 2 for each in frames)
