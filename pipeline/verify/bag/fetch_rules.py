"""Rules over fetch.txt. Nothing is ever fetched.

Source: RFC 8493, section 2.2.3.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.files import unsafe_path
from pipeline.findings import Level, Remark
from pipeline.specs import bagit
from pipeline.verify.bag.facts import BAG, IS_READABLE, BagFacts, from_faults
from pipeline.verify.sources import RFC_8493


@BAG.rule(
    "B060",
    Level.ERROR,
    "A line of fetch.txt cannot be read",
    source=RFC_8493 + "2.2.3",
    advice="Each line is an address, a number of bytes or -, and a path, with blanks between.",
    requires=IS_READABLE,
)
def fetch_can_be_read(facts: BagFacts) -> Iterator[Remark]:
    """Address, length, path."""
    yield from from_faults(facts.bag.fetch_faults, "address, length, path")


@BAG.rule(
    "B061",
    Level.ERROR,
    "fetch.txt names what must not be fetched",
    source=RFC_8493 + "5.2",
    advice="Paths lie in data/, relative and with /; addresses begin with https.",
    requires=IS_READABLE,
)
def fetch_is_safe(facts: BagFacts) -> Iterator[Remark]:
    """Paths stay in the payload; addresses are of the web."""
    for each in facts.bag.fetch:
        place = f"{bagit.FETCH_FILE}, line {each.line}"
        why = unsafe_path(each.path)
        if why or not each.path.startswith("data/"):
            value = f'"{each.path}" {why or "is no payload file"}'
            yield Remark(place=place, value=value, limit="a path in data/")
        if not re.match(r"(?i)https?://[^/]", each.url):
            yield Remark(place=place, value=each.url, limit="an address that begins with https")


@BAG.rule(
    "B062",
    Level.ERROR,
    "A file to be fetched is not listed",
    source=RFC_8493 + "2.2.3",
    advice="List every path of fetch.txt in every payload manifest: else it could not be proved.",
    requires={*IS_READABLE, "B006", "B010", "B061"},
)
def fetched_files_are_listed(facts: BagFacts) -> Iterator[Remark]:
    """Every path of `fetch.txt` is in every payload manifest; in the drafts, in one."""
    manifests = facts.proving.manifests
    for each in facts.bag.fetch if manifests else ():
        lacking = [manifest.file for manifest in manifests if each.path not in manifest.entries]
        if len(lacking) == len(manifests) or (lacking and facts.bag.declaration.is_final):
            yield Remark(place=each.path, value=f"not in {', '.join(lacking)}", limit="in every manifest")
