"""The first evening with an order: every hand step asked by name, a study with the order in it, and its first answer."""

import re
import tomllib
from datetime import date, timedelta

import pytest
from commands import DATA, command, edited

from casting_econ import orders
from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.orders import open_order, price_of, wording
from casting_econ.orders.policies import policy_sentence
from casting_econ.pages.answer import first_lines, next_things
from casting_econ.pages.deciding import decision_of, information_table
from casting_econ.pages.monte_carlo import LOSS, verdict
from casting_econ.pages.records import assumption_table, could_measure
from casting_econ.pages.scrap import pay_at_scrap, scrap_curve, scrap_now, what_scrap_moves
from casting_econ.starting.answers import read_answers, understood
from casting_econ.starting.asking import answers_given, ask
from casting_econ.starting.crafts import crafts, kinds
from casting_econ.starting.first import first_answer, new_study, what_next
from casting_econ.starting.form import StartForm
from casting_econ.starting.questions import ORDER_QUESTIONS, parts_of
from casting_econ.starting.writer import FIRST_ORDER
from casting_econ.study.stations import load_sizes

TODAY = date.today()
DUE = TODAY + timedelta(days=150)
ASKED = {"craft": "epoxy", "pieces": "120", "due": str(DUE)}


def said_of(*words):
    """Output and errors of `new`, in one line, after an exit code."""
    code, out, err = command("new", *words)
    return code, re.sub(r"\s+", " ", out), err


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A first order of each craft, with nothing known but pieces and day."""
    folder = tmp_path_factory.mktemp("orders")
    return {craft: new_study(folder / craft, read_answers(ASKED | {"craft": craft})) for craft in crafts()}


def test_the_order_is_asked_in_a_dozen_questions_and_every_hand_step_by_name():
    """Each step with minutes of hands, of a piece, a load or a mould, has a part of its own: taking out and painting too."""
    assert len(ORDER_QUESTIONS) <= 12
    for craft in crafts().values():
        keys = {part.key for question in ORDER_QUESTIONS for part in parts_of(question, craft)}
        by_hand = [step["name"] for step in craft.table["steps"] if {"minutes", "load_minutes"} & set(step)]
        assert {f"minutes.{name}" for name in by_hand} | {f"mould_minutes.{step['name']}" for step in craft.mould_steps} <= keys
        assert ("masters" in keys) == bool(craft.mould_steps) and ("pots" in keys) != ("casts_per_load" in keys)
    epoxy = {part.key.partition(".")[2] for question in ORDER_QUESTIONS for part in parts_of(question, crafts()["epoxy"])}
    assert {"demould", "sand", "paint", "wipe", "polish-and-check", "bottom-half", "lid"} <= epoxy


# minutes by hand between quick and slow, common practice, no source: taking out 0.3 to 1.5 and as much to trim, 0.5 to 1.5 for each of
# three to seven grits, painting 1 to 12, wiping 0.3 to 1, polishing 0.5 to 2 and a check 0.1 to 0.5
@pytest.mark.parametrize(
    ("step", "low", "high"),
    [("demould", 0.6, 3), ("sand", 1.5, 10.5), ("paint", 1, 12), ("wipe", 0.3, 1), ("polish-and-check", 0.6, 2.5)],
)
def test_guesses_of_hand_work_are_the_middle_of_the_trade(step, low, high, made):
    """The ends of the trade (common practice, no source), and in the middle of them: five grits of 1 minute, 1.8 to take out and trim."""
    raw = made["epoxy"][0].study.raw["products"]["piece"]["steps"][step]["minutes"]
    assert [raw[end] for end in ("low", "high")] == [f"{low} min", f"{high} min"] and raw["note"] == "trade default (P)"
    likely = made["epoxy"][0].study.numbers[f"products.piece.steps.{step}.minutes"].value
    assert likely == pytest.approx(5 if step == "sand" else (low + high) / 2, abs=0.06)


@pytest.mark.parametrize("craft", list(crafts()))
def test_pieces_and_a_day_are_enough_for_every_craft(craft, made):
    """No mould in hand, no log but its header and an example; each guess marked with the kind of its source, and in the answer."""
    kit, defaults = made[craft]
    text = (kit.study.folder / "study.toml").read_text(encoding="utf-8")
    order, product = kit.study.file.commissions[FIRST_ORDER], next(iter(kit.study.file.products.values()))

    assert (order.pieces, order.due, order.channel, order.price) == (120, DUE, "direct", None)
    assert [step["name"] for step in crafts()[craft].table["steps"]] == list(product.steps) and not kit.study.records
    if crafts()[craft].mould_steps:  # candles and soap are cast in vessels and liners
        assert list(product.mould.steps) == [step["name"] for step in crafts()[craft].mould_steps]
        assert (product.mould.in_hand, product.mould.masters, product.mould.cavities) == (0, 1, 1)
    assert product.mould is not None or craft in ("candle", "soap")
    assert set(re.findall(r"trade default \((\w)\)", text)) <= set(kinds())
    said = " ".join(defaults)
    assert all(f"minutes of {name.replace('-', ' ')}" in said for name, step in product.steps.items() if step.minutes.value)
    batches = (kit.study.folder / "records" / "batches.csv").read_text(encoding="utf-8").splitlines()
    assert len(batches) == 2 and batches[1].startswith("# ") and FIRST_ORDER in batches[1]


def test_the_first_answer_has_date_casts_hours_and_price(tmp_path, monkeypatch):
    """What `order` says of it, from today on, with its hours; the price that was offered is judged."""
    plans = {}
    monkeypatch.setattr(orders, "open_order", lambda *of, today: plans.setdefault(today, open_order(*of, today=today)))
    kit, defaults = new_study(tmp_path / "s", read_answers(ASKED | {"pieces": "40", "price": "900 EUR", "colours": "red, blue"}))
    said = "\n".join(first_answer(kit, defaults))
    [(today, plan)] = plans.items()
    assert today in (None, TODAY)
    assert plan.order.variants == {"red": 20, "blue": 20} and f"{plan.casts} casts" in said
    for part in ("40 good pieces", str(DUE.year), "hours in all", "At €900.00 an hour pays"):
        assert part in said
    assert "These rest on trade defaults" in said and "minutes of demould" in said and "masters" in said


def test_the_command_makes_a_first_order_and_says_what_comes_next(tmp_path):
    """From options alone: an order by what is answered, echoed, planned, and planned again by `order`."""
    folder = tmp_path / "hooks"
    words = ("pieces=24", f"due={DUE}", "colours=green 16, grey 8", "masters=3", "price=300 EUR", "pots=12")
    code, out, _ = said_of(folder, "--craft", "epoxy", *(part for word in words for part in ("--answer", word)))
    assert code == 0 and "How many masters are there to mould from? 3 masters." in out
    assert "green 16, grey 8." in out and "hours in all" in out and f"casting-econ order {folder} {FIRST_ORDER}" in out
    assert "How many pieces are ordered? 24 pieces an order." in out
    again = command("order", folder, FIRST_ORDER, "--answer-only")
    assert again[0] == 0 and "24 good pieces" in again[1]


def test_a_file_answers_with_tables_lists_and_dates(tmp_path):
    """[minutes], [colours], a list of pots and a date without quotes; a hand step answered with 0 is left out."""
    lines = ['craft = "epoxy"', "pieces = 30", f"due = {DUE}", "pots = [20]", "[minutes]", "paint = 0", "sand = 4"]
    (tmp_path / "a.toml").write_text("\n".join([*lines, "[colours]", "red = 10", '"sea green" = 20']), encoding="utf-8")
    kit, _ = new_study(tmp_path / "s", read_answers(answers_given(str(tmp_path / "a.toml"))))
    product = kit.study.file.products["piece"]
    assert kit.study.file.commissions[FIRST_ORDER].variants == {"red": 10, "sea green": 20}
    assert product.steps["pour"].lot_minutes.value == 6 and product.steps["pour"].materials["resin-in-the-cup"].per == "lot"
    assert "paint" not in product.steps and "wipe" in product.steps and product.steps["sand"].minutes.value == 4
    assert product.casts_per_load.value == kit.study.file.stations["pressure-pot"].places.value == 20


@pytest.mark.parametrize(
    ("answers", "told"),
    [
        ({"pieces": None}, "pieces: is needed, and no guess can stand in for it"),
        ({"due": None}, "due: is needed"),
        ({"due": "3/4/2090"}, "question: is this 04 March 2090 or 03 April 2090?"),
        ({"due": "soon"}, "not a date"),
        ({"pieces": "0"}, "outside what it can be"),
        ({"pieces": "20 30 40"}, "one whole number"),
        ({"colours": "red 10, blue 20"}, "30 pieces in colours, 120 in all"),
        ({"colours": "red 10, blue"}, "some colours have their pieces and some not"),
        ({"colours": "red, red"}, "is there twice"),
        ({"colours": "121"}, "not a number of colours"),
        ({"pieces": "2", "colours": "red, blue, grey"}, "at most a colour a piece"),
        ({"pots": "two"}, "not the places of pots"),
        ({"pots": "0"}, "not the places of pots"),
        ({"masters": "0"}, "outside what it can be"),
        ({"cavities": "12", "pots": "6, 10"}, "cavities: a mould of more casts than the largest pot holds"),
        ({"price": "3 EUR a load"}, "for each load where EUR/order is asked for"),
        ({"begin": "both"}, "neither of the two"),
        ({"begin": "workshop"}, "unknown question"),
        ({"orders_a_month": "3"}, "unknown question"),
        ({"craft": "soap", "masters": "3"}, "unknown question"),
    ],
)
def test_what_an_order_cannot_be_is_told(answers, told):
    """Named with its key and what would be right."""
    with pytest.raises(StudyError, match=re.escape(told)):
        read_answers({key: text for key, text in (ASKED | answers).items() if text is not None})


@pytest.mark.parametrize("text", ["9.50 EUR each", "9.50 EUR a piece", "1140 EUR"])
def test_what_is_offered_for_each_piece_is_an_offer_for_all(text):
    """120 pieces at 9.50 are 1,140; own arithmetic."""
    assert read_answers(ASKED | {"price": text}).figures["price"] == pytest.approx((1140, 1140, 1140))


@pytest.mark.parametrize(
    ("answers", "casts", "pots"),
    [
        ({"pots": "14", "masters": "4"}, 12, "14"),  # own arithmetic: three moulds of four, and two places stay empty
        ({"pots": "14, 7", "masters": "8", "cavities": "5"}, 10, "[14, 7]"),
        (
            {"masters": "5"},
            10,
            '{ value = 12, basis = "guess", note = "trade default (P)" }',
        ),  # of the twelve that a load usually has
        ({"pots": "12", "masters": "4"}, 12, "12"),
    ],
)
def test_casts_a_load_are_those_that_whole_moulds_give(answers, casts, pots, tmp_path):
    """A mould goes into a pot whole: the study, its example rows and what was understood have the load that the plan takes."""
    read = read_answers(ASKED | answers)
    kit, _ = new_study(tmp_path / "s", read)
    text, batch = (kit.study.folder / name for name in ("study.toml", "records/batches.csv"))
    assert (
        f"casts_per_load = {{ value = {casts}," in text.read_text(encoding="utf-8") and f"\nplaces = {pots} #" in text.read_text()
    )
    assert load_sizes(kit.study.file, "piece")[0] == casts and f",{casts},{casts - 2}," in batch.read_text(encoding="utf-8")
    each = "10 in the pot of 14, 5 in the pot of 7" if pots == "[14, 7]" else casts
    said = any(f"casts go in whole, so a load is {each}." in line for line in understood(read))
    assert said == (str(casts) != pots)


def test_of_one_piece_fewer_casts_are_told_in_tenths(tmp_path):
    """One piece topped up takes under two casts on average, two at once: the sentence that calls it fewer shows that it is."""
    kit, _ = new_study(tmp_path / "s", read_answers(ASKED | {"pieces": "1", "masters": "1"}))
    plan = open_order(kit, "first-order", today=TODAY)
    (once, topped), said = plan.policies.values(), policy_sentence(plan, format_of(kit, year=False))
    assert once.casts == round(topped.casts_in_all) == 2 and "fewer casts" in said
    assert f"takes {topped.casts_in_all:.1f} casts on average" in said


GONE = TODAY - timedelta(days=40)
LOADS = "".join(
    f"B{n},{GONE - timedelta(days=30 - n)},piece,,,12,10,,{GONE - timedelta(days=28 - n)},,,first-order,\n" for n in (0, 4)
)


def test_an_order_whose_day_has_gone_by_can_be_entered_and_looked_back_on(tmp_path):
    """The day is echoed as gone by and no plan is made of it; check, run and order work on the study, and say what it paid."""
    folder = tmp_path / "s"
    asked = ("craft=epoxy", "pieces=20", f"due={GONE}", "masters=3", "price=300 EUR")
    code, out, _ = said_of(folder, *(part for word in asked for part in ("--answer", word)))
    assert code == 0 and "That day has gone by, so the order is looked back on." in out and "so nothing is planned" in out
    assert f"The whole account of the order: casting-econ order {folder} {FIRST_ORDER} --finished" in out
    assert command("check", folder)[0] == 0 and float(open_study(folder).point().totals["revenue_per_year"]) == 300
    code, _, told = command("order", folder, FIRST_ORDER)
    assert code == 2 and "--start take new ones; or, if it is over, its loads or its sale in the logs, or --finished" in told
    assert command("order", folder, FIRST_ORDER, "--answer-only", "--finished")[0] == 0  # as that says
    code, out, _ = command("order", folder, FIRST_ORDER, "--finished", "--answer-only", "--start", GONE - timedelta(days=40))
    assert code == 0 and "Looked back on" in out  # with no load in any log
    log = folder / "records" / "batches.csv"
    log.write_text(log.read_text(encoding="utf-8") + LOADS, encoding="utf-8")
    for more in ((), ("--finished",)):
        code, out, _ = command("order", folder, FIRST_ORDER, "--answer-only", *more)
        assert code == 0 and "complete, 20 good pieces from 24 casts" in out


def test_an_order_that_is_due_today_is_planned(tmp_path):
    """The day itself has not gone by: there is a plan, which says that the day cannot be held."""
    kit, defaults = new_study(tmp_path / "s", read_answers(ASKED | {"pieces": "24", "due": str(TODAY)}))
    assert "gone by" not in " ".join(understood(read_answers(ASKED | {"due": str(TODAY)})))
    assert "hours in all" in "\n".join(first_answer(kit, defaults))


def test_an_order_without_its_day_is_refused_and_nothing_is_made(tmp_path):
    """Exit 2, no folder, one message."""
    code, _, told = command("new", tmp_path / "s", "--craft", "epoxy", "--answer", "pieces=12")
    assert code == 2 and "due: is needed" in told and "1 fault found" in told and not list(tmp_path.iterdir())


def test_a_terminal_asks_first_which_of_the_two_it_is(tmp_path):
    """Then the order's own questions, again after a slip, and again where a guess cannot stand in, which none is offered for."""
    typed = {"A": ["perhaps", "order"], "3/12": ["", "12", "red", "", str(DUE)], "9/12": ["5 $ a week", "20 $ each"]}
    said, asked, offered = [], [], {}

    def prompt(words, default):
        asked.append(words)
        offered[words] = offered[words.split()[0]] = default
        answers = typed.get(words.split()[0], [])
        return (answers.pop(0) if answers else "") or default

    found = ask({}, None, str(tmp_path / "s"), terminal=True, say=said.append, prompt=prompt)
    assert offered["3/12  How many pieces are ordered? [piece/order]"] == "" and offered["4/12"] == "don't know"
    assert found.order and found.due == DUE and found.colours == {"red": 12} and found.currency == "USD"
    assert found.figures["price"] == (240, 240, 240) and "for each week where USD/order is asked for" in "\n".join(said)
    assert not any(typed.values())
    told = "\n".join(said)
    assert "neither of the two; right would be order, or workshop" in told
    assert told.count("this is needed, and no guess can stand in for it") == 2
    assert any("Minutes a piece at: demould?" in words for words in asked)
    assert any("Minutes a mould at: lid?" in words for words in asked)


def test_the_form_makes_the_same_order(tmp_path):
    """Its own fields, those of the workshop gone; the study is the one that answers in writing make."""
    form = StartForm(str(tmp_path / "by-form"))
    form.values = {**form.values, "begin": "order"}
    hints = form.hints
    assert "pieces" in form.asked and "orders_a_month" not in form.asked and hints["due"] == "needed"
    assert "as many as there are masters" in hints["cavities"]
    form.press("make")
    assert "Not made yet" in form.said["made"] and "is needed" in form.faults["pieces"] and not (tmp_path / "by-form").exists()
    form.press("make", {**form.values, **ASKED, "pieces": "24", "price": "800 EUR"})
    new_study(tmp_path / "by-file", read_answers(ASKED | {"pieces": "24", "price": "800 EUR"}))
    texts = [(tmp_path / name / "study.toml").read_text(encoding="utf-8") for name in ("by-form", "by-file")]
    assert texts[0].replace("By form", "By file") == texts[1] and "hours in all" in form.said["made"]


@pytest.mark.parametrize(
    "more",
    [{"pieces": "1"}, {"weekly_hours": "3"}, {"colours": "1"}, {"masters": "1", "cavities": "1"}, {"masters": "8", "pots": "6"}],
)
def test_the_smallest_orders_are_planned(more, tmp_path):
    """One piece, three hours a week (of which not all are hidden ones), one colour, one master with one cavity, a pot for fewer than the masters."""
    kit, defaults = new_study(tmp_path / "s", read_answers(ASKED | {"pieces": "24"} | more))
    assert "hours in all" in "\n".join(first_answer(kit, defaults)) and not kit.study.file.commissions[FIRST_ORDER].variants
    assert all(not step.lot_minutes.value for step in kit.study.file.products["piece"].steps.values())  # all are alike


def test_an_order_of_soap_never_speaks_of_pots_or_resin(tmp_path):
    """No mould is made for a liner; no word of another craft in the file, the page or the answer."""
    kit, defaults = new_study(tmp_path / "bars", read_answers(ASKED | {"craft": "soap"}))
    texts = [path.read_text(encoding="utf-8") for path in kit.study.folder.rglob("*") if path.is_file()]
    assert not re.search(r"\b(resin|pots?|epoxy|silicone)\b", "\n".join([*texts, *first_answer(kit, defaults)]), re.I)
    assert tomllib.loads(texts[0] if "[study]" in texts[0] else (kit.study.folder / "study.toml").read_text(encoding="utf-8"))


def test_the_study_of_an_order_runs_as_any_other(made):
    """Its year is that of this one order: one order of as many pieces."""
    kit = open_study(made["epoxy"][0].study.folder)
    assert float(kit.point().totals["revenue_per_year"]) > 0 and kit.study.file.channels["direct"].orders.value == 1


def test_what_is_wrong_with_an_answer_is_said_once_in_words_that_fit():
    """A unit that is none is named once, one piece is no plural, and an unknown question says how a first order begins."""
    for answers, told in (
        ({"minutes.demould": "about 2"}, "unknown unit 'about'; found 'about 2'"),
        ({"pieces": "1", "colours": "red, blue"}, "2 colours of 1 piece;"),
    ):
        with pytest.raises(StudyError) as error:
            read_answers(ASKED | answers)
        assert told in str(error.value)
    with pytest.raises(StudyError, match=r"one of begin, craft, .*begin=order takes the answers of a first order"):
        read_answers({"craft": "epoxy", "pieces_ordered": "12"})
    assert read_answers({"craft": "epoxy", "begin": "order"}, partly=True).order
    assert "begin=order" in command("new", "--help")[1]


def test_one_answer_that_is_not_known_counts_as_that(tmp_path):
    """The verb goes with the number of answers."""
    parts = read_answers(ASKED).parts
    given = {part.key: "don't know" for part in parts if not part.needed} | ASKED
    said = []
    for left_out, words in (
        (["cure"], "1 answer counts as don't know: cure."),
        (["cure", "yield"], "2 answers count as don't know: cure, yield."),
    ):
        few = {key: text for key, text in given.items() if key not in left_out}
        ask(few, None, str(tmp_path / "s"), terminal=False, say=said.append, prompt=None)
        assert said.pop().endswith(words)


def test_the_empty_logs_and_their_page_speak_of_this_order(tmp_path):
    """Examples: a mould of so many casts as the study has, the sale of the order over its channel; pots and hours by their names."""
    answers = read_answers(ASKED | {"pots": "6, 14", "masters": "4", "colours": "red, blue", "price": "800 EUR"})
    kit, _ = new_study(tmp_path / "s", answers)
    rows = {
        log: (kit.study.folder / "records" / f"{log}.csv").read_text(encoding="utf-8").splitlines()[1]
        for log in ("moulds", "sales")
    }
    assert rows["moulds"].startswith("# M01,piece,4,") and ",first-order,direct,piece,120,800," in rows["sales"]
    page = (kit.study.folder / "what-to-write-down.md").read_text(encoding="utf-8")
    assert "`pressure-pot 1` (6), `pressure-pot 2` (14)" in page and "Making moulds is `mould`" in page
    study = (kit.study.folder / "study.toml").read_text(encoding="utf-8")
    assert '"1 order/year"' in study and kit.study.numbers["channels.direct.pieces_per_order"].basis == "decided"
    assert kit.study.numbers["channels.direct.orders"].basis == "guess"


def test_the_first_answer_says_what_all_the_moulds_take_and_how_to_plan_the_other_way(tmp_path):
    """The order wears a part of its moulds, but all of them are made; the way that is advised stands there as the file has it."""
    soon = {
        "pieces": "96",
        "colours": "red, blue, grey, bone",
        "masters": "4",
        "pots": "6, 14",
        "due": str(TODAY + timedelta(days=20)),
    }
    told = "\n".join(first_answer(*new_study(tmp_path / "s", read_answers(ASKED | soon))))
    making = re.search(r"That takes ([\d.]+) hours of hands", told)[1]
    assert f"making all of them takes {making}." in told
    told = told.replace("`", "")
    assert 'as no policy of the commission is stated; policy = "count, then top up" there plans as advised.' in told
    assert re.search(r"not safely, the chance is .*, less than the 95\s%\sasked for; safe by", told)


def test_a_day_gone_by_in_the_study_file_is_said_of_the_study_file(made):
    """Where no option gave the day none is at fault; one that did is."""
    kit = made["epoxy"][0]
    for asked, place in (({}, "study.toml:commissions.first-order.due"), ({"by": str(DUE)}, "--by")):
        with pytest.raises(StudyError) as error:
            open_order(kit, FIRST_ORDER, today=DUE + timedelta(days=3), **asked)
        [fault] = error.value.faults
        assert str(error.value).startswith(f"{place}: is before the work can start") and "--by" in fault.right


def test_a_material_of_two_steps_is_named_once_where_the_logs_know_it(tmp_path):
    """Silicone of bottom half and lid has one price in the receipts."""
    kit, _ = new_study(tmp_path / "s", read_answers(ASKED))
    receipts = "date,item,kind,quantity,unit,paid\n2026-01-10,silicone,material,1,kg,44\n"
    (kit.study.folder / "records" / "purchases.csv").write_text(receipts, encoding="utf-8")
    silent = re.sub(
        r'(?m)^(materials.silicone .*), from = "records", worth = "2 kg"',
        r"\1",
        (kit.study.folder / "study.toml").read_text(encoding="utf-8"),
    )
    (kit.study.folder / "study.toml").write_text(silent, encoding="utf-8")
    assert could_measure(open_study(kit.study.folder)).count("price of silicone") == 1


def test_a_material_of_making_moulds_names_its_step(tmp_path):
    """Silicone of bottom half and lid are two lines of the table of numbers, each with the step that it belongs to."""
    kit, _ = new_study(tmp_path / "s", read_answers(ASKED))
    names = [name for name in assumption_table(kit).number if "price of silicone" in name]
    assert [name.rpartition(" (")[2] for name in names] == ["bottom half)", "lid)"]


def year_of(kit):
    """The first lines of the page on the year."""
    return first_lines(kit, kit.monte_carlo(512), decision_of(kit, 512), [])


@pytest.mark.parametrize(
    ("price", "advice"),
    [("2500 EUR", "As a year's work it takes about 4 such orders"), ("100 EUR", "As a year's work no number of such")],
)
def test_a_study_of_one_order_says_where_its_plan_is_before_it_judges_a_year(price, advice, tmp_path):
    """What pays 20 EUR by its plan loses as all of a year: where the plan is comes first, the year is an if, and nobody is told to stop."""
    kit, _ = new_study(tmp_path / "s", read_answers(ASKED | {"price": price}))
    lead, hour, verdict, todo = year_of(kit)
    plan = open_order(kit, FIRST_ORDER, today=TODAY)
    assert ("pays:" in wording.first_lines(plan, price_of(plan), format_of(kit))[0]) == (price == "2500 EUR")
    assert (
        lead.startswith("**What first-order pays by itself, planned or done, is said by** `casting-econ order`.")
        and "a year **of 1 order such as this on average, in some years none, and of nothing else**" in lead
    )
    assert hour.startswith("**An hour of such a year does not pay:**") and todo.startswith(f"**{advice}")
    assert verdict.startswith("**Not worth its hours as all of a year, nor a living:** 1 order a year") and "top" not in todo
    said = re.sub(r"\s+", " ", command("check", kit.study.folder)[1])
    assert said.index("is said by `casting-econ order`") < said.index("An hour of such a year does not pay")


@pytest.mark.parametrize(
    "more",
    [
        ('"1 order/year"', '"2 order/year"'),
        ("[overheads]", '[commissions.second]\npieces = 3\ndue = 2090-01-31\nproduct = "piece"\n[overheads]'),
    ],
)
def test_with_another_order_the_year_is_judged_as_ever(more, tmp_path):
    """Two orders a year, or another commission: no line on a plan, and the advice to find more orders or stop."""
    kit, _ = new_study(tmp_path / "s", read_answers(ASKED | {"price": "2500 EUR"}))
    file = kit.study.folder / "study.toml"
    file.write_text(edited(file.read_text(encoding="utf-8"), more), encoding="utf-8")
    hour, _, todo = year_of(open_study(kit.study.folder))
    assert (
        hour.startswith("**An hour ")
        and "such a year" not in hour
        and re.match(r"\*\*(Find more orders, or stop|Rather not at these)", todo)
    )


def test_a_loss_over_fewer_hours_is_explained_where_it_looks_worse(tmp_path):
    """Without scrap an hour of a loss comes out lower and its year higher: said with the money, on the order's price too; nothing of it where an hour earns."""
    loss, gain = (new_study(tmp_path / name, read_answers(ASKED | {"price": name}))[0] for name in ("100 EUR", "2500 EUR"))
    none, now = pay_at_scrap(loss, "piece", 0.0, 1.0 - float(loss.point().products["piece"]["yield"]))
    curve, whole = scrap_curve(loss, "piece", (0.0, 0.5)), float(loss.point().totals["residual_pay_per_year"])
    least, most = curve["left a year"]
    assert none < now < 0 and most < whole < least
    money = format_of(loss).money
    assert f"Without any, the year would leave {money(least)} instead of {money(whole)}" in scrap_now(loss, "piece")
    earns = scrap_curve(gain, "piece", (0.0, 0.5))
    assert "an hour would bring" in scrap_now(gain, "piece") and "left a year" not in earns
    assert [what_scrap_moves(*of)[0] for of in ((loss, curve), (gain, earns))] == ["left a year", "pay an hour"]  # what is drawn
    for kit, told in ((loss, True), (gain, False)):
        plan = open_order(kit, FIRST_ORDER, today=TODAY)
        assert (
            (LOSS in verdict(kit, kit.monte_carlo(512)))
            == (LOSS in wording.price_sentence(plan, price_of(plan), format_of(kit)))
            == told
        )


def test_the_only_order_of_a_study_needs_no_name(tmp_path):
    """Planned as with its name, into its own folder; a second one has to be named."""
    kit, _ = new_study(tmp_path / "s", read_answers(ASKED | {"pieces": "12", "masters": "3", "pots": "12"}))
    named, alone = (command("order", kit.study.folder, *name, "--answer-only") for name in ((FIRST_ORDER,), ()))
    assert alone == named and alone[0] == 0 and "12 good pieces to arrive" in alone[1] and "pieces of piece" not in alone[1]
    assert command("order", kit.study.folder)[0] == 0 and (kit.study.folder / "orders" / FIRST_ORDER / "plan.html").is_file()
    file = kit.study.folder / "study.toml"
    more = f'{file.read_text(encoding="utf-8")}\n[commissions.second]\nproduct = "piece"\npieces = 3\ndue = 2090-01-31\n'
    file.write_text(more, encoding="utf-8")
    assert "NAME: is missing; right would be one of first-order, second" in command("order", kit.study.folder)[2]


def test_pass_shares_that_leave_hardly_a_piece_are_a_slip(tmp_path):
    """'0.88 %' at three checks for '88 %': own arithmetic, 7e-7 of the casts; told by every command in one message."""
    kit, _ = new_study(tmp_path / "s", read_answers(ASKED))
    file = kit.study.folder / "study.toml"
    text, slips = re.subn(r"pass_share = \{[^\n]*", 'pass_share = "0.88 %"', file.read_text(encoding="utf-8"))
    file.write_text(text, encoding="utf-8")
    for words in (("check",), ("run",), ("order", FIRST_ORDER, "--finished")):
        code, _, told = command(words[0], kit.study.folder, *words[1:])
        assert (
            slips == 3
            and code == 2
            and "products.piece.steps: pass shares that together leave hardly a good piece; found 7e-07" in told
        )
    file.write_text(text.replace("0.88 %", "18 %"), encoding="utf-8")  # 0.58 % of the casts
    assert command("check", kit.study.folder)[0] == 0


def test_a_plan_that_looks_back_says_so_before_anything_else(tmp_path):
    """`--start` in the past of a day gone by: today, and that the plan is how it would have stood; of a first day to come nothing is said."""
    folder = new_study(tmp_path / "s", read_answers(ASKED | {"pieces": "12", "due": str(GONE)}))[0].study.folder
    said = command("order", folder, "--answer-only", "--start", GONE - timedelta(days=60))[1]
    assert (
        said.startswith("Today is ")
        and "so this is how it would have stood on that first day." in re.sub(r"\s+", " ", said)[:260]
    )
    code, said, _ = command("order", folder, "--answer-only", "--start", TODAY, "--by", DUE)  # of the only one that the study has
    assert code == 0 and "12 good pieces" in said and "Today is" not in said and "would have stood" not in said


def test_the_next_command_can_be_copied_where_the_folder_has_a_blank():
    """As the shells of every system read it: in quotes."""
    assert what_next(open_study(DATA / "ninepenny-lather"), "my study") == ("report", 'casting-econ run "my study"')


def test_next_to_do_with_one_order_is_the_order(made, tmp_path):
    """No price of one order need carry a year: the first page says to see the order through, what to ask for it where no price is stated, and
    which guess to mend first; to look back where its day has gone by the logs. Of twelve such orders a year it is the levers again."""

    def things(kit):
        decision = decision_of(kit)
        return next_things(kit, decision, information_table(decision), [], format_of(kit))

    def folder(name, *changes, sold=""):
        text = (made["epoxy"][0].study.folder / "study.toml").read_text(encoding="utf-8")
        place = tmp_path / name
        (place / "records").mkdir(parents=True)
        for old, new in changes:
            assert text.count(old) == 1
            text = text.replace(old, new)
        (place / "study.toml").write_text(text, encoding="utf-8")
        if sold:
            (place / "records" / "sales.csv").write_text(f"date,channel,product,pieces,price\n{sold}", encoding="utf-8")
        return open_study(place)

    see, ask_for, mend = things(folder("new"))[-3:]
    assert (
        see.startswith(f"**First see {FIRST_ORDER} through:**")
        and "names:** none is stated" in ask_for
        and " guesses it moves" in mend
    )
    priced = folder("priced", ('channel = "direct"\n', 'channel = "direct"\nprice = "900 EUR"\n'))
    assert not any("none is stated" in thing for thing in things(priced))
    over = folder("over", (f"due = {DUE}", "due = 2026-02-01"), sold="2026-03-01,direct,piece,120,900\n")
    assert any(thing.startswith(f"**Look back on {FIRST_ORDER}:**") and "--finished" in thing for thing in things(over))
    many = folder("many", ('value = "1 order/year"', 'value = "12 order/year"'))
    assert not any(FIRST_ORDER in thing for thing in things(many))


def test_rubber_is_told_as_a_guess_by_weight_with_the_sum_from_size(made):
    """A pot of 10 x 10 x 10 cm that fills 250 ml takes 12 x 12 x 11 - 250 = 1,334 ml, at 1.15 g/ml 1.5 kg (own arithmetic), where the guess goes
    by its 400 g: the file says so where moulds are of rubber, and nowhere else."""
    for craft, (kit, _) in made.items():
        text = (kit.study.folder / "study.toml").read_text(encoding="utf-8")
        assert ("(length + 2) x (width + 2) x (height + 1)" in text) == ("materials.silicone" in text), craft


def test_what_moves_an_order_most_is_asked(tmp_path):
    """Hours that no buyer sees and running costs fall on one order as on a year of them: both are asked, and nothing is an answer too."""
    keys = {part.key for question in ORDER_QUESTIONS for part in question.parts}
    assert {"hidden_hours", "overheads"} <= keys
    kit, defaults = new_study(tmp_path / "s", read_answers(ASKED | {"hidden_hours": "0", "overheads": "0"}))
    price = price_of(open_order(kit, FIRST_ORDER, today=TODAY))
    assert price.hidden_hours.max() == 0 and kit.study.file.overheads["workspace-and-running"].value == 0
    assert not {"hours a week that no buyer sees", "running costs a year"} & set(defaults)
