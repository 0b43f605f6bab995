"""PREMIS 3.0: namespace, object kinds, and the preservation vocabularies with their codes.

Source: PREMIS schema 3.0 (January 2016), data dictionary 3.0 (2015); the preservation vocabularies of
id.loc.gov, state of September 2018.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.model import Algorithm

NAMESPACE = "http://www.loc.gov/premis/v3"
PREFIX = "premis"
VERSION = "3.0"
SCHEMA_LOCATION = "http://www.loc.gov/standards/premis/premis.xsd"

FILE, REPRESENTATION, INTELLECTUAL_ENTITY = "file", "representation", "intellectualEntity"
"""Types of object: the value of xsi:type, which takes the prefix of the namespace."""

LOCAL, URI, UUID = "local", "URI", "UUID"
"""Identifier types; the schema leaves them free."""

VOCABULARY_URI = "http://id.loc.gov/vocabulary/preservation"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """One controlled vocabulary: its terms with their codes."""

    name: str
    codes: Mapping[str, str]

    def attributes(self, term: str) -> dict[str, str]:
        """Return the attributes that say where `term` comes from. Raises KeyError for an unknown one."""
        uri = f"{VOCABULARY_URI}/{self.name}"
        return {"authority": self.name, "authorityURI": uri, "valueURI": f"{uri}/{self.codes[term]}"}


EVENT_TYPES = Vocabulary(
    name="eventType",
    codes={
        "accession": "acc",
        "appraisal": "app",
        "capture": "cap",
        "compiling": "cop",
        "compression": "com",
        "creation": "cre",
        "deaccession": "dea",
        "decompression": "dec",
        "decryption": "der",
        "deletion": "del",
        "digital signature generation": "dsg",
        "digital signature validation": "dig",
        "displaying": "dsp",
        "dissemination": "dis",
        "encryption": "enc",
        "execution": "exe",
        "exporting": "exp",
        "extraction": "ext",
        "filename change": "fil",
        "fixity check": "fix",
        "forensic feature analysis": "ffa",
        "format identification": "for",
        "imaging": "ima",
        "information package creation": "ipc",
        "information package merging": "ipm",
        "information package splitting": "ips",
        "ingestion": "ing",
        "ingestion end": "ine",
        "ingestion start": "ins",
        "interpreting": "int",
        "message digest calculation": "mes",
        "metadata extraction": "mee",
        "metadata modification": "mem",
        "migration": "mig",
        "modification": "mod",
        "normalization": "nor",
        "packing": "pac",
        "policy assignment": "poa",
        "printing": "prt",
        "quarantine": "qua",
        "recovery": "rec",
        "redaction": "red",
        "refreshment": "ref",
        "rendering": "ren",
        "replication": "rep",
        "transfer": "tra",
        "unpacking": "unp",
        "unquarantine": "unq",
        "validation": "val",
        "virus check": "vir",
    },
)
OUTCOMES = Vocabulary(name="eventOutcome", codes={"success": "suc", "fail": "fai", "warning": "war"})
AGENT_TYPES = Vocabulary(
    name="agentType", codes={"person": "per", "organization": "org", "software": "sof", "hardware": "har"}
)
AGENT_ROLES = Vocabulary(
    name="eventRelatedAgentRole",
    codes={"implementer": "imp", "executing program": "exe", "authorizer": "aut", "validator": "val"},
)
OBJECT_ROLES = Vocabulary(name="eventRelatedObjectRole", codes={"source": "sou", "outcome": "out"})
RELATIONSHIPS = Vocabulary(name="relationshipType", codes={"structural": "str", "derivation": "der"})
RELATIONSHIP_SUBTYPES = Vocabulary(
    name="relationshipSubType",
    codes={"is included in": "isi", "represents": "rep", "has source": "hss"},
)
RIGHTS_BASES = Vocabulary(name="rightsBasis", codes={"copyright": "cop", "license": "lic", "other": "oth"})
COPYRIGHT_STATUSES = Vocabulary(
    name="copyrightStatus", codes={"copyrighted": "cpr", "public domain": "pub", "unknown": "unk"}
)
HASH_FUNCTIONS = Vocabulary(
    name="cryptographicHashFunctions",
    codes={"SHA-512": "sha512", "SHA-256": "sha256", "SHA-1": "sha1", "MD5": "md5"},
)
DIGEST_ALGORITHMS = {
    Algorithm.SHA512: "SHA-512",
    Algorithm.SHA256: "SHA-256",
    Algorithm.SHA1: "SHA-1",
    Algorithm.MD5: "MD5",
}

# ------------------------------------------------------------------------- what records of others may have

NAMESPACE_2 = "info:lc/xmlns/premis-v2"
"""PREMIS 2: recognised only."""

DIGESTS = {
    "md5": "md5",
    "sha1": "sha1",
    "sha256": "sha256",
    "sha384": "sha384",
    "sha512": "sha512",
}
"""Algorithms by the names that bag manifests use, under their own names in lower case without hyphens."""

FIXITY_CHECK = "fixity check"
MAKING = frozenset(("capture", "creation", "imaging"))
"""Events that bring an object into being: nothing can befall it before."""
PASSED, FAILED = "success", "fail"
