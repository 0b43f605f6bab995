"""Rules between the documents and images of one item, in one bundle or in several."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from pipeline import foliation
from pipeline.delivery import Role
from pipeline.findings import Level, Register, Remark
from pipeline.verify.evidence import Pages
from pipeline.verify.roles import Picture
from pipeline.verify.sources import COMMON_PRACTICE

DEFAULT_DIFFERENCE = 0.01
"""1 − correlation of two small grey pictures. Measured on the demo: surrogates and their masters 0.0006 at
most, with another page of the same book 0.022 at least."""
_SHOWN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemFacts:
    """What is known of one item's pages and pictures, from all its bundles together."""

    place: str
    """The bundle, or the identifier that several share."""
    accounts: tuple[Pages, ...]
    pictures: tuple[Picture, ...]
    max_difference: float = DEFAULT_DIFFERENCE
    are_surrogates_required: bool = False
    is_several: bool = False
    """Several bundles are compared; what concerns one alone was judged before."""

    def stems(self, role: Role) -> dict[str, Picture]:
        """The first picture of each frame that has a role."""
        found: dict[str, Picture] = {}
        for each in self.pictures:
            if each.role is role:
                found.setdefault(each.stem, each)
        return found


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
    """METS, manifest and page list name the same images under the same labels in the same order."""
    for one, other in itertools.combinations(facts.accounts, 2):
        if differences := list(_differences(one, other)):
            shown = "; ".join(differences[:_SHOWN])
            more = f"; and {len(differences) - _SHOWN} more" if len(differences) > _SHOWN else ""
            yield Remark(place=other.document, value=shown + more, limit=f"as in {one.document}")


def _differences(one: Pages, other: Pages) -> Iterator[str]:
    first, second = _labels_by_file(one), _labels_by_file(other)
    yield from (f"{stem} ({first[stem]}) is not in it" for stem in first if stem not in second)
    yield from (f"{stem} ({second[stem]}) is in it alone" for stem in second if stem not in first)
    yield from (
        f'{stem} is "{second[stem]}", not "{first[stem]}"'
        for stem in first
        if stem in second and _plain(first[stem]) != _plain(second[stem])
    )
    ranks = {stem: rank for rank, stem in enumerate(each for each in first if each in second)}
    shared = [stem for stem in second if stem in first]
    for before, after in itertools.pairwise(shared):
        if ranks[after] < ranks[before]:
            yield f"{after} stands after {before}"


def _labels_by_file(account: Pages) -> dict[str, str]:
    return {stem: page.label for page in account.pages for stem in page.files}


def _plain(label: str) -> str:
    return " ".join(label.split()).casefold()


@ITEM.rule(
    "X002",
    Level.ERROR,
    "A label stands out of order",
    source=COMMON_PRACTICE,
    advice="Put the page in its place, or correct its label. Leaves that are bound in another order than "
    "they are numbered are explained in the description.",
)
def labels_follow_the_foliation(facts: ItemFacts) -> Iterator[Remark]:
    """Labels stand in the order of their folio or page numbers. A warning: leaves may be misbound."""
    for account in facts.accounts[: 0 if facts.is_several else 1]:
        labels = [page.label for page in account.pages]
        for late, early in foliation.out_of_order(labels):
            value = f"{labels[late]} stands after {labels[early]}"
            limit = f"{labels[late]} before {labels[early]}"
            yield Remark(place=account.document, value=value, limit=limit, level=Level.WARNING)


@ITEM.rule(
    "X003",
    Level.ERROR,
    "A page is missing from the foliation",
    source=COMMON_PRACTICE,
    advice="If the side was photographed, deliver it. Whether it may be photographed again is the "
    "conservator's decision. A side that was left out on purpose is listed without an image.",
    requires={"X002"},
)
def the_foliation_is_complete(facts: ItemFacts) -> Iterator[Remark]:
    """Both sides of each leaf are there; whole leaves that the numbering skips are a warning."""
    for account in facts.accounts[: 0 if facts.is_several else 1]:
        labels = [page.label for page in account.pages]
        covered = {place for label in labels for place in _places(label)}
        for before, after in itertools.pairwise(_numbered(labels)):
            lacking = [
                label
                for label in foliation.missing_between(before, after)
                if not covered.issuperset(_places(label))
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


def _places(label: str) -> Iterator[foliation.Place]:
    opening = foliation.parse_opening(label)
    place = foliation.parse(label)
    yield from opening or ((place,) if place else ())


def _numbered(labels: Iterable[str]) -> list[str]:
    return [label for label in labels if any(place.orderable for place in _places(label))]


# ----------------------------------------------------------------------------------------- pictures


@ITEM.rule(
    "X010",
    Level.ERROR,
    "A master has no surrogate, or a surrogate no master",
    source=COMMON_PRACTICE,
    advice="Deliver the one that is missing, named as the other but for the ending.",
)
def masters_and_surrogates_pair(facts: ItemFacts) -> Iterator[Remark]:
    """Where both are delivered, each master has one of the same name, and the other way round."""
    masters, surrogates = facts.stems(Role.MASTERS), facts.stems(Role.ACCESS)
    targets = facts.stems(Role.TARGETS)
    if not masters or not (surrogates or facts.are_surrogates_required):
        return
    for stem, master in masters.items():
        if stem not in surrogates:
            yield Remark(place=master.path, value="no surrogate", limit="one of the same name")
    for stem, surrogate in surrogates.items():
        if stem not in masters and stem not in targets:
            yield Remark(place=surrogate.path, value="no master", limit="one of the same name")


@ITEM.rule(
    "X011",
    Level.ERROR,
    "A surrogate shows another picture than its master",
    source=COMMON_PRACTICE,
    advice="Look at both side by side: files were swapped, turned or cropped after the masters were made. "
    "Make the surrogate again from its master.",
)
def surrogates_show_their_masters(facts: ItemFacts) -> Iterator[Remark]:
    """Both, as small grey pictures, are the same: 1 minus their correlation is small."""
    masters = facts.stems(Role.MASTERS)
    limit = f"a difference of {facts.max_difference:g} at most"
    for picture in facts.pictures:
        master = masters.get(picture.stem)
        if picture.role is not Role.ACCESS or master is None:
            continue
        if facts.is_several and picture.bundle == master.bundle:
            continue
        if master.signature and picture.signature:
            difference = picture_difference(master.signature, picture.signature)
            if difference > facts.max_difference:
                value = f"a difference of {difference:.2f} from {master.path}"
                yield Remark(place=picture.path, value=value, limit=limit)


_FLAT = 2.0
"""Standard deviation of a picture, in grey values of 255, below which it shows nothing to compare."""


def picture_difference(one: bytes, other: bytes) -> float:
    """Return 1 − the correlation of two pictures of grey values, 0 for the same; in [0, 2].

    Two that show nothing, such as blank sheets, are the same unless their mean differs by a tenth.
    """
    import numpy as np

    first, second = (np.frombuffer(each, dtype=np.uint8).astype(float) for each in (one, other))
    means, deviations = (first.mean(), second.mean()), (first.std(), second.std())
    if max(deviations) < _FLAT:
        return 0.0 if abs(means[0] - means[1]) < 25.5 else 1.0
    if min(deviations) == 0:
        return 1.0
    covariance = ((first - means[0]) * (second - means[1])).mean()
    return float(1 - covariance / (deviations[0] * deviations[1]))


# ----------------------------------------------------------------------------------- several bundles


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What one bundle tells of its item, kept to be compared with other bundles of the same item."""

    bundle: str
    group: str
    """``Bag-Group-Identifier``; empty if there is none."""
    accounts: tuple[Pages, ...]
    pictures: tuple[Picture, ...]

    def first_account(self) -> tuple[Pages, ...]:
        """The first account of the pages, named with the bundle; its others agree with it or were told of."""
        return tuple(replace(each, document=f"{self.bundle}: {each.document}") for each in self.accounts[:1])


def groups(told: Sequence[Told]) -> Iterator[tuple[str, list[Told]]]:
    """Yield what several bundles of one item tell, by the identifier that they share."""
    by_group: dict[str, list[Told]] = defaultdict(list)
    for each in told:
        if each.group:
            by_group[each.group].append(each)
    yield from ((group, members) for group, members in by_group.items() if len(members) > 1)
