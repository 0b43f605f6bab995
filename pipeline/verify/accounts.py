"""Accounts of the pages of one item, by METS, manifests and page lists: in what they differ.

Two accounts are compared page by page; a page is known by the names of its images. What one leaves out on
purpose is no difference: pages without an image, further lights of a page, target frames.
"""

from __future__ import annotations

import bisect
import functools
import itertools
from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from pipeline import foliation
from pipeline.verify.evidence import Page, Pages, PagesKind
from pipeline.verify.roles import frame_name


class Difference(NamedTuple):
    """One thing in which two accounts differ."""

    text: str
    names: frozenset[str]
    """Of the frames that it is about."""
    is_wording: bool = False
    """Two labels that name no place that could be compared: they may mean the same."""


class _Listed(NamedTuple):
    """One page with an image."""

    page: Page
    names: frozenset[str]
    part: int
    """Which of an account's documents it is in."""

    @property
    def title(self) -> str:
        """Its label and the name of its first image."""
        name = self.page.files[0]
        return f"{self.page.label} ({name})" if self.page.label else name


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What one document tells, or several of one kind that tell of different pages, such as volumes."""

    documents: tuple[str, ...]
    kind: PagesKind
    listed: tuple[_Listed, ...]

    @property
    def title(self) -> str:
        """The documents' paths."""
        first, *others = self.documents
        return f"{first} and {len(others):,} more" if len(others) > 1 else " and ".join(self.documents)

    @property
    def names(self) -> frozenset[str]:
        """The names of all its frames."""
        return frozenset().union(*(each.names for each in self.listed))


def related(accounts: Sequence[Pages], left_out: frozenset[str]) -> Iterator[list[Account]]:
    """Yield the accounts that tell of the same pages together; frames named in `left_out` are passed over."""
    groups: list[list[Account]] = []
    for each in accounts:
        account = _account(each, left_out)
        if account.listed:
            near = [group for group in groups if any(account.names & other.names for other in group)]
            groups = [group for group in groups if group not in near]
            groups.append([other for group in near for other in group] + [account])
    order = {each.document: number for number, each in enumerate(accounts)}
    for group in groups:
        yield list(_joined(sorted(group, key=lambda each: order[each.documents[0]])))


def _account(pages: Pages, left_out: frozenset[str]) -> Account:
    found = []
    for page in pages.pages:
        names = frozenset(map(frame_name, page.files)) - left_out
        if names:
            found.append(_Listed(page, names, 0))
    return Account(documents=(pages.document,), kind=pages.kind, listed=tuple(found))


def _joined(group: Sequence[Account]) -> Iterator[Account]:
    """Yield accounts, those of one kind that have no page in common as one."""
    waiting = list(group)
    while waiting:
        first, *others = waiting
        parts, names = [first], first.names
        waiting = []
        for each in others:
            if each.kind is first.kind and not each.names & names:
                parts.append(each)
                names |= each.names
            else:
                waiting.append(each)
        yield Account(
            documents=tuple(path for part in parts for path in part.documents),
            kind=first.kind,
            listed=tuple(
                each._replace(part=number) for number, part in enumerate(parts) for each in part.listed
            ),
        )


# ------------------------------------------------------------------------------------------- comparing


def deviating(group: Sequence[Account]) -> Iterator[tuple[Account, Account, list[Difference]]]:
    """Yield the accounts that differ, each with the one that it is held against: most agree with that."""
    if len(group) < 2:
        return
    found = {
        (one, other): differences(group[one], group[other])
        for one in range(len(group))
        for other in range(one + 1, len(group))
    }
    wrong = [
        sum(bool(each) for pair, each in found.items() if number in pair) for number in range(len(group))
    ]
    standard = wrong.index(min(wrong))
    for number, account in enumerate(group):
        if number == standard or not found[min(number, standard), max(number, standard)]:
            continue
        yield account, group[standard], differences(group[standard], account)


def differences(one: Account, other: Account) -> list[Difference]:
    """Return in what `other` differs from `one`."""
    matched = _matched(one.listed, other.listed)
    used = set(matched.values())
    missing = [each for number, each in enumerate(one.listed) if number not in matched]
    extra = [each for number, each in enumerate(other.listed) if number not in used]
    pairs = [(one.listed[first], other.listed[second]) for first, second in sorted(matched.items())]
    return [
        *_unmatched(missing, extra, one, other),
        *_moved(matched, one.listed, other.listed),
        *_labelled_otherwise(pairs),
    ]


def _matched(one: Sequence[_Listed], other: Sequence[_Listed]) -> dict[int, int]:
    """Return which page of the other account is which of the first: the one with most names in common."""
    by_name: dict[str, deque[int]] = defaultdict(deque)
    for number, each in enumerate(other):
        for name in each.names:
            by_name[name].append(number)
    found: dict[int, int] = {}
    used: set[int] = set()
    for number, each in enumerate(one):
        candidates = {place for name in each.names for place in _unused(by_name.get(name), used)}
        if candidates:
            best = min(candidates, key=lambda place: (*_unlikeness(each, other[place]), place))
            found[number] = best
            used.add(best)
    return found


_MOST_CANDIDATES = 4
"""Pages with an image of one name that are looked at: a stranger may list one image a million times."""


def _unused(places: deque[int] | None, used: set[int]) -> list[int]:
    """Return the first places that are free; those at the front that are not are dropped for good."""
    while places and places[0] in used:
        places.popleft()
    free = (place for place in itertools.islice(places or (), 4 * _MOST_CANDIDATES) if place not in used)
    return list(itertools.islice(free, _MOST_CANDIDATES))


def _unlikeness(one: _Listed, other: _Listed) -> tuple[int, bool]:
    return -len(one.names & other.names), not _same_label(one.page, other.page)


def _unmatched(
    missing: Sequence[_Listed], extra: Sequence[_Listed], one: Account, other: Account
) -> Iterator[Difference]:
    """Yield pages that one account alone has. A page that is half of the other's opening is none."""
    ones, others = one.names, other.names
    strange = [each for each in extra if not each.names & ones]
    renamed = _renamed(missing, strange)
    for at, was in renamed.items():
        text = f"{was.page.label} shows {strange[at].page.files[0]}, not {was.page.files[0]}"
        yield Difference(text, strange[at].names | was.names)
    known = {id(each) for each in (*renamed.values(), *(strange[at] for at in renamed))}
    repeated, repeated_there = (Counter(each.names for each in account.listed) for account in (one, other))
    for each in missing:
        if id(each) in known:
            continue
        if not each.names & others:
            yield Difference(f"{each.title} is not in it", each.names)
        elif repeated[each.names] > 1:
            yield Difference(f"{each.title} is in it once, not twice", each.names)
    for each in extra:
        if id(each) in known:
            continue
        if not each.names & ones:
            yield Difference(f"{each.title} is in it alone", each.names)
        elif repeated_there[each.names] > 1:
            yield Difference(f"{each.title} is in it twice", each.names)


def _renamed(missing: Sequence[_Listed], strange: Sequence[_Listed]) -> dict[int, _Listed]:
    """Return, by their numbers, which of the strange pages have the label of one that is missing."""
    by_label: dict[object, deque[_Listed]] = defaultdict(deque)
    for each in missing:
        for label in (*_wordings(each.page), *_places(each.page)):
            by_label[label].append(each)
    found: dict[int, _Listed] = {}
    used: set[int] = set()
    for at, each in enumerate(strange):
        for label in (*sorted(_wordings(each.page)), *sorted(_places(each.page), key=str)):
            waiting = by_label.get(label, deque())
            while waiting and id(waiting[0]) in used:
                waiting.popleft()
            if waiting and at not in found:
                found[at] = waiting[0]
                used.add(id(waiting[0]))
    return found


def _moved(matched: dict[int, int], one: Sequence[_Listed], other: Sequence[_Listed]) -> Iterator[Difference]:
    """Yield the fewest pages that have to be moved to give the order of the first account."""
    by_parts: dict[tuple[int, int], list[int]] = defaultdict(list)
    for first, second in sorted(matched.items()):
        by_parts[one[first].part, other[second].part].append(second)
    for sequence in by_parts.values():
        in_order = _longest_rising(sequence)
        standing = sorted(sequence)
        after = {later: earlier for earlier, later in itertools.pairwise(standing)}
        for place in sequence:
            if place not in in_order:
                page = other[place]
                where = f"after {other[after[place]].title}" if place in after else "first"
                yield Difference(f"{page.title} stands {where}", page.names)


def _longest_rising(sequence: Sequence[int]) -> set[int]:
    """Return the members of a longest rising subsequence (patience sorting)."""
    tops: list[int] = []
    before: dict[int, int | None] = {}
    for each in sequence:
        at = bisect.bisect_left(tops, each)
        before[each] = tops[at - 1] if at else None
        tops[at : at + 1] = [each]
    found: set[int] = set()
    last = tops[-1] if tops else None
    while last is not None:
        found.add(last)
        last = before[last]
    return found


def _labelled_otherwise(pairs: Iterable[tuple[_Listed, _Listed]]) -> Iterator[Difference]:
    for was, each in pairs:
        if not _same_label(was.page, each.page):
            text = f'{each.page.files[0]} is "{each.page.label}", not "{was.page.label}"'
            has_places = bool(_places(was.page)) and bool(_places(each.page))
            yield Difference(text, each.names, is_wording=not has_places)


def _same_label(one: Page, other: Page) -> bool:
    """True if two pages share a wording of their label, or name one place; without a label any fits."""
    if one.label == other.label:
        return True
    first, second = _wordings(one), _wordings(other)
    return not first or not second or bool(first & second) or bool(_places(one) & _places(other))


def _wordings(page: Page) -> frozenset[str]:
    texts = (page.label, *page.translations)
    return frozenset(text for each in texts if (text := " ".join(each.split()).casefold()))


def _places(page: Page) -> frozenset[foliation.Place]:
    return frozenset(place for each in (page.label, *page.translations) for place in places_of(each))


@functools.lru_cache(maxsize=1 << 17)
def places_of(label: str) -> tuple[foliation.Place, ...]:
    """Return the places that a label names: two of an opening, one, or none."""
    if opening := foliation.parse_opening(label):
        return opening
    place = foliation.parse(label)
    return (place,) if place else ()
