"""The search for chains against plain enumeration, and the two shortcuts that would be wrong."""

from collections import Counter

import numpy as np
import pytest
from chain_world import catalogue_of, detour_shop, every_chain, front_of, mirror_shop, random_shop
from further import wide
from hypothesis import given
from hypothesis import strategies as st

from chain.selection.catalogue import count_walks, without_dominated
from chain.selection.pareto import beaten, nondominated
from chain.selection.search import best_chains


def figures(walks):
    return [(each.cost, each.loss, each.reflection, each.joints) for each in walks]


def label_setting(shop, most_items):
    """Front by labels at each connector, a label dropped when another at the same connector and hop beats it: stock ignored."""
    mates = shop.mates
    labels = {shop.start: [((0, 0, 0), Counter())]}
    ends = []
    for hop in range(most_items + 1):
        reached = {}
        for node, here in labels.items():
            if mates[node, shop.goal]:
                total = [(*(np.array(vector) + shop.joint(node, shop.goal)).tolist(), hop + 1) for vector, _ in here]
                ends += total
            for element in range(len(shop.near)):
                pair = int(shop.near[element]), int(shop.far[element])
                for entry, leave in {pair, pair[::-1]}:
                    if not mates[node, entry]:
                        continue
                    more = shop.joint(node, entry) + shop.vectors[element]
                    for vector, used in here:
                        if used[element] < shop.stock[element]:
                            new = tuple(int(value) for value in np.array(vector) + more)
                            reached.setdefault(leave, []).append((new, used + Counter([element])))
        labels = {}
        for node, found in reached.items():
            kept = front_of([vector for vector, _ in found])
            labels[node] = [next(each for each in found if each[0] == vector) for vector in sorted(kept)]
    return front_of(ends)


@pytest.mark.parametrize(
    ("drawn", "mirrored", "detours", "pieces", "labels", "whole"),
    [(85, 30, 8, 12, 5, 50), *wide((340, 130, 30, 50, 20, 200))],
)
def test_the_front_is_that_of_plain_enumeration_also_where_the_shortcuts_are_wrong(
    drawn, mirrored, detours, pieces, labels, whole
):
    """A piece that another beats may be wanted twice; of two ways to a connector the worse may be the one that goes on."""
    rng = np.random.default_rng(20)
    by_pieces = by_labels = fitting = largest = 0
    for number in range(drawn + mirrored + detours):
        if number < drawn:
            shop, most_items = random_shop(rng, needed=int(number % 4 == 0))
        else:
            shop, most_items = mirror_shop(rng) if number < drawn + mirrored else detour_shop(rng)
        expected = front_of(every_chain(shop, most_items))
        walks = best_chains(shop, most_items)
        assert expected == set(figures(walks)), number
        assert len(expected) == len(walks), number
        fitting += bool(expected)
        largest = max(largest, len(shop.near))
        if drawn <= number < drawn + mirrored:
            naive = shop.only(without_dominated(shop, 1))
            by_pieces += set(figures(best_chains(naive, most_items))) != expected
        elif number >= drawn:
            by_labels += label_setting(shop, most_items) != expected
    assert by_pieces >= pieces, by_pieces
    assert by_labels >= labels, by_labels
    assert fitting >= whole
    assert largest == 60


def test_the_steps_of_a_chain_add_up_to_its_figures_and_keep_within_the_stock():
    rng = np.random.default_rng(5)
    seen = 0
    for _ in range(60):
        shop, most_items = mirror_shop(rng)
        for walk in best_chains(shop, most_items):
            node, total = shop.start, np.zeros(3, dtype=int)
            for element, turned in walk.steps:
                entry, leave = (shop.far, shop.near) if turned else (shop.near, shop.far)
                assert shop.mates[node, entry[element]]
                total = total + shop.joint(node, int(entry[element])) + shop.vectors[element]
                node = int(leave[element])
            total = total + shop.joint(node, shop.goal)
            assert total.tolist() == [walk.cost, walk.loss, walk.reflection]
            assert walk.joints == len(walk.steps) + 1 <= most_items + 1
            assert all(
                shop.stock[element] >= used for element, used in Counter(element for element, _ in walk.steps).items()
            )
            seen += 1
    assert seen > 60


BACK = {(0, 1): (0, 0), (2, 3): (0, 0)}
"""Two families; the chain leaves a jack (0) of the first and must come back to a jack of the first."""


def test_a_part_that_is_beaten_is_still_needed_when_the_better_one_is_used_up():
    # plug-plug (1-3) out, jack-jack (2-2) as a barrel, plug-plug back; one of the better plug-plug pieces is in stock.
    shop = catalogue_of([(1, 3, 10, 1, 1, 1), (1, 3, 20, 2, 2, 1), (2, 2, 5, 0, 0, 1)], BACK, 4, 0, 0)
    found = best_chains(shop, 3)
    assert figures(found) == [(35, 3, 3, 4)]
    assert without_dominated(shop, 3).tolist() == [0, 1, 2]
    assert without_dominated(shop, 1).tolist() == [0, 2]
    assert best_chains(shop.only(without_dominated(shop, 1)), 3) == ()


def test_a_beginning_that_is_beaten_is_still_needed_when_the_better_one_used_the_last_piece():
    # Out by the cheap piece 1-3 or by the dear 5-3; the goal (6) is reached by the cheap one alone, turned round.
    joints = {(0, 1): (0, 0), (0, 5): (0, 0), (2, 3): (0, 0), (1, 6): (0, 0)}
    shop = catalogue_of([(1, 3, 1, 1, 1, 1), (5, 3, 9, 9, 9, 1), (2, 2, 1, 1, 1, 1)], joints, 7, 0, 6)
    assert figures(best_chains(shop, 3)) == [(11, 11, 11, 4)]
    assert label_setting(shop, 3) == set()


@pytest.mark.parametrize(("stock", "kept"), [(1, [0, 1, 2]), (2, [0, 1]), (3, [0])])
def test_a_beaten_part_goes_when_those_that_beat_it_have_stock_for_a_whole_chain(stock, kept):
    rows = [(0, 1, 1, 1, 1, stock), (1, 0, 2, 2, 2, stock), (0, 1, 3, 3, 3, stock)]
    shop = catalogue_of(rows, {}, 2, 0, 1)
    assert kept == without_dominated(shop, 3).tolist()


def test_parts_that_beat_one_another_in_different_things_all_stay():
    shop = catalogue_of([(0, 1, 1, 3, 2, 9), (0, 1, 3, 1, 2, 9), (0, 1, 2, 2, 1, 9)], {}, 2, 0, 1)
    assert without_dominated(shop, 3).tolist() == [0, 1, 2]


def test_ends_that_mate_without_any_piece_are_a_chain():
    shop = catalogue_of([(0, 1, 1, 1, 1, 1)], {(0, 1): (7, 8)}, 2, 0, 1)
    assert figures(best_chains(shop, 4)) == [(0, 7, 8, 1)]


def test_a_piece_out_of_stock_is_never_used():
    rows = [(1, 2, 1, 1, 1, 0), (1, 2, 5, 5, 5, 1)]
    shop = catalogue_of(rows, {(0, 1): (0, 0), (2, 3): (0, 0)}, 4, 0, 3)
    assert figures(best_chains(shop, 2)) == [(5, 5, 5, 2)]


def test_nothing_fits_gives_an_empty_front():
    shop = catalogue_of([(1, 2, 1, 1, 1, 5)], {(0, 1): (0, 0)}, 4, 0, 3)
    assert best_chains(shop, 5) == ()


def test_a_mark_that_is_needed_is_collected():
    rows = [(1, 2, 1, 1, 1, 1, 0), (1, 2, 5, 5, 5, 1, 1)]
    shop = catalogue_of(rows, {(0, 1): (0, 0), (2, 3): (0, 0)}, 4, 0, 3, needed=1)
    assert figures(best_chains(shop, 3)) == [(5, 5, 5, 2)]


def test_the_number_of_chains_is_that_of_enumeration_where_stock_is_plenty():
    rows = [(1, 2, 1, 1, 1, 9), (1, 2, 2, 2, 2, 9), (2, 3, 1, 1, 1, 9)]
    shop = catalogue_of(rows, {(0, 1): (0, 0), (2, 3): (0, 0)}, 4, 0, 3)
    assert count_walks(shop, 4) == len(list(every_chain(shop, 4)))


tables = st.lists(st.tuples(*[st.integers(0, 6)] * 3), min_size=0, max_size=60)


@given(tables)
def test_nondominated_rows_are_those_that_no_other_beats(rows):
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    chosen = nondominated(table)
    assert sorted(front_of([tuple(row) for row in rows])) == [tuple(int(v) for v in table[index]) for index in chosen]


@given(tables, tables)
def test_beaten_rows_are_those_nowhere_smaller_than_some_row(rows, front):
    table, other = (np.array(each, dtype=np.int64).reshape(-1, 3) for each in (rows, front))
    expected = [any(all(a >= b for a, b in zip(row, by, strict=True)) for by in front) for row in rows]
    assert expected == beaten(table, other).tolist()
