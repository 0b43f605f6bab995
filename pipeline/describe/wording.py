"""The words that a manifest adds to what the item record says, in each language that it speaks.

What people wrote in item.toml and pages.csv is passed on in their own words and languages; labels of
ours come in every language of `LANGUAGES`. To add a language, add its tag and its column to each table.
"""

from __future__ import annotations

from pipeline.model import LanguageMap, Light, LightKind, Person

LANGUAGES = ("en", "de")


def said(*texts: str) -> LanguageMap:
    """Return one text in each of `LANGUAGES`, in that order."""
    return LanguageMap(tuple((tag, (text,)) for tag, text in zip(LANGUAGES, texts, strict=True)))


# ------------------------------------------------------------------------------------ labels of metadata

SHELFMARK = said("Shelfmark", "Signatur")
DATE = said("Date", "Datierung")
PLACE = said("Place of origin", "Entstehungsort")
LANGUAGE = said("Language", "Sprache")
SCRIPT = said("Script", "Schrift")
MATERIAL = said("Material", "Material")
EXTENT = said("Extent", "Umfang")
SIZE = said("Dimensions (height × width)", "Maße (Höhe × Breite)")
SIZE_WITH_DEPTH = said("Dimensions (height × width × depth)", "Maße (Höhe × Breite × Tiefe)")
COLLECTION = said("Collection", "Bestand")
RIGHTS = said("Rights", "Rechte")
IDENTIFIER = said("Identifier", "Kennung")
PERSON = said("Person", "Person")
CREDIT = said("Credit", "Bildnachweis")

# ---------------------------------------------------------------------------------- labels of resources

CONTENTS = said("Contents", "Inhalt")
RECTO = said("Recto", "Vorderseite")
DORSE = said("Dorse", "Rückseite")
CATALOGUE_RECORD = said("Catalogue record", "Katalogeintrag")
MODS_RECORD = said("Description (MODS)", "Beschreibung (MODS)")
METS_RECORD = said("Structure (METS)", "Struktur (METS)")
FRONT_BOARD = said("Front cover", "Vorderdeckel")

# --------------------------------------------------------------------------------------------- of views

_VIEWS = {
    "front cover": "Vorderdeckel",
    "back cover": "Rückdeckel",
    "upper cover": "Vorderdeckel",
    "lower cover": "Rückdeckel",
    "front board": "Vorderdeckel",
    "back board": "Rückdeckel",
    "front pastedown": "Spiegel vorn",
    "back pastedown": "Spiegel hinten",
    "upper pastedown": "Spiegel vorn",
    "lower pastedown": "Spiegel hinten",
    "inside front cover": "Innenseite des Vorderdeckels",
    "inside back cover": "Innenseite des Rückdeckels",
    "spine": "Rücken",
    "head edge": "Kopfschnitt",
    "tail edge": "Fußschnitt",
    "fore edge": "Vorderschnitt",
    "fore-edge": "Vorderschnitt",
    "obverse": "Vorderseite",
    "reverse": "Rückseite",
    "recto": "Recto",
    "verso": "Verso",
    "front": "Vorderseite",
    "back": "Rückseite",
    "left edge": "Linke Kante",
    "right edge": "Rechte Kante",
    "top edge": "Obere Kante",
    "upper edge": "Obere Kante",
    "bottom edge": "Untere Kante",
    "lower edge": "Untere Kante",
    "envelope": "Umschlag",
}


def view_label(label: str) -> LanguageMap:
    """The label of a view: as it was written, and in the other languages too if it is a common word."""
    common = _VIEWS.get(label.casefold())
    return said(label, common) if common else LanguageMap.of(label)


def not_captured(label: LanguageMap) -> LanguageMap:
    """The label of a view of which there is no frame, saying so."""
    return _qualified(label, said("not captured", "nicht aufgenommen"))


def folded_not_captured(label: LanguageMap) -> LanguageMap:
    """The label of the folded state of a leaf that was captured unfolded only."""
    return _qualified(label, said("folded, not captured", "gefaltet, nicht aufgenommen"))


def in_light(label: LanguageMap, light: Light) -> LanguageMap:
    """The label of a view that shows it in one light only."""
    return _qualified(label, light_name(light))


def _qualified(label: LanguageMap, note: LanguageMap) -> LanguageMap:
    return said(*(f"{label.best(tag)} ({note.best(tag)})" for tag in LANGUAGES))


# --------------------------------------------------------------------------------------------- of light

_LIGHTS = {
    LightKind.NORMAL: ("Normal light", "Normallicht"),
    LightKind.RAKING: ("Raking light", "Streiflicht"),
    LightKind.TRANSMITTED: ("Transmitted light", "Durchlicht"),
    LightKind.ULTRAVIOLET: ("Ultraviolet", "Ultraviolett"),
    LightKind.INFRARED: ("Infrared", "Infrarot"),
}
_LIGHT_QUALIFIERS = {
    "left": "von links",
    "right": "von rechts",
    "top": "von oben",
    "bottom": "von unten",
    "above": "von oben",
    "below": "von unten",
    "fluorescence": "Fluoreszenz",
    "reflectance": "Reflexion",
    "reflected": "reflektiert",
    "transmitted": "durchscheinend",
}


def light_name(light: Light) -> LanguageMap:
    """What a kind of light is called, with what tells it from others of its kind."""
    english, german = _LIGHTS[light.kind]
    if not light.qualifier:
        return said(english, german)
    qualifier = _LIGHT_QUALIFIERS.get(light.qualifier.casefold(), light.qualifier)
    return said(f"{english}, {light.qualifier}", f"{german}, {qualifier}")


def access_image(width_px: int, height_px: int, light: Light | None) -> LanguageMap:
    """The label of an access image offered for download; `light` tells it from others of its view."""
    kind = f"JPEG, {width_px} × {height_px} px"
    return _qualified(LanguageMap.of(kind), light_name(light)) if light else LanguageMap.of(kind)


# -------------------------------------------------------------------------------------------- of people

_ROLES = {  # codes of the MARC list for relators
    "art": ("Artist", "Künstler"),
    "asn": ("Associated name", "Zugehöriger Name"),
    "aut": ("Author", "Verfasser"),
    "bnd": ("Binder", "Buchbinder"),
    "clb": ("Contributor", "Mitwirkender"),
    "cmm": ("Commentator", "Kommentator"),
    "cmp": ("Composer", "Komponist"),
    "col": ("Collector", "Sammler"),
    "com": ("Compiler", "Kompilator"),
    "cre": ("Creator", "Urheber"),
    "ctb": ("Contributor", "Mitwirkender"),
    "ctg": ("Cartographer", "Kartograf"),
    "dnr": ("Donor", "Schenker"),
    "dte": ("Dedicatee", "Widmungsempfänger"),
    "edt": ("Editor", "Herausgeber"),
    "egr": ("Engraver", "Stecher"),
    "fmo": ("Former owner", "Vorbesitzer"),
    "ill": ("Illustrator", "Illustrator"),
    "ilu": ("Illuminator", "Buchmaler"),
    "ins": ("Inscriber", "Beschrifter"),
    "own": ("Owner", "Besitzer"),
    "pat": ("Patron", "Auftraggeber"),
    "pbl": ("Publisher", "Verleger"),
    "pht": ("Photographer", "Fotograf"),
    "prt": ("Printer", "Drucker"),
    "rbr": ("Rubricator", "Rubrikator"),
    "rcp": ("Addressee", "Adressat"),
    "scr": ("Scribe", "Schreiber"),
    "spn": ("Sponsor", "Förderer"),
    "trc": ("Transcriber", "Transkribent"),
    "trl": ("Translator", "Übersetzer"),
}


def role_label(person: Person) -> LanguageMap:
    """What the person's part is called: by its code if it has a common one, else as it was written."""
    if common := _ROLES.get(person.role_code):
        return said(*common)
    return (
        LanguageMap.of(person.role[:1].upper() + person.role[1:]) if person.role else said("Person", "Person")
    )
