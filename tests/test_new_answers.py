"""How answers of a new study are read: as people write them, and never guessed where two conventions differ."""

import re
import tomllib

import pytest

from casting_econ.faults import StudyError
from casting_econ.starting.answers import read_answer, read_answers, understood
from casting_econ.starting.crafts import crafts
from casting_econ.starting.first import new_study
from casting_econ.starting.questions import ORDER_QUESTIONS, QUESTIONS, Part, parts_of

FIGURE = Part(key="cure", ask="?", unit="hour", high=8760)


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("24", (24, 24, 24)),
        ("18 24 36", (18, 24, 36)),
        ("18 - 24 - 36 h", (18, 24, 36)),
        ("1,5 2,5 4", (1.5, 2.5, 4)),
        ("1 day", (24, 24, 24)),
        ("4 5 6 weeks", (672, 840, 1008)),
        (24, (24, 24, 24)),
        ("don't know", None),
        ("", None),
        ("?", None),
    ],
)
def test_answers_are_read_as_they_are_meant(text, read):
    """One figure, or low, likely and high, in the unit asked for or another that fits."""
    found = read_answer(FIGURE, text, "EUR")
    assert found == (read if read is None else pytest.approx(read))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("many", "not an answer that can be read"),
        ("3 2 1", "out of order"),
        ("10000", "outside what it can be"),
        ("-4", "not an answer"),
        ("5 kg", "cannot be read as hour"),
        ("1 2", "not an answer"),
        ("nan", "not an answer"),
        ("1e400", "outside what it can be"),
        ("100 120 150 200", "not an answer"),
    ],
)
def test_answers_that_cannot_be_are_told(text, told):
    """Each with what would be right."""
    with pytest.raises(ValueError, match=told) as caught:
        read_answer(FIGURE, text, "EUR")
    assert " -> " in str(caught.value)


@pytest.mark.parametrize(("key", "example"), [("casts_per_load", "'60 cast'"), ("weight", "'2 3 5 g'"), ("yield", "'2 3 5 %'")])
def test_what_would_be_right_is_in_the_unit_asked_for(key, example):
    """Nobody who is asked for pieces reads that hours would be right, nor three figures where one is asked for."""
    with pytest.raises(ValueError, match="not an answer") as caught:
        read_answer(PARTS[key], "a few", "EUR")
    assert str(caught.value).endswith(example)


PARTS = {part.key: part for question in QUESTIONS for part in parts_of(question, crafts()["epoxy"])}


@pytest.mark.parametrize(
    ("key", "text", "read"),
    [
        ("orders_a_month", "180 orders/year", (15, 15, 15)),
        ("orders_a_month", "180 a year", (15, 15, 15)),
        ("orders_a_month", "10 15 20 orders per month", (10, 15, 20)),
        ("orders_a_month", "120 yearly", (10, 10, 10)),
        ("overheads", "100 NOK a month", (1200, 1200, 1200)),
        ("overheads", "900 1 000 1 100", (900, 1000, 1100)),
        ("target", "180 an hour", (180, 180, 180)),
        ("price", "2\u202f160 NOK", (2160, 2160, 2160)),
        ("price", "2 160,50 kr", (2160.5, 2160.5, 2160.5)),
        ("price", "kr 120", (120, 120, 120)),
        ("price", "1'200 1'500 2'000", (1200, 1500, 2000)),
        ("price", "12 each", (12, 12, 12)),
        ("weekly_hours", "38,5", (38.5, 38.5, 38.5)),
        ("fee_share", "0.12 %", (0.12, 0.12, 0.12)),
        ("fee_share", "0.5 1 2", (0.5, 1, 2)),  # as shares they would be 50, 100 and 200 %
        ("yield", "0.85", (85, 85, 85)),  # less than one in a hundred cannot be
        ("casts_per_load", "14 pieces a load", (14, 14, 14)),
        ("minutes.sand", "90 s a piece", (1.5, 1.5, 1.5)),
    ],
)
def test_a_stated_unit_and_period_is_honoured(key, text, read):
    """A figure for another period or in another unit is turned into the one asked for; own arithmetic."""
    assert read_answer(PARTS[key], text, "NOK") == pytest.approx(read)


@pytest.mark.parametrize(
    ("key", "text", "told"),
    [
        ("price", "38.000", "question: is this 38000 or 38.000?"),
        ("price", "2,160", "question: is this 2160 or 2.160?"),
        ("price", "900 1.000 1.200", "question: is this 1000 or 1.000?"),
        ("overheads", "1 200 300", "question: is this 1 200 300 or 1200300"),
        ("fee_share", "0.12", "question: is this 0.12 or 12 %?"),
        ("yield", "1", "question: is this 1 or 100 %?"),
        ("orders_a_month", "2 a day", "by the calendar, or as worked?"),
        ("weekly_hours", "6 h a day", "by the calendar, or as worked?"),
        ("weekly_hours", "1600 h/year", "by the calendar, or as worked?"),
        ("target", "2500 NOK a month", "by the calendar, or as worked?"),
        ("orders_a_month", "180 pieces/year", "orders are asked for"),
        ("price", "27 NOK an order", "for each order where NOK/piece"),
        ("price", "12 EUR", "money in EUR while the study counts in NOK"),
        ("minutes.sand", "45 min a load", "for each load where minute/piece"),
        ("casts_per_load", "2 dozen", "casts are asked for"),
        ("casts_per_load", "14 a day", "for each day where cast/load"),
    ],
)
def test_what_can_be_read_in_two_ways_is_never_guessed(key, text, told):
    """A question or a fault with a remedy, and no figure."""
    with pytest.raises(ValueError, match=re.escape(told)) as caught:
        read_answer(PARTS[key], text, "NOK")
    assert " -> " in str(caught.value)


def test_masters_are_counted_and_never_paid_for():
    """A price slipped into their line is told as any other unit that is none, and masters may be named."""
    [masters] = (part for question in ORDER_QUESTIONS for part in question.parts if part.key == "masters")
    assert read_answer(masters, "3 masters", "NOK") == (3, 3, 3)
    with pytest.raises(ValueError, match="masters are asked for, not 'NOK'"):
        read_answer(masters, "11 NOK", "NOK")


@pytest.mark.parametrize(
    ("said", "calendar"),
    [
        ("tue thu 18-21, sat 10-16", {"tuesday": "18:00-21:00", "thursday": "18:00-21:00", "saturday": "10:00-16:00"}),
        ("weekends 9:30 to 12, 1pm-4pm", {day: "09:30-12:00, 13:00-16:00" for day in ("saturday", "sunday")}),
    ],
)
def test_the_times_at_the_bench_are_those_that_were_said(said, calendar, tmp_path):
    """Days and hours as people write them become the calendar, and no stand-in is spoken of."""
    _, defaults = new_study(tmp_path / "s", read_answers({"craft": "epoxy", "bench_times": said}))
    text = (tmp_path / "s" / "study.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["calendar"] == calendar
    assert "stand-in" not in text and not any("bench" in what for what in defaults)


def test_times_at_the_bench_that_nobody_said_are_a_stand_in(tmp_path):
    """Monday to Friday is written, called a stand-in in the file with how to change it, and named among the defaults."""
    answers = read_answers({"craft": "epoxy"})
    _, defaults = new_study(tmp_path / "s", answers)
    text = (tmp_path / "s" / "study.toml").read_text(encoding="utf-8")
    assert list(tomllib.loads(text)["calendar"]) == ["monday", "tuesday", "wednesday", "thursday", "friday"]
    assert "# a stand-in, as you did not say: write your own days and hours" in text
    assert "days and hours at the bench: mon-fri 9-17" in defaults
    assert any("mon-fri 9-17 stands in" in line for line in understood(answers, "en_IE"))


@pytest.mark.parametrize(
    "said", ["9-17", "mon", "mon 17-9", "mon 6-9pm", "mon 9-13, 12-15", "evenings 6-9", "mon 13pm-15pm", "xyz"]
)
def test_times_that_cannot_be_are_told(said):
    """No day, no hours, an end before its start, half of a clock, hours twice, and words that are no day: one message, what is right."""
    with pytest.raises(StudyError, match="such as 'mon-fri 9-17'"):
        read_answers({"craft": "epoxy", "bench_times": said})


def test_any_sum_of_money_says_the_currency():
    """Who does not know a price yet still counts in dollars where a target, or what the workshop costs, is in them; euros where nothing says."""
    asked = {"craft": "gypsum", "begin": "order", "pieces": "48", "due": "2099-12-18"}
    assert read_answers(asked).currency == "EUR" and read_answers(asked | {"target": "$22"}).currency == "USD"
    assert read_answers({"craft": "gypsum", "overheads": "900 GBP a year"}).currency == "GBP"
    with pytest.raises(StudyError, match=r"money in \$ while the study counts in GBP"):
        read_answers(asked | {"price": "£900", "target": "$22"})


def test_ounces_are_grams_of_as_many_digits_as_were_meant(tmp_path):
    """An ounce is 28.349523125 g (international yard and pound of 1959, from memory), so 14 oz are 396.893 g, told to five figures; a week
    answered in hours loses nothing."""
    answers = read_answers({"craft": "gypsum", "weight": "14 oz", "cure": "0.75 h", "price": "$12"})
    text = (new_study(tmp_path / "s", answers)[0].study.folder / "study.toml").read_text(encoding="utf-8")
    assert 'quantity = { value = "396.89 g"' in text and "What does one cast weigh? 396.89 g a cast." in understood(answers)
    assert read_answers({"craft": "soap", "cure": "77 h"}).figures["cure"] == (77.0, 77.0, 77.0)


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("$20/hr", (20, 20, 20)),
        ("$20 an hour", (20, 20, 20)),
        ("$20 hourly", (20, 20, 20)),
        ("$18 $20 $24 per hour", (18, 20, 24)),
        ("$18-$20-$24", (18, 20, 24)),
        ("$1,234.50 / hour", (1234.5, 1234.5, 1234.5)),
        ("USD 20 an hour", (20, 20, 20)),
    ],
)
def test_money_is_read_with_its_sign_before_and_its_period_behind(text, read):
    """As people write a wage where the sign goes before the sum (common practice, no source)."""
    target = next(part for question in QUESTIONS for part in question.parts if part.key == "target")
    assert read_answer(target, text, "USD") == pytest.approx(read)


def test_a_price_each_with_its_sign_before_is_of_every_piece():
    """48 pieces at 25 are 1,200 for the order (own arithmetic); a word before a figure is still no unit."""
    asked = {"craft": "gypsum", "begin": "order", "pieces": "48", "due": "2099-12-18"}
    assert read_answers(asked | {"price": "$25 each"}).figures["price"] == (1200, 1200, 1200)
    for text in ("about 20 USD", "$20 banana", "-$20", "$20 $30"):
        with pytest.raises(StudyError):
            read_answers(asked | {"target": text})
