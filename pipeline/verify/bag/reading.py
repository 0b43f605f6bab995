"""Reads a bag's tag files as they stand: leniently, keeping everything in which they are not as they must be.

Source: RFC 8493; the drafts 0.93 to 0.97 where a bag declares one of them.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from pipeline.containers import Container, Limits, read_bytes
from pipeline.digests import DIGEST_BYTES
from pipeline.errors import InputError
from pipeline.files import unsafe_path
from pipeline.specs import bagit
from pipeline.verify.evidence import Bag, Declaration, FetchLine, LineFault, Manifest


def read_bag(container: Container, limits: Limits) -> Bag | None:
    """Return a bag's tag files; None if there is no `bagit.txt`: then it is no bag.

    Tag files that cannot be read are told of in `Bag.undecodable`.
    """
    if not _is_file(container, bagit.DECLARATION_FILE):
        return None
    return _Reader(container, limits).read()


def _is_file(container: Container, path: str) -> bool:
    return path in container.files


@dataclass(slots=True)
class _Reader:
    """Reads one bag; collects what cannot be read."""

    container: Container
    limits: Limits
    undecodable: list[LineFault] = field(default_factory=list)

    def read(self) -> Bag:
        declaration = read_declaration(self._data(bagit.DECLARATION_FILE))
        payload, tags = self._sizes()
        top = sorted(name for name in tags if "/" not in name)
        info_file = next((name for name in _INFO_FILES if name in top), "")
        info = (
            read_info(_lines_of(self._text(info_file, declaration)), info_file, declaration)
            if info_file
            else _Info()
        )
        has_fetch = bagit.FETCH_FILE in top
        fetch, fetch_faults = _read_fetch(
            _lines_of(self._text(bagit.FETCH_FILE, declaration)) if has_fetch else (), declaration
        )
        return Bag(
            declaration=declaration,
            manifests=self._manifests(top, _MANIFEST, declaration),
            tag_manifests=self._manifests(top, _TAG_MANIFEST, declaration),
            info=tuple(info.elements),
            info_file=info_file,
            info_faults=tuple(info.faults),
            long_lines=tuple(info.long_lines),
            fetch=fetch,
            fetch_faults=fetch_faults,
            has_fetch=has_fetch,
            undecodable=tuple(self.undecodable),
            payload=payload,
            tags=tags,
        )

    def _sizes(self) -> tuple[dict[str, int], dict[str, int]]:
        """Sizes of payload files and of tag files, by path."""
        payload: dict[str, int] = {}
        tags: dict[str, int] = {}
        for path, size_bytes in self.container.files.items():
            (payload if path.startswith(_PAYLOAD) else tags)[path] = size_bytes
        return payload, tags

    def _manifests(
        self, top: list[str], pattern: re.Pattern[str], declaration: Declaration
    ) -> tuple[Manifest, ...]:
        found = ((name, pattern.fullmatch(name)) for name in top)
        return tuple(
            read_manifest(self._text(name, declaration), name, match[1], declaration)
            for name, match in found
            if match
        )

    def _data(self, path: str) -> bytes:
        try:
            return read_bytes(self.container, path, limit=self.limits.max_document_bytes)
        except InputError as error:
            self.undecodable.append(LineFault(path, 0, error.message.removeprefix(f"{path}: ")))
            return b""

    def _text(self, path: str, declaration: Declaration) -> str:
        data = self._data(path)
        encoding = declaration.encoding if is_text_encoding(declaration.encoding) else bagit.ENCODING
        if encoding.upper() == bagit.ENCODING and data.startswith(codecs.BOM_UTF8):
            self.undecodable.append(LineFault(path, 1, "begins with a byte order mark"))
            data = data[len(codecs.BOM_UTF8) :]
        try:
            return data.decode(encoding)
        except (UnicodeError, LookupError):  # some encodings refuse as if they were not known
            self.undecodable.append(LineFault(path, 0, f"is no text in the declared encoding {encoding}"))
            return data.decode("utf-8", errors="surrogateescape")


_PAYLOAD = f"{bagit.PAYLOAD}/"
_INFO_FILES = (bagit.INFO_FILE, "package-info.txt")
_MANIFEST = re.compile(r"(?i)manifest-(.+)\.txt")
_TAG_MANIFEST = re.compile(r"(?i)tagmanifest-(.+)\.txt")
_LINE_END = re.compile("\r\n|\n|\r")


def split_lines(text: str) -> list[str]:
    """Return lines without their ends: LF, CR or CRLF, nothing else (RFC 8493, section 2.1.3)."""
    lines = text.split("\n") if "\r" not in text else _LINE_END.split(text)
    if lines and not lines[-1]:
        lines.pop()
    return lines


def _parts_of(text: str) -> Iterator[str]:
    """Yield a text that may have millions of lines in parts of whole lines."""
    start = 0
    while start < len(text):
        end = text.find("\n", start + _PART_CHARACTERS) + 1 or len(text)
        yield text[start:end]
        start = end


_PART_CHARACTERS = 1 << 20


def _lines_of(text: str) -> Iterator[str]:
    for part in _parts_of(text):
        yield from split_lines(part)


# ------------------------------------------------------------------------------------------- bagit.txt


def read_declaration(data: bytes) -> Declaration:
    """Return what `bagit.txt` declares, and in what it is not as section 2.1.1 wants it."""
    faults = []
    if data.startswith(codecs.BOM_UTF8):
        faults.append("it begins with a byte order mark")
    text = data.removeprefix(codecs.BOM_UTF8).decode("utf-8", errors="replace")
    if "\ufffd" in text:
        faults.append("it is not UTF-8")
    lines = split_lines(text)
    if len(lines) != 2:
        faults.append(f"it has {len(lines)} lines")
    first, second = (*lines, "", "")[:2]
    if not bagit.VERSION_LINE.fullmatch(first):
        faults.append(f'its first line is "{first}"')
    if not bagit.ENCODING_LINE.fullmatch(second) and len(lines) != 1:
        faults.append(f'its second line is "{second}"')
    version = bagit.LOOSE_VERSION.fullmatch(first)
    encoding = bagit.LOOSE_ENCODING.fullmatch(second)
    return Declaration(
        version=(int(version[1][:9] or 0), int(version[2][:9])) if version else (1, 0),
        encoding=encoding[1] if encoding else bagit.ENCODING,
        faults=tuple(faults),
    )


_NO_CHARACTER_SETS = frozenset({"idna", "punycode", "unicode-escape", "raw-unicode-escape", "undefined"})
"""What the library lists among encodings, but no registry; some take time that grows as a square."""


def is_text_encoding(name: str) -> bool:
    """True for a character encoding that can be decoded here."""
    try:
        codec = codecs.lookup(name)
    except (LookupError, ValueError):  # a NUL in the name
        return False
    is_text = bool(getattr(codec, "_is_text_encoding", True))
    return is_text and codec.name.replace("_", "-") not in _NO_CHARACTER_SETS


# ------------------------------------------------------------------------------------------- manifests

_ENTRY = re.compile(r"([0-9A-Fa-f]+)([ \t]+)(.+)")
_PLAIN = r"(?:[\w-][\w,. -]*+(?:/[\w,-][\w,. -]*+)*+\n)*+"
"""Paths in which nothing can be wrong but what they say, a line for each."""
_PLAIN_PATHS = {True: re.compile(_PLAIN, re.ASCII), False: re.compile(_PLAIN)}
"""By whether a text is ASCII: then it takes two thirds of the time."""
_BLANKS = "  "
"""Between digest and path, as nearly every program writes them."""
_NOT_ALPHANUMERIC = re.compile("[^a-z0-9]")


def read_manifest(text: str, file: str, written: str, declaration: Declaration) -> Manifest:
    """Return the entries of a payload or tag manifest, and what is wrong with its lines."""
    algorithm = _NOT_ALPHANUMERIC.sub("", written.lower())
    reader = _ManifestReader(file, algorithm, declaration)
    reader.read(text)
    return Manifest(
        file=file,
        algorithm=algorithm,
        is_known=algorithm in DIGEST_BYTES,
        entries=reader.entries,
        uneven=tuple(_uneven(text, reader.separators, reader.cases - {_NO_CASE})),
        **{kind: tuple(found) for kind, found in reader.faults.items()},
    )


_LINE_FAULTS = ("malformed", "unsafe", "repeated", "contradictory", "starred", "dotted")


@dataclass(slots=True)
class _ManifestReader:
    """Reads one manifest: parts in which every line is plain as wholes, others line by line."""

    file: str
    algorithm: str
    declaration: Declaration
    entries: dict[str, bytes] = field(default_factory=dict)
    faults: dict[str, list[LineFault]] = field(default_factory=lambda: {name: [] for name in _LINE_FAULTS})
    separators: set[str] = field(default_factory=set)
    cases: set[str] = field(default_factory=set)

    @property
    def digits(self) -> int:
        """How many a digest has; 0 if nobody knows."""
        return DIGEST_BYTES.get(self.algorithm, 0) * 2

    def read(self, text: str) -> None:
        number = 1
        for part in _parts_of(text):
            count = self._take_plain(part) if self.digits else 0
            if not count:
                lines = split_lines(part)
                count = len(lines)
                for at, line in enumerate(lines, start=number):
                    self._take(at, line)
            number += count

    def _take_plain(self, part: str) -> int:
        """Take all lines of a part and return their number; 0 if one of them needs a closer look."""
        fresh = _plain_entries(part, self.digits)
        if not self.entries.keys().isdisjoint(fresh):
            return 0
        self.entries |= fresh
        if fresh:
            self.separators.add(_BLANKS)
            self.cases.add(_LOWER)
        return len(fresh)

    def _take(self, number: int, line: str) -> None:
        match = _ENTRY.fullmatch(line)
        if match is None:
            self._fault(
                "malformed", number, "it is no digest, blank and path" if line.strip() else "it is empty"
            )
            return
        digest, separator, path = match.groups()
        self.separators.add(separator)
        self.cases.add(_case(digest))
        if (self.digits and len(digest) != self.digits) or len(digest) % 2:
            expected = f", {self.algorithm} has {self.digits}" if self.digits else ""
            self._fault("malformed", number, f"the digest has {len(digest)} digits{expected}")
        else:
            self._enter(number, bytes.fromhex(digest), path)

    def _enter(self, number: int, digest: bytes, path: str) -> None:
        if path[0] == "*":
            path = path[1:]
            self._fault("starred", number, path)
        if path.startswith("./"):
            path = path[2:]
            self._fault("dotted", number, path)
        path = _decoded(path, self.declaration)
        if why := unsafe_path(path):
            self._fault("unsafe", number, f'"{path}" {why}')
        elif path not in self.entries:
            self.entries[path] = digest
        else:
            is_same = self.entries[path] == digest
            self._fault("repeated" if is_same else "contradictory", number, path)

    def _fault(self, kind: str, number: int, detail: str) -> None:
        self.faults[kind].append(LineFault(self.file, number, detail))


def _plain_entries(part: str, digits: int) -> dict[str, bytes]:
    """Return the digests of a part by path; nothing if one of its lines needs a closer look.

    Whole columns are compared, for there may be millions of lines.
    """
    lines = part.split("\n")
    if lines.pop() or "\r" in part:
        return {}
    start = digits + len(_BLANKS)
    paths = [line[start:] for line in lines]
    if {line[digits:start] for line in lines} != {_BLANKS}:
        return {}
    if not _PLAIN_PATHS[part.isascii()].fullmatch("\n".join([*paths, ""])):
        return {}
    digests = _whole_digests("".join([line[:digits] for line in lines]), digits)
    found = dict(zip(paths, digests, strict=bool(digests)))
    return found if len(found) == len(lines) else {}


def _whole_digests(text: str, digits: int) -> list[bytes]:
    """Return digests that follow one another; none if one is not of small digits alone."""
    try:
        data = bytes.fromhex(text)
    except ValueError:
        return []
    if data.hex() != text:
        return []
    return [data[at : at + digits // 2] for at in range(0, len(data), digits // 2)]


_LOWER, _UPPER, _MIXED, _NO_CASE = "small", "capital", "mixed", ""


def _case(digest: str) -> str:
    if digest.islower():
        return _LOWER
    if digest.isupper():
        return _UPPER
    return _NO_CASE if digest.isdigit() else _MIXED


def _uneven(text: str, separators: set[str], cases: set[str]) -> Iterator[str]:
    """Yield what differs between lines: a program writes all of them alike."""
    both = text.count("\r\n")
    ends = [both, text.count("\n") - both, text.count("\r") - both]
    if sum(map(bool, ends)) > 1 or (text and text[-1] not in "\r\n"):
        yield "line ends"
    if len(separators) > 1 or any(len(set(each)) > 1 for each in separators):
        yield "blanks"
    if len(cases) > 1 or _MIXED in cases:
        yield "capital and small digits"


def _decoded(path: str, declaration: Declaration) -> str:
    if declaration.is_final and "%" in path:
        return bagit.decode_path(path)
    return path


# ---------------------------------------------------------------------------------------- bag-info.txt


@dataclass(slots=True)
class _Info:
    elements: list[tuple[str, str]] = field(default_factory=list)
    faults: list[LineFault] = field(default_factory=list)
    long_lines: list[LineFault] = field(default_factory=list)


_ELEMENT = re.compile(r"([^:]+):(?:[ \t](.*))?")
_DRAFT_ELEMENT = re.compile(r"[ \t]*([^:]+?)[ \t]*:[ \t]*(.*)")


def read_info(lines: Iterable[str], file: str, declaration: Declaration) -> _Info:
    """Return labels and values, folded lines joined by one blank, in order (section 2.2.2)."""
    info = _Info()
    folded: list[list[str]] = []  # parts of values, joined once: a stranger folds as often as he likes
    for number, line in enumerate(lines, start=1):
        if len(line) > bagit.LINE_CHARACTERS and " " in line.strip().partition(": ")[2]:  # it can be folded
            info.long_lines.append(LineFault(file, number, f"{len(line)} characters"))
        if line[:1] in (" ", "\t") and info.elements:
            folded[-1].append(line.strip())
        elif why := _element_fault(line, declaration):
            info.faults.append(LineFault(file, number, why))
        else:
            match = (_ELEMENT if declaration.is_final else _DRAFT_ELEMENT).fullmatch(line)
            assert match is not None
            info.elements.append((match[1], ""))
            folded.append([(match[2] or "").strip()])
    values = (" ".join(filter(None, parts)) for parts in folded)
    info.elements[:] = [(label, value) for (label, _), value in zip(info.elements, values, strict=True)]
    return info


def _element_fault(line: str, declaration: Declaration) -> str:
    if not line.strip():
        return "it is empty"
    if ":" not in line:
        return "it has no colon after a label"
    match = (_ELEMENT if declaration.is_final else _DRAFT_ELEMENT).fullmatch(line)
    if match is None:
        return "it has no single blank after the colon" if line[0] != ":" else "it has no label"
    if match[1] != match[1].strip():
        return f'its label "{match[1]}" begins or ends with a blank'
    if declaration.is_final and (match[2] or "").startswith((" ", "\t")):
        return "it has several blanks after the colon"
    return ""


# ------------------------------------------------------------------------------------------- fetch.txt

_FETCH = re.compile(r"(\S+)[ \t]+([0-9]+|-)[ \t]+(.+)")


def _read_fetch(
    lines: Iterable[str], declaration: Declaration
) -> tuple[tuple[FetchLine, ...], tuple[LineFault, ...]]:
    entries: list[FetchLine] = []
    faults: list[LineFault] = []
    for number, line in enumerate(lines, start=1):
        match = _FETCH.fullmatch(line)
        if match is None:
            faults.append(LineFault(bagit.FETCH_FILE, number, "it is no address, length and path"))
            continue
        url, length, path = match.groups()
        path = path.removeprefix("./")
        if not declaration.is_final:
            path = path.removeprefix("/") if path.startswith("/data/") else path
        entries.append(FetchLine(number, url, length, _decoded(path, declaration)))
    return tuple(entries), tuple(faults)


# --------------------------------------------------------------------------------------------- digests


def payload_algorithms(bag: Bag) -> frozenset[str]:
    """The algorithms of the payload manifests that can be computed."""
    return frozenset(each.algorithm for each in bag.manifests if each.is_known)


def tag_algorithms(bag: Bag) -> frozenset[str]:
    """The algorithms of the tag manifests that can be computed."""
    return frozenset(each.algorithm for each in bag.tag_manifests if each.is_known)


def listed_names(bag: Bag) -> Iterator[str]:
    """Yield every path that a manifest or `fetch.txt` names; a path may come several times."""
    for manifest in (*bag.manifests, *bag.tag_manifests):
        yield from manifest.entries
    yield from (each.path for each in bag.fetch)
