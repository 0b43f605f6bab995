"""Values of a record beside those of the file itself: MIX and PREMIS, term by term."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple

from pipeline.model import MM_PER_INCH, MasterFacts, MasterFormat, ResolutionUnit
from pipeline.specs import mix, pronom, tiff
from pipeline.verify.evidence import FileReading
from pipeline.verify.metadata.mets_reading import digest_name
from pipeline.verify.metadata.mix_reading import MixRecord
from pipeline.verify.metadata.premis_reading import PremisObject


class Difference(NamedTuple):
    """One value that is not that of the file."""

    name: str
    said: str
    found: str
    is_certain: bool = True
    """False if the wording is not understood: free text that may mean the same."""

    @property
    def is_digest(self) -> bool:
        """True for a digest: the record is of another file."""
        return self.name.startswith(_DIGEST)

    @property
    def is_size(self) -> bool:
        """True for the number of bytes."""
        return self.name in _SIZES


_DIGEST = "messageDigest"
_SIZES = ("size", "fileSize")


def plain(text: str) -> str:
    """Return letters and digits alone, in lower case: what is equal for two usual wordings."""
    return "".join(filter(str.isalnum, text.casefold()))


# ------------------------------------------------------------------------------------------------- bytes


def size_differences(name: str, said: str, size_bytes: int) -> Iterator[Difference]:
    """Yield the size if it differs; what is no number is the schema's affair."""
    if re.fullmatch(r"\+?\d{1,18}", said, re.ASCII) and int(said) != size_bytes:
        yield Difference(name, f"{int(said):,}", f"{size_bytes:,}")


def fixity_differences(
    fixity: tuple[tuple[str, str], ...], reading: FileReading | None
) -> Iterator[Difference]:
    """Yield every digest that is not the file's; algorithms that were not computed are passed over."""
    for algorithm, said in fixity:
        found = reading.digests.get(digest_name(algorithm)) if reading is not None else None
        if found is not None and said and said.lower() != found.hex():
            yield Difference(f"{_DIGEST} {algorithm}", said, found.hex())


def format_differences(
    names: tuple[str, ...], keys: tuple[tuple[str, str], ...], facts: MasterFacts
) -> Iterator[Difference]:
    """Yield names and registry keys that are known for those of another format."""
    own = _family(facts.format)
    for said in names:
        known = pronom.NAMES.get(plain(said))
        if known is not None and _family(known) is not own:
            yield Difference("formatName", said, facts.media_type)
    for registry, key in keys:
        known = pronom.FORMATS.get(key) if plain(registry) == plain(pronom.REGISTRY) else None
        if known is not None and _family(known) is not own:
            yield Difference("formatRegistryKey", key, pronom.KEYS.get(facts.format, facts.media_type))


def _family(each: MasterFormat) -> MasterFormat:
    return MasterFormat.TIFF if each is MasterFormat.BIGTIFF else each


def object_differences(
    entity: PremisObject, size_bytes: int, reading: FileReading | None, facts: MasterFacts | None
) -> list[Difference]:
    """Return in what a PREMIS object is not its file."""
    found = [
        *size_differences("size", entity.size, size_bytes),
        *fixity_differences(entity.fixity, reading),
    ]
    if facts is not None:
        found += format_differences(entity.format_names, entity.format_keys, facts)
    return found


# --------------------------------------------------------------------------------------------------- MIX


def mix_differences(record: MixRecord, reading: FileReading, facts: MasterFacts) -> list[Difference]:
    """Return in what a MIX record is not its image."""
    said = record.values
    registry = (said.get("formatRegistryName", pronom.REGISTRY), said.get("formatRegistryKey", ""))
    return [
        *size_differences("fileSize", said.get("fileSize", ""), reading.size_bytes),
        *format_differences(tuple(filter(None, (said.get("formatName"),))), (registry,), facts),
        *fixity_differences(record.fixity, reading),
        *(
            difference
            for name, compare in _COMPARED.items()
            if name in said and (difference := compare(name, said[name], facts)) is not None
        ),
        *_bits(record, facts),
        *_resolution(record, facts),
    ]


Compare = Callable[[str, str, MasterFacts], Difference | None]


def _number(value: Callable[[MasterFacts], int | None]) -> Compare:
    """Compare a whole number; what is none is the schema's affair."""

    def compare(name: str, said: str, facts: MasterFacts) -> Difference | None:
        found = value(facts)
        if found is None or not re.fullmatch(r"[+-]?\d{1,18}", said, re.ASCII) or int(said) == found:
            return None
        return Difference(name, said, str(found))

    return compare


def _byte_order(name: str, said: str, facts: MasterFacts) -> Difference | None:
    if not facts.byte_order or plain(said) not in map(plain, mix.BYTE_ORDERS - {facts.byte_order}):
        return None  # the same, or no term: then the schema tells
    return Difference(name, said, facts.byte_order)


def _compression(name: str, said: str, facts: MasterFacts) -> Difference | None:
    meant = mix.COMPRESSIONS.get(plain(said))
    if meant == facts.compression or plain(said) == plain(facts.compression):
        return None
    return Difference(name, said, facts.compression, meant is not None)


def _colour_space(name: str, said: str, facts: MasterFacts) -> Difference | None:
    meant = mix.PHOTOMETRICS.get(plain(said))
    allowed = {facts.photometric}
    if facts.is_grey:
        allowed.add(mix.GREY)
    if facts.format in (MasterFormat.JPEG, MasterFormat.JP2):
        allowed |= {"RGB", "YCbCr"} if facts.samples_per_pixel == 3 else {"BlackIsZero"}
    if meant in allowed or plain(said) == plain(facts.photometric):
        return None
    return Difference(name, said, facts.photometric, meant is not None)


def _profile_name(name: str, said: str, facts: MasterFacts) -> Difference | None:
    if facts.icc is None:
        return Difference(name, said, "no embedded profile")
    one, other = plain(said), plain(facts.icc.description)
    if one == other or not other or (one and (one in other or other in one)):
        return None
    return Difference(name, said, facts.icc.description)


def _profile_version(name: str, said: str, facts: MasterFacts) -> Difference | None:
    if facts.icc is None or f"{facts.icc.version}.".startswith(f"{said.rstrip('.')}."):
        return None
    return Difference(name, said, facts.icc.version)


def _orientation(name: str, said: str, facts: MasterFacts) -> Difference | None:
    found = mix.ORIENTATIONS.get(facts.orientation)
    others = (plain(each) for each in mix.ORIENTATIONS.values() if each != found)
    if found is None or plain(said) not in others:
        return None  # the same, unknown, or no term: then the schema tells
    return Difference(name, said, found)


def _bits_unit(name: str, said: str, facts: MasterFacts) -> Difference | None:
    return None if plain(said) == mix.INTEGER_SAMPLES else Difference(name, said, mix.INTEGER_SAMPLES)


def _resolution_levels(name: str, said: str, facts: MasterFacts) -> Difference | None:
    """Some count the levels of decomposition, some the resolutions, one more."""
    if facts.jpeg2000 is None:
        return None
    levels = facts.jpeg2000.decomposition_levels
    return None if said in (str(levels), str(levels + 1)) else Difference(name, said, str(levels + 1))


_COMPARED: dict[str, Compare] = {
    "byteOrder": _byte_order,
    "compressionScheme": _compression,
    "imageWidth": _number(lambda facts: facts.width_px),
    "imageHeight": _number(lambda facts: facts.height_px),
    "colorSpace": _colour_space,
    "iccProfileName": _profile_name,
    "iccProfileVersion": _profile_version,
    "yCbCrSubsampleHoriz": _number(lambda f: f.ycbcr_subsampling[0] if f.ycbcr_subsampling else None),
    "yCbCrSubsampleVert": _number(lambda f: f.ycbcr_subsampling[1] if f.ycbcr_subsampling else None),
    "yCbCrPositioning": _number(lambda facts: facts.ycbcr_positioning),
    "tileWidth": _number(lambda f: f.jpeg2000.tile_width_px if f.jpeg2000 else None),
    "tileHeight": _number(lambda f: f.jpeg2000.tile_height_px if f.jpeg2000 else None),
    "qualityLayers": _number(lambda f: f.jpeg2000.quality_layers if f.jpeg2000 else None),
    "resolutionLevels": _resolution_levels,
    "orientation": _orientation,
    "bitsPerSampleUnit": _bits_unit,
    "samplesPerPixel": _number(lambda facts: facts.samples_per_pixel),
}
"""Leaves of MIX that stand for one value of the image."""


def _bits(record: MixRecord, facts: MasterFacts) -> Iterator[Difference]:
    """MIX has one element for each sample; one for all says the same in an unusual way."""
    found = tuple(map(str, facts.bits_per_sample))
    said = record.bits
    if said and said != found:
        is_short = len(said) == 1 and set(found) == set(said)
        yield Difference("bitsPerSampleValue", ", ".join(said), ", ".join(found), not is_short)


_TOLERANCE = Fraction(1, 500)
"""Of a resolution: 300 per inch are 118.11 per centimetre, and some write 118."""


def _resolution(record: MixRecord, facts: MasterFacts) -> Iterator[Difference]:
    """A file that says nothing, or has a placeholder, is no measure: the record may know better."""
    said = record.values
    ppi = facts.ppi
    unit = _UNITS.get(plain(said.get("samplingFrequencyUnit", "")))
    if ppi is None or tiff.is_placeholder(ppi[0]) or said.get("samplingFrequencyPlane", _OBJECT) != _OBJECT:
        return
    if unit is ResolutionUnit.NONE:
        yield Difference("samplingFrequencyUnit", said["samplingFrequencyUnit"], _resolution_text(ppi[0]))
        return
    for name, found in zip(("xSamplingFrequency", "ySamplingFrequency"), ppi, strict=True):
        value = _fraction(said.get(name, ""))
        if value is None or unit is None:
            continue
        per_inch = value if unit is ResolutionUnit.INCH else value * Fraction(str(MM_PER_INCH)) / 10
        if abs(per_inch - Fraction(found)) > Fraction(found) * _TOLERANCE:
            text = f"{said[name]} per {_NAMES[unit]}"
            yield Difference(name, text, _resolution_text(found))


_OBJECT = mix.OBJECT_PLANE
_UNITS = {plain(text): unit for unit, text in mix.SAMPLING_UNITS.items()} | {
    "inch": ResolutionUnit.INCH,
    "centimetre": ResolutionUnit.CENTIMETRE,
}
_NAMES = {ResolutionUnit.INCH: "inch", ResolutionUnit.CENTIMETRE: "cm"}


def _resolution_text(ppi: float) -> str:
    return f"{ppi:g} per inch"


def _fraction(text: str) -> Fraction | None:
    numerator, _, denominator = text.partition("/")
    try:
        return Fraction(int(numerator), int(denominator)) if len(text) < 40 else None
    except (ValueError, ZeroDivisionError):
        return None


MINIMUM = ("imageWidth", "imageHeight", "colorSpace", "samplesPerPixel", "compressionScheme")
"""What a record says at least, besides bitsPerSampleValue: without it an image cannot be understood later."""


def missing_values(record: MixRecord) -> tuple[str, ...]:
    """Return the names of the least values that a MIX record leaves out."""
    absent = tuple(name for name in MINIMUM if not record.values.get(name))
    return absent if any(record.bits) else (*absent, "bitsPerSampleValue")
