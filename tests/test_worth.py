"""The unit that a guess counts for beside the logs: what the logs of its kind are counted in, or a fault."""

from functools import partial

import pytest
from tile_maker import TILE, tile_study

from casting_econ.faults import StudyError

ORDERS = 'from = "records", worth = "2 months"'
PRICE = 'worth = "0.001 kg"'
LOADS = 'worth = "2 loads"'


@pytest.fixture
def tile(tmp_path):
    """The study of the tile maker with a text."""
    return partial(tile_study, tmp_path)


@pytest.mark.parametrize(
    ("old", "worth", "place", "right"),
    [
        (ORDERS, "20 orders", "channels.shop.orders", "months or weeks"),
        (LOADS, "140 pieces", "load_minutes", "loads"),
        (PRICE, "1 row", "plaster.price", "g or kg"),
        (PRICE, "1 litre", "plaster.price", "g or kg"),  # without a density
    ],
)
def test_worth_in_another_unit_is_refused(tile, old, worth, place, right):
    """20 orders are no 20 months, 140 pieces no 140 loads, and a row of purchases no gram: place, finding and the units of the kind."""
    new = old.replace(old.rpartition("worth = ")[2], f'"{worth}"')
    assert old in TILE
    with pytest.raises(StudyError, match=rf"{place}.*worth in another unit.*{worth}.*a worth in {right}"):
        tile(TILE.replace(old, new, 1))


@pytest.mark.parametrize(("old", "worth"), [(ORDERS, "8 weeks"), (ORDERS, "2"), (LOADS, "1 load"), (PRICE, "3 oz")])
def test_worth_of_the_same_kind_is_read(tile, old, worth):
    """Weeks for months, one load, ounces for kilograms, and a bare number in the kind's own unit."""
    tile(TILE.replace(old, old.replace(old.rpartition("worth = ")[2], f'"{worth}"'), 1))
