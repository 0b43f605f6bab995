"""Rules between the documents and images of one item, in one bundle or in several."""

from __future__ import annotations

import functools
import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline import foliation
from pipeline.delivery import Role
from pipeline.findings import Level, Register, Remark
from pipeline.verify.accounts import Account, Difference, deviating, places_of, related
from pipeline.verify.evidence import Pages
from pipeline.verify.likeness import DEFAULT_DIFFERENCE, Gallery, Likeness
from pipeline.verify.page_lists import Row
from pipeline.verify.roles import Picture, frame_names, pair
from pipeline.verify.sources import COMMON_PRACTICE

_SHOWN = 3


@dataclass(frozen=True, kw_only=True)
class ItemFacts:
    """What is known of one item's pages and pictures, from all its bundles together."""

    place: str
    """The bundle, or the identifier that several share."""
    accounts: tuple[Pages, ...]
    pictures: tuple[Picture, ...]
    rows: tuple[Row, ...] = ()
    """Of page lists."""
    unread: tuple[tuple[str, str], ...] = ()
    """Page lists that could not be read, each with the reason."""
    missing: tuple[str, ...] = ()
    """Files of which it is told elsewhere that they are missing, or that no manifest lists them."""
    max_difference: float = DEFAULT_DIFFERENCE
    are_surrogates_required: bool = False
    is_several: bool = False
    """Several bundles are compared; what concerns one alone was judged before."""
    citation: str = ""
    """The delivery specification, if it asks for surrogates or says how like they must be."""

    def with_role(self, role: Role) -> list[Picture]:
        """The pictures of a role, those of target and flat frames only if they are asked for."""
        found = (each for each in self.pictures if each.role is role)
        if role is Role.TARGETS:
            return list(found)
        return [each for each in found if not self.proofs.intersection(each.names)]

    @functools.cached_property
    def proofs(self) -> frozenset[str]:
        """The names of frames that prove the image: by page lists, and by the folders of targets."""
        listed = (name for row in self.rows if row.is_proof for name in row.names)
        lying = (name for each in self.pictures if each.role is Role.TARGETS for name in each.names)
        shown = {name for row in self.rows if not row.is_proof for name in row.names}
        return frozenset((*listed, *lying)) - shown

    @functools.cached_property
    def groups(self) -> tuple[list[Account], ...]:
        """The accounts, those together that tell of the same pages."""
        return tuple(related(self.accounts, self.proofs))

    @functools.cached_property
    def deviating(self) -> tuple[tuple[Account, Account, list[Difference]], ...]:
        """Each account that differs from the others of its group, what it is held against, and in what."""
        return tuple(each for group in self.groups for each in deviating(group))

    @functools.cached_property
    def told(self) -> frozenset[str]:
        """The names of frames of which it is told elsewhere that something is missing or too many."""
        differing = (each.names for _, _, found in self.deviating for each in found)
        lost = (frozenset(frame_names(path)) for path in self.missing)
        return frozenset[str]().union(*differing, *lost)

    @functools.cached_property
    def pairs(self) -> tuple[dict[Picture, Picture], frozenset[Picture]]:
        """The master of each surrogate, and the pictures of which it cannot be told."""
        masters = [*self.with_role(Role.MASTERS), *self.with_role(Role.TARGETS)]
        return pair(masters, self.with_role(Role.ACCESS))

    @functools.cached_property
    def likenesses(self) -> dict[Picture, Likeness]:
        """Every master and surrogate that can be compared."""
        return {each: Likeness(each.signature) for each in self.pictures if each.signature}

    @functools.cached_property
    def gallery(self) -> Gallery:
        """All masters that can be compared."""
        found = self.likenesses
        return Gallery({each.path: found[each] for each in self.with_role(Role.MASTERS) if each in found})


ITEM = Register[ItemFacts]("between documents and images")


@ITEM.rule(
    "X001",
    Level.ERROR,
    "Two documents tell of other pages, or of another order",
    source=COMMON_PRACTICE,
    advice="One of the two was made before the other was corrected. Find out which is right and make the "
    "other again.",
)
def accounts_agree(facts: ItemFacts) -> Iterator[Remark]:
    """METS, manifest and page list name the same images under the same labels in the same order.

    A warning if only wordings of labels differ that name no place in a volume.
    """
    for account, standard, found in facts.deviating:
        shown = "; ".join(each.text for each in found[:_SHOWN])
        more = f"; and {len(found) - _SHOWN:,} more" if len(found) > _SHOWN else ""
        yield Remark(
            place=account.title,
            value=shown + more,
            limit=f"as in {standard.title}",
            level=Level.WARNING if all(each.is_wording for each in found) else None,
        )
    yield from _strangers(facts)


def _strangers(facts: ItemFacts) -> Iterator[Remark]:
    """A remark if there are two accounts and they have no image in common."""
    if [len(group) for group in facts.groups] == [1, 1]:
        (one,), (other,) = facts.groups
        if one.kind is not other.kind:
            value = f"{len(other.listed):,} pages, of which none has an image by the same name"
            limit = f"the {len(one.listed):,} pages of {one.title}"
            yield Remark(place=other.title, value=value, limit=limit, level=Level.WARNING)


@ITEM.rule(
    "X002",
    Level.WARNING,
    "A label stands out of order",
    source=COMMON_PRACTICE,
    advice="Put the page in its place, or correct its label. Leaves that are bound in another order than "
    "they are numbered are explained in the description.",
    requires={"X001"},
)
def labels_follow_the_foliation(facts: ItemFacts) -> Iterator[Remark]:
    """Labels stand in the order of their folio or page numbers, unless leaves are misbound."""
    for account in _firsts(facts):
        labels = [page.label for page in account.pages]
        found = [(labels[late], labels[early]) for late, early in foliation.out_of_order(labels)]
        if found:
            value = "; ".join(f"{late} stands after {early}" for late, early in found[:_SHOWN])
            more = f"; and {len(found) - _SHOWN:,} more" if len(found) > _SHOWN else ""
            limit = f"{found[0][0]} before {found[0][1]}"
            yield Remark(place=account.document, value=value + more, limit=limit)


@ITEM.rule(
    "X003",
    Level.ERROR,
    "A page is missing from the foliation",
    source=COMMON_PRACTICE,
    advice="If the side was photographed, deliver it. Whether it may be photographed again is the "
    "conservator's decision. A side that was left out on purpose is listed without an image.",
    requires={"X001"},
)
def the_foliation_is_complete(facts: ItemFacts) -> Iterator[Remark]:
    """Both sides of each leaf are there; whole leaves that the numbering skips are a warning."""
    for account in _firsts(facts):
        labels = [page.label for page in account.pages]
        covered = {place for label in labels for place in places_of(label)}
        for before, after in itertools.pairwise(_numbered(labels)):
            lacking = [
                label
                for label in foliation.missing_between(before, after)
                if not covered.issuperset(places_of(label))
            ]
            if lacking:
                others = {foliation.other_side(label) for label in lacking}
                is_whole = all(label in others for label in lacking)
                listed = lacking[0] if len(lacking) == 1 else f"{lacking[0]} to {lacking[-1]}"
                yield Remark(
                    place=account.document,
                    value=f"missing between {before} and {after}: {listed}",
                    limit="no gap",
                    level=Level.WARNING if is_whole else None,
                )


def _firsts(facts: ItemFacts) -> Iterator[Pages]:
    """Yield one account of each group: the others agree with it. None if several bundles are compared."""
    by_document = {each.document: each for each in facts.accounts}
    for group in () if facts.is_several else facts.groups:
        yield from (by_document[document] for document in group[0].documents)


def _numbered(labels: Iterable[str]) -> list[str]:
    return [label for label in labels if any(place.orderable for place in places_of(label))]


@ITEM.rule(
    "X004",
    Level.ERROR,
    "A page list and the images do not fit",
    source=COMMON_PRACTICE,
    advice="Correct the page list, or deliver the image. A page that was not photographed is listed without "
    "a file; an image that shows no page is listed as a target, or does not belong here.",
)
def page_lists_fit_the_images(facts: ItemFacts) -> Iterator[Remark]:
    """Every file of a page list is there, and every master is in a page list."""
    named = [row for row in facts.rows if row.file and not facts.is_several]
    there = {name for each in facts.pictures for name in each.names}
    listed = {name for row in named for name in row.names}
    if not named or not facts.pictures:
        return
    if not listed & there:
        value = f"none of its {len(named):,} files"
        yield Remark(
            place=named[0].document, value=value, limit="the images of the bundle", level=Level.WARNING
        )
        return
    for row in named:
        if not there.intersection(row.names) and not facts.told.intersection(row.names):
            yield Remark(place=f"{row.document}, row {row.line}", value=f"no {row.file}", limit="an image")
    for each in facts.with_role(Role.MASTERS):
        if not listed.intersection(each.names) and not facts.told.intersection(each.names):
            yield Remark(place=each.path, value="in no page list", limit=f"a row of {named[0].document}")


@ITEM.rule(
    "X005",
    Level.WARNING,
    "A page list cannot be read",
    source="docs/item-files.md, pages.csv",
    advice="Save it as CSV in UTF-8, with commas, semicolons or tabs; the first line names the columns, file "
    "and label at least. Until then nothing is compared with it.",
)
def page_lists_can_be_read(facts: ItemFacts) -> Iterator[Remark]:
    """What is named pages.csv is a table with the columns file and label, and has rows."""
    for path, fault in facts.unread:
        yield Remark(place=path, value=fault, limit="a table in UTF-8 with the columns file and label")


# ------------------------------------------------------------------------------- masters and surrogates


@ITEM.rule(
    "X010",
    Level.ERROR,
    "A master has no surrogate, or a surrogate no master",
    source=COMMON_PRACTICE,
    advice="Deliver the one that is missing, named as the other but for the ending.",
)
def masters_and_surrogates_pair(facts: ItemFacts) -> Iterator[Remark]:
    """Where both are delivered, each master has one of the same name, and the other way round.

    Target frames need none. What documents already tell of is not told again.
    """
    masters, surrogates = _to_pair(facts)
    if not masters or not surrogates:
        if facts.are_surrogates_required and (masters or surrogates):
            yield _nothing_to_pair(
                facts, *(len({each.stem for each in found}) for found in (masters, surrogates))
            )
        return
    found, unclear = facts.pairs
    paired = set(found.values())
    for master in masters:
        if master not in unclear and master not in paired:
            yield from _unpaired(facts, master, "no surrogate")
    for surrogate in surrogates:
        if surrogate not in unclear and surrogate not in found:
            yield from _unpaired(facts, surrogate, "no master")


def _nothing_to_pair(facts: ItemFacts, masters: int, surrogates: int) -> Remark:
    value = f"no surrogate for any of {masters:,} masters"
    if surrogates:
        value = f"no master for any of {surrogates:,} surrogates"
    return Remark(place=facts.place, value=value, limit="one for each", source=facts.citation)


def _unpaired(facts: ItemFacts, picture: Picture, value: str) -> Iterator[Remark]:
    if not facts.told.intersection(picture.names):
        yield Remark(place=picture.path, value=value, limit="one of the same name", source=facts.citation)


def _to_pair(facts: ItemFacts) -> tuple[list[Picture], list[Picture]]:
    """Masters and surrogates; of several bundles those that have not both, for that was judged before."""
    masters, surrogates = facts.with_role(Role.MASTERS), facts.with_role(Role.ACCESS)
    if not facts.is_several:
        return masters, surrogates
    both = {each.bundle for each in masters} & {each.bundle for each in surrogates}
    return (
        [each for each in masters if each.bundle not in both],
        [each for each in surrogates if each.bundle not in both],
    )


PICTURES = Register[ItemFacts]("pictures of masters and surrogates")


@PICTURES.rule(
    "X011",
    Level.ERROR,
    "A surrogate shows another picture than its master",
    source=COMMON_PRACTICE,
    advice="Look at both side by side: files were swapped, turned or cropped after the masters were made. "
    "Make the surrogate again from its master.",
)
def surrogates_show_their_masters(facts: ItemFacts) -> Iterator[Remark]:
    """Both, as small grey pictures with the light evened out, are the same but for tone and sharpness.

    Files that were swapped among each other are told of together.
    """
    limit = f"a difference of {facts.max_difference:g} at most"
    swapped: dict[Picture, str] = {}
    others: list[tuple[Picture, Picture, float]] = []
    for surrogate, master in _compared(facts):
        difference = facts.likenesses[surrogate].difference(facts.likenesses[master])
        if difference <= _SURE * facts.max_difference:
            continue
        path, least = facts.gallery.nearest(facts.likenesses[surrogate])
        if path != master.path and least <= min(_SURE * facts.max_difference, difference / 4):
            swapped[surrogate] = path
        elif difference > facts.max_difference:
            others.append((surrogate, master, difference))
    yield from _swapped(swapped, limit)
    for surrogate, master, difference in others:
        change = facts.likenesses[surrogate].change_from(facts.likenesses[master], facts.max_difference)
        how = f"{change}, " if change else ""
        value = f"{how}a difference of {difference:.2f} from {master.path}"
        yield Remark(place=surrogate.path, value=value, limit=limit, source=facts.citation)


_SURE = 0.3
"""Of the limit: below this no other master is looked for."""


def _compared(facts: ItemFacts) -> Iterator[tuple[Picture, Picture]]:
    """Yield each surrogate with its master; of several bundles only such as were not compared before."""
    for surrogate, master in facts.pairs[0].items():
        is_known = facts.is_several and surrogate.bundle == master.bundle
        if not is_known and surrogate in facts.likenesses and master in facts.likenesses:
            yield surrogate, master


def _swapped(swapped: Mapping[Picture, str], limit: str) -> Iterator[Remark]:
    """Tell of surrogates that show other masters: one remark for each kind of surrogate."""
    by_folder: dict[str, list[tuple[Picture, str]]] = defaultdict(list)
    for surrogate, path in swapped.items():
        by_folder[_folder(surrogate)].append((surrogate, path))
    for (first, path), *others in by_folder.values():
        shown = [f"{each.path} that of {master}" for each, master in others[: _SHOWN - 1]]
        more = [f"{len(others) - len(shown):,} more show others"] if len(others) > len(shown) else []
        yield Remark(
            place=first.path, value="; ".join((f"shows the picture of {path}", *shown, *more)), limit=limit
        )


def _folder(picture: Picture) -> str:
    """The kind of surrogate that a picture is: its folder, or the folder of its image services."""
    folder, _, rest = picture.path.lower().partition(f"/{picture.stem}/")
    return folder if rest else picture.path.rpartition("/")[0]


# ----------------------------------------------------------------------------------- several bundles


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What one bundle tells of its item, kept to be compared with other bundles of the same item."""

    bundle: str
    group: str
    """``Bag-Group-Identifier``; empty if there is none."""
    accounts: tuple[Pages, ...]
    pictures: tuple[Picture, ...]
    rows: tuple[Row, ...] = ()
    """Of page lists."""
    missing: tuple[str, ...] = ()
    """Files of which it was told that they are missing, or that no manifest of the bag lists them."""
    payload: bytes = b""
    """The fingerprint of its files (`pipeline.verify.doubles`); empty if no manifest lists any."""

    def first_accounts(self) -> tuple[Pages, ...]:
        """The accounts of the kind that comes first, named with the bundle; others agree, or it was told."""
        return tuple(
            replace(each, document=f"{self.bundle}: {each.document}")
            for each in self.accounts
            if each.kind is self.accounts[0].kind
        )

    @property
    def awaits_others(self) -> bool:
        """True if it has masters or surrogates, not both, and others of its group may have the other half."""
        roles = {each.role for each in self.pictures} & {Role.MASTERS, Role.ACCESS}
        return bool(self.group) and len(roles) == 1


def groups(told: Sequence[Told]) -> Iterator[tuple[str, list[Told]]]:
    """Yield what the bundles of one item tell, by the identifier that they share; of some there is one."""
    by_group: dict[str, list[Told]] = defaultdict(list)
    for each in told:
        if each.group:
            by_group[each.group].append(each)
    yield from by_group.items()
