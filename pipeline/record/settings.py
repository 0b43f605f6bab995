"""solander.toml: the unit's settings and its equipment register."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipeline.errors import InputError, PipelineError, Problem, SettingsError
from pipeline.model import Algorithm, Equipment, EquipmentKind, Holder, ImageDelivery, LanguageMap, Settings
from pipeline.record.values import as_date, date_problems, language_map, repeated_ids, rights_problem
from pipeline.tomldoc.problems import by_place, quoted, shape_problems
from pipeline.tomldoc.source import TomlSource, read_toml

NAME = "solander.toml"
SRGB = "sRGB"
_UNNAMED = LanguageMap.of("Unnamed holder", "en")


def find_settings(start: Path) -> Path | None:
    """Return the solander.toml that applies to `start`: in that folder, or the nearest one above it."""
    folder = start.resolve()
    return next((each / NAME for each in (folder, *folder.parents) if (each / NAME).is_file()), None)


def load_settings(path: Path | None) -> Settings:
    """Return the unit's settings; without a file what serves on a laptop.

    Raises SettingsError with all problems of the file, InputError if it or the profile that it names is
    not there, ToolError.
    """
    if path is None:
        return Settings(holder=Holder(name=_UNNAMED))
    source = read_toml(path, advice="give the path of the unit's solander.toml")
    if isinstance(source, Problem):
        raise SettingsError(f"{path}: is not TOML that can be read", problems=[source])
    document, problems = shape_problems(source, "settings")
    problems += _sense_problems(source, document)
    missing = [
        *_missing_profile(source, document, path.parent),
        *_missing_measurements(source, document, path.parent),
    ]
    if problems or missing:
        raise _error(path, problems, missing)
    return _settings(document, path.parent)


def _error(path: Path, problems: list[Problem], missing: list[Problem]) -> PipelineError:
    kind = SettingsError if problems else InputError
    together = sorted([*problems, *missing], key=by_place)
    count = "one problem" if len(together) == 1 else f"{len(together)} problems"
    return kind(f"{path}: {count} in the unit's settings", problems=together)


# ------------------------------------------------------------------------------------------------ sense


def _sense_problems(source: TomlSource, document: dict[str, Any]) -> Iterator[Problem]:
    """What a schema cannot say."""
    rights = document.get("rights", {})
    if problem := rights_problem(source, rights.get("statement"), ("rights", "statement")):
        yield problem
    publication = document.get("publication", {})
    images = publication.get("images", ImageDelivery.TILES)
    if images != ImageDelivery.TILES and "image_service_url" not in source.document.get("publication", {}):
        yield Problem(
            where=source.where(("publication", "images")),
            found=f"{quoted(images)} without `image_service_url`",
            expected="the address of the image server that will serve these files",
            advice='give `image_service_url`, or write images = "tiles"',
        )
    register = document.get("equipment", [])
    yield from repeated_ids(source, register, ("equipment",))
    for number, entry in enumerate(register):
        yield from _entry_problems(source, entry, number)


def _entry_problems(source: TomlSource, entry: dict[str, Any], number: int) -> Iterator[Problem]:
    path = ("equipment", number)
    yield from date_problems(source, entry, path, "owned_from", "owned_until")
    first, last = as_date(entry.get("owned_from")), as_date(entry.get("owned_until"))
    if first and last and last < first:
        yield Problem(
            where=source.where((*path, "owned_until")),
            found=f"{last}, before `owned_from` = {first}",
            expected="a date on or after `owned_from`",
        )


def _missing_profile(source: TomlSource, document: dict[str, Any], folder: Path) -> Iterator[Problem]:
    profile = _untagged_profile(document, folder)
    if profile not in ("", SRGB) and not Path(profile).is_file():
        yield Problem(
            where=source.where(("colour", "untagged_profile")),
            found=f"{quoted(document['colour']['untagged_profile'])}, and there is no file {profile}",
            expected='an ICC profile, or "sRGB"',
            advice=f"give its path from {folder}",
        )


def _missing_measurements(source: TomlSource, document: dict[str, Any], folder: Path) -> Iterator[Problem]:
    for number, entry in enumerate(document.get("equipment", [])):
        named = entry.get("measured", "").strip()
        if named and not (folder / named).is_file():
            yield Problem(
                where=source.where(("equipment", number, "measured")),
                found=f"{quoted(named)}, and there is no file {folder / named}",
                expected="the file with the target's own measurement",
                advice=f"give its path from {folder}",
            )


def _untagged_profile(document: dict[str, Any], folder: Path) -> str:
    text = document.get("colour", {}).get("untagged_profile", "").strip()
    if not text:
        return ""
    return SRGB if text.lower() == SRGB.lower() else str(folder / text)


# --------------------------------------------------------------------------------------------- values


def _settings(document: dict[str, Any], folder: Path) -> Settings:
    publication, rights = document.get("publication", {}), document.get("rights", {})
    defaults = load_settings(None)
    return Settings(
        holder=_holder(document["holder"]),
        unit_name=document.get("unit", {}).get("name", ""),
        base_url=publication.get("base_url", defaults.base_url).rstrip("/"),
        base_url_is_default="base_url" not in publication,
        images=ImageDelivery(publication.get("images", defaults.images)),
        image_service_url=publication.get("image_service_url", "").rstrip("/"),
        tile_px=int(publication.get("tile_px", defaults.tile_px)),
        access_long_edge_px=int(publication.get("access_long_edge_px", defaults.access_long_edge_px)),
        jpeg_quality=int(publication.get("jpeg_quality", defaults.jpeg_quality)),
        rights=rights.get("statement", ""),
        credit=language_map(rights.get("credit")),
        checksums=tuple(
            Algorithm(each) for each in document.get("preservation", {}).get("checksums", defaults.checksums)
        ),
        id_prefix=document.get("preservation", {}).get("id_prefix", defaults.id_prefix),
        untagged_profile=_untagged_profile(document, folder),
        equipment=tuple(_equipment(each, folder) for each in document.get("equipment", ())),
    )


def _holder(table: dict[str, Any]) -> Holder:
    return Holder(**{**table, "name": language_map(table["name"])})


def _equipment(table: dict[str, Any], folder: Path) -> Equipment:
    fields = {key: value for key, value in table.items() if key not in ("id", "kind")}
    fields |= {key: as_date(fields[key]) for key in ("owned_from", "owned_until") if key in fields}
    if "focal_length_mm" in fields:
        fields["focal_length_mm"] = float(fields["focal_length_mm"])
    if "pitch_mm" in fields:
        across, *down = map(float, fields["pitch_mm"])
        fields["pitch_mm"] = (across, *(down or [across]))
    if "measured" in fields:
        fields["measured"] = str(folder / fields["measured"].strip())
    return Equipment(identifier=table["id"], kind=EquipmentKind(table["kind"]), **fields)
