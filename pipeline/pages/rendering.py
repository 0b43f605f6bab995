"""How every page of a site is put together: its templates, and what they all know."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline import html
from pipeline.pages import asset_files
from pipeline.pages.links import Links
from pipeline.pages.text import LANGUAGE, first, pieces, plain, shown, texts

TEMPLATES = Path(__file__).parent / "templates"


def render(template: str, links: Links, site_title: object, **context: Any) -> bytes:
    """Return a page as UTF-8."""
    page = html.environment(TEMPLATES, shown).get_template(template)
    return page.render(
        links=links,
        site_title=texts(site_title),
        asset=lambda name: links.to(asset_files.by_name()[name].path),
        whole=lambda link: (
            links.whole(link.removeprefix(links.root)) if link.startswith(links.root) else link
        ),
        first=first,
        pieces=pieces,
        plain=plain,
        language=LANGUAGE,
        words=asset_files.words()[LANGUAGE],
        languages={tag: words["language"] for tag, words in asset_files.words().items()},
        **context,
    ).encode()
