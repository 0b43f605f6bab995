"""MODS 3.8: namespace, terms, and the codes of languages that its records use.

Source: Metadata Object Description Schema 3.8 (September 2022); terms of typeOfResource as 3.6 still
enforced them; ISO 639-2/B as its registration authority lists it; MARC code list for relators.
"""

from __future__ import annotations

import enum
import re

from pipeline.model import ItemKind

NAMESPACE = "http://www.loc.gov/mods/v3"
PREFIX = "mods"
VERSION = "3.8"
"""`version` of a record, and MDTYPEVERSION in METS."""
SCHEMA_LOCATION = "http://www.loc.gov/standards/mods/v3/mods-3-8.xsd"


class DateEncoding(enum.StrEnum):
    """How a date is written."""

    W3CDTF = "w3cdtf"
    EDTF = "edtf"


class RelatedType(enum.StrEnum):
    """How another resource belongs to the one described."""

    HOST = "host"
    CONSTITUENT = "constituent"


class Reformatting(enum.StrEnum):
    """What the digital copy is good for."""

    ACCESS = "access"
    PRESERVATION = "preservation"


REFORMATTED = "reformatted digital"
"""digitalOrigin of what was photographed."""

USE_AND_REPRODUCTION = "use and reproduction"
"""accessCondition/@type of a rights statement."""

OBJECT_IN_CONTEXT = "object in context"
"""url/@access of a page that shows the object among other things."""

TYPES_OF_RESOURCE = {
    ItemKind.CODEX: "text",
    ItemKind.SHEET: "text",
    ItemKind.LETTER: "text",
    ItemKind.SCROLL: "text",
    ItemKind.FRAGMENT: "text",
    ItemKind.TABLET: "text",
    ItemKind.PHOTOGRAPH: "still image",
    ItemKind.ALBUM: "still image",
    ItemKind.MAP: "cartographic",
}
"""typeOfResource by kind of item."""

WRITTEN_BY_HAND = frozenset(
    (
        ItemKind.CODEX,
        ItemKind.SHEET,
        ItemKind.LETTER,
        ItemKind.SCROLL,
        ItemKind.FRAGMENT,
        ItemKind.TABLET,
    )
)
"""Kinds whose typeOfResource says manuscript: single objects, not copies of an edition."""

COLLECTIONS = frozenset((ItemKind.ALBUM,))
"""Kinds whose typeOfResource says collection."""

# ------------------------------------------------------------------------------------------ authorities

ISO_639_2B = "iso639-2b"
ISO_639_3 = "iso639-3"
BCP_47 = "rfc5646"
ISO_15924 = "iso15924"
RELATORS = "marcrelator"
RELATORS_URI = "http://id.loc.gov/vocabulary/relators"

_RELATOR = re.compile(r"[a-z]{3}")


def is_relator(code: str) -> bool:
    """True for what has the form of a MARC relator code."""
    return _RELATOR.fullmatch(code) is not None


_TWO_LETTERS = (
    "aa:aar ab:abk ae:ave af:afr ak:aka am:amh an:arg ar:ara as:asm av:ava ay:aym az:aze ba:bak be:bel "
    "bg:bul bi:bis bm:bam bn:ben bo:tib br:bre bs:bos ca:cat ce:che ch:cha co:cos cr:cre cs:cze cu:chu "
    "cv:chv cy:wel da:dan de:ger dv:div dz:dzo ee:ewe el:gre en:eng eo:epo es:spa et:est eu:baq fa:per "
    "ff:ful fi:fin fj:fij fo:fao fr:fre fy:fry ga:gle gd:gla gl:glg gn:grn gu:guj gv:glv ha:hau he:heb "
    "hi:hin ho:hmo hr:hrv ht:hat hu:hun hy:arm hz:her ia:ina id:ind ie:ile ig:ibo ii:iii ik:ipk io:ido "
    "is:ice it:ita iu:iku ja:jpn jv:jav ka:geo kg:kon ki:kik kj:kua kk:kaz kl:kal km:khm kn:kan ko:kor "
    "kr:kau ks:kas ku:kur kv:kom kw:cor ky:kir la:lat lb:ltz lg:lug li:lim ln:lin lo:lao lt:lit lu:lub "
    "lv:lav mg:mlg mh:mah mi:mao mk:mac ml:mal mn:mon mr:mar ms:may mt:mlt my:bur na:nau nb:nob nd:nde "
    "ne:nep ng:ndo nl:dut nn:nno no:nor nr:nbl nv:nav ny:nya oc:oci oj:oji om:orm or:ori os:oss pa:pan "
    "pi:pli pl:pol ps:pus pt:por qu:que rm:roh rn:run ro:rum ru:rus rw:kin sa:san sc:srd sd:snd se:sme "
    "sg:sag si:sin sk:slo sl:slv sm:smo sn:sna so:som sq:alb sr:srp ss:ssw st:sot su:sun sv:swe sw:swa "
    "ta:tam te:tel tg:tgk th:tha ti:tir tk:tuk tl:tgl tn:tsn to:ton tr:tur ts:tso tt:tat tw:twi ty:tah "
    "ug:uig uk:ukr ur:urd uz:uzb ve:ven vi:vie vo:vol wa:wln wo:wol xh:xho yi:yid yo:yor za:zha zh:chi "
    "zu:zul"
)
_THREE_LETTERS = (
    "akk ang arc ast ban bat bej ber bho bra bug chb chg chn chp chr cop crh csb dar del doi dsb dum "
    "egy elx enm fro frm frr fur gaa gez gmh goh gon got grc gsw haw hit hmn hsb jav jpr jrb kaa kab "
    "kac kaw kha kho kok kru lad lam lez mad mag mai mak man mas mga min mnc mni moh mos mul mwr myn "
    "nah nap nds new non nwc ota pal pam peo phn pro raj rap rom rup sad sah sam sas sat scn sco sel "
    "sem sga shn sid sit sla smi sog son srr suk sus sux syc syr tem tet tig tlh tli tmh tog tup tut "
    "udm uga und vai vot wen yao zap zen znd zxx zza mis"
)

_ISO_639_2B = {pair[:2]: pair[3:] for pair in _TWO_LETTERS.split()} | {
    code: code for code in _THREE_LETTERS.split()
}


_RARER = (
    "ace ach ada ady afa afh ain ale alg alt anp apa arn arp art arw ath aus awa bad bai bal bas bem bih "
    "bik bin bla bnt btk bua byn cad cai car cau ceb cel chk chm cho chy cmc cnr cpe cpf cpp crp cus dak "
    "day den dgr din dra dua dyu efi eka ewo fan fat fil fiu fon frs gay gba gem gil gor grb gwi hai hil "
    "him hup iba ijo ilo inc ine inh ira iro jbo kam kar kbd khi kmb kos kpe krc krl kro kum kut lah lol "
    "loz lua lui lun luo lus map mdf mdr men mic mkh mno mun mus mwl myv nai nia nic niu nog nqo nso nub "
    "nym nyn nyo nzi osa oto paa pag pap pau phi pon pra rar roa sai sal sgn sio sma smj smn sms snk srn "
    "ssa tai ter tiv tkl tpi tsi tum tvl tyv umb wak wal war was xal yap ypk zbl zgh zun "
)
"""Groups of languages and languages that old writings hardly have: known, never written by us."""
_LOCAL = re.compile("q[a-t][a-z]")
"""qaa to qtz: for local use."""

TERMINOLOGY_CODES = {
    "bod": "tib",
    "ces": "cze",
    "cym": "wel",
    "deu": "ger",
    "ell": "gre",
    "eus": "baq",
    "fas": "per",
    "fra": "fre",
    "hye": "arm",
    "isl": "ice",
    "kat": "geo",
    "mkd": "mac",
    "mri": "mao",
    "msa": "may",
    "mya": "bur",
    "nld": "dut",
    "ron": "rum",
    "slk": "slo",
    "sqi": "alb",
    "zho": "chi",
}
"""Codes of ISO 639-2/T and ISO 639-3 where 639-2/B has another."""

_ALL_ISO_639_2B = frozenset({*_ISO_639_2B.values(), *_RARER.split()})


def is_iso639_2b(code: str) -> bool:
    """True for a code of ISO 639-2/B, those for local use included."""
    return code in _ALL_ISO_639_2B or _LOCAL.fullmatch(code) is not None


def iso639_2b(tag: str) -> str:
    """Return the ISO 639-2/B code of the language of a BCP 47 tag, or nothing if it has none here.

    The table has all two-letter codes, and of the others those that old writings are likely to need.
    """
    return _ISO_639_2B.get(tag.partition("-")[0].lower(), "")


def is_iso15924(code: str) -> bool:
    """True for what has the form of a code of ISO 15924, as ``Latn``."""
    return re.fullmatch("[A-Z][a-z]{3}", code) is not None


def is_iso639_3(tag: str) -> bool:
    """True if the language of a BCP 47 tag is a three-letter code, which is then one of ISO 639-3."""
    return re.fullmatch("[a-z]{3}", tag.partition("-")[0].lower()) is not None


def script_of(tag: str) -> str:
    """Return the ISO 15924 code in a BCP 47 tag, as ``Arab`` in ``az-Arab``, or nothing."""
    subtags = tag.split("-")[1:]
    return next((each.title() for each in subtags if re.fullmatch("[A-Za-z]{4}", each)), "")
