"""An order under scenarios of the study: its date, hours and price beside those of the plan as it is."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from ..faults import one_of, refusal
from ..formatting import Format
from ..pages.change import study_with_scenarios
from ..pages.table import shown
from .answer import open_order
from .plan import OrderPlan
from .price import SAFE, Quoted, price_of
from .spec import picked
from .tables import day

AS_IT_IS = "as it is"


@dataclass(frozen=True, kw_only=True)
class Beside:
    """An order as it is, or with a scenario."""

    name: str
    what: str
    outlay: float  # once, in no price [money]
    plan: OrderPlan
    quoted: Quoted


def scenario_names(plan: OrderPlan, asked: Sequence[str]) -> list[str]:
    """Scenarios asked for, also several with commas between, each once; StudyError for one that the study does not have."""
    known = plan.planner.kit.study.file.scenarios
    names = list(dict.fromkeys(name for text in asked for part in text.split(",") if (name := part.strip())))
    for name in names:
        if name not in known:
            right = one_of(name, known) if known else "one of the study's [scenarios.NAME], none yet"
            raise refusal("--scenario", "unknown scenario", right, found=repr(name))
    return names


def under_scenarios(
    plan: OrderPlan, quoted: Quoted, scenarios: Sequence[str], name: str | None, *, today: date | None = None, **asked
) -> list[Beside]:
    """The order as it is, then with each of the scenarios (as `scenario_names` takes them), on the same draws; `name`, `today` and `asked` as
    the plan was asked for, see `open_order`.

    StudyError for an unknown scenario, one that the order cannot do with, or a certainty that no number of casts gives under it.
    """
    kit, names = plan.planner.kit, tuple(scenario_names(plan, scenarios))
    key = plan.planner, names
    if key in kit.kept:  # so that the page finds them again
        return kit.kept[key]
    found = [Beside(name=AS_IT_IS, what="", outlay=0.0, plan=plan, quoted=quoted)]
    for scenario in names:
        entry = kit.study.file.scenarios[scenario]
        other = open_order(study_with_scenarios(kit, [scenario], orders=True), name, today=today, base=kit, **asked)
        found.append(Beside(name=scenario, what=entry.what, outlay=entry.outlay, plan=other, quoted=price_of(other)))
    kit.kept[key] = found
    return found


@shown(
    "order-scenarios",
    "The order under scenarios; what a scenario takes once is in no price, and pay is at the price asked as it is",
    "with: text; casts in all: 1; in time: chance; date that holds: text; hours: 1; price: money; pay an hour: money; once: money",
)
def scenario_table(beside: list[Beside], fmt: Format) -> pd.DataFrame:
    """The order as it is and under each scenario: casts on average, chance of the date [-], date, hours [hour], price, pay [money/hour], outlay [money]."""
    asked, rows = beside[0].quoted.asked, []
    for one in beside:
        numbers = scenario_numbers(one, asked)
        counts = (numbers["expected_casts"], numbers["chance_of_date"], day(fmt, one.plan.arrives), numbers["hours"])
        rows.append((one.name, *counts, numbers["target_in_eight_of_ten"], numbers["pay_per_hour"], one.outlay))
    return rows


def scenario_numbers(one: Beside, asked: float) -> dict:
    """Numbers of an order under a scenario; pay is at a price asked. [money]"""
    plan, quoted = one.plan, one.quoted
    return {
        "expected_casts": plan.casts_in_all,
        "expected_loads": plan.loads_in_all,
        "chance_of_date": plan.course.in_time,
        "honest_arrival": plan.arrives,
        "hours": float(quoted.hours.mean()),
        **picked(quoted, "extra_cost full_cost"),
        "target_in_eight_of_ten": quoted.at_chance(SAFE),
        "pay_per_hour": float(quoted.pay(asked).mean()),
        "outlay": one.outlay,
    }


def scenario_results(beside: list[Beside]) -> dict:
    """For `order.json`: the numbers of each scenario by its name, those of the order as it is among them."""
    return {one.name: {"what": one.what} | scenario_numbers(one, beside[0].quoted.asked) for one in beside}
