"""Which file of the bundle an address means, once it is known under which base the bundle will be served.

Nobody says where a bundle will be published but its own addresses: the end of a manifest's or a service's id
and the path of its file are the same, and what is left of both belongs together.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from urllib.parse import unquote, urlsplit, urlunsplit


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """An address and the folder of the bundle that will be served under it. Both end with a slash."""

    address: str
    folder: str
    """Empty for the top of the bundle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Addresses:
    """How addresses lead into a bundle."""

    bases: tuple[Base, ...]
    """The longest first."""
    files: Collection[str]
    folders: Collection[str]

    def path_of(self, address: str) -> str:
        """Return the path that an address means: one that exists if there is, else the likeliest.

        Empty if it leads to none of the bases.
        """
        plain = _plain(address)
        found = [
            base.folder + unquote(plain[len(base.address) :])
            for base in self.bases
            if plain.startswith(base.address)
        ]
        return next((path for path in found if path in self.files), found[0] if found else "")

    def is_here(self, address: str) -> bool:
        """True if an address leads to a folder that is in the bundle, the last folders perhaps missing.

        What lies below the same host but in no folder of the bundle is served by somebody else.
        """
        plain = _plain(address)
        for base in self.bases:
            if plain.startswith(base.address):
                top, slash, _ = unquote(plain[len(base.address) :]).partition("/")
                if not slash or base.folder + top in self.folders:
                    return True
        return False


def find(pairs: Iterable[tuple[str, str]], files: Collection[str]) -> Addresses:
    """Find the bases from pairs of an address and the path of its file, or of its folder."""
    votes: Counter[Base] = Counter()
    for address, path in pairs:
        if base := _base(address, path):
            votes[base] += 1
    best: dict[str, Base] = {}
    for base, _ in sorted(votes.items(), key=lambda each: (-each[1], each[0].address, each[0].folder)):
        best.setdefault(base.address, base)
    bases = sorted(best.values(), key=lambda base: (-len(base.address), base.address))
    return Addresses(bases=tuple(bases), files=files, folders=frozenset(_folders(files)) if bases else ())


def by_name(addresses: Iterable[str], files: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Yield pairs of an address and each file that has its last part as its name."""
    wanted: dict[str, list[str]] = {}
    for address in addresses:
        wanted.setdefault(unquote(_plain(address).rpartition("/")[2]), []).append(address)
    for path in files:
        for address in wanted.get(path.rpartition("/")[2], ()):
            yield address, path


def _base(address: str, path: str) -> Base | None:
    """Cut off what an address and a path have in common at their ends."""
    try:
        scheme, host, rest, _, _ = urlsplit(address)
    except ValueError:
        return None
    if scheme not in ("http", "https") or not host:
        return None
    above, below = [unquote(part) for part in rest.split("/")[1:]], path.split("/")
    shared = 0
    while shared < min(len(above), len(below)) and above[-1 - shared] == below[-1 - shared]:
        shared += 1
    if not shared or not above[-1]:
        return None
    before = rest.split("/")[: len(above) + 1 - shared]
    folder = "".join(f"{part}/" for part in below[: len(below) - shared])
    return Base(address=urlunsplit((scheme, host, "/".join(before) + "/", "", "")), folder=folder)


def _folders(files: Iterable[str]) -> Iterator[str]:
    seen: set[str] = set()
    for path in files:
        end = path.rfind("/")
        while end > 0 and path[:end] not in seen:
            seen.add(path[:end])
            yield path[:end]
            end = path.rfind("/", 0, end)


def _plain(address: str) -> str:
    """Return an address without query and fragment."""
    return re.split(r"[?#]", address, maxsplit=1)[0]


_REGION = re.compile(r"full|square|(?:pct:)?[\d.]+,[\d.]+,[\d.]+,[\d.]+")
_ROTATION = re.compile(r"!?[\d.]+")
_QUALITY = re.compile(r"(?:default|native|colou?r|gr[ae]y|bitonal)\.[A-Za-z0-9]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageRequest:
    """An address of the Image API, taken apart."""

    service: str
    region: str
    size: str


def image_request(address: str) -> ImageRequest | None:
    """Return what an address asks of which image service; None if it is no such address."""
    parts = address.rsplit("/", 4)
    if len(parts) != 5 or not parts[0].startswith(("http://", "https://")):
        return None
    service, region, size, rotation, quality = parts
    if not (_REGION.fullmatch(region) and _ROTATION.fullmatch(rotation) and _QUALITY.fullmatch(quality)):
        return None
    return ImageRequest(service=service, region=region, size=size)
