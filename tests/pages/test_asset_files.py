"""What pages need beside them: names with digests, words in every language, colours that can be read."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from pathlib import Path

import pytest

from pipeline.pages import asset_files, rendering
from pipeline.pages.bundling import bundled, squeezed
from tests.report.test_page import luminance

SCRIPTS = sorted(asset_files.WEB.glob("*.js"))
CSS = (asset_files.WEB / "pages.css").read_text(encoding="utf-8")


def test_names_carry_the_digest_of_what_they_name() -> None:
    for asset in asset_files.assets():
        digest = hashlib.sha256(asset.data).hexdigest()
        assert re.fullmatch(rf"assets/[a-z.-]+\.{digest[:16]}\.(css|js|json|txt)", asset.path)


def test_nothing_is_asked_of_other_hosts_by_style_and_scripts() -> None:
    for path in (*SCRIPTS, asset_files.WEB / "pages.css"):
        assert not re.search(r"https?://|@import|url\(", path.read_text(encoding="utf-8")), path.name


@pytest.mark.skipif(bool(asset_files.lacks()), reason=asset_files.lacks())
def test_the_library_comes_with_its_licence() -> None:
    assert {"openseadragon.min.js", "openseadragon-licence.txt"} <= set(asset_files.by_name())


def test_what_is_missing_is_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: object) -> None:
    monkeypatch.setattr(asset_files, "LIBRARY", tmp_path)
    assert "Install solander again" in asset_files.lacks()


# ------------------------------------------------------------------------------------------- bundling

DECLARED = re.compile(r"^(?:export )?(?:async )?(?:function|class|const|let) (\w+)", re.MULTILINE)
COMMENT = re.compile(r"/\*\*.*?\*/|^\s*//[^\n]*", re.DOTALL | re.MULTILINE)
FORM = re.compile(r'import \{ [\w, ]+ \} from "\./[a-z-]+\.js";|export (async )?(function|class|const) .*')


def test_no_two_modules_declare_the_same_name() -> None:
    declared = [name for path in SCRIPTS for name in DECLARED.findall(path.read_text(encoding="utf-8"))]
    assert len(declared) > 50
    assert sorted(declared) == sorted(set(declared))


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: str(path.name))
def test_modules_keep_to_the_form_that_can_be_joined(path: Path) -> None:
    source = COMMENT.sub("", path.read_text(encoding="utf-8"))
    for line in re.findall(r"^(?:import|export)\b.*$", source, re.MULTILINE):
        assert FORM.fullmatch(line), line
    assert all(line.count("`") % 2 == 0 for line in source.splitlines())


@pytest.mark.parametrize(
    ("name", "exported"),
    [("viewer.js", []), ("page.js", []), ("dialogs.js", ["prepare", "openCiting", "openTaking", "openKeys"])],
)
def test_joined_modules_import_nothing_and_export_what_the_last_of_them_does(
    name: str, exported: list[str]
) -> None:
    script = asset_files.by_name()[name].data.decode()
    assert re.findall(r"\bexport (?:async )?function (\w+)", script) == exported
    assert script.count("export ") == len(exported)
    assert not re.search(r"\bimport *[{\"]", script)
    assert "/**" not in script


# --------------------------------------------------------------------------------------------- words

IN_TEMPLATES = (
    r"words\.(\w+)",
    r'\bword\("(\w+)"\)',
    r'data-word(?:-label)?="(\w+)"',
    r'(?:sign|tool|copyable)\("\w+", "(\w+)"',
    r'counted\("(\w+)"',
    r'counted\("\w+", "(\w+)"',
)
IN_SCRIPTS = (r'say\("(\w+)"', r'word: "(\w+)"', r"\[(\w+_keys|shift|arrows)\]", r'"(copied|copy_failed)"')
GROUNDS = {"ground_light", "ground_middle", "ground_dark"}


def keys_in(paths: Iterable[Path], patterns: tuple[str, ...]) -> set[str]:
    sources = [path.read_text(encoding="utf-8") for path in paths]
    return {key for pattern in patterns for source in sources for key in re.findall(pattern, source)}


def test_the_parts_of_the_words_are_what_page_viewer_and_dialogs_say() -> None:
    """A script carries what it says, and the page's own words are not sent twice."""
    dialogs = {asset_files.WEB / f"{name}.js" for name in ("dialogs", "keys", "sizes")}
    say = {
        "dialogs": keys_in(dialogs, IN_SCRIPTS),
        "viewer": keys_in(set(SCRIPTS) - dialogs, IN_SCRIPTS) | GROUNDS,
        "page": keys_in(rendering.TEMPLATES.glob("*.j2"), IN_TEMPLATES) | {"language"},
    }
    say["page"] -= say["viewer"] | say["dialogs"]
    for path in (asset_files.WEB / "words").glob("*.json"):
        parts = json.loads(path.read_bytes())
        assert {part: set(words) for part, words in parts.items()} == say, path.name


def test_every_language_has_every_word_and_no_other() -> None:
    words = asset_files.words()
    assert list(words) == ["en", "de", "fr"]
    assert {tuple(each) for each in words.values()} == {tuple(words["en"])}
    for said in words.values():
        assert all(said.values())


def test_sentences_have_the_same_gaps_in_every_language() -> None:
    english, *others = asset_files.words().values()
    for said in others:
        for key, sentence in english.items():
            assert sorted(re.findall(r"\{\w+\}", sentence)) == sorted(re.findall(r"\{\w+\}", said[key])), key


# -------------------------------------------------------------------------------------------- colours


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def palettes(selector: str) -> list[dict[str, str]]:
    blocks = re.findall(rf"{selector} \{{(.*?)\}}", CSS, re.DOTALL)
    found = [dict(re.findall(r"--([\w-]+): (#\w+);", block)) for block in blocks]
    return [scheme for scheme in found if scheme]


def test_text_has_enough_contrast_light_and_dark() -> None:
    """4.5 to 1 for text, 3 to 1 for edges and marks: WCAG 2.2, success criteria 1.4.3 and 1.4.11."""
    schemes = palettes(":root")
    assert len(schemes) == 2
    for scheme in schemes:
        for ground in ("paper", "shade"):
            for name in ("ink", "soft", "link"):
                assert contrast(scheme[name], scheme[ground]) >= 4.5, (name, ground)
            for name in ("edge", "mark"):
                assert contrast(scheme[name], scheme[ground]) >= 3, (name, ground)


def test_grounds_are_neutral_and_what_is_written_on_them_can_be_read() -> None:
    """Colours are judged against a grey without a hue."""
    grounds = palettes(r"#desk(?:\[[^]]+\]|:not\([^)]+\))?")
    assert len(grounds) == 4
    for scheme in grounds:
        for colour in scheme.values():
            assert len({colour[1:3], colour[3:5], colour[5:7]}) == 1
        assert contrast(scheme["on-ground"], scheme["ground"]) >= 4.5


def test_texts_keep_their_spaces_when_scripts_are_joined_and_code_does_not(tmp_path: Path) -> None:
    entry = tmp_path / "page.js"
    entry.write_text(
        "const a = (b) => `${b} = , ${b}`; // why\n"
        '/** @type {X} */\nconst c = "x : // y";\nif (a && c) {\n  a(\n    c,\n  );\n}\nc - 1;\n'
    )
    assert bundled(entry, {}) == 'const a=(b)=>`${b} = , ${b}`;\nconst c="x : // y";if(a&&c){a(c,);}c - 1;'
    assert squeezed("a { b: c, d; } /* e */\n@media (f: g) {\n  h { i: j }\n}\n") == (
        "a{b:c,d}@media (f:g){h{i:j }}"
    )
