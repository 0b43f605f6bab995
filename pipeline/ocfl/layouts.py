"""Storage layouts: where in a storage root an object lies, from its identifier.

Four registered extensions, each a frozen value with its parameters::

    layout_of(ocfl.HASHED).path("urn:example:ms-17")   # c02/074/08b/c0207408…

Source: OCFL community extensions 0002, 0003, 0004 and 0007.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, ClassVar, Protocol

from pipeline import jsondoc
from pipeline.errors import InputError, SettingsError
from pipeline.files import NAME_BYTES, visible
from pipeline.specs import ocfl


class Layout(Protocol):
    """How identifiers become paths."""

    NAME: ClassVar[str]

    def path(self, object_id: str) -> str:
        """Return the path of an object below the storage root. Raises SettingsError if it can have none."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatDirect:
    """The identifier itself is the folder's name (extension 0002)."""

    NAME: ClassVar[str] = ocfl.FLAT_DIRECT

    def path(self, object_id: str) -> str:
        """Return the identifier, if a folder can be named so."""
        return _folder_name(object_id, object_id)


_ALGORITHMS = ("sha256", "sha512", "sha1", "md5")
_MOST = 32
_WORD = re.compile(r"[^A-Za-z0-9_-]")
_LONGEST_ENCODED = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class HashAndId:
    """Tuples of the identifier's digest, then the identifier, percent-encoded (extension 0003)."""

    NAME: ClassVar[str] = ocfl.HASH_AND_ID
    digest_algorithm: str = "sha256"
    tuple_size: int = 3
    number_of_tuples: int = 3

    def __post_init__(self) -> None:
        """Refuse parameters that the extension forbids. Raises SettingsError."""
        _check_tuples(self, smallest=0)
        _check_digest(self.digest_algorithm, self.tuple_size * self.number_of_tuples)

    def path(self, object_id: str) -> str:
        """Return the tuples and the encoded identifier; a long one is cut and ends in the digest."""
        digest = _digest(self.digest_algorithm, object_id)
        encoded = _WORD.sub(_percent_encoded, object_id)
        if len(encoded) > _LONGEST_ENCODED:
            encoded = f"{encoded[:_LONGEST_ENCODED]}-{digest}"
        return "/".join([*_tuples(digest, self.tuple_size, self.number_of_tuples), encoded])


@dataclass(frozen=True, slots=True, kw_only=True)
class Hashed:
    """Tuples of the identifier's digest, then the whole digest or the rest of it (extension 0004)."""

    NAME: ClassVar[str] = ocfl.HASHED
    digest_algorithm: str = "sha256"
    tuple_size: int = 3
    number_of_tuples: int = 3
    short_object_root: bool = False

    def __post_init__(self) -> None:
        """Refuse parameters that the extension forbids. Raises SettingsError."""
        _check_tuples(self, smallest=0)
        used = self.tuple_size * self.number_of_tuples
        length = _check_digest(self.digest_algorithm, used)
        if self.short_object_root and used == length:
            raise _wrong(self.NAME, "shortObjectRoot", "true", "false where the tuples use up the digest")

    def path(self, object_id: str) -> str:
        """Return the tuples and the digest."""
        digest = _digest(self.digest_algorithm, object_id)
        used = self.tuple_size * self.number_of_tuples if self.short_object_root else 0
        return "/".join([*_tuples(digest, self.tuple_size, self.number_of_tuples), digest[used:]])


@dataclass(frozen=True, slots=True, kw_only=True)
class OmitPrefix:
    """Tuples of the identifier without its prefix, then that identifier (extension 0007)."""

    NAME: ClassVar[str] = ocfl.OMIT_PREFIX
    delimiter: str = ":"
    tuple_size: int = 3
    number_of_tuples: int = 3
    zero_padding: str = "left"
    reverse_object_root: bool = False

    def __post_init__(self) -> None:
        """Refuse parameters that the extension forbids. Raises SettingsError."""
        _check_tuples(self, smallest=1)
        if not self.delimiter:
            raise _wrong(self.NAME, "delimiter", '""', "one character or more")
        if self.zero_padding not in ("left", "right"):
            raise _wrong(self.NAME, "zeroPadding", f'"{self.zero_padding}"', '"left" or "right"')

    def path(self, object_id: str) -> str:
        """Return the tuples, padded with zeros and perhaps reversed, and the identifier's end as it is."""
        if not object_id.isascii() or not object_id.isprintable():
            raise _no_path(object_id, "characters outside of ASCII")
        at = object_id.lower().rfind(self.delimiter.lower())
        rest = _folder_name(object_id, object_id if at < 0 else object_id[at + len(self.delimiter) :])
        width = self.tuple_size * self.number_of_tuples
        padded = rest.rjust(width, "0") if self.zero_padding == "left" else rest.ljust(width, "0")
        if self.reverse_object_root:
            padded = padded[::-1]
        tuples = _tuples(padded, self.tuple_size, self.number_of_tuples)
        if unsafe := next((each for each in tuples if each in (".", "..")), ""):
            raise _no_path(object_id, f'a folder "{unsafe}"')
        return "/".join([*tuples, rest])


LAYOUTS: Mapping[str, type[FlatDirect | HashAndId | Hashed | OmitPrefix]] = {
    each.NAME: each for each in (FlatDirect, HashAndId, Hashed, OmitPrefix)
}
"""The layouts that paths can be computed for, by their registered names."""


def layout_of(name: str, parameters: Mapping[str, Any] | None = None) -> Layout:
    """Return a layout by its registered name, with parameters as its ``config.json`` names them.

    Raises SettingsError for a layout that is not known here, and for parameters that it cannot have.
    """
    kind = LAYOUTS.get(name)
    if kind is None:
        known = ", ".join(LAYOUTS)
        raise SettingsError(
            f'the storage layout "{visible(name)}" is not known here; expected one of {known}'
        )
    names = {_camel(each.name): (each.name, type(each.default)) for each in fields(kind)}
    given: dict[str, Any] = {}
    for key, value in (parameters or {}).items():
        if key == "extensionName":
            if value != name:
                raise _wrong(name, key, repr(value), f'"{name}"')
            continue
        if key not in names:
            raise _wrong(name, visible(key), "a parameter that it does not have", ", ".join(names) or "none")
        field, kind_of_value = names[key]
        if type(value) is not kind_of_value:
            raise _wrong(name, key, repr(value)[:60], f"a value such as {_as_json(kind, field)}")
        given[field] = value
    return kind(**given)


def _as_json(kind: type[Any], field: str) -> str:
    default = next(each.default for each in fields(kind) if each.name == field)
    return str(default).lower() if isinstance(default, bool) else repr(default)


def parameters_of(layout: Layout) -> dict[str, Any]:
    """Return what the layout's ``config.json`` holds: its name and every parameter."""
    values = {_camel(each.name): getattr(layout, each.name) for each in fields(layout)}  # type: ignore[arg-type]
    return {"extensionName": layout.NAME, **values}


_DESCRIPTIONS = {
    ocfl.FLAT_DIRECT: "Each object lies directly in the storage root, in a folder named by its identifier.",
    ocfl.HASH_AND_ID: "Folders of the digest of an object's identifier, then the encoded identifier.",
    ocfl.HASHED: "Folders of the digest of an object's identifier, then the digest.",
    ocfl.OMIT_PREFIX: "Folders of an object's identifier without its prefix, then that identifier.",
}


def layout_document(layout: Layout) -> bytes:
    """Return the content of ``ocfl_layout.json`` (OCFL 1.1, section 4.1)."""
    return jsondoc.to_bytes({"description": _DESCRIPTIONS[layout.NAME], "extension": layout.NAME})


def config_document(layout: Layout) -> bytes:
    """Return the content of ``extensions/NAME/config.json``."""
    return jsondoc.to_bytes(parameters_of(layout))


def layout_from(document: bytes, config: bytes | None) -> Layout:
    """Return the layout that ``ocfl_layout.json`` names, with its parameters from its ``config.json``.

    Raises InputError if they cannot be read, SettingsError for a layout that is not known here.
    """
    name = named_in(document)
    return layout_of(name, parameters_in(config, name))


def named_in(document: bytes) -> str:
    """Return the name of the layout that ``ocfl_layout.json`` gives. Raises InputError."""
    named = jsondoc.parse(document, ocfl.LAYOUT_FILE, most_bytes=_MOST_BYTES)
    name = named.get("extension") if isinstance(named, dict) else None
    if not isinstance(name, str):
        raise InputError(f"{ocfl.LAYOUT_FILE}: names no layout; expected a key extension with its name")
    return name


def parameters_in(config: bytes | None, name: str) -> dict[str, Any]:
    """Return the parameters that a layout's ``config.json`` gives, if there is one. Raises InputError."""
    if config is None:
        return {}
    place = f"{ocfl.EXTENSIONS}/{visible(name)}/{ocfl.CONFIG_FILE}"
    parameters = jsondoc.parse(config, place, most_bytes=_MOST_BYTES)
    if not isinstance(parameters, dict):
        raise InputError(f"{place}: holds no parameters; expected a JSON object")
    return parameters


_MOST_BYTES = 1 << 20

# ---------------------------------------------------------------------------------------------- parts


def _camel(name: str) -> str:
    first, *others = name.split("_")
    return first + "".join(each.capitalize() for each in others)


def _digest(algorithm: str, object_id: str) -> str:
    try:
        data = object_id.encode()
    except UnicodeEncodeError as error:
        raise _no_path(object_id, "half a character") from error
    return hashlib.new(algorithm, data, usedforsecurity=False).hexdigest()


def _tuples(text: str, size: int, count: int) -> list[str]:
    return [text[at * size : (at + 1) * size] for at in range(count)]


def _percent_encoded(character: re.Match[str]) -> str:
    return "".join(f"%{byte:02x}" for byte in character[0].encode())


def _folder_name(object_id: str, name: str) -> str:
    """Return the name, if a folder can have it."""
    if not name or name in (".", ".."):
        raise _no_path(object_id, f'a folder "{name}"')
    if "/" in name or "\0" in name:
        raise _no_path(object_id, "a slash" if "/" in name else "a NUL")
    if len(name.encode(errors="surrogateescape")) > NAME_BYTES:
        raise _no_path(object_id, f"a name of more than {NAME_BYTES} bytes")
    return name


def _no_path(object_id: str, reason: str) -> SettingsError:
    return SettingsError(
        f'the identifier "{visible(object_id[:200])}" has no place in the storage layout: it would need '
        f"{reason}; use another identifier, or a layout of digests, {ocfl.HASHED}"
    )


def _wrong(name: str, key: str, found: str, expected: str) -> SettingsError:
    return SettingsError(f"the storage layout {name}: {key}: found {found}, expected {expected}")


def _check_tuples(layout: HashAndId | Hashed | OmitPrefix, *, smallest: int) -> None:
    for key, value in (("tupleSize", layout.tuple_size), ("numberOfTuples", layout.number_of_tuples)):
        if not smallest <= value <= _MOST:
            raise _wrong(layout.NAME, key, str(value), f"{smallest} to {_MOST}")
    if (layout.tuple_size == 0) != (layout.number_of_tuples == 0):
        found = f"{layout.tuple_size} and {layout.number_of_tuples}"
        raise _wrong(layout.NAME, "tupleSize and numberOfTuples", found, "both 0 or neither")


def _check_digest(algorithm: str, used: int) -> int:
    """Return the length of the digest in digits."""
    if algorithm not in _ALGORITHMS:
        raise SettingsError(
            f'the storage layout: digestAlgorithm: found "{visible(algorithm)}", '
            f"expected one of {', '.join(_ALGORITHMS)}"
        )
    length = ocfl.HEX_LENGTHS[algorithm]
    if used > length:
        raise SettingsError(
            f"the storage layout: tupleSize × numberOfTuples: found {used}, expected at most {length}, "
            f"the digits of a {algorithm} digest"
        )
    return length
