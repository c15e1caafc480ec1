"""What to bring to a market day: limits, the demos, and the sentence on both sides."""

import numpy as np
import pytest
from commands import rates_copy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from casting_econ.kit import format_of, open_study
from casting_econ.models import newsvendor_quantity
from casting_econ.pages.channels import stall_sentences, stall_table


@given(
    st.lists(st.floats(0.01, 1.0), min_size=2, max_size=9),
    st.floats(0.1, 20.0),
    st.floats(0.1, 20.0),
)
@settings(max_examples=80, deadline=None)
def test_no_other_stock_loses_less(weights, short, over):
    """Every stock tried one by one."""
    demand, chances = np.arange(len(weights), dtype=float), np.array(weights) / sum(weights)
    costs = [chances @ (short * np.maximum(demand - s, 0) + over * np.maximum(s - demand, 0)) for s in demand]
    stock, cost = newsvendor_quantity(demand, chances, short, over)
    assert cost == pytest.approx(costs[int(stock)], rel=1e-12) and cost <= min(costs) * (1 + 1e-9)


@pytest.mark.parametrize(
    ("given_", "told"),
    [
        (([0, 1], [0.5, 0.4], 1, 1), "chances must add up to 1"),
        (([1, 0], [0.5, 0.5], 1, 1), "rising values"),
        (([0, 1], [1.0], 1, 1), "rising values"),
        (([0, 1], [0.5, 0.5], 0, 1), "short cost must be above 0"),
        (([0, 1], [0.5, 0.5], 1, -1), "over cost must be above 0"),
    ],
)
def test_what_cannot_be_is_told(given_, told):
    """Each input outside its range names itself."""
    with pytest.raises(ValueError, match=told):
        newsvendor_quantity(*given_)


def test_market_days_of_the_third_demo():
    """As stated and with certain demand: buyers are Poisson about 1,152 / 36 = 32, 2.1 bars each (notes G3); checked with scipy alone."""
    kit = open_study(rates_copy("ninepenny-lather"), with_records=False)
    row = stall_table(kit).iloc[0]
    assert row.channel == "markets" and row.wanted == pytest.approx(32 * 2.1, rel=0.02)
    drawn = kit.monte_carlo().draws["revenue_per_year"]  # demand is unsure, so days differ more than Poisson
    assert drawn.std() > 0
    surely = stats.poisson.ppf(0.95, 32) * 2.1
    assert row["to be sure"] > surely
    assert row.enough >= row.short / (row.short + row.over) > stats.poisson.cdf(row.bring / 2.1 - 1.5, 32)
    assert "Markets: bring about" in stall_sentences(stall_table(kit), format_of(kit))


def test_more_is_brought_where_missing_costs_more(tmp_path):
    """A dearer bar loses more when it is missing and no more when it is left."""
    text = (rates_copy("ninepenny-lather") / "study.toml").read_text(encoding="utf-8")
    rows = []
    for price in ("16.80 USD", "25.20 USD"):
        (tmp_path / "study.toml").write_text(text.replace('price = "16.80 USD"', f'price = "{price}"'), encoding="utf-8")
        rows.append(stall_table(open_study(tmp_path, with_records=False)).iloc[0])
    assert rows[0].short < rows[1].short and rows[0].over == pytest.approx(rows[1].over)
    assert rows[0].bring < rows[1].bring


def test_a_piece_that_leaves_nothing_is_not_worth_bringing():
    """The second demo's fairs lose by each set sold; the first demo has no stall at all."""
    kit = open_study(rates_copy("gannet-lane-figures"))
    frame = stall_table(kit)
    assert frame.short.iloc[0] < 0 and frame.bring.iloc[0] == 0
    assert "leaves nothing after its hours at the target" in stall_sentences(frame, format_of(kit))
    none = stall_table(open_study(rates_copy("kelpmoor-handles"), with_records=False))
    assert none.empty and stall_sentences(none, format_of(kit)) == ""
