"""Small orders made in a plain loop by the trade's rules, many times: the plan promises the same dates, hours and pay."""

import numpy as np
import pytest
from trade_loop import ONE_GO, hours_of, in_loads, made, pay_of, random_order, study_of

from casting_econ.kit import open_study
from casting_econ.orders import open_order, price_of

TIMES = 300


@pytest.mark.parametrize("seed", range(20))
def test_a_plan_promises_what_comes_of_it(seed, tmp_path):
    """All ten kinds of order, twice: hours and pay within four standard errors, and both curves of dates within the limit of Kolmogorov and
    Smirnov for two samples, 1.63 at one in a hundred (from memory), which twenty orders ask to be 1.9."""
    c, rng = random_order(seed), np.random.default_rng(seed)
    (tmp_path / "study.toml").write_text(study_of(c), encoding="utf-8")
    kit = open_study(tmp_path)
    plan = open_order(kit, "first")
    quoted, new = price_of(plan), plan.loads.casts[plan.loads.new].astype(int).tolist()
    first = new if c["policy"] == ONE_GO else in_loads(c, plan.casts_by_item.values())
    courses = [made(c, first, rng) for _ in range(TIMES)]
    year = float(np.mean(kit.point().totals["make_hours_per_year"]))  # of which the order is a part
    error = (1 / TIMES + 1 / quoted.bench_hours.size) ** 0.5

    def alike(theirs, ours, least):
        assert np.mean(theirs) == pytest.approx(np.mean(ours), abs=4 * error * max(np.std(theirs), np.std(ours)) + least)

    alike(quoted.bench_hours, [sum(hours_of(c, load) for load in loads) / 60 for _, loads in courses], 0.01)
    alike(quoted.pay(c["price"]), [pay_of(c, year, *course) for course in courses], 0.02)
    ends, planned, weights = np.array([finish for finish, _ in courses]), plan.course.schedule.finish / 60, plan.course.weights
    for moment in np.unique([*ends, *planned]):  # a few minutes, as the planner rounds each step to a second
        least, most = (np.mean(ends <= moment + shift) for shift in (-3, 3))
        assert least - 1.9 * error <= weights[planned <= moment].sum() <= most + 1.9 * error
