"""Accounts of pages beside each other, masters beside surrogates: what differs, and what only looks so."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from pipeline.delivery import Role
from pipeline.findings import Level
from pipeline.verify.between import ITEM, PICTURES, ItemFacts, Told, groups
from pipeline.verify.evidence import SIGNATURE_SIDE, Page, Pages, PagesKind
from pipeline.verify.likeness import DEFAULT_DIFFERENCE, Likeness, picture_difference
from pipeline.verify.roles import Picture

LABELS = ("front cover", "f. 1r", "f. 1v", "f. 2r", "f. 2v", "back cover")
KINDS = {"mets.xml": PagesKind.METS, "manifest.json": PagesKind.MANIFEST, "pages.csv": PagesKind.PAGE_LIST}


def page(label: str, *files: str, translations: Sequence[str] = ()) -> Page:
    return Page(label=label, files=files, translations=tuple(translations))


BOOK = tuple(page(label, f"b{number}") for number, label in enumerate(LABELS, start=1))


def account(document: str, pages: Sequence[Page] = BOOK) -> Pages:
    return Pages(document=document, kind=KINDS[document.rpartition("/")[2]], pages=tuple(pages))


def found(
    *accounts: Pages,
    pictures: Sequence[Picture] = (),
    is_several: bool = False,
    are_surrogates_required: bool = False,
) -> list[str]:
    facts = ItemFacts(
        place="item",
        accounts=accounts,
        pictures=tuple(pictures),
        is_several=is_several,
        are_surrogates_required=are_surrogates_required,
    )
    report = ITEM.judge(facts, place="item") + PICTURES.judge(facts, place="item")
    return [f"{each.code} {each.level} {each.place}: {each.value}" for each in report.findings]


def changed(at: int, *pages: Page, instead_of: int = 1) -> tuple[Page, ...]:
    return (*BOOK[:at], *pages, *BOOK[at + instead_of :])


SWAPPED = changed(1, BOOK[2], BOOK[1], instead_of=2)

# ------------------------------------------------------------------------------- what is no difference

ALIKE = {
    "the same": BOOK,
    "labels spelled otherwise": changed(1, page("1r", "b2"), page("fol. 1 verso", "b3"), instead_of=2),
    "a label in two languages": changed(0, page("Vorderdeckel", "b1", translations=["front cover"])),
    "a remark behind a label": changed(1, page("f. 1r (unfolded)", "b2")),
    "no label at all": changed(1, page("", "b2")),
    "further lights of a page": changed(1, page("f. 1r", "b2", "b2_uv", "b2_raking")),
    "lights in another order": changed(1, page("f. 1r", "b2_raking", "b2")),
    "a page without an image": changed(3, page("slip"), BOOK[3]),
    "capitals and blanks in a name": changed(1, page("f. 1r", "B2")),
    "an opening of two images": changed(2, page("ff. 1v–2r", "b3", "b4"), instead_of=2),
}


@pytest.mark.parametrize("name", ALIKE)
def test_two_accounts_may_tell_the_same_in_other_ways(name: str) -> None:
    assert found(account("mets.xml"), account("manifest.json", ALIKE[name])) == []
    assert found(account("manifest.json", ALIKE[name]), account("mets.xml")) == []


def test_target_frames_may_be_left_out() -> None:
    target = Picture(bundle="one", path="data/targets/t1.tif", stem="t1", role=Role.TARGETS)
    with_target = account("mets.xml", (*BOOK, page("24-patch", "t1")))
    assert found(with_target, account("manifest.json"), pictures=[target]) == []


def test_volumes_may_have_a_document_each_beside_one_for_all() -> None:
    first, second = BOOK[:3], BOOK[3:]
    parts = account("v1/mets.xml", first), account("v2/mets.xml", second)
    assert found(*parts, account("pages.csv")) == []
    assert found(*parts, account("pages.csv", (*second, *first))) == []
    assert found(*parts, account("v1/manifest.json", first), account("v2/manifest.json", second)) == []


def test_volumes_with_files_of_one_name_are_told_apart_by_their_folders() -> None:
    both = [
        page(f"{volume}, no. {n}", f"000{n}", f"{volume}-000{n}") for volume in ("v1", "v2") for n in (1, 2)
    ]
    assert found(account("mets.xml", both), account("pages.csv", both)) == []


# --------------------------------------------------------------------------- one fault, one finding

FAULTS = {
    "swapped": (SWAPPED, "f. 1r (b2) stands after f. 1v (b3)"),
    "moved far": ((*BOOK[1:5], BOOK[0], BOOK[5]), "front cover (b1) stands after f. 2v (b5)"),
    "moved to the front": ((BOOK[4], *BOOK[:4], BOOK[5]), "f. 2v (b5) stands first"),
    "missing": (changed(2), "f. 1v (b3) is not in it"),
    "too many": (changed(3, page("f. 1bis r", "b9"), BOOK[3]), "f. 1bis r (b9) is in it alone"),
    "doubled": (changed(2, BOOK[2], BOOK[2]), "f. 1v (b3) is in it twice"),
    "image renamed": (changed(2, page("f. 1v", "b3x")), "f. 1v shows b3x, not b3"),
    "label changed": (changed(2, page("f. 7v", "b3")), 'b3 is "f. 7v", not "f. 1v"'),
}


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("documents", [("mets.xml", "manifest.json"), ("one/mets.xml", "two/mets.xml")])
def test_one_fault_gives_one_finding_in_words(name: str, documents: tuple[str, str]) -> None:
    pages, words = FAULTS[name]
    assert found(account(documents[0]), account(documents[1], pages)) == [
        f"X001 error {documents[1]}: {words}"
    ]


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("at", range(3))
def test_of_three_accounts_the_one_that_differs_is_named(name: str, at: int) -> None:
    pages, words = FAULTS[name]
    accounts = [account(document) for document in KINDS]
    wrong = accounts[at].document
    accounts[at] = account(wrong, pages)
    assert found(*accounts) == [f"X001 error {wrong}: {words}"]


def test_what_is_only_worded_otherwise_is_a_warning() -> None:
    pages = changed(0, page("upper board", "b1"))
    assert found(account("mets.xml"), account("manifest.json", pages)) == []  # the same place
    pages = changed(0, page("binding", "b1"))
    assert found(account("mets.xml"), account("manifest.json", pages)) == [
        'X001 warning manifest.json: b1 is "binding", not "front cover"'
    ]


def test_many_differences_are_one_finding_that_says_how_many() -> None:
    (said,) = found(account("mets.xml"), account("manifest.json", BOOK[:1]))
    assert said.endswith("f. 2r (b4) is not in it; and 2 more")


def test_accounts_without_a_name_in_common_cannot_be_compared() -> None:
    strange = [page(each.label, f"x{number}") for number, each in enumerate(BOOK)]
    assert found(account("mets.xml"), account("manifest.json", strange)) == [
        "X001 warning manifest.json: 6 pages, of which none has an image by the same name"
    ]


@given(st.permutations(range(len(BOOK))))
def test_any_order_but_the_right_one_is_found(order: list[int]) -> None:
    said = found(account("mets.xml"), account("manifest.json", [BOOK[number] for number in order]))
    assert bool(said) is (order != sorted(order))
    assert len(said) <= 1


@given(st.lists(st.sampled_from(range(len(BOOK))), unique=True, min_size=1))
def test_the_fewest_moves_are_told(kept: list[int]) -> None:
    pages = [BOOK[number] for number in sorted(kept)]
    said = found(account("mets.xml", pages), account("manifest.json", [BOOK[number] for number in kept]))
    told_of_order = [each for each in said if each.startswith("X001")]
    assert bool(told_of_order) is (kept != sorted(kept))
    assert "".join(told_of_order).count(" stands ") < max(len(kept), 2)


# --------------------------------------------------------------------------------------- foliation


def test_labels_out_of_order_and_missing_sides_are_told_if_all_documents_agree() -> None:
    assert found(account("mets.xml", SWAPPED), account("manifest.json", SWAPPED)) == [
        "X002 warning mets.xml: f. 1r stands after f. 1v"
    ]
    assert found(account("mets.xml", changed(2))) == [
        "X003 error mets.xml: missing between f. 1r and f. 2r: f. 1v"
    ]


def test_a_side_that_is_listed_without_an_image_is_not_missing() -> None:
    assert found(account("mets.xml", changed(2, page("f. 1v")))) == []


def test_foliation_is_not_judged_while_documents_differ() -> None:
    facts = ItemFacts(
        place="item", accounts=(account("mets.xml"), account("manifest.json", SWAPPED)), pictures=()
    )
    report = ITEM.judge(facts, place="item")
    assert {each.code for each in report.skipped} == {"X002", "X003"}


# ------------------------------------------------------------------------------ masters and surrogates


def picture(path: str, role: Role, image: Image.Image | None = None, bundle: str = "one") -> Picture:
    stem = path.rpartition("/")[2].rpartition(".")[0].lower()
    signature = b"" if image is None else signature_of(image)
    return Picture(bundle=bundle, path=path, stem=stem, role=role, signature=signature)


def signature_of(image: Image.Image) -> bytes:
    """A signature by other code than the product's."""
    return image.convert("L").resize((SIGNATURE_SIDE, SIGNATURE_SIDE), Image.Resampling.BOX).tobytes()


def master(name: str, image: Image.Image | None = None, bundle: str = "one") -> Picture:
    return picture(f"data/masters/{name}.tif", Role.MASTERS, image, bundle)


def surrogate(name: str, image: Image.Image | None = None, bundle: str = "one") -> Picture:
    return picture(f"data/access/{name}.jpg", Role.ACCESS, image, bundle)


def test_each_master_has_a_surrogate_and_the_other_way_round() -> None:
    pictures = [master("b1"), master("b2"), surrogate("b1"), surrogate("b3")]
    assert found(pictures=pictures) == [
        "X010 error data/masters/b2.tif: no surrogate",
        "X010 error data/access/b3.jpg: no master",
    ]


def test_a_bundle_without_surrogates_is_told_of_once_and_only_if_they_were_agreed() -> None:
    pictures = [master("b1"), master("b2")]
    assert found(pictures=pictures) == []
    assert found(pictures=pictures, are_surrogates_required=True) == [
        "X010 error item: no surrogate for any of 2 masters"
    ]


def test_what_documents_tell_of_is_not_told_again_of_files() -> None:
    one, other = account("one/mets.xml"), account("two/mets.xml", changed(2))
    pictures = [master(f"b{n}") for n in range(1, 7)]
    pictures += [surrogate(f"b{n}", bundle="two") for n in (1, 2, 4, 5, 6)]
    assert found(one, other, pictures=pictures, is_several=True) == [
        "X001 error two/mets.xml: f. 1v (b3) is not in it"
    ]


def test_files_of_one_name_in_two_folders_pair_by_their_folders() -> None:
    paths = [(f"data/{volume}/masters/0001.tif", f"data/{volume}/access/0001.jpg") for volume in ("v1", "v2")]
    pictures = [
        each
        for first, second in paths
        for each in (picture(first, Role.MASTERS), picture(second, Role.ACCESS))
    ]
    assert found(pictures=pictures) == []
    assert found(pictures=pictures[:-1]) == ["X010 error data/v2/masters/0001.tif: no surrogate"]


# ---------------------------------------------------------------------------------------- pictures


def sheet(seed: int) -> Image.Image:
    """A written page: a bright sheet on a dark ground, lines of dark words."""
    random = np.random.default_rng(seed)
    grey = np.full((800, 600), 40, dtype=np.uint8)
    grey[30:770, 30:570] = 200
    for top in range(80, 720, 26):
        left = 70
        while left < 500:
            width = int(random.integers(10, 60))
            grey[top : top + 12, left : left + width] = int(random.integers(60, 120))
            left += width + int(random.integers(6, 40))
    return Image.fromarray(grey)


def encoded(image: Image.Image, quality: int = 80) -> Image.Image:
    data = io.BytesIO()
    image.save(data, "JPEG", quality=quality)
    return Image.open(data)


def cut(image: Image.Image, share: float) -> Image.Image:
    across, down = image.width * share / 2, image.height * share / 2
    return image.crop((int(across), int(down), int(image.width - across), int(image.height - down)))


SAME: dict[str, Callable[[Image.Image], Image.Image]] = {
    "encoded again": encoded,
    "made smaller": lambda image: image.resize((150, 200), Image.Resampling.LANCZOS),
    "brighter": lambda image: image.point(lambda value: min(255, value + 20)),
    "other tone": lambda image: image.point(lambda value: int(255 * (value / 255) ** 0.7)),
    "cut by half a per cent": lambda image: cut(image, 0.005),
}
OTHER: dict[str, tuple[Callable[[Image.Image], Image.Image], str]] = {
    "turned by 90° clockwise": (lambda image: image.rotate(-90, expand=True), "turned by 90° clockwise"),
    "turned by 180°": (lambda image: image.rotate(180), "turned by 180°"),
    "mirrored": (ImageOps.mirror, "mirrored"),
    "a negative": (ImageOps.invert, "a negative"),
    "cut by 10 %": (lambda image: cut(image, 0.10), ""),
    "turned by 3°": (lambda image: image.rotate(3), ""),
}


@pytest.mark.parametrize("name", SAME)
def test_a_surrogate_may_be_smaller_and_of_other_tone(name: str) -> None:
    image = sheet(1)
    assert found(pictures=[master("b1", image), surrogate("b1", SAME[name](image))]) == []


@pytest.mark.parametrize("name", OTHER)
def test_a_surrogate_that_is_turned_or_cut_is_told_of_with_how(name: str) -> None:
    change, words = OTHER[name]
    image = sheet(1)
    (said,) = found(pictures=[master("b1", image), surrogate("b1", change(image))])
    assert said.startswith(f"X011 error data/access/b1.jpg: {words}")


def test_pages_of_one_book_are_different_pictures() -> None:
    sheets = [signature_of(sheet(seed)) for seed in range(8)]
    differences = [picture_difference(one, other) for one in sheets for other in sheets if one is not other]
    assert min(differences) > 2 * DEFAULT_DIFFERENCE


def test_swapped_files_are_one_finding_that_names_both() -> None:
    images = [sheet(seed) for seed in range(4)]
    pictures = [master(f"b{n}", image) for n, image in enumerate(images)]
    pictures += [surrogate(f"b{n}", images[m]) for n, m in enumerate((0, 2, 1, 3))]
    assert found(pictures=pictures) == [
        "X011 error data/access/b1.jpg: shows the picture of data/masters/b2.tif; "
        "data/access/b2.jpg that of data/masters/b1.tif"
    ]


def test_a_whole_series_that_slipped_by_one_is_one_finding() -> None:
    images = [sheet(seed) for seed in range(9)]
    pictures = [master(f"b{n}", image) for n, image in enumerate(images)]
    pictures += [surrogate(f"b{n}", images[(n + 1) % 9]) for n in range(9)]
    (said,) = found(pictures=pictures)
    assert said.endswith("6 more show others")


def blank(grey: int, noise: float = 0.0, seed: int = 0) -> Image.Image:
    values = (
        np.random.default_rng(seed).normal(grey, noise, (400, 300)) if noise else np.full((400, 300), grey)
    )
    return Image.fromarray(np.clip(values, 0, 255).astype(np.uint8))


def test_blank_pages_are_alike_and_are_not_taken_for_each_other() -> None:
    pictures = [master(f"b{n}", blank(210, 6, n)) for n in range(4)]
    pictures += [surrogate(f"b{n}", encoded(blank(214, 6, n + 10), 60)) for n in range(4)]
    assert found(pictures=pictures) == []
    assert picture_difference(signature_of(blank(210)), signature_of(blank(20))) == 1.0
    assert picture_difference(signature_of(blank(210)), signature_of(sheet(1))) > DEFAULT_DIFFERENCE


@given(st.integers(0, 2**32 - 1), st.integers(0, 255))
def test_a_picture_is_itself_and_differences_are_the_same_both_ways(seed: int, spread: int) -> None:
    values = np.random.default_rng(seed).integers(0, spread + 1, SIGNATURE_SIDE**2, dtype=np.int64)
    signature = values.astype(np.uint8).tobytes()
    own, other = Likeness(signature), Likeness(signature_of(sheet(1)))
    assert own.difference(own) == pytest.approx(0, abs=1e-5)
    assert own.difference(other) == pytest.approx(other.difference(own), abs=1e-5)
    assert 0 <= own.difference(other) <= 2.00001


def test_what_did_not_decode_is_not_compared() -> None:
    assert found(pictures=[master("b1"), surrogate("b1", sheet(1))]) == []


# ---------------------------------------------------------------------------------- several bundles


def test_bundles_belong_together_by_the_identifier_that_they_share() -> None:
    members = [Told(bundle=name, group=group, accounts=(), pictures=()) for name, group in
               (("a", "g"), ("b", ""), ("c", "g"), ("d", "h"))]  # fmt: skip
    assert [(group, [each.bundle for each in found]) for group, found in groups(members)] == [
        ("g", ["a", "c"]),
        ("h", ["d"]),
    ]


def test_pictures_of_one_bundle_are_not_compared_again_with_others() -> None:
    images = sheet(1), sheet(2)
    alone = [master("b1", images[0]), surrogate("b1", images[1])]
    assert len(found(pictures=alone)) == 1
    assert found(pictures=alone, is_several=True) == []
    apart = [master("b1", images[0]), surrogate("b1", images[1], bundle="two")]
    assert len(found(pictures=apart, is_several=True)) == 1


def test_weights_are_those_that_the_rules_say() -> None:
    assert {code: rule.level for code, rule in ITEM.rules.items()} == {
        "X001": Level.ERROR,
        "X002": Level.WARNING,
        "X003": Level.ERROR,
        "X004": Level.ERROR,
        "X005": Level.WARNING,
        "X010": Level.ERROR,
    }
