"""Present worth, rates of return, payback and the path of the money, by hand and by rule."""

import numpy as np
import pytest
from cash_studies import level_flows
from hypothesis import given, settings
from hypothesis import strategies as st

from casting_econ.models.cash import cash_path, irr, npv, payback, rate_per_month, sales_share


def test_npv_at_no_interest_is_the_sum():
    """Limiting case, integers too."""
    assert npv(0, [-3, 1, 1, 4]) == 3.0


def test_functions_take_many_rows_as_they_take_one():
    """A stack of flows and rates gives what each row gives alone."""
    rng = np.random.default_rng(3)
    flows, rates = rng.normal(0, 50, (2, 3, 9)), rng.uniform(0, 0.3, (2, 3))
    flows[..., 0] = -40.0

    for at in np.ndindex(2, 3):
        assert npv(rates, flows)[at] == pytest.approx(npv(rates[at], flows[at]), rel=1e-12)
        assert payback(flows, rates)[at] == pytest.approx(payback(flows[at], rates[at]), rel=1e-12)


@given(st.lists(st.floats(-0.9, 3.0).map(lambda r: round(r, 2)), min_size=1, max_size=4, unique=True))
@settings(max_examples=60, deadline=None)
def test_irr_finds_the_rates_that_flows_are_made_of(rates):
    """The product of (1 + r)x - 1 over chosen rates is worth nothing at each of them, and at no other."""
    flows = np.array([1.0])
    for rate in rates:
        flows = np.convolve(flows, [-1.0, 1.0 + rate])

    # four rates side by side leave about a quarter of the digits
    assert irr(flows) == pytest.approx(tuple(sorted(rates)), abs=1e-4)


def test_irr_limits():
    """A rate where worth only touches zero; a delayed start; a long row; none; and nothing at all is refused."""
    assert irr([1, -2.4, 1.44]) == pytest.approx((0.2,), abs=1e-6)  # (1 - 1.2 x)²
    assert irr([0, 0, -100, 0, 121, 0]) == pytest.approx((0.1,), rel=1e-12)
    assert irr([-1] + [0] * 119 + [2.0]) == pytest.approx((2 ** (1 / 120) - 1,), rel=1e-9)  # twice the months that are followed
    assert irr([-1, 1]) == (0.0,) and irr([1, -2, 1]) == pytest.approx((0.0,), abs=1e-6)
    assert irr([5, 5]) == () and irr([-100, 10, -20]) == ()
    with pytest.raises(ValueError, match="must not all be zero"):
        irr([0, 0, 0])
    with pytest.raises(ValueError, match="one row"):
        irr([[-1, 2], [-1, 3]])


def test_payback_limits():
    """Nothing put in is back at once; what never comes back is infinite; sums that miss zero by rounding are back."""
    assert payback([0, 1]) == 0.0 and payback([-2, 1]) == np.inf
    assert sum([-0.4] + [0.1] * 4) < 0 and payback([-0.4] + [0.1] * 4) == pytest.approx(4.0, abs=1e-9)
    assert payback([-10, 4, 4, 4]) == pytest.approx(2.5) and payback([-100, 200]) == pytest.approx(0.5)


def test_payback_once_or_for_good():
    """Back in month 2, spent again in 3, back for good in 4.5: -10, 0, -4, -2, 2."""
    flows = [-10, 5, 5, -4, 2, 4]

    assert payback(flows) == 2.0 and payback(flows, for_good=True) == pytest.approx(4.5)
    assert payback([-1, 2, -2], for_good=True) == np.inf


@given(st.lists(st.floats(0, 100), min_size=2, max_size=12), st.floats(0, 0.5))
@settings(max_examples=60, deadline=None)
def test_discounted_payback_is_never_sooner(gains, rate):
    """Interest only puts it off."""
    flows = [-100.0, *gains]

    assert payback(flows, rate) >= payback(flows) - 1e-9


def test_rate_per_month_compounds_to_the_year():
    """Twelve months make the year, and nothing stays nothing."""
    rates = np.array([0.0, 0.05, 0.6, -0.5])

    assert (1 + rate_per_month(rates)) ** 12 - 1 == pytest.approx(rates, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: npv(-1, [-1, 2]), "rate must be above -1; got -1"),
        (lambda: npv(0.1, [1]), "a start and at least one period"),
        (lambda: npv(0.1, [1, np.nan]), "flows must be finite; got nan at index 1"),
        (lambda: rate_per_month(-2), "rate must be above -1"),
        (lambda: sales_share(0), "months must be at least 1"),
        (lambda: sales_share(3, first_month=13), "first month must be at most 12; got 13"),
        (lambda: sales_share(3, season=[1] * 11), "twelve weights that add up to 12; got 11"),
        (lambda: sales_share(3, season=[2] + [1] * 11), "got 12 of 13"),
        (lambda: sales_share(3, ramp_months=-1), "ramp months must be at least 0"),
        (lambda: plan(3, outlays=[-1, 0, 0, 0]), "outlays must be at least 0"),
        (lambda: plan(3, set_aside=1.5), "set-aside share must be at least 0 and at most 1"),
        (lambda: plan(3, receipts=((1.0, 0.5),)), "delay of receipts must be a whole number"),
    ],
)
def test_errors_name_what_is_wrong(call, said):
    """Each input out of its range is refused by name."""
    with pytest.raises(ValueError, match=said):
        call()


def plan(months, **changes):
    """A path of so many level months with some inputs changed."""
    return cash_path(level_flows(**{"share": sales_share(months), "outlays": np.zeros(months + 1)} | changes))


def test_sales_share_by_hand():
    """A year is one, whatever its season; a ramp of two months loses one month: 1/4, 3/4, 1; a start in November takes its weight."""
    season = [0.5] * 6 + [1.5] * 6

    assert sales_share(12, season=season).sum() == pytest.approx(1.0)
    assert sales_share(12, ramp_months=2).sum() * 12 == pytest.approx(11.0)
    assert sales_share(3, season=season, first_month=11).tolist() == pytest.approx([0.125, 0.125, 0.5 / 12])
    # the line of a ramp of 1.5 months: 1/3 of a month sold by the first end, then 1 - (1/2)²/3
    assert (sales_share(2, ramp_months=1.5) * 12).tolist() == pytest.approx([1 / 3, 1 - 0.25 / 3])


def test_path_by_hand():
    """1,000 there, 600 put in; 1,200 a year paid a month late, 240 of material a month ahead, 120 rent, 10 pay, a quarter set aside.

    Month 0: 1,000 - 600 - 20 of material = 380. Month 1: nothing comes, 20 + 10 + 10 go: 340. Then 100 come: 400, 460.
    Taxed so far -20, -50, 20, 90: nothing aside for two months, then 5 and 22.50.
    """
    path = plan(
        3,
        share=sales_share(4),
        outlays=[600, 0, 0, 0],
        opening=1000,
        receipts=((1200, 1),),
        material=240,
        material_lead=1,
        overhead=120,
        pay=10,
        set_aside=0.25,
    )

    assert path.balance.tolist() == pytest.approx([380, 340, 400, 460])
    assert path.set_aside.tolist() == pytest.approx([0, 0, 5, 22.5])
    assert path.free.tolist() == pytest.approx([380, 340, 395, 437.5])
    assert (path.free.min(), path.free.argmin()) == (340.0, 1)
    assert path.owed.tolist() == pytest.approx([0, 100, 100, 100]) and path.in_stock.tolist() == pytest.approx([20] * 4)


def test_tax_is_paid_when_twelve_months_end():
    """1,200 a year at a fifth: 20 a month, 240 leave after months 12 and 24; a loss owes nothing and is not carried on."""
    path = plan(25, receipts=((1200, 0),), set_aside=0.2)
    loss = plan(24, receipts=((1200, 0),), outlays=np.zeros(25), overhead=2400, set_aside=0.2)

    assert np.flatnonzero(path.tax).tolist() == [12, 24] and path.tax[[12, 24]] == pytest.approx(240.0)
    assert path.set_aside[[1, 11, 12, 13, 25]] == pytest.approx([20, 220, 0, 20, 20])
    assert not loss.tax.any() and not loss.set_aside.any() and loss.free[-1] == pytest.approx(-2400.0)


def test_wear_is_deducted_and_not_paid():
    """Wear of 120 a year lowers the share set aside, not the bank: 1,200 - 120 at a fifth is 216."""
    path = plan(12, receipts=((1200, 0),), wear=120, set_aside=0.2)

    assert path.tax[12] == pytest.approx(216.0) and path.balance[12] == pytest.approx(1200 - 216)


@st.composite
def plans(draw):
    """Plans of one to thirty months with two rows of draws."""
    months, lead = draw(st.integers(1, 30)), draw(st.integers(0, 4))
    money = st.floats(0, 5000).map(lambda v: round(v, 2))
    weights = np.array(draw(st.lists(st.floats(0.1, 3), min_size=12, max_size=12)))
    season, first = weights * 12 / weights.sum(), draw(st.integers(1, 12))
    both = {name: np.array([draw(money), draw(money)]) for name in ("with_sales", "material", "overhead", "wear")}
    when = {"season": season, "first_month": first}
    return both | {
        "share": sales_share(months + lead, ramp_months=draw(st.floats(0, 18)), **when),
        "outlays": np.array([draw(st.lists(money, min_size=months + 1, max_size=months + 1)) for _ in range(2)]),
        "opening": draw(money),
        "receipts": tuple(
            (np.array([draw(money), draw(money)]), draw(st.integers(0, 40))) for _ in range(draw(st.integers(0, 3)))
        ),
        "stalls": draw(money),
        "season_share": sales_share(months + lead, **when),
        "material_lead": lead,
        "pay": draw(money),
        "set_aside": draw(st.floats(0, 0.9)),
    }


@given(plans())
@settings(max_examples=80, deadline=None)
def test_books_close(given_):
    """In every month closing = opening + in - out; what is earned is received or owed; what is bought is used or in stock."""
    path = cash_path(level_flows(**given_))
    opening = np.concatenate([np.full((2, 1), given_["opening"]), path.balance[:, :-1]], axis=1)
    out = path.paid + path.outlays + path.pay + path.tax
    months = path.balance.shape[-1] - 1
    sold = given_["share"][:months].sum()
    scale = 1e-9 * (1.0 + np.abs(path.balance).max() + np.cumsum(out, axis=-1).max())

    assert np.abs(path.balance - (opening + path.received - out)).max() <= scale
    assert np.abs(path.free + path.set_aside - path.balance).max() <= scale
    earned = sum((money * sold for money, _ in given_["receipts"]), np.zeros(2))
    assert np.abs(path.received.sum(axis=-1) + path.owed[:, -1] - earned).max() <= scale
    bought = given_["material"] * given_["share"][: months + given_["material_lead"]].sum()
    assert np.abs(bought - given_["material"] * sold - path.in_stock[:, -1]).max() <= scale
    assert (path.owed >= -scale).all() and (path.in_stock >= -scale).all()
    assert (path.set_aside >= 0).all()


@given(plans(), st.integers(1, 6))
@settings(max_examples=40, deadline=None)
def test_later_pay_is_never_more_money(given_, delay):
    """Buyers who pay later leave no more in the bank in any month, before tax."""
    later = tuple((money, at + delay) for money, at in given_["receipts"])
    early, late = (cash_path(level_flows(**given_ | {"set_aside": 0.0} | due)) for due in ({}, {"receipts": later}))

    assert (late.balance <= early.balance + 1e-6).all()


@given(plans())
@settings(max_examples=40, deadline=None)
def test_path_of_one_row_is_that_row(given_):
    """Vector equals scalar."""
    row = {name: given_[name][1] for name in ("outlays", "with_sales", "material", "overhead", "wear")}
    receipts = tuple((float(money[1]), delay) for money, delay in given_["receipts"])
    one, both = (cash_path(level_flows(**stated)) for stated in (given_ | row | {"receipts": receipts}, given_))

    assert one.free == pytest.approx(both.free[1], rel=1e-12, abs=1e-9)


def test_first_moulds_are_paid_once():
    """24 casts' worth of a mould that costs 100 and gives 48: paid at the start, then deducted; half a year later, wear is paid as it comes.

    Own arithmetic: wear 200 a year, 16.67 a month; months 1 to 6 bear the 100, from month 7 on it is paid. Tax of a quarter of receipts
    less wear, paid or not: (1,200 - 200) / 4.
    """
    path = plan(12, receipts=((1200, 0),), outlays=np.array([100.0] + [0.0] * 12), moulds=((200.0, 100.0),), set_aside=0.25)

    assert path.paid[:7] == pytest.approx(0.0) and path.paid[7:] == pytest.approx(200 / 12)
    assert path.paid.sum() + path.outlays.sum() == pytest.approx(200.0) and path.tax.sum() == pytest.approx(250.0)
    unused = plan(12, receipts=((1200, 0),), moulds=((80.0, 100.0),))
    assert unused.paid == pytest.approx(0.0)
