"""From a file ``specification.toml`` to a delivery specification, with all its problems at once.

Form: ``schemas/delivery.schema.json``; what the keys mean: ``docs/deliveries.md``.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pipeline import bagprofile, jsondoc, sampling, specification
from pipeline.bagprofile import Profile
from pipeline.containers import Limits
from pipeline.delivery.patterns import NUMBER, Pattern, PatternError, compile_pattern, compile_regex
from pipeline.delivery.terms import (
    DEFAULT,
    WORDS,
    BagTerms,
    ChecksumTerms,
    ColourMode,
    DeliverySpecification,
    Document,
    Folders,
    Images,
    ImageTerms,
    MetadataTerms,
    Names,
    NameTerms,
    Role,
    SamplingTerms,
    Serialisation,
    TargetKind,
    TargetTerms,
    ViewTerms,
)
from pipeline.errors import InputError, Problem, SettingsError
from pipeline.findings import Level
from pipeline.model import Algorithm, MasterFormat
from pipeline.specs import bagit
from pipeline.tomldoc.locate import KeyPath
from pipeline.tomldoc.problems import by_place, listed, near_miss, quoted, shape_problems
from pipeline.tomldoc.source import TomlSource, read_toml

_Value = TypeVar("_Value")

_ADVICE = "give the path of a specification.toml with a table [delivery]"
_PROFILES = {"publication": bagit.PUBLICATION_PROFILE, "preservation": bagit.PRESERVATION_PROFILE}
_OFF = "off"


def load(path: str | Path | None = None) -> DeliverySpecification:
    """Return the delivery specification in a file; without a path, `DEFAULT`, which asks for nothing.

    Raises SettingsError with all problems of the file: what it names beside itself, a BagIt profile or an
    imaging specification, included. Raises ToolError if the disk fails us.
    """
    if path is None:
        return DEFAULT
    source = _read(Path(path))
    reader = _Reader(source, Path(path).parent)
    specified = reader.read()
    if reader.problems:
        count = "one problem" if len(reader.problems) == 1 else f"{len(reader.problems)} problems"
        problems = sorted(dict.fromkeys(reader.problems), key=by_place)
        raise SettingsError(f"{path}: {count} in the delivery specification", problems=problems)
    return specified


# ------------------------------------------------------------------------------------------- the file


def _read(path: Path) -> TomlSource:
    if not _is_file(path):
        raise _not_there(path)
    try:
        source = read_toml(path, advice=_ADVICE)
    except InputError as error:
        raise SettingsError(str(error)) from error
    if isinstance(source, Problem):
        raise SettingsError(f"{path}: is not TOML that can be read", problems=[source])
    if problem := _another_kind(source):
        raise SettingsError(f"{path}: is not a delivery specification", problems=[problem])
    return source


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that is too long, or holds a NUL
        return False


def _not_there(path: Path) -> SettingsError:
    found, advice = quoted(str(path)), _ADVICE
    if str(path) in specification.names():
        found += ", the name of an imaging specification"
        advice = f'name it in a specification.toml: [imaging], specification = "{path}"'
    problem = Problem(
        where="specification", found=found, expected="the path of a delivery specification", advice=advice
    )
    return SettingsError("there is no such delivery specification", problems=[problem])


def _another_kind(source: TomlSource) -> Problem | None:
    """Say what a file is that has a table of another kind of file, and none of ours."""
    if "delivery" in source.document:
        return None
    for table, kind, advice in (
        (
            "specification",
            "an imaging specification, which has tolerances of imaging quality",
            'give a file with [delivery], and name this one in it: [imaging], specification = "…"',
        ),
        ("item", "the record of an item", _ADVICE),
        ("holder", "the settings of an imaging unit", _ADVICE),
    ):
        if table in source.document:
            found = f"[{table}]: this is {kind}"
            where = source.where((table,))
            return Problem(where=where, found=found, expected="the table [delivery]", advice=advice)
    return None


# ------------------------------------------------------------------------------------------ the reader


class _Reader:
    """Reads the tables of one file, and keeps every problem."""

    def __init__(self, source: TomlSource, folder: Path) -> None:
        self.source = source
        self.folder = folder
        self.document, problems = shape_problems(source, "delivery")
        self.problems = [_for_deliveries(each) for each in problems]

    def read(self) -> DeliverySpecification:
        """Return the specification; it counts only if there are no problems then."""
        head = self.table("delivery")
        folders = self._folders()
        return DeliverySpecification(
            identifier=head.get("id", ""),
            title=head.get("title", ""),
            version=head.get("version", ""),
            holder=head.get("holder", ""),
            note=head.get("note", ""),
            bag=self._bag(),
            folders=folders,
            names=self._names(folders),
            images=Images(folders=folders, by_role=tuple(self._images())),
            imaging=self._imaging(),
            metadata=self._metadata(),
            targets=self._targets(),
            checksums=self._checksums(),
            views=self._views(),
            sampling=self._sampling(head.get("id", "")),
            limits=self._limits(),
            severity=dict(self._severity()),
        )

    def table(self, *path: str) -> Mapping[str, Any]:
        """Return a table; an empty one if it is not there."""
        found: Any = self.document
        for key in path:
            found = found.get(key, {})
        return found if isinstance(found, Mapping) else {}

    def say(self, path: KeyPath, found: str, expected: str, advice: str = "") -> None:
        """Keep a problem at a key."""
        where = self.source.where(path)
        self.problems.append(Problem(where=where, found=found, expected=expected, advice=advice))

    def compiled(self, path: KeyPath, text: str, how: Callable[[str], Pattern]) -> Pattern | None:
        """Return a pattern, or None with a problem."""
        try:
            return how(text)
        except PatternError as error:
            self.say(path, error.found, error.expected, error.advice)
            return None

    def either(self, path: tuple[str, ...], pattern_key: str, regex_key: str) -> Pattern | None:
        """Return the pattern of a table that has a pattern or a regular expression, not both."""
        table = self.table(*path)
        if pattern_key in table and regex_key in table:
            found = f"`{regex_key}` beside `{pattern_key}`"
            self.say((*path, regex_key), found, "one of them", "remove one")
        if pattern_key in table:
            return self.compiled((*path, pattern_key), table[pattern_key], compile_pattern)
        if regex_key in table:
            return self.compiled((*path, regex_key), table[regex_key], compile_regex)
        return None

    # -------------------------------------------------------------------------------------------- bag

    def _bag(self) -> BagTerms:
        table = self.table("bag")
        required, allowed = (
            _each(Algorithm, table.get(f"algorithms_{key}", ())) for key in ("required", "allowed")
        )
        is_sound = self.source_table(("bag",)).get("algorithms_allowed") == list(allowed)
        for each in required:
            if allowed and is_sound and each not in allowed:
                expected = f"one of `algorithms_allowed`, {listed(allowed)}"
                self.say(("bag", "algorithms_required"), quoted(each.value), expected, "allow it too")
        return BagTerms(
            name=self.either(("bag",), "name", "name_regex"),
            versions=tuple(table.get("versions", ())),
            algorithms_required=required,
            algorithms_allowed=allowed,
            profile=self._profile(table.get("profile", "")),
            serialisations=_each(Serialisation, table.get("serialisation", ())),
            labels=tuple(table.get("labels", ())),
            is_fetch_allowed=table.get("fetch_allowed", True),
        )

    def _profile(self, name: str) -> Profile | None:
        if not name:
            return None
        if name in _PROFILES:
            return bagprofile.our_profile(_PROFILES[name])
        key, path = ("bag", "profile"), self.folder / name
        if not _is_file(path):
            advice = near_miss(name, _PROFILES) or f"give its path from {self.folder}"
            expected = f"{listed(_PROFILES)}, or a file"
            self.say(key, f"{quoted(name)}, and there is no such file", expected, advice)
            return None
        return self._profile_in(path)

    def _profile_in(self, path: Path) -> Profile | None:
        key, expected = ("bag", "profile"), "a BagIt profile"
        try:
            profile = jsondoc.read(path)
            faults = bagprofile.profile_faults(profile) if isinstance(profile, dict) else ()
        except InputError as error:
            self.say(key, f"a file that is none ({error})", expected)
            return None
        except (AttributeError, KeyError, TypeError) as error:
            self.say(key, f"{path.name}, which has not the form of one ({error})", expected)
            return None
        if not isinstance(profile, dict):
            self.say(key, f"{path.name}, which holds no JSON object", expected)
        for fault in faults:
            found = f"{path.name}, {fault.where}: {fault.found}"
            self.say(key, found, f"{fault.expected}, in a BagIt profile")
        return profile if isinstance(profile, dict) else None

    # --------------------------------------------------------------------------------- folders, names

    def _folders(self) -> Folders:
        table = self.table("folders")
        by_role = []
        for role in self._roles():
            texts = table.get(role.value, (role.value,))
            found = [
                self.compiled(("folders", role.value, n), text, compile_pattern)
                for n, text in enumerate(texts)
            ]
            by_role.append((role, tuple(each for each in found if each)))
        return Folders(by_role=tuple(by_role))

    def _roles(self) -> Iterator[Role]:
        """Yield the roles whose folders matter: those that any table asks about."""
        asking = {
            Role.MASTERS: ("targets", "views", "sampling"),
            Role.TARGETS: ("targets",),
            Role.ACCESS: ("views",),
            Role.METADATA: (),
        }
        for role, tables in asking.items():
            named = any(role.value in self.table(each) for each in ("folders", "names", "images"))
            if named or any(self.table(each) for each in tables):
                yield role

    def _names(self, folders: Folders) -> Names:
        table = self.table("names")
        return Names(
            folders=folders,
            terms=tuple(self._name_terms(role) for role in Role if role.value in table),
            longest_characters=table.get("longest_characters"),
            is_lower_case=table.get("lower_case", False),
            are_others_allowed=table.get("other_files_allowed", True),
        )

    def _name_terms(self, role: Role) -> NameTerms:
        path = ("names", role.value)
        numbered_from = self.table(*path).get("numbered_from")
        pattern = self.either(path, "pattern", "regex")
        if numbered_from is not None and pattern and NUMBER not in pattern.fields:
            advice = "write (?P<number>[0-9]{4})" if pattern.is_regex else "write {number:4}"
            expected = f"a pattern with the field `{NUMBER}`"
            self.say(
                (*path, "numbered_from"), f"`numbered_from` for {quoted(pattern.text)}", expected, advice
            )
        if numbered_from is not None and not self.table(*path).keys() & {"pattern", "regex"}:
            expected = "a pattern that has the number"
            self.say((*path, "numbered_from"), "`numbered_from` without `pattern`", expected)
        return NameTerms(role=role, pattern=pattern, numbered_from=numbered_from)

    # ----------------------------------------------------------------------------------------- images

    def _images(self) -> Iterator[tuple[Role, ImageTerms]]:
        for role in Role:
            if role.value in self.table("images"):
                yield role, self._image_terms(("images", role.value))

    def _image_terms(self, path: tuple[str, ...]) -> ImageTerms:
        table = self.table(*path)
        if "ppi" in table and "min_ppi" in table:
            self.say((*path, "min_ppi"), "`min_ppi` beside `ppi`", "one of them", "remove one")
        if "ppi_tolerance_percent" in table and "ppi" not in self.source_table(path):
            self.say((*path, "ppi_tolerance_percent"), "a tolerance without `ppi`", "the ppi that it is for")
        low, high = table.get("min_long_edge_px"), table.get("max_long_edge_px")
        if low is not None and high is not None and high < low:
            expected = f"at least `min_long_edge_px` = {low}"
            self.say((*path, "max_long_edge_px"), str(high), expected)
        return ImageTerms(
            formats=_each(MasterFormat, table.get("formats", ())),
            compressions=tuple(table.get("compressions", ())),
            bits_per_channel=tuple(map(int, table.get("bits_per_channel", ()))),
            colour_modes=_each(ColourMode, table.get("colour_modes", ())),
            profiles=tuple(table.get("profiles", ())),
            ppi=_float(table.get("ppi")),
            ppi_tolerance_percent=float(table.get("ppi_tolerance_percent", 0)),
            min_ppi=_float(table.get("min_ppi")),
            min_long_edge_px=_int(low),
            max_long_edge_px=_int(high),
            is_one_image=table.get("one_image_per_file", False),
            max_trailing_bytes=_int(table.get("max_trailing_bytes")),
        )

    def source_table(self, path: tuple[str, ...]) -> Mapping[str, Any]:
        """Return a table as it was written: with what is wrong in it."""
        found: Any = self.source.document
        for key in path:
            found = found.get(key, {}) if isinstance(found, Mapping) else {}
        return found if isinstance(found, Mapping) else {}

    def _imaging(self) -> specification.Specification | None:
        name = self.table("imaging").get("specification")
        if name is None:
            return None
        key = ("imaging", "specification")
        beside = self.folder / name
        try:
            return specification.load(name if name in specification.names() else beside)
        except SettingsError as error:
            if _is_file(beside):
                self.say(key, f"{quoted(name)}, which is wrong ({error.message})", "an imaging specification")
                self.problems += error.problems
                return None
            advice = near_miss(name, specification.names()) or f"give its path from {self.folder}"
            expected = f"{listed(specification.names())}, or a file"
            self.say(key, f"{quoted(name)}, and there is no such file", expected, advice)
            return None

    # --------------------------------------------------------------------------------------- metadata

    def _metadata(self) -> MetadataTerms:
        table = self.table("metadata")
        documents = frozenset(each for each in Document if table.get(each.value, False))
        for key, document in (("mods_elements", Document.MODS), ("mix_values", Document.MIX)):
            if key in table and not table.get(document.value, True):
                found = f"`{key}` beside {document.value} = false"
                self.say(("metadata", key), found, f"{document.value} = true", "remove one of them")
        return MetadataTerms(
            documents=documents,
            mods_elements=tuple(
                self._asked("mods_elements", "an element of MODS", "modsTopElement", "modsElement")
            ),
            mix_values=tuple(self._asked("mix_values", "a value of MIX", "mixValue")),
        )

    def _asked(self, key: str, noun: str, *definitions: str) -> Iterator[tuple[str, ...]]:
        """Return what is asked for; each part of a path must be of the list of its place, or of the last."""
        lists = [jsondoc.schema("delivery")["$defs"][each]["enum"] for each in definitions]
        for number, asked in enumerate(self.table("metadata").get(key, ())):
            listed_names = (asked,) if isinstance(asked, str) else asked
            names = tuple(name for name in listed_names if isinstance(name, str))  # others were told of
            for place, part in ((n, part) for name in names for n, part in enumerate(name.split("/"))):
                known = lists[min(place, len(lists) - 1)]
                if part not in known:
                    path = ("metadata", key, number)
                    self.say(path, quoted(part), f"the name of {noun}", near_miss(part, known) or _one(known))
            yield names

    # ------------------------------------------------------------------- targets, checksums and views

    def _targets(self) -> TargetTerms:
        table = self.table("targets")
        words = self.table("targets", "words")
        return TargetTerms(
            required=_each(TargetKind, table.get("required", ())),
            is_each_session=table.get("each_session", False),
            every_frames=_int(table.get("every_frames")),
            is_first_and_last=table.get("first_and_last", False),
            words=tuple((kind, tuple(words.get(kind.value, WORDS[kind]))) for kind in TargetKind),
        )

    def _checksums(self) -> ChecksumTerms:
        table = self.table("checksums")
        return ChecksumTerms(
            algorithms=_each(Algorithm, table.get("algorithms", ())),
            is_every_file=table.get("every_file", False),
        )

    def _views(self) -> ViewTerms:
        table = self.table("views")
        return ViewTerms(
            are_surrogates_required=table.get("surrogates", False),
            max_picture_difference=_float(table.get("max_picture_difference")),
        )

    # ----------------------------------------------------------------------- sampling, limits, levels

    def _sampling(self, identifier: str) -> SamplingTerms:
        table, written = self.table("sampling"), self.source_table(("sampling",))
        is_all = table.get("inspect_all", False)
        for key in ("level", "aql", "inspection"):
            if is_all and key in written:
                found, advice = f"`{key}` beside inspect_all = true", "remove one of them"
                self.say(("sampling", key), found, "all frames or a sample", advice)
        if written and not is_all and not {"aql", "inspect_all"} & written.keys():
            self.say(("sampling",), "no `aql`", "the key `aql`, or inspect_all = true", "give aql = 1.0")
        return SamplingTerms(
            is_all=is_all,
            level=sampling.Level(table.get("level", sampling.Level.II)),
            aql=None if is_all else _float(table.get("aql")),
            severity=sampling.Severity(table.get("inspection", sampling.Severity.NORMAL)),
            seed=str(table.get("seed", identifier)),
            is_by_session=table.get("by_session", False),
        )

    def _limits(self) -> Limits:
        table = self.table("limits")
        usual = Limits()
        return Limits(
            max_files=int(table.get("max_files", usual.max_files)),
            max_bytes=_bytes(table.get("max_bytes", usual.max_bytes)),
            max_ratio=float(table.get("max_ratio", usual.max_ratio)),
            max_pixels=int(table.get("max_pixels", usual.max_pixels)),
            max_document_bytes=usual.max_document_bytes,
        )

    def _severity(self) -> Iterator[tuple[str, Level | None]]:
        for code, word in self.table("severity").items():
            if not re.fullmatch("[A-Z][0-9]{3}", code):
                proposal = code.strip().upper()
                advice = f"write {proposal}" if re.fullmatch("[A-Z][0-9]{3}", proposal) else ""
                expected = "the code of a rule, a capital and three digits"
                self.say(("severity", code), f"`{code}`", expected, advice or "`solander rules` lists them")
            yield code, None if word == _OFF else Level(word)


def _for_deliveries(problem: Problem) -> Problem:
    advice = problem.advice.replace("docs/item-files.md", "docs/deliveries.md")
    return dataclasses.replace(problem, advice=advice)


def _one(known: Sequence[str]) -> str:
    return f'one is "{known[0]}"; all are listed in schemas/delivery.schema.json'


def _each(kind: Callable[[str], _Value], words: Iterable[str]) -> tuple[_Value, ...]:
    return tuple(map(kind, words))


def _float(value: float | None) -> float | None:
    return None if value is None else float(value)


def _int(value: float | None) -> int | None:
    return None if value is None else int(value)


_UNITS = {
    "kB": 10**3, "MB": 10**6, "GB": 10**9, "TB": 10**12, "KiB": 1 << 10, "MiB": 1 << 20, "GiB": 1 << 30,
    "TiB": 1 << 40,
}  # fmt: skip


def _bytes(value: int | str) -> int:
    """Return a number of bytes, or what a text such as ``500 GB`` says."""
    if not isinstance(value, str):
        return int(value)
    number, unit = re.findall(r"[0-9.]+|[A-Za-z]+", value)
    return int(float(number) * _UNITS[unit])
