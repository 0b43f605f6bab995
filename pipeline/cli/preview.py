"""`solander preview`: a site or a bundle in the browser, before anyone else can see it."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from time import sleep

import click

from pipeline.cli import _options, _render
from pipeline.errors import ExitStatus


@click.command(short_help="Look at a site or a bundle in the browser.")
@click.argument("place", metavar="DIR|BUNDLE", type=click.Path(path_type=Path))
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8000,
    show_default=True,
    help="Where to answer; 0 takes any port that is free.",
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@_options.json_option
def preview(place: Path, port: int, no_browser: bool, as_json: bool) -> int:
    """Serve a site, a publication bundle, or a folder of publication bundles on this machine alone, until
    Ctrl-C.

    A site is served as it is. A bundle (a folder, .zip, .tar or .tar.gz) is shown as it would look when
    published: nothing is unpacked or written, and the addresses in its manifest are those of the preview.
    """
    from pipeline.preview import shown
    from pipeline.serve import running

    with (
        shown(place) as content,
        running(content.site, port=port, clock=time.time, say=_say) as server,
    ):
        for each in content.left_out:
            _render.note(f"left out: {each}")
        if as_json:
            _render.show_json({"folder": str(place), "url": f"{server.url}/", "items": list(content.items)})
        else:
            _render.show(f"{server.url}/", head=f"{place} at ")
            _render.show("Ctrl-C ends it")
        if not no_browser and _has_screen():
            _open_browser(f"{server.url}/")
        return _wait()


def _wait() -> ExitStatus:
    """Wait for Ctrl-C, which is how a preview ends: no word is lost about it."""
    try:
        while True:  # a wait without an end would not hear it on every system
            sleep(3600)
    except KeyboardInterrupt:
        return ExitStatus.INTERRUPTED


def _say(text: str) -> None:
    if text != "/favicon.ico: not found":  # browsers ask for it of themselves
        _render.note(text)


def _has_screen() -> bool:
    """True if a browser could show something: a person sits at a terminal with a screen around it."""
    if "CI" in os.environ or not is_at_terminal():
        return False
    has_windows = "DISPLAY" in os.environ or "WAYLAND_DISPLAY" in os.environ
    return has_windows or sys.platform in ("darwin", "win32")


def is_at_terminal() -> bool:
    """True if somebody reads what is said."""
    return sys.stderr.isatty()


def _open_browser(url: str) -> None:
    import webbrowser

    webbrowser.open(url)
