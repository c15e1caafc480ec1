"""Plans of orders for tests: a demo's commission, and a demo with some of its text changed."""

from datetime import date
from functools import cache

import numpy as np
from commands import DATA

from casting_econ.kit import open_study
from casting_econ.orders import open_order, price_of

TODAY = date(2026, 11, 30)


@cache
def demo(name="hollin-quay-pulls"):
    return open_study(DATA / name)


@cache
def first_commission():
    plan = open_order(demo(), "hotel-refit")
    return plan, price_of(plan)


def study(tmp_path, name="kelpmoor-handles", records=False, **changes):
    """A demo with some of its text changed, without records unless asked for."""
    text = (DATA / name / "study.toml").read_text(encoding="utf-8")
    for old, new in changes.values():
        assert old in text, old
        text = text.replace(old, new)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    if records:
        (tmp_path / "records").mkdir(exist_ok=True)
        for path in (DATA / name / "records").iterdir():
            (tmp_path / "records" / path.name).write_bytes(path.read_bytes())
    return tmp_path


def poured(plan):
    """Loads of the order that are poured in each draw, draw by draw: the planned ones, then one more as long as good pieces, or sets, are short."""
    loads, wanted = plan.loads, list(plan.order.needed.values())
    rows = []
    for good in plan.course.good.tolist():
        have, row = [0] * len(wanted), []
        for load, pieces in enumerate(good):
            mine = load >= loads.promised
            short = any(got < want for got, want in zip(have, wanted, strict=True))
            row.append(mine and (load < loads.planned or short))
            have = [got + more // plan.order.matched * mine for got, more in zip(have, pieces, strict=True)]
        rows.append(row)
    return np.array(rows)


SPREAD = 'demand = "15 %"\nminutes = "12 %"\npass_odds = "30 %"\nmaterial = "6 %"\nprice = "3 %"'
CERTAIN = (SPREAD, 'demand = "0 %"')
ALONE = ("casts_per_load = { value = 14,", 'load_correlation = "0 %"\ncasts_per_load = { value = 14,')
FREE = ('promised = [{ what = "knobs for the shop", product = "knob", casts = 14 }]', "")
HOURS = ('hours = "16 h/week"', 'hours = "40 h/week"')
