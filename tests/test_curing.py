"""Loads a week: against an event simulation of the rules, and by property."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from curing_events import (
    KINDS,
    LOADS,
    WEEK,
    WEEKDAYS,
    MouldShop,
    Workshop,
    hours,
    random_case,
    random_mould_case,
    random_windows,
    simulated_rate,
)
from hypothesis import example, given, settings
from hypothesis import strategies as st

from casting_econ.models import Mould, Product, Step, curing, loads_per_week, places_needed
from casting_econ.models.curing import ENOUGH_LOADS, WEEK_HOURS, InMoulds, in_moulds
from casting_econ.models.windows import fit, merged_windows

ALWAYS = tuple((24 * day, 24 * day + 24) for day in range(7))

CALENDARS = st.builds(
    lambda seed, kind: hours(random_windows(np.random.default_rng(seed), kind)), st.integers(0, 10_000), st.sampled_from(KINDS)
)
CURES, TURNAROUNDS, STATIONS = st.floats(0, 200), st.floats(0.05, 3), st.integers(1, 5)


@pytest.mark.parametrize("kind", KINDS)
def test_loads_per_week_equals_event_simulation(kind):
    """120 random workshops of each kind of calendar: the exact rate of the simulated trace, to the last digit."""
    rng = np.random.default_rng(20240 + KINDS.index(kind))
    for _ in range(120):
        cure, turnaround, stations, windows = case = random_case(rng, kind)
        expected, _ = simulated_rate(cure, turnaround, stations, windows)
        actual = float(loads_per_week(cure / 3600, turnaround / 3600, stations, hours(windows)))

        assert expected is not None, f"no repeat within {LOADS} loads: {case}"
        if kind == "never closed":  # a closed form in floats: three roundings
            assert abs(actual / float(expected) - 1) <= 1e-15, case
        else:
            assert float(expected) == actual, case


@pytest.mark.parametrize("kind", KINDS)
def test_loads_per_week_with_moulds_equals_event_simulation(kind):
    """60 random workshops of each kind of calendar, moulds emptied by hand: the exact rate of the simulated trace, where it repeats."""
    rng, repeats, decided = np.random.default_rng(41 + KINDS.index(kind)), 0, 0
    for _ in range(60):
        turnaround, cure, pots, sets, steps, rest, windows = case = random_mould_case(rng, kind)
        expected = MouldShop(*case).rate()
        if expected is None:
            continue
        use = InMoulds(sets=sets, steps=tuple((w / 3600, g, a / 3600) for w, g, a in steps), rest_hours=rest / 3600)
        wait, pour, week = cure / 3600, turnaround / 3600, hours(windows)
        actual = float(loads_per_week(wait, pour, pots or None, week, use))
        repeats += 1
        decided += actual < loads_per_week(wait, pour, pots or None, week, replace(use, steps=()))
        assert float(expected) == pytest.approx(actual, rel=1e-14), case
    assert repeats >= 50 and decided >= 25  # cases without a demoulding that matters would show nothing


@pytest.mark.parametrize(
    ("minutes", "sets", "expected"),
    [
        (120, 1, Fraction(5)),  # Tue 9-11 out, 11-12 poured, cured by midnight, and so every day
        (450, 1, Fraction(5, 2)),  # Tue 9-16:30 out: too late to pour, so every other day
        (450, 2, Fraction(80, 17)),  # always something to do: 40 h a week over 8.5 h a load
        (420, 1, Fraction(5)),  # 9-16 out, 16-17 poured: just
        (421, 1, Fraction(5, 2)),
    ],
)
def test_loads_per_week_with_demoulding_by_hand(minutes, sets, expected):
    """One pot, an hour's pour in one go, 12 h of cure, one pair of hands Mon to Fri 9 to 17: own arithmetic."""
    use = InMoulds(sets=sets, steps=((minutes / 60, False, 0.0),))
    assert loads_per_week(12.0, 1.0, 1, WEEKDAYS, use) == pytest.approx(float(expected), rel=1e-14)


@pytest.mark.parametrize("sets", [1, 3])
def test_moulds_without_work_are_one_more_wait(sets):
    """Nothing to do by hand: as many stations as sets, which cure and rest."""
    use = InMoulds(sets=sets, steps=((0.0, False, 3.0),), rest_hours=5.0)
    cures = np.array([2.0, 14.0, 40.0])
    assert np.array_equal(loads_per_week(cures, 0.4, None, WEEKDAYS, use), loads_per_week(cures + 8.0, 0.4, sets, WEEKDAYS))


def test_loads_per_week_of_many_draws_with_moulds_equals_each_alone():
    """Draws side by side, on one calendar and with one or two steps and sets: each as if alone."""
    rng, size = np.random.default_rng(5), 60
    cure, turn, work = (rng.integers(low, high, size) / 4 for low, high in ((1, 120), (1, 8), (0, 24)))
    whole, sets, pots = rng.random(size) < 0.3, rng.integers(1, 4, size), rng.integers(1, 3, size)

    def of(i):
        return loads_per_week(
            cure[i],
            turn[i],
            pots[i],
            WEEKDAYS,
            InMoulds(sets=sets[i], steps=((work[i], whole[i], 1.0), (0.5, False, 0.0)), rest_hours=2.0),
        )

    assert of(slice(None)).tolist() == [of(i) for i in range(size)]


@pytest.mark.parametrize(
    ("turn", "cure", "work", "sets", "pots"),
    [(60, 12, 450, 2, 1), (30, 1, 22, 2, None), (7, 0.05, 7, 1, None), (10, 0.6, 12, 2, None)],
)
def test_what_a_study_takes_for_enough_loads_is_within_one_per_cent(turn, cure, work, sets, pots):
    """Hands that are never free drift through the days for months: 256 loads against 2,500, 15 workshops each."""
    rng = np.random.default_rng(work)
    turn, work = (minutes / 60 * np.exp(rng.normal(0, 0.15, 15)) for minutes in (turn, work))
    use = InMoulds(sets=sets, steps=((work, False, 0.0),))
    long = loads_per_week(cure, turn, pots, WEEKDAYS, use, 2_500)
    off = loads_per_week(cure, turn, pots, WEEKDAYS, use, ENOUGH_LOADS) / long - 1

    assert np.any(off != 0)
    assert np.abs(off).max() < 0.01 and np.sqrt((off**2).mean()) < 0.002


def test_in_moulds_reads_the_routing():
    """10 casts, 9 of them left at the 2nd step: pour of 25 min, 4 h, then 9 x 2 min of emptying; named, all up to the 4th step."""
    steps = (
        Step(name="mix", load_minutes=5.0),
        Step(name="pour", minutes=1.0, load_minutes=20.0, wait_hours=4.0, pass_share=0.9),
        Step(name="demould", minutes=2.0, wait_hours=3.0),
        Step(name="sand", minutes=4.0, load_minutes=9.0, wait_hours=7.0),
    )
    product = Product(
        name="knob",
        casts_per_load=10,
        steps=steps,
        mould=Mould(material_cost=1.0, minutes=1.0, life_casts=9.0, sets=2, rest_hours=6.0),
    )
    minutes = [0.5, 3.0, 2.0, 5.0]  # load minutes in them
    pour, cure, use = in_moulds(product, minutes)
    assert (round(pour * 60, 9), cure, use.sets, use.rest_hours) == (25.0, 4.0, 2, 6.0)
    assert [tuple(map(float, step)) for step in use.steps] == [(pytest.approx(9 * 2 / 60), 0.0, 0.0)]
    named = in_moulds(replace(product, mould=replace(product.mould, free_after="sand")), minutes)[2]
    assert [tuple(map(float, s)) for s in named.steps] == [(pytest.approx(0.3), 0.0, 3.0), (pytest.approx(9 * 5 / 60), 1.0, 0.0)]
    # a draw that does not wait after pouring waits, and is emptied, a step later
    waits = replace(steps[1], wait_hours=np.array([4.0, 0.0]))
    pour, cure, use = in_moulds(replace(product, steps=(steps[0], waits, *steps[2:])), minutes)
    assert cure.tolist() == [4.0, 3.0] and use.work_hours == pytest.approx([0.3, 0.75])


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"sets": 1.5}, "sets of moulds must be whole numbers; got 1.5"),
        ({"sets": 0}, "sets of moulds must be at least 1; got 0"),
        ({"rest_hours": -1.0}, "mould rest must be at least 0; got -1"),
        ({"steps": ((-1.0, False, 0.0),)}, "hand work in the moulds must be at least 0; got -1"),
        ({"steps": ((1.0, False, np.nan),)}, "wait in the moulds must be at least 0; got nan"),
    ],
)
def test_loads_per_week_refuses_bad_moulds(changes, message):
    """Each fault names the value, what is required and what arrived."""
    use = InMoulds(**({"steps": ((1.0, False, 0.0),)} | changes))
    with pytest.raises(ValueError, match=message):
        loads_per_week(1.0, 0.5, 1, WEEKDAYS, use)


@pytest.mark.parametrize("sets", [1, 2, 3])
def test_many_draws_at_once_have_the_rates_of_each_by_itself(sets):
    """What is settled for a whole box of draws is what every draw in it comes to when it is followed by itself."""
    rng = np.random.default_rng(sets)
    for windows in (WEEKDAYS, [(9, 12), (60, 71)], [(24 * day + 8, 24 * day + 12) for day in range(6)]):
        wide = rng.choice([0.2, 2.0, 12.0], 6) * rng.integers(0, 2, 6)
        cure, turn, first, second, wait, rest = rng.uniform(0.1, 3.0, (6, 1)) + wide[:, None] * rng.random((6, 2_000))
        steps = ((first, False, wait), (second, True, 0.0))[: rng.integers(1, 3)]

        def rates(some, cure=cure, turn=turn, rest=rest, steps=steps, windows=windows):
            own = tuple((work[some], whole, np.broadcast_to(wait, 2_000)[some]) for work, whole, wait in steps)
            use = InMoulds(sets=sets, steps=own, rest_hours=rest[some])
            return loads_per_week(8.0 + cure[some], turn[some] / 3.0, sets % 3 or None, windows, use, ENOUGH_LOADS)

        alone = np.concatenate([rates(slice(at, at + 500)) for at in range(0, 2_000, 500)])

        assert np.array_equal(rates(slice(None)), alone)


def among_others(case, rng, others=1_500, places=()):
    """Loads a week of a case by itself, and amid as many that are up to a few per cent quicker or slower."""
    turnaround, cure, pots, sets, steps, rest, windows = case
    mean, spread = np.mean(places) if places else 1.0, rng.choice([0.0, 0.003, 0.05])

    def amid(seconds):
        return np.append(seconds, np.rint(seconds * np.exp(spread * rng.normal(size=others)))) / 3600

    many = tuple((amid(work * mean), in_one_go, amid(wait)) for work, in_one_go, wait in steps)
    cure, turnaround, rest, shares = amid(cure), amid(turnaround), amid(rest), tuple(n / mean for n in places) or (1.0,)

    def rate(some):
        own = tuple((work[some], in_one_go, wait[some]) for work, in_one_go, wait in many)
        use = InMoulds(sets=sets, steps=own, rest_hours=rest[some], shares=shares)
        return loads_per_week(cure[some], turnaround[some], pots or None, hours(windows), use, ENOUGH_LOADS)

    return float(rate(0)), float(rate(slice(None))[0])


NINE_TO_FIVE = [(9 * 3600 + 86400 * day, 17 * 3600 + 86400 * day) for day in range(5)]
AN_HOUR_A_WEEK, NIGHTS = [(9 * 3600, 10 * 3600)], [(0, 14_400), (86_400, 100_000), (580_000, WEEK)]


@pytest.mark.parametrize(
    ("case", "places"),
    [
        ((3600, 43_200, 0, 1, ((5400, False, 0),), 0, NINE_TO_FIVE), ()),  # one set of moulds, no pot
        ((3600, 43_200, 1, 1, ((5400, False, 0),), 0, NINE_TO_FIVE), ()),  # and one pot
        ((3600, 43_200, 3, 1, ((5400, True, 0),), 7200, NINE_TO_FIVE), ()),  # pots to spare; moulds that rest
        ((3600, 43_200, 1, 4, ((5400, False, 0),), 0, NINE_TO_FIVE), ()),  # moulds to spare
        ((1800, 36_000, 1, 1, ((1500, False, 0),), 0, AN_HOUR_A_WEEK), ()),  # out and poured in the same hour: one load a week
        ((1800, 36_000, 1, 1, ((1801, False, 0),), 0, AN_HOUR_A_WEEK), ()),  # a second too long: every other week
        ((1800, 0, 0, 1, ((1500, True, 0),), 0, NINE_TO_FIVE), ()),  # no cure
        ((1, 0, 0, 1, ((0, False, 0), (900, True, 0)), 0, AN_HOUR_A_WEEK), ()),  # a step with nothing to do, poured in a second
        # nothing to do by night, but a wait that begins then
        ((3600, 36_000, 1, 1, ((0, False, 72_000), (1800, True, 0)), 0, NINE_TO_FIVE), ()),
        ((1800, 3600, 4, 6, ((7200, False, 0),), 0, NINE_TO_FIVE), ()),  # hands are the limit
        ((3600, 3600, 1, 1, ((28_800, True, 0),), 0, NINE_TO_FIVE), ()),  # in one go, as long as a day is
        ((3600, 3600, 1, 1, ((28_801, True, 0),), 0, NINE_TO_FIVE), ()),  # longer: over two days
        ((3600, 7200, 2, 1, ((200, False, 600), (90, True, 0)), 0, NIGHTS), (4, 30)),  # pots of two sizes, by night
        ((600, 7200, 3, 1, ((300, False, 0),), 1800, NINE_TO_FIVE), (5, 11, 20)),
        ((3600, 90_000, 3, 5, ((600, True, 0),), 0, NINE_TO_FIVE), (6, 12, 18)),
    ],
)
def test_edges_of_moulds_pots_and_hands_equal_event_simulation(case, places):
    """The exact rate of the simulated trace, by itself and amid 1,500 others."""
    expected = MouldShop(*case, places).rate(120)

    assert among_others(case, np.random.default_rng(8), places=places) == pytest.approx([float(expected)] * 2, rel=1e-14)


@pytest.mark.parametrize("kind", KINDS)
def test_one_set_of_moulds_amid_others_equals_event_simulation(kind):
    """40 random workshops of each kind of calendar, each amid 1,500 like it: the exact rate of the simulated trace."""
    rng, repeats = np.random.default_rng(3 + KINDS.index(kind)), 0
    for _ in range(40):
        turnaround, cure, pots, _, steps, rest, windows = random_mould_case(rng, kind)
        case = turnaround, cure, pots, 1, steps, rest, windows
        expected = MouldShop(*case).rate(120)
        if expected is not None:
            repeats += 1
            assert among_others(case, rng) == pytest.approx([float(expected)] * 2, rel=1e-14), case
    assert repeats >= 35


def test_a_draw_that_is_slow_to_repeat_has_the_rate_that_its_neighbours_share():
    """Three loads a week take 42 s more than a day, put off from week to week: long before that repeats, quicker and slower ones agree."""
    windows = [(24 * day + 8, 24 * day + 16) for day in range(4)]
    turn, work = (np.array([middle, *np.linspace(middle - 50, middle + 50, 1_500).round()]) / 3600 for middle in (7_675, 1_939))

    def rate(some, loads):
        return loads_per_week(24.0, turn[some], None, windows, InMoulds(steps=((work[some], False, 0.0),)), loads)

    assert np.array_equal(rate(slice(None), ENOUGH_LOADS), np.full(1_501, 3.0))
    assert rate(0, 400) == 3.0 < rate(0, ENOUGH_LOADS) == pytest.approx(3.0, rel=0.003)


def test_many_draws_are_followed_no_further_than_each_by_itself():
    """Where so few loads are looked at that nothing has repeated yet, many draws at once have the mean over just as many."""
    rng = np.random.default_rng(44)
    turn, work = (middle + 0.002 * rng.random(2_000) for middle in (0.115, 0.504))

    def rates(some):
        use = InMoulds(sets=3, steps=((work[some], False, 0.0),))
        return loads_per_week(4.2, turn[some], 2, WEEKDAYS, use, 24)

    assert np.array_equal(rates(slice(None)), np.concatenate([rates(slice(at, at + 500)) for at in range(0, 2_000, 500)]))


@pytest.mark.parametrize("draws", [3, 1_100])
def test_stations_and_sets_of_moulds_together_have_the_rates_of_each_by_itself(draws):
    """No limit of stations to three of them, one to three sets of moulds, few draws and many: as one number of both after the other."""
    cure, work = np.linspace(5.0, 19.0, draws), np.linspace(0.5, 7.5, draws)
    stations, sets = (one[..., None] for one in np.mgrid[:4, 1:4])

    def rates(stations, sets):
        return loads_per_week(cure, 0.8, stations, WEEKDAYS, InMoulds(sets=sets, steps=((work, False, 0.0),)), ENOUGH_LOADS)

    alone = [[rates(count or None, number) for number in (1, 2, 3)] for count in range(4)]
    assert np.array_equal(rates(stations, sets), alone) and len(np.unique(alone, axis=0)) > 1


def test_a_lever_that_leaves_the_times_alone_has_no_rate_worked_out_twice(monkeypatch):
    """Hand work that is written out along an axis but the same all along it gives one rate all along it, of as many draws as without."""
    worked_out, asked = curing.rates_of_draws, []
    monkeypatch.setattr(
        curing, "rates_of_draws", lambda tables, *rest: asked.append(tables.shape[-1]) or worked_out(tables, *rest)
    )
    cure, work = np.linspace(4.0, 30.0, 7), np.linspace(0.5, 6.0, 9)[:, None, None]

    def rates(work):
        return loads_per_week(cure, 0.8, 1, WEEKDAYS, InMoulds(sets=2, steps=((work, False, 0.0),)), ENOUGH_LOADS)

    once, along = rates(work), rates(np.broadcast_to(work, (9, 5, 1)).copy())

    assert np.array_equal(along, np.broadcast_to(once, (9, 5, 7))) and len(np.unique(once)) > 5
    assert asked == [9 * 7] * 2


def test_corners_that_no_draw_lies_beside_are_not_worked_out(monkeypatch):
    """A quick pour with a cure of a week, whose loads come round a few seconds later each week, is no draw of those that vary one alone."""
    cure, turn = np.full(2_000, 24.0), np.full(2_000, 0.5)
    cure[:1_000], turn[1_000:], asked = np.linspace(1.0, 168.0, 1_000), np.linspace(0.006, 0.5, 1_000), []

    def seen(times, *rule):
        asked.extend(times[:2].T.tolist())
        return worked_out(times, *rule)

    worked_out = curing._repeat_rates
    monkeypatch.setattr(curing, "_repeat_rates", seen)
    rates = loads_per_week(cure, turn, 2, WEEKDAYS)

    assert [604_800, 22] not in asked and len(asked) < 2_000
    assert rates[[0, 999, 1_000]].tolist() == [loads_per_week(cure[at], turn[at], 2, WEEKDAYS) for at in (0, 999, 1_000)]


def test_pours_of_seconds_are_followed_in_boxes_without_a_warning():
    """From one second to four minutes a pour, with nothing to do in the moulds: a box may begin at no work at all."""
    cure, turn = np.linspace(4.0, 4.016, 2_000), np.linspace(1.0, 240.0, 2_000) / 3600
    alone = [loads_per_week(cure[at], turn[at], 1, WEEKDAYS, InMoulds(sets=1), ENOUGH_LOADS) for at in (0, 999, 1999)]

    assert loads_per_week(cure, turn, 1, WEEKDAYS, InMoulds(sets=1), ENOUGH_LOADS)[[0, 999, 1999]].tolist() == alone


@pytest.mark.parametrize("kind", KINDS[:-1])  # a calendar that never closes needs no search for a window
def test_loads_per_week_recursion_starts_as_simulated(kind):
    """First 200 starts of the recursion the model documents, with its own search for a window, equal the simulated ones."""
    rng = np.random.default_rng(7 + KINDS.index(kind))
    for _ in range(12):
        cure, turnaround, stations, windows = case = random_case(rng, kind)
        spans = merged_windows(hours(windows))
        expected = Workshop(cure, turnaround, stations, windows).run(200)
        starts = [expected[0]]
        for k in range(1, 200):
            ready = starts[k - stations] + turnaround + cure if k >= stations else 0
            earliest = max(starts[-1] + turnaround, ready)
            starts.append(int(fit(np.array([earliest]), turnaround, spans)[0]))

        assert expected == starts, case


@pytest.mark.parametrize(
    ("cure", "stations", "windows", "expected"),
    [
        (6.0, 1, WEEKDAYS, 10),  # 9:00 and 15:24 each weekday
        (18.0, 1, WEEKDAYS, 5),  # ready at 3:24: 9:00 each weekday
        (30.0, 1, WEEKDAYS, 4),  # Mon 9:00, Tue 15:24, Thu 9:00, Fri 15:24
        (62.0, 1, WEEKDAYS, 2),  # Mon 9:00, ready Wed 23:24; Thu 9:00, ready Sat 23:24
        (18.0, 2, WEEKDAYS, 10),  # both each morning, 9:00 and 9:24
        (6.0, 3, WEEKDAYS, 30),  # 9:00, 9:24, 9:48 and 15:24, 15:48, 16:12
        (0.0, 1, WEEKDAYS, 100),  # nothing but turnarounds: 8 h / 0.4 h a day
        (0.0, 9, WEEKDAYS, 100),  # more stations do not help one pair of hands
        (1.6, 1, ALWAYS, 84),  # 168 h / (1.6 h + 0.4 h)
        (1.6, 7, ALWAYS, 420),  # hands never rest: 168 h / 0.4 h
    ],
)
def test_loads_per_week_by_hand(cure, stations, windows, expected):
    """Weeks worked out by hand with a turnaround of 24 minutes."""
    assert expected == pytest.approx(loads_per_week(cure, 0.4, stations, windows), rel=1e-14)


@settings(deadline=None, max_examples=40)
@given(CALENDARS, CURES, CURES, TURNAROUNDS, TURNAROUNDS, STATIONS, STATIONS)
def test_loads_per_week_is_monotone(windows, cure, other_cure, turnaround, other_turnaround, stations, other_stations):
    """Longer cures and turnarounds never mean more loads, more stations never fewer."""
    rate = loads_per_week(cure, turnaround, stations, windows)

    assert rate >= loads_per_week(max(cure, other_cure), turnaround, stations, windows)
    assert rate >= loads_per_week(cure, max(turnaround, other_turnaround), stations, windows)
    assert rate <= loads_per_week(cure, turnaround, max(stations, other_stations), windows)


@settings(deadline=None, max_examples=40)
@given(CALENDARS, CURES, TURNAROUNDS, STATIONS, st.integers(1, 671))
def test_loads_per_week_does_not_depend_on_where_the_week_starts(windows, cure, turnaround, stations, quarters):
    """Calling another quarter of an hour Monday 0:00 changes nothing, also where a window then spans the end of the week."""
    turned = []
    for start, end in windows:
        start, end = start + quarters / 4, end + quarters / 4
        for week in (0, WEEK_HOURS):
            low, high = max(start - week, 0.0), min(end - week, WEEK_HOURS)
            turned += [(low, high)] if low < high else []

    assert loads_per_week(cure, turnaround, stations, windows) == loads_per_week(cure, turnaround, stations, turned)


@settings(deadline=None, max_examples=40)
@given(CALENDARS, CURES, TURNAROUNDS, STATIONS)
@example(hours(random_windows(np.random.default_rng(0), "all day but an hour")), 83.953125, 0.05, 1)  # no state comes again
def test_loads_per_week_is_bounded_by_hands_and_stations(windows, cure, turnaround, stations):
    """Turnarounds fit the open hours, and each station turns round no faster than its cure allows."""
    rate = loads_per_week(cure, turnaround, stations, windows)
    second = 1 / 3600  # times are taken to the whole second
    open_hours = sum(end - start for start, end in windows)
    mean = (
        stations / curing._MOST_LOADS
    )  # by which the mean of the loads looked at may be off where they do not repeat, of the rate

    assert rate * (turnaround - second) <= open_hours * (1 + mean)
    assert rate * (cure + turnaround - 2 * second) <= stations * WEEK_HOURS * (1 + mean)


def test_loads_per_week_vector_equals_scalar():
    """Arrays broadcast, each element as if alone; integers equal floats."""
    cures, turnarounds, stations = np.array([[0], [7], [30], [90]]), np.array([0.25, 1.5]), np.array([[[1]], [[3]]])
    together = loads_per_week(cures, turnarounds, stations, WEEKDAYS)
    alone = [[[loads_per_week(float(c), t, s, WEEKDAYS) for t in (0.25, 1.5)] for c in (0, 7, 30, 90)] for s in (1, 3)]

    assert together.shape == (2, 4, 2)
    assert alone == together.tolist()
    assert np.ndim(loads_per_week(7, 1, 1, WEEKDAYS)) == 0
    assert loads_per_week(7, 1, 1, WEEKDAYS) == loads_per_week(7.0, 1.0, 1.0, WEEKDAYS)


@pytest.mark.parametrize("stations", [1, 3])
@pytest.mark.parametrize("windows", [WEEKDAYS, ((8, 12), (13, 18), (32, 36), (80, 104), (150, 167))])
def test_loads_per_week_of_many_draws_equals_each_alone(windows, stations):
    """Beyond 4,096 draws the stairs are found on a grid: 10,000 draws over several stairs equal the recursion draw by draw."""
    rng = np.random.default_rng(3)
    cures, turnarounds = rng.normal(40, 12, 10_000).clip(1), rng.lognormal(np.log(0.6), 0.3, 10_000).clip(0.05, 3)
    together = loads_per_week(cures, turnarounds, stations, windows)
    parts = [slice(i, i + 100) for i in range(0, 10_000, 100)]
    pieces = [loads_per_week(cures[part], turnarounds[part], stations, windows) for part in parts]
    some = rng.integers(0, 10_000, 150)
    alone = [loads_per_week(cures[i], turnarounds[i], stations, windows) for i in some]

    assert np.unique(together).size >= 8
    assert np.array_equal(np.concatenate(pieces), together)
    assert np.array_equal(alone, together[some])


@pytest.mark.parametrize(
    ("cure", "turnaround", "stations", "expected"),
    [(83.3125, 2537 / 3600, 3, Fraction(4823, 804)), (700404 / 3600, 239 / 3600, 12, Fraction(69060, 6667))],
)
def test_loads_per_week_without_a_repeat_keeps_its_stated_error(cure, turnaround, stations, expected):
    """Closed a quarter of an hour a week: within stations / 30,000 of the rate that the event simulation repeats with."""
    rate = loads_per_week(cure, turnaround, stations, ((0, 80), (80.25, 168)))

    assert abs(rate / float(expected) - 1) <= stations / 30_000


def test_loads_per_week_is_zero_where_the_turnaround_fits_no_window():
    """A turnaround longer than the longest window never happens; one as long as it does; touching windows count as one."""
    assert loads_per_week(10.0, [3.0, 3.01], 1, ((9, 12), (20, 22))).tolist() == [1.0, 0.0]
    assert loads_per_week(1.0, 5.0, 1, ((9, 12), (12, 14))) == 1.0
    assert loads_per_week(1.0, 5.0, 1, ((0, 2), (165, 168))) == 1.0  # Sunday night to Monday morning


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-1.0, 0.5, 1, WEEKDAYS), "cure hours must be at least 0; got -1"),
        (([1.0, np.nan], 0.5, 1, WEEKDAYS), "cure hours must be at least 0; got nan at index 1"),
        ((1.0, 0.0, 1, WEEKDAYS), "turnaround hours must be above 0; got 0"),
        ((1.0, np.inf, 1, WEEKDAYS), "turnaround hours must be above 0; got inf"),
        ((1.0, 0.5, 0, WEEKDAYS), "stations must be at least 1; got 0"),
        ((1.0, 0.5, 1.5, WEEKDAYS), "stations must be whole numbers; got 1.5"),
        ((1.0, 0.5, 1, ()), "working windows must hold at least one window; got none"),
        ((1.0, 0.5, 1, ((9, 9),)), "working window must lie within the week; got 9 h to 9 h"),
        ((1.0, 0.5, 1, ((160, 169),)), "working window must lie within the week; got 160 h to 169 h"),
        ((1.0, 0.5, 1, ((9, 12), (11, 13))), "working windows must not overlap; got one from 11 h inside another"),
    ],
)
def test_loads_per_week_refuses_bad_input(arguments, message):
    """Each fault names the value, what is required and what arrived."""
    with pytest.raises(ValueError, match=message):
        loads_per_week(*arguments)


def test_merged_windows_joins_touching_windows_over_the_end_of_the_week():
    """Sunday 22:00 to 24:00 and Monday 0:00 to 2:00 are one window of 4 h; order of the list does not matter."""
    assert merged_windows([(166, 168), (30, 34), (0, 2), (34, 35)]) == ((30 * 3600, 35 * 3600), (166 * 3600, 170 * 3600))


@pytest.mark.parametrize(
    ("flow", "wait", "message"),
    [
        (-1.0, 1.0, "pieces per week must be at least 0; got -1"),
        (1.0, [-1.0], "wait hours must be at least 0; got -1.0 at index 0"),
    ],
)
def test_places_needed_refuses_bad_input(flow, wait, message):
    """Flow and wait are zero or more."""
    with pytest.raises(ValueError, match=message):
        places_needed(flow, wait)
