"""Rules over what a bundle comes in: archives, links, devices, names."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline import files
from pipeline.containers import Container, FaultKind, Kind, irregular, paths_in
from pipeline.findings import Level, Register, Remark
from pipeline.verify import sources


@dataclass(frozen=True, slots=True, kw_only=True)
class ContainerFacts:
    """A container, and the name that it was given by."""

    container: Container
    given: str
    """The name of the folder, archive or document as the person gave it."""

    def faults(self, kind: FaultKind) -> Iterator[tuple[str, str]]:
        """Place and detail of each fault of a kind."""
        return ((each.place, each.detail) for each in self.container.faults if each.kind is kind)

    def folded(self, kind: FaultKind) -> Iterator[tuple[str, str]]:
        """Place and detail of each fault of a kind; of many that are alike the first, and their number."""
        alike: dict[str, list[str]] = defaultdict(list)
        for place, detail in self.faults(kind):
            alike[detail].append(place)
        for detail, places in alike.items():
            if len(places) > _SINGLE:
                yield places[0], f"{detail}; so in {len(places):,} entries"
            else:
                yield from ((place, detail) for place in places)

    @property
    def is_archive(self) -> bool:
        """True for a .tar, .tar.gz or .zip file."""
        return bool(self.container.media_type)


_SINGLE = 3
"""Faults of one kind that are told one by one; more have one cause, the program that made the archive."""

CONTAINER = Register[ContainerFacts]("archives and folders")

UNREADABLE = frozenset({"A001", "A002", "A003", "A005"})
"""Codes that may be the reason why there is no bag to be seen."""


def breaks_off(container: Container) -> bool:
    """True if an archive, or a folder beyond the limits, was not seen to its end: nothing is known to lack.

    A folder inside of a bag that cannot be looked into is told with the bag.
    """
    kinds = {each.kind for each in container.faults}
    return FaultKind.TOO_MUCH in kinds or (bool(container.media_type) and FaultKind.UNREADABLE in kinds)


@CONTAINER.rule(
    "A001",
    Level.ERROR,
    "The archive or folder cannot be read to its end",
    source=sources.COMMON_PRACTICE,
    advice="Copy it again from its source, and compare the sizes. If the copy is as long as the original, "
    "the archive was damaged before: make it again.",
)
def it_can_be_read(facts: ContainerFacts) -> Iterator[Remark]:
    """An archive ends where its records say, and every folder can be listed."""
    for place, detail in facts.faults(FaultKind.UNREADABLE):
        yield Remark(place=place, value=detail or "it cannot be read", limit="readable to its end")


@CONTAINER.rule(
    "A002",
    Level.ERROR,
    "More than is taken from a stranger",
    source=sources.COMMON_PRACTICE,
    advice="An archive that inflates out of all proportion, or has millions of entries, is not opened. If it "
    "is honest, raise the limits under [limits] in the delivery specification.",
)
def it_keeps_the_limits(facts: ContainerFacts) -> Iterator[Remark]:
    """Number of files, their bytes, and bytes that come out of each byte of an archive keep the limits."""
    for place, detail in facts.faults(FaultKind.TOO_MUCH):
        yield Remark(place=place, value=detail, limit="within the limits for one bundle")


@CONTAINER.rule(
    "A003",
    Level.ERROR,
    "A path in the archive would leave its folder",
    source=sources.RFC_8493 + "5.2",
    advice="Make the archive again, from the folder above the bag, with relative paths. It was not read.",
)
def paths_stay_inside(facts: ContainerFacts) -> Iterator[Remark]:
    """No entry is absolute, upward, or meant for a drive or a home folder."""
    for place, detail in facts.folded(FaultKind.UNSAFE_PATH):
        yield Remark(place=place, value=f"a path that {detail}", limit="a path below the bag's folder")


@CONTAINER.rule(
    "A004",
    Level.ERROR,
    "Two entries of the archive have one name",
    source=sources.RFC_8493 + "5.2",
    advice="Only one of the two can be unpacked. Find out which is right, and make the archive again.",
)
def names_are_single(facts: ContainerFacts) -> Iterator[Remark]:
    """No two entries have the same path, also where case and Unicode form do not count."""
    for place, detail in facts.faults(FaultKind.DUPLICATE):
        yield Remark(place=place, value=detail, limit="each path once")


@CONTAINER.rule(
    "A005",
    Level.ERROR,
    "An entry of the archive is encrypted",
    source=sources.COMMON_PRACTICE,
    advice="Make the archive again without a password; what must be kept secret on its way travels on an "
    "encrypted disk or line.",
)
def nothing_is_encrypted(facts: ContainerFacts) -> Iterator[Remark]:
    """Archives for keeping need no password in fifty years."""
    for place, detail in facts.folded(FaultKind.ENCRYPTED):
        yield Remark(place=place, value=detail, limit="readable without a password")


@CONTAINER.rule(
    "A006",
    Level.WARNING,
    "The archive does not hold one folder alone",
    source=sources.BAGIT_DRAFT + "serialization",
    advice="Make the archive from the folder above the bag, of the bag's folder alone: unpacked anywhere, "
    "it then gives one folder that is the bag.",
)
def one_folder_holds_all(facts: ContainerFacts) -> Iterator[Remark]:
    """The one entry at the top of an archive is the bag's folder; several bags are an error."""
    for place, detail in facts.faults(FaultKind.TOP_LEVEL):
        yield Remark(place=place, value=detail, limit="one folder, the bag")
    for place, detail in facts.faults(FaultKind.SEVERAL_BAGS):
        value = f"{detail}; only the first was judged"
        yield Remark(place=place, value=value, limit="an archive for each bag", level=Level.ERROR)


@CONTAINER.rule(
    "A007",
    Level.WARNING,
    "The archive and the folder in it have different names",
    source=sources.BAGIT_DRAFT + "serialization",
    advice="Name the archive as the bag's folder, with the archive's ending.",
    requires={"A006"},
)
def the_folder_is_named_as_the_archive(facts: ContainerFacts) -> Iterator[Remark]:
    """Whoever unpacks ``x.tar`` expects a folder ``x``."""
    for place, detail in facts.faults(FaultKind.NAME):
        yield Remark(place=place, value=detail, limit="the archive's name without its ending")


@CONTAINER.rule(
    "A008",
    Level.ERROR,
    "A link or device in place of a file",
    source=sources.RFC_8493 + "5.2",
    advice="Put a copy of the file itself there, and make tar archives without the option for sparse files. "
    "Links are not followed, devices and pipes are not opened.",
)
def there_are_only_files(facts: ContainerFacts) -> Iterator[Remark]:
    """A bundle holds regular files and folders."""
    for entry in irregular(facts.container):
        value = f"a {entry.kind} to {entry.target}" if entry.target else f"a {entry.kind}"
        if entry.kind is Kind.SPECIAL and entry.target:
            value = entry.target
        yield Remark(place=entry.path, value=value, limit="a regular file")


@CONTAINER.rule(
    "A009",
    Level.WARNING,
    "A name that not every system can hold, or that misleads",
    source=sources.RFC_8493 + "6.1",
    advice="Rename the file, in the manifests and documents too, with letters, digits, hyphen, underscore "
    "and one full stop.",
)
def names_are_sound(facts: ContainerFacts) -> Iterator[Remark]:
    """No control characters, marks that turn the direction of writing, reserved characters, device names."""
    seen: set[str] = set()
    for path in paths_in(facts.container):
        name = path.rpartition("/")[2]
        if name in seen:
            continue
        seen.add(name)
        if _PLAIN.fullmatch(name):
            continue
        if faults := (*files.name_faults(name), *_misleading(name)):
            yield Remark(place=path, value=", ".join(faults), limit="a name that is read alike everywhere")


_PLAIN = re.compile(
    r"(?!(?:con|prn|aux|nul|com[1-9]|lpt[1-9])(?:\.|$))[a-z0-9_-][a-z0-9 ,._-]{0,200}(?<![. ])", re.IGNORECASE
)
"""Names that need no closer look: there may be a hundred thousand."""


def _misleading(name: str) -> Iterator[str]:
    hidden = sorted({f"U+{ord(char):04X}" for char in name if unicodedata.category(char) == "Cf"})
    if hidden:
        yield f"characters that cannot be seen or turn the direction of writing ({', '.join(hidden)})"
