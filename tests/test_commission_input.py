"""Commissions, stations, hands and days: read as they are written, amounts in their own kinds."""

import datetime as dt
import json
import tomllib

import pytest
from commission_files import ORDERS, study
from hypothesis import given, settings
from hypothesis import strategies as st

from casting_econ.kit import open_study
from casting_econ.study import read_study
from casting_econ.study.commissions import (
    CommissionEntry,
    OrdersTable,
    SupplyEntry,
)
from casting_econ.study.numbers import Amount
from casting_econ.study.schema import StepEntry, is_hand_sanding


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """The study file with every new key, read."""
    return read_study(study(tmp_path_factory.mktemp("full"), ORDERS)).file


def test_commission_is_read_as_written(full):
    """Every key of a commission arrives in its plain unit; dates as TOML dates or as text."""
    assert full.commissions["harbour-house"].model_dump() == {
        "product": "tile",
        "pieces": 24,
        "due": dt.date(2027, 2, 20),
        "start": dt.date(2027, 1, 10),
        "confidence": 0.9,
        "set_of": 6,
        "match_within": "load",
        "variants": {"sea-green": 18, "sand": 6},
        "channel": "shop",
        "price": 400.0,
        "short_penalty": 50.0,
        "short_penalty_each": 5.0,
        "leftover_value": 3.0,
        "rounds": 3,
        "in_hand": 2,
        "one_off": "left out",
        "stated_hours": 155.0,
        "policy": None,
        "what": "24 wall tiles",
        "note": "invented",
    }


def test_defaults_are_as_the_table_says(tmp_path):
    """A commission needs product, pieces and a day; without the other tables there is nothing in them."""
    read = read_study(study(tmp_path, '[commissions.one]\nproduct = "tile"\npieces = 5\ndue = 2027-02-20\n'))
    order = read.file.commissions["one"]

    assert (order.confidence, order.set_of, order.rounds, order.in_hand) == (0.95, 1, 2, 0)
    assert (order.price, order.start, order.channel, order.variants) == (None, None, None, {})
    assert (order.short_penalty, order.short_penalty_each, order.leftover_value) == (0.0, 0.0, 0.0)
    assert read.file.orders == OrdersTable() and read.file.supplies == {} and read.file.temperature.months == ()
    assert (read.file.orders.sanding_cap, read.file.orders.deposit_least, read.file.orders.transit_days) == (3.0, 0.3, 0)
    assert (read.file.temperature.factor, read.file.quote.valid_days, read.file.orders.posting_days) == (2.0, 14, None)


def test_hands_and_days_are_read_as_written(full):
    """Hours of commissions, days off as spans, weekdays in the order of the week, promises of both kinds."""
    orders, day = full.orders, dt.date

    assert (orders.hours, orders.sanding_cap, orders.transit_days, orders.deposit_least) == (12.0, 2.5, 2, 0.4)
    assert orders.days_off == (
        (day(2026, 12, 24), day(2026, 12, 24)),
        (day(2026, 12, 28), day(2027, 1, 2)),
        (day(2027, 2, 1), day(2027, 2, 1)),
    )
    assert (orders.holidays, orders.posting_days) == ("DE-BY", ("tuesday", "friday"))
    first, second = orders.promised
    assert (first.hours, first.begins, first.until, first.product) == (3.0, day(2026, 12, 1), day(2027, 1, 31), None)
    assert (second.hours, second.product, second.casts) == (None, "tile", 24)


def test_temperatures_are_read_as_celsius(full):
    """72 °F is 22.2 °C and 59 °F is 15 °C: t/°C = (t/°F - 32)/1.8 (NIST SP 811, appendix B; from memory)."""
    assert full.products["tile"].steps["pour"].wait_at == pytest.approx(40 / 1.8, rel=1e-12)
    assert full.temperature.months == (14, 14, pytest.approx(15.0, rel=1e-12), 16, 18, 20, 21, 21, 19, 17, 15, 14)
    assert full.temperature.factor == 2.2 and full.products["tile"].load_correlation == pytest.approx(0.08)


def test_amounts_are_kept_in_their_own_kind(full):
    """Mass in gram, volume in millilitre, pieces as a count; a pound is 453.59237 g (NIST SP 811)."""
    parts, hanger = full.supplies["jesmonite"].mix, full.supplies["hanger"]

    assert parts["base"].stock == Amount(2000.0, "gram")
    assert parts["base"].packs[0].quantity == Amount(5000.0, "gram")
    assert parts["base"].packs[1].quantity.value == pytest.approx(453.59237, rel=1e-9)
    assert parts["liquid"].packs[0].quantity == Amount(1000.0, "milliliter") and parts["liquid"].packs[0].price == 11.0
    assert (hanger.stock, hanger.packs[0].quantity, hanger.packs[0].price) == (Amount(30.0, ""), Amount(50.0, ""), 8.0)
    assert Amount.read("3 m", "EUR") == Amount(3.0, "m")


def test_amount_in_another_unit():
    """1 US fluid ounce is 29.5735295625 ml (NIST SP 811); a litre at 1.1 g/ml weighs 1.1 kg; without density it is refused."""
    ounce, litre = Amount.read("1 fl oz", "USD"), Amount.read("1 L", "EUR")

    assert ounce.in_unit("ml", "EUR") == pytest.approx(29.5735295625, rel=1e-9)
    assert litre.in_unit("kg", "EUR", 1.1) == pytest.approx(1.1)
    assert Amount.read("1.1 kg", "EUR").in_unit("L", "EUR", 1.1) == pytest.approx(1.0)
    assert Amount.read("2 m", "EUR").in_unit("cm", "EUR") == pytest.approx(200.0)
    for amount, unit, said in ((litre, "g", "without a density"), (litre, "", "turned"), (Amount(3.0, ""), "g", "turned")):
        with pytest.raises(ValueError, match=said):
            amount.in_unit(unit, "EUR", None if "density" in said else 1.1)


def test_density_of_a_mix_follows_from_its_parts():
    """100 ml at 1.13 and 83 ml at 0.98 g/ml weigh 194.34 g in 183 ml; 100 g and 83 g of them fill 173.19 ml (volumes add up)."""
    parts = {"a": {"parts": 100, "density": "1.13 g/ml"}, "b": {"parts": 83, "density": "0.98 g/ml"}}
    by_volume, by_mass, stated = (
        SupplyEntry.model_validate({"mix_by": by, "mix": parts} | more, context={"currency": "EUR"})
        for by, more in (("volume", {}), ("mass", {}), ("mass", {"density": "1.05 g/ml"}))
    )

    assert by_volume.whole_density == pytest.approx(194.34 / 183)
    assert by_mass.whole_density == pytest.approx(183 / (100 / 1.13 + 83 / 0.98))
    assert stated.whole_density == pytest.approx(1.05)
    assert SupplyEntry().whole_density is None


@pytest.mark.parametrize(
    ("name", "stated", "sanding"),
    [("sand", None, True), ("Wet-SANDING", None, True), ("polish", None, False), ("polish", True, True), ("sand", False, False)],
)
def test_hand_sanding_goes_by_the_name_unless_stated(name, stated, sanding):
    """A step is hand sanding where its name says sand, or where the file says so."""
    assert is_hand_sanding(name, StepEntry(hand_sanding=stated)) is sanding


def test_new_tables_are_no_numbers_of_the_study(tmp_path):
    """Decided figures are no assumptions: the numbers and the point result are the same with and without them."""
    bare, full = study(tmp_path / "bare"), study(tmp_path / "full", ORDERS)

    assert read_study(bare).numbers == read_study(full).numbers
    assert open_study(bare).point().totals == open_study(full).point().totals


def test_kit_sold_mixed_has_packs_beside_the_mix(tmp_path):
    """Packs beside the mix are a kit; its volume turns into the routing's grams by the parts' densities."""
    kit = """
[supplies.jesmonite]
packs = [{ quantity = "1 L", price = "20 EUR" }]
mix.a = { parts = 2, density = "1.1 g/ml" }
mix.b = { parts = 1, density = "1.0 g/ml" }
"""
    entry = read_study(study(tmp_path, kit)).file.supplies["jesmonite"]

    assert (entry.mix_by, len(entry.packs), entry.whole_density) == ("volume", 1, pytest.approx(3.2 / 3))


words = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=20)
money = st.decimals(0, 9999, places=2).map(float)
days = st.dates(dt.date(2026, 1, 1), dt.date(2090, 1, 1))


@st.composite
def commissions(draw):
    """A valid commission of tiles, as keys and plain values."""
    set_of = draw(st.integers(1, 9))
    counts = draw(st.lists(st.integers(1, 50), min_size=1, max_size=4))
    start = draw(days)
    entry = {
        "product": "tile",
        "pieces": sum(counts) * set_of,
        "due": start + dt.timedelta(days=draw(st.integers(1, 400))),
        "start": start,
        "confidence": draw(st.floats(0.5, 0.999)),
        "set_of": set_of,
        "variants": {f"v{at}": count * set_of for at, count in enumerate(counts)},
        "channel": "shop",
        "price": draw(money),
        "short_penalty": draw(money),
        "short_penalty_each": draw(money),
        "leftover_value": draw(money),
        "rounds": draw(st.integers(1, 4)),
        "in_hand": draw(st.integers(0, 500)),
        "what": draw(words),
        "note": draw(words),
    }
    left_out = draw(st.sets(st.sampled_from([key for key in entry if key not in ("product", "pieces", "due")])))
    return {key: value for key, value in entry.items() if key not in left_out}


def toml(value):
    """A value in TOML."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml(one)}" for key, one in value.items()) + " }"
    return value.isoformat() if isinstance(value, dt.date) else json.dumps(value, ensure_ascii=False)


@settings(max_examples=60, deadline=None)
@given(commissions())
def test_valid_commission_round_trips(entry):
    """What is written is what is read, and what is read can be read again."""
    written = {
        key: f"{value:.2f} EUR" if isinstance(value, float) and key != "confidence" else value for key, value in entry.items()
    }
    text = "\n".join(f"{key} = {toml(value)}" for key, value in written.items())
    context = {"currency": "EUR"}

    read = CommissionEntry.model_validate(tomllib.loads(text), context=context)

    assert {key: getattr(read, key) for key in entry} == entry
    again = {
        key: f"{value} EUR" if key in PLAIN_MONEY and value is not None else value for key, value in read.model_dump().items()
    }
    assert CommissionEntry.model_validate(again, context=context) == read


PLAIN_MONEY = ("price", "short_penalty", "short_penalty_each", "leftover_value")
