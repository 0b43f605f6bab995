"""Rules over all manifests of a bundle together, and the image services that they should name."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.findings import Level, Register, Remark
from pipeline.specs import iiif
from pipeline.verify.iiif_documents import IiifDocument
from pipeline.verify.image_service.services import Service
from pipeline.verify.presentation.addresses import Addresses, image_request
from pipeline.verify.presentation.resources import text_of
from pipeline.verify.remarks import listed, short
from pipeline.verify.sources import COMMON_PRACTICE, PRESENTATION_3


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentsFacts:
    """The manifests and collections of a bundle that could be read, and its image services."""

    place: str
    documents: Sequence[IiifDocument]
    services: Sequence[Service]
    addresses: Addresses

    @property
    def manifests(self) -> Sequence[IiifDocument]:
        """Of any version, without collections."""
        return [each for each in self.documents if "ollection" not in _type(each)]


DOCUMENTS = Register[DocumentsFacts]("the manifests of a bundle")


@DOCUMENTS.rule(
    "P050",
    Level.ERROR,
    "Image services that no manifest names",
    source=PRESENTATION_3 + "section 3.3.1, service; " + COMMON_PRACTICE,
    advice="Put a canvas for each into the manifest, or take the services out: readers never get to see "
    "them.",
)
def services_are_named(facts: DocumentsFacts) -> Iterator[Remark]:
    """Every image service of the bundle stands in one of its manifests."""
    if not facts.manifests or any(not {"items", "sequences"} & each.value.keys() for each in facts.manifests):
        return  # of one that names nothing at all P005 or P102 tells
    named = {address for each in facts.manifests for address in _addresses(each.value)}
    unnamed = [each for each in facts.services if each.identifier.rstrip("/") not in named]
    if unnamed:
        meant = {facts.addresses.path_of(f"{address}/{iiif.INFO}") for address in named}
        unnamed = [each for each in unnamed if each.path not in meant]  # of the others P040 tells
    if unnamed:
        folders = [each.folder for each in unnamed]
        value = f"{len(unnamed):,} of {len(facts.services):,}: {listed(folders)}"
        yield Remark(place=folders[0] or facts.place, value=value, limit="a manifest that names it")


def _addresses(value: Any) -> Iterator[str]:
    """Yield the ids of a document of any version, and those of the services that images are asked from."""
    waiting = [value]
    while waiting:
        each = waiting.pop()
        if isinstance(each, dict):
            for key in ("id", "@id"):
                if said := text_of(each.get(key)):
                    yield said.rstrip("/")
                    if said.endswith((".jpg", ".png", ".webp")) and (request := image_request(said)):
                        yield request.service
            waiting += each.values()
        elif isinstance(each, list):
            waiting += each


@DOCUMENTS.rule(
    "P051",
    Level.ERROR,
    "Two manifests or collections have the same id",
    source=PRESENTATION_3 + "section 3.2, id",
    advice="Give each the address of its own file, or take one of the two out.",
)
def documents_have_ids_of_their_own(facts: DocumentsFacts) -> Iterator[Remark]:
    """No two documents of the bundle have the same id."""
    paths: dict[str, list[str]] = defaultdict(list)
    for each in facts.documents:
        paths[text_of(each.value.get("id", each.value.get("@id")))].append(each.path)
    for identifier, found in paths.items():
        if identifier and len(found) > 1:
            value = f"{short(identifier)} is also the id of {listed(found[:-1])}"
            yield Remark(place=found[-1], value=value, limit="an id of its own")


@DOCUMENTS.rule(
    "P052",
    Level.WARNING,
    "No address of the manifests leads into the bundle",
    source=COMMON_PRACTICE,
    advice="Write the addresses under which the files of this bundle will be served; they end as the paths "
    "in the bundle do. Nothing that the manifests name could be looked up.",
)
def addresses_lead_into_the_bundle(facts: DocumentsFacts) -> Iterator[Remark]:
    """Where image services lie beside manifests, addresses and paths have their ends in common."""
    if facts.documents and facts.services and not facts.addresses.bases:
        said = text_of(facts.documents[0].value.get("id", facts.documents[0].value.get("@id")))
        place = facts.documents[0].path
        yield Remark(place=place, value=short(said or "no id"), limit=f"an address such as …/{place}")


def _type(document: IiifDocument) -> str:
    return text_of(document.value.get("type", document.value.get("@type")))
