"""Attributes that METS, MODS and PREMIS borrow: XLink, XML Schema instance, XML itself.

Names are in Clark notation, ``{namespace}name``. In METS and MODS a link is a simple link; PREMIS 3 and
MIX know none.

Source: XLink 1.1 in the schema of METS and MODS (xlink.xsd); XML Schema 1.0, part 1, section 2.6; XML 1.0.
"""

from __future__ import annotations

import re

NAMESPACE = "http://www.w3.org/1999/xlink"
PREFIX = "xlink"

TYPE = f"{{{NAMESPACE}}}type"
SIMPLE = "simple"
HREF = f"{{{NAMESPACE}}}href"
TITLE = f"{{{NAMESPACE}}}title"
LABEL = f"{{{NAMESPACE}}}label"
FROM = f"{{{NAMESPACE}}}from"
TO = f"{{{NAMESPACE}}}to"

SCHEMA_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"
SCHEMA_INSTANCE_PREFIX = "xsi"
SCHEMA_LOCATION = f"{{{SCHEMA_INSTANCE}}}schemaLocation"
SCHEMA_TYPE = f"{{{SCHEMA_INSTANCE}}}type"

XML_NAMESPACE = "http://www.w3.org/XML/1998/namespace"
XML_LANGUAGE = f"{{{XML_NAMESPACE}}}lang"

SCHEMA_LANGUAGE = "http://www.w3.org/2001/XMLSchema"
"""What schema files are written in."""
INCLUSIONS = "http://www.w3.org/2001/XInclude"
"""XInclude 1.0: takes in other documents. Neither written nor followed."""

_LANGUAGE = re.compile(r"[A-Za-z]{1,8}(?:-[A-Za-z0-9]{1,8})*")
_NAME = r"(?:[A-Za-z0-9._~!$&'()*+,;=-]|%[0-9A-Fa-f]{2})"
_CHARACTER = rf"(?:{_NAME}|[:@/?])"
_AUTHORITY = rf"//(?:(?:{_NAME}|:)*@)?{_NAME}+(?::\d{{1,5}})?(?![^/?#])"
_URI = re.compile(rf"[A-Za-z][A-Za-z0-9+.-]*:(?:{_AUTHORITY}|(?!//)(?=[^#])){_CHARACTER}*(?:#{_CHARACTER}*)?")


def is_language(tag: str) -> bool:
    """True if ``xml:lang`` may hold `tag` (XML Schema 1.0, part 2, language)."""
    return _LANGUAGE.fullmatch(tag) is not None


def is_uri(text: str) -> bool:
    """True for an absolute URI in ASCII, as it can be written into any attribute (RFC 3986, section 3)."""
    return _URI.fullmatch(text) is not None
