"""What to bring to a day of unsure demand, against published examples."""

import numpy as np
import pytest
from scipy import stats

from casting_econ.models import newsvendor_quantity


def _cut(mean, sd, step=0.002):
    """A normal demand cut into narrow steps."""
    values = np.arange(max(0.0, mean - 6 * sd), mean + 6 * sd, step)
    chances = np.diff(stats.norm.cdf(np.append(values - step / 2, values[-1] + step / 2), mean, sd))
    return values, chances / chances.sum()


def test_normal_demand():
    """N(50, 8), over .18, short .70: 56.6040 at a cost of 1.9976. Snyder & Shen, Fundamentals of Supply Chain Theory (2nd ed. 2019), Ex. 4.3."""
    values, chances = _cut(50.0, 8.0)
    stock, cost = newsvendor_quantity(values, chances, 0.70, 0.18)
    assert stock == pytest.approx(56.6040, abs=0.002) and cost == pytest.approx(1.9976, abs=5e-5)


def test_from_price_cost_and_what_is_still_got():
    """Price 1, cost .30, .12 still got for what is left: short .70, over .18, so 56.6040 again. Example 4.2 of Snyder & Shen."""
    assert newsvendor_quantity(*_cut(50.0, 8.0), 1.0 - 0.30, 0.30 - 0.12)[0] == pytest.approx(56.6040, abs=0.002)


def test_poisson_demand():
    """Poisson of mean 6, over 1, short 4: 8 at a cost of 3.570107. Example 4.7 of Snyder & Shen."""
    values = np.arange(80)
    chances = stats.poisson.pmf(values, 6)
    stock, cost = newsvendor_quantity(values, chances / chances.sum(), 4.0, 1.0)
    assert stock == 8 and cost == pytest.approx(3.570107, abs=5e-7)


def test_a_table_entry_rounded_up():
    """N(200, 80), short 8, over 4: 234.46, own arithmetic; Cachon & Terwiesch, Q12.1, print 235.2 by a z of .44, a table entry rounded up.

    400 is added and taken off again, since the model takes no demand below zero, which a normal of 200 and 80 has.
    """
    stock = newsvendor_quantity(*_cut(600.0, 80.0, 0.02), 8.0, 4.0)[0] - 400.0
    assert stock == pytest.approx(234.46, abs=0.02)  # the step that demand is cut into
