"""What languages and scripts are called, for the languages and scripts that such items are written in.

Source of the codes: BCP 47 with ISO 639-1, 639-2 and 639-3; ISO 15924. The names are common usage.
"""

from __future__ import annotations

from pipeline.describe.wording import said
from pipeline.model import LanguageMap

_LANGUAGES = {
    "af": ("Afrikaans", "Afrikaans"),
    "akk": ("Akkadian", "Akkadisch"),
    "am": ("Amharic", "Amharisch"),
    "ang": ("Old English", "Altenglisch"),
    "ar": ("Arabic", "Arabisch"),
    "arc": ("Aramaic", "Aramäisch"),
    "bg": ("Bulgarian", "Bulgarisch"),
    "bn": ("Bengali", "Bengali"),
    "bo": ("Tibetan", "Tibetisch"),
    "br": ("Breton", "Bretonisch"),
    "ca": ("Catalan", "Katalanisch"),
    "chg": ("Chagatai", "Tschagataisch"),
    "cop": ("Coptic", "Koptisch"),
    "cs": ("Czech", "Tschechisch"),
    "cu": ("Church Slavonic", "Kirchenslawisch"),
    "cy": ("Welsh", "Walisisch"),
    "da": ("Danish", "Dänisch"),
    "de": ("German", "Deutsch"),
    "dum": ("Middle Dutch", "Mittelniederländisch"),
    "egy": ("Egyptian", "Ägyptisch"),
    "el": ("Modern Greek", "Neugriechisch"),
    "elx": ("Elamite", "Elamisch"),
    "en": ("English", "Englisch"),
    "enm": ("Middle English", "Mittelenglisch"),
    "es": ("Spanish", "Spanisch"),
    "eu": ("Basque", "Baskisch"),
    "fa": ("Persian", "Persisch"),
    "fi": ("Finnish", "Finnisch"),
    "fr": ("French", "Französisch"),
    "frm": ("Middle French", "Mittelfranzösisch"),
    "fro": ("Old French", "Altfranzösisch"),
    "ga": ("Irish", "Irisch"),
    "gez": ("Geʽez", "Altäthiopisch"),
    "gmh": ("Middle High German", "Mittelhochdeutsch"),
    "gml": ("Middle Low German", "Mittelniederdeutsch"),
    "goh": ("Old High German", "Althochdeutsch"),
    "grc": ("Ancient Greek", "Altgriechisch"),
    "ha": ("Hausa", "Hausa"),
    "he": ("Hebrew", "Hebräisch"),
    "hi": ("Hindi", "Hindi"),
    "hit": ("Hittite", "Hethitisch"),
    "hr": ("Croatian", "Kroatisch"),
    "hu": ("Hungarian", "Ungarisch"),
    "hy": ("Armenian", "Armenisch"),
    "id": ("Indonesian", "Indonesisch"),
    "is": ("Icelandic", "Isländisch"),
    "it": ("Italian", "Italienisch"),
    "ja": ("Japanese", "Japanisch"),
    "jv": ("Javanese", "Javanisch"),
    "ka": ("Georgian", "Georgisch"),
    "kaw": ("Old Javanese", "Altjavanisch"),
    "ko": ("Korean", "Koreanisch"),
    "ku": ("Kurdish", "Kurdisch"),
    "la": ("Latin", "Latein"),
    "lad": ("Ladino", "Judenspanisch"),
    "lt": ("Lithuanian", "Litauisch"),
    "lzh": ("Classical Chinese", "Klassisches Chinesisch"),
    "mga": ("Middle Irish", "Mittelirisch"),
    "mn": ("Mongolian", "Mongolisch"),
    "ms": ("Malay", "Malaiisch"),
    "nl": ("Dutch", "Niederländisch"),
    "no": ("Norwegian", "Norwegisch"),
    "non": ("Old Norse", "Altnordisch"),
    "oc": ("Occitan", "Okzitanisch"),
    "ota": ("Ottoman Turkish", "Osmanisch"),
    "pal": ("Middle Persian", "Mittelpersisch"),
    "pi": ("Pali", "Pali"),
    "pl": ("Polish", "Polnisch"),
    "pro": ("Old Occitan", "Altokzitanisch"),
    "pt": ("Portuguese", "Portugiesisch"),
    "ro": ("Romanian", "Rumänisch"),
    "ru": ("Russian", "Russisch"),
    "sa": ("Sanskrit", "Sanskrit"),
    "sam": ("Samaritan Aramaic", "Samaritanisch"),
    "sga": ("Old Irish", "Altirisch"),
    "sk": ("Slovak", "Slowakisch"),
    "sl": ("Slovenian", "Slowenisch"),
    "sog": ("Sogdian", "Sogdisch"),
    "sr": ("Serbian", "Serbisch"),
    "sux": ("Sumerian", "Sumerisch"),
    "sv": ("Swedish", "Schwedisch"),
    "sw": ("Swahili", "Swahili"),
    "syc": ("Classical Syriac", "Klassisches Syrisch"),
    "syr": ("Syriac", "Syrisch"),
    "ta": ("Tamil", "Tamil"),
    "te": ("Telugu", "Telugu"),
    "th": ("Thai", "Thai"),
    "tr": ("Turkish", "Türkisch"),
    "txb": ("Tocharian B", "Tocharisch B"),
    "uga": ("Ugaritic", "Ugaritisch"),
    "ug": ("Uyghur", "Uigurisch"),
    "uk": ("Ukrainian", "Ukrainisch"),
    "ur": ("Urdu", "Urdu"),
    "vi": ("Vietnamese", "Vietnamesisch"),
    "xto": ("Tocharian A", "Tocharisch A"),
    "yi": ("Yiddish", "Jiddisch"),
    "zh": ("Chinese", "Chinesisch"),
    "mul": ("Multiple languages", "Mehrere Sprachen"),
    "und": ("Undetermined", "Nicht bestimmt"),
    "zxx": ("No linguistic content", "Kein sprachlicher Inhalt"),
}

_SCRIPTS = {
    "Arab": ("Arabic", "Arabisch"),
    "Armn": ("Armenian", "Armenisch"),
    "Beng": ("Bengali", "Bengalisch"),
    "Brah": ("Brahmi", "Brahmi"),
    "Copt": ("Coptic", "Koptisch"),
    "Cyrl": ("Cyrillic", "Kyrillisch"),
    "Cyrs": ("Old Church Slavonic Cyrillic", "Altkirchenslawisches Kyrillisch"),
    "Deva": ("Devanagari", "Devanagari"),
    "Egyd": ("Demotic", "Demotisch"),
    "Egyh": ("Hieratic", "Hieratisch"),
    "Egyp": ("Hieroglyphic", "Hieroglyphen"),
    "Ethi": ("Ethiopic", "Äthiopisch"),
    "Geor": ("Georgian", "Georgisch"),
    "Glag": ("Glagolitic", "Glagolitisch"),
    "Goth": ("Gothic", "Gotisch"),
    "Grek": ("Greek", "Griechisch"),
    "Hani": ("Chinese characters", "Chinesische Schriftzeichen"),
    "Hans": ("Simplified Chinese", "Vereinfachtes Chinesisch"),
    "Hant": ("Traditional Chinese", "Traditionelles Chinesisch"),
    "Hebr": ("Hebrew", "Hebräisch"),
    "Java": ("Javanese", "Javanisch"),
    "Jpan": ("Japanese", "Japanisch"),
    "Khmr": ("Khmer", "Khmer"),
    "Kore": ("Korean", "Koreanisch"),
    "Latf": ("Latin (Fraktur)", "Lateinisch (Fraktur)"),
    "Latg": ("Latin (Gaelic)", "Lateinisch (gälisch)"),
    "Latn": ("Latin", "Lateinisch"),
    "Mand": ("Mandaic", "Mandäisch"),
    "Mong": ("Mongolian", "Mongolisch"),
    "Ogam": ("Ogham", "Ogham"),
    "Phnx": ("Phoenician", "Phönizisch"),
    "Runr": ("Runic", "Runen"),
    "Samr": ("Samaritan", "Samaritanisch"),
    "Syrc": ("Syriac", "Syrisch"),
    "Taml": ("Tamil", "Tamilisch"),
    "Tibt": ("Tibetan", "Tibetisch"),
    "Ugar": ("Ugaritic", "Ugaritisch"),
    "Xpeo": ("Old Persian", "Altpersisch"),
    "Xsux": ("Cuneiform", "Keilschrift"),
}


def language_name(tag: str) -> LanguageMap:
    """What the language of a BCP 47 tag is called; further subtags follow in brackets.

    The tag itself stands for a language that is not in the table.
    """
    primary, _, rest = tag.partition("-")
    names = _LANGUAGES.get(primary.lower())
    if names is None:
        return LanguageMap.of(tag)
    scripts = _SCRIPTS.get(rest.title(), (rest, rest))
    return said(*(f"{name} ({more})" if more else name for name, more in zip(names, scripts, strict=True)))


def script_name(code: str) -> LanguageMap:
    """What the script of an ISO 15924 code is called; the code itself if it is not in the table."""
    names = _SCRIPTS.get(code.title())
    return said(*names) if names else LanguageMap.of(code)
