"""METS 1.12.1: namespace, section types, roles, location types, checksum names.

Source: METS schema 1.12.1 (October 2019).
"""

from __future__ import annotations

from pipeline.model import Algorithm

NAMESPACE = "http://www.loc.gov/METS/"
PREFIX = "mets"
SCHEMA_LOCATION = "http://www.loc.gov/standards/mets/mets.xsd"

CHECKSUM_TYPES = {
    Algorithm.SHA512: "SHA-512",
    Algorithm.SHA256: "SHA-256",
    Algorithm.SHA1: "SHA-1",
    Algorithm.MD5: "MD5",
}
"""CHECKSUMTYPE: with a hyphen, where bag manifests have none."""

MODS = "MODS"
MIX = "NISOIMG"
PREMIS_OBJECT = "PREMIS:OBJECT"
PREMIS_EVENT = "PREMIS:EVENT"
PREMIS_AGENT = "PREMIS:AGENT"
PREMIS_RIGHTS = "PREMIS:RIGHTS"
"""MDTYPE of the records that are wrapped."""

URL = "URL"
"""LOCTYPE of absolute and relative references alike."""

PHYSICAL, LOGICAL = "PHYSICAL", "LOGICAL"
"""TYPE of the two structure maps: common usage, not fixed by METS."""

MASTER, TARGET, ACCESS = "MASTER", "TARGET", "ACCESS"
"""USE of the file groups: common usage, not fixed by METS."""
