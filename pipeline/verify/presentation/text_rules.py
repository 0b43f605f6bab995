"""Rules over the texts of a Presentation 3.0 document: labels, languages, HTML."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.findings import Level, Remark
from pipeline.specs import bcp47, presentation
from pipeline.verify.presentation import html_text
from pipeline.verify.presentation.facts import PresentationFacts, Topic
from pipeline.verify.presentation.property_rules import MANIFEST
from pipeline.verify.presentation.resources import list_of
from pipeline.verify.remarks import short, shown, together
from pipeline.verify.sources import BCP_47, PRESENTATION_3


@MANIFEST.rule(
    "P010",
    Level.ERROR,
    "A label is missing or empty",
    source=PRESENTATION_3 + "section 3.1, label",
    advice='Give it a text by language, such as { "en": ["Herbal"] }; what has no language goes under '
    "none. Leave out a property that has nothing to say.",
)
def labels_are_there(facts: PresentationFacts) -> Iterator[Remark]:
    """What needs a label has one, and no text by language is empty."""
    yield from together(facts.broken(Topic.LABEL))
    blank = (each for each in facts.texts if each.property == "label" and not each.text.strip())
    yield from together(
        Remark(place=facts.at(each.path), value=f"{shown(each.text)} in {each.language}", limit="a text")
        for each in blank
    )


@MANIFEST.rule(
    "P011",
    Level.WARNING,
    "A canvas, range or choice has no label",
    source=PRESENTATION_3 + "section 3.1, label",
    advice="Give each page its name, as readers cite it; each range its heading; each image to choose from "
    "what it is.",
)
def pages_have_labels(facts: PresentationFacts) -> Iterator[Remark]:
    """Canvases of several, ranges and what there is to choose from have a label, as they should."""
    yield from together(_without_labels(facts))


def _without_labels(facts: PresentationFacts) -> Iterator[Remark]:
    ranges = [each for each in facts.by_type.get("Range", ()) if each.is_own]
    bodies = [body for _, annotation in facts.painted for body in annotation.children("body")]
    options = [option for body in bodies if body.type == "Choice" for option in body.children("items")]
    pages = facts.canvases if len(facts.canvases) > 1 else ()
    for resource in (*pages, *ranges, *options):
        hidden = "no-nav" in list_of(resource.value.get("behavior"))
        if "label" not in resource.value and not hidden:
            place = facts.at(resource.path)
            yield Remark(place=place, value="no label", limit=f"a label of each {resource.type}")


# -------------------------------------------------------------------------------------------- languages


@MANIFEST.rule(
    "P013",
    Level.ERROR,
    "A language is none",
    source=PRESENTATION_3 + "section 4.4; " + BCP_47 + "section 2.1",
    advice="Write a language tag: en, de, la, grc, zh-Hant. A text of no language stands under none, "
    "without @.",
)
def languages_are_languages(facts: PresentationFacts) -> Iterator[Remark]:
    """Every text is under a language tag of BCP 47, or under `none`."""
    yield from together(facts.broken(Topic.LANGUAGE))
    for tag, place in _languages(facts).items():
        is_word = tag != bcp47.NONE and len(tag.split("-")[0]) > 3
        if is_word and bcp47.has_form(tag) and (fault := bcp47.unknown(tag)):  # else the schema tells
            yield Remark(place=place, value=fault, limit="a language tag, or none")


@MANIFEST.rule(
    "P014",
    Level.WARNING,
    "A language tag is not the registered one",
    source=BCP_47 + "sections 2.2.1 and 2.2.9",
    advice="Write the tag of the language, in its shortest form: software that looks for texts in ja or en "
    "finds neither jp nor eng.",
)
def languages_are_registered(facts: PresentationFacts) -> Iterator[Remark]:
    """A code of two letters is one that is registered, and is used where a language has one."""
    for tag, place in _languages(facts).items():
        if better := bcp47.better(tag):
            yield Remark(place=place, value=short(tag), limit=better)
        elif len(tag.split("-")[0]) == 2 and bcp47.has_form(tag) and (fault := bcp47.unknown(tag)):
            yield Remark(place=place, value=fault, limit="a registered language")


def _languages(facts: PresentationFacts) -> dict[str, str]:
    """Every language that is used, each with the first place where it is."""
    found: dict[str, str] = {}
    for text in facts.texts:
        if text.language not in found:
            found[text.language] = facts.at(text.path)
    for resource in facts.resources:
        said = resource.value.get("language")
        for tag in said if isinstance(said, list) else [said]:
            if isinstance(tag, str) and tag not in found:
                found[tag] = facts.at((*resource.path, "language"))
    return found


# ------------------------------------------------------------------------------------------------- HTML


@MANIFEST.rule(
    "P015",
    Level.ERROR,
    "HTML where only text is shown",
    source=PRESENTATION_3 + "section 4.5",
    advice="Write plain text: labels are shown as they stand, with all their marks. HTML is for summary and "
    "for the values of metadata and requiredStatement.",
)
def labels_are_plain(facts: PresentationFacts) -> Iterator[Remark]:
    """There is no HTML in labels."""
    found = (
        each
        for each in facts.texts
        if each.property not in presentation.HTML_PROPERTIES and html_text.has_elements(each.text)
    )
    yield from together(
        Remark(place=facts.at(each.path), value=short(each.text), limit="a text without HTML")
        for each in found
    )


@MANIFEST.rule(
    "P016",
    Level.ERROR,
    "HTML is not well-formed, or is a danger to readers",
    source=PRESENTATION_3 + "section 4.5",
    advice="Put the text into one element, close every element, write & as &amp;, and take out scripts, "
    "styles and comments. Plain text that begins with < and ends with > gets a blank at its end.",
)
def html_is_well_formed(facts: PresentationFacts) -> Iterator[Remark]:
    """A text that begins with < and ends with > is one well-formed element, without anything that acts."""
    yield from together(
        Remark(
            place=facts.at(each.path), value=f"{short(each.text)} {fault}", limit="harmless, well-formed HTML"
        )
        for each in facts.texts
        if html_text.is_html(each.text) and each.property in presentation.HTML_PROPERTIES
        if (fault := html_text.fault(each.text))
    )


@MANIFEST.rule(
    "P017",
    Level.WARNING,
    "HTML that clients leave out, or show as text",
    source=PRESENTATION_3 + "section 4.5",
    advice="Use a, b, br, i, img, p, small, span, sub and sup, with href, src and alt. A text with HTML "
    "begins with < and ends with >: put it into a span.",
)
def html_is_shown(facts: PresentationFacts) -> Iterator[Remark]:
    """HTML has only the elements and attributes that clients keep, and can be told from plain text."""
    yield from together(_not_shown(facts))


def _not_shown(facts: PresentationFacts) -> Iterator[Remark]:
    for each in facts.texts:
        if "<" not in each.text or each.property not in presentation.HTML_PROPERTIES:
            continue
        if not html_text.is_html(each.text):
            if html_text.has_elements(each.text):
                limit = "< at the beginning and > at the end"
                yield Remark(place=facts.at(each.path), value=short(each.text), limit=limit)
        elif dropped := html_text.dropped(each.text):
            value = ", ".join(dropped)
            yield Remark(place=facts.at(each.path), value=short(value), limit="elements that are kept")
