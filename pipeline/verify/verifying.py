"""One bundle: opened, read once, judged by each family of rules in turn."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import containers
from pipeline.containers import Container
from pipeline.delivery import DEFAULT, DeliverySpecification, Document, ViewTerms
from pipeline.errors import InputError
from pipeline.findings import Finding, Register, Report, Skipped
from pipeline.progress import SILENT, Progress
from pipeline.specs import bagit
from pipeline.verdict import Sample, Verdict
from pipeline.verify import between, image_service, metadata, presentation
from pipeline.verify.bag import BAG, FIXITY, BagFacts, payload_algorithms, read_bag, tag_algorithms
from pipeline.verify.between import ITEM, PICTURES, ItemFacts, Told
from pipeline.verify.container_rules import CONTAINER, UNREADABLE, ContainerFacts, breaks_off
from pipeline.verify.delivery_rules import DELIVERED, DELIVERY, DeliveryFacts
from pipeline.verify.doubles import PAYLOADS, PayloadFacts, fingerprint
from pipeline.verify.evidence import Bag, Bundle, FileReading, Judged, Pages, PagesKind
from pipeline.verify.image_rules import IMAGES, ImageFacts
from pipeline.verify.likeness import DEFAULT_DIFFERENCE
from pipeline.verify.page_lists import page_lists, rows_of, sessions_of, unread_lists
from pipeline.verify.roles import pictures
from pipeline.verify.sample import draw, thumbnails

if TYPE_CHECKING:
    from pipeline.verify.file_reading import Wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How bundles are verified."""

    terms: DeliverySpecification = DEFAULT
    is_quick: bool = False
    """Structure alone: no payload file is read."""
    official_schemas: Path | None = None
    """A folder with the publishers' own schemas, asked beside ours."""
    draws_sample: bool = False
    """Frames are drawn for inspection by eye."""
    is_alone: bool = False
    """The bundle is all that was delivered: there are no others to compare its files with."""
    threads: int = 0
    """0 for one to each processor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """A verdict, and what is kept of a bundle to compare it with others."""

    verdict: Verdict
    told: Told
    thumbnails: Mapping[str, bytes]
    """Small JPEGs of the frames of the sample, by path; one that cannot be decoded is left out."""

    @property
    def labels(self) -> dict[str, str]:
        """Labels of pages by the paths of their pictures, so far as a document tells them."""
        by_stem = {
            stem: page.label for each in self.told.accounts for page in each.pages for stem in page.files
        }
        return {each.path: by_stem[each.stem] for each in self.told.pictures if each.stem in by_stem}


def verify(path: Path, options: Options, progress: Progress = SILENT) -> Verified:
    """Judge one bundle, or one document. Raises InputError if there is nothing to judge."""
    with containers.opened(path, limits=options.terms.limits) as container:
        bag = None if container.is_document else read_bag(container, options.terms.limits)
        bundle = Bundle(
            container=container,
            limits=options.terms.limits,
            bag=bag,
            readings=_read(container, bag, options, progress),
            is_quick=options.is_quick,
        )
        return _judge(bundle, path, options)


def verify_between(told: Sequence[Told], options: Options) -> Report:
    """Judge what several bundles of one item tell of it, each pair of bundles against each other."""
    report = Report()
    for group, members in between.groups(told):
        is_alone = len(members) == 1
        awaits = any(each.awaits_others for each in members)
        facts = ItemFacts(
            place=group,
            accounts=() if is_alone else tuple(each for one in members for each in one.first_accounts()),
            pictures=tuple(each for one in members for each in one.pictures),
            rows=tuple(each for one in members for each in one.rows),
            missing=tuple(each for one in members for each in one.missing),
            max_difference=_max_difference(options.terms),
            are_surrogates_required=awaits and options.terms.views.are_surrogates_required,
            is_several=True,
            citation=_citation(options.terms),
        )
        report += ITEM.judge(facts, place=group)
        if not options.is_quick:
            report += PICTURES.judge(facts, place=group)
    return weighed(report, options.terms)


def verify_payloads(payloads: Iterable[Sequence[str]], options: Options) -> Report:
    """Judge bundles of a delivery by their payloads: `payloads` are the paths of those that share each."""
    report = Report()
    for paths in payloads:
        report += PAYLOADS.judge(PayloadFacts(paths=paths), place=paths[0])
    return weighed(report, options.terms)


def registers() -> tuple[Register[Any], ...]:
    """All rules of verification, in the order in which they run."""
    return (
        CONTAINER,
        BAG,
        FIXITY,
        IMAGES,
        *metadata.registers(),
        *presentation.registers(),
        *image_service.registers(),
        ITEM,
        PICTURES,
        PAYLOADS,
        DELIVERY,
        DELIVERED,
    )


# ---------------------------------------------------------------------------------------------- reading


def _read(
    container: Container, bag: Bag | None, options: Options, progress: Progress
) -> dict[str, FileReading]:
    if options.is_quick or bag is None or breaks_off(container):
        return {}
    from pipeline.verify.file_reading import read_files  # with it come decoders: structure needs none

    wanted = _wanted(container, bag)
    progress.start("files read", total=len(wanted))

    def count(reading: FileReading) -> None:
        progress.advance(size_bytes=reading.size_bytes)

    threads = options.threads or os.cpu_count() or 1
    try:
        return read_files(container, wanted, options.terms.limits, threads=threads, done=count)
    finally:
        progress.finish()


def _wanted(container: Container, bag: Bag) -> list[Wanted]:
    from pipeline.verify.file_reading import Wanted

    documented = metadata.checksum_algorithms(container)
    payload, tags = payload_algorithms(bag) | documented, tag_algorithms(bag)
    return [
        Wanted(path=path, size_bytes=size_bytes, algorithms=payload if _is_payload(path) else tags)
        for path, size_bytes in container.files.items()
    ]


def _is_payload(path: str) -> bool:
    return path.startswith(f"{bagit.PAYLOAD}/")


# ---------------------------------------------------------------------------------------------- judging


def _judge(bundle: Bundle, path: Path, options: Options) -> Verified:
    container_facts = ContainerFacts(container=bundle.container, given=path.name)
    report = CONTAINER.judge(container_facts, place=bundle.place)
    told = Told(bundle=bundle.place, group=_group(bundle.bag), accounts=(), pictures=())
    if bundle.container.is_document:
        documents = _judge_documents(bundle, options)
        if not documents.judged:
            raise InputError(f"{path}: {_NOTHING_TO_JUDGE}")
        report += documents.report
    elif (bundle.bag is None or breaks_off(bundle.container)) and (
        broken := sorted(report.codes & UNREADABLE)
    ):
        report += BAG.skipped(bundle.place, f"not judged, because of {broken[0]}")
    else:
        facts = _bag_facts(bundle, options)
        report += BAG.judge(facts, place=bundle.place)
        if bundle.bag is not None:
            judged, told = _judge_content(facts, options, told)
            report += judged
    verdict = _verdict(bundle, path, weighed(report, options.terms), options)
    if options.draws_sample:
        verdict = replace(verdict, sample=_sample(bundle, told, options))
    drawn = verdict.sample.frames if verdict.sample else ()
    small = thumbnails(bundle.container, drawn) if drawn else {}
    return Verified(verdict=verdict, told=told, thumbnails=small)


_NOTHING_TO_JUDGE = (
    "is no document that is judged; expected a IIIF manifest or collection, an info.json, or METS 1, MIX 2, "
    "PREMIS 3 or MODS 3, told by @context and type or by the namespace of the root element"
)


def _judge_content(bag: BagFacts, options: Options, told: Told) -> tuple[Report, Told]:
    bundle = bag.bundle
    documents = _judge_documents(bundle, options)
    rows = rows_of(bundle)
    told = replace(
        told,
        accounts=(*documents.pages, *page_lists(rows)),
        pictures=pictures(bundle, options.terms.folders),
        rows=rows,
        missing=(*bag.matching.missing, *bag.matching.unlisted, *documents.lost),
        payload=b"" if options.is_alone else fingerprint(bundle),
    )
    item = _judge_item(_item_facts(bundle, told, options.terms), bundle)
    told_of = _of_sound_files(_untold(documents.report, item) + item, bundle)
    report = _judge_files(bag, options) + told_of
    if options.terms.is_given:
        facts = DeliveryFacts(
            bundle=bundle,
            terms=options.terms,
            kind=_KINDS[bundle.container.media_type],
            documents=documents.documents | _accounting(told.accounts),
            stated=documents.stated,
            rows=rows,
            pictures=told.pictures,
            is_in_group=bool(told.group),
            missing=told.missing,
        )
        report = _unless_agreed(report, delivered := _judge_delivery(facts)) + delivered
    return report, told


def _unless_agreed(report: Report, delivered: Report) -> Report:
    """Leave out that a MODS record has no title or identifier if the terms want one, and tell the same."""
    wanted = {"M080": "titleInfo", "M081": "identifier"}
    said = {each.place: each.value for each in delivered.findings if each.code == "D031"}
    kept = (
        each
        for each in report.findings
        if each.code not in wanted or wanted[each.code] not in said.get(each.place, "")
    )
    return replace(report, findings=tuple(kept)) if said else report


def _of_sound_files(report: Report, bundle: Bundle) -> Report:
    """Leave out what was found in documents that are not what was sent, and say so: their digests tell."""
    kept: list[Finding] = []
    skipped: dict[tuple[str, str], Skipped] = {}
    for each in report.findings:
        path = _altered_document(each.place, bundle.altered)
        if path:
            reason = f"not judged, because of {_code_of(path, bundle)}"
            skipped[each.code, path] = Skipped(code=each.code, place=path, reason=reason, title=each.title)
        else:
            kept.append(each)
    return replace(report, findings=tuple(kept), skipped=(*report.skipped, *skipped.values()))


def _altered_document(place: str, altered: frozenset[str]) -> str:
    """Return the altered file that a place is in: ``mets.xml, line 12: …``; empty if it is in none."""
    ends = (at for at, letter in enumerate(f"{place}:") if letter in ":,")
    return next((place[:end] for end in ends if place[:end] in altered), "")


def _code_of(path: str, bundle: Bundle) -> str:
    """The rule that tells of a file that is not what was sent."""
    if bundle.readings[path].failure:
        return "B072"
    return "B070" if _is_payload(path) else "B071"


def _untold(documents: Report, item: Report) -> Report:
    """Leave out images in no METS document that are in no page list either: X004 says they do not belong."""
    strangers = {each.place for each in item.findings if each.code == "X004"}
    kept = (each for each in documents.findings if each.code != "M034" or each.place not in strangers)
    return replace(documents, findings=tuple(kept)) if strangers else documents


def _judge_item(facts: ItemFacts, bundle: Bundle) -> Report:
    report = ITEM.judge(facts, place=bundle.place)
    if bundle.is_quick:
        return report + PICTURES.skipped(bundle.place, _NOT_READ)
    return report + PICTURES.judge(facts, place=bundle.place)


def _judge_delivery(facts: DeliveryFacts) -> Report:
    place = facts.bundle.place
    report = DELIVERY.judge(facts, place=place)
    if facts.bundle.is_quick:
        return report + DELIVERED.skipped(place, _NOT_READ)
    return report + DELIVERED.judge(facts, place=place)


def _sample(bundle: Bundle, told: Told, options: Options) -> Sample | None:
    terms = options.terms.sampling
    sessions = sessions_of(told.rows) if terms.is_by_session else {}
    return draw(
        told.pictures, terms, {each.path: sessions.get(each.stem, "") for each in told.pictures} or None
    )


_NOT_READ = "only structure was judged, no payload was read"


def _judge_files(bag: BagFacts, options: Options) -> Report:
    bundle = bag.bundle
    if bundle.is_quick:
        return FIXITY.skipped(bundle.place, _NOT_READ) + IMAGES.skipped(bundle.place, _NOT_READ)
    fixity = FIXITY.judge(bag, place=bundle.place) + _not_proved(bag)
    images = IMAGES.judge(ImageFacts(bundle=bundle, images=options.terms.images), place=bundle.place)
    return fixity + images + Report.joined(_not_what_was_sent(bundle))


def _not_proved(bag: BagFacts) -> Report:
    """What is not judged if no payload manifest is what was sent."""
    if bag.proving.manifests or not bag.bag.manifests:
        return Report()
    rules = {**BAG.rules, **FIXITY.rules}
    reason = f"{bag.bag.manifests[0].file} is not what was sent: not judged, because of B071"
    return Report(
        skipped=tuple(
            Skipped(code=code, place=bag.bundle.place, reason=reason, title=rules[code].title)
            for code in ("B020", "B022", "B070")
        )
    )


def _not_what_was_sent(bundle: Bundle) -> Iterator[Report]:
    """What is not judged of images whose digests tell that they are not those that were sent."""
    for path in sorted(bundle.altered):
        if bundle.readings[path].image is not None:
            yield IMAGES.skipped(path, f"not judged, because of {_code_of(path, bundle)}")


def _judge_documents(bundle: Bundle, options: Options) -> Judged:
    described = metadata.judge(bundle, official_schemas=options.official_schemas)
    families = (described, presentation.judge(bundle, lost=described.lost), image_service.judge(bundle))
    return Judged(
        report=sum((each.report for each in families), Report()),
        pages=tuple(pages for each in families for pages in each.pages),
        documents=frozenset[Document]().union(*(each.documents for each in families)),
        stated=described.stated,
        judged=tuple(path for each in families for path in each.judged),
        lost=described.lost,
    )


def _bag_facts(bundle: Bundle, options: Options) -> BagFacts:
    profile = options.terms.bag.profile
    return BagFacts(bundle=bundle, profiles=(profile,) if profile else ())


def _item_facts(bundle: Bundle, told: Told, terms: DeliverySpecification) -> ItemFacts:
    return ItemFacts(
        place=bundle.place,
        accounts=told.accounts,
        pictures=told.pictures,
        rows=told.rows,
        unread=unread_lists(bundle),
        missing=told.missing,
        max_difference=_max_difference(terms),
        are_surrogates_required=terms.views.are_surrogates_required and not told.awaits_others,
        citation=_citation(terms),
    )


def _citation(terms: DeliverySpecification) -> str:
    return "" if terms.views == ViewTerms() else terms.citation


def _max_difference(terms: DeliverySpecification) -> float:
    given = terms.views.max_picture_difference
    return DEFAULT_DIFFERENCE if given is None else given


_ACCOUNTING = {PagesKind.PAGE_LIST: Document.PAGES, PagesKind.MANIFEST: Document.MANIFEST}


def _accounting(accounts: Sequence[Pages]) -> frozenset[Document]:
    """The documents that are known by what they tell of pages."""
    return frozenset(_ACCOUNTING[each.kind] for each in accounts if each.kind in _ACCOUNTING)


def weighed(report: Report, terms: DeliverySpecification) -> Report:
    """Return a report with the weight that the terms give to each rule; what they turn off is left out."""
    if not terms.severity:
        return report

    def weigh(findings: Sequence[Finding]) -> Iterator[Finding]:
        for each in findings:
            if (level := terms.level_of(each.code, each.level)) is not None:
                yield replace(each, level=level)

    return replace(report, findings=tuple(weigh(report.findings)))


# ---------------------------------------------------------------------------------------------- verdict

_KINDS: Mapping[str, str] = {
    "": "folder",
    "application/x-tar": "tar archive",
    "application/gzip": "compressed tar archive",
    "application/zip": "zip archive",
}


def _verdict(bundle: Bundle, path: Path, report: Report, options: Options) -> Verdict:
    container = bundle.container
    return Verdict(
        name=container.name,
        path=str(path),
        kind="document" if container.is_document else _KINDS[container.media_type],
        report=report,
        files=len(container.files),
        size_bytes=sum(container.files.values()),
        facts=tuple(_facts(bundle)),
        is_quick=bundle.is_quick,
        terms=options.terms.citation,
    )


_TELLING = (
    bagit.Label.SOURCE_ORGANIZATION,
    bagit.Label.EXTERNAL_IDENTIFIER,
    bagit.Label.BAG_GROUP_IDENTIFIER,
    bagit.Label.BAGGING_DATE,
    bagit.Label.PROFILE_IDENTIFIER,
)


def _facts(bundle: Bundle) -> Iterator[tuple[str, str]]:
    bag = bundle.bag
    if bag is None:
        return
    major, minor = bag.declaration.version
    yield "BagIt version", f"{major}.{minor}"
    yield "Payload", f"{len(bag.payload):,} files, {sum(bag.payload.values()):,} bytes"
    if bag.manifests:
        yield "Digests", ", ".join(each.algorithm for each in bag.manifests)
    for label in _TELLING:
        yield from ((str(label), value) for value in bag.values(label) if value)


def _group(bag: Bag | None) -> str:
    values = bag.values(bagit.Label.BAG_GROUP_IDENTIFIER) if bag else ()
    return values[0] if values else ""
