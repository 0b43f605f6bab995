"""Specifications: those that come with the package, and what is said of a wrong one."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import jsondoc, specification
from pipeline.errors import SettingsError
from pipeline.findings import Level
from pipeline.measurements import FORMULAS, Quantity
from pipeline.specification import Comparator, Limit, Measure, Patches, Source, Span, Statistic

GOOD = (specification.folder() / f"{specification.DEFAULT}.toml").read_text(encoding="utf-8")

# Tables are typed here once more, from the publications or from what was found of them; a row is a measure,
# its statistic if it is not each value, its formula, and one cell for each level.

# FADGI, Technical Guidelines for Digitizing Cultural Heritage Materials, September 2016, the tables for
# reflective originals: what they have in common, 1 star to 4 star
FADGI_2016 = """
tone_difference | difference of L* | <= 8 | <= 8 | <= 5 | <= 2
white_balance | CIEDE2000 without lightness | <= 8 | <= 6 | <= 4 | <= 2
unevenness | (max - min) / mean of luminance | < 8 | < 5 | < 3 | < 1
misregistration | | < 1.2 | < 0.8 | < 0.5 | < 0.33
sampling_efficiency | | > 60 | > 70 | > 80 | > 90
response_at_half_sampling | | < 0.4 | < 0.4 | < 0.3 | < 0.2
sfr50 | | 25 to 95 | 30 to 85 | 35 to 75 | 40 to 65
scale_deviation | | -3 to 3 | -3 to 3 | -2 to 2 | -1 to 1
sharpening | | < 1.3 | < 1.2 | < 1.1 | <= 1
noise | SD of L* | < 4 | < 3 | < 2 | < 1
"""
RARE = """
ppi | | - | >= 300 | >= 300 | >= 400
bits_per_sample | | - | >= 8 | 8, 16 | = 16
colour_space | | - | A, P, E | A, P, E | A, P, E
colour_difference: mean | CIEDE2000 | - | < 8 | < 5 | < 3
"""
GENERAL = """
ppi | | >= 150 | >= 300 | >= 300 | >= 400
colour_difference: mean | CIEDE2000 | < 10 | < 8 | < 5 | < 4
"""
FADGI_2016_CATEGORIES = {
    "bound-rare": f"""{RARE}
        sfr50 | | - | 25 to 85 | 35 to 75 | 45 to 65
        """,
    "bound-general": f"""{GENERAL}
        bits_per_sample | | >= 8 | >= 8 | 8, 16 | 8, 16
        colour_space | | G, S | G, S, A, P, E | G, S, A, P, E | S, A, P, E
        scale_deviation | | -5 to 5 | -3 to 3 | -2 to 2 | -1 to 1
        """,
    "manuscripts": f"""{RARE}
        skew | | - | - | - | -1 to 1
        """,
    "documents-general": f"""{GENERAL}
        bits_per_sample | | >= 8 | >= 8 | 8, 16 | = 16
        colour_space | | G, S | A, S, P, E | A, S, P, E | A, S, P, E
        scale_deviation | | -5 to 5 | -3 to 3 | -2 to 2 | -1 to 1
        skew | | - | - | - | -1 to 1
        """,
    "oversize": f"""{GENERAL}
        bits_per_sample | | >= 8 | >= 8 | 8, 16 | 8, 16
        colour_space | | G, S | G, S, A, P, E | G, S, A, P, E | G, S, A, P, E
        skew | | - | - | - | -1 to 1
        """,
    "prints-and-photographs": """
        ppi | | >= 100 | >= 200 | >= 400 | >= 600
        bits_per_sample | | >= 8 | >= 8 | = 16 | = 16
        colour_space | | G, S, A, P, E | G, S, A, P, E | A, P, E | A, P, E
        tone_difference | difference of L* | <= 8 | <= 6 | <= 4 | <= 2
        colour_difference: mean | CIEDE2000 | < 10 | < 6 | < 4 | < 2
        """,
    "paintings": """
        bits_per_sample | | >= 8 | >= 8 | = 16 | = 16
        colour_space | | S, A, P, E | S, A, P, E | A, P, E | A, P, E
        colour_difference: mean | CIEDE2000 | < 10 | < 6 | < 4 | < 2
        """,
}

# the edition of 2023, as others report it
FADGI_2023_BOUND_GENERAL = """
ppi | | >= 190 | >= 242.5 | >= 294 | >= 396
true_ppi | | >= 190 | >= 242.5 | >= 294 | >= 396
bits_per_sample | | >= 8 | >= 8 | 8, 16 | 8, 16
tone_difference | lightness term of CIEDE2000 | < 6 | < 4.5 | < 3 | < 1.5
white_balance | distance in a*b* | < 8 | < 6 | < 4 | < 2
unevenness | SD / mean of lightness | < 8 | - | - | < 1
colour_difference: mean | CIEDE2000 | < 6.5 | < 5 | < 3.5 | < 2
colour_difference: 90th percentile | CIEDE2000 | < 13 | < 10 | < 7 | < 4
misregistration | | - | < 0.8 | < 0.5 | < 0.33
sampling_efficiency | | > 60 | > 70 | > 80 | > 90
sharpening | | - | < 1.1 | < 1.05 | < 1.02
noise | SD of L* | < 4; > 0.25 | < 3; > 0.25 | < 2; > 0.25 | < 1; > 0.25
scale_deviation | | - | -3 to 3 | -2 to 2 | -1 to 1
"""
FADGI_2023_PRINTS = """
ppi | | >= 392 | >= 594
true_ppi | | >= 392 | >= 594
bits_per_sample | | - | = 16
tone_difference | lightness term of CIEDE2000 | - | < 1.5
white_balance | distance in a*b* | < 4 | < 2
unevenness | SD / mean of lightness | - | < 1
colour_difference: mean | CIEDE2000 | < 3.5 | < 2
colour_difference: 90th percentile | CIEDE2000 | < 7 | < 4
misregistration | | < 0.5 | < 0.33
sampling_efficiency | | > 80 | > 90
sfr50 | | - | 45 to 65
sharpening | | < 1.05 | < 1.02
noise | SD of L* | > 0.25 | < 1; > 0.25
scale_deviation | | -2 to 2 | -1 to 1
"""
CFR = """
ppi | | >= 294
true_ppi | | >= 294
tone_difference | difference of L* | <= 5
colour_difference: mean | CIEDE2000 | < 3.5
colour_difference: 90th percentile | CIEDE2000 | < 8.75
misregistration | | < 0.5
sharpening | | < 1.1
noise | SD of L* | < 2
"""
# ISO 19264-1:2021, levels A, B and C, as others report it
ISO_19264 = """
tone_difference | difference of L* | <= 2 | <= 3 | <= 4
gain_highlights | | 0.8 to 1.1 | 0.7 to 1.2 | 0.6 to 1.3
gain | | 0.7 to 1.3 | 0.6 to 1.4 | -
white_balance | distance in a*b* | <= 3 | <= 4 | <= 5
colour_difference: mean | CIEDE2000 | <= 4 | <= 5 | <= 5
colour_difference: maximum | CIEDE2000 | <= 10 | <= 15 | <= 15
noise | SD of L* | <= 1.6 | <= 2 | <= 2.2
sampling_efficiency | | >= 85 | >= 80 | >= 70
"""
# Metamorfoze Preservation Imaging Guidelines 1.0, January 2012, the upper level first
METAMORFOZE_1 = """
colour_space | | E | E, A | E, A, G
bits_per_sample | | 8, 16 | 8, 16 | 8, 16
ppi | | >= 300 | >= 300 | >= 300
scale_deviation | | -2 to 2 | -2 to 2 | -2 to 2
white_balance | difference of chroma | <= 2 | <= 2 | <= 2
tone_difference | difference of L* | <= 2 | <= 2 | <= 2
colour_difference | CIE 1976 ΔE*ab | <= 2.83 | <= 2.83 | <= 2.83
gain_highlights | | 0.8 to 1.08 | 0.8 to 1.08 | 0.8 to 1.08
gain | | 0.6 to 1.4 | 0.6 to 1.4 | -
noise | SD of L* | <= 1.57 | <= 1.57 | <= 1.57
lightness_range | | <= 3; <= 4; <= 5; <= 6 | <= 3; <= 4; <= 5; <= 6 | <= 3; <= 4; <= 5; <= 6
colour_drift | | <= 2 | <= 2 | <= 2
highest_lightness | | <= 97.26 | <= 97.66 | <= 97.66
colour_difference: mean | CIE 1976 ΔE*ab | <= 4 | <= 5 | <= 5
colour_difference: maximum | CIE 1976 ΔE*ab | <= 10 | <= 18 | <= 18
sampling_efficiency | | >= 85 | >= 85 | >= 85
sfr50 | | >= 42.5 | >= 38.25 | >= 38.25
sharpening | | <= 1.05 | <= 1.05 | <= 1.05
misregistration | | <= 0.35 | <= 0.5 | <= 0.5
geometric_distortion | | -2 to 2 | -2 to 2 | -2 to 2
skew | | -2 to 2 | -2 to 2 | -2 to 2
dust_spots | | <= 0 | <= 0 | <= 0
"""
# the same, version 2.0, as others report it
METAMORFOZE_2 = """
colour_space | | E | E, A | E, A, S
bits_per_sample | | = 16 | 8, 16 | 8, 16
ppi | | >= 300 | >= 300 | >= 300
scale_deviation | | -2 to 2 | -2 to 2 | -2 to 2
white_balance | CIEDE2000 without lightness | <= 3 | <= 3 | <= 5
tone_difference | difference of L* | <= 2 | <= 2 | <= 4
gain_highlights | | 0.8 to 1.1 | 0.8 to 1.1 | 0.8 to 1.1
gain | | 0.7 to 1.2 | 0.7 to 1.2 | 0.6 to 1.3
noise | SD of L* | <= 1.6 | <= 1.6 | <= 2
lightness_range | | <= 3; <= 4; <= 5; <= 6 | <= 3; <= 4; <= 5; <= 6 | <= 5
highest_lightness | | <= 98 | <= 98 | <= 98
colour_difference: mean | CIEDE2000 with S_L = 1 | <= 3 | <= 4 | -
colour_difference: maximum | CIEDE2000 with S_L = 1 | <= 7 | <= 14 | -
sampling_efficiency | | >= 85 | >= 85 | >= 85
sfr50 | | >= 38.25 | >= 38.25 | >= 38.25
sharpening | | <= 1.05 | <= 1.05 | <= 1.05
misregistration | | <= 0.35 | <= 0.5 | <= 0.5
geometric_distortion | | -2 to 2 | -2 to 2 | -4 to 4
dust_spots | | <= 0 | <= 0 | <= 0
"""
SPACES = {
    "A": "Adobe RGB (1998)",
    "P": "ProPhoto RGB",
    "E": "eciRGB v2",
    "S": "sRGB",
    "G": "grey gamma 2.2",
}
OURS = {"cp", "calc"}

Rows = dict[tuple[str, str, str], list[tuple[str, tuple[object, ...]]]]


def column(table: str, number: int) -> Rows:
    """What one level of a table asks for, by measure, statistic and formula; later rows replace earlier."""
    rows: Rows = {}
    for line in filter(str.strip, table.splitlines()):
        name, formula, *cells = (part.strip() for part in line.split("|"))
        measure, _, statistic = name.partition(": ")
        rows[measure, statistic or "each", formula] = [
            read for cell in cells[number].split("; ") if (read := cell_of(cell))
        ]
    return {key: cells for key, cells in rows.items() if cells}


def cell_of(cell: str) -> tuple[str, tuple[object, ...]] | None:
    if cell == "-":
        return None
    if " to " in cell:
        return "between", tuple(float(each) for each in cell.split(" to "))
    comparator, _, value = cell.partition(" ")
    if comparator in ("<", "<=", ">", ">=", "="):
        return comparator, (float(value),)
    values = cell.split(", ")
    return "one of", tuple(SPACES[each] if each in SPACES else float(each) for each in values)


def asked(name: str) -> Rows:
    """What a file asks for on the word of a publication, but for the file format."""
    rows: Rows = {}
    for each in specification.load(name).limits:
        if each.source.tag in OURS or each.measure is Measure.FORMAT:
            continue
        is_fact = isinstance(each.measure, Measure)
        key = (each.measure.value, "each" if is_fact else each.statistic, "" if is_fact else each.formula)
        rows.setdefault(key, []).append((each.comparator.value, each.values))
    return rows


def published() -> Iterator[tuple[str, Rows]]:
    """The name of every file, and what the publication asks for."""
    for category, rows in FADGI_2016_CATEGORIES.items():
        for star in range(2 if rows.startswith(RARE) else 1, 5):
            yield f"fadgi-2016-{category}-{star}-star", column(FADGI_2016 + rows, star - 1)
    for star in range(1, 5):
        yield f"fadgi-2023-bound-general-{star}-star", column(FADGI_2023_BOUND_GENERAL, star - 1)
    for star in (3, 4):
        yield f"fadgi-2023-prints-and-photographs-{star}-star", column(FADGI_2023_PRINTS, star - 3)
    yield "36-cfr-1236-textual-records", column(CFR, 0)
    for number, level in enumerate("abc"):
        yield f"iso-19264-2021-{level}", column(ISO_19264, number)
    for number, level in enumerate(("", "-light", "-extra-light")):
        yield f"metamorfoze-1.0{level}", column(METAMORFOZE_1, number)
    for number, level in enumerate(("-full", "-light", "-extra-light")):
        yield f"metamorfoze-2.0{level}", column(METAMORFOZE_2, number)


PUBLISHED = dict(published())


def test_every_publication_that_was_typed_here_has_its_file_and_none_besides() -> None:
    assert tuple(sorted(PUBLISHED)) == specification.names()


@pytest.mark.parametrize("name", specification.names())
def test_what_comes_with_the_package_has_the_published_figures_and_no_others(name: str) -> None:
    assert asked(name) == PUBLISHED[name]


@pytest.mark.parametrize("name", specification.names())
def test_every_figure_of_what_comes_with_the_package_can_be_traced(name: str) -> None:
    loaded = specification.load(name)
    assert loaded.identifier == name
    assert loaded.publication
    assert loaded.is_second_hand is ("second hand" in loaded.title)
    assert {each.source for each in loaded.limits} == set(loaded.sources)
    for each in loaded.limits:
        assert each.where or each.measure in (Measure.FORMAT, Measure.COMPRESSION)
        assert each.source.is_second_hand is (each.source.tag not in {*OURS, "F16", "M12"})
        assert each.level is Level.WARNING or each.source.tag not in OURS or each.measure in PLAIN


PLAIN = (Measure.FORMAT, Measure.COMPRESSION)
PRACTICE = {
    Quantity.TEXT_SKEW,
    Quantity.KEYSTONE,
    Quantity.FOCUS,
    Quantity.CLIPPED_LIGHT,
    Quantity.CLIPPED_DARK,
    Quantity.PAGE_TONE_DEVIATION,
}
"""What no publication limits."""


@pytest.mark.parametrize("name", specification.names())
def test_what_no_publication_limits_is_a_warning_by_common_practice(name: str) -> None:
    loaded = specification.load(name)
    ours = {each.measure: each for each in loaded.limits if each.source.tag == "cp"}
    assert set(ours) >= PRACTICE
    assert ours[Quantity.KEYSTONE].text == "±0.3°"
    assert ours[Quantity.FOCUS].text == "≤ 3.5 robust SD"
    assert loaded.limits_of(Quantity.SKEW)


def test_light_of_large_frames_may_be_less_even() -> None:
    limits = specification.load("metamorfoze-1.0").limits_of(Quantity.LIGHTNESS_RANGE)
    long_edges_mm = {210: 3, 420: 3, 421: 4, 594: 4, 700: 5, 841: 5, 1189: 6}  # A4 to A0
    for long_edge_mm, allowed in long_edges_mm.items():
        assert [each.number for each in limits if each.is_for_frame(long_edge_mm)] == [allowed]
    assert not [each for each in limits if each.is_for_frame(1300) or each.is_for_frame(None)]
    assert limits[1].conditions == "frames with a long edge above 420 up to 594 mm"


def test_the_darkest_patches_are_left_out_where_the_publication_does() -> None:
    darkest = {"metamorfoze-1.0": 5, "metamorfoze-1.0-light": 20, "metamorfoze-1.0-extra-light": 20}
    for name, lightness in darkest.items():
        for quantity in (Quantity.WHITE_BALANCE, Quantity.TONE, Quantity.NOISE):
            limit = specification.load(name).limit(quantity)
            assert limit
            assert limit.is_for_patch(lightness=lightness, is_neutral=True)
            assert not limit.is_for_patch(lightness=lightness - 0.1, is_neutral=True)
            assert not limit.is_for_patch(lightness=lightness, is_neutral=False)


def test_names_of_unevenness_hide_what_the_formulas_say() -> None:
    """FADGI kept the figure and changed the formula: of a ramp, one is the square root of 12 of the other."""
    old, new = (
        specification.load(f"fadgi-{year}-bound-general-4-star").limit(Quantity.EVENNESS)
        for year in (2016, 2023)
    )
    assert old
    assert new
    assert old.text == new.text == "< 1 %"
    assert old.formula != new.formula


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
    assert limit["patches"]["enum"] == [each.value for each in Patches]
    assert all(each.label for each in Measure)


def problems(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as raised:
        specification.load(path)
    return [str(problem) for problem in raised.value.problems]


PPI = 'value = 300\nunit = "ppi"\nstatistic = "each frame"\n'
SFR50 = 'unit = "% of half sampling"\nstatistic = "each"\n'
NOISE = (
    'measure = "noise"\ncomparator = "<"\nvalue = 2\nunit = "L*"\nstatistic = "each"\nformula = "SD of L*"\n'
)
NOISE += 'patches = "neutral"\n'

WRONG = {
    "a measure that is none": ('measure = "ppi"', 'measure = "pip"', 'did you mean "ppi"?'),
    "an unknown comparator": ('comparator = ">="', 'comparator = "any of"', 'did you mean "one of"?'),
    "an unknown key": ('value = 300', 'value = 300\nvalu = 3', 'limit 5, valu: found the key "valu"'),
    "a missing key": ('comparator = ">="\n', "", 'limit 5: found no key "comparator"'),
    "a word for a number": ("value = 300", 'value = "many"', "limit 5, value: found 'many'"),
    "two values": ("value = 300", "value = [300, 400]", "limit 5, value: found 2 values, expected 1"),
    "another unit": ('unit = "ppi"', 'unit = "dpi"', 'limit 5, unit: found "dpi", expected "ppi"'),
    "a source that is not listed": ('tag = "F16"', 'tag = "F23"', 'source: found "F16"'),
    "a colour space that is not listed": ('name = "eciRGB v2"', 'name = "eci"', 'found "eciRGB v2"'),
    "one measure twice": ('measure = "ppi"', 'measure = "bits_per_sample"', "a second limit"),
    "numbers in the wrong order": ("value = [-2, 2]", "value = [2, -2]", "2 before -2, expected the smaller"),
    "a number that is none": ("value = [-2, 2]", "value = [nan, 2]", "found nan, expected a number of %"),
    "a word for a ratio": ("value = 0.3", 'value = "little"', "found 'little', expected a number"),
    "a unit for a ratio": ('value = 0.3\nunit = ""', 'value = 0.3\nunit = "%"', 'found "%", expected ""'),
    "an unknown statistic": ('statistic = "mean"', 'statistic = "average"', 'expected one of "each", "mean"'),
    "a formula that is not computed": ('"CIEDE2000"', '"CIE94"', 'formula: found "CIE94", expected one of'),
    "a formula nearly right": ('"SD of L*"', '"SD of L"', 'did you mean "SD of L*"?'),
    "no formula where one is needed": ('formula = "CIEDE2000"\n', "", "formula: found none, expected one of"),
    "a formula where there is none": (SFR50, f'{SFR50}formula = "ISO"\n', "is measured in one way"),
    "patches of what has none": (SFR50, f'{SFR50}patches = "neutral"\n', "patches for sfr50"),
    "lightness upside down": (NOISE, f"{NOISE}lightness = [90, 20]\n", "90 before 20"),
    "lightness of what has none": (SFR50, f"{SFR50}lightness = [20, 90]\n", "lightness for sfr50"),
    "lightness beyond white": (NOISE, f"{NOISE}lightness = [20, 900]\n", "lightness 2: found 900"),
    "a size upside down": (SFR50, f"{SFR50}long_edge_mm = {{ above = 9, up_to = 9 }}\n", "above 9 up to 9"),
    "a size without bounds": (SFR50, f"{SFR50}long_edge_mm = {{ }}\n", "limit 15, long_edge_mm"),
    "a size for a header": (PPI, f"{PPI}long_edge_mm = {{ up_to = 9 }}\n", "is judged alike for all sizes"),
    "one limit twice": (NOISE, f'{NOISE}source = "F16"\n[[limit]]\n{NOISE}', 'second limit for "noise"'),
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
    """Those of its form, and what makes no sense in limits that have the form."""
    text = GOOD
    for old, new in {
        'measure = "ppi"': 'measure = "pip"',
        'level = "warning"': 'level = "loud"',
        'unit = "% of half sampling"': 'unit = "%"',
        'statistic = "mean"': 'statistic = "average"',
    }.items():
        text = text.replace(old, new, 1)
    said = problems(tmp_path, text)
    lines = dict(enumerate(text.splitlines(), start=1))
    places = [re.fullmatch(r"own.toml, line (\d+), (.*)", problem.split(":")[0]) for problem in said]
    assert [(each[2], lines[int(each[1])]) for each in places if each] == [
        ("limit 5, measure", 'measure = "pip"'),
        ("limit 6, level", 'level = "loud"'),
        ("limit 10, statistic", 'statistic = "average"'),
        ("limit 15, unit", 'unit = "%"'),
    ]


def test_a_misspelt_key_is_told_of_once_with_what_was_meant(tmp_path: Path) -> None:
    (said,) = problems(tmp_path, GOOD.replace("comparator", "comparitor", 1))
    assert 'found the key "comparitor"' in said
    assert 'did you mean "comparator"?' in said


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("fadgi-2016", 'names that begin so: "fadgi-2016-bound-general-1-star"'),
        ("fadgi-2016-manuscript-3-star", 'did you mean "fadgi-2016-manuscripts-3-star"?'),
        ("fadgi-2016-manuscripts-3-star.toml", 'did you mean "fadgi-2016-manuscripts-3-star"?'),
        (".", "which is a folder"),
        ("no\0such", "or the path of a TOML file"),
    ],
)
def test_a_name_that_is_none_is_met_with_what_was_meant(name: str, said: str) -> None:
    with pytest.raises(SettingsError) as raised:
        specification.load(name)
    assert said in str(raised.value.problems[0])
    assert len(str(raised.value.problems[0])) < 400


def test_of_what_is_measured_there_may_be_several_limits(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    lower = NOISE.replace('"<"', '">"').replace("value = 2", "value = 0.25")
    dark = f"{NOISE.replace('value = 2', 'value = 4')}lightness = [0, 20]\n"
    more = "".join(f'[[limit]]\n{each}source = "cp"\n\n' for each in (lower, dark))
    path.write_text(GOOD.replace("[[colour_space]]", f"{more}[[colour_space]]", 1), encoding="utf-8")
    limits = specification.load(path).limits_of(Quantity.NOISE)
    assert [each.text for each in limits] == ["< 2 L*", "> 0.25 L*", "< 4 L*"]
    assert [each.conditions for each in limits] == [
        "neutral patches",
        "neutral patches",
        "neutral patches, L* 0 to 20",
    ]


@given(
    st.sampled_from(list(Quantity)),
    st.sampled_from(list(Statistic)),
    st.sampled_from(["<", "<=", ">", ">=", "="]),
    st.floats(-1e6, 1e6),
)
def test_any_quantity_can_have_a_limit_of_any_statistic(
    tmp_path_factory: pytest.TempPathFactory,
    quantity: Quantity,
    statistic: Statistic,
    comparator: str,
    value: float,
) -> None:
    formula = next(iter(FORMULAS.get(quantity, ("",))))
    path = tmp_path_factory.mktemp("own") / "own.toml"
    head, _, _ = GOOD.partition("[[limit]]")
    path.write_text(
        f'{head}[[limit]]\nmeasure = "{quantity.value}"\ncomparator = "{comparator}"\nvalue = {value!r}\n'
        f'unit = "{quantity.unit}"\nstatistic = "{statistic.value}"\nformula = "{formula}"\nsource = "cp"\n',
        encoding="utf-8",
    )
    (limit,) = specification.load(path).limits_of(quantity)
    assert (limit.statistic, limit.comparator, limit.number) == (statistic, comparator, value)
    assert limit.formula == formula


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


@given(st.floats(0, 1e6), st.floats(0, 1e6))
def test_differences_are_judged_by_their_size(value: float, bound: float) -> None:
    """Too dark is as wrong as too light; of a signed quantity the sign counts."""
    plain = limit(Comparator.AT_MOST, bound)
    for quantity in (Quantity.TONE, Quantity.WHITE_BALANCE, Quantity.MISREGISTRATION):
        of_difference = replace(plain, measure=quantity)
        assert of_difference.allows(value) is of_difference.allows(-value) is (value <= bound)
    assert replace(plain, measure=Quantity.FOCUS).allows(-value)


@given(st.floats(0, 3000), st.floats(0, 2000), st.floats(1, 1000))
def test_spans_of_sizes_leave_no_gap_and_do_not_overlap(long_edge_mm: float, low: float, more: float) -> None:
    spans = [Span(up_to=low), Span(above=low, up_to=low + more), Span(above=low + more)]
    assert sum(span.holds(long_edge_mm) for span in spans) == (long_edge_mm > 0)


def test_nothing_is_kept_by_what_is_no_number() -> None:
    comparators = [each for each in Comparator if each is not Comparator.ONE_OF]
    for comparator in comparators:
        values = (0.0, 1.0) if comparator is Comparator.BETWEEN else (1.0,)
        assert not limit(comparator, *values).allows(math.nan)


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
        limit(Comparator.BETWEEN, -2.0, 2.0),
    ]
    assert [each.text for each in shown] == [
        "≥ 300 ppi", "< 0.5 ppi", "16 ppi", "8 or 16 ppi", "35 to 75 ppi", "±2 ppi",
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


def test_a_copy_stands_alone_and_knows_the_same_colour_spaces() -> None:
    spaces = {specification.load(name).colour_spaces for name in specification.names()}
    assert len(spaces) == 1
    assert {each.name for each in spaces.pop()} == set(SPACES.values())


def test_the_page_for_people_names_everything_that_a_limit_can_say() -> None:
    page = (Path(__file__).parent.parent / "docs" / "specifications.md").read_text(encoding="utf-8")
    formulas = {each for listed in FORMULAS.values() for each in listed}
    words = {*Measure, *Quantity, *Statistic, *formulas, *(each.value for each in Comparator)}
    words |= set(jsondoc.schema("specification")["properties"]["limit"]["items"]["properties"])
    assert not {str(word) for word in words if f"`{word}`" not in page}
    named = set(re.findall(r"`((?:fadgi|iso|metamorfoze)-[a-z0-9.-]+)`", page))
    assert named <= set(specification.names())
    assert specification.DEFAULT in named
