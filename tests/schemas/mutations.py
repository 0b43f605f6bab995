"""Documents with one thing changed, and whether two schemas judge a document alike.

A mutation knows nothing of any schema: it renames, moves, removes, adds, doubles and retypes what it finds,
with words of the document itself, words that it is given, and words of nobody.
"""

from __future__ import annotations

import copy
import functools
import os
import random
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

import pytest
from lxml import etree

Element: TypeAlias = etree._Element

SCHEMAS = Path(__file__).parents[2] / "schemas" / "xml"
OFFICIAL_VARIABLE = "OFFICIAL_SCHEMAS"

XSD = "{http://www.w3.org/2001/XMLSchema}"
XSI = "{http://www.w3.org/2001/XMLSchema-instance}"
FOREIGN = "https://example.org/foreign"

VALUES = (
    *("", " ", "abc", "ä b", "a b c", "-", "x:y", "_1", "1a"),
    *("0", "1", "-1", "+1", "01", "-0", "12.5", ".5", "1e3", "NaN", "INF", "1,5", "9" * 25, "3000000000"),
    *("true", "false", "TRUE", "yes"),
    *("2026", "2026-03", "2026-03-09", "2026-02-30", "2026-03-09Z", "12:00:00", "P1D"),
    *("2026-03-09T12:00:00", "2026-03-09T12:00:00Z", "2026-03-09T12:00:00.5+01:00", "2026-03-09T25:00:00"),
    *("2026-03-09T24:00:00", "2026-3-9T12:00:00", "-0001-03-09T12:00:00", "20260309", "2026-03-09T12:00"),
    *("open", "unknown", "..", "19uu", "156x", "2026~", "2026?", "2026/2027", "1980..1990"),
    *("https://example.org/a", "https://example.org/a b", "%zz", "#a", "urn:x:y", "AQID", "AQI", "0AFF"),
)
"""Texts of every kind of type, right for some and wrong for others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What a mutation may write: names of elements and attributes as ``{namespace}name``, and values."""

    elements: tuple[str, ...] = ()
    attributes: tuple[str, ...] = ()
    values: tuple[str, ...] = ()

    def __add__(self, other: Words) -> Words:
        return Words(
            elements=_once(self.elements + other.elements),
            attributes=_once(self.attributes + other.attributes),
            values=_once(self.values + other.values),
        )


def words_of_document(root: Element) -> Words:
    """The words that a document has."""
    elements = [str(each.tag) for each in root.iter("*")]
    attributes = [str(name) for each in root.iter("*") for name in each.attrib if not _is_xsi(str(name))]
    values = [str(value) for each in root.iter("*") for value in each.attrib.values()]
    texts = [each.text for each in root.iter("*") if each.text and not len(each)]
    return Words(elements=_once(elements), attributes=_once(attributes), values=_once(values + texts))


def words_of_schema(path: Path) -> Words:
    """The names that a schema file declares, and the values that it lists."""
    schema = etree.parse(str(path)).getroot()
    namespace = schema.get("targetNamespace")
    assert namespace
    elements = [f"{{{namespace}}}{name}" for name in _declared(schema, "element")]
    return Words(
        elements=_once(sorted(elements)),
        attributes=_once(sorted(_declared(schema, "attribute"))),
        values=_once(sorted(each.get("value", "") for each in schema.iter(f"{XSD}enumeration"))),
    )


def _declared(schema: Element, kind: str) -> list[str]:
    return [name for each in schema.iter(f"{XSD}{kind}") if (name := each.get("name")) is not None]


def _once(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(words))


# ----------------------------------------------------------------------------------------------- mutations

Edit: TypeAlias = "Callable[[random.Random, Element, Words], str | None]"
"""Changes one thing in a document and says what, or says None because there is nothing to change."""


def mutations(
    root: Element, seed: int, count: int, words: Words | None = None
) -> Iterator[tuple[str, Element]]:
    """Yield `count` copies of a document, each with one thing changed, and what that is.

    The same seed makes the same copies. `words` are added to those of the document itself.
    """
    choice = random.Random(seed)
    known = words_of_document(root) + (words or Words())
    made = 0
    for attempt in range(count * 10):
        if made == count:
            return
        changed = copy.deepcopy(root)
        description = EDITS[attempt % len(EDITS)](choice, changed, known)
        if description is not None:
            made += 1
            yield description, changed


def _rename_element(choice: random.Random, root: Element, words: Words) -> str:
    chosen = _any_element(choice, root)
    before, path = chosen.tag, _path(chosen)
    chosen.tag = choice.choice([*_of_same_namespace(before, words), f"{before}X", _other_case(before)])
    return f"{path} renamed to {_local(chosen.tag)}"


def _rename_attribute(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_attribute(choice, root)
    if chosen is None:
        return None
    owner, before = chosen
    after = choice.choice([*words.attributes, f"{before}X", _other_case(before)])
    value = owner.attrib.pop(before)
    owner.set(after, value)
    return f"{_path(owner)}/@{_local(before)} renamed to {_local(after)}"


def _swap_siblings(choice: random.Random, root: Element, words: Words) -> str | None:
    later = [
        each for each in root.iter("*") if next(each.itersiblings("*", preceding=True), None) is not None
    ]
    if not later:
        return None
    chosen = choice.choice(later)
    description = f"{_path(chosen)} before its elder"
    next(chosen.itersiblings("*", preceding=True)).addprevious(chosen)
    return description


def _move_element(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_below(choice, root)
    if chosen is None:
        return None
    parent = chosen.getparent()
    assert parent is not None
    place = choice.randrange(len(parent))
    description = f"{_path(chosen)} to place {place + 1} among its siblings"
    parent.remove(chosen)
    parent.insert(place, chosen)
    return description


def _remove_element(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_below(choice, root)
    if chosen is None:
        return None
    description = f"{_path(chosen)} removed"
    parent = chosen.getparent()
    assert parent is not None
    parent.remove(chosen)
    return description


def _unwrap_element(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_below(choice, root)
    if chosen is None or not len(chosen):
        return None
    description = f"{_path(chosen)} replaced by what is in it"
    parent = chosen.getparent()
    assert parent is not None
    place = parent.index(chosen)
    children = list(chosen)
    parent.remove(chosen)
    for child in reversed(children):
        parent.insert(place, child)
    return description


def _remove_attribute(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_attribute(choice, root)
    if chosen is None:
        return None
    owner, name = chosen
    description = f"{_path(owner)}/@{_local(name)} removed"
    del owner.attrib[name]
    return description


def _empty_element(choice: random.Random, root: Element, words: Words) -> str:
    chosen = _any_element(choice, root)
    description = f"{_path(chosen)} emptied"
    for child in list(chosen):
        chosen.remove(child)
    chosen.text = None
    return description


def _add_element(choice: random.Random, root: Element, words: Words) -> str:
    """An empty element of the vocabulary somewhere."""
    parent = _any_element(choice, root)
    name = choice.choice(_of_same_namespace(parent.tag, words))
    place = choice.randrange(len(parent) + 1)
    parent.insert(place, etree.Element(name))
    return f"{_path(parent)} given an empty {_local(name)} at place {place + 1}"


def _add_text_element(choice: random.Random, root: Element, words: Words) -> str:
    """An element of the vocabulary with a text somewhere."""
    parent = _any_element(choice, root)
    name = choice.choice(_of_same_namespace(parent.tag, words))
    place = choice.randrange(len(parent) + 1)
    made = etree.Element(name)
    made.text = choice.choice([*VALUES, *words.values])
    parent.insert(place, made)
    return f"{_path(parent)} given {_local(name)} {made.text!r} at place {place + 1}"


def _copy_elsewhere(choice: random.Random, root: Element, words: Words) -> str:
    chosen, parent = copy.deepcopy(_any_element(choice, root)), _any_element(choice, root)
    _rename_ids(chosen)
    place = choice.randrange(len(parent) + 1)
    parent.insert(place, chosen)
    return f"{_path(parent)} given a copy of {_local(chosen.tag)} at place {place + 1}"


def _add_foreign_element(choice: random.Random, root: Element, words: Words) -> str:
    parent = _any_element(choice, root)
    place = choice.randrange(len(parent) + 1)
    parent.insert(place, etree.Element(f"{{{FOREIGN}}}thing"))
    return f"{_path(parent)} given a foreign element at place {place + 1}"


def _add_attribute(choice: random.Random, root: Element, words: Words) -> str:
    owner = _any_element(choice, root)
    name = choice.choice([*words.attributes, "unknown"])
    owner.set(name, choice.choice([*words.values, *VALUES]))
    return f"{_path(owner)}/@{_local(name)} set to {owner.get(name)!r}"


def _add_foreign_attribute(choice: random.Random, root: Element, words: Words) -> str:
    owner = _any_element(choice, root)
    owner.set(f"{{{FOREIGN}}}mark", "x")
    return f"{_path(owner)} given a foreign attribute"


def _double_element(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_below(choice, root)
    if chosen is None:
        return None
    twin = copy.deepcopy(chosen)
    if keeps_ids := choice.random() < 0.2:
        description = f"{_path(chosen)} doubled with its IDs"
    else:
        description = f"{_path(chosen)} doubled"
    if not keeps_ids:
        _rename_ids(twin)
    chosen.addnext(twin)
    return description


def _retype_text(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_leaf(choice, root)
    if chosen is None:
        return None
    chosen.text = choice.choice(VALUES)
    return f"{_path(chosen)} now {chosen.text!r}"


def _known_text(choice: random.Random, root: Element, words: Words) -> str | None:
    """A text that another element, attribute or list has."""
    chosen = _any_leaf(choice, root)
    if chosen is None:
        return None
    chosen.text = choice.choice(words.values or VALUES)
    return f"{_path(chosen)} now {chosen.text!r}"


def _disguise_text(choice: random.Random, root: Element, words: Words) -> str | None:
    chosen = _any_leaf(choice, root)
    if chosen is None or not chosen.text:
        return None
    chosen.text = _disguised(choice, chosen.text)
    return f"{_path(chosen)} now {chosen.text!r}"


def _text_among_elements(choice: random.Random, root: Element, words: Words) -> str:
    chosen = _any_element(choice, root)
    chosen.text = choice.choice(["stray", " \n "])
    return f"{_path(chosen)} given the text {chosen.text!r}"


def _retype_attribute(choice: random.Random, root: Element, words: Words) -> str | None:
    return _set_attribute(choice, root, lambda before: choice.choice(VALUES))


def _known_value(choice: random.Random, root: Element, words: Words) -> str | None:
    return _set_attribute(choice, root, lambda before: choice.choice(words.values or VALUES))


def _disguise_attribute(choice: random.Random, root: Element, words: Words) -> str | None:
    return _set_attribute(choice, root, lambda before: _disguised(choice, before))


def _set_attribute(choice: random.Random, root: Element, value: Callable[[str], str]) -> str | None:
    chosen = _any_attribute(choice, root)
    if chosen is None:
        return None
    owner, name = chosen
    owner.set(name, value(str(owner.get(name))))
    return f"{_path(owner)}/@{_local(name)} now {owner.get(name)!r}"


def _change_namespace(choice: random.Random, root: Element, words: Words) -> str:
    chosen = _any_element(choice, root)
    path, name = _path(chosen), _local(chosen.tag)
    others = {_namespace(each) for each in words.elements} | {FOREIGN}
    namespace = choice.choice(sorted(others - {_namespace(chosen.tag)}))
    chosen.tag = f"{{{namespace}}}{name}" if choice.random() < 0.8 else name
    return f"{path} now {chosen.tag}"


def _repeat_id(choice: random.Random, root: Element, words: Words) -> str | None:
    owners = [(each, name) for each in root.iter("*") for name in each.attrib if _is_id(str(name))]
    if len(owners) < 2:
        return None
    (first, first_name), (second, second_name) = choice.sample(owners, 2)
    second.set(second_name, str(first.get(first_name)))
    return f"{_path(second)} given the ID of {_path(first)}"


EDITS: Sequence[Edit] = (
    *(_rename_element, _rename_attribute, _swap_siblings, _move_element, _remove_element, _unwrap_element),
    *(_remove_attribute, _empty_element, _add_element, _add_text_element, _copy_elsewhere),
    *(
        _add_foreign_element,
        _add_attribute,
        _add_foreign_attribute,
        _double_element,
        _retype_text,
        _known_text,
    ),
    *(_disguise_text, _text_among_elements, _retype_attribute, _known_value, _disguise_attribute),
    *(_change_namespace, _repeat_id),
)


def _any_element(choice: random.Random, root: Element) -> Element:
    return choice.choice(list(root.iter("*")))


def _any_below(choice: random.Random, root: Element) -> Element | None:
    below = list(root.iter("*"))[1:]
    return choice.choice(below) if below else None


def _any_leaf(choice: random.Random, root: Element) -> Element | None:
    leaves = [each for each in root.iter("*") if not len(each)]
    return choice.choice(leaves) if leaves else None


def _any_attribute(choice: random.Random, root: Element) -> tuple[Element, str] | None:
    found = [(each, str(name)) for each in root.iter("*") for name in each.attrib]
    return choice.choice(found) if found else None


def _of_same_namespace(name: str, words: Words) -> list[str]:
    namespace = _namespace(name)
    return [each for each in words.elements if _namespace(each) == namespace] or [name]


def _rename_ids(root: Element) -> None:
    for each in root.iter("*"):
        for name in each.attrib:
            if _is_id(str(name)):
                each.set(name, f"{each.get(name)}-2")


def _is_id(name: str) -> bool:
    return name in {"ID", "xmlID"}


def _is_xsi(name: str) -> bool:
    return name.startswith(XSI)


def _disguised(choice: random.Random, text: str) -> str:
    """The same in other letters, with blanks around it, or with a letter more or less."""
    ways = (
        f" {text} ",
        f"\n{text}",
        text.upper(),
        text.lower(),
        text.title(),
        f"{text}x",
        text[:-1],
        f"{text} {text}",
    )
    return choice.choice(ways)


def _other_case(name: str) -> str:
    namespace, local = _namespace(name), _local(name)
    other = local.swapcase()
    return f"{{{namespace}}}{other}" if namespace else other


def _namespace(name: str) -> str:
    return name[1:].split("}")[0] if name.startswith("{") else ""


def _local(name: str) -> str:
    return name.split("}")[-1]


def _path(element: Element) -> str:
    """Where an element is: names, with positions among siblings of one name where there are several."""
    steps = []
    for each in [element, *element.iterancestors()]:
        parent = each.getparent()
        alike = [] if parent is None else list(parent.iterchildren(each.tag))
        steps.append(_local(each.tag) + (f"[{alike.index(each) + 1}]" if len(alike) > 1 else ""))
    return "/".join(reversed(steps))


# ------------------------------------------------------------------------------------------------ verdicts


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdicts:
    """What two schemas say of one document: nothing, or what is wrong with it."""

    description: str
    ours: tuple[str, ...]
    official: tuple[str, ...]

    @property
    def agree(self) -> bool:
        """Whether both accept the document, or both reject it."""
        return bool(self.ours) == bool(self.official)

    @property
    def accepted(self) -> bool:
        """Whether the official schema accepts the document."""
        return not self.official

    def __str__(self) -> str:
        """Return what was changed and what either says, on a few lines."""
        said = [("ours", self.ours), ("official", self.official)]
        lines = [f"  {who} {'rejects: ' + says[0] if says else 'accepts'}" for who, says in said]
        return "\n".join([self.description, *lines])


def agree(
    sample: bytes, ours: etree.XMLSchema, official: etree.XMLSchema, description: str = "document"
) -> Verdicts:
    """Judge the bytes of a document by two schemas; a document is parsed anew for each."""
    return Verdicts(description=description, ours=_faults(ours, sample), official=_faults(official, sample))


def _faults(schema: etree.XMLSchema, sample: bytes) -> tuple[str, ...]:
    if schema.validate(etree.fromstring(sample)):
        return ()
    log: Iterable[Any] = schema.error_log  # type: ignore[assignment]  # the stubs say it is no sequence
    return tuple(f"line {each.line}: {each.message}" for each in log) or ("invalid",)


@dataclass(slots=True, kw_only=True)
class Tally:
    """How often two schemas agreed."""

    accepted: int = 0
    rejected: int = 0
    differences: list[Verdicts] = field(default_factory=list)

    def __str__(self) -> str:
        """Return the figures, and the first differences."""
        count = self.accepted + self.rejected + len(self.differences)
        figures = f"{count} documents: both accept {self.accepted}, both reject {self.rejected}"
        shown = [str(each) for each in self.differences[:10]]
        return "\n".join([f"{figures}, {len(self.differences)} judged differently", *shown])


def tally(samples: Iterable[tuple[str, Element]], ours: etree.XMLSchema, official: etree.XMLSchema) -> Tally:
    """Judge many documents by two schemas."""
    result = Tally()
    for description, root in samples:
        verdicts = agree(etree.tostring(root), ours, official, description)
        if not verdicts.agree:
            result.differences.append(verdicts)
        elif verdicts.accepted:
            result.accepted += 1
        else:
            result.rejected += 1
    return result


# ------------------------------------------------------------------------------------------------- loading


@functools.cache
def our_schema(name: str = "records") -> etree.XMLSchema:
    """The schema ``schemas/xml/<name>.xsd`` and what it imports."""
    return etree.XMLSchema(etree.parse(str(SCHEMAS / f"{name}.xsd"), etree.XMLParser(no_network=True)))


def official_schema(*names: str) -> etree.XMLSchema:
    """The publishers' files of these names, and what they import, as one schema; skips without them."""
    folder = os.environ.get(OFFICIAL_VARIABLE)
    if not folder:
        pytest.skip(
            f"the official schemas are not here; set {OFFICIAL_VARIABLE} to the folder that holds them"
        )
    return _official_schema(Path(folder).resolve(), names)


@functools.cache
def _official_schema(folder: Path, names: tuple[str, ...]) -> etree.XMLSchema:
    driver = etree.Element(f"{XSD}schema")
    for name in dict.fromkeys(names):
        namespace = etree.parse(str(folder / name)).getroot().get("targetNamespace")
        assert namespace
        etree.SubElement(driver, f"{XSD}import", namespace=namespace, schemaLocation=str(folder / name))
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local(folder))
    return etree.XMLSchema(etree.fromstring(etree.tostring(driver), parser))


class _Local(etree.Resolver):
    """Finds what a schema imports in its folder, by its name; never on the network."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def resolve(self, system_url: str, public_id: str, *context: Any) -> Any:
        here = str(self._folder / system_url.rsplit("/", 1)[-1])
        return self.resolve_filename(here, *context)  # type: ignore[attr-defined]  # the stubs lack it
