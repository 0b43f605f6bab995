"""How every page is made, of reports and of sites: Jinja2, everything escaped, nothing from outside."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import jinja2


@functools.cache
def environment(templates: Path, show: Callable[[str], str]) -> jinja2.Environment:
    """Return the environment of the templates in a folder.

    `show` writes out what must not act on a page, in each text that is put in; our own markup passes as
    it is.
    """
    import jinja2

    def finalize(value: object) -> object:
        return show(value) if type(value) is str else value

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(templates),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
