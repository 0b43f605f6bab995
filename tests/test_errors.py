from __future__ import annotations

import pickle
from collections.abc import Iterator

import pytest

from pipeline import errors
from pipeline.errors import ExitStatus, PipelineError, Problem

PROBLEM = Problem(where="pages.csv, row 7", found="pgae", expected="page", advice='did you mean "page"?')


def _tree(root: type[PipelineError]) -> Iterator[type[PipelineError]]:
    yield root
    for below in root.__subclasses__():
        yield from _tree(below)


TREE = tuple(_tree(PipelineError))


@pytest.mark.parametrize("kind", TREE)
def test_an_error_crosses_from_a_worker_process_whole(kind: type[PipelineError]) -> None:
    crossed = pickle.loads(pickle.dumps(kind("item.toml is wrong", problems=[PROBLEM])))
    assert type(crossed) is kind
    assert (crossed.message, crossed.problems) == ("item.toml is wrong", (PROBLEM,))


def test_an_error_reads_as_its_message_and_a_line_for_each_problem() -> None:
    bare = Problem(where="item.toml, item.id", found="nothing", expected="a text")
    assert str(errors.SettingsError("2 things are wrong", problems=[PROBLEM, bare])) == (
        "2 things are wrong\n"
        '  - pages.csv, row 7: found pgae, expected page; did you mean "page"?\n'
        "  - item.toml, item.id: found nothing, expected a text"
    )


@pytest.mark.parametrize("kind", TREE)
def test_every_error_is_in_the_picture_with_its_status(kind: type[PipelineError]) -> None:
    picture = errors.__doc__ or ""
    assert kind.__name__ in picture
    if kind.__bases__ == (PipelineError,):
        line = next(line for line in picture.splitlines() if kind.__name__ in line)
        assert str(int(kind.exit_status)) in line.split()


@pytest.mark.parametrize("kind", TREE)
def test_every_error_is_told_in_a_sentence(kind: type[PipelineError]) -> None:
    assert (kind.__doc__ or "").strip().endswith(".")


def test_no_two_kinds_of_error_end_in_the_same_status() -> None:
    kinds = PipelineError.__subclasses__()
    assert len({kind.exit_status for kind in kinds}) == len(kinds)


def test_statuses_have_meanings_and_are_those_of_the_promise() -> None:
    assert {int(status) for status in ExitStatus} == {0, 1, 2, 3, 4, 5, 6, 7, 130}
    assert len({status.meaning for status in ExitStatus}) == len(ExitStatus)


def test_a_batch_ends_with_the_highest_status_of_its_items() -> None:
    assert max(ExitStatus.DONE, ExitStatus.FIXITY, ExitStatus.WANTING) is ExitStatus.FIXITY
