"""What a schema has against a document, said so that a person who knows no schema languages can act on it.

Rewrites the messages of libxml2, which name types and namespaces rather than what to do.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from pipeline.files import visible
from pipeline.specs import xlink

_SUBJECT = re.compile(
    r"Element '(?P<element>[^']*)'(?:, attribute '(?P<attribute>[^']*)')?: (?P<rest>.*)", re.DOTALL
)
_NAMESPACE = re.compile(r"(?:##other)?\{[^{}\s]*\}")
_LISTED = re.compile(r"'([^']*)'")
_NAMES_SHOWN = 13
_LETTERS_SHOWN = 80

_KINDS = {
    "anyURI": "an address",
    "base64Binary": "Base64",
    "boolean": "true or false",
    "date": "a date such as 2026-03-09",
    "dateTime": "a date and time such as 2026-03-09T12:00:00Z",
    "decimal": "a number",
    "double": "a number",
    "float": "a number",
    "ID": "an identifier: a letter or _ first, no blanks, colons or slashes",
    "IDREF": "the ID of one element",
    "IDREFS": "IDs of elements, with blanks between",
    "int": "a whole number of at most 32 bits",
    "integer": "a whole number",
    "language": "a language tag such as en or de-AT",
    "long": "a whole number of at most 64 bits",
    "nonNegativeInteger": "a whole number, 0 or more",
    "positiveInteger": "a whole number, 1 or more",
    "time": "a time such as 12:00:00",
}
"""Types of XML Schema 1.0, part 2, in words."""

_BOUNDS = {
    "minInclusive": "at least",
    "maxInclusive": "at most",
    "minExclusive": "more than",
    "maxExclusive": "less than",
    "length": "a length of",
    "minLength": "a length of at least",
    "maxLength": "a length of at most",
    "totalDigits": "digits, at most",
    "fractionDigits": "digits after the point, at most",
}
"""Facets of XML Schema 1.0, part 2, section 4.3."""


def reworded(message: str, *, stranger: str = "") -> str:
    """Return a message of libxml2 about a document and its schema in our words, on one line.

    `stranger` says what namespace the element is of where that is not the namespace around it.
    """
    match = _SUBJECT.fullmatch(message.strip())
    if match is None:
        return visible(_plain(message))
    element, attribute = _plain(match["element"]), match["attribute"]
    what = f"the attribute {_attribute(attribute)} of {element}" if attribute else element
    for pattern, words in _WORDINGS:
        if found := pattern.fullmatch(match["rest"]):
            return visible(words(f"{element} of {stranger}" if stranger else element, what, found))
    return visible(f"{what}: {_plain(match['rest'])}")


def subject(message: str) -> str:
    """Return what a message is about: two about the same say one thing in two ways."""
    match = _SUBJECT.fullmatch(message.strip())
    return f"{match['element']} {match['attribute']}" if match else message


def quoted(value: str) -> str:
    """Return a value as it is shown: in quotes, its end left out if it is long."""
    return f'"{value}"' if len(value) <= _LETTERS_SHOWN else f'"{value[:_LETTERS_SHOWN]}…"'


# ------------------------------------------------------------------------- one function for each message

_Words = Callable[[str, str, "re.Match[str]"], str]
"""Makes a sentence of the element's name, of what the message is about, and of the message."""


def _unexpected(element: str, what: str, found: re.Match[str]) -> str:
    return f"{element} is not allowed here{_expected(found['names'])}"


def _incomplete(element: str, what: str, found: re.Match[str]) -> str:
    return f"{element} is not complete{_expected(found['names'])}"


def _expected(names: str | None) -> str:
    if not names:
        return ""
    named = dict.fromkeys(_plain(each).replace("*", "any element") for each in names.split(", "))
    return f"; expected {_choice(list(named))}"


def _forbidden_attribute(element: str, what: str, found: re.Match[str]) -> str:
    return f"{element} has no attribute {_attribute(found['name'])}"


def _missing_attribute(element: str, what: str, found: re.Match[str]) -> str:
    return f"{element} lacks the attribute {_attribute(found['name'])}"


def _not_listed(element: str, what: str, found: re.Match[str]) -> str:
    listed = _LISTED.findall(found["values"])
    return f"{what} is {quoted(found['value'])}; expected {_choice([quoted(each) for each in listed])}"


def _not_of_type(element: str, what: str, found: re.Match[str]) -> str:
    kind = (found["kind"] or "").rpartition("}")[2].removeprefix("xs:")
    named = f"a value of the type {kind}" if kind else "another kind of value"
    return f"{what} is {quoted(found['value'])}; expected {_KINDS.get(kind, named)}"


def _outside_bounds(element: str, what: str, found: re.Match[str]) -> str:
    if (bound := _BOUNDS.get(found["facet"])) is None:
        return f"{what} is {quoted(found['value'])}, which {_plain(found['reason']).removesuffix('.')}"
    return f"{what} is {quoted(found['value'])}; expected {bound} {found['limit']}"


def _other_than_pattern(element: str, what: str, found: re.Match[str]) -> str:
    return f"{what} is {quoted(found['value'])}; expected the form {found['pattern']}"


def _other_than_fixed(element: str, what: str, found: re.Match[str]) -> str:
    return f"{what} is {quoted(found['value'])}; expected {quoted(found['fixed'])}"


def _saying(words: str) -> _Words:
    def say(element: str, what: str, found: re.Match[str]) -> str:
        return f"{element} {words}"

    return say


_EXPECTED = r"(?: Expected is (?:one of )?\( (?P<names>.*) \)\.)?"
_WORDINGS: tuple[tuple[re.Pattern[str], _Words], ...] = tuple(
    (re.compile(pattern, re.DOTALL), words)
    for pattern, words in (
        (rf"This element is not expected\.{_EXPECTED}", _unexpected),
        (rf"Missing child element\(s\)\.{_EXPECTED}", _incomplete),
        (r"The attribute '(?P<name>.*)' is not allowed\.", _forbidden_attribute),
        (r"The attribute '(?P<name>.*)' is required but missing\.", _missing_attribute),
        (
            r"\[facet 'enumeration'\] The value '(?P<value>.*)' is not an element of the set "
            r"\{(?P<values>.*)\}\.",
            _not_listed,
        ),
        (
            r"\[facet 'pattern'\] The value '(?P<value>.*)' is not accepted by the pattern "
            r"'(?P<pattern>.*)'\.",
            _other_than_pattern,
        ),
        (
            r"\[facet '(?P<facet>\w+)'\] The value '(?P<value>.*)' "
            r"(?P<reason>(?:has|is) .*?'?(?P<limit>[^' ]*)'?\)?\.)",
            _outside_bounds,
        ),
        (
            r"'(?P<value>.*)' is not a valid value of the (?:local )?(?:atomic|list|union) type"
            r"(?: '(?P<kind>[^']*)')?\.",
            _not_of_type,
        ),
        (
            r"The value '(?P<value>.*)' does not match the fixed value constraint '(?P<fixed>.*)'\.",
            _other_than_fixed,
        ),
        (
            r"Character content other than whitespace is not allowed because .*",
            _saying("may hold elements, not text"),
        ),
        (r"Character content is not allowed, because .*", _saying("must be empty, and holds text")),
        (
            r"Element content is not allowed, because the content type is empty\.",
            _saying("must be empty, and holds elements"),
        ),
        (r"Element content is not allowed, because .*", _saying("may hold text, not elements")),
        (
            r"No matching global declaration available for the validation root\.",
            _saying("is the root, and no schema at hand has such a root"),
        ),
        (
            r"No matching global (?:element )?declaration available, but demanded by the strict wildcard\.",
            _saying("is described by no schema at hand"),
        ),
        (r"The type definition is abstract\.", _saying("does not say by xsi:type what kind it is of")),
        (
            r"The QName value '.*' of the attribute '.*' does not resolve to a type definition\.",
            _saying("has an xsi:type that is not known"),
        ),
    )
)
"""Messages of libxml2 2.9 to 2.14 (xmlschemas.c); others are shown as they are, without namespaces."""


def _plain(text: str) -> str:
    return _NAMESPACE.sub("", text)


def _attribute(name: str) -> str:
    """Return an attribute's name as it is mostly written: with a prefix, or with whose it is."""
    namespace, _, local = name.rpartition("}")
    namespace = namespace.removeprefix("{")
    if prefix := _PREFIXES.get(namespace):
        return f"{prefix}:{local}"
    return f"{local} of {namespace}" if namespace else local


_PREFIXES = {xlink.NAMESPACE: "xlink", xlink.XML_NAMESPACE: "xml", xlink.SCHEMA_INSTANCE: "xsi"}


def _choice(names: list[str]) -> str:
    """Return names as one choice; of very many only the first."""
    shown, hidden = names[:_NAMES_SHOWN], len(names) - _NAMES_SHOWN
    if hidden > 0:
        return f"{', '.join(shown)} or one of {hidden} more"
    return " or ".join(filter(None, [", ".join(shown[:-1]), shown[-1]]))
