"""Loads a week against the capacity of textbook lines, which never close."""

import pytest
from printed import printed

from casting_econ.models import loads_per_week

HOPP = "Hopp & Spearman, Factory Physics, ch. 7, Penny Fab Two (slideplayer.com 8899093)"
CACHON = "Cachon & Terwiesch, Matching Supply with Demand (3rd ed. 2013), Q7.5, solution at homeworksource.com/p/1028142"
ALWAYS = ((0.0, 168.0),)
HANDS = 0.05  # hours, from the process time: the book's lines need none


@pytest.mark.parametrize(("machines", "hours", "rate"), [(1, 2, "0.5"), (2, 5, "0.4"), (6, 10, "0.6"), (2, 3, "0.67")])
def test_stations_side_by_side_published(machines, hours, rate):
    """Jobs an hour of each station of the line: machines over the hours a job takes in one."""
    assert loads_per_week(hours - HANDS, HANDS, machines, ALWAYS) / 168 == printed(rate), HOPP


@pytest.mark.parametrize(("batch", "rate"), [(50, "0.714"), (10, "0.333")])
def test_batch_with_a_setup_published(batch, rate):
    """Pieces a minute of a machine set up for 20 minutes, then 1 minute a piece: batch / (20 + batch)."""
    assert batch * loads_per_week(batch / 60, 20 / 60, 1, ALWAYS) / (168 * 60) == printed(rate), CACHON
