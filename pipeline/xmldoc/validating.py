"""Documents held against schemas: ours, or the publishers' from a folder that a person gives.

A document is validated while it is read, not as a tree: a tree's validator looks up the path of every fault
among all siblings, and so needs minutes for some ten thousand faults. Reading stops when enough is found.
What a validator of streams leaves out, that an ID is used twice, is looked after here.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from lxml import etree

from pipeline.errors import InputError, Problem, SettingsError
from pipeline.files import natural_key
from pipeline.jsondoc import schemas_folder
from pipeline.specs import mets, mix, mods, premis, xlink
from pipeline.xmldoc.documents import MAX_DEPTH, TOO_DEEP, TYPE_DECLARED, Element, read, syntax_error
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
    namespace: str = ""
    """Of the element: whose rule is broken."""


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
    document: bytes | Element, schema: Schema, *, limit: int = FAULTS_SHOWN, name: str = "document"
) -> tuple[SchemaFault, ...]:
    """Return the first `limit` things in which a document does not obey a schema, in its order.

    Nothing if it is valid. Given as bytes, a document is not kept in memory, and lines are exact whatever
    their number; of an element, those after line 65,534 are as near as the parser knows. Raises InputError
    if the bytes are not well-formed, declare a document type, or hold elements nested too deep.
    """
    if isinstance(document, bytes):
        return tuple(each.fault(each.line) for each in _found(document, schema, limit, name))
    found = _found(etree.tostring(document, with_tail=False), schema, limit, name)
    lines = _lines_in_tree(document, {each.ordinal for each in found})
    return tuple(each.fault(lines[each.ordinal]) for each in found)


def _lines_in_tree(root: Element, ordinals: set[int]) -> dict[int, int]:
    if not ordinals:
        return {}
    last = max(ordinals)
    lines: dict[int, int] = {}
    for ordinal, each in enumerate(root.iter("*"), start=1):
        if ordinal in ordinals:
            lines[ordinal] = each.sourceline or 0  # type: ignore[assignment]  # the stubs say it is a method
        if ordinal == last:
            break
    return lines


def _found(data: bytes, schema: Schema, limit: int, name: str) -> list[_Fault]:
    judge = _Judge(schema, limit)
    _feed(judge, data, name, schema.validator)
    return judge.faults[:limit]


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
            _feed(counter, self._data, "document", None)
            self._all = counter.lines
        before: Any = element.xpath("count(preceding::*) + count(ancestor::*)")
        return self._all[int(before)]


_LINES_COUNTED = 65_535


def _feed(target: _Target, data: bytes, name: str, validator: etree.XMLSchema | None) -> None:
    """Let a target hear what is in a document, line by line, until it has heard enough. Raises InputError."""
    listener: Any = target
    parser = etree.XMLParser(
        target=listener, schema=validator, no_network=True, load_dtd=False, resolve_entities=False
    )
    target.parser = parser
    try:
        for target.line, piece in _pieces(data):
            parser.feed(piece)
            if target.has_enough:
                return
        parser.close()
    except etree.XMLSyntaxError as error:
        raise syntax_error(error, name) from error
    except _Refused as error:
        raise InputError(f"{name}: {error}") from error


def _pieces(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield a document in pieces of at most 64 KiB, none of more than one line, with the line's number."""
    for number, line in enumerate(_lines(data), start=1):
        for start in range(0, len(line), _PIECE_BYTES):
            yield number, line[start : start + _PIECE_BYTES]


def _lines(data: bytes) -> Iterator[bytes]:
    """Yield the lines of a document, their ends included; in UTF-16 an end has two bytes."""
    wide = {b"\xff\xfe": "utf-16-le", b"<\0": "utf-16-le", b"\xfe\xff": "utf-16-be", b"\0<": "utf-16-be"}
    if (encoding := wide.get(data[:2])) is None:
        yield from _split(data)
        return
    for line in _split(data.decode(encoding, "surrogatepass").encode("utf-8", "surrogatepass")):
        yield line.decode("utf-8", "surrogatepass").encode(encoding, "surrogatepass")


def _split(data: bytes) -> Iterator[bytes]:
    start = 0
    while end := data.find(b"\n", start) + 1:
        yield data[start:end]
        start = end
    yield data[start:]


class _Refused(Exception):  # noqa: N818, a message to ourselves
    pass


# -------------------------------------------------------------------------------- who listens to the parser


class _Step:
    """An element that is or was open: one step of a path."""

    __slots__ = ("above", "below", "depth", "identifier", "line", "name", "namespace", "ordinal", "position")

    def __init__(
        self, tag: str, above: _Step | None, identifier: tuple[str, str] | None, line: int, ordinal: int
    ) -> None:
        self.namespace, _, self.name = tag.rpartition("}")
        self.namespace = self.namespace.removeprefix("{")
        self.above = above
        self.below: dict[str, int] = {}
        """How many elements of each name were in it."""
        self.identifier = identifier
        self.line = line
        self.ordinal = ordinal
        self.position = 1 if above is None else above.counted(self.name)
        self.depth: int = 1 if above is None else above.depth + 1

    def counted(self, name: str) -> int:
        self.below[name] = self.below.get(name, 0) + 1
        return self.below[name]

    def __str__(self) -> str:
        if self.identifier is not None and _SHOWN_ID.fullmatch(self.identifier[1]):
            return f'{self.name}[@{self.identifier[0]}="{self.identifier[1]}"]'
        alike = 1 if self.above is None else self.above.below[self.name]
        return f"{self.name}[{self.position}]" if alike > 1 else self.name

    def path(self) -> str:
        steps = []
        step: _Step | None = self
        while step is not None:
            steps.append(str(step))
            step = step.above
        return "/".join(reversed(steps))

    def stranger(self) -> str:
        """Return the namespace, if it is not the one around."""
        if self.above is None or self.above.namespace == self.namespace:
            return ""
        return self.namespace or "no namespace"


class _Fault(NamedTuple):
    """What was found, before all siblings are counted."""

    step: _Step
    message: str

    @property
    def line(self) -> int:
        return self.step.line

    @property
    def ordinal(self) -> int:
        return self.step.ordinal

    def fault(self, line: int) -> SchemaFault:
        return SchemaFault(
            line=line, path=self.step.path(), message=self.message, namespace=self.step.namespace
        )


class _Target:
    """Hears a document; what lxml calls a parser target."""

    def __init__(self) -> None:
        self.line = 0
        self.parser: Any = None

    @property
    def has_enough(self) -> bool:
        """True if it need not hear the rest."""
        return False

    def doctype(self, name: str, public_id: str | None, system_id: str | None) -> None:
        raise _Refused(TYPE_DECLARED)

    def close(self) -> None:
        pass


class _Counter(_Target):
    """Notes the line of each element."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[int] = []

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        self.lines.append(self.line)


class _Judge(_Target):
    """Notes what the validator says, of which element, and IDs that are used twice.

    The validator speaks after the target has heard of an element's start or end, so what is new in its log
    belongs to the element that was heard of last.
    """

    def __init__(self, schema: Schema, limit: int) -> None:
        super().__init__()
        self.faults: list[_Fault] = []
        self._limit = limit
        self._schema = schema
        self._open: _Step | None = None
        self._last: _Step | None = None
        self._logged = 0
        self._ordinal = 0
        self._seen: set[str] = set()

    @property
    def has_enough(self) -> bool:
        """True if nobody wants to know more."""
        return len(self.faults) >= self._limit

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        self._ordinal += 1
        if self.has_enough:
            return
        self._hear()
        identifiers = list(self._identifiers(tag, attributes))
        shown = next(iter(identifiers), None)
        self._last = self._open = _Step(tag, self._open, shown, self.line, self._ordinal)
        if self._open.depth > MAX_DEPTH:
            raise _Refused(TOO_DEEP)
        for _, identifier in identifiers:
            if identifier in self._seen:
                self.faults.append(
                    _Fault(self._last, f"the ID {quoted(identifier)} is used for a second time")
                )
            self._seen.add(identifier)

    def end(self, tag: str) -> None:
        if self.has_enough:
            return
        self._hear()
        self._last = self._open
        self._open = self._open.above if self._open else None

    def close(self) -> None:
        self._hear()

    def _identifiers(self, tag: str, attributes: Mapping[str, str]) -> Iterator[tuple[str, str]]:
        if attributes:
            names = self._schema.identifiers.get(tag[1:].partition("}")[0], frozenset())
            for name, value in attributes.items():
                text = value.strip(" \t\r\n")
                if (name in names or name == _XML_ID) and _ID.fullmatch(text):
                    yield name.replace(_XML_ID, "xml:id"), text

    def _hear(self) -> None:
        """Take up what the validator has said since."""
        log = self.parser.feed_error_log
        if len(log) == self._logged:
            return
        new = list(log)[self._logged :]
        self._logged = len(log)
        said: set[str] = set()
        for entry in new:
            about = subject(entry.message)
            if "SCHEMAS" in entry.domain_name and about not in said and self._last is not None:
                said.add(about)
                words = reworded(entry.message, stranger=self._last.stranger())
                self.faults.append(_Fault(self._last, words))
