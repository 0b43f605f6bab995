"""Specifications: those that come with the package, and what is said of a wrong one."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import jsondoc, specification
from pipeline.errors import SettingsError
from pipeline.findings import Level
from pipeline.measurements import Quantity
from pipeline.specification import Comparator, Limit, Measure, Source

GOOD = (specification.folder() / f"{specification.DEFAULT}.toml").read_text(encoding="utf-8")

# FADGI, Technical Guidelines for Digitizing Cultural Heritage Materials, September 2016: ppi and bits of
# the tables for rare bound volumes and rare documents, which agree
PUBLISHED = {3: (300, (8, 16)), 4: (400, (16,))}


@pytest.mark.parametrize("name", specification.names())
def test_what_comes_with_the_package_has_the_published_figures(name: str) -> None:
    loaded = specification.load(name)
    ppi, bits = PUBLISHED[int(name.split("-")[-2])]
    limit = loaded.limit(Measure.PPI)
    assert limit
    assert (limit.number, limit.comparator) == (ppi, Comparator.AT_LEAST)
    depth = loaded.limit(Measure.BITS)
    assert depth
    assert depth.values == bits
    for each in loaded.limits:
        assert each.source in loaded.sources
    assert loaded.identifier == name


def test_the_default_is_one_of_them_and_was_read_in_full() -> None:
    loaded = specification.load()
    assert loaded == specification.load(specification.DEFAULT) == specification.load(None)
    assert "read in full" in {source.read for source in loaded.sources}


def test_a_file_is_loaded_by_its_path_and_reads_as_it_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "contract.toml"
    path.write_text(specification.source_text(specification.DEFAULT), encoding="utf-8")
    assert specification.load(path) == specification.load(str(path)) == specification.load()


def test_every_measure_of_the_schema_is_known_and_the_other_way_round() -> None:
    schema = jsondoc.schema("specification")
    limit = schema["properties"]["limit"]["items"]["properties"]
    assert limit["measure"]["enum"] == [each.value for each in (*Measure, *Quantity)]
    assert limit["comparator"]["enum"] == [each.value for each in Comparator]
    assert limit["level"]["enum"] == [each.value for each in Level]
    assert all(each.label for each in Measure)


def problems(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as raised:
        specification.load(path)
    return [str(problem) for problem in raised.value.problems]


WRONG = {
    "a measure that is none": ('measure = "ppi"', 'measure = "pip"', 'did you mean "ppi"?'),
    "an unknown comparator": ('comparator = ">="', 'comparator = "any of"', 'did you mean "one of"?'),
    "an unknown key": ('value = 300', 'value = 300\nvalu = 3', 'limit 5: found the key "valu"'),
    "a missing key": ('comparator = ">="\n', "", 'limit 5: found no key "comparator"'),
    "a word for a number": ("value = 300", 'value = "many"', "limit 5, value: found 'many'"),
    "two values": ("value = 300", "value = [300, 400]", "limit 5, value: found 2 values, expected 1"),
    "another unit": ('unit = "ppi"', 'unit = "dpi"', 'limit 5, unit: found "dpi", expected "ppi"'),
    "a source that is not listed": ('tag = "F16"', 'tag = "F23"', 'source: found "F16"'),
    "a colour space that is not listed": ('name = "eciRGB v2"', 'name = "eci"', 'found "eciRGB v2"'),
    "one measure twice": ('measure = "ppi"', 'measure = "bits_per_sample"', "a second limit"),
    "an order of words": ('comparator = "one of"\nvalue = ["n', 'comparator = "<"\nvalue = ["n', "words"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_said_with_its_place_and_what_is_expected(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    assert old in GOOD
    found = problems(tmp_path, GOOD.replace(old, new, 1))
    assert any(said in problem for problem in found), found


def test_all_problems_of_a_file_are_said_at_once(tmp_path: Path) -> None:
    text = GOOD.replace('measure = "ppi"', 'measure = "pip"').replace('level = "warning"', 'level = "loud"')
    assert len(problems(tmp_path, text)) == 2


def test_what_is_no_toml_is_said_to_be_none(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text("limit = [", encoding="utf-8")
    with pytest.raises(SettingsError, match="is not a specification file"):
        specification.load(path)


def test_a_name_that_is_nearly_right_is_suggested() -> None:
    with pytest.raises(SettingsError) as raised:
        specification.load("fadgi-2016-manuscript-3-star")
    assert 'did you mean "fadgi-2016-manuscripts-3-star"?' in str(raised.value)


@pytest.mark.parametrize("text", ["", "../../etc/passwd\0", "a" * 5000])
def test_a_name_that_can_be_no_file_is_an_error_like_any_other(text: str) -> None:
    with pytest.raises(SettingsError):
        specification.load(text or " ")


def limit(comparator: Comparator, *values: float | str) -> Limit:
    return Limit(
        measure=Measure.PPI,
        comparator=comparator,
        values=values,
        unit="ppi",
        statistic="each frame",
        formula="",
        source=Source(tag="x", title="A book", read="read in full"),
        where="page 3",
        level=Level.ERROR,
    )


@given(st.floats(allow_nan=False), st.floats(allow_nan=False))
def test_comparators_mean_what_they_say(value: float, bound: float) -> None:
    assert limit(Comparator.BELOW, bound).allows(value) is (value < bound)
    assert limit(Comparator.AT_MOST, bound).allows(value) is (value <= bound)
    assert limit(Comparator.AT_LEAST, bound).allows(value) is (value >= bound)
    assert limit(Comparator.ABOVE, bound).allows(value) is (value > bound)
    assert limit(Comparator.EQUAL, bound).allows(value) is (value == bound)
    assert limit(Comparator.ONE_OF, bound, 7.0).allows(value) is (value in (bound, 7.0))
    low, high = sorted((bound, 0.0))
    assert limit(Comparator.BETWEEN, low, high).allows(value) is (low <= value <= high)


def test_limits_read_as_a_person_writes_them() -> None:
    shown = [
        limit(Comparator.AT_LEAST, 300.0),
        limit(Comparator.BELOW, 0.5),
        limit(Comparator.EQUAL, 16.0),
        limit(Comparator.ONE_OF, 8.0, 16.0),
        limit(Comparator.BETWEEN, 35.0, 75.0),
    ]
    assert [each.text for each in shown] == [
        "≥ 300 ppi", "< 0.5 ppi", "16 ppi", "8 or 16 ppi", "35 to 75 ppi",
    ]  # fmt: skip
    assert shown[0].citation == "A book, page 3"


@pytest.mark.parametrize(
    ("description", "space"),
    [
        ("Adobe RGB (1998)", "Adobe RGB (1998)"),
        ("AdobeRGB1998", "Adobe RGB (1998)"),
        ("Compatible with Adobe RGB (1998)", "Adobe RGB (1998)"),
        ("eciRGB v2 ICCv4", "eciRGB v2"),
        ("eciRGB v1.0", ""),
        ("ProPhoto RGB", "ProPhoto RGB"),
        ("sRGB IEC61966-2.1", "sRGB"),
        ("Camera RGB", ""),
        ("", ""),
    ],
)
def test_a_profile_is_known_by_its_description(description: str, space: str) -> None:
    assert specification.load().colour_space(description) == space


def test_files_differ_only_where_the_published_tables_do() -> None:
    documents: dict[str, dict[str, Any]] = {
        name: tomllib.loads(specification.source_text(name)) for name in specification.names()
    }
    shared = [{k: v for k, v in d.items() if k in ("source", "colour_space")} for d in documents.values()]
    assert all(each == shared[0] for each in shared)
