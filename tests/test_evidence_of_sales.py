"""What the logs say of prices, orders and refunds, each number from a small study."""

import pytest
from tile_maker import FAIR, MONTH, ONE_SALE, PURCHASES, STEPS, TILE

from casting_econ.evidence import channel_summary, update
from casting_econ.evidence.market import orders_of
from casting_econ.faults import StudyError
from casting_econ.ledger.preview import preview


def test_worth_of_a_price_keeps_its_unit(tile):
    """A price of 4 EUR/kg worth 2 kg and 1 kg bought at 7 EUR give 15 EUR for 3 kg."""
    study = tile(
        TILE.replace('"0.001 kg"', '"2 kg"'),
        purchases="date,item,kind,quantity,unit,paid\n2025-01-06,plaster,material,1,kg,7",
    )

    assert update(study)[f"{STEPS}.cast.materials.plaster.price"].posterior.middle == pytest.approx(0.005)


def test_worth_of_orders_keeps_its_unit(tile):
    """A worth of one year of orders weighs as much as twelve months of them."""
    sales = "date,channel,product,pieces,price\n2025-01-06,shop,tile,1,12\n2025-02-06,shop,tile,1,12"
    year, months = (update(tile(TILE.replace('"2 months"', f'"{worth}"'), sales=sales)) for worth in ("1 year", "12 months"))

    assert year["channels.shop.orders"].posterior.middle == months["channels.shop.orders"].posterior.middle


def test_purchase_in_a_wrong_unit_is_left_out_and_told(tile):
    """Of two purchases the one in a unit that cannot be turned into grams is left out, and the evidence says so."""
    rows = "2025-01-06,plaster,material,2,kg,44\n2025-01-07,plaster,material,2,kilos,90"
    found = update(tile(purchases=f"date,item,kind,quantity,unit,paid\n{rows}"))[f"{STEPS}.cast.materials.plaster.price"]

    assert found.observed == pytest.approx(44 / 2000)
    assert found.data == "1 purchase, 1 in another unit left out"


SALES = """
date,order,channel,product,pieces,price,postage_paid,refund,kind
2025-02-03,O1,shop,tile,1,10,5,,sale
2025-02-03,O1,shop,tile,1,8,,,sale
2025-02-10,O2,shop,tile,1,12,7,12,sale
2025-02-11,O3,shop,tile,1,15,,,
2025-02-12,O4,shop,tile,1,0,3,,replacement
"""


TAKINGS = """date,channel,product,pieces,price,buyers
2025-02-03,shop,tile,2,20,
2025-02-10,shop,tile,9,96,3
2025-02-17,shop,tile,0,0,0
2025-02-24,shop,tile,4,36,2"""
EACH = """date,channel,product,pieces,price
2025-02-03,shop,tile,2,20
2025-02-10,shop,tile,3,32
2025-02-10,shop,tile,3,32
2025-02-10,shop,tile,3,32
2025-02-24,shop,tile,2,18
2025-02-24,shop,tile,2,18"""


def test_takings_of_several_buyers_count_as_a_row_for_each(tile):
    """A day's takings with how many bought give the orders, pieces and money of an order that a row for each buyer gives; a day on which
    nobody did is no order."""
    text = TILE.replace("pieces_per_order = 1", 'pieces_per_order = { value = 2, from = "records", worth = "10 orders" }')
    summed, each = (tile(text, sales=sales) for sales in (TAKINGS, EACH))
    keys = [f"channels.shop.{key}" for key in ("orders", "pieces_per_order", "price")]

    summed, each = (update(study) | {"all": channel_summary(study)} for study in (summed, each))

    assert [summed[key].observed for key in keys] == pytest.approx([each[key].observed for key in keys])
    assert [summed[key].posterior.middle for key in keys] == pytest.approx([each[key].posterior.middle for key in keys])
    assert summed[keys[2]].data == "6 orders" and summed["all"].loc["shop", "orders"] == 6
    assert dict(summed["all"].loc["shop"]) == pytest.approx(dict(each["all"].loc["shop"]))


@pytest.mark.parametrize(
    ("row", "words"),
    [("3,30,4", "more buyers than pieces"), ("3,30,0", "something sold to no buyer"), ("3,30,1.5", "a whole number")],
)
def test_buyers_that_cannot_be_are_told(tile, row, words):
    """Four who bought three pieces, nobody who bought them, and one and a half are each refused in their row."""
    with pytest.raises(StudyError, match=f"sales.csv:2:buyers: .*{words}"):
        tile(sales=f"date,channel,product,pieces,price,buyers\n2025-02-03,shop,tile,{row}")


def test_orders_by_hand(tile):
    """Three orders in sales alone of 10 days, the first of which starts the clock, and 20 guessed in two months.

    Rows of one order are one order, a replacement is none, and a blank kind is a sale. A month has 365.2425 / 12 days.
    """
    text = TILE.replace("pieces_per_order = 1", "clustering = 0\npieces_per_order = 1")
    found = update(tile(text, sales=SALES))["channels.shop.orders"]
    months = 10 / MONTH

    assert found.observed == pytest.approx(2 / months * 12)
    assert found.posterior.middle == pytest.approx((20 + 2) / (2 + months) * 12)
    assert found.data == "2 orders in 0.3 months after the first, with which the logs begin"


SEEN = 'orders = { value = "2 orders/year", from = "records", worth = "1 month" }\nclustering = 0'


def seen_orders(tile, since="", **logs):
    """Evidence on 2 orders a year, worth a month, and the study; None where the logs are silent."""
    text = TILE.replace('orders = { value = "120 orders/year", from = "records", worth = "2 months" }', f"{SEEN}\n{since}")
    return update(tile(text + FAIR, **logs)).get("channels.shop.orders")


def test_orders_are_counted_over_all_logs(tile):
    """One sale in logs of 365 days, 2 a year guessed and worth a month: (2/12 + 1) in (1 + 365 days), worked by hand.

    What a log says beside its date, such as when an old mould was made, is no day on which the logs were kept.
    """
    moulds = "mould,product,cavities,made\nM1,tile,10,2019-01-02"
    found = seen_orders(tile, sales=ONE_SALE, purchases=PURCHASES.format("2025-01-01", "2025-12-31"), moulds=moulds)
    months = 365 / MONTH

    assert found.posterior.middle == pytest.approx((2 / 12 + 1) / (1 + months) * 12)
    assert found.data == "1 order in 12.0 months"


@pytest.mark.parametrize("since", ["2025-01-06", '"2025-01-06"'])
def test_orders_are_counted_since_they_were_offered(tile, since):
    """Offered 60 days before the only sale, and logs of older work: 1 in 60 days and not in the year of the logs."""
    logs = {"sales": ONE_SALE, "purchases": PURCHASES.format("2024-03-07", "2024-05-07")}
    found = seen_orders(tile, f"offered_since = {since}", **logs)

    assert found.posterior.middle == pytest.approx((2 / 12 + 1) / (1 + 60 / MONTH) * 12)
    assert found.data == "1 order in 2.0 months since 2025-01-06"


@pytest.mark.parametrize(
    ("since", "logs"),
    [
        ("", {}),
        ("", {"sales": ONE_SALE}),  # one sale says that there was one, and not how often one comes
        ("", {"sales": ONE_SALE, "purchases": PURCHASES.format("2025-03-06", "2025-03-06")}),  # one day
        ("", {"purchases": PURCHASES.format("2025-01-06", "2025-12-06")}),  # no sales written down: not known, which is not none
        ("offered_since = 2025-01-06", {"purchases": PURCHASES.format("2025-01-06", "2025-12-06")}),
        ("offered_since = 2026-01-06", {"sales": ONE_SALE.replace("shop", "fair")}),
    ],
)
def test_logs_that_tell_no_time_leave_the_guess_of_orders(tile, since, logs):
    """One sale alone, logs of one day, no sales log, or a channel still to come: the guess stays a guess."""
    assert seen_orders(tile, since, **logs) is None


NOTHING = "date,channel,product,pieces,price,kind\n2025-01-01,shop,tile,0,0,nothing\n2025-12-31,shop,tile,0,0,nothing"


def test_nothing_sold_can_be_written_down(tile):
    """No order in 365 days that two rows of `nothing` mark, 2 a year guessed and worth a month, by hand; 1 month in, with more of work later."""
    found = seen_orders(tile, sales=NOTHING)
    assert found.posterior.middle == pytest.approx((2 / 12) / (1 + 365 / MONTH) * 12)
    assert found.data == "0 orders in 12.0 months"
    assert seen_orders(tile, sales=NOTHING.splitlines()[0]) is None  # a log without a row may not have been kept


@pytest.mark.parametrize("row", ["1,0", "0,12"])
def test_nothing_sold_with_pieces_or_money_is_a_fault(tile, row):
    """A row that says nothing was sold and yet has a piece or money is told, with the way out."""
    with pytest.raises(StudyError, match=r"something sold in a row of kind nothing.*0 for 0, or another kind"):
        seen_orders(tile, sales=NOTHING.replace("0,0", row, 1))


def test_sale_before_its_channel_was_offered_is_a_fault(tile):
    """A sale of 6 March in a channel offered since 7 March is one message with the row and both days."""
    with pytest.raises(StudyError, match=r"sold before shop was offered.*2025-03-06, offered since 2025-03-07"):
        seen_orders(tile, "offered_since = 2025-03-07", sales=ONE_SALE)


def test_no_order_is_evidence_too(tile):
    """182 days of sales in one channel and none in the other: 0 beside 10 a month guessed, worth 10 months, worked by hand."""
    fair = '[channels.fair]\nproduct = "tile"\norders = { value = "120 orders/year", from = "records" }\nclustering = 0\n'
    fair += 'pieces_per_order = 1\nprice = "12 EUR"\n'
    sales = "date,channel,product,pieces,price\n2025-01-06,shop,tile,1,12\n2025-07-06,shop,tile,1,12"

    found = update(tile(TILE + fair, sales=sales))

    assert found["channels.fair.orders"].posterior.middle == pytest.approx(100 / (10 + 182 / MONTH) * 12)


@pytest.mark.parametrize(
    ("kind", "observed", "value"),
    [
        ("price", 45 / 4, (24 + 45) / 6),  # 18 for two pieces, 12 and 15 for one each; the guess counts two pieces
        ("postage_paid", 6.0, (8 + 12) / 4),  # 5 and 7; the blank is no postage of 0
        ("refund_share", 1 / 3, (1 + 1) / 13),
    ],
)
def test_blank_is_not_zero(tile, kind, observed, value):
    """Orders without a figure are left out of its mean."""
    found = update(tile(sales=SALES))[f"channels.shop.{kind}"]

    assert found.observed == pytest.approx(observed)
    assert found.posterior.middle == pytest.approx(value)


SILENT = {
    "timesheet": "date,step,minutes,product,pieces_handled\n2025-01-06,glaze,30,tile,10",
    "batches": "batch,date,product,casts,good\nB1,2025-01-06,tile,0,0",
    "faults": "date,product,step,cause,pieces,fate\n2025-01-08,tile,trim,air,1,scrap",
    "moulds": "mould,product,cavities,made\nM1,tile,10,2025-01-02",
    "purchases": "date,item,kind,quantity,unit,paid\n2025-01-06,sand,material,1,kg,7",
    "prices_seen": "date,place,description,pieces,price\n2025-01-06,fair,tile,1,14",
}


@pytest.mark.parametrize("log", SILENT)
def test_silent_log_leaves_the_guess(tile, log):
    """A log with rows, none of which is about a number of the study, changes none of them."""
    study = tile(**{log: SILENT[log].replace(" ", "_")})

    assert set(study.records) == {log}
    assert update(study) == {}


def test_price_is_learned_by_the_piece(tile):
    """Orders of two pieces at the stated price a piece leave the price of a stated order of one where it was."""
    rows = "\n".join(f"2025-02-{day:02d},O{day},shop,tile,2,24" for day in range(1, 11))
    found = update(tile(sales=f"date,order,channel,product,pieces,price\n{rows}"))["channels.shop.price"]

    assert found.observed == pytest.approx(12.0)
    assert found.posterior.middle == pytest.approx(12.0)


TWO = TILE + '[products.tray]\ncasts_per_load = 4\n[products.tray.steps.cast]\nminutes = "1 min"\n'
TWO += FAIR.replace("tile", "tray").replace("fair]", "shop-trays]")
MIXED = """
date,order,channel,product,pieces,price,kind
2025-02-03,,shop,tile,1,12,
2025-02-04,,shop,tray,5,80,
2025-02-05,,shop,tray,4,64,sale
2025-02-06,,shop,tray,1,0,gift
2025-02-07,,shop-trays,tray,1,16,
"""


def test_sales_of_a_product_that_their_channel_does_not_sell_are_told(tile):
    """9 trays of two rows in the channel of tiles count in no channel: told with rows, money and the channel of trays; a gift is none."""
    study = tile(TWO, sales=MIXED)
    [note] = study.reading.notes
    for words in ("9 of tray, for 144.00 in all, are sold in shop, which sells tile", "2 rows", "(sales.csv:3, sales.csv:4)"):
        assert words in note
    assert "Write shop-trays as their channel, or a table [channels.shop-tray]" in note
    assert "2 rows of these of tray in shop count in no channel: 3, 4" in preview(study.reading)
    followed = tile(TWO, sales=MIXED.replace(",shop,tray", ",shop-trays,tray"))
    assert not followed.reading.notes and len(orders_of(followed, "shop-trays")) == 3


def test_a_commission_may_be_sold_in_any_channel(tile):
    """A row of an order that the study states is that order's; one of another order is told."""
    order = '[commissions.Harbour]\nproduct = "tray"\npieces = 5\nprice = "80 EUR"\nstart = 2025-01-06\ndue = 2025-02-06\n'
    one = "date,order,channel,product,pieces,price\n2025-02-04,{},shop,tray,5,80"
    assert not tile(TWO + order, sales=one.format("harbour")).reading.notes
    [note] = tile(TWO + order, sales=one.format("K-7")).reading.notes
    assert "1 row of the sales log" in note
