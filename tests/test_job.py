"""Is it a job: the words of the verdict on both sides of each border, what would make it a living, and forty studies that were read."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
import verdicts
from commands import DATA

from casting_econ import charts
from casting_econ.faults import StudyError
from casting_econ.formatting import Format
from casting_econ.kit import format_of, open_study
from casting_econ.models import evaluate
from casting_econ.models.tax import take_home
from casting_econ.orders import open_order, price_of
from casting_econ.orders.wording import first_lines as first_lines_of_order
from casting_econ.orders.wording import year_line
from casting_econ.pages import deciding, living, towards
from casting_econ.pages.answer import advice, first_lines, the_decision
from casting_econ.pages.job import (
    Job,
    floor_words,
    job_line,
    job_of,
    job_sentence,
    job_table,
    living_from_words,
    orders_for_target,
    todo_words,
    verdict_words,
    years_below,
)
from casting_econ.pages.monte_carlo import by_luck_alone
from casting_econ.reference import taxes

NB, FMT = "\u00a0", Format("EUR", "en_IE")
JUST = 1e-9
BORDERS = [0.1, 0.25, 0.75, 0.9]


def job(hour=1.0, year=1.0, below=0.0, **other):
    """A job with these chances."""
    rest = {"floor": 10_000.0, "stated": False, "fails": None, "takes_pay": False, "limit": "demand", "living": "a living"}
    rest |= {"living_from": 757.0, "orders": 300.0}
    return Job(hour=hour, year=year, below=below, **rest | other)


def decided(benefit, certain=False):
    """A decision with these benefits by draw."""
    kit = type("Kit", (), {"certain": certain, "variation": "rates"})()
    return deciding.Decision(kit=kit, benefit=np.asarray(benefit, float), values={})


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """One of the small studies, opened with what differs."""
    base, count = tmp_path_factory.mktemp("small"), iter(range(100))
    return lambda **what: verdicts.open_small(base / str(next(count)), **what)


# the verdict


@pytest.mark.parametrize(
    ("hour", "word"),
    [
        (0.9, "Worth doing on the side;"),
        (0.9 - JUST, "Probably worth doing on the side;"),
        (0.75, "Probably worth doing on the side;"),
        (0.75 - JUST, "May or may not be worth its hours;"),
        (0.25, "May or may not be worth its hours;"),
        (0.25 - JUST, "Probably not worth its hours as it is;"),
        (0.1, "Probably not worth its hours as it is;"),
        (0.1 - JUST, "Not worth its hours as it is, nor"),
    ],
)
def test_side_income_on_both_sides_of_each_border(hour, word):
    """What is said of the hours turns at nine in ten, three in four, one in four and one in ten, as what is said of an hour does."""
    assert verdict_words(job(hour=hour, year=0.0)).startswith(word)


@pytest.mark.parametrize(
    ("year", "word"),
    [
        (0.9, "A living, and safe enough"),
        (0.9 - JUST, "Probably a living, and safe enough"),
        (0.75, "Probably a living, and safe enough"),
        (0.75 - JUST, "Worth doing on the side; perhaps a living"),
        (0.25, "Worth doing on the side; perhaps a living"),
        (0.25 - JUST, "Worth doing on the side; probably not a living at these orders"),
        (0.1, "Worth doing on the side; probably not a living at these orders"),
        (0.1 - JUST, "Worth doing on the side; not a living at these orders"),
    ],
)
def test_a_living_on_both_sides_of_each_border(year, word):
    """What is said of a living turns at the same chances."""
    assert verdict_words(job(year=year)) == word


@pytest.mark.parametrize(
    ("below", "fails", "safe", "word"),
    [
        (0.1, None, "yes", "A living, and safe enough"),
        (0.1 + JUST, None, "not quite", "A living, but not quite a safe one"),
        (0.25, None, "not quite", "A living, but not quite a safe one"),
        (0.25 + JUST, None, "no", "A living, but not a safe one"),
        (0.0, 0.1, "yes", "A living, and safe enough"),
        (0.0, 0.1 + JUST, "not quite", "A living, but not quite a safe one"),
        (0.0, 0.25 + JUST, "no", "A living, but not a safe one"),
    ],
)
def test_safe_enough_on_both_sides_of_each_border(below, fails, safe, word):
    """One year of ten below the floor, or one path of ten without a reserve, is safe enough; one of four not quite; the worse of both counts."""
    found = job(below=below, fails=fails)
    assert (found.safe, verdict_words(found)) == (safe, word)


@pytest.mark.parametrize(
    ("limit", "word"),
    [
        ("demand", "at these orders"),
        ("hands", "within these hours"),
        ("pressure-pot", "while the pressure pot is full"),
        ("moulds for knob", "while the moulds for knob are full"),
    ],
)
def test_no_living_names_what_holds_it(limit, word):
    """No living is one at these orders, within these hours, or while something is full: more orders are no advice where a pot is full."""
    assert verdict_words(job(year=0.0, limit=limit)) == f"Worth doing on the side; not a living {word}"


@pytest.mark.parametrize(
    ("full", "word"),
    [
        (None, "at these orders"),
        ("hands", "at these prices and hours, however many orders come"),
        ("pot", "at these prices with this equipment, however many orders come"),
        ("demand", "at these prices, however many orders come"),
    ],
)
def test_no_living_however_many_orders_come(full, word):
    """Orders are what is short only where more of them would do; else prices are, with what more orders would fill."""
    assert verdict_words(job(year=0.0, full=full)) == f"Worth doing on the side; not a living {word}"
    assert verdict_words(job(year=0.2, full=full)) == f"Worth doing on the side; probably not a living {word}"


def test_whether_more_orders_would_do_is_what_the_page_on_a_living_says(small):
    """The verdict and the page agree on both sides: within 34 hours some number of orders does, within 12 none; at 25 an order the pot
    is full first, and at a price below cost more orders leave less."""
    for what, possible in (({}, True), ({"hours": 12}, False), ({"price": 25}, False), ({"price": 2.5}, False)):
        kit = small(orders=300, spread=True, **what)
        year = kit.monte_carlo(256, 3)
        found, way = job_of(kit, year), towards.towards(kit)
        assert (found.full is None) == possible == way.possible
        assert possible or found.full == way.full
        assert ("no number of orders" in towards.towards_sentence(kit, way)) != possible


def test_a_living_that_no_number_of_orders_brings():
    """Where more orders would not do, the verdict does not say 'at these orders', and the line says it once; where they would, from how many on,
    and where the year is one already, how few would do."""
    none = {"living_from": np.nan, "year": 0.0}
    assert (
        verdict_words(job(**none, full="demand"))
        == "Worth doing on the side; not a living at these prices, however many orders come"
    )
    said = [
        (job(**none), ""),
        (job(hour=0.0, **none), ", which no number of orders brings at these prices"),
        (job(hour=0.0, **none, full="hands"), ", which no number of orders brings at these prices and hours"),
        (job(hour=0.0, **none, full="kiln"), ", which no number of orders brings at these prices with this equipment"),
        (job(year=0.5, living_from=np.nan), ""),
        (job(year=0.0, living_from=756.2), ", from about 757 orders a year on, bad luck apart"),
        (job(living_from=200.0), ", and about 200 orders would do, bad luck apart"),
    ]
    assert [living_from_words(found, FMT) for found, _ in said] == [words for _, words in said]


def test_what_luck_alone_does(small):
    """The second line says how many orders come and what eight years in ten leave by chance alone: 300 orders that each leave
    40 - 1 - 2.105 = 36.89, by Poisson's law 1.2816 x 300 ** 0.5 x 36.89 = 819 either side of 10,768 (own arithmetic), to two figures of the width;
    the spread of the guesses has no part in it, and where nothing is left to chance nothing is said."""
    for spread in (True, False):
        kit = small(orders=300, spread=spread, variation="counts")
        year = kit.monte_carlo(512, 3)
        low, high = by_luck_alone(kit)
        assert (low, high) == (pytest.approx(10_768 - 819, abs=100), pytest.approx(10_768 + 819, abs=100))
        assert low % 100 == high % 100 == 0
        line = job_line(kit, year, job_of(kit, year))
        assert ":** 300 orders a year leave about €10," in line
        assert f"(by luck alone {FMT.money(low, 0)} to {FMT.money(high, 0)} in eight years of ten); a living is €27,600" in line
    kit = small(orders=300, spread=True)
    year = kit.monte_carlo(512, 3)
    assert by_luck_alone(kit) is None and "luck alone" not in job_line(kit, year, job_of(kit, year))


def test_luck_of_another_year_is_not_set_beside_it(small, monkeypatch):
    """What luck alone leaves of the year at the middle of every number, where what is not known moves the year drawn out of it: not said."""
    kit = small(orders=300, spread=True, variation="counts")
    year = kit.monte_carlo(512, 3)
    assert "luck alone" in job_line(kit, year, job_of(kit, year))
    monkeypatch.setattr("casting_econ.pages.job.by_luck_alone", lambda kit: (0.0, 100.0))
    assert "luck alone" not in job_line(kit, year, job_of(kit, year))


def test_orders_that_would_do_are_told_apart_from_luck(small):
    """757 orders that each leave 36.89, less 300 of rent, are the living with nothing left to chance: so many are said to do bad luck apart, since
    by chance every other year of 757 brings less (own arithmetic). Where luck is in nothing that is said, it is not named again."""
    for variation, luck in (("counts", ", bad luck apart"), ("rates", "")):
        kit = small(orders=757, variation=variation)
        found = job_of(kit, kit.monte_carlo(512, 3))
        assert found.year == pytest.approx(0.5, abs=0.1) if luck else found.year == 1.0
        assert living_from_words(found, FMT) == f", and about 757 orders would do{luck}"


def test_too_few_orders_are_told_from_too_low_a_price(small):
    """Where more orders alone would make an hour pay, the verdict says so and from how many; a price too low for any number is 'as it is'.

    Of a label at 40 an hour of an order, 54.58 minutes, leaves 36.89 - 14.55 beyond 16 an hour; rent and two hours a week take 300 + 92 x 16:
    79.3 orders, own arithmetic.
    """
    for orders, price, few in ((40, 40, True), (300, 12, False)):
        kit = small(orders=orders, price=price, spread=True)
        year, decision = kit.monte_carlo(512, 3), deciding.decision_of(kit, 512, 3)
        found = job_of(kit, year)
        assert found.few == few
        start = "Not worth its hours at these orders, nor a living" if few else "Not worth its hours as it is, nor a living"
        assert verdict_words(found) == start
        todo = "Find more orders, or stop: an hour pays from about 80 orders a year on." if few else "Stop, or change something."
        assert todo_words(found, decision, FMT) == todo
    hour = (4 * 9.4 / 0.95 + 15) / 60
    assert orders_for_target(small(orders=40)) == pytest.approx((300 + 92 * 16) / (40 - 1 - 4 * 0.5 / 0.95 - 16 * hour), rel=1e-9)
    assert np.isnan(orders_for_target(small(orders=100)))  # it pays already
    unsure = job(hour=0.2, year=0.0, pays_from=79.3, orders=40.0)
    assert (
        todo_words(unsure, decided([-10.0, -20.0]), FMT)
        == "Rather not at these orders: an hour pays from about 80 orders a year on, bad luck apart."
    )


@pytest.mark.parametrize(("price", "words"), [(1690.0, "run on where no order does"), (None, "")])
def test_an_order_that_pays_in_a_year_that_does_not(price, words):
    """The first order of the demo pays by its own hours and its year of one order does not: the order says so, or says nothing without a price."""
    plan = open_order(open_study(DATA / "samphire-hooks"), "first-order", today=date(2026, 1, 5))
    plan = replace(plan, order=replace(plan.order, price=price))
    quoted = price_of(plan)
    said = year_line(plan, quoted, FMT)
    assert bool(said) == bool(words) and words in said
    assert (said in first_lines_of_order(plan, quoted, FMT)) == bool(words)


def test_a_living_by_long_hours_is_said():
    """A living by hours that pay less than the target can only be one of more hours than a full week, and is told to change, not to go on."""
    found = job(hour=0.05, year=0.95)
    assert verdict_words(found) == "A living, and safe enough, but only by more hours than a full week"
    assert todo_words(found, decided([-500.0, -600.0]), FMT) == "Change something: it takes too many hours for what it brings."
    assert verdict_words(job(hour=0.05, year=0.5)) == "Perhaps a living, but only by more hours than a full week"
    assert (
        verdict_words(job(hour=0.05, year=0.5, below=0.5))
        == "Perhaps a living, but only by more hours than a full week, but not a safe one"
    )


@pytest.mark.parametrize(
    ("fails", "word"), [(0.25, ""), (0.26, "; the reserve may not last"), (0.9, "; the reserve does not last")]
)
def test_side_income_without_money_to_start(fails, word):
    """A reserve that runs out is in the verdict of work on the side too, and going on wants more money first."""
    found = job(year=0.0, fails=fails)
    assert verdict_words(found) == f"Worth doing on the side; not a living at these orders{word}"
    money = ", with more money to start with" if word else ""
    assert todo_words(found, decided([500.0, 510.0]), FMT) == f"Go on with it on the side{money}."


def test_no_verdict_contradicts_another():
    """Whatever the three chances, the decision and what limits: no hours that are not worth it are gone on with, no hours that pay are stopped
    flatly, and 'not a living' never stands beside 'a living'."""
    steps = sorted({0.0, 1.0, 0.5, *BORDERS, *(b - JUST for b in BORDERS)})
    for hour in steps:
        for year in steps:
            for below in (0.0, 0.2, 0.9):
                for benefit in ([500.0, 510.0], [900.0, -200.0, 800.0], [-500.0, -510.0], [-900.0, 200.0, -800.0], [1.0, -1.0]):
                    found, decision = job(hour=hour, year=year, below=below), decided(benefit)
                    said, todo = verdict_words(found), todo_words(found, decision, FMT)
                    where = hour, year, below, benefit, said, todo
                    assert ("not worth" in said.lower()) <= (hour < 0.25), where
                    assert ("worth doing" in said.lower()) <= (hour >= 0.75), where
                    assert ("not a living" in said or "nor a living" in said) <= (year < 0.25), where
                    assert (said.startswith(("A living", "Probably a living"))) == (year >= 0.75), where
                    assert todo.startswith("Go on") <= (hour >= 0.25), where
                    assert ("on the side" in todo) <= (year < 0.25), where
                    assert todo.startswith("Stop") <= (hour < 0.25), where
                    assert (todo == "Go on.") <= (hour >= 0.9), where


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "hardly any year falls"),
        (0.0499, "hardly any year falls"),
        (0.05, "about 1 year in ten falls"),
        (0.1499, "about 1 year in ten falls"),
        (0.15, "about 2 years in ten fall"),
        (0.9499, "about 9 years in ten fall"),
        (0.95, "nearly every year falls"),
        (1.0, "nearly every year falls"),
    ],
)
def test_years_of_ten(small, share, words):
    """Years below the floor are told in tenths, and never as none or all where they are drawn."""
    assert years_below(share, format_of(small(spread=True, orders=300))) == words


def test_certain_years_and_reserves_have_no_chance(small):
    """Where every number is certain a year falls below the floor or none does, and the reserve lasts or runs out."""
    fmt = format_of(small(orders=300))
    assert floor_words(job(below=1.0, fails=1.0), fmt).endswith(
        "every year falls below €10,000, half of €20,000; with no pay taken out the reserve runs out"
    )
    assert floor_words(job(below=0.0, fails=0.0, takes_pay=True), fmt).endswith("with the stated pay taken out the reserve lasts")


def test_a_year_without_an_hour(tmp_path, monkeypatch):
    """With one order a year and no weekly hours some years have no hour of work: pay an hour is told of the others alone, and nothing divides by
    nothing."""
    monkeypatch.setattr(verdicts, "_BASE", verdicts._BASE.replace('"2 h/week"', '"0 h/week"'))
    kit = verdicts.open_small(tmp_path, orders=1, price=900, variation="months")
    year = kit.monte_carlo(1024, 3)
    assert np.isnan(year.draws["pay_per_hour"]).mean() == pytest.approx(np.exp(-1), abs=0.03)  # Poisson of one: no order
    line = first_lines(kit, year, deciding.decision_of(kit, 1024, 3), [])[0]
    assert "in a year with an order, target €16.00" in line
    table = living.bases_table(kit, year).set_index("basis")
    # an order leaves 900 - 1 - 2.105 - 300 of rent for 54.6 minutes: own arithmetic
    assert table["pay an hour"]["before set-aside"] == pytest.approx(596.8947 / ((4 * 9.4 / 0.95 + 15) / 60), rel=1e-6)
    assert table["target an hour"]["before set-aside"] == pytest.approx(16.0)
    assert "none" not in living.bases_sentence(kit, year)


def test_floor_stated_and_not(small):
    """A stated floor is the study's own, else half of a year's living: 16 x 46 x 37.5 / 2 = 13,800, by hand; the shares count the draws below.
    Of a year that is no living anyway the kit's own floor says nothing new."""
    half = "€13,800, half of €27,600"
    for what, floor, words in (
        ({"floor": 9000, "orders": 300}, 9000.0, "the floor of €9,000"),
        ({"orders": 730}, 13_800.0, half),
        ({"orders": 300}, 13_800.0, ""),
    ):
        kit = small(spread=True, **what)
        year = kit.monte_carlo(512, 3)
        found = job_of(kit, year)
        left = year.draws["residual_pay_per_year"]
        assert (found.floor, found.stated, found.below) == (floor, "floor" in what, float((left < floor).mean()))
        line = job_line(kit, year, found)
        assert words in line and (half in line) == (words == half) and (" fall" in line) == bool(words)
        assert ("`floor` under [target]" in job_sentence(kit, found)) == ("floor" not in what)


@pytest.mark.parametrize(
    ("text", "floor"),
    [("900 EUR/month", 10_800.0), ("9000 EUR/year", 9000.0), ("9000 EUR", None), ("0 EUR/year", None), ("-5 EUR/year", None)],
)
def test_a_floor_as_it_may_be_written(tmp_path, monkeypatch, text, floor):
    """A floor is money a year, a month's counts twelve times, and none, less than none or money of no time is refused by its key."""
    monkeypatch.setattr(verdicts, "_BASE", verdicts._BASE.replace("{floor}", f'floor = "{text}"'))
    if floor is None:
        with pytest.raises(StudyError, match=r"target\.floor"):
            verdicts.open_small(tmp_path, orders=300)
    else:
        assert verdicts.open_small(tmp_path, orders=300).study.file.target.floor == pytest.approx(floor)


def test_luck_that_is_left_out_is_said_beside_safe(small):
    """Where only rates are drawn, 'safe enough' and the years below the floor are said with bad luck apart; where orders are drawn they are not."""
    for variation, words in (("rates", True), ("months", False)):
        kit = small(orders=1000, spread=True, variation=variation)
        year = kit.monte_carlo(512, 3)
        found = job_of(kit, year)
        assert verdict_words(found) == f"A living, and safe enough{', bad luck apart' if words else ''}"
        assert job_line(kit, year, found).split("; a living is")[0].count("bad luck apart") == words
    for orders, words in ((730, "; bad luck apart, hardly any year falls"), (300, " hours a week, bad luck apart; a living is")):
        kit = small(orders=orders, spread=True)
        year = kit.monte_carlo(512, 3)
        line = job_line(kit, year, job_of(kit, year))
        assert words in line and line.count("bad luck apart") == 1


def test_reserve_counts_only_where_one_is_stated(small):
    """Without a reserve nothing is said of one; with stated pay it is that pay which is taken out of it."""
    for cash, fails, pay in (
        ("", False, False),
        ('[cash]\nreserve = "90 EUR"', True, False),
        ('[cash]\nreserve = "90 EUR"\npay_taken = "1500 EUR/month"', True, True),
    ):
        kit = small(orders=300, spread=True, cash=cash)
        year = kit.monte_carlo(256, 3)
        found = job_of(kit, year)
        assert (found.fails is not None, found.takes_pay, len(job_table(kit, year, found))) == (fails, pay, 4 if fails else 3)
        assert ("reserve" in job_line(kit, year, found)) == fails
        if fails:  # each row of the table is graded by its own chance
            assert dict(zip(job_table(kit, year, found).question, job_table(kit, year, found).answer))["the reserve lasts"] == (
                "no" if pay else "yes"
            )
    assert found.fails > 0.99  # 18,000 a year taken out of some 11,000: own arithmetic


@pytest.mark.parametrize(
    ("variation", "words"),
    [("rates", "luck of single orders is not in it"), ("counts", "months are alike"), ("months", "month by month")],
)
def test_what_chance_is_in_it(small, variation, words):
    """The page says whether the luck of orders is in the years that fall below."""
    kit = small(orders=300, spread=True, variation=variation)
    assert words in job_sentence(kit, job_of(kit, kit.monte_carlo(256, 3)))


def test_a_living_is_never_said_of_a_legal_minimum(small):
    """Where the target is a legal minimum no line, sentence or chart calls its year a living."""
    for orders in (900, 300):
        kit = small(orders=orders, target=verdicts._MINIMUM, spread=True)
        year = kit.monte_carlo(256, 3)
        frame = job_table(kit, year, job_of(kit, year))
        said = [*verdicts.said_of(kit), *frame.question, *frame.because, *towards.chart_words(kit)]
        assert any("legal minimum" in one for one in said)
        assert not any("a living" in one.lower() for one in said)


def test_the_first_page_agrees_with_itself(small):
    """The third line and the decision below it begin alike, also where luck makes most years fall short of a mean that pays."""
    few = job(hour=0.2, year=0.0)
    lucky = decided([900.0, 800.0, 850.0])
    assert todo_words(few, lucky, FMT) == "Rather not as it is: few good years carry the others."
    assert the_decision(lucky, [], format_of(small(orders=300, spread=True)), todo_words(few, lucky, FMT)) == (
        "**Rather not as it is: few good years carry the others.** On average a year brings €850 more than its hours at the target."
    )
    assert (
        todo_words(job(hour=0.8, year=0.0), decided([-900.0, -800.0]), FMT)
        == "Rather not as it is: a few bad years cost more than the others bring."
    )
    kit = small(orders=2, price=420, spread=True, variation="months", **verdicts._ONE)
    year, decision = kit.monte_carlo(1024, 3), deciding.decision_of(kit, 1024, 3)
    word = advice(kit, job_of(kit, year), decision)
    assert word.startswith("Try ")
    assert first_lines(kit, year, decision, [])[2].startswith(f"**{word}** Orders are a guess after 1 order in 2.0 months: ")
    assert the_decision(decision, [], format_of(kit), word).startswith(
        f"**{word}** With as many orders as expected a year brings €"
    )


# what would make it a living


def test_orders_of_a_living_by_hand(small):
    """Nothing full: 27,600 and 300 of rent over what an order leaves is the number of orders; a piece passes 95 %, so an order takes
    4 / .95 casts at .50, packing is 1, and 40 - 1 - 2.105 = 36.89 are left: 756.2 orders, 757 rounded up. Own arithmetic."""
    kit = small(orders=300, hours=34)
    found = towards.towards(kit)
    needed = (27_600 + 300) / (40 - 1 - 4 * 0.5 / 0.95)
    assert found.factor * found.now == pytest.approx(needed, rel=1e-9)
    # an order takes 4 x (3 + 8 / 20 + 6) / .95 minutes at the bench and 15 besides, the week two hours more
    hours = 2 + needed * (4 * (3 + 8 / 20 + 6) / 0.95 + 15) / 60 / 46
    assert found.hours == pytest.approx(hours, rel=1e-9)
    assert towards.towards_sentence(kit, found) == (
        "At today's prices a living takes **about 757 orders a year, 457 more than now**, and 17.0 hours a week of the 34.0 given; it is 7.9 now."
    )


def test_days_at_a_stall_would_have_to_sell_the_more(small):
    """Orders of a channel rise and its stall days do not: said with the factor where there are days, and not without, or where today's orders do."""
    kit = small(orders=300, hours=34)
    found, channel = towards.towards(kit), kit.inputs().channels[0]
    for days, more in ((0.0, found.factor), (8.0, found.factor), (8.0, 1.0)):
        inputs = replace(kit.inputs(), channels=(replace(channel, days_per_year=days),))
        said = towards._each_stall_day(
            SimpleNamespace(inputs=lambda inputs=inputs: inputs), replace(found, factor=more), format_of(kit)
        )
        assert ("each would have to sell 2.5 times as much" in said) == (days > 0 and more > 1)


def test_orders_of_a_living_bring_it(small):
    """At the orders and the price that the page names, a year leaves the living; at the most orders and hours it names, too."""
    kit = small(orders=300, hours=12)
    found, (orders, price), a = towards.towards(kit), towards._levers(kit), kit.inputs()
    ample = orders.move(a, np.asarray(orders.high))
    assert not found.possible and found.full == "hands"
    for workshop in (price.move(ample, np.asarray(found.price)), replace(ample, hours_per_week=found.hours_needed)):
        assert float(evaluate(workshop).totals["residual_pay_per_year"]) == pytest.approx(found.living, rel=1e-8)
    assert "With orders enough it would take about 17.0 hours a week; 12.0 are given." in towards.towards_sentence(kit, found)


def test_one_full_pot_and_no_price(small):
    """One pot of 20 gives 19 good pieces a load, a load a working day (12 hours of waiting, 12 of work): 1,092.5 orders of 4. A living and the
    rent take 27,900 / 1,092.5 + 1 + 2.105 = 28.64 of each: three times 9.60 will do, three times 9.50 will not. Own arithmetic."""
    reached, short = (small(orders=900, price=price) for price in (9.6, 9.5))
    found = towards.towards(short)
    assert found.full == "pot"
    assert found.most == pytest.approx(5 * 46 * 19 / 4 * (9.5 - 1 - 4 * 0.5 / 0.95) - 300, rel=1e-6)
    assert "once the pot is full" in towards.towards_sentence(short, found)
    assert towards.towards_sentence(short, found).endswith("**No price up to 3 times today's does while there is one pot.**")
    free = short.changed({"channels": {name: {"price": "0 EUR"} for name in short.study.file.channels}})
    assert towards.towards(free) is None and towards.towards_table(free, None).empty
    assert towards.towards_sentence(free, None).startswith("No price is stated, so nothing can be multiplied to reach")
    assert towards.towards_sentence(reached, towards.towards(reached)).endswith(
        "With prices about 3.0 times today's, and orders enough, it would. The study takes it that no buyer is lost by a dearer price."
    )
    elastic = small(orders=900, price=9.6, channel="elasticity = 0.1")
    assert towards.towards_sentence(elastic, towards.towards(elastic)).endswith("times today's, and orders enough, it would.")
    two = small(orders=2500, price=4.5, hours=80, pots=2)
    assert towards.towards_sentence(two, towards.towards(two)).endswith("while there are 2 pots.**")


def test_what_is_full_where_most_months_have_no_orders(small):
    """All orders in November and December: however many come, ten months lack them, and still it is the pot that no more orders get past."""
    kit = small(orders=300, price=30, variation="months", cash=f"[cash]\nseason = {[0] * 10 + [6] * 2}")
    said = towards.towards_sentence(kit, towards.towards(kit))
    assert "once the pot is full" in said and "demand" not in said and said.endswith("does while there is one pot.**")


def test_more_orders_that_lose(small):
    """Where an order costs more than it brings, more of them are said to leave less; orders that fill all hours already are not."""
    loses, full = small(orders=300, price=2.5), small(orders=900, hours=12)
    assert "more orders leave less, not more" in towards.towards_sentence(loses, towards.towards(loses))
    assert "once the hours given are full" in towards.towards_sentence(full, towards.towards(full))


def test_a_living_reached_already(small):
    """Beyond a living the page says how few orders would still do, and asks for no months."""
    kit = small(orders=900)
    found = towards.towards(kit)
    assert found.reached
    assert "**about 757 orders a year would still do** instead of 900" in towards.towards_sentence(kit, found)
    assert towards.ramp_sentence(kit, found) == ""
    assert "**far fewer orders would still do**" in towards.towards_sentence(kit, replace(found, factor=np.nan))


PEGS = """[products.peg]
casts_per_load = 1
[products.peg.steps.carve]
minutes = "60 min"
[channels.pegs]
product = "peg"
pieces_per_order = 1
orders = "300 orders/year"
price = "4 EUR\""""


def test_orders_that_would_still_do_are_fewer_than_now(small):
    """Of hours that are full already, more orders of everything give more to pegs, an hour for 4: with 1.2 times as many the year is no living any
    more, which is nearer to now than where fewer orders bring none. What is said to do is fewer than now, and so many do."""
    kit = small(orders=1400, hours=21.5, channel=PEGS)
    found, (orders, _) = towards.towards(kit), towards._levers(kit)
    left = [
        float(evaluate(orders.move(kit.inputs(), np.asarray(k))).totals["residual_pay_per_year"]) for k in (found.factor, 1.2)
    ]

    assert found.reached and found.factor < 1.0
    assert left == [pytest.approx(27_600, rel=1e-8), pytest.approx(27_361, abs=1)]
    assert living_from_words(job_of(kit, kit.monte_carlo(16, 3)), FMT).endswith(" would do")
    table = towards.towards_table(kit, found).set_index("prices")
    assert table.orders[1.0] == np.ceil(found.factor * 1_700) and table["more than now"][1.0] == 0
    kit = small(orders=1400, hours=20.9, channel=PEGS, cash="[cash]\nramp_months = 9")  # no living now, but with fewer pegs
    found = towards.towards(kit)
    assert not found.reached and 0.9 < found.factor < 1.0 and towards.ramp_sentence(kit, found) == ""
    assert "orders a year, fewer than now, as more of them leave less**" in towards.towards_sentence(kit, found)


def test_months_at_the_stated_pace(small):
    """Nine months from none to 150: to 757 are (757 / 150 - 1) x 9 = 36.4 months more, 37 begun. Own arithmetic; no pace, no months."""
    paced, unknown = small(orders=150, cash="[cash]\nramp_months = 9"), small(orders=150)
    assert "9 months from none to today's, that is **about 37 months more**" in towards.ramp_sentence(
        paced, towards.towards(paced)
    )
    assert "the study states no pace" in towards.ramp_sentence(unknown, towards.towards(unknown))
    assert towards.ramp_sentence(unknown, None) == ""


def test_table_and_frontier_agree(small):
    """By price: orders that bring a living, rounded up, lie on the frontier, which marks today and never rises."""
    kit = small(orders=300)
    found = towards.towards(kit)
    table, line = towards.towards_table(kit, found).set_index("prices"), towards.towards_frontier(kit, found)
    known = line[line.price.notna()]
    assert (np.diff(known.price) <= 1e-9).all()
    assert line.attrs["now"] == (pytest.approx(300.0), 1.0)
    for price in (1.0, 1.25, 1.5, 2.0):
        at = np.interp(-price, -known.price, known.orders)
        assert table.orders[price] == pytest.approx(at, rel=0.02)
    assert table["more than now"][1.0] == table.orders[1.0] - 300
    assert len(towards.towards_table(kit, None)) == len(towards.towards_frontier(kit, None)) == 0


def test_frontier_where_today_is_beyond_it(small):
    """Where no price within the chart brings a living at today's orders, the chart says so, and names no price for them."""
    kit = small(orders=6, price=420)
    line = towards.towards_frontier(kit, towards.towards(kit))
    does, _ = towards.chart_words(kit)
    fmt = format_of(kit)
    figure = charts.frontier(line, "orders", "price", "orders", "price", fmt.number, fmt.percent, does=does)
    assert figure.get_label().endswith("now at 6 and 100\u00a0%, where nothing within the chart brings a living")
    charts.plt.close(figure)


def test_a_paid_job_of_the_same_hours(small):
    """The newest wages of the place, times the hours and 52 weeks, taxed by the table of the study: Ireland's minimum of 2026 is 14.15 (wages.csv)."""
    kit = small(orders=300)
    frame = towards.paid_job_table(kit, towards.towards(kit))
    hours = float(kit.point().totals["hours_per_year"]) / 46
    minimum = frame[frame.work.str.startswith("legal minimum")].iloc[0]
    assert minimum["hours a week"] == pytest.approx(hours)
    assert minimum["a year"] == pytest.approx(14.15 * hours * 52)
    assert minimum["after contributions and tax"] == pytest.approx(float(take_home(14.15 * hours * 52, taxes()["ie-2025"])))
    assert list(frame.work[frame.source == "this study"]) == ["this work now", "this work at a living"]
    said = towards.paid_job_sentence(kit, frame)
    assert "at the legal minimum or €" in said and "; this work leaves €" in said and "after contributions and tax" in said
    counted = small(orders=300, variation="counts")
    frame_of_it = towards.paid_job_table(counted, towards.towards(counted))
    assert "; this work, bad luck apart, leaves €" in towards.paid_job_sentence(counted, frame_of_it)
    untaxed = towards.paid_job_sentence(kit, frame.assign(**{"after contributions and tax": np.nan}))
    assert "before contributions and tax, as the study names no tax table" in untaxed
    assert towards.paid_job_sentence(kit, frame[frame.source == "this study"]).startswith(
        "The kit has no wages of this place in EUR"
    )


# what a person has read


def test_forty_studies_say_what_was_read():
    """Forty small studies say word for word what stands in verdicts.md, which was read one by one (`python tests/verdicts.py` writes it)."""
    assert len(verdicts.STUDIES) == 40
    assert verdicts.table() == verdicts.TABLE.read_text(encoding="utf-8")
