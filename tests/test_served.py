"""A year made of months: equal to the year at once where nothing differs between them, and what waits, stands ready or stops work."""

from collections import Counter
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from months_events import Year, random_workshop
from scipy import stats
from workshops_by_hand import BY_HAND, KNOB, SHOP, VALUES, flat, two_products

from casting_econ.models import Channel, Material, Product, Step, evaluate
from casting_econ.models.selling import newsvendor_quantity
from casting_econ.models.workshop import Luck, Months, Risk

EVEN = np.full(12, 1 / 12)
FLAT = Months(working=EVEN, season=EVEN)


def only_in(month):
    """Shares of a year that all lie in one month."""
    return np.eye(12)[month]


# By hand: 48 weeks of 10 hours, an hour a piece, so that each of twelve months makes 40 -----------------------------------

PEG = Product(name="peg", casts_per_load=1, steps=(Step(name="carve", minutes=60.0),))
SELL = Channel(name="shop", product="peg", orders_per_year=480.0, pieces_per_order=1.0, price=20.0, waits=True)
CARVER = replace(
    BY_HAND, weeks_per_year=48.0, hours_per_week=10.0, fixed_hours_per_week=0.0, products=(PEG,), channels=(SELL,), stations=()
)


def pegs(orders, *, working=EVEN, shelf=0.0, shelf_cost=0.0, luck=None, risks=(), **channel):
    """A year of pegs whose months bring these orders, twelve numbers."""
    orders = np.asarray(orders, float)
    months = Months(working=np.asarray(working), season=orders / orders.sum(), luck=luck)
    products = (replace(PEG, shelf=shelf, shelf_cost=shelf_cost),)
    channels = (replace(SELL, orders_per_year=orders.sum(), **channel),)
    return evaluate(replace(CARVER, products=products, channels=channels, months=months, risks=risks))


def middle_of(number, mean):
    """The uniform number in the middle of those that give so many orders."""
    return stats.poisson.cdf(number - 1, mean) + stats.poisson.pmf(number, mean) / 2


def of(year, kind, name="shop"):
    """What a channel or product had of a kind month by month."""
    return [pytest.approx(float(getattr(month, kind)[name]), abs=1e-9) for month in year.months]


def test_who_waits_is_made_next_month_or_lost():
    """40 a month; 70, 60 and 15 asked: 30 wait; they and 10 more go out, 50 wait; 40 of those go out, 10 are lost, and the 15 wait."""
    year = pegs([70, 60, 15, 0, 0, 40, 0, 0, 0, 0, 0, 0])

    assert of(year, "met")[:5] == [40, 40, 40, 15, 0]
    assert of(year, "waits")[:5] == [30, 50, 15, 0, 0]
    assert of(year, "lost")[:5] == [0, 0, 10, 0, 0]
    assert [year.resources[month.binding] for month in year.months][:5] == ["hands", "hands", "hands", "demand", "demand"]


def test_a_year_is_limited_by_what_limits_most_of_its_months():
    """Hands short in seven months limit the year; where they are in six, demand does in as many, and the year is demand's."""
    for many, limit in ((7, "hands"), (6, "demand")):
        year = pegs([50] * many + [30] * (12 - many), waits=False)
        assert year.resources[year.binding] == limit


def test_a_year_in_one_piece_has_no_month_to_wait_for():
    """600 asked and 480 made: 120 are lost, though their buyers would wait."""
    year = evaluate(replace(CARVER, channels=(replace(SELL, orders_per_year=600.0),)))

    assert (of(year, "met"), of(year, "lost"), of(year, "waits")) == ([480], [120], [0])


def test_none_waits_two_months():
    """Asked 100 and nothing after: 40 at once, 40 next month, the last 20 are lost; where none waits, 60 are lost at once."""
    asked = [100] + [0] * 11

    assert of(pegs(asked), "met")[:3] == [40, 40, 0]
    assert of(pegs(asked), "lost")[:3] == [0, 20, 0]
    assert of(pegs(asked, waits=False), "lost")[:2] == [60, 0]


@pytest.mark.parametrize("size, met", [(80.0, [0.5, 0.5, 0.0, 0.0]), (150.0, [40 / 150] * 3 + [30 / 150])])
def test_a_large_order_that_is_begun_is_done(size, met):
    """One order of 150 at 40 a month takes four months, one of 80 two. Of three of 100 that come in January, March and April the second
    takes March to May, and the third, unbegun when its month of waiting is over, is lost."""
    once = Luck(orders={"shop": np.array([0.5] + [0.0] * 11)}, sizes={"shop": np.zeros(12)}, risks={})
    year = pegs([1] + [1e-9] * 11, luck=once, pieces_per_order=size)
    assert (of(year, "met")[:4], of(year, "lost")) == (met, [0] * 12)

    luck = Luck(
        orders={"shop": np.array([middle_of(n, 1) for n in (1, 0, 1, 1, *[0] * 8)])}, sizes={"shop": np.zeros(12)}, risks={}
    )
    three = pegs([1] * 12, luck=luck, pieces_per_order=100.0)
    assert (of(three, "pieces")[:6], of(three, "lost")[:6]) == ([40, 40, 40, 40, 40, 0], [0, 0, 0, 0, 1, 0])
    assert of(three, "waits")[:6] == [0.6, 0.2, 0.8, 1.4, 0, 0]


def commissions(*sizes, first=1, working=EVEN, weeks=48.0, before=({}, {}), shelf=0.0):
    """A shop whose buyers ask for 60 pegs at once every month, where `first` times in January, and do not wait for them; and commissions
    of so many pegs that come in January, a channel each."""
    shop = replace(SELL, orders_per_year=12.0, pieces_per_order=60.0, waits=False)
    channels = shop, *(replace(shop, name=f"of {size}", pieces_per_order=float(size), waits=True) for size in sizes)
    once = {c.name: np.array([middle_of(1, 1)] + [0.0] * 11) for c in channels[1:]}
    orders = once | {"shop": middle_of(np.array([first] + [1] * 11), 1)}
    luck = Luck(orders=orders, sizes={c.name: np.zeros(12) for c in channels}, risks={})
    months, products = Months(working=working, season=EVEN, luck=luck, before=before), (replace(PEG, shelf=shelf),)
    return evaluate(replace(CARVER, weeks_per_year=weeks, products=products, channels=channels, months=months))


def test_what_is_begun_is_finished_before_the_months_own_orders():
    """The trade finishes begun work first (common practice, no source). Own arithmetic.

    Of 100 and the shop's 60 the first 40 make a quarter: 25 and 15. The 75 left take all of February and 35 of March; without a hand
    in February, all of March and 35 of April. Of two commissions, 100 and 60, each has a quarter a month until April completes both.
    """
    year = commissions(100)
    assert of(year, "pieces", "of 100")[:5] == [25, 40, 35, 0, 0] and of(year, "pieces")[:5] == [15, 0, 5, 40, 40]
    assert of(year, "waits", "of 100")[:4] == [0.75, 0.35, 0, 0] and of(year, "lost", "of 100") == [0] * 12

    year = commissions(100, working=np.array([1, 0, *[1] * 10]) / 11, weeks=44.0)
    assert of(year, "pieces", "of 100")[:5] == [25, 0, 40, 35, 0] and of(year, "pieces")[:5] == [15, 0, 0, 5, 40]

    year = commissions(100, 60, first=0)
    assert of(year, "pieces", "of 100")[:5] == [25] * 4 + [0] and of(year, "pieces", "of 60")[:5] == [15] * 4 + [0]
    assert of(year, "pieces")[:6] == [0] * 4 + [40] * 2 and year.months[3].late["of 100"] == pytest.approx((0, 0, 0, 0), abs=1e-9)


@pytest.mark.parametrize("size, begun, second, shop", [(39, 0, 0, 40), (40, 0, 0, 40), (41, 1, 1, 39)])
def test_one_piece_left_is_begun_and_none_is_not(size, begun, second, shop):
    """January makes 40 of one commission: one piece short, exactly complete, or one left, which February makes before the shop's."""
    year = commissions(size, first=0)

    assert of(year, "pieces", f"of {size}")[:3] == [min(size, 40), second, 0] and of(year, "pieces")[:3] == [0, shop, 40]
    assert year.months[0].late[f"of {size}"] == pytest.approx((begun / size, begun) * 2, abs=1e-9)


def test_what_is_begun_has_what_stands_ready():
    """Of the 60 pegs left of a commission 20 stand ready and 40 are made. Where it is not begun, three eighths of January's own 160,
    the shop's and the next commission's, are ready or made, and the commission's part goes to the older one."""
    for late, had, shop in (((0.6, 60.0, 0.6, 60.0), 60, 0), ((1.0, 60.0, 0.0, 0.0), 37.5, 22.5)):
        year = commissions(100, before=({"of 100": late}, {"peg": 20.0}), shelf=20.0)
        assert (of(year, "pieces", "of 100")[0], of(year, "pieces")[0]) == (had, shop)


def test_december_leaves_its_orders_to_january():
    """70 in each December: 30 of the last one go out in January, and 30 of this one wait when the year ends, neither met nor lost."""
    year = pegs([0] * 11 + [70])

    assert (of(year, "met")[0], of(year, "met")[11], of(year, "waits")[11]) == (30, 40, 30)
    assert of(year, "lost") == [0] * 12
    assert year.channels["shop"]["orders"] == pytest.approx(70)


def test_a_business_that_starts_has_no_december_before():
    """In the first year of all none wait in January of the orders of a December before it."""
    months = Months(working=EVEN, season=only_in(11), before=({}, {}))
    year = evaluate(replace(CARVER, channels=(replace(SELL, orders_per_year=70.0),), months=months))

    assert (of(year, "met")[0], of(year, "met")[11], of(year, "waits")[11]) == (0, 40, 30)


def test_a_year_begins_with_what_the_one_before_leaves():
    """70 in December take 40 made and all 30 that stand ready; then 60 in January find an empty shelf and 20 of them wait, who go out in
    February with its own 20; only March fills the shelf. Own arithmetic."""
    first = pegs([0] * 11 + [70], shelf=30.0)
    left = first.months[-1]
    then = left.late, left.shelf
    assert then == ({"shop": (0.0, 0.0, 0.0, 0.0)}, {"peg": 0.0})
    orders = np.array([60.0, 20, *[0] * 10])
    months = Months(working=EVEN, season=orders / 80, before=then)
    products, channels = (replace(PEG, shelf=30.0),), (replace(SELL, orders_per_year=80.0),)
    second = evaluate(replace(CARVER, products=products, channels=channels, months=months))

    assert (of(second, "met")[:3], of(second, "waits")[:2]) == ([40, 40, 0], [20, 0])
    assert of(second, "shelf", "peg")[:3] == [0, 0, 30]


def test_who_waits_from_the_year_before_is_made_in_a_year_without_an_order():
    """Thirty wait and nobody else comes: 30 hours of carving, 30 x 20 of revenue and no more than that."""
    luck = Luck(orders={"shop": np.zeros(12)}, sizes={"shop": np.zeros(12)}, risks={})
    months = Months(working=EVEN, season=EVEN, luck=luck, before=({"shop": (30.0, 30.0, 0.0, 0.0)}, {}))
    year = evaluate(replace(CARVER, channels=(replace(SELL, orders_per_year=5.0),), months=months))

    assert of(year, "met")[:2] == [30, 0]
    assert year.totals["make_hours_per_year"] == pytest.approx(30.0)
    assert year.totals["revenue_per_year"] == pytest.approx(600.0)
    assert year.totals["pieces_sold_per_year"] == pytest.approx(30.0)


def test_shelf_is_drawn_down_and_filled_again():
    """Of 30 kept ready, 60 asked take 20 beside the 40 made; then 40 asked leave it at 10, 25 asked let 15 be put back."""
    year = pegs([60, 40, 25, 5] + [0] * 8, shelf=30.0, shelf_cost=12.0)

    # what is ready goes out first, so the first month makes 30 for orders and 10 for the shelf
    assert of(year, "met")[:4] == [60, 40, 25, 5]
    assert of(year, "shelf", "peg")[:5] == [10, 10, 25, 30, 30]
    ready = (10 + 10 + 25 + 9 * 30) / 12
    assert year.totals["overhead_per_year"] == pytest.approx(500 + 12 * ready)


def test_shelf_larger_than_demand_sells_what_is_asked():
    """What nobody asks for stays: 1,000 ready and 5 asked a month sell 60 and leave the rest, at no hour but packing's."""
    year = pegs([5] * 12, shelf=1000.0, minutes_per_order=30.0)

    assert year.totals["pieces_sold_per_year"] == pytest.approx(60)
    assert of(year, "shelf", "peg") == [1000] * 12


@pytest.mark.parametrize("months", [Months(), FLAT])
def test_a_shelf_sells_no_more_than_is_made(months):
    """50 a month asked and 40 made: what once stood ready is gone, and a year sells the 480 that its 480 hours carve, however many were to be
    kept; with 39 asked it is full again each month. At once as month by month. Own arithmetic: what goes out in the long run is what is made."""
    for asked, sold, ready in ((600.0, 480.0, 0.0), (468.0, 468.0, 100.0)):
        products, channels = (replace(PEG, shelf=100.0),), (replace(SELL, orders_per_year=asked, waits=False),)
        year = evaluate(replace(CARVER, products=products, channels=channels, months=months))
        assert (year.totals["pieces_sold_per_year"], year.totals["hours_per_year"]) == pytest.approx((sold, sold))
        assert [month.shelf["peg"] for month in year.months] == pytest.approx([ready] * len(year.months))
        assert year.utilisation["hands"] == pytest.approx(sold / 480)


def test_a_shelf_that_december_empties_is_filled_in_spring():
    """100 asked in December take the 30 that stand ready and 40 made; January begins with none and puts back what its 20 orders leave time for."""
    year = pegs([20] * 11 + [100], shelf=30.0, waits=False)
    assert of(year, "shelf", "peg") == [20, 30] + [30] * 9 + [0] and of(year, "met")[-1] == 70


def test_packing_takes_hands_also_from_the_shelf():
    """A month of 40 hours packs 80 orders of half an hour and carves nothing beside, however many stand ready."""
    year = pegs([200] + [0] * 11, shelf=500.0, minutes_per_order=30.0, waits=False)

    assert of(year, "met")[0] == 80
    assert of(year, "shelf", "peg")[0] == 420


def test_a_month_off_sells_what_stands_ready():
    """Without a working week nothing is made; what takes no packing goes out while it lasts, what does waits."""
    working = np.append(np.full(11, 1 / 11), 0.0)[[11, *range(11)]]
    year = pegs([50, *[20] * 11], working=working, shelf=30.0)
    packed = pegs([50, *[20] * 11], working=working, shelf=30.0, minutes_per_order=1e-3)

    assert (of(year, "met")[0], of(packed, "met")[0]) == (30 + 0, 0)
    assert (of(year, "waits")[0], of(packed, "waits")[0]) == (20, 50)
    assert year.months[0].utilisation["hands"] == np.inf
    assert np.isfinite([value for value in year.totals.values()]).all()


@pytest.mark.parametrize("short, over", [(6.0, 2.0), (3.0, 5.0), (1.0, 1.0)])
def test_newsvendor_of_a_month_without_a_working_week(short, over):
    """All orders come in a month off: what is sold is the lesser of demand and shelf, and the best shelf loses what the newsvendor does.

    Snyder & Shen, Fundamentals of Supply Chain Theory, ch. 4; demand Poisson of 5, each number of orders once with its chance.
    """
    number = np.arange(25.0)
    chances = stats.poisson.pmf(number, 5.0) / stats.poisson.cdf(24, 5.0)
    uniform = np.zeros((25, 12))
    uniform[:, 6] = middle_of(number, 5.0)
    luck, loss = Luck(orders={"shop": uniform}, sizes={"shop": np.zeros((25, 12))}, risks={}), []
    for shelf in range(20):
        year = pegs(5 * only_in(6), working=(1 - only_in(6)) / 11, shelf=float(shelf), luck=luck)
        sold = year.months[6].met["shop"]
        assert sold == pytest.approx(np.minimum(number, shelf), abs=1e-12)
        loss.append(chances @ (short * (number - sold) + over * (shelf - sold)))

    assert (np.argmin(loss), min(loss)) == pytest.approx(newsvendor_quantity(number, chances, short, over), rel=1e-9)


@pytest.mark.parametrize("holding", [3.0, 24.0, 48.0])
def test_newsvendor_with_stock_carried(holding):
    """What is left is there next month, so that it costs its keeping alone. Fairs in six months off, made for in the six between.

    Base stock over many periods with lost sales (Snyder & Shen, ch. 4, from memory); own arithmetic: one more on a shelf of S sells
    with chance 1 - F(S) at a fair, brings p - c, and is kept after it with chance F(S), and for the month between surely: best
    is the least S with (p - c) (1 - F(S)) <= h/12 (1 + F(S)).
    """
    price, cost, rate = 10.0, 4.0, 5.0
    fairs = np.tile([1.0, 0.0], 6)[::-1]  # the first month makes, the second sells
    even = np.random.default_rng(2).permuted(np.tile((np.arange(4000) + 0.5) / 4000, (12, 1)), axis=1).T
    luck, money = Luck(orders={"shop": even}, sizes={"shop": even}, risks={}), []
    carve = replace(PEG.steps[0], minutes=1.0, materials=(Material(name="wood", cost=cost),))
    for shelf in range(16):
        product = replace(PEG, steps=(carve,), shelf=float(shelf), shelf_cost=holding)
        channel = replace(SELL, orders_per_year=6 * rate, price=price, waits=False)
        months = Months(working=(1 - fairs) / 6, season=fairs / 6, luck=luck)
        year = evaluate(replace(CARVER, products=(product,), channels=(channel,), months=months, overheads=(), equipment=()))
        money.append(float(year.totals["residual_pay_per_year"].mean()))

    gain, kept = price - cost, holding / 12
    assert int(np.argmax(money)) == stats.poisson.ppf((gain - kept) / (gain + kept), rate)


def test_illness_longer_than_a_month_goes_on_into_the_next():
    """Six weeks from June take its four and two of July's; what starts in December goes on in January."""
    ill = Risk(name="ill", chance=0.5, weeks=6.0, cost=100.0)
    starts = np.array([5.5, 11.5, 12.0]) / 12 * 0.5  # June, December, never
    luck = Luck(orders={"shop": np.full((3, 12), 0.5)}, sizes={"shop": np.zeros((3, 12))}, risks={"ill": starts})
    year = pegs([100] * 12, waits=False, luck=luck, risks=(ill,))
    met = np.stack([month.met["shop"] for month in year.months], axis=1)

    assert met[0].tolist() == pytest.approx([40] * 5 + [0, 20] + [40] * 5)
    assert met[1].tolist() == pytest.approx([20] + [40] * 10 + [0])
    assert met[2].tolist() == pytest.approx([40] * 12)
    assert year.totals["overhead_per_year"].tolist() == pytest.approx([600, 600, 500])
    assert year.totals["hours_per_year"].tolist() == pytest.approx([420, 420, 480])


def test_a_whole_year_ill_is_a_year_of_nothing():
    """Every week lost: nothing met, fixed costs alone, and of pay an hour there is none; nothing else is not-a-number."""
    luck = Luck(orders={"shop": np.full((2, 12), 0.5)}, sizes={"shop": np.zeros((2, 12))}, risks={"ill": np.array([0.0, 0.9])})
    year = pegs([40] * 12, luck=luck, risks=(Risk(name="ill", chance=0.5, weeks=53.0),))

    assert year.totals["residual_pay_per_year"][0] == pytest.approx(-500 - 200)
    assert np.isnan(year.totals["pay_per_hour"]).tolist() == [True, False]
    expected = pegs([40] * 12, waits=False, risks=(Risk(name="ill", chance=0.5, weeks=53.0),))
    assert expected.totals["pieces_sold_per_year"] == pytest.approx(240)  # on average half of the 48 weeks there are
    unknown = {key: value for key, value in flat(year).items() if np.isnan(value).any()}
    assert set(unknown) == {"totals: pay_per_hour", "totals: pay_per_hour_after_set_aside"}


def test_a_broken_pot_stops_its_own_work_alone():
    """Half the weeks without the pot: what it cures halves, and hands that do not need it go on."""
    pot = replace(KNOB.steps[0], minutes=0.0, pass_share=1.0, load_minutes=6.0)  # 5 loads a week by the working windows
    knob = Product(name="knob", casts_per_load=1, steps=(pot,))
    channels = (replace(SHOP, orders_per_year=5000.0, minutes_per_order=0.0), replace(SELL, name="pegs", orders_per_year=100.0))
    broken = Risk(name="pump", chance=1.0, weeks=25.0, stops="pot")
    a = replace(BY_HAND, products=(knob, PEG), channels=channels, months=FLAT, risks=(broken,), hours_per_week=40.0)
    year = evaluate(a)

    assert year.products["knob"]["loads_per_year"] == pytest.approx(5 * 25)
    assert year.products["peg"]["sold_per_year"] == pytest.approx(100)


def test_a_year_without_orders_ruins_no_load():
    """Ruined loads come with what is poured: none in a year in which nobody orders, twice as many in one of twice the orders."""
    few = replace(SHOP, orders_per_year=5.0, days_per_year=0.0)
    uniform = middle_of(np.array([0, 5, 10]), 5.0)[:, None]
    knob = replace(KNOB, ruined_loads_per_year=3.0)
    luck = Luck(orders={"shop": uniform}, sizes={"shop": uniform}, risks={})
    year = evaluate(replace(BY_HAND, products=(knob,), channels=(few,), months=Months(luck=luck)))
    of_knobs, asked = year.products["knob"], year.channels["shop"]["came"]
    poured = of_knobs["made_per_year"] * of_knobs["casts_per_good_piece"] / 10

    assert asked.tolist() == [0, 5, 10]
    assert of_knobs["loads_per_year"] - poured == pytest.approx([0, 3, 6], abs=1e-9)
    assert year.totals["ruined_loss_per_year"][0] == 0


# Against the year at once, and against events ------------------------------------------------------------------------


def three_products(v, kilns, ruined, waits):
    """Two products with a kiln, a rack and moulds, and a third that shares the rack alone; each channel's buyers wait or do not."""
    a = two_products(v, kilns, ruined)
    bead = Product(
        name="bead",
        casts_per_load=30,
        steps=(Step(name="roll", minutes=v["minutes"] / 4), Step(name="dry", wait_hours=v["dry"] / 2, wait_in="rack")),
    )
    more = Channel(
        name="beads", product="bead", orders_per_year=v["orders_2"], pieces_per_order=v["pieces_2"], price=v["price_1"]
    )
    channels = tuple(replace(c, waits=wait) for c, wait in zip((*a.channels, more), waits, strict=True))
    return replace(a, products=(*a.products, bead), channels=channels)


@settings(deadline=None, max_examples=150)
@given(VALUES, st.integers(1, 3), st.floats(0, 20), st.tuples(*[st.booleans()] * 4), st.sampled_from([0.05, 0.3, 1, 4]))
def test_twelve_months_alike_equal_the_year_at_once(v, kilns, ruined, waits, often):
    """Random workshops, enough of everything or short of it, buyers that wait or not: every number of the year within 1e-9."""
    v = v | {key: v[key] * often for key in ("orders_1", "orders_2", "orders_3")}
    a = three_products(v, kilns, ruined, waits)
    once, months = evaluate(a), evaluate(replace(a, months=FLAT))

    expected, found = flat(once), flat(months)
    assert found.keys() == expected.keys()
    use = np.array([*once.utilisation_at_demand.values()])
    if np.ptp(np.sort(use)[-2:]) > 1e-6:  # else two limit alike
        assert found[": binding"] == expected[": binding"]
    for key in expected.keys() - {": binding"}:
        assert found[key] == pytest.approx(expected[key], rel=1e-9, abs=1e-9, nan_ok=True), key
    assert len(months.months) == 12 and all(set(m.shelf.values()) == {0.0} for m in months.months)


def test_months_equal_an_event_simulation():
    """220 random workshops, two years each: orders met, lost and waiting, pieces, stock and what is full in every month, as simulated.

    Each rule is reached by some: every kind of limit, orders that wait and that are lost, shelves drawn down, months off, rare events.
    """
    seen = Counter()
    for seed in range(220):
        a = random_workshop(seed)
        year = evaluate(a)
        for earlier, month in pairwise(year.months):  # no order is made or lost twice, and none is forgotten
            for name, came in month.came.items():
                become = month.met[name] + month.lost[name] + month.waits[name]
                assert become == pytest.approx(came + earlier.waits[name], rel=2e-13, abs=2e-13)
        for row in range(2):
            told = Year(a, row).run()
            for number, (expected, month) in enumerate(zip(told, year.months, strict=True)):
                here = f"workshop {seed}, year {row}, month {number}"
                for kind in ("met", "lost", "waits", "pieces", "shelf"):
                    found = {name: float(np.broadcast_to(value, 2)[row]) for name, value in getattr(month, kind).items()}
                    assert found == pytest.approx(expected[kind], rel=1e-9, abs=1e-9), f"{kind}, {here}"
                limit = year.resources[np.broadcast_to(month.binding, 2)[row]]
                use = {name: float(np.broadcast_to(value, 2)[row]) for name, value in month.utilisation.items()}
                tie = limit != "demand" != expected["limit"] and np.isfinite(use[limit])
                tie = tie and use[limit] == pytest.approx(use[expected["limit"]], rel=1e-9)
                assert limit == expected["limit"] or tie, here
                seen[expected["limit"].split()[0]] += 1
                seen.update(kind for kind in ("lost", "waits", "begun") if sum(expected[kind].values()) > 0.01)
                seen["drawn"] += any(expected["shelf"][p.name] < p.shelf for p in a.products)
                seen["first"] += expected["first"] > 0.01  # begun orders that go on where the month's own are cut
                seen["off"] += a.months.working[number] == 0
            seen.update(risk.name for risk in a.risks if a.months.luck.risks[risk.name][row] < risk.chance)
    assert min(seen[rule] for rule in "demand hands pot rack moulds lost waits begun first drawn off ill pump".split()) > 50, seen
