"""Rules over what makes a folder a bag: bagit.txt, the payload folder, tag files that can be read.

Source: RFC 8493, section 2; where a bag declares an older draft, what that draft asked for.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.containers import paths_in
from pipeline.findings import Level, Remark
from pipeline.specs import bagit
from pipeline.verify.bag.facts import BAG, IS_BAG, BagFacts, from_faults
from pipeline.verify.bag.reading import is_text_encoding
from pipeline.verify.remarks import short
from pipeline.verify.sources import RFC_8493


@BAG.rule(
    "B001",
    Level.ERROR,
    "It is no bag: bagit.txt is missing",
    source=RFC_8493 + "2.1.1",
    advice="Deliver the bag's own folder: the one that holds bagit.txt, a manifest and data. Of a folder of "
    "bags each is given by itself, as in delivery/*.",
)
def it_is_a_bag(facts: BagFacts) -> Iterator[Remark]:
    """The base directory holds `bagit.txt`. Without it nothing else can be read."""
    if facts.bundle.bag is None:
        inside = sum(path.split("/")[1:] == [bagit.DECLARATION_FILE] for path in facts.bundle.container.files)
        which = f"each of {inside:,} folders" if inside > 1 else "a folder"
        value = f"no {bagit.DECLARATION_FILE}{f', but one in {which} in it' if inside else ''}"
        yield Remark(place=facts.bundle.place, value=value, limit="one")


@BAG.rule(
    "B002",
    Level.ERROR,
    "bagit.txt is not as it must be",
    source=RFC_8493 + "2.1.1",
    advice='Write exactly two lines, in UTF-8 without byte order mark: "BagIt-Version: 1.0" and '
    '"Tag-File-Character-Encoding: UTF-8"; then renew the tag manifests.',
    requires=IS_BAG,
)
def the_declaration_is_well_formed(facts: BagFacts) -> Iterator[Remark]:
    """Two lines, in this order, one blank after each colon, in UTF-8 without byte order mark."""
    if faults := facts.bag.declaration.faults:
        value = "; ".join(faults)
        yield Remark(place=bagit.DECLARATION_FILE, value=value, limit="the two lines of a declaration")


_VERSIONS = {(0, 93), (0, 94), (0, 95), (0, 96), (0, 97), (1, 0)}


@BAG.rule(
    "B003",
    Level.ERROR,
    "The version of BagIt is unknown",
    source=RFC_8493 + "2.1.1",
    advice="Make the bag as version 1.0.",
    requires=IS_BAG,
)
def the_version_is_known(facts: BagFacts) -> Iterator[Remark]:
    """1.0, or one of the drafts 0.93 to 0.97."""
    major, minor = facts.bag.declaration.version
    if (major, minor) not in _VERSIONS:
        yield Remark(place=bagit.DECLARATION_FILE, value=f"{major}.{minor}", limit="0.93 to 0.97, or 1.0")


@BAG.rule(
    "B004",
    Level.WARNING,
    "Tag files are not in UTF-8",
    source=RFC_8493 + "2.1.1",
    advice="Write tag files in UTF-8; a later version of BagIt may forbid others.",
    requires=IS_BAG,
)
def the_encoding_is_utf8(facts: BagFacts) -> Iterator[Remark]:
    """The declared encoding should be UTF-8; what cannot be decoded here is an error."""
    encoding = facts.bag.declaration.encoding
    if encoding.upper() != bagit.ENCODING:
        level = None if is_text_encoding(encoding) else Level.ERROR
        yield Remark(place=bagit.DECLARATION_FILE, value=short(encoding), limit=bagit.ENCODING, level=level)


@BAG.rule(
    "B005",
    Level.ERROR,
    "A tag file cannot be read as text",
    source=RFC_8493 + "2.1.1",
    advice="Write it again in the encoding that bagit.txt declares, without byte order mark in UTF-8; then "
    "renew the tag manifests.",
    requires=IS_BAG,
)
def tag_files_are_text(facts: BagFacts) -> Iterator[Remark]:
    """Manifests, bag-info.txt and fetch.txt are text in the declared encoding."""
    yield from from_faults(facts.bag.undecodable, f"text in {facts.bag.declaration.encoding}")


@BAG.rule(
    "B006",
    Level.ERROR,
    "There is no payload manifest",
    source=RFC_8493 + "2.1.3",
    advice="Deliver the bag again with manifest-sha512.txt; without a manifest nothing proves what was sent.",
    requires=IS_BAG,
)
def there_is_a_manifest(facts: BagFacts) -> Iterator[Remark]:
    """A bag has one payload manifest at least."""
    if not facts.bag.manifests:
        yield Remark(place=facts.bundle.place, value="no payload manifest", limit="one at least")


@BAG.rule(
    "B007",
    Level.ERROR,
    "There is no payload folder",
    source=RFC_8493 + "2.1.2",
    advice="Deliver the bag again with its folder data; archives drop empty folders, so keep a file in it.",
    requires=IS_BAG,
)
def there_is_a_payload_folder(facts: BagFacts) -> Iterator[Remark]:
    """A bag has a folder `data`, be it empty."""
    if not facts.bag.payload and bagit.PAYLOAD not in paths_in(facts.bundle.container):
        yield Remark(place=facts.bundle.place, value=f"no folder {bagit.PAYLOAD}", limit="one")
