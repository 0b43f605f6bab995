"""Documents that rules over METS, MIX, PREMIS and MODS rest on, as findings cite them."""

from __future__ import annotations

XML = "XML 1.0 (Fifth Edition), section "
XML_NAMESPACES = "Namespaces in XML 1.0 (Third Edition), section "
XML_SCHEMA = "XML Schema 1.0, part 1, with our schemas of METS 1.12.1, MIX 2.0, PREMIS 3.0 and MODS 3.8"
OFFICIAL = "the schemas of the folder that was given"
XINCLUDE = "XInclude 1.0, section 3"
METS = "METS 1.12.1, "
MIX = "MIX 2.0 (ANSI/NISO Z39.87-2006), "
PREMIS = "PREMIS 3.0, "
MODS = "MODS 3.8, "
VOCABULARIES = "the preservation vocabularies of id.loc.gov"
URI = "RFC 3986, sections 2 and 4"
COMMON_PRACTICE = "common practice, no source"
