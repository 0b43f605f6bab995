"""Language tags: their form, and what two letters can be.

Source: BCP 47 (RFC 5646, section 2.1); ISO 639-1, and ISO 639-2 in both of its forms for the languages that
have two letters; the subtag registry for the two-letter codes that were withdrawn.
"""

from __future__ import annotations

import re
from types import MappingProxyType

NONE = "none"
"""Not a tag: what IIIF writes for a text of no language (Presentation API 3.0, section 4.4)."""

_TAG = re.compile(
    r"(?:[a-z]{2,3}(?:-[a-z]{3}){0,3}|[a-z]{4,8})"
    r"(?:-(?P<script>[a-z]{4}))?"
    r"(?:-(?P<region>[a-z]{2}|[0-9]{3}))?"
    r"(?:-(?:[a-z0-9]{5,8}|[0-9][a-z0-9]{3}))*"
    r"(?:-[0-9a-wy-z](?:-[a-z0-9]{2,8})+)*"
    r"(?:-x(?:-[a-z0-9]{1,8})+)?"
    r"|x(?:-[a-z0-9]{1,8})+",
    re.IGNORECASE,
)
_GRANDFATHERED = frozenset(
    re.split(
        " ",
        "en-gb-oed i-ami i-bnn i-default i-enochian i-hak i-klingon i-lux i-mingo i-navajo i-pwn i-tao i-tay "
        "i-tsu sgn-be-fr sgn-be-nl sgn-ch-de art-lojban cel-gaulish no-bok no-nyn zh-guoyu zh-hakka zh-min "
        "zh-min-nan zh-xiang",
    )
)

_TWO_LETTERS = re.findall(
    r"\S+",
    """
    aa aar ab abk ae ave af afr ak aka am amh an arg ar ara as asm av ava ay aym az aze ba bak be bel bg
    bul bi bis bm bam bn ben bo bod,tib br bre bs bos ca cat ce che ch cha co cos cr cre cs ces,cze cu
    chu cv chv cy cym,wel da dan de deu,ger dv div dz dzo ee ewe el ell,gre en eng eo epo es spa et est
    eu eus,baq fa fas,per ff ful fi fin fj fij fo fao fr fra,fre fy fry ga gle gd gla gl glg gn grn gu
    guj gv glv ha hau he heb hi hin ho hmo hr hrv ht hat hu hun hy hye,arm hz her ia ina id ind ie ile
    ig ibo ii iii ik ipk io ido is isl,ice it ita iu iku ja jpn jv jav ka kat,geo kg kon ki kik kj kua
    kk kaz kl kal km khm kn kan ko kor kr kau ks kas ku kur kv kom kw cor ky kir la lat lb ltz lg lug li
    lim ln lin lo lao lt lit lu lub lv lav mg mlg mh mah mi mri,mao mk mkd,mac ml mal mn mon mr mar ms
    msa,may mt mlt my mya,bur na nau nb nob nd nde ne nep ng ndo nl nld,dut nn nno no nor nr nbl nv nav
    ny nya oc oci oj oji om orm or ori os oss pa pan pi pli pl pol ps pus pt por qu que rm roh rn run ro
    ron,rum ru rus rw kin sa san sc srd sd snd se sme sg sag si sin sk slk,slo sl slv sm smo sn sna so
    som sq sqi,alb sr srp ss ssw st sot su sun sv swe sw swa ta tam te tel tg tgk th tha ti tir tk tuk
    tl tgl tn tsn to ton tr tur ts tso tt tat tw twi ty tah ug uig uk ukr ur urd uz uzb ve ven vi vie vo
    vol wa wln wo wol xh xho yi yid yo yor za zha zh zho,chi zu zul
    """,
)

_LONGER = dict(zip(_TWO_LETTERS[::2], _TWO_LETTERS[1::2], strict=True))

SHORTER = MappingProxyType({code: short for short, codes in _LONGER.items() for code in codes.split(",")})
"""The two letters that stand for three (RFC 5646, section 4.1: the shortest code is to be used)."""

_WITHDRAWN = MappingProxyType({"in": "id", "iw": "he", "ji": "yi", "jw": "jv", "mo": "ro", "sh": "sr-Latn"})

_MISTAKEN = MappingProxyType(
    {"cz": "cs", "dk": "da", "gr": "el", "jp": "ja", "cn": "zh", "gb": "en-GB", "us": "en-US", "at": "de-AT"}
)
"""Countries that are written for languages; all of these are free as language codes."""


def has_form(tag: str) -> bool:
    """True if `tag` has the form of a language tag."""
    return _TAG.fullmatch(tag) is not None or tag.lower() in _GRANDFATHERED


def unknown(tag: str) -> str:
    """Return why a tag of the right form is of no language; empty if it is of one, or may well be.

    No language has a code of four to eight letters; those of two are known, those of three are not judged.
    """
    primary = tag.split("-")[0].lower()
    if len(primary) > 3 and tag.lower() not in _GRANDFATHERED:
        return f"{primary} is no language"
    if len(primary) == 2 and primary not in _LONGER and primary not in _WITHDRAWN:
        meant = f"; {_MISTAKEN[primary]} is meant?" if primary in _MISTAKEN else ""
        return f"{primary} is no language{meant}"
    return ""


def better(tag: str) -> str:
    """Return the tag that is to be used instead of one that means the same; empty if there is none."""
    primary, hyphen, rest = tag.partition("-")
    short = SHORTER.get(primary.lower()) or _WITHDRAWN.get(primary.lower())
    return f"{short}{hyphen}{rest}" if short else ""
