"""Tag files are read as they stand; what is not as it must be is kept with its line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import containers
from pipeline.containers import Limits
from pipeline.specs import bagit
from pipeline.verify.bag import reading
from pipeline.verify.bag.reading import read_bag, read_declaration, read_info, read_manifest, split_lines
from pipeline.verify.evidence import Bag, Declaration, FetchLine
from tests import make_bags
from tests.verify.make_bundles import PAYLOAD, Draft, bag, digest, manifest

FINAL = Declaration(version=(1, 0), encoding="UTF-8")
DRAFT = Declaration(version=(0, 97), encoding="UTF-8")
SHA512 = "a" * 128


def read(folder: Path, limits: Limits | None = None) -> Bag:
    with containers.opened(folder) as container:
        found = read_bag(container, limits or Limits())
    assert found is not None
    return found


def listed(text: str, declaration: Declaration = FINAL) -> list[str]:
    return [*read_manifest(text, "m", "sha512", declaration).entries]


# ------------------------------------------------------------------------------------------------ lines


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("", []),
        ("\n", [""]),
        ("a", ["a"]),
        ("a\nb\n", ["a", "b"]),
        ("a\r\nb\rc\nd", ["a", "b", "c", "d"]),
        ("a\r\r\n\nb", ["a", "", "", "b"]),
        ("a\x0bb\x0cc\x1cd\x85e\u2028f\n", ["a\x0bb\x0cc\x1cd\x85e\u2028f"]),
    ],
)
def test_lines_end_with_lf_cr_or_both_and_with_nothing_else(text: str, lines: list[str]) -> None:
    """RFC 8493, section 2.1.3."""
    assert split_lines(text) == lines


@given(st.text(st.sampled_from("ab\r\n"), max_size=60))
def test_a_text_read_in_parts_has_the_lines_of_the_whole(text: str) -> None:
    parts, size = "", reading._PART_CHARACTERS
    reading._PART_CHARACTERS = 3
    try:
        assert "".join(reading._parts_of(text)) == text
        lines = [*reading._lines_of(text)]
    finally:
        reading._PART_CHARACTERS = size
    assert lines == split_lines(text), parts


# -------------------------------------------------------------------------------------------- bagit.txt


@pytest.mark.parametrize(
    ("data", "version", "encoding", "faults"),
    [
        (bagit.DECLARATION.encode(), (1, 0), "UTF-8", 0),
        (b"BagIt-Version: 0.97\r\nTag-File-Character-Encoding: ISO-8859-1", (0, 97), "ISO-8859-1", 0),
        (b"BagIt-Version: .97\nTag-File-Character-Encoding: UTF-8\n", (0, 97), "UTF-8", 1),
        (b"BagIt-Version : 1.0\nTag-File-Character-Encoding : UTF-16\n", (1, 0), "UTF-16", 2),
        (b"Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n", (1, 0), "UTF-8", 2),
        (b"", (1, 0), "UTF-8", 3),
        (b"\xff\xfe", (1, 0), "UTF-8", 3),
        (
            b"BagIt-Version: " + b"9" * 5000 + b".1\nTag-File-Character-Encoding: UTF-8\n",
            (999_999_999, 1),
            "UTF-8",
            0,
        ),
    ],
)
def test_a_declaration_is_understood_as_far_as_it_can_be(
    data: bytes, version: tuple[int, int], encoding: str, faults: int
) -> None:
    found = read_declaration(data)
    assert (found.version, found.encoding, len(found.faults)) == (version, encoding, faults)


# ------------------------------------------------------------------------------------------- manifests


def test_paths_keep_their_blanks_and_everything_else() -> None:
    for path in ("data/ a", "data/a ", "data/a  b", "data/a*b", "data/#a", "data/é", "data/%41", "data/a\tb"):
        assert listed(f"{SHA512}  {path}\n") == [path]


@pytest.mark.parametrize(
    ("written", "final", "draft"),
    [
        ("data/%25", "data/%", "data/%25"),
        ("data/%0A%0a", "data/\n\n", "data/%0A%0a"),
        ("data/%0D%0d", "data/\r\r", "data/%0D%0d"),
        ("data/%250A", "data/%0A", "data/%250A"),
        ("data/%7E%20", "data/%7E%20", "data/%7E%20"),
    ],
)
def test_three_codes_are_decoded_since_1_0_and_nothing_before(written: str, final: str, draft: str) -> None:
    assert listed(f"{SHA512}  {written}\n") == [final]
    assert listed(f"{SHA512}  {written}\n", DRAFT) == [draft]


@given(
    st.dictionaries(
        st.text(st.characters(exclude_characters="\\/:\0", exclude_categories=["Cs"]), min_size=1)
        .filter(lambda name: name.strip(" .\t*~$%") == name)
        .map(lambda name: f"data/{name}"),
        st.binary(max_size=3),
        max_size=5,
    )
)
def test_what_is_written_as_the_standard_wants_is_read_back(files: dict[str, bytes]) -> None:
    text = "".join(f"{digest('sha512', data)}  {bagit.encode_path(path)}\n" for path, data in files.items())
    found = read_manifest(text, "m", "sha512", FINAL)
    assert {path: each.hex() for path, each in found.entries.items()} == {
        path: digest("sha512", data) for path, data in files.items()
    }
    assert [*found.malformed, *found.unsafe, *found.repeated, *found.uneven] == []


def test_plain_and_other_lines_are_read_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    text = (
        manifest("sha512", PAYLOAD) + f"{SHA512.upper()}\tdata/more (1).txt\n" + manifest("sha512", PAYLOAD)
    )
    whole = read_manifest(text, "m", "sha512", FINAL)
    monkeypatch.setattr(reading, "_PART_CHARACTERS", 1)
    assert read_manifest(text, "m", "sha512", FINAL) == whole
    assert [*whole.entries] == [*PAYLOAD, "data/more (1).txt"]
    assert [each.line for each in whole.repeated] == [5, 6, 7]
    assert whole.uneven == ("blanks", "capital and small digits")


PIECES = (
    f"{SHA512}|{digest('sha512', b'b')}|{'1' * 128}|{SHA512.upper()}|{SHA512[2:]}|{SHA512}a|{SHA512[:-2]}  |"
    f"{SHA512[:-1]}g|{SHA512[:-1]}\uff11|{SHA512[:64]}\t{SHA512[:63]}|".split("|"),
    ["  ", "  ", "  ", " ", "\t", "   ", " *", ""],
    [
        "data/a",
        "data/b",
        "data/B",
        "data/c d",
        "data/é",
        "data/./a",
        "data//a",
        "data/.a",
        "data/a ",
        "./data/a",
        "*data/a",
        "../a",
        "/a",
        "data/a%0Ab",
        "data/a\\b",
        "data/a  b",
        "data",
        "data/a\x00",
        "",
    ],
    ["\n", "\n", "\n", "\r\n", "\r", ""],
)
"""Digests, blanks, paths and line ends: right ones and wrong ones."""


@given(
    st.lists(st.tuples(*map(st.sampled_from, PIECES)).map("".join), max_size=4).map("".join),
)
def test_columns_of_lines_say_what_the_lines_say(text: str) -> None:
    whole = read_manifest(text, "m", "sha512", FINAL)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading._ManifestReader, "_take_plain", lambda self, part: 0)
        by_line = read_manifest(text, "m", "sha512", FINAL)
    assert by_line == whole
    assert [*by_line.entries] == [*whole.entries]


def test_faults_keep_their_lines() -> None:
    entry = f"{SHA512}  data/a\n"
    text = f"{entry}\n{SHA512}  ../b\n{SHA512} *./data/c\n{'b' * 128}  data/a\nabc data/d\n{entry}"
    found = read_manifest(text, "m", "sha512", FINAL)
    assert [*found.entries] == ["data/a", "data/c"]
    kinds = ("malformed", "unsafe", "starred", "dotted", "contradictory", "repeated")
    assert {kind: [each.line for each in getattr(found, kind)] for kind in kinds} == {
        "malformed": [2, 6],
        "unsafe": [3],
        "starred": [4],
        "dotted": [4],
        "contradictory": [5],
        "repeated": [7],
    }


@pytest.mark.parametrize(
    ("text", "uneven"),
    [
        (f"{'a1' * 64}  data/a\n{'b2' * 64}  data/b\n", ()),
        (f"{'a1' * 64}  data/a\n{'B2' * 64}  data/b\n", ("capital and small digits",)),
        (f"{'aB' * 64}  data/a\n", ("capital and small digits",)),
        (f"{'12' * 64}  data/a\n{'B2' * 64}  data/b\n", ()),
        (f"{'a1' * 64}  data/a\r\n{'b2' * 64}  data/b\n", ("line ends",)),
        (f"{'a1' * 64}  data/a\n{'b2' * 64}  data/b", ("line ends",)),
        (f"{'a1' * 64} \tdata/a\n", ("blanks",)),
        (f"{'a1' * 64} data/a\n{'b2' * 64}  data/b\n", ("blanks",)),
        ("", ()),
    ],
)
def test_what_a_program_would_not_write_is_noticed(text: str, uneven: tuple[str, ...]) -> None:
    assert read_manifest(text, "m", "sha512", FINAL).uneven == uneven


# ------------------------------------------------------------------------------------------- information


def test_values_are_unfolded_and_kept_in_order() -> None:
    lines = ["A: one", "  two", "\tthree", "b:", "A: again", " inner  blanks "]
    info = read_info(lines, "bag-info.txt", FINAL)
    assert info.elements == [("A", "one two three"), ("b", ""), ("A", "again inner  blanks")]
    assert info.faults == []


def test_the_library_reads_the_same_values(tmp_path: Path) -> None:
    text = "Contact-Name: imaging unit\nExternal-Description: a\n   folded: value\nContact-Name: b: c\n"
    folder = bag(tmp_path / "x", info=text)
    theirs = make_bags.library_info(folder)
    assert read(folder).values("contact-name") == tuple(theirs["Contact-Name"]) == ("imaging unit", "b: c")
    assert read(folder).values("External-Description") == ("a folded: value",)


# ------------------------------------------------------------------------------------------- whole bags


def test_addresses_lengths_and_paths_are_read(tmp_path: Path) -> None:
    text = "https://example.org/a%20b 12 data/a b\nhttp://x -\tdata/%25\nnothing\n"
    found = read(bag(tmp_path / "x", tags={"fetch.txt": text}))
    assert found.fetch == (
        FetchLine(1, "https://example.org/a%20b", "12", "data/a b"),
        FetchLine(2, "http://x", "-", "data/%"),
    )
    assert [each.line for each in found.fetch_faults] == [3]


@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16", "UTF-16-LE", "UTF-32", "ISO-8859-1", "utf8"])
def test_tag_files_are_read_in_the_declared_encoding(encoding: str, tmp_path: Path) -> None:
    draft = Draft(encoding=encoding, payload={"data/größe": b"x"}, info="Contact-Name: Größe\n")
    found = read(draft.write(tmp_path / "x"))
    assert found.undecodable == ()
    assert [*found.manifests[0].entries] == ["data/größe"]
    assert found.values("Contact-Name") == ("Größe",)


def test_what_is_not_in_the_declared_encoding_is_told(tmp_path: Path) -> None:
    found = read(Draft(tags={"bag-info.txt": "Größe".encode("latin-1")}).write(tmp_path / "x"))
    assert [each.file for each in found.undecodable] == ["bag-info.txt"]


def test_manifests_are_known_by_their_names(tmp_path: Path) -> None:
    names = (
        "manifest-SHA-256.txt",
        "manifest-crc32.txt",
        "tagmanifest-md5.txt",
        "manifest-.txt",
        "manifest.txt",
    )
    found = read(Draft(algorithms=[], tags=dict.fromkeys(names, "x")).write(tmp_path / "x"))
    assert [(each.algorithm, each.is_known) for each in found.manifests] == [
        ("sha256", True),
        ("crc32", False),
    ]
    assert [each.file for each in found.tag_manifests] == ["tagmanifest-md5.txt"]


def test_tag_files_larger_than_the_limit_are_not_read(tmp_path: Path) -> None:
    found = read(bag(tmp_path / "x"), Limits(max_document_bytes=200))
    assert "expected 200 at most" in found.undecodable[0].detail


def test_what_has_no_declaration_is_no_bag(tmp_path: Path) -> None:
    (tmp_path / "bagit.txt").mkdir()
    with containers.opened(tmp_path) as container:
        assert read_bag(container, Limits()) is None
