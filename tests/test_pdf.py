"""PDFs as pypdf reads them, a reader that shares no code with the library that writes them."""

from __future__ import annotations

import datetime as dt
import io
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline import icc
from pipeline.errors import InputError, ToolError
from pipeline.images import lettering
from pipeline.pdf import Book, Field, Page, Section, Wording, hidden_text, write_pdf
from tests import make

NOW = dt.datetime(2026, 3, 9, 8, 30, tzinfo=dt.UTC)
ADDRESS = "https://library.example.org/items/adl-ms-7/"
RIGHTS_URL = "https://rights.example.org/free/"


def jpeg(path: Path, *, size: tuple[int, int] = (60, 40), grey: bool = False, profile: bool = True) -> Path:
    pixels = make.picture(*size, bits=8, samples=1 if grey else 3)
    own = icc.grey_profile() if grey else icc.srgb_profile()
    Image.fromarray(pixels).save(path, quality=90, icc_profile=own if profile else None)
    return path


def page(image: Path, label: str = "f. 1r", size_mm: tuple[float, float] | None = None) -> Page:
    return Page(image=image, label=label, description=Wording(text=label, language="en"), size_mm=size_mm)


def book(*pages: Page, **changes: Any) -> Book:
    whole = Book(
        title=Wording(text="MS 7: Calendar and herbal", language="en"),
        language="en",
        fields=(
            Field(label=Wording(text="Shelfmark", language="en"), value=Wording(text="MS 7")),
            Field(label=Wording(text="Rights", language="en"), value=Wording(text="Free"), url=RIGHTS_URL),
            Field(label=Wording(text="Address", language="en"), value=Wording(text=ADDRESS), url=ADDRESS),
        ),
        note="Made by solander, from images of 9 March 2026.",
        title_page_label="title page",
        holder="Aldermoor Library",
        rights="Free",
        rights_url=RIGHTS_URL,
        address=ADDRESS,
        pages=pages,
    )
    return replace(whole, **changes)


def written(book: Book, folder: Path) -> Any:
    write_pdf(book, folder / "item.pdf", now=NOW)
    return pypdf.PdfReader(folder / "item.pdf")


def image_of(page: Any, name: str = "/View") -> Any:
    return page["/Resources"]["/XObject"][name].get_object()


# ---------------------------------------------------------------------------------------------- images


@pytest.mark.parametrize("grey", [False, True])
@pytest.mark.parametrize("profile", [False, True])
def test_an_image_comes_out_as_the_bytes_that_it_went_in(tmp_path: Path, grey: bool, profile: bool) -> None:
    image = jpeg(tmp_path / "a.jpg", grey=grey, profile=profile)
    found = image_of(written(book(page(image)), tmp_path).pages[1])
    assert found["/Filter"] == "/DCTDecode"
    assert found._data == image.read_bytes()


def test_an_image_is_of_the_colour_space_that_its_profile_says(tmp_path: Path) -> None:
    images = (
        jpeg(tmp_path / "rgb.jpg"),
        jpeg(tmp_path / "grey.jpg", grey=True),
        jpeg(tmp_path / "bare.jpg", profile=False),
        jpeg(tmp_path / "again.jpg"),
    )
    pages = written(book(*map(page, images)), tmp_path).pages[1:]
    rgb, grey, bare, again = (image_of(each)["/ColorSpace"] for each in pages)
    assert (rgb[0], grey[0], bare) == ("/ICCBased", "/ICCBased", "/DeviceRGB")
    assert rgb[1].get_object().get_data() == icc.srgb_profile()
    assert grey[1].get_object().get_data() == icc.grey_profile()
    assert again[1].get_object().indirect_reference == rgb[1].get_object().indirect_reference


def test_a_progressive_jpeg_is_embedded_as_it_is(tmp_path: Path) -> None:
    Image.fromarray(make.picture(90, 50, bits=8)).save(tmp_path / "a.jpg", progressive=True)
    found = image_of(written(book(page(tmp_path / "a.jpg")), tmp_path).pages[1])
    assert found._data == (tmp_path / "a.jpg").read_bytes()


def test_what_is_no_jpeg_is_refused_by_name(tmp_path: Path) -> None:
    make.tiff(tmp_path / "a.tif")
    with pytest.raises(InputError, match=r"a\.tif: is .*TIFF, expected a JPEG"):
        write_pdf(book(page(tmp_path / "a.tif")), tmp_path / "item.pdf", now=NOW)
    assert not (tmp_path / "item.pdf").exists()


def test_a_missing_image_is_told_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"a\.jpg"):
        write_pdf(book(page(tmp_path / "a.jpg")), tmp_path / "item.pdf", now=NOW)
    assert list(tmp_path.iterdir()) == []


# --------------------------------------------------------------------------------------------- page sizes


def test_a_page_is_as_large_as_what_it_shows(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg")
    made = written(book(page(image, size_mm=(170, 246))), tmp_path).pages[1]
    assert float(made.mediabox.width) / 72 * 25.4 == pytest.approx(170, abs=0.01)
    assert float(made.mediabox.height) / 72 * 25.4 == pytest.approx(246, abs=0.01)


def test_a_scroll_longer_than_pages_may_be_keeps_its_size_in_larger_units(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg", size=(30, 600))
    made = written(book(page(image, size_mm=(400, 8000))), tmp_path).pages[1]
    assert made.mediabox.height <= 14_400  # ISO 32000-1, annex C.2
    unit = float(made["/UserUnit"])
    assert float(made.mediabox.height) * unit / 72 * 25.4 == pytest.approx(8000, rel=1e-4)
    assert float(made.mediabox.width) * unit / 72 * 25.4 == pytest.approx(400, rel=1e-4)


@pytest.mark.parametrize("size", [(60, 40), (40, 60), (300, 10)])
def test_a_page_whose_size_nobody_knows_fits_on_a4(tmp_path: Path, size: tuple[int, int]) -> None:
    made = written(book(page(jpeg(tmp_path / "a.jpg", size=size))), tmp_path).pages[1]
    width, height = float(made.mediabox.width), float(made.mediabox.height)
    assert width / height == pytest.approx(size[0] / size[1], rel=0.01)
    assert width <= 595.28
    assert height <= 841.89
    assert width > 595 or height > 841


# --------------------------------------------------------------------------------- names, outline, metadata


def test_pages_are_labelled_as_the_views_are(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg")
    labels = ["front cover", "f. 1r", "f. 1v", "ورقة ٢", "(f. 3)"]
    reader = written(book(*(page(image, label) for label in labels)), tmp_path)
    assert reader.page_labels == ["title page", *labels]


def test_the_outline_has_the_sections_as_they_are_nested(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg")
    sections = (
        Section(label="Calendar", first=0, sections=(Section(label="May", first=1),)),
        Section(label="Herbal – פרחים", first=2),
    )
    reader = written(book(*[page(image)] * 3, sections=sections), tmp_path)
    calendar, below, herbal = reader.outline
    assert isinstance(below, list)
    places = [reader.get_destination_page_number(each) for each in (calendar, below[0], herbal)]
    assert places == [1, 2, 3]
    assert [each.title for each in (calendar, below[0], herbal)] == ["Calendar", "May", "Herbal – פרחים"]
    assert reader.root_object["/PageMode"] == "/UseOutlines"


def test_a_book_without_sections_has_no_outline(tmp_path: Path) -> None:
    reader = written(book(page(jpeg(tmp_path / "a.jpg"))), tmp_path)
    assert reader.outline == []
    assert "/PageMode" not in reader.root_object


@pytest.mark.parametrize(("right_to_left", "direction"), [(False, "/L2R"), (True, "/R2L")])
def test_a_book_says_how_it_is_turned(tmp_path: Path, right_to_left: bool, direction: str) -> None:
    reader = written(book(page(jpeg(tmp_path / "a.jpg")), right_to_left=right_to_left), tmp_path)
    assert reader.root_object["/ViewerPreferences"]["/Direction"] == direction


def test_metadata_says_what_it_is_whose_and_when(tmp_path: Path) -> None:
    reader = written(book(page(jpeg(tmp_path / "a.jpg"))), tmp_path)
    assert reader.metadata is not None
    assert reader.metadata.title == "MS 7: Calendar and herbal"
    assert reader.metadata.creation_date == reader.metadata.modification_date == NOW
    xmp = reader.xmp_metadata
    assert xmp is not None
    assert xmp.dc_title == {"x-default": "MS 7: Calendar and herbal"}
    assert xmp.dc_creator == ["Aldermoor Library"]
    assert xmp.dc_language == ["en"]
    assert xmp.dc_identifier == ADDRESS
    assert xmp.dc_rights == {"x-default": "Free"}
    assert xmp.xmp_create_date == NOW.replace(tzinfo=None)
    assert RIGHTS_URL in reader.root_object["/Metadata"].get_data().decode()
    assert reader.root_object["/Lang"] == "en"


# ------------------------------------------------------------------------------------------ the title page


def test_the_title_page_says_everything_in_characters_too(tmp_path: Path) -> None:
    text = written(book(page(jpeg(tmp_path / "a.jpg"))), tmp_path).pages[0].extract_text()
    for each in (
        "MS 7: Calendar and herbal",
        "Shelfmark",
        "Rights",
        "Free",
        ADDRESS,
        "images of 9 March 2026.",
    ):
        assert each in text


def test_the_title_page_leads_to_the_item_and_to_its_rights(tmp_path: Path) -> None:
    title = written(book(page(jpeg(tmp_path / "a.jpg"))), tmp_path).pages[0]
    links = [each.get_object() for each in title["/Annots"]]
    assert [link["/A"]["/URI"] for link in links] == [RIGHTS_URL, ADDRESS]
    for left, bottom, right, top in (link["/Rect"] for link in links):
        assert 0 < left < right < title.mediabox.width
        assert 0 < bottom < top < title.mediabox.height


SCRIPTS = {
    "ar": "كتاب صور الكواكب",
    "he": "ספר המזלות",
    "grc": "Περὶ τῶν ἄστρων",
    "hy": "Աստղաբաշխություն",
    "ka": "ვარსკვლავები",
    "zh": "星圖之書",
    "sa": "ज्योतिष",
    "got": "𐌲𐌿𐍄",
}


def test_the_title_page_holds_characters_of_every_script(tmp_path: Path) -> None:
    fields = tuple(
        Field(label=Wording(text=language), value=Wording(text=text, language=language))
        for language, text in SCRIPTS.items()
    )
    title = written(book(page(jpeg(tmp_path / "a.jpg")), fields=fields), tmp_path).pages[0]
    maps = "".join(
        font.get_object()["/ToUnicode"].get_data().decode() for font in title["/Resources"]["/Font"].values()
    )
    for character in "".join(SCRIPTS.values()):
        assert f"<{character.encode('utf-16-be').hex()}>" in maps


@pytest.mark.parametrize("language", ["ar", "he", "grc", "hy", "ka"])
def test_scripts_that_the_font_has_are_set_alike_on_a_machine_without_fonts(language: str) -> None:
    """Without a configuration the library finds no font of the machine."""
    code = (
        "import sys; from pipeline.images import lettering\n"
        "sys.stdout.buffer.write(lettering(sys.argv[1], size_pt=11, width_px=900, dpi=200).ink)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, SCRIPTS[language]],
        capture_output=True,
        check=True,
        env={**os.environ, "FONTCONFIG_FILE": os.devnull},
    )
    assert done.stdout == lettering(SCRIPTS[language], size_pt=11, width_px=900, dpi=200).ink


def test_text_from_right_to_left_stands_at_the_right() -> None:
    hebrew = lettering(SCRIPTS["he"], size_pt=11, width_px=900, dpi=200)
    latin = lettering("liber", size_pt=11, width_px=900, dpi=200)
    assert abs(hebrew.left_px + hebrew.width_px - 900) <= 3
    assert abs(latin.left_px) <= 3


def test_a_long_address_is_broken_rather_than_cut() -> None:
    long = lettering("https://library.example.org/" + "a" * 300, size_pt=10, width_px=500, dpi=200)
    assert long.left_px + long.width_px <= 501
    assert long.height_px > 100


def test_what_looks_like_markup_is_set_as_it_is() -> None:
    marked = lettering("<b>A & B</b>", size_pt=10, width_px=900, dpi=200)
    plain = lettering("A & B", size_pt=10, width_px=900, dpi=200)
    assert marked.width_px > 1.8 * plain.width_px


def test_a_long_title_page_grows_rather_than_loses_text(tmp_path: Path) -> None:
    fields = tuple(
        Field(label=Wording(text=f"Note {n}"), value=Wording(text="a long remark " * 30)) for n in range(30)
    )
    title = written(book(page(jpeg(tmp_path / "a.jpg")), fields=fields), tmp_path).pages[0]
    assert title.mediabox.height > 2000
    assert "Note 29" in title.extract_text()


@pytest.mark.parametrize("text", ["", " ", "\\u202eabc", "&lt;&amp;", "a" * 3000])
def test_no_text_is_too_odd_for_the_title_page(tmp_path: Path, text: str) -> None:
    fields = (Field(label=Wording(text=text), value=Wording(text=text), url=ADDRESS),)
    made = book(page(jpeg(tmp_path / "a.jpg")), fields=fields, title=Wording(text=text))
    assert text.strip() in written(made, tmp_path).pages[0].extract_text()


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40))
def test_every_character_is_placed_once_and_in_the_order_of_reading_within_its_run(text: str) -> None:
    characters = hidden_text.Characters()
    operators = hidden_text.shown(text, characters, left=10, bottom=20, width=100, height=10)
    fonts = list(characters.fonts())
    shown = []
    for line in operators.splitlines():
        if line.startswith("/Hidden"):
            font, codes = int(line.split()[0].removeprefix("/Hidden")), line.split("<")[1].split(">")[0]
            shown.append("".join(fonts[font][code] for code in bytes.fromhex(codes)))
    assert sorted("".join(shown)) == sorted(text)
    for run in shown:
        assert run in text


def test_more_characters_than_one_font_has_codes_go_into_the_next(tmp_path: Path) -> None:
    text = "".join(chr(0x4E00 + n) for n in range(600))
    fields = (Field(label=Wording(text="Text"), value=Wording(text=text)),)
    title = written(book(page(jpeg(tmp_path / "a.jpg")), fields=fields), tmp_path).pages[0]
    assert text in title.extract_text().replace("\n", "")


# ---------------------------------------------------------------------------------------------- structure


def test_a_page_tells_what_it_shows_to_those_who_do_not_see_it(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg")
    reader = written(book(page(image, "f. 1r"), page(image, "f. 1v")), tmp_path)
    root: Any = reader.root_object["/StructTreeRoot"]
    assert reader.root_object["/MarkInfo"]["/Marked"]
    elements = [each.get_object() for each in root["/K"][0].get_object()["/K"]]
    assert [each["/S"] for each in elements[:3]] == ["/H1", "/P", "/P"]
    figures = [each for each in elements if each["/S"] == "/Figure"]
    assert [each["/Alt"] for each in figures] == ["f. 1r", "f. 1v"]
    assert [reader.get_page_number(each["/Pg"].get_object()) for each in figures] == [1, 2]


def test_marked_content_and_links_lead_back_to_their_elements(tmp_path: Path) -> None:
    """ISO 32000-1, section 14.7.4.4."""
    reader = written(book(page(jpeg(tmp_path / "a.jpg"))), tmp_path)
    keys = reader.root_object["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    parents = {keys[n]: keys[n + 1].get_object() for n in range(0, len(keys), 2)}
    for each in reader.pages:
        content = each.get_contents()
        assert content is not None
        assert content.get_data().count(b"BDC") == len(parents[each["/StructParents"]])
    for link in reader.pages[0]["/Annots"]:
        element = parents[link.get_object()["/StructParent"]]
        assert element["/S"] == "/Link"
        assert element["/K"]["/Obj"].get_object() == link.get_object()


# --------------------------------------------------------------------------------------------- the file


def test_the_same_book_and_time_give_the_same_bytes_anywhere(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg")
    elsewhere = tmp_path / "b"
    elsewhere.mkdir()
    shutil.copy(image, elsewhere / "other.jpg")
    write_pdf(book(page(image)), tmp_path / "a.pdf", now=NOW)
    write_pdf(
        book(page(elsewhere / "other.jpg")),
        elsewhere / "b.pdf",
        now=NOW.astimezone(dt.timezone(dt.timedelta(hours=5))),
    )
    first = (tmp_path / "a.pdf").read_bytes()
    assert first == (elsewhere / "b.pdf").read_bytes()
    write_pdf(book(page(image)), tmp_path / "a.pdf", now=NOW + dt.timedelta(days=1))
    assert first != (tmp_path / "a.pdf").read_bytes()


def test_the_library_itself_finds_nothing_wrong(tmp_path: Path) -> None:
    import pikepdf

    written(book(*[page(jpeg(tmp_path / "a.jpg"))] * 5), tmp_path)
    with pikepdf.open(tmp_path / "item.pdf") as pdf:
        assert pdf.check_pdf_syntax() == []
        assert pdf.is_linearized
        pdf.check_linearization(io.StringIO())


def test_a_file_that_cannot_be_written_is_told_and_leaves_nothing(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg")
    (tmp_path / "item.pdf").mkdir()
    with pytest.raises(ToolError, match=r"item\.pdf: cannot be written"):
        write_pdf(book(page(image)), tmp_path / "item.pdf", now=NOW)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.jpg", "item.pdf"]


PEAK = """
import sys; from pathlib import Path
from tests.test_pdf import NOW, book, page, write_pdf
write_pdf(book(*[page(Path(sys.argv[1]))] * int(sys.argv[2])), Path(sys.argv[3]), now=NOW)
print(int(open('/proc/self/status').read().split('VmHWM:')[1].split()[0]) // 1024)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="memory is measured from /proc")
def test_memory_does_not_grow_with_the_images(tmp_path: Path) -> None:
    image = jpeg(tmp_path / "a.jpg")
    with image.open("ab") as file:
        file.write(bytes(4_000_000))

    def peak_mb(pages: int) -> int:
        arguments = [str(image), str(pages), str(tmp_path / "item.pdf")]
        done = subprocess.run([sys.executable, "-c", PEAK, *arguments], capture_output=True, check=True)
        return int(done.stdout)

    assert peak_mb(50) - peak_mb(1) < 30  # 200 MB of images
    assert (tmp_path / "item.pdf").stat().st_size < 10_000_000  # of the second run
