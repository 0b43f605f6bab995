"""What a MIX record says of an image, as it was written."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.specs import mix
from pipeline.verify.metadata.documents import place_of, text_of
from pipeline.xmldoc import Element

_PREFIX = f"{{{mix.NAMESPACE}}}"
MIX_ROOT = f"{_PREFIX}mix"

_RATIONALS = frozenset(("xSamplingFrequency", "ySamplingFrequency"))
_BITS = "bitsPerSampleValue"
_FIXITY = "Fixity"
_LEAVES = (
    *("objectIdentifierValue", "fileSize", "formatName", "formatRegistryName", "formatRegistryKey"),
    *("byteOrder", "compressionScheme", "imageWidth", "imageHeight", "colorSpace", "iccProfileName"),
    *("iccProfileVersion", "yCbCrSubsampleHoriz", "yCbCrSubsampleVert", "yCbCrPositioning", "tileWidth"),
    *("tileHeight", "qualityLayers", "resolutionLevels", "orientation", "samplingFrequencyPlane"),
    *("samplingFrequencyUnit", "bitsPerSampleUnit", "samplesPerPixel"),
)
_READ = tuple(f"{_PREFIX}{name}" for name in (*_LEAVES, *sorted(_RATIONALS), _BITS, _FIXITY))


@dataclass(frozen=True, slots=True, kw_only=True)
class MixRecord:
    """One record. Texts are trimmed; what is absent is absent from `values`."""

    place: str
    values: dict[str, str]
    """By the name of the leaf; a fraction as ``600/1``."""
    bits: tuple[str, ...] = ()
    """Every bitsPerSampleValue."""
    fixity: tuple[tuple[str, str], ...] = ()
    """Pairs of algorithm and digest."""
    present: frozenset[str] = frozenset()
    """The names of all elements that have a value: leaves, and fractions as a whole."""


def mix_records(path: str, root: Element, within: str = "") -> Iterator[MixRecord]:
    """Yield every record at or below an element; `within` describes what it stands in, if that is known."""
    for element in root.iter(MIX_ROOT):
        yield _record(path, element, within)


def _record(path: str, root: Element, within: str) -> MixRecord:
    values: dict[str, str] = {}
    bits: list[str] = []
    fixity: list[tuple[str, str]] = []
    for element in root.iter(*_READ):
        name = str(element.tag)[len(_PREFIX) :]
        if name == _BITS:
            bits.append((element.text or "").strip())
        elif name == _FIXITY:
            algorithm = text_of(element, f"{_PREFIX}messageDigestAlgorithm")
            fixity.append((algorithm, text_of(element, f"{_PREFIX}messageDigest")))
        elif name in _RATIONALS:
            values[name] = _fraction(element)
        elif text := (element.text or "").strip():
            values.setdefault(name, text)
    return MixRecord(
        place=place_of(path, root, within),
        values=values,
        bits=tuple(bits),
        fixity=tuple(fixity),
        present=_shared(frozenset(_present(root))),
    )


_NUMERATOR = f"{_PREFIX}numerator"


def _present(root: Element) -> Iterator[str]:
    for element in root.iter(f"{_PREFIX}*"):
        if (text := element.text) and not text.isspace():
            is_part = element.tag == _NUMERATOR
            named = element.getparent() if is_part else element
            if named is not None:
                yield str(named.tag)[len(_PREFIX) :]


@functools.lru_cache(maxsize=256)
def _shared(names: frozenset[str]) -> frozenset[str]:
    """Return one set for all that are equal: records of one bundle mostly have the same values."""
    return names


def _fraction(element: Element) -> str:
    numerator = text_of(element, f"{_PREFIX}numerator")
    return f"{numerator}/{text_of(element, f'{_PREFIX}denominator') or '1'}"
