"""Delivery specifications: the example of the docs, what is said of a wrong one, what its values answer."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import pickle
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import bagprofile, delivery, jsondoc, sampling, specification
from pipeline.containers import Limits
from pipeline.delivery import (
    ColourMode,
    DeliverySpecification,
    Document,
    ImageTerms,
    PatternError,
    Role,
    Serialisation,
    TargetKind,
    TargetTerms,
    compile_pattern,
    compile_regex,
)
from pipeline.errors import Problem, SettingsError
from pipeline.findings import Level
from pipeline.model import (
    Algorithm,
    IccFacts,
    Jpeg2000Facts,
    MasterFacts,
    MasterFormat,
    Rational,
    ResolutionUnit,
)
from pipeline.specs import bagit
from tests.sampling_promises import limiting_quality

ROOT = Path(__file__).parent.parent
DOC = (ROOT / "docs" / "deliveries.md").read_text(encoding="utf-8")
EXAMPLE = re.findall(r"```toml\n(.*?)```", DOC, re.DOTALL)[0]
HEAD = '[delivery]\nid = "terms"\ntitle = "Terms"\nversion = "1"\nholder = "Aldermoor Library"\n'


def load(tmp_path: Path, text: str) -> DeliverySpecification:
    path = tmp_path / "specification.toml"
    path.write_text(text, encoding="utf-8")
    return delivery.load(path)


def problems(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(SettingsError) as raised:
        load(tmp_path, text)
    return [str(problem) for problem in raised.value.problems]


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> DeliverySpecification:
    return load(tmp_path_factory.mktemp("example"), EXAMPLE)


# ----------------------------------------------------------------------------------------------- docs


def test_the_example_of_the_docs_has_the_values_that_it_shows(example: DeliverySpecification) -> None:
    assert example.citation == "Terms for the digitisation of bound volumes, version 2.1"
    assert example.bag.match_name("ald0214-001") == {"item": "ald0214", "volume": "001"}
    assert example.names.match("data/masters/ald0214-001_0007_uv.tif") == {
        "item": "ald0214", "volume": "001", "number": "0007", "light": "_uv",
    }  # fmt: skip
    assert example.images.for_path("data/masters/ald0214-001_0007.tif").ppi_range == (594, 606)
    assert example.images.for_path("data/access/ald0214-001_0007.jpg").formats == (MasterFormat.JPEG,)
    assert example.imaging == specification.load("fadgi-2016-bound-rare-4-star")
    assert Document.MANIFEST not in example.metadata.documents
    assert len(example.metadata.documents) == 5
    assert example.targets.count_for(1001) == 3
    plan = example.sampling.plan_for(300)
    assert plan
    assert (plan.sample_size, plan.accept) == (50, 1)
    assert example.limits.max_bytes == 500 * 10**9
    assert example.level_of("I006", Level.ERROR) is Level.WARNING
    assert example.level_of("B029", Level.NOTE) is None
    assert example.level_of("B001", Level.ERROR) is Level.ERROR


def _keys(schema: dict[str, Any]) -> Iterator[str]:
    for key, part in schema.get("properties", {}).items():
        yield key
        yield from _keys(part)


def test_every_key_of_the_form_is_explained() -> None:
    tables = {*jsondoc.schema("delivery")["properties"], "words"}
    missing = {key for key in _keys(jsondoc.schema("delivery")) if f"`{key}`" not in DOC}
    assert missing <= tables
    assert all(f"[{table}]" in DOC for table in jsondoc.schema("delivery")["properties"])
    assert "`[targets.words]`" in DOC


def test_plans_that_the_docs_tell_of_are_those_of_the_tables() -> None:
    rows = re.findall(
        r"^\| (\d+) \| ([\d.]+) \| (\d+) \| (\d+) \| (\d+) \| ([\d.]+) % \|$", DOC, re.MULTILINE
    )
    assert len(rows) >= 8
    for lot, aql, *rest in rows:
        plan = sampling.plan(int(lot), "II", float(aql))
        shown = f"{100 * limiting_quality(plan):.1f}"
        assert [str(plan.sample_size), str(plan.accept), str(plan.reject), shown] == rest


def test_names_that_the_docs_give_for_a_pattern_do_what_is_said() -> None:
    pattern = compile_pattern("{item}_{number:4}{side:r|v}.tif")
    assert f"`{pattern.text}` fits `msb_14_0012r.tif`" in DOC
    assert pattern.match("msb_14_0012r.tif") == {"item": "msb_14", "number": "0012", "side": "r"}
    assert pattern.match("msb_14_12r.tif") is None
    (regex,) = re.findall(r"`regex = '([^']*)'`", DOC)
    assert compile_regex(regex).match("ald_0012.tif") == {"item": "ald", "number": "0012"}


def test_choices_of_the_schema_are_those_of_the_code() -> None:
    tables = jsondoc.schema("delivery")["properties"]

    def choices(table: str, key: str) -> list[Any]:
        found: list[Any] = tables[table]["properties"][key].get("items", tables[table]["properties"][key])[
            "enum"
        ]
        return found

    assert choices("sampling", "aql") == list(sampling.AQLS)
    assert choices("sampling", "level") == [each.value for each in sampling.Level]
    assert choices("sampling", "inspection") == [each.value for each in sampling.Severity]
    assert choices("targets", "required") == [each.value for each in TargetKind]
    assert choices("bag", "serialisation") == [each.value for each in Serialisation]
    assert choices("bag", "algorithms_allowed") == [each.value for each in Algorithm]
    assert set(tables["folders"]["properties"]) == {each.value for each in Role}
    assert {each.value for each in Document} <= set(tables["metadata"]["properties"])
    masters = tables["images"]["properties"]["masters"]["properties"]
    assert masters["formats"]["items"]["enum"] == [each.value for each in MasterFormat]
    assert masters["colour_modes"]["items"]["enum"] == [each.value for each in ColourMode]


# ------------------------------------------------------------------------------------- what is wrong

WRONG = {
    "a misspelt key": ("[bag]\nserialisaton = ['zip']", 'line 7, bag, serialisaton: found the unknown key'),
    "a misspelt key's near miss": ("[bag]\nserialisaton = ['zip']", 'did you mean "serialisation"?'),
    "a misspelt table": ("[samplng]\naql = 1.0", 'did you mean "sampling"?'),
    "a word of no list": ("[images.masters]\nformats = ['TIF']", 'did you mean "TIFF"?'),
    "a number for a list": ("[images.masters]\nbits_per_channel = 16", "write [16]"),
    "text for true": ("[metadata]\nmets = 'yes'", "write true, without quotes"),
    "an algorithm that is not allowed": (
        "[bag]\nalgorithms_required = ['sha512']\nalgorithms_allowed = ['md5']",
        'found "sha512", expected one of',
    ),
    "pattern and regex": ("[bag]\nname = '{item}'\nname_regex = 'a'", "`name_regex` beside `name`"),
    "a capital field": ("[bag]\nname = '{Item}'", "write {item}"),
    "a field of no form": ("[names.masters]\npattern = '{item:4x}'", "pattern: found the field"),
    "a lone brace": ("[names.masters]\npattern = 'a{b.tif'", "write {{ or }} for a brace"),
    "a backslash": ("[folders]\nmasters = ['a\\b']", "folders, masters 1: found the character"),
    "a slash before": ("[folders]\nmasters = ['/a']", "found nothing between two slashes"),
    "a folder above": ("[folders]\nmasters = ['../a']", 'found the folder ".."'),
    "a slow pattern": ("[names.masters]\npattern = '{a}{b}{c}'", "found 3 fields or *"),
    "a broken regex": ("[names.masters]\nregex = '[a'", "expected a regular expression"),
    "a slow regex": ("[names.masters]\nregex = '(a+)+b'", "found a repeated group"),
    "a count without number": ("[names.masters]\npattern = 'a.tif'\nnumbered_from = 1", "write {number:4}"),
    "a count without pattern": ("[names.masters]\nnumbered_from = 1", "`numbered_from` without `pattern`"),
    "two ppi": ("[images.masters]\nppi = 600\nmin_ppi = 400", "`min_ppi` beside `ppi`"),
    "a tolerance alone": ("[images.masters]\nppi_tolerance_percent = 1", "a tolerance without `ppi`"),
    "edges crossed": (
        "[images.access]\nmin_long_edge_px = 3000\nmax_long_edge_px = 300", "found 300, expected at least",
    ),
    "an imaging specification that is none": (
        "[imaging]\nspecification = 'fadgi-2016-manuscript-3-star'",
        'did you mean "fadgi-2016-manuscripts-3-star"?',
    ),
    "a profile that is none": ("[bag]\nprofile = 'preservtion'", 'did you mean "preservation"?'),
    "an element of no MODS": ("[metadata]\nmods_elements = ['titelInfo/title']", 'did you mean "titleInfo"?'),
    "an element in the wrong place": ("[metadata]\nmods_elements = ['shelfLocator']", 'found "shelfLocator"'),
    "a value of no MIX": ("[metadata]\nmix_values = [['fileSize', 'lightsource']]", 'mean "lightSource"?'),
    "asked and not": ("[metadata]\nmix = false\nmix_values = ['flash']", "`mix_values` beside mix = false"),
    "a kind of target": ("[targets]\nrequired = ['color']", 'did you mean "colour"?'),
    "an AQL of no table": ("[sampling]\naql = 0.5", "found 0.5, expected one of 0.01, 0.015"),
    "no AQL": ("[sampling]\nlevel = 'I'", "give aql = 1.0"),
    "all and a sample": ("[sampling]\ninspect_all = true\naql = 1.0", "`aql` beside inspect_all = true"),
    "an unknown unit": ("[limits]\nmax_bytes = '500 gigabytes'", 'such as "500 GB"'),
    "a level of findings": ("[severity]\nB001 = 'warn'", 'did you mean "warning"?'),
    "a code in small letters": ("[severity]\nb001 = 'off'", "write B001"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "said"), WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_said_with_its_place_and_what_to_do(tmp_path: Path, text: str, said: str) -> None:
    found = problems(tmp_path, f"{HEAD}{text}\n")
    assert len(found) == 1, found
    assert said in found[0]
    assert found[0].startswith("specification.toml, line ")


def test_all_problems_of_a_file_are_said_at_once_in_the_order_of_its_lines(tmp_path: Path) -> None:
    text = HEAD + "\n".join(text for text, _ in list(WRONG.values())[3:6])
    found = problems(
        tmp_path, text.replace('title = "Terms"\n', "").replace("[images.masters]\nbits", "bits")
    )
    assert len(found) == 4
    assert "`title`" in found[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[specification]\nid = 'x'", "this is an imaging specification"),
        ("[item]\nid = 'x'", "this is the record of an item"),
        ("[holder]\nname = 'x'", "this is the settings of an imaging unit"),
        ("[delivry]\nid = 'x'", 'did you mean "delivery"?'),
        ("", "found no `delivery`"),
        ("[delivery", "specification.toml, line 1"),
    ],
)
def test_a_file_of_another_kind_is_told_apart(tmp_path: Path, text: str, said: str) -> None:
    assert said in problems(tmp_path, text)[0]


def test_specifications_that_come_with_the_package_are_known_to_be_of_the_other_kind() -> None:
    for path in specification.folder().glob("*.toml"):
        with pytest.raises(SettingsError, match="this is an imaging specification"):
            delivery.load(path)
        with pytest.raises(SettingsError, match="the name of an imaging specification"):
            delivery.load(path.stem)


@pytest.mark.parametrize("name", ["nowhere.toml", ".", "a" * 5000, "a\0b", ""])
def test_what_is_no_file_is_said_to_be_none(name: str) -> None:
    with pytest.raises(SettingsError, match="there is no such delivery specification"):
        delivery.load(name)


@pytest.mark.parametrize("data", [b"\xff\xfe[\0d\0", b"PK\x03\x04", b"title = \xe9", b"a = [" + b"[" * 5000])
def test_what_is_no_text_is_said_to_be_none(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "specification.toml"
    path.write_bytes(data)
    with pytest.raises(SettingsError, match="is not TOML that can be read"):
        delivery.load(path)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_a_damaged_file_is_read_or_refused_and_never_breaks_us(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    lines = EXAMPLE.splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    key = lines[at].partition("=")[0]
    values = (
        "1",
        "-1",
        "true",
        '"x"',
        "[]",
        '["x"]',
        "[[1]]",
        "{ a = 1 }",
        "2026-01-01",
        "inf",
        '""',
        "1e400",
    )
    lines[at] = (
        f"{key}= {data.draw(st.sampled_from(values))}" if key.strip() else data.draw(st.text(max_size=9))
    )
    said: tuple[Problem, ...] = ()
    try:
        load(tmp_path_factory.mktemp("damaged"), "\n".join(lines))
    except SettingsError as error:
        said = error.problems
    assert all(problem.where and problem.found and problem.expected for problem in said)


# ------------------------------------------------------------------------------------ files beside it


def test_profile_and_imaging_specification_may_lie_beside_the_file(tmp_path: Path) -> None:
    ours = bagprofile.our_profile(bagit.PRESERVATION_PROFILE)
    (tmp_path / "our.json").write_text(json.dumps(ours), encoding="utf-8")
    text = specification.source_text(specification.DEFAULT)
    (tmp_path / "tolerances.toml").write_text(text, encoding="utf-8")
    beside = "[bag]\nprofile = 'our.json'\n[imaging]\nspecification = 'tolerances.toml'"
    loaded = load(tmp_path, HEAD + beside)
    assert loaded.bag.profile == ours
    assert loaded.imaging == specification.load()
    assert load(tmp_path, HEAD + "[bag]\nprofile = 'preservation'").bag.profile == ours


@pytest.mark.parametrize("text", ["{", "[]", "{}", '{"BagIt-Profile-Info": 3}', '{"Manifests-Required": 3}'])
def test_what_is_wrong_with_a_profile_beside_it_is_said(tmp_path: Path, text: str) -> None:
    (tmp_path / "our.json").write_text(text, encoding="utf-8")
    found = problems(tmp_path, HEAD + "[bag]\nprofile = 'our.json'")
    assert all("bag, profile: found" in each for each in found)


def test_what_is_wrong_with_an_imaging_specification_beside_it_is_said(tmp_path: Path) -> None:
    text = specification.source_text(specification.DEFAULT).replace('measure = "ppi"', 'measure = "pip"')
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    found = problems(tmp_path, HEAD + "[imaging]\nspecification = 'own.toml'")
    assert len(found) == 2
    assert any(re.search(r'own.toml, line \d+, limit 5, measure: found "pip"', each) for each in found)


# ------------------------------------------------------------------------------------------- patterns

texts = st.text("abcXYZ019-_. é", min_size=1, max_size=12).filter(lambda text: text not in (".", ".."))
words = st.text("abcXYZ019", min_size=1, max_size=12)


@given(texts, st.integers(0, 9999), st.sampled_from("rv"), st.sampled_from(("", "_uv", "_ir")))
def test_a_name_made_from_fields_gives_the_fields_back(item: str, number: int, side: str, light: str) -> None:
    pattern = compile_pattern("{item}_{number:4}{side:r|v}{light:|_uv|_ir}.tif")
    found = pattern.match(f"{item}_{number:04}{side}{light}.tif")
    assert found == {"item": item, "number": f"{number:04}", "side": side, "light": light}


@given(words, words)
def test_a_field_that_is_there_twice_has_one_text(one: str, other: str) -> None:
    pattern = compile_pattern("{item:word}/{item}-{item}.tif")
    assert (pattern.match(f"{one}/{one}-{one}.tif") is not None) is True
    assert (pattern.match(f"{one}/{one}-{other}.tif") is not None) is (one == other)
    assert (pattern.match(f"{one}/{other}-{other}.tif") is not None) is (one == other)


@pytest.mark.parametrize(
    ("pattern", "fits", "fits_not"),
    [
        ("{number}.tif", ("1.tif", "0012.tif"), ("a.tif", ".tif", "1.tiff", "1.tif\n", "١.tif")),
        ("{number:4+}.tif", ("0001.tif", "10000.tif"), ("001.tif",)),
        ("{number:2-3}.tif", ("01.tif", "012.tif"), ("1.tif", "0123.tif")),
        ("{item:word}_*.tif", ("a_.tif", "A1_x_y.tif"), ("a-b_.tif", "_x.tif", "a_x/y.tif")),
        ("a.b{{c}}", ("a.b{c}",), ("axb{c}", "a.bc")),
        ("{item}", ("a b", "a-b"), ("", "a/b")),
        ("B14/{number:1}", ("B14/1",), ("b14/1", "B14", "B14/1/2")),
    ],
)
def test_patterns_mean_what_the_docs_say(
    pattern: str, fits: tuple[str, ...], fits_not: tuple[str, ...]
) -> None:
    compiled = compile_pattern(pattern)
    assert all(compiled.match(name) is not None for name in fits)
    assert not any(compiled.match(name) is not None for name in fits_not)


HOSTILE = [
    "_" * 255,
    "1_" * 127,
    "a" * 255,
    "1" * 255,
    "a-1_" * 63,
    "_uv" * 85,
    "a" * 400,
    "/".join(["a_" * 127] * 3),
]


@pytest.mark.parametrize(
    "pattern",
    [
        "{a}_{b}{light:|_uv|_uv_uv}{m:|1|11}{n:|_}!",
        "*1*x",
        "{a:word}_{b:word}_{c:word}-{d}_{e}_{number}!",
        "{a}_{b}/{c}_{d}/{e}_{f}!",
    ],
)
def test_no_name_keeps_a_pattern_busy(pattern: str) -> None:
    compiled = compile_pattern(pattern)
    for name in HOSTILE:
        began = time.perf_counter()
        assert compiled.match(name) is None
        assert time.perf_counter() - began < 1


@pytest.mark.parametrize(
    ("pattern", "is_refused"),
    [
        ("{a}{b}{c}.tif", True),
        ("{a:1+}{b:1+}{c:1+}{d:1+}.tif", True),  # digits that could belong to any of three fields
        ("{a:word}1{b:word}1{c:word}1{d:word}.tif", True),  # a separator that words have too
        ("{a:word}_{b:word}_{c:word}_{d:word}.tif", False),
        ("{a:1+}-{b:1+}-{c:1+}-{d:1+}.tif", False),
    ],
)
def test_patterns_are_refused_for_fields_that_could_end_in_several_places(
    pattern: str, is_refused: bool
) -> None:
    expected = pytest.raises(PatternError, match="several places") if is_refused else contextlib.nullcontext()
    with expected:
        compile_pattern(pattern)


@pytest.mark.parametrize(
    "regex",
    ["(a+)+b", "(?:a|aa)*b", "(a*){9}", "(?P<x>a+){2,}b", "a*a*a*a*b", "a?a?a?a?a?a?a?b", "(?i:(a+)+)",
     "(?x)(a+) +",
     "(a|aa)(a|aa)(a|aa)(a|aa)(a|aa)(a|aa)(a|aa)b", r"[)]([(]+)*", r"\\(a+)+", "(", "*", "[a", "(?P<1>a)"],
)  # fmt: skip
def test_expressions_that_could_run_on_and_broken_ones_are_refused(regex: str) -> None:
    with pytest.raises(PatternError):
        compile_regex(regex)


@pytest.mark.parametrize(
    ("regex", "name"),
    [
        (r"\(a\)+", "(a))"),
        ("[)+(]+x", "+x"),
        (r"(?P<n>\d{4})(_(uv|ir))?\.tif", "0001_uv.tif"),
        ("a+?b*", "aab"),
    ],
)
def test_harmless_expressions_are_taken(regex: str, name: str) -> None:
    assert compile_regex(regex).match(name) is not None


# ---------------------------------------------------------------------------- folders, names, numbers


def test_a_file_belongs_to_the_innermost_folder(tmp_path: Path) -> None:
    text = '[folders]\nmasters = ["{item}/images"]\ntargets = ["{item}/images/targets", "charts"]'
    folders = load(tmp_path, HEAD + text).folders
    assert folders.role_of("data/b14/images/1.tif") is Role.MASTERS
    assert folders.role_of("b14/images/deep/1.tif") is Role.MASTERS
    assert folders.role_of("data/b14/images/targets/1.tif") is Role.TARGETS
    assert folders.role_of("data/charts/1.tif") is Role.TARGETS
    assert folders.role_of("data/images/1.tif") is None
    assert folders.role_of("data/charts") is None


def test_folders_count_only_where_something_is_asked(tmp_path: Path) -> None:
    assert load(tmp_path, HEAD).folders.by_role == ()
    roles = [role for role, _ in load(tmp_path, f"{HEAD}[targets]\nrequired = ['flat']").folders.by_role]
    assert roles == [Role.MASTERS, Role.TARGETS]


def test_names_agree_with_their_folder_and_with_the_bag(tmp_path: Path) -> None:
    text = '[folders]\nmasters = ["{item}/masters"]\n[names.masters]\npattern = "{item}_{number:4}.tif"'
    names = load(tmp_path, HEAD + text).names
    path = "data/b14/masters/b14_0001.tif"
    assert names.match(path) == {"item": "b14", "number": "0001"}
    assert names.match(path, {"item": "b14", "number": "7"}) is not None
    assert names.match(path, {"item": "b15"}) is None
    assert names.match("data/b15/masters/b14_0001.tif") is None
    assert names.match("data/readme.txt") == {}
    terms = names.terms_for(path)
    assert terms
    assert terms.pattern
    assert terms.pattern.text == "{item}_{number:4}.tif"


def test_names_break_the_terms_for_all_names(example: DeliverySpecification) -> None:
    assert example.names.faults("data/masters/ald0214-001_0001.tif") == ()
    assert example.names.faults(f"data/masters/{'a' * 30}.TIF") == ("34 characters", "capital letters")
    assert example.names.match("data/readme.txt") is None


def test_gaps_in_numbers_are_found_in_each_series(example: DeliverySpecification) -> None:
    def master(item: str, number: int, light: str = "") -> str:
        return f"data/masters/{item}-001_{number:04}{light}.tif"

    whole = [master("a", n) for n in range(1, 9)] + [master("a", 3, "_uv")]
    assert example.names.gaps(whole) == ()
    (first, second) = example.names.gaps(
        [*whole[2:5], whole[7], master("b", 0), master("b", 1), master("b", 9999)]
    )
    assert first.series == (("item", "a"), ("volume", "001"))
    assert first.missing == ((1, 2), (6, 7))
    assert (second.missing, second.too_low, second.count) == (((2, 9998),), (0,), 3)


@given(st.sets(st.integers(1, 300), min_size=1, max_size=60))
def test_runs_of_missing_numbers_are_what_is_not_there(numbers: set[int]) -> None:
    terms = delivery.NameTerms(role=Role.MASTERS, pattern=compile_pattern("{number}.tif"), numbered_from=1)
    folders = delivery.Folders(by_role=((Role.MASTERS, (compile_pattern("m"),)),))
    names = delivery.Names(folders=folders, terms=(terms,))
    found = names.gaps(f"data/m/{number}.tif" for number in numbers)
    missing = {n for gaps in found for first, last in gaps.missing for n in range(first, last + 1)}
    assert missing == set(range(1, max(numbers))) - numbers


# --------------------------------------------------------------------------------------------- images

PROFILE = IccFacts(
    description="eciRGB v2 ICCv4",
    version="4.2.0",
    device_class="mntr",
    colour_space="RGB",
    connection_space="Lab",
    size_bytes=3000,
    sha256="0" * 64,
)
MASTER = MasterFacts(
    format=MasterFormat.TIFF,
    media_type="image/tiff",
    size_bytes=1000,
    width_px=4200,
    height_px=3000,
    bits_per_sample=(16, 16, 16),
    photometric="RGB",
    compression="Uncompressed",
    resolution_unit=ResolutionUnit.INCH,
    x_resolution=Rational(numerator=600),
    y_resolution=Rational(numerator=600),
    icc=PROFILE,
)
CHECKS = (
    ImageTerms.allows_format, ImageTerms.allows_compression, ImageTerms.allows_bits,
    ImageTerms.allows_colour_mode, ImageTerms.allows_profile, ImageTerms.allows_ppi, ImageTerms.allows_size,
    ImageTerms.allows_pages,
)  # fmt: skip


def _broken(terms: ImageTerms, facts: MasterFacts) -> list[str]:
    return [check.__name__ for check in CHECKS if not check(terms, facts)]


@pytest.mark.parametrize(
    ("change", "broken"),
    [
        ({}, []),
        ({"compression": "LZW"}, []),
        ({"format": MasterFormat.BIGTIFF}, ["allows_format"]),
        ({"compression": "JPEG"}, ["allows_compression"]),
        ({"bits_per_sample": (8, 8, 8)}, ["allows_bits"]),
        ({"bits_per_sample": (16,)}, ["allows_colour_mode"]),
        ({"icc": None}, ["allows_profile"]),
        ({"icc": dataclasses.replace(PROFILE, description="Adobe RGB (1998)")}, ["allows_profile"]),
        ({"y_resolution": Rational(numerator=606)}, []),
        ({"y_resolution": Rational(numerator=607)}, ["allows_ppi"]),
        ({"resolution_unit": ResolutionUnit.CENTIMETRE}, ["allows_ppi"]),
        ({"x_resolution": None}, ["allows_ppi"]),
        ({"width_px": 3999}, ["allows_size"]),
        ({"width_px": 3000, "height_px": 4200}, []),
        ({"page_count": 2}, ["allows_pages"]),
    ],
)
def test_masters_are_held_against_their_terms(
    example: DeliverySpecification, change: dict[str, Any], broken: list[str]
) -> None:
    terms = example.images.for_path("data/masters/ald0214-001_0001.tif")
    facts = dataclasses.replace(MASTER, **change)
    assert _broken(terms, facts) == broken
    assert _broken(ImageTerms(), facts) == []


def test_lossless_jpeg_2000_can_be_told_apart() -> None:
    coding = {"tile_width_px": 1, "tile_height_px": 1, "quality_layers": 1, "decomposition_levels": 5}
    lossless, lossy = (
        dataclasses.replace(
            MASTER, compression="JPEG 2000", jpeg2000=Jpeg2000Facts(is_reversible=each, **coding)
        )
        for each in (True, False)
    )
    strict, lax = (ImageTerms(compressions=(each,)) for each in ("JPEG 2000 lossless", "JPEG 2000"))
    assert strict.allows_compression(lossless)
    assert not strict.allows_compression(lossy)
    assert lax.allows_compression(lossless)
    assert lax.allows_compression(lossy)


# --------------------------------------------------------------------------------------- other terms


def test_bags_are_held_against_their_terms(example: DeliverySpecification) -> None:
    bag = example.bag
    assert bag.match_name("ALD 214") is None
    assert bag.allows_version("1.0")
    assert not bag.allows_version("0.97")
    assert bag.missing_algorithms(["md5"]) == ("sha512",)
    assert bag.missing_algorithms(["SHA512"]) == ()
    assert bag.excess_algorithms(["sha512", "md5", "sha1"]) == ("sha1",)
    assert bag.allows_container("tar archive")
    assert not bag.allows_container("compressed tar archive")
    info = (("source-organization", "Kestrelworks"), ("Bagging-Date", " "), ("Payload-Oxum", "1.1"))
    assert bag.missing_labels(info) == ("External-Identifier", "Bagging-Date")
    assert not bag.is_fetch_allowed


def test_of_several_names_one_will_do(example: DeliverySpecification) -> None:
    metadata = example.metadata
    there = {"imageWidth", "imageHeight", "xSamplingFrequency", "dateTimeCreated", "scannerModelName"}
    assert metadata.missing_mix(there) == ("lightSource",)
    assert metadata.missing_mix({*there, "lightSource"} - {"scannerModelName"}) == (
        "digitalCameraModelName or scannerModelName",
    )
    assert metadata.missing_mods(["titleInfo", "titleInfo/title", "identifier"]) == ("location/shelfLocator",)


def test_targets_are_known_by_words() -> None:
    targets = TargetTerms()
    assert targets.kinds_of("ald0214_t001_colour") == {TargetKind.COLOUR}
    assert targets.kinds_of("B14_T001", "24-patch colour target, with ruler") == {
        TargetKind.COLOUR, TargetKind.SCALE,
    }  # fmt: skip
    assert targets.kinds_of("greyscale") == set()
    assert targets.kinds_of("Flat-field") == {TargetKind.FLAT}
    assert targets.kinds_of("") == set()
    assert targets.count_for(10_000) == 1


@given(st.integers(0, 3000), st.booleans())
def test_samples_are_drawn_by_the_plan(size: int, is_all: bool) -> None:
    terms = delivery.SamplingTerms(is_all=is_all, aql=None if is_all else 1.0, seed="s")
    frames = [f"{number:04}.tif" for number in range(size)]
    chosen = terms.choose(reversed(frames))
    plan = terms.plan_for(size)
    assert chosen == terms.choose(frames)
    assert len(chosen) == (plan.sample_size if plan else 0)
    assert len(chosen) == size or not is_all


def test_without_a_file_everything_is_allowed() -> None:
    default = delivery.load()
    assert default == delivery.DEFAULT
    assert not default.is_given
    assert default.citation == ""
    assert default.limits == Limits()
    assert default.bag.match_name("anything") == {}
    assert default.bag.excess_algorithms(["md5"]) == ()
    assert default.names.match("any/Thing.tif") == {}
    assert default.names.gaps(["any/1.tif"]) == ()
    assert default.sampling.plan_for(100) is None
    assert default.sampling.choose(["a"]) == ()
    assert default.metadata.missing_mods([]) == ()
    assert _broken(default.images.for_path("any/Thing.tif"), MASTER) == []


def test_a_specification_crosses_to_other_processes(example: DeliverySpecification) -> None:
    assert pickle.loads(pickle.dumps(example)) == example


def test_the_seed_is_the_id_if_none_is_given(tmp_path: Path) -> None:
    assert load(tmp_path, f"{HEAD}[sampling]\naql = 1.0").sampling.seed == "terms"
    assert load(tmp_path, f"{HEAD}[sampling]\naql = 1\nseed = 7").sampling.seed == "7"


@pytest.mark.parametrize(
    ("text", "size"), [("12", 12), ('"1.5 kB"', 1500), ('"2 GiB"', 2 << 30), ('"1TB"', 10**12)]
)
def test_bytes_may_have_a_unit(tmp_path: Path, text: str, size: int) -> None:
    assert load(tmp_path, f"{HEAD}[limits]\nmax_bytes = {text}").limits.max_bytes == size
