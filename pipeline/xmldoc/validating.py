"""Documents held against schemas: ours, or the publishers' from a folder that a person gives.

A document is validated as a stream, not as a tree: of a tree, the path of every fault would be looked up
among all siblings, which takes minutes for some ten thousand faults. Reading stops when enough is found.
What is left out when streams are validated, that an ID is used twice, is looked after here.
"""

from __future__ import annotations

import functools
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from lxml import etree

from pipeline.errors import InputError, Problem, SettingsError
from pipeline.files import natural_key
from pipeline.jsondoc import schemas_folder
from pipeline.specs import mets, mix, mods, premis, xlink
from pipeline.xmldoc.documents import Element, parse, read
from pipeline.xmldoc.wording import quoted, reworded, subject

FAULTS_SHOWN = 100
"""How many faults are looked for in one document, if the caller does not say."""

STANDARDS = {
    mets.NAMESPACE: "METS",
    mix.NAMESPACE: "MIX",
    premis.NAMESPACE: "PREMIS",
    mods.NAMESPACE: "MODS",
    xlink.NAMESPACE: "the XLink attributes of METS and MODS",
    xlink.XML_NAMESPACE: "the attributes of XML itself (xml.xsd)",
}
"""What a folder of official schemas must hold, by namespace."""

_XSD = f"{{{xlink.SCHEMA_LANGUAGE}}}"
_XML_ID = f"{{{xlink.XML_NAMESPACE}}}id"
_ID = re.compile(r"[^\s:0-9.-][^\s:]*")
"""Every text of the type ID; others that it lets pass the validator does not."""
_BLANKS = " \t\r\n"
_SHOWN_ID = re.compile(r"[^\W\d][\w.-]{0,63}")
_PIECE_BYTES = 1 << 16
_LARGEST_SCHEMA_BYTES = 1 << 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Schema:
    """Schemas that judge documents, and records inside them, together."""

    validator: etree.XMLSchema = field(repr=False)
    identifiers: Mapping[str, frozenset[str]]
    """Attributes of the type ID, by the namespace of the elements that they stand on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SchemaFault:
    """One thing in which a document does not obey a schema."""

    line: int
    """Where the element begins, counted from 1; 0 if that is not known."""
    path: str
    """The way to the element: ``mets/amdSec[3]/techMD[@ID="tech-3"]/mdWrap``.

    Positions, counted from 1, are given where there are several of one name and no ID.
    """
    message: str
    """A phrase that names the element: ``mdRef lacks the attribute LOCTYPE``."""
    namespace: str = ""
    """Of the element: whose rule is broken."""
    repeated_id: str = ""
    """The ID, if the fault is that another element before has it."""


# ------------------------------------------------------------------------------------------- loading schemas


@functools.cache
def our_schema() -> Schema:
    """Return our schemas of METS, MIX, PREMIS and MODS as one: records inside METS are judged strictly."""
    folder = schemas_folder() / "xml"
    return _compiled(_Library(folder), read(folder / "records.xsd"))


@functools.cache
def official_schema(folder: Path) -> Schema:
    """Return the publishers' schemas in a folder as one: found by their namespaces, whatever they are called.

    Of several files for one namespace the one whose name sorts last counts: ``mods-3-8.xsd`` before
    ``mods-3-7.xsd``. Imports and includes are looked for in the folder alone, never on the network.
    Raises SettingsError if a standard is missing, a file broken or an import not to be found.
    """
    library = _Library(folder)
    absent = [
        f"{name} ({namespace})" for namespace, name in STANDARDS.items() if namespace not in library.files
    ]
    if absent:
        raise SettingsError(
            f"{folder}: holds no schema of {', nor of '.join(absent)}; found "
            f"{_listed(library.files.values())}; put the publishers' .xsd files of all of these into it",
            problems=library.broken,
        )
    return _compiled(library, _driver())


def _driver() -> Element:
    driver = etree.Element(f"{_XSD}schema", targetNamespace="urn:solander:official")
    for namespace in STANDARDS:
        etree.SubElement(driver, f"{_XSD}import", namespace=namespace)
    return driver


def _listed(paths: Iterable[Path]) -> str:
    return ", ".join(sorted(path.name for path in paths)) or "no .xsd file"


def _compiled(library: _Library, driver: Element) -> Schema:
    """Load a driver and all that it imports. Raises SettingsError."""
    parser = etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False)
    parser.resolvers.add(library)
    try:
        validator = etree.XMLSchema(etree.fromstring(library.bound(driver), parser))
    except (etree.XMLSyntaxError, etree.XMLSchemaParseError) as error:
        raise SettingsError(
            f"{library.folder}: its schemas cannot be used ({library.cause(error)})"
        ) from error
    return Schema(validator=validator, identifiers=library.identifiers())


class _Library(etree.Resolver):
    """Hands out the schemas of a folder, their imports bound to each other by namespace.

    Files get addresses that are nobody's, so that the parser cannot look for them anywhere else.
    """

    _SCHEME = "solander-schema:"

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.broken: list[Problem] = []
        """Files that cannot be read as schemas: they count only if what they should hold is wanted."""
        self._roots: dict[Path, Element] = {}
        self._bound: list[Path] = []
        for path in _schema_files(folder):
            self._take(path)
        self.files = self._by_namespace()

    def _take(self, path: Path) -> None:
        try:
            root = read(path, max_bytes=_LARGEST_SCHEMA_BYTES)
        except InputError as error:
            said = error.message.removeprefix(f"{path}: ")
            self.broken.append(
                Problem(where=path.name, found=f"a file that {said}", expected="an XML Schema")
            )
            return
        if root.tag == f"{_XSD}schema":
            self._roots[path] = root

    def _by_namespace(self) -> dict[str, Path]:
        """Return the last file for each namespace, of those that are not parts of others."""
        parts = {_base(each) for root in self._roots.values() for each in root.iter(*_PARTS)}
        whole = [path for path in self._roots if path.name not in parts]
        return {self._roots[path].get("targetNamespace", ""): path for path in whole}

    def resolve(self, system_url: str, public_id: str, *context: Any) -> Any:
        """Return a bound schema, or an empty document for anything else."""
        number = system_url.removeprefix(self._SCHEME)
        if not number.isdecimal() or int(number) >= len(self._bound):
            return self.resolve_empty(*context)  # type: ignore[attr-defined]  # the stubs lack it
        data = etree.tostring(self._roots[self._bound[int(number)]])
        return self.resolve_string(data, *context, base_url=system_url)

    def bound(self, root: Element, name: str = "driver") -> bytes:
        """Return a schema whose imports and includes all lead here. Raises SettingsError."""
        for each in root.iter(f"{_XSD}import", *_PARTS):
            is_part = each.tag in _PARTS
            path = None if is_part else self.files.get(each.get("namespace", ""))
            each.set("schemaLocation", self._address(path or self._beside(each, name)))
        return etree.tostring(root)

    def _beside(self, reference: Element, name: str) -> Path:
        """Return the file that a schema names, by its base name."""
        path = self.folder / _base(reference)
        if path in self._roots:
            return path
        wanted = reference.get("namespace") or reference.get("schemaLocation")
        raise SettingsError(
            f'{self.folder / name}, line {reference.sourceline}: needs the schema "{wanted}", and no schema '
            f"in the folder has that namespace or name; put it there",
            problems=self.broken,
        )

    def _address(self, path: Path) -> str:
        """Return the address of a file; its own imports are bound when it is first asked for."""
        if path not in self._bound:
            self._bound.append(path)
            self.bound(self._roots[path], path.name)
        return f"{self._SCHEME}{self._bound.index(path)}"

    def identifiers(self) -> dict[str, frozenset[str]]:
        """Return which attributes the schemas in use declare to be of the type ID."""
        found: dict[str, frozenset[str]] = {}
        for root in (self._roots[path] for path in self._bound):
            namespace = root.get("targetNamespace", "")
            names = {each.get("name", "") for each in root.iter(f"{_XSD}attribute") if _is_id(each)}
            found[namespace] = found.get(namespace, frozenset()) | names
        return found

    def cause(self, error: etree.LxmlError) -> str:
        """Return what libxml2 first found wrong, and in which file."""
        log: list[Any] = list(getattr(error, "error_log", ()))
        if not log:
            return str(error)
        number = (log[0].filename or "").removeprefix(self._SCHEME)
        message = reworded(log[0].message)
        if not number.isdecimal() or int(number) >= len(self._bound):
            return message
        return f"{self._bound[int(number)].name}, line {log[0].line}: {message}"


_PARTS = (f"{_XSD}include", f"{_XSD}redefine")


def _schema_files(folder: Path) -> list[Path]:
    try:
        paths = [path for path in folder.iterdir() if path.suffix.lower() == ".xsd" and path.is_file()]
    except OSError as error:
        raise SettingsError(f"{folder}: cannot be read ({error.strerror})") from error
    return sorted(paths, key=_by_name)


def _by_name(path: Path) -> tuple[object, ...]:
    return (*natural_key(path.name), path.name)


def _base(reference: Element) -> str:
    """Return the name of the file that an import or include leads to."""
    return re.split(r"[/\\]", reference.get("schemaLocation", ""))[-1]


def _is_id(attribute: Element) -> bool:
    prefix, _, name = attribute.get("type", "").rpartition(":")
    return name == "ID" and attribute.nsmap.get(prefix or None) == xlink.SCHEMA_LANGUAGE


# -------------------------------------------------------------------------------------------------- judging


def schema_faults(
    document: bytes | Element,
    schema: Schema,
    *,
    limit: int = FAULTS_SHOWN,
    name: str = "document",
    parsed: Element | None = None,
    looks_for_repeated_ids: bool = True,
) -> tuple[SchemaFault, ...]:
    """Return the first `limit` things in which a document does not obey a schema, in its order.

    Nothing if it is valid. Of a document that is given as bytes the lines are exact; of one that is given as
    an element, those after line 65,534 are as near as the parser knows. Who has parsed the bytes already
    gives the root as `parsed`; who has looked at IDs already need not have it done here. Raises InputError
    as `parse` does.
    """
    is_read = isinstance(document, bytes)
    if isinstance(document, bytes):
        root = parsed if parsed is not None else parse(document, name=name)
    else:
        root = document
    data = document if isinstance(document, bytes) else etree.tostring(document, with_tail=False)
    repeated = _repeated_ids(root, schema, limit) if looks_for_repeated_ids else ()
    found = [*repeated, *_said(data, schema, limit)]
    found = sorted(found, key=lambda each: each.ordinal)[:limit]
    elements = _elements(root, {each.ordinal for each in found})
    line_of = Lines(data).of if is_read else _known_line
    return tuple(each.fault(elements[each.ordinal], line_of) for each in found)


class _Found(NamedTuple):
    """What was found, in which element: counted from 1, in the order in which elements begin."""

    ordinal: int
    message: str
    repeated_id: str = ""

    def fault(self, element: Element, line_of: Callable[[Element], int]) -> SchemaFault:
        return SchemaFault(
            line=line_of(element),
            path=path_of(element),
            message=reworded(self.message, stranger=_stranger(element)),
            namespace=etree.QName(element).namespace or "",
            repeated_id=self.repeated_id,
        )


def _elements(root: Element, ordinals: set[int]) -> dict[int, Element]:
    numbered = enumerate(root.iter("*"), start=1)
    return {ordinal: each for ordinal, each in numbered if ordinal in ordinals} if ordinals else {}


def _repeated_ids(root: Element, schema: Schema, limit: int) -> Iterator[_Found]:
    """Yield the first elements whose ID another element before them has."""
    seen: set[str] = set()
    attributes: dict[str, tuple[str, ...]] = {}
    for ordinal, each in enumerate(root.iter("*"), start=1):
        tag = str(each.tag)
        if tag not in attributes:
            attributes[tag] = (*schema.identifiers.get(tag[1:].partition("}")[0], ()), _XML_ID)
        for attribute in attributes[tag]:
            if (value := each.get(attribute)) is None or not _ID.fullmatch(value := value.strip(_BLANKS)):
                continue
            if value in seen and limit > 0:
                limit -= 1
                name = etree.QName(each).localname
                yield _Found(ordinal, f"the ID {quoted(value)} of {name} is used for a second time", value)
            seen.add(value)


def _said(data: bytes, schema: Schema, limit: int) -> list[_Found]:
    """Return what the validator says; most documents are valid, and that is found out fast."""
    scout = _Scout(limit)
    _feed(scout, _blocks(data), schema.validator)
    if not any(scout.news):
        return []
    judge = _Judge(limit, scout.news)
    _feed(judge, _blocks(data), schema.validator)
    return judge.found


def _known_line(element: Element) -> int:
    line: object = element.sourceline
    return line if isinstance(line, int) else 0


def _stranger(element: Element) -> str:
    """Return the namespace of an element, if it is not the one around it."""
    parent = element.getparent()
    own = etree.QName(element).namespace
    return "" if parent is None or etree.QName(parent).namespace == own else own or "no namespace"


def path_of(element: Element) -> str:
    """Return the way to an element, as it is told in a `SchemaFault`."""
    return "/".join(reversed([_step(each) for each in (element, *element.iterancestors())]))


def _step(element: Element) -> str:
    name = etree.QName(element).localname
    for attribute in ("ID", "xmlID"):
        if _SHOWN_ID.fullmatch(identifier := element.get(attribute, "")):
            return f'{name}[@{attribute}="{identifier}"]'
    before = sum(1 for _ in element.itersiblings(f"{{*}}{name}", preceding=True))
    is_one = not before and next(element.itersiblings(f"{{*}}{name}"), None) is None
    return name if is_one else f"{name}[{before + 1}]"


# ---------------------------------------------------------------------------------------------------- lines


class Lines:
    """The lines that elements of one document begin in, right in documents of any length.

    The parser's own count ends at 65,535; then the bytes are gone through once more.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._all: list[int] = []

    def of(self, element: Element) -> int:
        """Return the line, counted from 1, of an element of the document that `parse` made of these bytes."""
        line: object = element.sourceline
        if isinstance(line, int) and line < _LINES_COUNTED:
            return line
        if not self._all:
            counter = _Counter()
            _feed(counter, counter.pieces(self._data), None)
            self._all = counter.lines
        before: Any = element.xpath("count(preceding::*) + count(ancestor::*)")
        return self._all[int(before)]


_LINES_COUNTED = 65_535


def _lines(data: bytes) -> Iterator[bytes]:
    """Yield the lines of a document as UTF-8 or as they are, those without the end of a tag with the next."""
    if (encoding := _WIDE.get(data[:2])) is not None:
        data = b"\xef\xbb\xbf" + data.decode(encoding).removeprefix("\ufeff").encode()
    start, size = 0, len(data)
    while start < size:
        tag = data.find(b">", start) + 1 or size
        end = data.find(b"\n", tag) + 1 or size
        yield data[start:end]
        start = end


_WIDE = {b"\xff\xfe": "utf-16-le", b"<\0": "utf-16-le", b"\xfe\xff": "utf-16-be", b"\0<": "utf-16-be"}
"""Beginnings of documents in UTF-16; the parser takes UTF-8 with a mark whatever the document declares."""


# -------------------------------------------------------------------------------- who listens to the parser


def _feed(target: _Target, pieces: Iterable[bytes], validator: etree.XMLSchema | None) -> None:
    """Let a target hear a document, piece by piece, until it has heard enough."""
    listener: Any = target
    parser = etree.XMLParser(
        target=listener, schema=validator, no_network=True, load_dtd=False, resolve_entities=False
    )
    target.parser = parser
    for piece in pieces:
        parser.feed(piece)
        if target.has_heard_enough():
            return
    parser.close()


def _blocks(data: bytes) -> Iterator[bytes]:
    return (data[start : start + _PIECE_BYTES] for start in range(0, len(data), _PIECE_BYTES))


class _Target:
    """Hears a document that `parse` takes; what lxml calls a parser target."""

    def __init__(self) -> None:
        self.parser: Any = None

    def has_heard_enough(self) -> bool:
        """Say after each piece whether the rest need not be heard."""
        return False

    def close(self) -> None:
        pass


class _Scout(_Target):
    """Hears no element, and so costs little: notes in which pieces the validator has something to say."""

    def __init__(self, limit: int) -> None:
        super().__init__()
        self.news: list[bool] = []
        self._limit = limit
        self._logged = 0

    def has_heard_enough(self) -> bool:
        before, self._logged = self._logged, len(self.parser.feed_error_log)
        self.news.append(self._logged > before)
        return self._logged >= self._limit * _SAYINGS_PER_FAULT

    def close(self) -> None:
        self.has_heard_enough()


_SAYINGS_PER_FAULT = 3
"""At most, as a rule: of an attribute's facet, its type and the list or union that the type is part of."""


class _Counter(_Target):
    """Notes the line of each element: that in which its first tag ends, as the parser does."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[int] = []
        self._line = 1

    def pieces(self, data: bytes) -> Iterator[bytes]:
        """Yield a document in pieces, in each of which all tags end in one line."""
        before = 1
        for lines in _lines(data):
            count = lines.count(b"\n")
            self._line = before + count - lines.endswith(b"\n")
            before += count
            yield from _blocks(lines)

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        self.lines.append(self._line)


class _Judge(_Target):
    """Notes what the validator says, and of which element, in pieces in which it is known to say something.

    The validator speaks after the target has heard of an element's start or end, so what is new in its log
    belongs to the element that was heard of last.
    """

    def __init__(self, limit: int, news: Sequence[bool]) -> None:
        super().__init__()
        self.found: list[_Found] = []
        self._limit = limit
        self._news = deque(news)
        while self._news and not self._news[-1]:
            self._news.pop()
        self._open: list[int] = []
        self._count = 0
        self._last = 0
        self._logged = 0

    def has_heard_enough(self) -> bool:
        self._hear()
        self._news.popleft()
        return not self._news or len(self.found) >= self._limit

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        if self._news[0]:
            self._hear()
        self._count += 1
        self._open.append(self._count)
        self._last = self._count

    def end(self, tag: str) -> None:
        if self._news[0]:
            self._hear()
        self._last = self._open.pop()

    def close(self) -> None:
        self._hear()

    def _hear(self) -> None:
        """Take up what the validator has said since; of two sayings about one thing the first says most."""
        if len(self.found) >= self._limit or len(log := self.parser.feed_error_log) == self._logged:
            return
        new = {subject(entry.message): entry.message for entry in reversed(list(log)[self._logged :])}
        self._logged = len(log)
        self.found += [_Found(self._last, message) for message in reversed(new.values())]
