"""Agreement with the bagit library, the outside reader, over several hundred bags, good and broken.

Each bag is drawn from a seed: version, digests, encoding, names, and what is done to it. Where we and the
library judge otherwise, what was done belongs to a class of `STRICTER` or `LENIENT`, each with its reason.
"""

from __future__ import annotations

import logging
import random
import shutil
import unicodedata
from collections.abc import Callable
from pathlib import Path

import pytest

from tests import make_bags
from tests.verify.make_bundles import Draft, digest, is_rejected, judge

BAGS = 400

# ------------------------------------------------------------------------------------- what bags are like

NAMES = (
    *(
        "page.txt",
        "a b.txt",
        "leaves/f. 12r.txt",
        "deep/er/and/deeper.bin",
        "UPPER.TXT",
        "x+y=z@w.txt",
        "-dash",
    ),
    *(
        unicodedata.normalize("NFC", "größe.txt"),
        unicodedata.normalize("NFD", "café.txt"),
        "\N{GREEK SMALL LETTER ALPHA}",
    ),
)
PERCENT_NAMES = ("50%.txt", "%41.txt", "a%25.txt")


def drawn(draw: random.Random) -> tuple[Draft, set[str]]:
    """A good bag, and what is unusual about it."""
    version = draw.choice(["1.0"] * 5 + ["0.97"] * 3 + ["0.96", "0.95", "0.93"])
    names = draw.sample(NAMES, draw.randint(0, 5))
    traits = {f"version {version}"}
    if draw.random() < 0.15:
        names.append(draw.choice(PERCENT_NAMES))
        traits.add("per cent sign")
    algorithms = draw.choice([["sha512"], ["sha256"], ["md5"], ["sha1", "md5"], ["sha512", "sha256"]])
    encoding = draw.choice(["UTF-8"] * 8 + ["UTF-16", "ISO-8859-1"])
    if encoding == "ISO-8859-1":
        names = [each for each in names if each.isascii()]
    draft = Draft(
        version=version,
        encoding=encoding,
        algorithms=list(algorithms),
        payload={f"data/{name}": draw.randbytes(draw.choice([0, 1, 30, 4000])) for name in names},
        has_tag_manifests=draw.random() < 0.8,
    )
    size_bytes = sum(map(len, draft.payload.values()))
    draft.info = draw.choice(["", "Contact-Name: imaging unit\nExternal-Description: a\n  folded\n\tvalue\n"])
    if draw.random() < 0.6:
        draft.info += f"Payload-Oxum: {size_bytes}.{len(draft.payload)}\n"
    if float(version) < 0.96 and draft.info:
        draft.tags["package-info.txt"] = draft.info
        draft.info = ""
    for algorithm in algorithms:
        draft.tags[f"manifest-{algorithm}.txt"] = _styled(_manifest(draft, algorithm), draw)
    return draft, traits


def _manifest(draft: Draft, algorithm: str) -> str:
    is_final = float(draft.version) >= 1
    return "".join(
        f"{digest(algorithm, data)}  {path.replace('%', '%25') if is_final else path}\n"
        for path, data in draft.payload.items()
    )


def _styled(manifest: str, draw: random.Random) -> str:
    """The same manifest as another program writes it."""
    style = draw.choice(["plain"] * 5 + ["tab", "one blank", "CRLF", "CR", "no end", "capitals"])
    match style:
        case "tab":
            return manifest.replace("  ", "\t", manifest.count("\n")) if "a b" not in manifest else manifest
        case "CRLF":
            return manifest.replace("\n", "\r\n")
        case "CR":
            return manifest.replace("\n", "\r")
        case "no end":
            return manifest.removesuffix("\n")
        case "capitals":
            lines = (line.partition("  ") for line in manifest.splitlines())
            return "".join(f"{hexadecimal.upper()}  {path}\n" for hexadecimal, _, path in lines)
    return manifest


# ------------------------------------------------------------------------------------- what is done to them

Deed = Callable[[Draft, random.Random], object]
Damage = Callable[[Path, random.Random], object]
"""False if there was nothing to damage."""


def _one(draft: Draft, draw: random.Random, default: str = "data/page.txt") -> str:
    if not draft.payload:
        draft.payload[default] = b"x"
        for algorithm in draft.algorithms:
            draft.tags[f"manifest-{algorithm}.txt"] = draft.manifest(algorithm)
        if draft.info:
            draft.info = ""
    return draw.choice(sorted(draft.payload))


def _rewrite(draft: Draft, change: Callable[[str], str], *, last: bool = False) -> None:
    for algorithm in draft.algorithms[-1:] if last else draft.algorithms:
        draft.tags[f"manifest-{algorithm}.txt"] = change(draft.manifest(algorithm))


def both(*deeds: Deed) -> Deed:
    """One after the other."""

    def deed(draft: Draft, draw: random.Random) -> None:
        for each in deeds:
            each(draft, draw)

    return deed


def line(path: str) -> Deed:
    """One line more in every payload manifest."""

    def deed(draft: Draft, draw: random.Random) -> None:
        for each in draft.algorithms:
            more = f"{digest(each, b'x')}  {path}\n"
            draft.tags[f"manifest-{each}.txt"] = draft.manifest(each) + more

    return deed


def noted(draft: Draft, draw: random.Random) -> None:
    draft.tags["notes.txt"] = "x"


def _crc(draft: Draft) -> str:
    return "".join(f"00000000  {path}\n" for path in draft.payload)


def _unprotected(draft: Draft, draw: random.Random) -> None:
    draft.unlisted_tags = [f"manifest-{each}.txt" for each in draft.algorithms]


def _overstated(draft: Draft, draw: random.Random) -> None:
    draft.tag_lines = f"{digest(draft.algorithms[0], b'x')}  notes.txt\n"


def twice(data: bytes | None) -> Deed:
    def deed(draft: Draft, draw: random.Random) -> None:
        path = _one(draft, draw)
        content = draft.payload[path] if data is None else data
        for each in draft.algorithms:
            more = f"{digest(each, content)}  {path}\n"
            draft.tags[f"manifest-{each}.txt"] = draft.manifest(each) + more

    return deed


def declared(text: str | bytes) -> Deed:
    return lambda draft, draw: draft.tags.update({"bagit.txt": text})


def informed(text: str) -> Deed:
    name_of = {True: "package-info.txt", False: "bag-info.txt"}
    return lambda draft, draw: draft.tags.update({name_of[float(draft.version) < 0.96]: text})


def fetching(line: str) -> Deed:
    def deed(draft: Draft, draw: random.Random) -> None:
        draft.tags["fetch.txt"] = line.replace("PATH", _one(draft, draw))

    return deed


def half_listed(draft: Draft, draw: random.Random) -> None:
    draft.algorithms = ["sha512", "sha256"]
    path = _one(draft, draw)
    draft.tags = {name: text for name, text in draft.tags.items() if not name.startswith("manifest")}
    lines = draft.manifest("sha256").splitlines(keepends=True)
    draft.tags["manifest-sha256.txt"] = "".join(each for each in lines if not each.endswith(f"  {path}\n"))


def _set(name: str, value: object) -> Deed:
    return lambda draft, draw: setattr(draft, name, value)


DEEDS: dict[str, Deed] = {
    "nothing": lambda draft, draw: None,
    "nothing else": lambda draft, draw: None,
    "listed upwards": line("../x"),
    "listed upwards in the middle": line("data/../../x"),
    "listed from the root": line("/etc/hosts"),
    "listed in a home folder": line("~/x"),
    "listed on a drive": line("C:\\x"),
    "listed with a backslash": line("data\\x"),
    "listed outside the payload": line("x"),
    "listed but not there": line("data/not there"),
    "listed twice": twice(None),
    "listed twice and otherwise": twice(b"otherwise"),
    "listed in one manifest": half_listed,
    "asterisks": lambda draft, draw: _rewrite(draft, lambda lines: lines.replace("  ", " *")),
    "dots": lambda draft, draw: _rewrite(draft, lambda lines: lines.replace("  data", "  ./data")),
    "a blank line": lambda draft, draw: _rewrite(draft, lambda lines: lines + "\n"),
    "a comment": lambda draft, draw: _rewrite(draft, lambda lines: "# made by hand\n" + lines),
    "a line without a path": lambda draft, draw: _rewrite(draft, lambda lines: lines + "abcdef\n"),
    "a digest cut off": both(_one, lambda draft, draw: _rewrite(draft, lambda lines: lines[3:])),
    "no manifest": both(_set("algorithms", []), lambda draft, draw: draft.tags.clear()),
    "an unknown digest beside": lambda draft, draw: draft.tags.update({"manifest-crc32.txt": _crc(draft)}),
    "a version of the future": declared("BagIt-Version: 3.0\nTag-File-Character-Encoding: UTF-8\n"),
    "a version between": declared("BagIt-Version: 0.98\nTag-File-Character-Encoding: UTF-8\n"),
    "a version that is none": declared("BagIt-Version: one\nTag-File-Character-Encoding: UTF-8\n"),
    "no encoding": declared("BagIt-Version: 1.0\n"),
    "an unknown encoding": declared("BagIt-Version: 1.0\nTag-File-Character-Encoding: KOI-99\n"),
    "a blank before the colon": declared("BagIt-Version : 1.0\nTag-File-Character-Encoding: UTF-8\n"),
    "a third line": declared("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\nNote: x\n"),
    "a byte order mark": declared(b"\xef\xbb\xbfBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"),
    "information without colon": informed("Contact-Name imaging unit\n"),
    "information with a blank line": informed("Contact-Name: a\n\nContact-Name: b\n"),
    "information with blanks about the colon": informed("Contact-Name  :  imaging unit\n"),
    "an Oxum of other bytes": informed("Payload-Oxum: 77777777.1\n"),
    "an Oxum that is none": informed("Payload-Oxum: much.many\n"),
    "an Oxum without full stop": informed("Payload-Oxum: 14\n"),
    "to be fetched, but there": fetching("https://example.org/x - PATH\n"),
    "to be fetched and not there": both(fetching("https://example.org/x 1 data/hole\n"), line("data/hole")),
    "to be fetched upwards": fetching("https://example.org/x 1 ../../x\n"),
    "to be fetched from nowhere": fetching("nowhere 1 PATH\n"),
    "to be fetched from a local file": fetching("file:///etc/hosts 1 PATH\n"),
    "to be fetched, but a tag file": fetching("https://example.org/x 1 bagit.txt\n"),
    "tag manifest without the manifest": both(_set("has_tag_manifests", True), _unprotected),
    "tag manifest lists what is not there": both(_set("has_tag_manifests", True), _overstated),
    "an unlisted tag file": both(noted, _set("unlisted_tags", ["notes.txt"])),
    "a folder of tag files": lambda draft, draw: draft.tags.update({"notes/a.txt": "x"}),
}  # fmt: skip


def _payload_file(folder: Path, draw: random.Random) -> Path | None:
    files = sorted(each for each in (folder / "data").rglob("*") if each.is_file())
    return draw.choice(files) if files else None


def to_file(change: Callable[[Path, bytes], object]) -> Damage:
    def damage(folder: Path, draw: random.Random) -> object:
        file = _payload_file(folder, draw)
        return bool(file and file.stat().st_size) and (change(file, file.read_bytes()), True)  # type: ignore[arg-type, union-attr]

    return damage


def linked(target: str) -> Damage:
    return lambda folder, draw: (folder / "data/link").symlink_to(folder / target)


DAMAGES: dict[str, Damage] = {
    "a byte altered": to_file(lambda file, data: file.write_bytes(bytes([data[0] ^ 1]) + data[1:])),
    "a file cut off": to_file(lambda file, data: file.write_bytes(data[:-1])),
    "a file grown": to_file(lambda file, data: file.write_bytes(data + b"\0")),
    "a file gone": to_file(lambda file, data: file.unlink()),
    "a file renamed": to_file(lambda file, data: file.rename(file.with_name("another"))),
    "a file added": lambda folder, draw: (folder / "data/added").write_bytes(b"x"),
    "a hidden file added": lambda folder, draw: (folder / "data/.added").write_bytes(b""),
    "a folder added": lambda folder, draw: (folder / "data/added").mkdir(),
    "a link to a file inside": linked("bagit.txt"),
    "a link to a file outside": linked(__file__),
    "a link to nowhere": linked("nowhere"),
    "no payload folder": lambda folder, draw: shutil.rmtree(folder / "data"),
    "no declaration": lambda folder, draw: (folder / "bagit.txt").unlink(),
    "a tag file altered": lambda folder, draw: _altered_tag(folder),
}


def _altered_tag(folder: Path) -> bool:
    file = next(
        (each for each in (folder / "bag-info.txt", folder / "package-info.txt") if each.exists()), None
    )
    if file is None or not list(folder.glob("tagmanifest-*")):
        return False
    file.write_bytes(file.read_bytes() + b"Contact-Phone: +00 555 0100\n")
    return True


# ------------------------------------------------------------------------------------------- disagreements

STRICTER = {
    "a blank before the colon": "RFC 8493, 2.1.1: the lines of bagit.txt are exact; the library trims them",
    "a third line": "RFC 8493, 2.1.1: bagit.txt has exactly two lines",
    "a version between": "0.98 was never published as a version; the library takes whatever is below 2.0",
    "a blank line": "RFC 8493, 2.1.3: each line of a manifest is an entry; the library passes over others",
    "a comment": "the same: the RFC knows no comments",
    "a line without a path": "the same; the library logs it and goes on",
    "information with a blank line": "RFC 8493, 2.2.2: each line is an element or continues one",
    "information with blanks about the colon": "RFC 8493, 2.2.2: one blank, since 1.0; the library trims",
    "listed in one manifest": "RFC 8493, 2.1.3: every manifest lists every file, since 1.0; not one of them",
    "tag manifest without the manifest": "RFC 8493, 2.2.1: it must list them, since 1.0",
    "a tag file altered": "the library reads no tag manifests before version 0.97",
    "tag manifest lists what is not there": "the same",
    "to be fetched from a local file": "RFC 8493, 6.3 warns of such addresses; only the web is taken",
    "to be fetched, but a tag file": "RFC 8493, 2.2.3: payload alone can be fetched",
}
"""What we reject and the library does not, and why."""

LENIENT = {
    "per cent sign": "RFC 8493, 2.1.3: %25 in a manifest of 1.0 means the sign itself; the library leaves it",
}
"""What the library rejects and we do not, and why."""


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, set[str], bool, bool]]:
    """What was done to each bag, what is unusual about it, whether we and the library reject it."""
    folder = tmp_path_factory.mktemp("family")
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    deeds = [*DEEDS, *DAMAGES]
    judged = []
    for number in range(BAGS):
        draw = random.Random(number)
        draft, traits = drawn(draw)
        deed = deeds[number % len(deeds)]
        DEEDS.get(deed, DEEDS["nothing"])(draft, draw)
        bag = draft.write(folder / str(number))
        if deed in DAMAGES and DAMAGES[deed](bag, draw) is False:
            deed = "nothing"
        judged.append((deed, traits, is_rejected(judge(bag)), bool(make_bags.library_problems(bag))))
    return judged


def test_we_and_the_library_judge_alike_but_for_named_classes(
    judged: list[tuple[str, set[str], bool, bool]],
) -> None:
    for deed, traits, ours, theirs in judged:
        if ours and not theirs:
            assert deed in STRICTER
        elif theirs and not ours:
            assert traits & LENIENT.keys()


def test_every_named_class_is_met_and_most_bags_are_agreed_upon(
    judged: list[tuple[str, set[str], bool, bool]],
) -> None:
    assert {deed for deed, _, ours, theirs in judged if ours and not theirs} == set(STRICTER)
    assert any(theirs and not ours for _, _, ours, theirs in judged)
    agreed = [ours for _, _, ours, theirs in judged if ours == theirs]
    assert len(agreed) > 0.75 * BAGS
    assert 0.15 < sum(agreed) / len(agreed) < 0.85, "both verdicts are met"


def test_good_bags_are_accepted_by_us_however_they_are_written(
    judged: list[tuple[str, set[str], bool, bool]],
) -> None:
    good = [ours for deed, _, ours, _ in judged if deed.startswith("nothing")]
    assert len(good) > 10
    assert not any(good)
