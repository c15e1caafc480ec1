"""The calendar of an order: against an event simulation of the rules, against days worked out on paper, and by property."""

from collections import Counter
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from commands import each
from order_events import DAY, HOUR, Order, events, joined, random_case, random_project

from casting_econ.models import InMoulds, loads_per_week
from casting_econ.models.schedule import NEVER, Calendar, Plan, Stage, simulate

SEEDS, PROJECTS, RECORDED = range(250), range(9000, 9320), range(5000, 5120)
DRAWN = ("work", "wait", "credit", "places", "moulds", "start", "pack")  # fields with an entry for each draw


def planned(plan, calendar, draw):
    """Done, complete and finish by the planner, as the simulation gives them."""
    result = simulate(plan, calendar)
    return result.done[draw].tolist(), int(result.complete[draw]), int(result.finish[draw])


@cache
def simulated(seed):
    """A random case or project of two draws, and the simulation of each, run."""
    plan, calendar = (random_project if seed in PROJECTS else random_case)(seed)
    orders = [Order(plan, calendar, draw) for draw in range(2)]
    return plan, calendar, orders, [order.run() for order in orders]


@cache
def recorded(seed):
    """A random case of one draw, what the planner makes of it, and its hand work."""
    plan, calendar = random_case(seed, draws=1)
    result = simulate(plan, calendar, record=True)
    return plan, calendar, result, joined(result.segments)


@each([*SEEDS, *PROJECTS])
def test_planner_equals_event_simulation(seed):
    """Random orders, and projects that make their moulds first, two draws each: every moment the same, to the second."""
    plan, calendar, _, expected = simulated(seed)
    result = simulate(plan, calendar)
    assert list(zip(result.done.tolist(), result.complete.tolist(), result.finish.tolist(), strict=True)) == expected
    assert {result.done.dtype, result.complete.dtype, result.finish.dtype} == {np.dtype(np.int64)}


@each(range(1001, 1006))
def test_draws_side_by_side_do_not_meet(seed):
    """Thirty draws at once: each as simulated for itself."""
    plan, calendar = random_case(seed, draws=30)
    result = simulate(plan, calendar)
    expected = [events(plan, calendar, draw) for draw in range(30)]
    assert result.done.tolist() == [done for done, _, _ in expected]
    assert result.complete.tolist() == [complete for _, complete, _ in expected]
    assert result.finish.tolist() == [finish for _, _, finish in expected]


def test_random_cases_reach_every_rule():
    """The cases above are of use only where their rules decide something: each does, many times."""
    seen, ends = Counter(), Counter()
    for seed in (*SEEDS, *PROJECTS):
        plan, _, orders, expected = simulated(seed)
        for order, (_, complete, finish), start in zip(orders, expected, plan.start, strict=True):
            seen.update({name: int(count > 0) for name, count in order.seen.items()})
            ends["never complete"] += complete == NEVER
            ends["complete, never packed"] += complete < NEVER == finish
            ends["complete at the start"] += complete == start
            ends["complete and packed later"] += start < complete < finish < NEVER
    assert set(seen) == {
        "no moulds", "no slot", "no places", "block does not fit", "day's cap reached", "block over the day's cap",
        "sanding cap reached", "sanding block over its cap", "block longer than a cap", "begun work put off", "nothing left",
        "moulds back, the load goes on", "moulds back at the end of a load", "load under way", "load in its last wait", "ready before the start", "day off by its cap", "extra load released", "wait that ties between two seconds",
        "hours owed to the day before", "load held up by others", "moulds made", "nothing of a load", "packing that a cap put off",
    }  # fmt: skip
    assert min(seen.values()) >= 20, seen
    assert ends["complete, never packed"] >= 3, ends
    assert min(ends["never complete"], ends["complete at the start"], ends["complete and packed later"]) >= 50, ends


@each(RECORDED)
def test_hand_work_is_that_of_the_simulation(seed):
    """Not only the ends: every second of hand work is at the same thing, packing too."""
    plan, calendar, result, work = recorded(seed)
    order = Order(plan, calendar, 0)
    order.run()
    assert work == joined(order.segments) and result.packing == tuple(order.packing)


@each(RECORDED)
def test_hand_work_keeps_to_windows_caps_and_one_pair_of_hands(seed):
    """Each stretch lies in a window from the start on, no two overlap, days stay below their caps, blocks are in one piece."""
    plan, calendar, result, work = recorded(seed)
    windows, complete = calendar.windows.tolist(), int(result.complete[0])
    for (*_, end), (_, _, begin, _) in pairwise(work):
        assert end <= begin
    worked, sanded, blocks, sanding_blocks, on_stage = Counter(), Counter(), Counter(), Counter(), Counter()
    for load, number, begin, end in work:
        stage = plan.stages[number]
        day = next(opens // DAY for opens, closes in windows if opens <= begin < end <= closes)
        assert plan.start[0] <= begin and end <= complete
        worked[day] += end - begin
        sanded[day] += (end - begin) * stage.sanding
        blocks[day] += stage.block
        sanding_blocks[day] += stage.block and stage.sanding
        on_stage[load, number] += end - begin
        if stage.block:
            assert end - begin == plan.work[0, load, number] or end == complete
    caps = np.atleast_1d(calendar.day_cap)
    assert all(spent <= caps[min(day, len(caps) - 1)] or blocks[day] for day, spent in worked.items())
    assert all(spent <= calendar.sanding_cap or sanding_blocks[day] for day, spent in sanded.items())
    assert all(spent <= plan.work[0, load, number] for (load, number), spent in on_stage.items())


@each(RECORDED)
def test_completion_is_the_first_moment_at_which_nothing_is_short(seed):
    """Loads done by completion cover what is needed, those done before it do not; packing comes after."""
    plan, _, result, _ = recorded(seed)
    done, complete, finish = result.done[0], int(result.complete[0]), int(result.finish[0])

    def short(by):
        return np.any(plan.in_hand + plan.credit[0][by].sum(axis=0) < plan.needed)

    assert np.all((done <= complete) | (done == NEVER))
    assert finish == complete if plan.pack[0] == 0 or complete == NEVER else finish >= complete + plan.pack[0] or finish == NEVER
    if complete == NEVER:
        assert short(done < NEVER)
    else:
        assert not short(done <= complete)
        assert complete == plan.start[0] or short(done < complete)


CAST, FINISH = Stage(name="cast", block=True), Stage(name="finish")
POT = replace(CAST, station="pot")
UNCAPPED = 24 * HOUR
WEEK = [(24 * day + 9, 24 * day + 17) for day in (0, 1, 2, 3, 4, 7, 8)]  # [h], day 0 a Monday
LUNCH = [(24 * day + begin, 24 * day + end) for day in range(3) for begin, end in [(9, 12), (13, 17)]]  # [h]


def at(day, hour, minute=0, second=0):
    """Moment on a day's clock. [s]"""
    return day * DAY + hour * HOUR + minute * 60 + second


def case(stages, work, wait, windows, **more):
    """Plan of one draw, one credit for each load and all needed unless said otherwise, and its calendar; times in hours."""
    loads, calendar = len(work), {"day_cap": UNCAPPED, "sanding_cap": UNCAPPED, "warmth": [1.0]}
    calendar |= {name: more.pop(name) for name in list(calendar) if name in more}
    defaults = {"credit": [[1]] * loads, "needed": [loads], "in_hand": [0], "planned": loads, "slots": {}, "places_in": {}}
    defaults |= {"places": np.zeros((loads, len(stages))), "moulds": 0, "mould_rest": 0, "mould_stage": 0}
    values = defaults | {"start": 0, "pack": 0, "under_way": {}} | more | {"work": seconds(work), "wait": seconds(wait)}
    values |= {name: np.array(values[name], dtype=np.int64)[None] for name in DRAWN}
    values |= {name: np.array(values[name], dtype=np.int64) for name in ("needed", "in_hand")}
    calendar["warmth"] = np.array(calendar["warmth"])
    return Plan(stages=stages, **values), Calendar(windows=seconds(windows), **calendar)


def seconds(hours):
    """Whole seconds of hours. [s]"""
    return np.rint(np.array(hours) * HOUR).astype(np.int64)


ON_PAPER = {
    # 28 drawer knobs (invented), 14 to a load, one pot, a load in it for 40 min of casting and 4 h of cure, 3 h of finishing.
    # Mon  9:00 cast 1st, in the pot to 13:40; then the 2nd, a block, goes before finishing: to 14:20, in the pot to 18:20
    # Mon 14:20 finish 1st for 2 h 40 to closing; Tue 9:00 its last 20 min, then the 2nd, to 12:20; packed in half an hour
    "fourteen to a load, one pot, weekdays": (
        case((POT, FINISH), [[2 / 3, 3]] * 2, [[4, 0]] * 2, WEEK, slots={"pot": 1}, credit=[[14]] * 2, needed=[28], pack=1800),
        ([at(1, 9, 20), at(1, 12, 20)], at(1, 12, 20), at(1, 12, 50)),
    ),
    # 5 h of sanding at 3 h a day. Mon 9-10 trim 1st, 10-13 sand it to the cap, 13-15 trim the 2nd, nothing left that is allowed;
    # Tue 9-11 sand the 1st, 11-12 the 2nd
    "a sanding cap spreads five hours over two days": (
        case((FINISH, Stage(name="sand", sanding=True)), [[1, 5], [2, 1]], [[0, 0]] * 2, WEEK, sanding_cap=3 * HOUR),
        ([at(1, 11), at(1, 12)], at(1, 12), at(1, 12)),
    ),
    # 9-11 cast 1st; the 2nd takes 1.5 h, lunch is at 12: 11-12 finish 1st meanwhile; 13-14:30 cast 2nd; 14:30-15 the other half
    # hour of finishing, 15-16 finish 2nd
    "a block that does not fit before lunch": (
        case((CAST, FINISH), [[2, 1.5], [1.5, 1]], [[0, 0]] * 2, LUNCH),
        ([at(0, 15), at(0, 16)], at(0, 16), at(0, 16)),
    ),
    # 14 needed, 13 came out of the first load: Mon 9-10, cured Tue 6:00. Only then the extra one: Tue 9-10, Wed 6:00; its 14
    # are enough, a second extra load never starts; packed Wed from 9
    "short by one, an extra load": (
        case((CAST,), [[1]] * 3, [[20]] * 3, WEEK, credit=[[13], [14], [14]], needed=[14], planned=1, pack=HOUR),
        ([at(1, 6), at(2, 6), NEVER], at(2, 6), at(2, 10)),
    ),
    "not short, no extra load": (
        case((CAST,), [[1]] * 2, [[20]] * 2, WEEK, credit=[[13]] * 2, needed=[14], in_hand=[1], planned=1),
        ([at(1, 6), NEVER], at(1, 6), at(1, 6)),
    ),
    # The second item is short, though the first is not
    "short in one of two items": (
        case((CAST,), [[1]] * 2, [[0]] * 2, WEEK, credit=[[9, 0], [0, 1]], needed=[4, 1], in_hand=[0, 0], planned=1),
        ([at(0, 10), at(0, 11)], at(0, 11), at(0, 11)),
    ),
    # No mould yet. Mon 9-11 the first load makes one, which cures to Tue 3:00; the 2nd is cast in it Tue 9-10 and out at 13
    "moulds from nothing": (
        case((CAST, FINISH, CAST), [[0, 0, 2], [1, 1, 0]], [[0, 0, 16], [2, 0, 0]], WEEK, credit=[[0], [1]], needed=[1],
             first=np.array([2, 0]), mould_use=np.array([0, 1]), mould_gain=np.array([1, 0]), mould_stage=1),
        ([at(1, 3), at(1, 13)], at(1, 13), at(1, 13)),
    ),
    # Two moulds are made at once, to Mon 11; the 2nd load takes both of them, to 13, the 3rd one: 13-14
    "a load that takes two moulds": (
        case((CAST, CAST), [[0, 2], [2, 0], [1, 0]], [[0, 0]] * 3, WEEK, credit=[[0], [1], [1]], needed=[2],
             first=np.array([1, 0, 0]), mould_use=np.array([0, 2, 1]), mould_gain=np.array([2, 0, 0])),
        ([at(0, 11), at(0, 13), at(0, 14)], at(0, 14), at(0, 14)),
    ),
    # A large pot and a small one, 12 h of cure: Mon 9-10 the large one, 10-11 the small one; the 3rd needs the large one, Tue 9-10
    "each pot its own loads": (
        case((POT,), [[1]] * 3, [[12]] * 3, WEEK, slots={"large": 1, "small": 1}, pool=np.array([[0], [1], [0]])),
        ([at(0, 22), at(0, 23), at(1, 22)], at(1, 22), at(1, 22)),
    ),
    # The 1st, 9-10, is counted at 12; only then the 2nd, to 13, counted at 15; nothing is left for the 3rd, so the 4th is next: to 16
    "counted before the next": (
        case((CAST,), [[1], [1], [0], [1]], [[2]] * 4, WEEK, credit=[[1], [1], [0], [1]], needed=[3], after={1: (0,), 2: (0, 1), 3: (2,)}),
        ([at(0, 12), at(0, 15), at(0, 15), at(0, 18)], at(0, 18), at(0, 18)),
    ),
    # Half a second goes to the even one: 5 s at 0.5 are 2, 7 s at 0.5 are 4; the 3rd load's 16 h end on Wednesday, past the last
    # factor given: 3 s at 1.5 are 4
    "waits that follow the temperature": (
        case((Stage(name="lay out", follows_temperature=True),), [[1], [1], [16]], np.array([[5], [7], [3]]) / HOUR, WEEK, warmth=[0.5, 1.5]),
        ([at(0, 10, 0, 2), at(0, 11, 0, 4), at(2, 11, 0, 4)], at(2, 11, 0, 4), at(2, 11, 0, 4)),
    ),
    # 10 h of work at 6 a day. Nights belong to the day they begin: 22-4, then Tue 13-15 and 22-24 on Tuesday's account
    "a cap over midnight": (
        case((FINISH,), [[10]], [[0]], [(22, 30), (37, 39), (46, 54)], day_cap=6 * HOUR),
        ([at(2, 0)], at(2, 0), at(2, 0)),
    ),
    # A cap of 3 h: 9-10 the 1st; the 2nd takes 4 h, too long for any day, and begins only on an untouched one; 10-11 the 3rd
    "a block longer than the cap": (
        case((CAST,), [[1], [4], [1]], [[0]] * 3, WEEK, day_cap=3 * HOUR),
        ([at(0, 10), at(1, 13), at(0, 11)], at(1, 13), at(1, 13)),
    ),
    # One set of moulds: 9-10 cast 1st, ready at 12, nothing left of it; moulds rest to 13; 13-14 cast 2nd, 16-17 demould
    "moulds rest, also after a load wiped out": (
        case((CAST, FINISH), [[1, 0], [1, 1]], [[2, 0]] * 2, WEEK, moulds=1, mould_use=1, mould_rest=HOUR, mould_stage=1),
        ([at(0, 12), at(0, 17)], at(0, 17), at(0, 17)),
    ),
    # Ten places: 1st takes 6 to 12:00, the 2nd would take 14, so all ten, the 3rd finds its 4 at 10: to 13:00; then the 2nd
    "a load larger than the rack": (
        case((Stage(name="lay out", rack="shelf"),), [[1]] * 3, [[2]] * 3, WEEK, places_in={"shelf": 10}, places=[[6], [14], [4]]),
        ([at(0, 12), at(0, 16), at(0, 13)], at(0, 16), at(0, 16)),
    ),
    # In the pot to 11:00, out of its moulds at 12:00, which rest to 12:30; the next is cast to 13:30, in the pot to 14:30, out at 15:30
    "a load under way": (
        case((POT, FINISH), [[9, 1], [1, 1]], [[9, 0], [1, 0]], WEEK, slots={"pot": 1}, moulds=1, mould_use=1, mould_rest=1800, mould_stage=1,
             start=at(0, 9), under_way={0: (1, at(0, 11), "pot", True)}),
        ([at(0, 12), at(0, 15, 30)], at(0, 15, 30), at(0, 15, 30)),
    ),
    # Still in the one set of moulds when ready at 10, and out at 11: the next is cast then, to 12, while the 1st waits to 13
    "a load under way in its moulds": (
        case((CAST, FINISH), [[9, 1], [1, 1]], [[9, 2], [0, 0]], WEEK, moulds=1, mould_use=1, mould_stage=1, under_way={0: (1, at(0, 10), None, True)}),
        ([at(0, 13), at(0, 13)], at(0, 13), at(0, 13)),
    ),
    # One pot, one set, 12 h of cure, 7.5 h to get the pieces out: half an hour of Tuesday is left, too short for a pour
    "a pour waits for its moulds": (
        case((POT, FINISH), [[1, 7.5]] * 3, [[12, 0]] * 3, WEEK, slots={"pot": 1}, moulds=1, mould_use=1, mould_stage=1),
        ([at(1, 16, 30), at(3, 16, 30), at(7, 16, 30)], at(7, 16, 30), at(7, 16, 30)),
    ),
    # A second set: Tue 9-10 the 2nd is poured before Monday's is taken out, 10-17 and Wed 9-9:30; then the 3rd, to 10:30
    "a pour goes before pieces are got out": (
        case((POT, FINISH), [[1, 7.5]] * 3, [[12, 0]] * 3, WEEK, slots={"pot": 1}, moulds=2, mould_use=1, mould_stage=1),
        ([at(2, 9, 30), at(3, 10), at(4, 9, 30)], at(4, 9, 30), at(4, 9, 30)),
    ),
    # Without moulds it takes none for its 2nd stage, 9-10 and a wait to 12: the next is begun at 10 in the one set
    "a load under way without moulds": (
        case((FINISH, FINISH), [[9, 1], [1, 1]], [[9, 2], [0, 0]], WEEK, moulds=1, mould_use=1, mould_stage=1, under_way={0: (1, at(0, 9), None, False)}),
        ([at(0, 12), at(0, 12)], at(0, 12), at(0, 12)),
    ),
    # Cured since before the start, 13 of them; the last load under way is out of its wait at 11: nothing is left to work on
    "loads under way in their last wait": (
        case((CAST,), [[1], [1]], [[0]] * 2, WEEK, credit=[[13], [1]], needed=[14], start=at(0, 9), pack=HOUR,
             under_way={0: (1, at(0, 8), None, False), 1: (1, at(0, 11), None, False)}),
        ([at(0, 8), at(0, 11)], at(0, 11), at(0, 12)),
    ),
    # All cured before the start, at which packing begins
    "complete before the start": (
        case((CAST,), [[1]], [[0]], WEEK, start=at(0, 10), pack=HOUR, under_way={0: (1, at(0, 9), None, False)}),
        ([at(0, 9)], at(0, 10), at(0, 11)),
    ),
    # 4 h on Monday, Tuesday off, 2 h on each day after; casting takes 5 h and begins only on an untouched day: Mon 9-14 the 1st,
    # an hour too long, which Tuesday cannot give back and Wednesday does, so finishing Wed 9-10; Thu 9-14 the 2nd, three too long:
    # nothing on Friday, an hour left on Monday, finishing 9-10, and the last of its 3 h Tue 9-10
    "caps day by day, a day off": (
        case((CAST, FINISH), [[5, 3], [5, 0]], [[0, 0]] * 2, WEEK, day_cap=np.array([4, 0, 2]) * HOUR),
        ([at(8, 10), at(3, 14)], at(8, 10), at(8, 10)),
    ),
    # 4 h a day, 9-10 the work; packing 5 h: Mon 10-12 and 13-14, then the day has had its hours; Tue 9-11
    "packing over lunch, up to the cap": (
        case((FINISH,), [[1]], [[0]], LUNCH, day_cap=4 * HOUR, pack=5 * HOUR),
        ([at(0, 10)], at(0, 10), at(1, 11)),
    ),
    # Ten hours: Fri 9-17, Mon 9-11
    "over a weekend": (
        case((FINISH,), [[10]], [[0]], WEEK, start=at(4, 2)),
        ([at(7, 11)], at(7, 11), at(7, 11)),
    ),
    "enough in hand": (
        case((FINISH,), [[1]], [[0]], WEEK, in_hand=[1], start=at(5, 12)),
        ([NEVER], at(5, 12), at(5, 12)),
    ),
    # One working day: the 2nd is not done by its end
    "a calendar that ends too early": (
        case((FINISH,), [[5], [5]], [[0]] * 2, WEEK[:1]),
        ([at(0, 14), NEVER], NEVER, NEVER),
    ),
    # ... and the 1st is worked but its wait ends past it
    "a wait past the end of the calendar": (
        case((FINISH,), [[5]], [[4]], WEEK[:1]),
        ([NEVER], NEVER, NEVER),
    ),
    "no time left to pack": (
        case((FINISH,), [[7]], [[0]], WEEK[:1], pack=2 * HOUR),
        ([at(0, 16)], at(0, 16), NEVER),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ON_PAPER)
@pytest.mark.parametrize("of", [planned, events])
def test_days_worked_out_on_paper(name, of):
    """Short orders followed by hand in the comments above: the planner and the simulation both keep to them."""
    (plan, calendar), expected = ON_PAPER[name]
    assert of(plan, calendar, 0) == expected


@pytest.mark.parametrize(("sets", "minutes", "loads", "weeks"), [(1, 120, 5, 1), (1, 450, 5, 2), (2, 450, 80, 17)])
def test_the_calendar_pours_as_the_staircase_says(sets, minutes, loads, weeks):
    """One pot, 12 h of cure, a pour of an hour: 5, 2.5 and 40 h / 8.5 h = 4.7 loads a week, in the calendar and in the long run."""
    work, wait = [[1, minutes / 60]] * (2 * loads + 6), [[12, 0]] * (2 * loads + 6)
    windows = [(24 * day + 9, 24 * day + 17) for day in range(7 * 3 * weeks + 28) if day % 7 < 5]
    order = case((POT, FINISH), work, wait, windows, slots={"pot": 1}, moulds=sets, mould_use=1, mould_stage=1)
    pours = [begin for _, stage, begin, _ in simulate(*order, record=True).segments if stage == 0]
    assert pours[5 + loads] - pours[5] == weeks * 7 * DAY
    use = InMoulds(sets=sets, steps=((minutes / 60, False, 0.0),))
    assert loads_per_week(12.0, 1.0, 1, windows[:5], use) == pytest.approx(loads / weeks, rel=1e-14)
