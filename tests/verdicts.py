"""Forty small invented studies, and what the kit says of each: `python tests/verdicts.py` writes verdicts.md, which a person then reads.

The regression is of sentences that were read one by one, not of numbers from outside.
"""

import tempfile
from datetime import date, timedelta
from pathlib import Path

from casting_econ.kit import OpenStudy, open_study
from casting_econ.pages import answer, deciding, job, towards, waiting

TABLE = Path(__file__).parent / "verdicts.md"
SEED, DRAWS = 3, 1024

_BASE = """\
[study]
name = "Labels"
currency = "EUR"
locale = "en_IE"
invented = true
variation = "{variation}"
draws = 1024
seed = 3
[time]
weeks = "46 week/year"
hours = "{hours} h/week"
fixed_hours = "2 h/week"
[calendar]
monday = "08:00-20:00"
tuesday = "08:00-20:00"
wednesday = "08:00-20:00"
thursday = "08:00-20:00"
friday = "08:00-20:00"
[target]
{target}
full_week = "37.5 h/week"
set_aside = "20 %"
tax = "ie-2025"
{floor}
{spread}
[stations.pot]
count = {pots}
[products.label]
casts_per_load = 20
[products.label.steps.pour]
minutes = "3 min"
load_minutes = "8 min"
wait = "12 h"
wait_in = "pot"
materials.resin = {{ price = "0.50 EUR" }}
[products.label.steps.finish]
minutes = "6 min"
pass_share = "95 %"
[channels.shop]
product = "label"
pieces_per_order = 4
orders = {orders}
price = "{price} EUR"
packaging = "1 EUR"
minutes_per_order = "15 min"
{channel}
[overheads]
room = "300 EUR/year"
{cash}
"""
_SPREAD = '[spread]\ndemand = "20 %"\nminutes = "15 %"\nprice = "5 %"'
_TARGET = 'per_hour = "16 EUR/h"'
_MINIMUM = 'wage = "ie-minimum-2025"'
_ONE = {"log": 1, "since": date(2026, 1, 1), "days": 60}


def _guess(value):
    return f'{{ value = "{value} orders/year", from = "records", worth = "2 months" }}'


# name, and what differs: price, orders a year, hours a week, pots, spread, variation, floor, cash, target, log of so many orders
STUDIES = {
    "certain, a living": {"orders": 900},
    "certain, on the side": {"orders": 300},
    "certain, hands full": {"orders": 900, "hours": 12},
    "certain, pot full": {"orders": 2000, "price": 25},
    "certain, does not pay": {"orders": 300, "price": 12},
    "certain, long hours": {"orders": 3000, "price": 15.5, "hours": 60, "pots": 9},
    "certain, hardly an order": {"orders": 0.5},
    "certain, a floor above the year": {"orders": 900, "floor": 40000},
    "certain, legal minimum": {"orders": 900, "target": _MINIMUM},
    "certain, below cost": {"orders": 300, "price": 2.5},
    "certain, reserve too small": {"orders": 300, "cash": '[cash]\nreserve = "200 EUR"\noutlay = { tools = "900 EUR" }'},
    "a living": {"orders": 1000, "spread": True},
    "probably a living": {"orders": 890, "spread": True},
    "perhaps a living": {"orders": 730, "spread": True},
    "probably not a living": {"orders": 620, "spread": True},
    "on the side": {"orders": 300, "spread": True},
    "perhaps pays": {"orders": 300, "price": 24, "spread": True},
    "probably pays": {"orders": 300, "price": 26, "spread": True},
    "probably does not pay": {"orders": 300, "price": 21.5, "spread": True},
    "does not pay": {"orders": 300, "price": 12, "spread": True},
    "below cost": {"orders": 300, "price": 2.5, "spread": True},
    "hands full": {"orders": 900, "hours": 12, "spread": True},
    "pot full": {"orders": 2000, "price": 25, "hours": 40, "spread": True},
    "long hours": {"orders": 3000, "price": 15.5, "hours": 60, "pots": 9, "spread": True},
    "perhaps by long hours": {"orders": 3000, "price": 14.2, "hours": 60, "pots": 9, "spread": True},
    "a living, floor close": {"orders": 1000, "floor": 33000, "spread": True},
    "a living, reserve too small": {
        "orders": 1000,
        "spread": True,
        "cash": '[cash]\nreserve = "600 EUR"\noutlay = { tools = "1500 EUR" }',
    },
    "a living with its reserve": {"orders": 1000, "spread": True, "cash": '[cash]\nreserve = "5000 EUR"\nramp_months = 6'},
    "legal minimum on the side": {"orders": 300, "target": _MINIMUM, "spread": True},
    "months, a living": {"orders": 1000, "spread": True, "variation": "months"},
    "months, on the side": {"orders": 150, "spread": True, "variation": "months", "cash": "[cash]\nramp_months = 9"},
    "months, clusters": {"orders": 300, "price": 21, "spread": True, "variation": "months", "channel": "clustering = 3"},
    "counts, two orders": {"orders": 2, "price": 900, "variation": "counts"},
    "counts, one order, all else certain": {"orders": 1, "price": 3000, "variation": "counts"},
    "one order seen, hope of six": {"orders": 6, "price": 420, "spread": True, "variation": "months", **_ONE},
    "one order seen, hope of two": {"orders": 2, "price": 420, "spread": True, "variation": "months", **_ONE},
    "one order seen, a living of few": {"orders": 12, "price": 3000, "spread": True, "variation": "months", **_ONE},
    "one order seen, guess not from records": {
        "orders": 6,
        "price": 420,
        "spread": True,
        "variation": "months",
        **_ONE,
        "told": False,
    },
    "none seen in two months": {"orders": 6, "price": 420, "spread": True, "variation": "months", **_ONE, "log": 0},
    "many orders seen": {"orders": 300, "spread": True, "variation": "months", "log": 90, "since": date(2026, 1, 1), "days": 110},
}


def open_small(folder: Path, **what) -> OpenStudy:
    """One of the small studies, written into a folder."""
    log = what.get("log")
    orders = _guess(what["orders"]) if log is not None and what.get("told", True) else f'"{what["orders"]} orders/year"'
    channel = what.get("channel", "") + (f"\noffered_since = {what['since']}" if log is not None else "")
    floor = f'floor = "{what["floor"]} EUR/year"' if "floor" in what else ""
    text = _BASE.format(
        variation=what.get("variation", "rates"),
        hours=what.get("hours", 34),
        target=what.get("target", _TARGET),
        floor=floor,
        spread=_SPREAD if what.get("spread") else "",
        pots=what.get("pots", 1),
        orders=orders,
        price=what.get("price", 40),
        channel=channel,
        cash=what.get("cash", ""),
    )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    if log is not None:
        _write_logs(folder / "records", log, what)
    return open_study(folder)


def _write_logs(records, log, what):
    """Sales spread evenly over the days since it is offered, and a timesheet that ends on the last of them."""
    records.mkdir(exist_ok=True)
    first, last = what["since"], what["since"] + timedelta(days=what["days"] - 1)
    days = [first + timedelta(days=(n + 1) * what["days"] // (log + 1)) for n in range(log)]
    rows = [f"{day},o{n},shop,label,4,{what.get('price', 40)},sale" for n, day in enumerate(days)]
    rows = rows or [f"{first},,shop,label,1,0,sample"]
    (records / "sales.csv").write_text(
        "\n".join(["date,order,channel,product,pieces,price,kind", *rows]) + "\n", encoding="utf-8"
    )
    sheet = ["date,product,step,minutes,pieces_handled", f"{first},label,pour,60,20", f"{last},label,finish,120,20"]
    (records / "timesheet.csv").write_text("\n".join(sheet) + "\n", encoding="utf-8")


def said_of(kit: OpenStudy) -> list[str]:
    """The three lines of the first page, then the sentences of the page on the job."""
    year, decision = kit.monte_carlo(DRAWS, SEED), deciding.decision_of(kit, DRAWS, SEED)
    found, way, orders = job.job_of(kit, year), towards.towards(kit), waiting.waiting_of(kit, float(decision.benefit.mean()))
    lines = answer.first_lines(kit, year, decision, [])
    decided = answer.the_decision(decision, [], answer.format_of(kit), answer.advice(kit, found, decision))
    return [
        *lines,
        decided,
        towards.towards_sentence(kit, way),
        towards.ramp_sentence(kit, way),
        waiting.width_sentence(kit, orders),
        waiting.waiting_sentence(kit, orders),
    ]


def table() -> str:
    """All studies with their sentences, in Markdown."""
    text = [
        "# Forty small invented studies, and what is said of each",
        "",
        "Read one by one; the test compares them word for word.",
        "",
    ]
    with tempfile.TemporaryDirectory() as folder:
        for number, (name, what) in enumerate(STUDIES.items(), start=1):
            said = said_of(open_small(Path(folder) / str(number), **what))
            text += [f"## {number}. {name}", "", *(f"- {line}" for line in said if line), ""]
    return "\n".join(text)


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8", newline="\n")
