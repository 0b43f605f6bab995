"""The publishers' own schemas, for those who have them: they are not part of the repository.

Point the environment variable OFFICIAL_SCHEMAS at a folder with ``mets.xsd`` (METS 1.12.1), ``mods-3-8.xsd``,
``mix20.xsd``, ``premis.xsd`` (3.0), ``xlink.xsd`` and ``xml.xsd``, all from www.loc.gov/standards.
"""

from __future__ import annotations

import functools
import os
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from pipeline.specs import mets, mix, mods, premis, xlink

_VARIABLE = "OFFICIAL_SCHEMAS"
_FILES = {
    xlink.XML_NAMESPACE: "xml.xsd",
    xlink.NAMESPACE: "xlink.xsd",
    mets.NAMESPACE: "mets.xsd",
    mods.NAMESPACE: "mods-3-8.xsd",
    mix.NAMESPACE: "mix20.xsd",
    premis.NAMESPACE: "premis.xsd",
}


class _Local(etree.Resolver):
    """Finds what a schema imports in the folder, by its name; never on the network."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def resolve(self, system_url: str, public_id: str, *context: Any) -> Any:
        here = str(self._folder / system_url.rsplit("/", 1)[-1])
        return self.resolve_filename(here, *context)  # type: ignore[attr-defined]  # the stubs lack it


@functools.cache
def _schema(folder: Path) -> etree.XMLSchema:
    """One schema that imports all, so that records inside METS are judged as strictly as METS itself."""
    imports = "".join(
        f'<xsd:import namespace="{namespace}" schemaLocation="{folder / name}"/>'
        for namespace, name in _FILES.items()
    )
    driver = f'<xsd:schema xmlns:xsd="http://www.w3.org/2001/XMLSchema">{imports}</xsd:schema>'
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local(folder))
    return etree.XMLSchema(etree.fromstring(driver, parser))


def assert_valid(document: bytes) -> None:
    """Fail with what the official schemas say of a document; skip if they are not there."""
    folder = os.environ.get(_VARIABLE)
    if not folder:
        pytest.skip(f"the official schemas are not here; set {_VARIABLE} to the folder that holds them")
    schema = _schema(Path(folder).resolve())
    is_valid = schema.validate(etree.fromstring(document))
    assert is_valid, str(schema.error_log)
