"""The page of docs that tells what is measured: prose by families, all else from the code and figures.json.

Labels, units, formulas, methods, codes of rules and constants are asked for, so that they cannot grow old
here; `tests.test_docs` fails for a quantity that no family tells of.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.check.measured import MEASURED
from pipeline.check.siblings import LEAST_KEYSTONE_DEG
from pipeline.check.siblings import METHOD as SIBLINGS_METHOD
from pipeline.measure import (
    colour_target,
    edge,
    evenness,
    exposure,
    geometry,
    of_flat,
    of_page,
    outline,
    patches,
    sharpness,
    siblings,
)
from pipeline.measurements import FORMULAS, METHOD_VERSION, Quantity
from pipeline.numerals import with_unit
from tests.measure import truth
from tests.measure.make_figures import FIGURES, SHARES, WHOLE

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Quantities that are measured together."""

    title: str
    on: str
    """Which frames, and which of their data."""
    how: str
    bound: str
    """What the tests hold."""
    fails: str
    """What makes it fail, or doubtful."""
    source: str
    said: tuple[Quantity, ...]


Q = Quantity

FAMILIES = (
    Family(
        title="Colour, tone, noise",
        on="Target frames. The 24-patch target is looked for in the picture reduced to about "
        f"{colour_target.LONG_SIDE_PX:,} px on its long side, at any turn, a little aslant or partly "
        "in shade; patches are sampled at full resolution, on a net of at most "
        f"{patches.MOST_PER_SIDE} × {patches.MOST_PER_SIDE} places over the middle "
        f"{200 * patches.HALF:.0f} % of each side.",
        how="A plane is fitted to each patch, so that uneven light is not noise, and what lies far off it "
        "(dust, a scratch) is left out. The mean is taken in linear light and becomes L\\*a\\*b\\* "
        "(D50, 2°) through the frame's own profile: floating point, media-relative, no black point "
        "compensation. It is held against the target's own measured file, if the equipment register "
        "names one, else against published averages of the edition that fits.",
        bound="L\\*a\\*b\\* of known patches within 0.02 without noise (0.6 in 8 bits, where all of a "
        "patch is rounded alike), within four standard errors with it; noise within 8 %.",
        fails="No profile, or one that converts by tables: nothing is assumed. Glare on a patch, a "
        f"covered patch: it is named and left out; more than {patches.MOST_MISSING} missing and "
        "nothing is measured. Averages instead of a measurement of your target cost up to ΔE 1, the "
        "wrong edition about as much; sRGB cannot hold the cyan patch. Under ultraviolet and infrared "
        "the references do not hold.",
        source="CIEDE2000: Sharma, Wu, Dalal 2005 and ISO/CIE 11664-6. L\\*a\\*b\\*: CIE 15. Which "
        "formula a publication means: [imaging specifications](specifications.md).",
        said=(Q.COLOUR, Q.WHITE_BALANCE, Q.TONE, Q.GAIN_HIGHLIGHTS, Q.GAIN, Q.NOISE),
    ),
    Family(
        title="Resolution",
        on="Target frames. Slanted edges are found in the picture reduced to about 1,500 px, one for each "
        "axis in each ninth of the frame, and measured at full resolution.",
        how="Edge-based SFR (e-SFR): the edge is placed row by row, fitted with a polynomial, gathered "
        "into quarter pixels along its normal, differentiated, windowed and transformed; the response "
        "of the difference is divided out, and frequencies are those along the normal. Light is "
        f"linear, luminance weighted {' : '.join(f'{each:g}' for each in edge.LUMINANCE_WEIGHTS)}. "
        "Frequencies are in per cent of half sampling, 0.5 cycles per pixel.",
        bound="On Gaussian edges without noise, σ 0.5 to 1.5 px, 3 to 10°: SFR50 within 1.2 %, SFR10 "
        "within 1.5 % (2.5 % in 8 bits). Noise scatters the figures about that; each edge is given "
        "with its standard deviation.",
        fails=f"Edges that stand along the pixels, or further off than {edge.STEEPEST_DEG:g}°; curved "
        f"edges; fewer than {edge.LEAST_ROWS} rows; more than {100 * edge.CLIPPED_SHARE:g} % clipped "
        "pixels, which would read 13 % too sharp. Edges of pages read softer than the lens is.",
        source="ISO 12233:2023, edge-based method.",
        said=(Q.SFR50, Q.SFR10, Q.EFFICIENCY, Q.RESPONSE_HALF, Q.SHARPENING, Q.MISREGISTRATION),
    ),
    Family(
        title="Scale",
        on="Target frames, at full resolution around the borders of each patch.",
        how="Centres of the patches are put on a plane seen aslant; their pitch in pixels against the "
        "pitch in millimetres that the equipment register gives (`pitch_mm`). Where there is a ruler, "
        "by the period of its ticks.",
        bound="Patches within 0.03 %, at any turn and tilts to 15°; ticks within 0.05 % from 40 ticks on.",
        fails="A pitch that nobody measured. A page h mm above the target, at distance d from the camera, "
        "has h / (d − h) more ppi: 5 mm at 1 m are 0.5 %. Put the target in the plane of the page.",
        source="Geometry of a plane and a pinhole; common practice.",
        said=(Q.TRUE_PPI, Q.SCALE, Q.DISTORTION),
    ),
    Family(
        title="Evenness of light",
        on=f"Flat frames: an even card that fills the frame, in means of {evenness.BLOCKS} blocks along "
        f"the short side, from the picture reduced to about {evenness.LONG_SIDE_PX:,} px.",
        how=f"{of_flat.BLOCKS_METHOD.capitalize()}. Ranges of luminance are linear in light, those of "
        "lightness in L\\*.",
        bound="Ranges within 0.2 % of the mean luminance, 0.07 L\\* and 0.25 a\\*b\\* on frames of a "
        "megapixel with a noise of 0.004 of full scale; more pixels make that less.",
        fails="A card that is warped, stained or brightened optically reads as bad light: turn it by 180° "
        "for a second frame; what turns with it is the card. Clipped cards are refused.",
        source="FADGI 2016: (max - min) / mean of luminance; FADGI 2023: SD / mean of lightness; "
        "Metamorfoze 1.0: ΔL\\* and a\\*b\\* between any two places.",
        said=(Q.EVENNESS, Q.LIGHTNESS_RANGE, Q.CAST, Q.DUST),
    ),
    Family(
        title="How the page lies",
        on="Frames of pages, openings, covers and sheets, whose outline is seen against its ground; lines "
        "of text or drawing with or without it. In the picture reduced to about "
        f"{outline.LONG_SIDE_PX:,} px.",
        how="Outline: straight steps of tone that the middle of the frame lies within, placed row by row "
        "to parts of a pixel and fitted robustly. Lines: projection profiles over slopes to "
        f"±{geometry.STEEPEST_DEG:g}°, then bands followed across the page. Angles above 0 are "
        "clockwise.",
        bound="Straight edges within 0.03°, lines of text within 0.06°, at a noise to 0.02 of full scale; "
        "deckled edges within three of their own standard deviations.",
        fails="Edges that are cut off, hidden or of the tone of the ground. Vellum is no rectangle: "
        "keystone of a page is judged against its siblings alone, and a spread of under "
        f"{LEAST_KEYSTONE_DEG:g}° is nobody's fault. Hands slope. Scattered marks and blank pages have "
        "no lines.",
        source="Postl 1986; Bloomberg, Kopec, Dasari 1995 (projection profiles). No standard limits "
        "keystone or the bow of lines: common practice.",
        said=(Q.SKEW, Q.TEXT_SKEW, Q.KEYSTONE, Q.CURVATURE),
    ),
    Family(
        title="Focus without a target",
        on=f"Frames of pages and the like. Up to {sharpness.SHORT_SIDE_TILES} × "
        f"{sharpness.LONG_SIDE_TILES} crops of {sharpness.CROP_PX} px at full resolution, where the "
        "reduced picture has the most marked edges: at most 0.8 million pixels of a frame of any "
        "size.",
        how=f"{of_page.RISE_METHOD.capitalize()}: the steepest gradients against the contrast about them, "
        f"in linear light. Of siblings, ratios are compared: {SIBLINGS_METHOD}, in robust standard "
        f"deviations of the session (1.4826 MAD, no less than {100 * sharpness.SESSION_FLOOR:g} %) and of "
        "the frame itself, added as squares. A frame's own is that of the median of its crops, which differ "
        "for what is written in them, and what noise can make of the contrast.",
        bound="On drawn edges the rise is right within 5 %. Where ink is faint (a contrast of 15 % of full "
        "scale) it is right within 17 % and twice its own standard deviation, in which noise counts.",
        fails="It depends on what is written: pen strokes rise faster than brush and stain, so it ranks "
        "frames of like content and is no resolution. Blank pages, and pages with too few edges, are "
        f"undecided: neither passed nor failed. So are groups of fewer than {siblings.LEAST_SIBLINGS} "
        "siblings. JPEG makes edges of its own, which is said.",
        source="Two-scale edge blur: Elder and Zucker 1998; median and MAD: Iglewicz and Hoaglin 1993; "
        "common practice.",
        said=(Q.BLUR, Q.FOCUS, Q.TILT),
    ),
    Family(
        title="Exposure of the page",
        on="Frames of the object. Clipping on every pixel at full resolution, on the sheet where it is "
        "seen; tone on the reduced picture.",
        how="Codes at the ends of the scale, or piled up below. Clipped light through and through, or "
        f"beside nearly clipped tones, in squares of {exposure.BLOCK_PX} px, is tone that was lost; "
        "clipped light among darker or warm tones is taken for gold, seals or glass and not counted. "
        "Tone is the commonest L\\* of the sheet.",
        bound="Clipped pixels are counted exactly; tones of drawn sheets within 0.5 L\\*.",
        fails="A polished leaf that mirrors a lamp over a whole field counts as lost tone: look where it "
        "is marked. A sheet without a prevailing tone has none. Without a profile there is no L\\*.",
        source="FADGI 2016 and Metamorfoze 1.0 look at clipping without a formula; Metamorfoze 2.0 draft: "
        "nowhere above L\\* 98.",
        said=(Q.CLIPPED_LIGHT, Q.CLIPPED_DARK, Q.HIGHEST_LIGHTNESS, Q.PAGE_TONE, Q.PAGE_TONE_DEVIATION),
    ),
)

HEAD = """\
# What is measured

Made from the code and from measured figures by `python -m tests.make_docs`.

What each number in a quality report is, how it comes about, how far it can be trusted and what makes it
fail. Limits are another matter: they stand in [imaging specifications](specifications.md), and who judges
by them are the [rules](rules.md). Nothing is ever corrected: masters show the object as it was.

- **Targets speak for pages.** Colour, tone, noise, resolution, scale and light are measured on the target
  and flat frames of a session. A page has none of these by itself, whatever it looks like. What changed
  between the target and the page, nobody sees.
- **"Not measured" is an answer.** Where evidence is missing the report says why. It is neither a pass nor a
  failure.
- **Reduced pictures** are means of whole squares of pixels. They serve to find things; what follows names
  what is measured on them.
- **Before anything is photographed again**, ask whether the fault matters for its use. How far a volume is
  opened, how often an object is handled and how long it is lit is for the conservator and local policy to
  say. A target is laid beside an object only as they allow, and never on it.
"""


def measures_markdown() -> str:
    """Return the page as Markdown."""
    figures = json.loads(FIGURES.read_text(encoding="utf-8"))
    parts = [HEAD, *_contents(), *(line for each in FAMILIES for line in _family(each, figures["drawn"]))]
    return (
        "\n".join([*parts, *_sequence(), COST, *_pages(figures["pages"]), *_tables(figures["drawn"])]) + "\n"
    )


def _contents() -> Iterator[str]:
    titles = [*(each.title for each in FAMILIES), COST_TITLE, PAGES_TITLE, TABLES_TITLE]
    yield "Here: " + ", ".join(f"[{each.lower()}](#{_anchor(each)})" for each in titles) + ".\n"


def _anchor(title: str) -> str:
    return title.lower().replace(" ", "-").replace(",", "")


# ------------------------------------------------------------------------------------------- families


def _family(family: Family, drawn: Mapping[str, Any]) -> Iterator[str]:
    yield f"## {family.title}\n"
    yield "| quantity | unit | what it is | formulas | rule |\n|---|---|---|---|---|"
    for quantity in family.said:
        formulas = "; ".join(_cell(each) for each in FORMULAS.get(quantity, ()))
        yield (
            f"| **{quantity.label}**<br>`{quantity.value}` | {_cell(quantity.unit)} "
            f"| {_cell(quantity.meaning)} | {formulas} | {_rule(quantity)} |"
        )
    yield f"\n**Measured on.** {family.on}\n"
    yield f"**How.** {family.how}\n"
    yield f"**Error, held by tests.** {family.bound}\n"
    yield from _errors(family, drawn)
    yield f"**What makes it fail.** {family.fails}\n"
    yield f"**Source.** {family.source}\n"


def _cell(text: str) -> str:
    return text.replace("*", "\\*").replace("|", "\\|")


def _rule(quantity: Quantity) -> str:
    said = f"The {quantity.label} keeps every limit of the specification in use."
    rule = next((each for each in MEASURED.rules.values() if each.explanation == said), None)
    if rule is None:
        return "–"
    return f"[{rule.code}](rules.md#{rule.code.lower()}-{_anchor(rule.title)})"


def _errors(family: Family, drawn: Mapping[str, Any]) -> Iterator[str]:
    known = [each for each in family.said if each.value in drawn["quantities"]]
    if not known:
        return
    yield f"**Error, measured** on drawn frames, {_day(drawn)}:\n"
    yield "| | frames | half of them within | 95 % within | all within | hardest |\n|---|---|---|---|---|---|"
    for quantity in known:
        whole, *parts = drawn["quantities"][quantity.value]
        hardest = max(parts, key=lambda each: each["percentile_95"] or 0.0)
        missing = f", {whole['not_measured']} not measured" if whole["not_measured"] else ""
        values = " | ".join(_off(quantity, whole[key]) for key in ("median", "percentile_95", "largest"))
        yield f"| {quantity.label} | {whole['trials']}{missing} | {values} | {_condition(hardest)} |"
    yield ""


def _off(quantity: Quantity, value: float | None) -> str:
    unit = "%" if quantity in SHARES else _cell(quantity.unit)
    return with_unit(_brief(value), unit)


def _brief(value: float | None) -> str:
    """Two figures, no exponent, no noughts at the end."""
    if value is None:
        return "–"
    return f"{float(f'{value:.2g}'):f}".rstrip("0").rstrip(".")


def _condition(row: Row) -> str:
    return "all" if row["condition"] == WHOLE else f"{row['condition']} {row['value']}"


def _day(made: Mapping[str, Any]) -> str:
    date = dt.date.fromisoformat(made["date"])
    older = f"; methods have changed since, to {METHOD_VERSION}" if made["version"] < METHOD_VERSION else ""
    return f"{date.day} {date:%B %Y} (methods of version {made['version']}{older})"


# ------------------------------------------------------------------------------------------- sequence


def _sequence() -> Iterator[str]:
    yield """\
## The same page twice

All pages of an item in one light are compared with each other, and so are all openings, to find views that
were photographed twice or filed in another's place. Each frame becomes its ink, 128 px on the long side. The
sizes of two spectra, which stay as they are wherever a page lies, tell which frames are near each other; each
frame is correlated with its three nearest over shifts and turns, without what runs straight along the frame:
rulings, edges of the book and its binding. From a likeness of 0.5 on it is the same page
([S026](rules.md#s026-one-page-seems-to-have-been-photographed-twice)).

| tried on | pairs | likeness |
|---|---|---|
| the same page again, moved to 3 %, turned to 1°, darker, softer | 460 | 0.50 at least, most above 0.75 |
| pages of a drawn hand, all written in full | 404,550 | 0.16 at most |
| pages put together from lines of six photographed pages, in one ruling | 79,800 | 0.16 at most |
| the same with two to seven lines, on leaves of one binding | 5,951 | 0.48 at most |
| a printed form, a fifth of its cells filled by hand | 19,900 | 0.32 at most |
| blank leaves of one binding, ruled or not | 2,950 | 0.45 at most |
| pages of the demo, some with whole lines in the same places | 189 | 0.35 at most |

Of many pairs those nearest by their spectra were correlated. An item of 900 pages takes 1 s of processor
time, or 16 s if all are alike. A blank page is not compared. Of frames that are each like three others
(leaves that were ruled through one another and not written on) a note says that doubles among them cannot be
told.

A 64-bit hash is kept as well; alone it cannot tell pages of one hand. A leaf that nobody photographed leaves
no image: only foliation, which a person reads, shows it ([rules](rules.md) S002 and S003).
"""


# ----------------------------------------------------------------------------------------------- cost


COST_TITLE = "What it costs"
COST = f"""\
## {COST_TITLE}

All measures of a frame, beside the making of its tiles, in one run of
`python -m tests.benchmarks.bench_measures` on 28 November 2026 (two cores, busy with other work; 16 bits,
best of two rounds; CPU of all threads):

| frame | measures, CPU s | its tiles, CPU s | ratio | memory of the measures, MB | of the tiles |
|---|---|---|---|---|---|
| page with text, 48 million pixels | 0.52 | 0.76 | 0.69 | 170 | 67 |
| page with text, 80 million pixels | 0.67 | 1.66 | 0.40 | 163 | 77 |
| target, 48 million pixels | 0.74 | 0.93 | 0.80 | 139 | 77 |
| target, 80 million pixels | 1.23 | 1.39 | 0.89 | 138 | 89 |
| flat frame, 48 million pixels | 0.28 | 1.02 | 0.27 | 110 | 77 |
| flat frame, 80 million pixels | 0.31 | 1.20 | 0.26 | 124 | 90 |

Only reducing and the count of clipped pixels look at every pixel. Memory is what the process held for itself;
the frame's pixels lie in a scratch file.
"""

# ---------------------------------------------------------------------------------------- photographs

PAGES_TITLE = "Real pages, made worse"
TABLES_TITLE = "Tables of errors"


def _pages(pages: Mapping[str, Any]) -> Iterator[str]:
    yield f"## {PAGES_TITLE}\n"
    yield (
        f"{pages['pages']} photographs of manuscript pages of one hand (600 ppi, JPEG, taken as sRGB; "
        "public domain, not kept here) were blurred, turned, tipped, bent, darkened and brightened, and "
        f"measured as any page is, {_day(pages)}. Rank correlation is Spearman's, of the amounts against "
        "what was found, page by page; 1 is a figure that always follows.\n"
    )
    yield "| made worse | amounts | figure | frames, not measured | least of the pages | mean |"
    yield "|---|---|---|---|---|---|"
    for way in truth.WAYS:
        found = pages["ways"][way.quantity.value]
        amounts = ", ".join(f"{each:g}" for each in way.amounts).replace("-", "−") + way.unit
        yield (
            f"| {way.name} | {amounts} | {way.quantity.label}{', falling' if way.is_falling else ''} "
            f"| {found['frames']}, {found['not_measured']} | {found['least']:g} | {found['mean']:g} |"
        )
    yield "\nIf one page alone is blurred and the others are as they were, it stands out as softer:\n"
    stands = pages["standing_out"]
    yield (
        "| blurred by | " + " | ".join(f"{each} px" for each in stands) + " |\n|" + "---|" * (len(stands) + 1)
    )
    yield "| stand out | " + " | ".join(f"{each} of {pages['pages']}" for each in stands.values()) + " |\n"
    yield "At 0 px, where none was blurred, each that stands out would be a false alarm.\n"


# -------------------------------------------------------------------------------------------- tables


def _tables(drawn: Mapping[str, Any]) -> Iterator[str]:
    yield f"## {TABLES_TITLE}\n"
    yield (
        f"Frames were drawn whose answer is known in closed form, {_day(drawn)}; each line counts those "
        "that have one condition in common, over all others. Errors are without sign, in the quantity's "
        "unit, or in per cent of the truth where it says so. Noise is the standard deviation of codes, of "
        "full scale 1; blur the σ of a Gaussian in px; contrast of edges 0.1 to 0.7. Made by `python -m "
        "tests.measure.make_figures`.\n"
    )
    for value, rows in drawn["quantities"].items():
        quantity = Quantity(value)
        unit = "per cent of the truth" if quantity in SHARES else quantity.unit or "as a ratio"
        yield f"### Errors of {quantity.label}, {_cell(unit)}\n"
        yield "| condition | frames | half within | 95 % within | all within |\n|---|---|---|---|---|"
        for row in rows:
            numbers = (row[key] for key in ("median", "percentile_95", "largest"))
            cells = " | ".join(_brief(each) for each in numbers)
            yield f"| {_condition(row)} | {row['trials']} | {cells} |"
        yield ""
