"""The PDF itself: a title page, then a page for each view.

Source: ISO 32000-1:2008 (PDF 1.7).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import os
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import InputError, ToolError
from pipeline.files import sync_folder, writing
from pipeline.headers import Header, read_header
from pipeline.model import MasterFormat
from pipeline.pdf import hidden_text
from pipeline.pdf.book import Book, Page
from pipeline.pdf.catalogue import describe
from pipeline.pdf.structure import Structure
from pipeline.pdf.title_page import LEAST_HEIGHT_PT, WIDTH_PT, Block, Drawing, drawn, title_page

if TYPE_CHECKING:
    import pikepdf

_PT_PER_MM = 72 / 25.4
_MOST_PT = 14_400
"""The longest side of a page, in its own units (annex C.2)."""


def write_pdf(book: Book, to: Path, *, now: dt.datetime) -> None:
    """Write a book as a PDF that is shown from its first page on before all of it has arrived.

    Memory does not grow with the images: each is read when it is written. `now` is the time that the file
    says it was made at; the same book, time and versions of libraries give the same bytes. Raises
    InputError for an image that is missing or is no JPEG in grey or RGB, ToolError when the disk fails us.
    """
    import pikepdf

    with pikepdf.new() as pdf:
        structure, images = Structure(pdf), _Images(pdf)
        _add_title_page(pdf, structure, book)
        for page in book.pages:
            _add_page(pdf, structure, images, page)
        structure.finish()
        describe(pdf, book, now=now)
        images.refer_to_files()
        _save(pdf, to)


def _blank_page(pdf: pikepdf.Pdf, width_pt: float, height_pt: float) -> Any:
    """Add a page; one that is larger than pages may be has larger units (section 14.11.2 and table 30)."""
    from pikepdf import Name

    unit = max(1.0, width_pt / _MOST_PT, height_pt / _MOST_PT)
    page = pdf.add_blank_page(page_size=(round(width_pt / unit, 2), round(height_pt / unit, 2))).obj
    if unit > 1:
        page.UserUnit = round(unit, 6)
    page.Tabs = Name.S  # as the structure goes
    return page


# ------------------------------------------------------------------------------------------ the title page


def _add_title_page(pdf: pikepdf.Pdf, structure: Structure, book: Book) -> None:
    from pikepdf import Array, Dictionary

    height_pt, blocks = title_page(book)
    page = _blank_page(pdf, WIDTH_PT, height_pt)
    structure.begin_page(page)
    picture = _drawn("/Texts", WIDTH_PT, height_pt)
    characters, content, links = hidden_text.Characters(), [f"/Artifact BMC\n{picture}\nEMC"], []
    for block in blocks:
        left, bottom, right, top = corners = _corners(block, height_pt)
        content.append(structure.add("H1" if block.is_title else "P", block.wording))
        content.append(
            hidden_text.shown(
                block.wording.text,
                characters,
                left=left,
                bottom=bottom,
                width=right - left,
                height=top - bottom,
            )
        )
        content.append("EMC")
        if block.url:
            links.append(_link(pdf, block, corners))
            structure.add_link(links[-1], block.wording)
    page.Contents = pdf.make_stream("\n".join(content).encode("ascii"))
    page.Annots = Array(links)
    page.Resources = Dictionary(
        XObject=Dictionary(Texts=_picture(pdf, drawn(height_pt, blocks))),
        Font=Dictionary(
            {f"/Hidden{n}": _hidden_font(pdf, each) for n, each in enumerate(characters.fonts())}
        ),
    )


def _drawn(name: str, width_pt: float, height_pt: float) -> str:
    """Return the operators that draw a picture over a whole page."""
    return f"q {width_pt:.2f} 0 0 {height_pt:.2f} 0 0 cm {name} Do Q"


def _corners(block: Block, page_height_pt: float) -> tuple[float, float, float, float]:
    """Return left, bottom, right and top, from the page's lower left corner."""
    top = page_height_pt - block.top
    return block.left, top - block.height, block.left + block.width, top


def _picture(pdf: pikepdf.Pdf, drawing: Drawing) -> Any:
    from pikepdf import Name

    return pdf.make_stream(
        zlib.compress(drawing.tones, 9),
        Type=Name.XObject,
        Subtype=Name.Image,
        Width=drawing.width_px,
        Height=drawing.height_px,
        BitsPerComponent=8,
        ColorSpace=Name.DeviceGray,
        Filter=Name.FlateDecode,
    )


def _hidden_font(pdf: pikepdf.Pdf, characters: tuple[str, ...]) -> Any:
    from pikepdf import Array, Dictionary, Name

    unit = hidden_text.UNIT
    glyph = pdf.make_stream(f"{hidden_text.ADVANCE} 0 0 0 {unit} {unit} d1".encode("ascii"))
    return pdf.make_indirect(
        Dictionary(
            Type=Name.Font,
            Subtype=Name.Type3,
            FontBBox=Array([0, 0, unit, unit]),
            FontMatrix=Array([1 / unit, 0, 0, 1 / unit, 0, 0]),
            CharProcs=Dictionary(blank=glyph),
            Resources=Dictionary(),
            Encoding=Dictionary(
                Type=Name.Encoding, Differences=Array([0, *[Name.blank for _ in characters]])
            ),
            FirstChar=0,
            LastChar=len(characters) - 1,
            Widths=Array([hidden_text.ADVANCE for _ in characters]),
            ToUnicode=pdf.make_stream(hidden_text.to_unicode(characters)),
        )
    )


def _link(pdf: pikepdf.Pdf, block: Block, corners: tuple[float, ...]) -> Any:
    from pikepdf import Array, Dictionary, Name, String

    return pdf.make_indirect(
        Dictionary(
            Type=Name.Annot,
            Subtype=Name.Link,
            Rect=Array([round(each, 2) for each in corners]),
            Border=Array([0, 0, 0]),
            F=4,  # printed
            Contents=String(block.wording.text),
            A=Dictionary(S=Name.URI, URI=String(block.url)),
        )
    )


# ------------------------------------------------------------------------------------------------- the views


def _add_page(pdf: pikepdf.Pdf, structure: Structure, images: _Images, page: Page) -> None:
    from pikepdf import Array, Dictionary, Name

    header = _jpeg_header(page.image)
    made = _blank_page(pdf, *_size_pt(page, header))
    width, height = (float(side) for side in made.MediaBox[2:])
    structure.begin_page(made)
    box = Dictionary(O=Name.Layout, BBox=Array([0, 0, width, height]), Placement=Name.Block)
    mark = structure.add("Figure", page.description, A=box)
    made.Contents = pdf.make_stream(f"{mark}\n{_drawn('/View', width, height)}\nEMC".encode("ascii"))
    made.Resources = Dictionary(XObject=Dictionary(View=images.add(page.image, header)))


def _size_pt(page: Page, header: Header) -> tuple[float, float]:
    """Return the page's size: that of what is shown, or within A4 if that is not known."""
    if page.size_mm is not None:
        return page.size_mm[0] * _PT_PER_MM, page.size_mm[1] * _PT_PER_MM
    width_px, height_px = header.facts.width_px, header.facts.height_px
    scale = min(WIDTH_PT / width_px, LEAST_HEIGHT_PT / height_px)
    return width_px * scale, height_px * scale


def _jpeg_header(path: Path) -> Header:
    header = read_header(path)
    if header.facts.format is not MasterFormat.JPEG:
        raise InputError(f"{path}: is {header.facts.format.value}, expected a JPEG to put into the PDF")
    return header


class _Images:
    """The images of a document, which stay files until it is written."""

    def __init__(self, pdf: pikepdf.Pdf) -> None:
        self._pdf = pdf
        self._profiles: dict[bytes, Any] = {}
        self._streams: dict[str, Any] = {}

    def add(self, path: Path, header: Header) -> Any:
        """Return an empty image that `refer_to_files` fills."""
        image = self._pdf.make_stream(b"")
        colour = "/DeviceGray" if header.facts.samples_per_pixel == 1 else "/DeviceRGB"
        self._streams[_key(image)] = {
            "stream": {
                "datafile": str(path.absolute()),
                "dict": {
                    "/Type": "/XObject",
                    "/Subtype": "/Image",
                    "/Width": header.facts.width_px,
                    "/Height": header.facts.height_px,
                    "/BitsPerComponent": header.facts.bits_per_sample[0],
                    "/ColorSpace": ["/ICCBased", self._profile(header)] if header.icc_profile else colour,
                    "/Filter": "/DCTDecode",
                },
            }
        }
        return image

    def _profile(self, header: Header) -> str:
        from pikepdf import Name

        channels, profile = header.facts.samples_per_pixel, header.icc_profile
        if profile not in self._profiles:
            self._profiles[profile] = self._pdf.make_stream(
                zlib.compress(profile, 9),
                N=channels,
                Alternate=Name.DeviceGray if channels == 1 else Name.DeviceRGB,
                Filter=Name.FlateDecode,
            )
        return _reference(self._profiles[profile])

    def refer_to_files(self) -> None:
        """Say of each image which file it is; only the JSON form of a PDF can."""
        about = {
            "jsonversion": 2,
            "pdfversion": self._pdf.pdf_version,
            "pushedinheritedpageresources": False,
            "calledgetallpages": False,
            "maxobjectid": len(self._pdf.objects),
        }
        document = json.dumps({"qpdf": [about, self._streams]}).encode()
        self._pdf.update_from_qpdf_json(io.BytesIO(document))


def _reference(thing: Any) -> str:
    return "{} {} R".format(*thing.objgen)


def _key(thing: Any) -> str:
    return f"obj:{_reference(thing)}"


# --------------------------------------------------------------------------------------------------- saving


def _save(pdf: pikepdf.Pdf, to: Path) -> None:
    """Write the document beside its place, flush it, rename it."""
    import pikepdf

    beside = to.with_name(f".{to.name}.{os.getpid()}.part")
    with writing(to):
        to.parent.mkdir(parents=True, exist_ok=True)
        try:
            with beside.open("w+b") as file:
                pdf.save(
                    file,
                    min_version="1.7",
                    linearize=True,
                    deterministic_id=True,
                    object_stream_mode=pikepdf.ObjectStreamMode.generate,
                    stream_decode_level=pikepdf.StreamDecodeLevel.none,
                )
                file.flush()
                os.fsync(file.fileno())
            beside.replace(to)
            sync_folder(to.parent)
        except (pikepdf.PdfError, pikepdf.QpdfRuntimeError) as error:
            raise ToolError(f"{to}: cannot be written ({error})") from error
        finally:
            with contextlib.suppress(OSError):
                beside.unlink()
