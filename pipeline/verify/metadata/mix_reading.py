"""What a MIX record says of an image, as it was written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.specs import mix
from pipeline.verify.metadata.documents import line_of, place_of
from pipeline.xmldoc import Element

_PREFIX = f"{{{mix.NAMESPACE}}}"
MIX_ROOT = f"{_PREFIX}mix"

_RATIONALS = frozenset(f"{_PREFIX}{name}" for name in ("xSamplingFrequency", "ySamplingFrequency"))
_LEAVES = frozenset(
    f"{_PREFIX}{name}"
    for name in (
        *("objectIdentifierValue", "fileSize", "formatName", "formatRegistryName", "formatRegistryKey"),
        *("byteOrder", "compressionScheme", "imageWidth", "imageHeight", "colorSpace", "iccProfileName"),
        *("iccProfileVersion", "yCbCrSubsampleHoriz", "yCbCrSubsampleVert", "yCbCrPositioning", "tileWidth"),
        *("tileHeight", "qualityLayers", "resolutionLevels", "orientation", "samplingFrequencyPlane"),
        *("samplingFrequencyUnit", "bitsPerSampleUnit", "samplesPerPixel"),
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MixRecord:
    """One record. Texts are trimmed; what is absent is absent from `values`."""

    place: str
    line: int
    values: dict[str, str]
    """By the name of the leaf; a fraction as ``600/1``."""
    bits: tuple[str, ...] = ()
    """Every bitsPerSampleValue."""
    fixity: tuple[tuple[str, str], ...] = ()
    """Pairs of algorithm and digest."""


def mix_records(path: str, root: Element) -> Iterator[MixRecord]:
    """Yield every record at or below an element."""
    for element in root.iter(MIX_ROOT):
        yield _record(path, element)


def _record(path: str, root: Element) -> MixRecord:
    values: dict[str, str] = {}
    bits: list[str] = []
    fixity: list[tuple[str, str]] = []
    for element in root.iter(f"{_PREFIX}*"):
        name = str(element.tag)
        if name in _LEAVES:
            if text := (element.text or "").strip():
                values.setdefault(name[len(_PREFIX) :], text)
        elif name in _RATIONALS:
            values[name[len(_PREFIX) :]] = _fraction(element)
        elif name == _BITS:
            bits.append((element.text or "").strip())
        elif name == _FIXITY:
            fixity.append((_text_of(element, "messageDigestAlgorithm"), _text_of(element, "messageDigest")))
    return MixRecord(
        place=place_of(path, root), line=line_of(root), values=values, bits=tuple(bits), fixity=tuple(fixity)
    )


_BITS = f"{_PREFIX}bitsPerSampleValue"
_FIXITY = f"{_PREFIX}Fixity"


def _text_of(element: Element, name: str) -> str:
    return (element.findtext(f"{_PREFIX}{name}") or "").strip()


def _fraction(element: Element) -> str:
    return f"{_text_of(element, 'numerator')}/{_text_of(element, 'denominator') or '1'}"
