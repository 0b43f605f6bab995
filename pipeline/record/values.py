"""Single values of the TOML files: dates, language maps, rights, names."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

from pipeline.errors import Problem
from pipeline.files import is_safe_name, slug
from pipeline.model import LanguageMap
from pipeline.specs import iiif, rights
from pipeline.tomldoc.locate import KeyPath
from pipeline.tomldoc.problems import nearest, quoted
from pipeline.tomldoc.source import TomlSource

NO_LANGUAGE = "none"


def language_map(value: str | Mapping[str, Any] | None) -> LanguageMap:
    """Return text, or texts by language, as a language map; plain text is of no language."""
    if value is None:
        return LanguageMap()
    if isinstance(value, str):
        return LanguageMap.of(value.strip(), NO_LANGUAGE)
    return LanguageMap(tuple((tag, _texts(texts)) for tag, texts in value.items()))


def _texts(value: str | list[str]) -> tuple[str, ...]:
    return tuple(text.strip() for text in ([value] if isinstance(value, str) else value))


def as_date(text: str | None) -> dt.date | None:
    """Return a date; None if there is none, or it does not exist."""
    try:
        return dt.date.fromisoformat(text) if text else None
    except ValueError:
        return None


def date_problems(source: TomlSource, value: Any, path: KeyPath, *keys: str) -> Iterator[Problem]:
    """Yield the dates in quotes under `keys` of a table that do not exist, such as 30 February."""
    for key in keys:
        text = value.get(key)
        if text is not None and as_date(text) is None:
            yield Problem(
                where=source.where((*path, key)),
                found=quoted(text),
                expected="a date that exists, as year, month, day",
                advice="write it without quotes, such as 2026-03-09",
            )


def name_problem(source: TomlSource, name: str | None, path: KeyPath) -> Problem | None:
    """Return what is wrong with a name that becomes a folder and a part of web addresses."""
    if name is None or is_safe_name(name):
        return None
    proposal = slug(name)[:100].strip("-_")
    return Problem(
        where=source.where(path),
        found=quoted(name),
        expected="letters without accents, digits, hyphens, underscores and full stops, up to 100, "
        "for it becomes the name of folders and a part of web addresses",
        advice=f'write "{proposal.lower()}"' if is_safe_name(proposal) else "choose a short plain name",
    )


def rights_problem(source: TomlSource, uri: str | None, path: KeyPath) -> Problem | None:
    """Return what is wrong with a rights URI (IIIF Presentation API 3.0, section 3.2, rights)."""
    if uri is None or (iiif.rights_uri(uri) == uri and rights.statement_of(uri)):
        return None
    near = iiif.rights_uri(uri.strip().replace("/licence", "/license"))
    return Problem(
        where=source.where(path),
        found=quoted(uri),
        expected=f"the URI of a Creative Commons licence or a RightsStatements.org statement, "
        f'such as "{rights.PUBLIC_DOMAIN_MARK}"',
        advice=_rights_advice(near),
    )


def _rights_advice(near: str) -> str:
    """Say which statement was meant by a URI of the right form, or by something else."""
    if near and rights.statement_of(near):
        return f'write "{near}"'
    if meant := nearest(rights.term_of(near), rights.TERMS):
        return f'did you mean "{rights.vocabulary_uri(meant)}"?'
    return "copy the address of the statement" if near else "put terms of your own into `credit`"


def repeated_ids(
    source: TomlSource, tables: list[dict[str, Any]], path: KeyPath, key: str = "id"
) -> Iterator[Problem]:
    """Yield the tables of an array that have the id of an earlier one."""
    first: dict[str, int] = {}
    for number, table in enumerate(tables):
        name = table.get(key)
        if name is None:
            continue
        if name in first:
            yield Problem(
                where=source.where((*path, number, key)),
                found=f"{quoted(name)} a second time",
                expected="an id of its own for each",
                advice=f"the first is at {source.where((*path, first[name], key))}",
            )
        first.setdefault(name, number)
