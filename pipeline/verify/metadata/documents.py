"""XML documents in a bundle, found by their root elements: contractors lay bundles out as they like.

A document is looked at twice. `peek` reads its beginning, to tell what it is without reading six thousand
text files whole; `load` reads and parses it. What is hostile in it is told before a parser sees it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import PurePosixPath

from pipeline import xmldoc
from pipeline.containers import Container, Limits, read_bytes
from pipeline.errors import InputError
from pipeline.specs import mets, mix, mods, premis, xlink
from pipeline.xmldoc import Element

SUFFIXES = (".xml", ".mets", ".mix", ".mods", ".premis")
"""What the names of documents end in; of a bare document any name is taken."""

_HEAD_BYTES = 1 << 16


class Kind(StrEnum):
    """What a document is, by its root element."""

    METS = "METS"
    MIX = "MIX"
    PREMIS = "PREMIS"
    MODS = "MODS"
    OTHER = "XML"
    """Another document; only whether it is well-formed is looked at."""


_KINDS = {
    mets.NAMESPACE: Kind.METS,
    mix.NAMESPACE: Kind.MIX,
    premis.NAMESPACE: Kind.PREMIS,
    mods.NAMESPACE: Kind.MODS,
}
UNJUDGED = {mets.NAMESPACE_2: "METS 2", mix.NAMESPACE_1: "MIX 1.0", premis.NAMESPACE_2: "PREMIS 2"}
"""Standards that are recognised and not judged, by their namespaces."""
ROOTS = {
    "mets": mets.NAMESPACE,
    "mix": mix.NAMESPACE,
    "premis": premis.NAMESPACE,
    "mods": mods.NAMESPACE,
    "modsCollection": mods.NAMESPACE,
}
"""The namespaces of the standards that are judged, by the names of their root elements."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """One XML document."""

    path: str
    kind: Kind
    namespace: str = ""
    """Of the root element."""
    root: Element | None = None
    """None if it could not be parsed, or must not be."""
    data: bytes = b""
    """Its bytes, if it could be parsed."""
    fault: str = ""
    """Why it cannot be read as XML."""
    declares_type: bool = False
    """It holds a document type declaration, and so perhaps entities."""
    type_name: str = ""
    """The root element that such a declaration is for, without a prefix; empty if that cannot be told."""

    @property
    def folder(self) -> str:
        """The folder that it lies in; empty at the top."""
        return str(PurePosixPath(self.path).parent).removeprefix(".")

    @property
    def root_name(self) -> str:
        """The name of its root element without its namespace; empty if it could not be read."""
        return "" if self.root is None else local(self.root)

    @property
    def unjudged_records(self) -> Mapping[str, int]:
        """Standards that are not judged, each with the number of its records in a METS document."""
        if self.root is None or self.kind is not Kind.METS:
            return {}
        records = (each for data in self.root.iter(_WRAPPED) for each in data)
        found = (UNJUDGED.get(namespace_of(each)) for each in records)
        return Counter(each for each in found if each)

    @property
    def is_sound(self) -> bool:
        """True if its elements can be judged."""
        return self.root is not None and not self.declares_type


_WRAPPED = f"{{{mets.NAMESPACE}}}xmlData"

# ---------------------------------------------------------------------------------------- finding them


def candidates(container: Container, by_suffix: Mapping[str, Sequence[str]]) -> list[str]:
    """Return the paths of all files that are XML documents by their names; a bare document has any name."""
    if container.is_document:
        return list(container.files)
    return sorted(path for suffix in SUFFIXES for path in by_suffix.get(suffix, ()))


def peek(container: Container, path: str) -> Kind | None:
    """Return what a document is by its first 64 KiB, or None if that cannot be told. Never raises."""
    try:
        with container.open(path) as file:
            head = file.read(_HEAD_BYTES)
    except OSError:
        return None
    found = root_namespace(_text(head))
    return None if found is None else _KINDS.get(found, Kind.OTHER)


def load(container: Container, path: str, limits: Limits) -> Document:
    """Read and parse one document. What is wrong with it is kept in the result."""
    try:
        data = read_bytes(container, path, limit=limits.max_document_bytes)
    except InputError as error:
        return Document(path=path, kind=Kind.OTHER, fault=_without_name(error, path))
    namespace = root_namespace(_text(data[:_HEAD_BYTES]))
    kind = _KINDS.get(namespace or "", Kind.OTHER)
    if (declared := _TYPE.match(_text(data[:_HEAD_BYTES]))) is not None:
        return Document(
            path=path,
            kind=kind,
            namespace=namespace or "",
            declares_type=True,
            type_name=declared["name"].rpartition(":")[2],
        )
    try:
        root = xmldoc.parse(data, name=path)
    except InputError as error:
        fault = _without_name(error, path)
        return Document(path=path, kind=kind, namespace=namespace or "", fault=fault)
    namespace = namespace_of(root)
    return Document(
        path=path, kind=_KINDS.get(namespace, Kind.OTHER), namespace=namespace, root=root, data=data
    )


def _without_name(error: InputError, path: str) -> str:
    return error.message.removeprefix(f"{path}: ")


# ------------------------------------------------------------------------------- the beginning of a document

_PROLOG = r"\ufeff?(?>\s++|<\?(?s:.*?)\?>|<!--(?s:.*?)-->)*+"
_TYPE = re.compile(rf"{_PROLOG}<!DOCTYPE\s*+(?P<name>[^\s\[<>\"']{{0,99}})")
_ROOT = re.compile(
    rf"{_PROLOG}(?:<!DOCTYPE[^>\[]*+(?:\[(?s:.*?)\]\s*)?>(?>\s++|<\?(?s:.*?)\?>|<!--(?s:.*?)-->)*+)?"
    r"""<(?:(?P<prefix>[^\s:<>/"'=]++):)?[^\s:<>/"'=]++(?P<attributes>(?>[^<>"']++|"[^"]*+"|'[^']*+')*+)"""
)
_DECLARATION = re.compile(r"""\sxmlns(?::(?P<prefix>[^\s=]++))?\s*=\s*(?P<quote>["'])(?P<uri>[^"']*+)""")


def _text(head: bytes) -> str:
    """Return the beginning of a document so far as markup goes: ASCII is enough."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return head.decode("utf-16", errors="replace")
    if head[:2] == b"<\0":
        return head.decode("utf-16-le", errors="replace")
    if head[:2] == b"\0<":
        return head.decode("utf-16-be", errors="replace")
    return head.removeprefix(b"\xef\xbb\xbf").decode("latin-1")


def root_namespace(text: str) -> str | None:
    """Return the namespace of the root element, empty if it has none; None if no element begins here."""
    match = _ROOT.match(text)
    if match is None:
        return None
    declared = {each["prefix"]: each["uri"] for each in _DECLARATION.finditer(match["attributes"])}
    return declared.get(match["prefix"], "")


# ----------------------------------------------------------------------------------------------- elements


def namespace_of(element: Element) -> str:
    """Return the namespace of an element; empty for one without, and for comments."""
    name = element.tag
    return name[1:].partition("}")[0] if isinstance(name, str) and name.startswith("{") else ""


def local(element: Element) -> str:
    """Return the name of an element without its namespace; empty for comments."""
    name = element.tag
    return name.rpartition("}")[2] if isinstance(name, str) else ""


IDENTIFIERS = {mets.NAMESPACE: "ID", mods.NAMESPACE: "ID", premis.NAMESPACE: "xmlID"}
"""The attribute of type xsd:ID, by namespace; MIX has none."""


def describe(element: Element) -> str:
    """Return how a person finds an element: its name and ID, or those of the nearest element that has one."""
    own = _identified(element)
    if '"' in own:
        return own
    above = element.getparent()
    for _ in range(50):
        if above is None:
            break
        if '"' in (found := _identified(above)):
            return f"{own} in {found}"
        above = above.getparent()
    return own


def _identified(element: Element) -> str:
    identifier = element.get(IDENTIFIERS.get(namespace_of(element), "ID"))
    return f'{local(element)} "{identifier}"' if identifier else local(element)


def line_of(element: Element) -> int:
    """Return the line that an element begins in, or 0 if that is not known."""
    line: object = element.sourceline
    return line if isinstance(line, int) else 0


def place(path: str, line: int = 0, what: str = "") -> str:
    """Return where something is: ``metadata/mets.xml, line 12: file "master.b14_0001"``."""
    where = f"{path}, line {line}" if line else path
    return f"{where}: {what}" if what else where


def place_of(path: str, element: Element, within: str = "") -> str:
    """Return where an element is; `within` describes what it stands in, if that is known already."""
    what = f"{local(element)} in {within}" if within else describe(element)
    return place(path, line_of(element), what)


def first(element: Element, tag: str) -> Element | None:
    """Return the first child of a name: quicker than `find`, which knows whole paths."""
    return next(element.iterchildren(tag), None)


def text_of(element: Element | None, tag: str) -> str:
    """Return the text of the first child of a name, trimmed; empty if there is none."""
    found = None if element is None else first(element, tag)
    return "" if found is None else (found.text or "").strip()


def inclusions(root: Element) -> Iterator[Element]:
    """Yield the elements that would take in other documents (XInclude)."""
    return root.iter(f"{{{xlink.INCLUSIONS}}}*")
