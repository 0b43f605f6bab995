from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.foliation import (
    Place,
    Side,
    Zone,
    missing_between,
    order_label,
    other_side,
    out_of_order,
    parse,
    parse_opening,
    side,
    spell,
)

R, V = Side.RECTO, Side.VERSO
SUFFIXES = ("", "a", "b", "c", "z", "bis", "ter", "quater", "*", "'")
NUMBERED = (Zone.FRONT_FLYLEAF, Zone.PRELIMINARY, Zone.TEXT, Zone.BACK_FLYLEAF)


def leaf(number: int, side: Side | None = R, suffix: str = "", zone: Zone = Zone.TEXT) -> Place:
    return Place(zone=zone, number=number, suffix=suffix, side=side)


def page(number: int, zone: Zone = Zone.TEXT, suffix: str = "") -> Place:
    side = None if suffix else (R if number % 2 else V)
    return Place(zone=zone, number=number, side=side, suffix=suffix, is_page=True)


leaves = st.builds(
    leaf, st.integers(1, 3999), st.sampled_from(Side), st.sampled_from(SUFFIXES), st.sampled_from(NUMBERED)
).filter(lambda place: place.zone is Zone.TEXT or not place.suffix.isalpha() or len(place.suffix) > 1)
pages = st.builds(page, st.integers(1, 3999), st.sampled_from((Zone.TEXT, Zone.PRELIMINARY)))


@pytest.mark.parametrize(
    ("label", "place"),
    [
        ("f. 3r", leaf(3)),
        ("f. 12v", leaf(12, V)),
        ("3r", leaf(3)),
        ("f.3v", leaf(3, V)),
        ("F. 3 V", leaf(3, V)),
        ("fol. 3 recto", leaf(3)),
        ("fol. 003 verso", leaf(3, V)),
        ("f. 3 v°", leaf(3, V)),
        ("f. 12", leaf(12, None)),
        ("f. 12bis r", leaf(12, R, "bis")),
        ("f. 12 ter v", leaf(12, V, "ter")),
        ("f. 12a v", leaf(12, V, "a")),
        ("f. 12c", leaf(12, None, "c")),
        ("f. 12a", leaf(12, R)),
        ("f. 12b", leaf(12, V)),
        ("f. 12r (folded)", leaf(12)),
        ("f. 12r [flap closed]", leaf(12)),
        ("f. ii v", leaf(2, V, zone=Zone.PRELIMINARY)),
        ("f. iiv", leaf(2, V, zone=Zone.PRELIMINARY)),
        ("f. iv", leaf(1, V, zone=Zone.PRELIMINARY)),
        ("f. iv r", leaf(4, R, zone=Zone.PRELIMINARY)),
        ("f. IX v", leaf(9, V, zone=Zone.PRELIMINARY)),
        ("ii v", leaf(2, V, zone=Zone.PRELIMINARY)),
        ("front flyleaf i r", leaf(1, R, zone=Zone.FRONT_FLYLEAF)),
        ("upper endleaf 2 v", leaf(2, V, zone=Zone.FRONT_FLYLEAF)),
        ("back flyleaf ii v", leaf(2, V, zone=Zone.BACK_FLYLEAF)),
        ("front flyleaf", leaf(1, None, zone=Zone.FRONT_FLYLEAF)),
        ("p. 34", page(34)),
        ("page 35", page(35)),
        ("p. iv", page(4, Zone.PRELIMINARY)),
        ("p. 34a", page(34, suffix="a")),
        ("front cover", Place(zone=Zone.FRONT_COVER, side=R)),
        ("Back Cover", Place(zone=Zone.BACK_COVER, side=V)),
        ("front pastedown", Place(zone=Zone.FRONT_PASTEDOWN, side=V)),
        ("back paste-down", Place(zone=Zone.BACK_PASTEDOWN, side=R)),
        ("inside front cover", Place(zone=Zone.FRONT_PASTEDOWN, side=V)),
    ],
)
def test_a_label_is_read_as_a_cataloguer_means_it(label: str, place: Place) -> None:
    assert parse(label) == place
    assert side(label) is place.side


@pytest.mark.parametrize(
    "label",
    ["", "12", "iv", "mix v", "spine", "fore-edge", "obverse", "f.", "f. 0r", "f. 12ra", "f. 3.5r",
     "f. iiiiii r", "f. 1234567r", "ff. 1r–2v", "vellum", "dorse", "p.", "cover", "pastedown"],
)  # fmt: skip
def test_a_label_that_names_no_place_gives_none(label: str) -> None:
    assert parse(label) is None
    assert side(label) is None


@pytest.mark.parametrize(
    ("label", "places"),
    [
        ("ff. 1v–2r", (leaf(1, V), leaf(2))),
        ("ff. 1v-2r", (leaf(1, V), leaf(2))),
        ("f. 1v — f. 2r", (leaf(1, V), leaf(2))),
        ("1v–2r", (leaf(1, V), leaf(2))),
        ("ff. ii v–1r", (leaf(2, V, zone=Zone.PRELIMINARY), leaf(1))),
        ("pp. 34-35", (page(34), page(35))),
        ("front pastedown – f. 1r", (Place(zone=Zone.FRONT_PASTEDOWN, side=V), leaf(1))),
    ],
)
def test_an_opening_is_two_places_that_face_each_other(label: str, places: tuple[Place, Place]) -> None:
    assert parse_opening(label) == places
    assert parse(label) is None


@pytest.mark.parametrize(
    "label", ["f. 1r", "ff. 1r–12v", "ff. 2v–1r", "pp. 34-36", "fore-edge", "a - b - c", "–"]
)
def test_a_range_or_a_single_leaf_is_no_opening(label: str) -> None:
    assert parse_opening(label) is None


@pytest.mark.parametrize(
    ("label", "bare"),
    [
        ("f. 1r", "1r"),
        ("fol. 3 recto", "3r"),
        ("f. 12r (folded)", "12r"),
        ("f. 12bis v", "12bis v"),
        ("f. ii v", "ii v"),
        ("p. 34", "34"),
        ("p. iv", "iv"),
        ("ff. 1v-2r", "1v–2r"),
        ("pp. 34-35", "34–35"),
        ("front cover", "front cover"),
        ("Front flyleaf i r", "Front flyleaf i r"),
        ("fore-edge", "fore-edge"),
        ("17", "17"),
        ("reverse", "reverse"),
    ],
)
def test_the_order_label_is_the_bare_number(label: str, bare: str) -> None:
    # METS 1.12.1 primer, chapter on the structural map: ORDERLABEL holds the folio or page number itself.
    assert order_label(label) == bare


@given(leaves | pages)
def test_what_is_spelled_is_read_back(place: Place) -> None:
    assert parse(spell(place)) == place


@given(leaves.filter(lambda place: place.zone is Zone.TEXT))
def test_the_order_label_of_a_leaf_still_names_it(place: Place) -> None:
    assert parse(order_label(spell(place))) == place


@given(st.text(max_size=30))
def test_no_text_is_too_odd_to_be_read(label: str) -> None:
    parse(label)
    parse_opening(label)
    order_label(label)
    assert out_of_order([label, label]) == ()
    assert missing_between(label, label) == ()


# ------------------------------------------------------------------------------------------------ order

foliations = st.lists(leaves, unique=True, max_size=12).map(
    lambda places: [spell(place) for place in sorted(places, key=lambda place: place.sort_key)]
)


@given(st.lists(leaves | pages, max_size=8))
def test_the_order_of_places_is_total(places: list[Place]) -> None:
    for a, b in itertools.product(places, repeat=2):
        assert (a.sort_key == b.sort_key) is ((a.leaf, a.side) == (b.leaf, b.side))
    zones = [place.sort_key[0] for place in sorted(places, key=lambda place: place.sort_key)]
    assert zones == sorted(zones)


@given(foliations)
def test_a_foliation_in_order_has_nothing_out_of_order(labels: list[str]) -> None:
    assert out_of_order(labels) == ()


@given(foliations.flatmap(st.permutations))
def test_each_pair_out_of_order_is_so_and_moving_its_labels_mends_all(labels: list[str]) -> None:
    text = [label for label in labels if (place := parse(label)) and place.zone is Zone.TEXT]
    pairs = out_of_order(text)
    places = [parse(label) for label in text]
    for i, j in pairs:
        first, second = places[i], places[j]
        assert first
        assert second
        assert i > j
        assert first.sort_key < second.sort_key
    assert len(pairs) < max(len(text), 1)
    assert bool(pairs) is (text != sorted(text, key=lambda label: place_key(label)))


def place_key(label: str) -> tuple[int, int, int, str, int]:
    place = parse(label)
    assert place
    return place.sort_key


@pytest.mark.parametrize(
    ("labels", "pairs"),
    [
        (["f. 3v", "f. 3r"], ((1, 0),)),
        (["f. 1r", "f. 1v", "f. 90r", "f. 2r", "f. 2v"], ((3, 2),)),
        (["f. 1r", "f. 1v", "f. 2r", "f. 2v", "f. 1r"], ((4, 3),)),
        (["f. 1r", "f. i r", "f. 1v"], ((1, 0),)),
        (["f. ii r", "f. i v", "f. 1r"], ((1, 0),)),
        (["back pastedown", "f. 1r", "f. 1v"], ((1, 0),)),
        (["p. 2", "p. 1", "p. 3"], ((1, 0),)),
        (["ff. 2v–3r", "ff. 1v–2r"], ((1, 0),)),
    ],
)
def test_a_label_out_of_order_is_told_with_one_that_it_should_precede(
    labels: list[str], pairs: tuple[tuple[int, int], ...]
) -> None:
    assert out_of_order(labels) == pairs


@pytest.mark.parametrize(
    "labels",
    [
        ["f. i r", "f. i v", "f. 1r", "f. 1v", "f. i r", "f. i v"],
        ["front pastedown", "front flyleaf i r", "f. i r", "f. 1r", "back flyleaf i r", "back pastedown"],
        ["back cover", "spine", "front cover", "f. 1r"],
        ["f. 12r (folded)", "f. 12r", "f. 12v", "f. 12"],
        ["p. 90", "f. 1r", "p. 91", "f. 2r"],
        ["f. 12v", "f. 12bis r", "f. 12bis v", "f. 12ter r", "f. 13r"],
        ["1", "3", "2"],
    ],
)
def test_orders_that_libraries_have_are_in_order(labels: list[str]) -> None:
    assert out_of_order(labels) == ()


# ------------------------------------------------------------------------------------------------- gaps


@pytest.mark.parametrize(
    ("a", "b", "missing"),
    [
        ("f. 1v", "f. 2v", ("f. 2r",)),
        ("f. 1r", "f. 2r", ("f. 1v",)),
        ("f. 1r", "f. 1v", ()),
        ("f. 1r", "f. 3v", ("f. 1v", "f. 2r", "f. 2v", "f. 3r")),
        ("f. 1r", "f. 3r (folded)", ("f. 1v", "f. 2r", "f. 2v")),
        ("fol. 009 recto", "fol. 010 verso", ("fol. 009 verso", "fol. 010 recto")),
        ("1R", "2R", ("1V",)),
        ("f. 12a", "f. 13a", ("f. 12b",)),
        ("p. 33", "p. 36", ("p. 34", "p. 35")),
        ("ff. 1v–2r", "ff. 4v–5r", ("ff. 2v–3r", "ff. 3v–4r")),
        ("pp. 2-3", "pp. 8-9", ("pp. 4–5", "pp. 6–7")),
        ("ff. 1v–2r", "f. 3r", ("f. 2v",)),
        ("f. 1v", "ff. 3v–4r", ("f. 2r", "f. 2v", "f. 3r")),
        ("front pastedown", "f. 1v", ("f. 1r",)),
        ("front flyleaf i r", "f. 1r", ("front flyleaf i v",)),
        ("f. ii v", "f. iv v", ("f. iii r", "f. iii v", "f. iv r")),
        ("f. II r", "f. III r", ("f. II v",)),
        ("f. 12r", "f. 12bis r", ("f. 12v",)),
        ("f. 12bis v", "f. 13v", ("f. 13r",)),
        ("f. 2v", "f. 1r", ()),
        ("p. 3", "f. 5r", ()),
        ("f. 1", "f. 4", ()),
        ("spine", "f. 4r", ()),
    ],
)
def test_the_sides_between_two_neighbours_are_spelled_as_they_are(
    a: str, b: str, missing: tuple[str, ...]
) -> None:
    assert missing_between(a, b) == missing


@given(st.integers(1, 300), st.sampled_from(Side), st.integers(1, 300), st.sampled_from(Side))
def test_what_is_missing_makes_the_run_whole(first: int, one: Side, last: int, other: Side) -> None:
    a, b = leaf(first, one), leaf(last, other)
    places = [parse(label) for label in (spell(a), *missing_between(spell(a), spell(b)), spell(b))]
    if a.sort_key < b.sort_key:
        steps = [2 * place.number + (place.side is V) for place in places if place]
        assert steps == list(range(steps[0], steps[-1] + 1))
    else:
        assert len(places) == 2


@pytest.mark.parametrize(
    ("label", "other"),
    [
        ("f. 1v", "f. 1r"),
        ("12bis r", "12bis v"),
        ("fol. 003 recto", "fol. 003 verso"),
        ("f. ii v", "f. ii r"),
        ("front flyleaf i r", "front flyleaf i v"),
        ("p. 33", "p. 34"),
        ("p. iv", "p. iii"),
        ("f. 12", ""),
        ("front cover", ""),
        ("frontispiece", ""),
    ],
)
def test_the_other_side_of_a_leaf_is_spelled_alike(label: str, other: str) -> None:
    assert other_side(label) == other
    if other:
        assert other_side(other) == label
