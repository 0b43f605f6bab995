"""Our script modules as one file: a page asks for it once, and its name carries one digest.

The modules keep to a form that needs no parser: imports stand first, one a line, by name, from a file
beside them; what is exported is declared with ``export`` in front; names are unique across modules. So
modules in the order of their needs, without those lines, are one module. It exports what the last of them
does, which all the others are there for.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

_IMPORT = re.compile(r'^import \{[^}]*\} from "\./([a-z0-9-]+\.js)";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|class|const)\b)", re.MULTILINE)
_COMMENT = re.compile(r"[ \t]*/\*\*(?:(?!\*/).)*\*/(?:[ \t]*\n)?|^[ \t]*//[^\n]*\n", re.MULTILINE | re.DOTALL)
_TEXT = re.compile(r'("(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`)')
_SPACE = re.compile(r" *//[^\n]*|\s*(=>|=+|&&|\|\||[{}(),:;?])\s*")
_STYLE_COMMENT = re.compile(r"[ \t]*/\*(?:(?!\*/).)*\*/", re.DOTALL)
_STYLE_SPACE = re.compile(r"\s*\n\s*|(?<=[{:;,]) | (?=\{)|;(?= \})")
_INDENT = re.compile(r"^[ \t]+|\n(?=\n)", re.MULTILINE)


def bundled(entry: Path, made: dict[str, str]) -> str:
    """Return a module with all that it imports, without comments, and without what is there for the eye.

    `made` has modules that are not files, by name. The sources have no text that goes on over lines, texts
    in double quotes or backticks alone, and neither sign in a regular expression or behind a line; each
    statement ends with a semicolon or a brace.
    """
    return "".join(_tight(_INDENT.sub("", _COMMENT.sub("", source))) for source in _sources(entry, made))


def _tight(source: str) -> str:
    pieces = _TEXT.split(source)  # every second one is a text
    return "".join(piece if at % 2 else _SPACE.sub(r"\1", piece) for at, piece in enumerate(pieces))


def squeezed(style: str) -> str:
    """Return a style sheet without comments, and without what is there for the eye.

    Our sheets have no text with braces, colons or commas in it.
    """
    return _STYLE_SPACE.sub("", _STYLE_COMMENT.sub("", style))


def _sources(entry: Path, made: dict[str, str]) -> Iterator[str]:
    done: set[str] = set()

    def visit(name: str) -> Iterator[str]:
        if name in done:
            return
        done.add(name)
        source = made[name] if name in made else (entry.parent / name).read_text(encoding="utf-8")
        for needed in _IMPORT.findall(source):
            yield from visit(needed)
        own = _IMPORT.sub("", source)
        yield own if name == entry.name else _EXPORT.sub("", own)

    yield from visit(entry.name)
