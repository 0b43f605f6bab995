"""Documents: built, written the same way every time, read without entities, DTDs or the network."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple

from lxml import etree

from pipeline.errors import InputError, SettingsError
from pipeline.files import natural_key
from pipeline.jsondoc import schemas_folder
from pipeline.specs import xlink

Element = etree._Element
Schema = etree.XMLSchema

_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def element(
    name: str,
    *children: Element | str | None,
    namespace: str,
    prefixes: Mapping[str, str] | None = None,
    **attributes: str | None,
) -> Element:
    """Return an element of `namespace`.

    Children that are None are left out, text becomes the element's text, attributes that are None are
    left out. An attribute of another namespace is written ``{uri}name`` in a mapping: see `with_attributes`.
    """
    made = etree.Element(f"{{{namespace}}}{name}", nsmap=dict(prefixes) if prefixes else None)
    for key, value in attributes.items():
        if value is not None:
            made.set(key, clean_text(value))
    for child in children:
        if child is None:
            continue
        if isinstance(child, str):
            made.text = (made.text or "") + clean_text(child)
        else:
            made.append(child)
    return made


def group(name: str, *children: Element | None, namespace: str, **attributes: str | None) -> Element | None:
    """Return an element that holds others, or None if there are none."""
    if all(child is None for child in children):
        return None
    return element(name, *children, namespace=namespace, prefixes=None, **attributes)


def leaf(name: str, value: str | int | None, *, namespace: str, **attributes: str | None) -> Element | None:
    """Return an element with a text, blanks around it removed, or None if there is nothing to say."""
    text = clean_text(str(value)).strip() if value is not None else ""
    return element(name, text, namespace=namespace, prefixes=None, **attributes) if text else None


def with_attributes(made: Element, attributes: Mapping[str, str]) -> Element:
    """Set further attributes, such as ``{http://www.w3.org/1999/xlink}href``, and return the element."""
    for key, value in attributes.items():
        made.set(key, clean_text(value))
    return made


def clean_text(text: str) -> str:
    """Return `text` without the control characters that XML 1.0 cannot hold (section 2.2)."""
    return _FORBIDDEN.sub("", text)


def to_bytes(root: Element) -> bytes:
    """Return a document as UTF-8, indented by two, namespaces declared at the root where they can be."""
    etree.cleanup_namespaces(root, keep_ns_prefixes=[prefix for prefix in root.nsmap if prefix])
    etree.indent(root, space="  ")
    data: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8") + b"\n"
    return data


def parse(data: bytes, *, name: str = "document") -> Element:
    """Return the root of a document: no entities, no DTD, no network. Raises InputError."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        return etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise InputError(f"{name}: is not well-formed XML ({error})") from error


def read(path: Path) -> Element:
    """Return the root of the document in a file. Raises InputError."""
    try:
        return parse(path.read_bytes(), name=str(path))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error


# --------------------------------------------------------------------------------------------- schemas

_XSD = f"{{{xlink.SCHEMA_LANGUAGE}}}"


class SchemaFault(NamedTuple):
    """One thing in which a document does not obey a schema."""

    line: int
    path: str
    """An XPath of the element."""
    message: str


@functools.cache
def our_schema() -> Schema:
    """Return our schemas of METS, MIX, PREMIS and MODS as one: records inside METS are judged strictly."""
    path = schemas_folder() / "xml" / "records.xsd"
    return etree.XMLSchema(etree.parse(str(path), etree.XMLParser(no_network=True, load_dtd=False)))


@functools.cache
def official_schema(folder: Path) -> Schema:
    """Return the schemas that lie in a folder as one: found by their namespaces, whatever they are called.

    Of several files for one namespace the one whose name sorts last counts: ``mods-3-8.xsd`` before
    ``mods-3-7.xsd``. Imports are resolved within the folder alone. Raises SettingsError.
    """
    try:
        trees = [_schema_file(path) for path in sorted(folder.glob("*.xsd"), key=_by_name)]
        names = {tree.get("targetNamespace") or "": f"solander:{n}" for n, tree in enumerate(trees)}
        if not trees:
            raise SettingsError(f"{folder}: holds no .xsd file; name the folder with the official schemas")
        parser = etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False)
        parser.resolvers.add(_Local(folder, {f"solander:{n}": _bound(t, names) for n, t in enumerate(trees)}))
        return etree.XMLSchema(etree.fromstring(_driver(names), parser))
    except (etree.XMLSyntaxError, etree.XMLSchemaParseError, OSError) as error:
        raise SettingsError(f"{folder}: its schemas cannot be used ({error})") from error


def schema_faults(root: Element, schema: Schema) -> tuple[SchemaFault, ...]:
    """Return in what a document does not obey a schema, in its order; nothing if it is valid."""
    if schema.validate(root):
        return ()
    log: Iterable[Any] = schema.error_log  # type: ignore[assignment]  # the stubs say it is no sequence
    return tuple(SchemaFault(each.line, each.path or "", each.message) for each in log)


def _by_name(path: Path) -> tuple[object, ...]:
    return natural_key(path.name)


def _schema_file(path: Path) -> Element:
    parser = etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False)
    return etree.parse(str(path), parser).getroot()


def _bound(tree: Element, names: Mapping[str, str]) -> bytes:
    """Return a schema whose imports lead to the other schemas of the folder, by namespace."""
    for each in tree.iter(f"{_XSD}import"):
        target = names.get(each.get("namespace") or "")
        if target is not None:
            each.set("schemaLocation", target)
        else:
            each.attrib.pop("schemaLocation", "")
    return etree.tostring(tree)


def _driver(names: Mapping[str, str]) -> bytes:
    driver = etree.Element(f"{_XSD}schema", targetNamespace="urn:solander:official")
    for namespace, location in names.items():
        etree.SubElement(driver, f"{_XSD}import", namespace=namespace, schemaLocation=location)
    return etree.tostring(driver)


class _Local(etree.Resolver):
    """Finds schemas by the names that we gave them, and what they include in their own folder."""

    def __init__(self, folder: Path, bound: Mapping[str, bytes]) -> None:
        self._folder = folder
        self._bound = bound

    def resolve(self, system_url: str, public_id: str, *context: Any) -> Any:
        if system_url in self._bound:
            return self.resolve_string(self._bound[system_url], *context)  # type: ignore[call-arg]
        included = self._folder / PurePosixPath(system_url).name
        if included.suffix == ".xsd" and included.is_file():
            return self.resolve_filename(str(included), *context)  # type: ignore[attr-defined]
        return self.resolve_empty(*context)  # type: ignore[attr-defined]
