"""The way from masters to so many moulds, round by round: by hand, and no other is quicker."""

from itertools import product
from math import ceil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casting_econ.models import mould_making, moulds_for_load

CURES = (32.0, 12.0)  # two pours of 16 h each for a mould, 12 h for a load of copies [hour]


def rounds_of(made):
    return [(one.kind, *one.loads) for one in made.rounds]


@pytest.mark.parametrize(
    ("wanted", "expected", "hours"),
    [
        (0, [], 0),
        (1, [("moulds", 1)], 32),  # own arithmetic: one mould over the three masters
        (2, [("moulds", 1), ("moulds", 1)], 64),  # copies would cost 12 h and spare none of the two pours
        (3, [("moulds", 1), ("copies", 3), ("moulds", 2)], 76),  # three pours over the masters alone: 96 h
        (4, [("moulds", 1), ("copies", 3), ("copies", 3), ("moulds", 3)], 88),
        (8, [("moulds", 1), ("copies", 3), ("moulds", 2), ("copies", 9), ("moulds", 5)], 120),
    ],
)
def test_three_masters_and_moulds_of_three(wanted, expected, hours):
    """Own arithmetic: each pour takes as many moulds as there are threes of masters and copies; each mould gives three copies a load."""
    made = mould_making(wanted, 3, 3, cure_hours=CURES)
    assert rounds_of(made) == expected
    assert made.waiting_hours == hours
    assert made.total("moulds") == wanted and len(made.of("moulds")) == sum(kind == "moulds" for kind, _ in expected)


def test_one_master_makes_a_small_mould_first():
    """Own arithmetic: one master fills one cavity; two loads of one copy make three, which a whole mould takes."""
    made = mould_making(1, 1, 3, cure_hours=CURES)
    assert rounds_of(made) == [("moulds", 1), ("copies", 1), ("copies", 1), ("moulds", 1)]
    assert made.rounds[0].cavities == 1 and made.rounds[0].gained == 0
    assert (made.total("moulds"), made.total("copies"), len(made.of("moulds")), made.waiting_hours) == (2, 2, 2, 88.0)


def test_one_cavity_doubles_with_every_load_of_copies():
    """Own arithmetic: of one master and one cavity, moulds are 1, 2, 4, 8 where a copy takes no time to speak of."""
    made = mould_making(8, 1, 1, cure_hours=(24.0, 0.0))
    assert (
        len(made.of("moulds")) == 2 and made.total("copies") == 6
    )  # seven loads of one copy at no cost in time beat four generations
    slow = mould_making(8, 1, 1, cure_hours=(1.0, 24.0))
    assert rounds_of(slow) == [("moulds", 1)] * 8  # copies that take a day never pay against pours of an hour


def test_what_is_there_is_not_made_again():
    """Enough moulds in hand: nothing is made, with no master either; too few: copies come from those in hand, so no master is needed."""
    assert mould_making(4, 0, 3, in_hand=4).rounds == ()
    assert rounds_of(mould_making(4, 0, 3, in_hand=2, cure_hours=CURES)) == [("copies", 6), ("moulds", 2)]


def test_without_master_and_mould_there_is_no_beginning():
    """None in hand and no master: a master is needed, and the message says so."""
    with pytest.raises(ValueError, match="masters must be at least 1 where no mould is there to cast one from; got 0"):
        mould_making(1, 0, 3)
    with pytest.raises(ValueError, match="the room must hold a mould of 3 cavities"):
        mould_making(1, 3, 3, mould_room=(0, 0))


def test_stations_share_what_is_poured():
    """Own arithmetic: pots of 12 and 20 places take four and six moulds of three; eight moulds go six and two, 24 copies 18 and 6."""
    made = mould_making(8, 24, 3, mould_room=(4, 6))
    assert rounds_of(made) == [("moulds", 6, 2)] and made.total("moulds", "pours") == 2
    made = mould_making(16, 0, 3, in_hand=8, mould_room=(4, 6), copy_room=(12, 18))
    assert rounds_of(made) == [("copies", 18, 6), ("moulds", 6, 2)] and made.total("copies", "pours") == 2


def test_copies_that_fail_are_cast_besides():
    """Own arithmetic: at 86 % good six copies take ⌈6 ÷ 0.86⌉ = 7 casts."""
    made = mould_making(5, 9, 3, in_hand=3, good_share=0.86, mould_room=(2,), cure_hours=CURES)
    assert rounds_of(made) == [("moulds", 2)]
    made = mould_making(6, 3, 3, in_hand=3, good_share=0.86, cure_hours=CURES)
    assert rounds_of(made) == [("copies", 7), ("moulds", 3)] and made.rounds[0].gained == 6


def test_hours_of_hands():
    """Own arithmetic: 3 moulds × 37 min + 2 pours × 27 min + 3 copies × 2 min + 1 load × 15 min = 186 min."""
    made = mould_making(3, 3, 3, cure_hours=CURES)
    assert made.hands_on_hours(37.0, 27.0, 2.0, 15.0) == pytest.approx(186 / 60)


def least_hours(wanted, masters, size, in_hand, cures, share, room):
    """Least waiting by trying every sequence of pours of any size and loads of any number of copies, written from the trade."""
    reached = {(in_hand, masters, 0): 0.0}
    best = 0.0 if in_hand >= wanted else float("inf")
    front = dict(reached)
    while front:
        found = {}
        for (made, patterns, first), hours in front.items():
            after = []
            for pour in range(1, min(patterns // size, room) + 1):
                after.append(((min(made + pour, wanted), patterns, first), hours + cures[0]))
            if made == 0 and first == 0:
                after += [((made, patterns, small), hours + cures[0]) for small in range(1, min(patterns, size - 1) + 1)]
            for casts in range(1, made * size + first + 1):
                good = min(patterns + max(int(casts * share + 1e-9), 1), wanted * size)
                after.append(((made, good, first), hours + cures[1]))
            for state, spent in after:
                if state[0] >= wanted:
                    best = min(best, spent)
                elif spent < min(best, reached.get(state, float("inf"))):
                    reached[state] = found[state] = spent
        front = found
    return best


@settings(max_examples=150, deadline=None)
@given(
    wanted=st.integers(1, 7),
    masters=st.integers(0, 7),
    size=st.integers(1, 4),
    in_hand=st.integers(0, 2),
    cures=st.sampled_from([(32.0, 12.0), (24.0, 24.0), (5.0, 48.0), (72.0, 3.0)]),
    share=st.sampled_from([1.0, 0.86, 0.5]),
    room=st.integers(1, 5),
)
def test_no_other_way_is_quicker(wanted, masters, size, in_hand, cures, share, room):
    """Brute force: no sequence of pours and copies, whole or in part, waits less; and the rounds told add up to the hours told."""
    if not masters + in_hand and wanted > in_hand:
        return
    made = mould_making(wanted, masters, size, in_hand=in_hand, cure_hours=cures, good_share=share, mould_room=(room,))
    assert made.waiting_hours == pytest.approx(least_hours(wanted, masters, size, in_hand, cures, share, room))
    there, patterns, first = in_hand, masters, 0
    for one in made.rounds:
        if one.kind == "moulds":
            assert one.count <= room and one.count * one.cavities <= patterns
            there, first = there + one.gained, first if one.gained else one.cavities
        else:
            assert one.count <= there * size + first
            patterns += one.gained
    assert there >= wanted or not made.rounds
    assert made.waiting_hours == sum(cures[one.kind == "copies"] for one in made.rounds)


def test_moulds_of_a_load():
    """A load of 20 in moulds of three takes seven, of 21 seven too."""
    assert [int(moulds_for_load(casts, 3)) for casts in (1, 3, 20, 21, 22)] == [ceil(n / 3) for n in (1, 3, 20, 21, 22)]
    for casts, size in product(range(1, 30), range(1, 8)):
        assert moulds_for_load(casts, size) == -(-casts // size)
