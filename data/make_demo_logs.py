"""Write the invented logs of the three demo studies, and those of a first order (`make_order_logs.py`).

ALL OF IT IS INVENTED. No workshop, order, price or fault in these logs is real: they are drawn at random, from a
fixed seed a study, round a hidden truth that differs a little from study.toml, so that the evidence has something to
say. A load enters batches.csv once its last check is done: soap poured in the last weeks is not in it, and bars
checked in January were poured before the six months began.

    python data/make_demo_logs.py
"""

import csv
import math
import tomllib
from collections import Counter, defaultdict
from functools import reduce
from pathlib import Path

import numpy as np

START, END = np.datetime64("2025-01-06"), np.datetime64("2025-06-30")
SPAN = int((END - START).astype(int)) + 1  # [day]
# Winter break, two weeks off, and a last day for counting stock, so that every week worked is a whole one.
BREAKS = (("2024-12-23", "2025-01-02"), ("2025-02-17", "2025-02-22"), ("2025-04-14", "2025-04-19"), ("2025-06-30", "2025-07-01"))
SHUT = np.concatenate([np.arange(*days, dtype="M8[D]") for days in BREAKS])
DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
HOURS = {"h": 1.0, "day": 24.0, "week": 168.0}
LOAD_CORRELATION = 0.03
# Picked among many so that the logs stand near the truth below.
SEEDS = {"kelpmoor-handles": 1344, "gannet-lane-figures": 138, "ninepenny-lather": 152}
STEADY = ("rent-share", "insurance", "site", "accountant")  # bills that are the same every month
COLUMNS = {
    "timesheet": "date step minutes product pieces_handled pieces_passed note",
    "batches": "batch date product station moulds casts good mixed_mass_g room_c cure_h note",
    "faults": "date batch product step cause pieces fate extra_minutes",
    "moulds": "mould product cavities made material_g minutes retired casts_at_retirement reason",
    "purchases": "date item kind quantity unit paid tax_included useful_years resale",
    "sales": "date order channel product pieces price postage_charged postage_paid packaging fees refund kind",
    "prices_seen": "date place description pieces price sold",
}
# The hidden truth where it is not what study.toml states, by dotted key; `product` stands for the one product.
TRUTH = {
    "kelpmoor-handles": {
        "time.fixed_hours": "7.1 h/week", "product.steps.pour.materials.resin.price": "25.1 EUR/kg", "product.mould.life": 33,
        "product.steps.press-weed.minutes": "1.9 min", "product.steps.pot.load_minutes": "26 min", "product.steps.demould.pass_share": "87 %",
        "product.steps.flat-lap.minutes": "2.3 min", "product.steps.sand.minutes": "3.7 min", "product.steps.fit-and-check.pass_share": "97.5 %",
        "channels.online.orders": "238 orders/year", "channels.joiner.orders": "40 orders/year", "channels.wholesale.orders": "20 orders/year",
        "channels.online.minutes_per_order": "18 min", "channels.joiner.minutes_per_order": "90 min", "channels.online.refund_share": "3 %",
    },
    "gannet-lane-figures": {
        "time.fixed_hours": "4.3 h/week", "product.steps.pour.materials.gypsum.price": "1.56 GBP/kg", "product.mould.life": 118,
        "product.steps.mix-and-fill.load_minutes": "32 min", "product.steps.demould.pass_share": "91.5 %",
        "product.steps.fettle.minutes": "2.15 min", "product.steps.paint.minutes": "6.4 min",
        "channels.online.orders": "39 orders/year", "channels.gallery.orders": "24 orders/year", "channels.fairs.orders": "29 orders/year",
    },
    "ninepenny-lather": {
        "time.fixed_hours": "4.8 h/week", "product.steps.mix-and-pour.materials.oils.price": "0.212 USD/oz",
        "product.steps.mix-and-pour.load_minutes": "142 min", "product.steps.cut-and-trim.minutes": "0.43 min",
        "product.steps.cut-and-trim.pass_share": "94 %", "product.steps.weigh-and-wrap.minutes": "0.95 min",
        "channels.markets.orders": "1100 orders/year", "channels.online.orders": "232 orders/year", "channels.online.minutes_per_order": "13.5 min",
    },
}  # fmt: skip
# What no study file holds. `mixed`: grams a piece, cup loss and water in; `next_day`: steps begun on a new working day;
# `older`: moulds of the year before (made, retired, casts a cavity); `packs`: smallest amount sold.
HABITS = {
    "kelpmoor-handles": {
        "mark": "K", "mixed": 24.3, "first_pour": "2025-01-06", "next_day": ("sand", "fit-and-check"), "whole_sets": False,
        "moulds_in_use": 1, "older": (), "worn": "faces gone dull", "packs": {"resin": 1.5, "insert": 250},
        "comparable": ("cast resin drawer knob", "resin and shell cabinet knob", "pressed flower drawer knob", "sea glass look knob"),
    },
    "gannet-lane-figures": {
        "mark": "G", "mixed": 79.0, "first_pour": "2025-01-06", "next_day": ("undercoat", "paint", "varnish", "base-and-check"), "whole_sets": True,
        "moulds_in_use": 2, "older": (("2024-02-19", "2024-12-13", 112),), "worn": "thin lips torn", "packs": {"gypsum": 12.5, "silicone": 2.5},
        "comparable": ("painted plaster cottage set", "harbour scene figure set", "ceramic village figures", "painted wooden boats"),
    },
    "ninepenny-lather": {
        "mark": "N", "mixed": 189.0, "first_pour": "2024-11-25", "next_day": ("bevel-and-stamp",), "whole_sets": False,
        "moulds_in_use": 1, "older": (), "worn": "split along a corner", "packs": {"oils": 80, "label": 500},
        "comparable": ("cold process soap bar", "oat and honey soap bar", "sea salt soap bar", "herb soap bar"),
    },
}  # fmt: skip


def true_study(folder, truth):
    """The study file with the hidden truth in place of what it states."""
    study = tomllib.loads((folder / "study.toml").read_text(encoding="utf-8"))
    tables = {**study, "product": next(iter(study["products"].values()))}
    for key, real in truth.items():
        *path, last = key.split(".")
        table = reduce(dict.__getitem__, path, tables)
        if last not in table:
            raise KeyError(f"{folder.name} has no {key}")
        table[last] = real
    return study


def figure(raw):
    """Value and unit of a number of the study file."""
    number, _, unit = str(raw["value"] if isinstance(raw, dict) else raw).partition(" ")
    return (float(number) / 100, "") if unit == "%" else (float(number), unit)


def value(table, key, default=0.0):
    """Value of a number that a table may leave out."""
    return figure(table.get(key, default))[0]


def scatter(rng, sd):
    """A log-normal factor of mean 1."""
    return math.exp(rng.normal(-sd * sd / 2, sd))


def minutes(rng, true, sd=0.25):
    """Minutes as a maker notes them."""
    return max(1, round(true * scatter(rng, sd)))


def working_day(day, calendar, later=0):
    """The day itself or the next one worked, and so many more."""
    return np.busday_offset(day, later, roll="forward", busdaycal=calendar)


def survivors(rng, pieces, share):
    """Pieces that pass a check, alike within a load (beta-binomial)."""
    scale = (1.0 - LOAD_CORRELATION) / LOAD_CORRELATION
    return pieces if share == 1.0 else int(rng.binomial(pieces, rng.beta(share * scale, (1.0 - share) * scale)))


def pour_days(study, product, first, calendar):
    """Days poured on, evenly spread: enough for what is sold and what stays unsold."""
    sold = sum(value(c, "orders") * value(c, "pieces_per_order") for c in study["channels"].values())
    good = math.prod(value(step, "pass_share", 1.0) for step in product["steps"].values())
    yearly = sold / (1 - value(product, "unsold_share")) / good / value(product, "casts_per_load")
    days = [day for day in np.arange(first, END + 1) if np.is_busday(day, busdaycal=calendar)]
    count = min(len(days), round(yearly * len(np.arange(first, END + 1)) / 365))
    return [days[int(i)] for i in np.linspace(0, len(days) - 1, count)]


def step_days(steps, pour, next_day, calendar):
    """Working day on which a load gets to each step, and how long its longest wait really was."""
    days, day, hours, longest = {}, pour, 0.0, (0.0, 0.0)
    for name, step in steps.items():
        # loaded in the afternoon and opened in the morning, so a wait is rounded up to whole nights
        gap = 0 if hours < 4 else math.ceil((hours + 6) / 24)
        before, day = day, working_day(day + gap, calendar, later=int(name in next_day and not gap))
        longest = max(longest, (hours, 24.0 * int((day - before).astype(int))))
        number, unit = figure(step.get("wait", "0 h"))
        days[name], hours = day, number * HOURS[unit]
    return days, longest[1]


def run_loads(rng, study, product, habits, calendar):
    """Every load poured, step by step, and the mould sets they were in."""
    loads, moulds, in_use = [], [], {}
    for number, pour in enumerate(pour_days(study, product, np.datetime64(habits["first_pour"]), calendar)):
        slot = number % habits["moulds_in_use"]
        if slot not in in_use or in_use[slot]["left"] == 0:
            life = max(1, round(value(product["mould"], "life") / math.gamma(1.4) * rng.weibull(2.5)))
            made = np.busday_offset(pour, -2, roll="backward", busdaycal=calendar)
            number_of_mould = len(habits["older"]) + len(moulds) + 1
            in_use[slot] = {"id": f"{habits['mark']}M{number_of_mould}", "made": made, "life": life, "left": life}
            moulds.append(in_use[slot])
        in_use[slot]["left"] -= 1
        days, waited = step_days(product["steps"], pour, habits["next_day"], calendar)
        casts = pieces = int(value(product, "casts_per_load")) - (int(rng.integers(1, 4)) if rng.random() < 0.08 else 0)
        flow = {}
        for name, step in product["steps"].items():
            passed = survivors(rng, pieces, value(step, "pass_share", 1.0))
            flow[name], pieces = (pieces, passed), passed
        load = {"batch": f"{habits['mark']}{number + 1:03d}", "date": pour, "casts": casts, "good": pieces}
        load |= {"moulds": in_use[slot]["id"], "cure_h": round(waited - rng.uniform(3.5, 5.5), 1)}
        loads.append({**load, "days": days, "flow": flow})
    return loads, moulds


def batch_rows(rng, study, product, habits, loads):
    """Loads whose last check is done."""
    station = next((s["wait_in"] for s in product["steps"].values() if s.get("wait_in") in study.get("stations", {})), "")
    for load in loads:
        room = 18.5 - 2.8 * math.cos(2 * math.pi * (int((load["date"] - START).astype(int)) + 10) / 365) + rng.normal(0, 0.8)
        mass = round(load["casts"] * habits["mixed"] * scatter(rng, 0.025))
        note = "poured short" if load["casts"] < value(product, "casts_per_load") else ""
        yield {**load, "station": station, "mixed_mass_g": mass, "room_c": round(room, 1), "note": note}


def fault_rows(rng, product, loads):
    """What each check of each load turned down, by cause, and a few pieces saved by rework."""
    for load in loads:
        for step, entry in product["steps"].items():
            causes, (entering, passed) = entry.get("causes", {}), load["flow"][step]
            row = {"date": load["days"][step], "batch": load["batch"], "step": step}
            weights = np.array(list(causes.values()), float)
            for cause, lost in zip(causes, rng.multinomial(entering - passed, weights / weights.sum()) if causes else ()):
                if lost:
                    yield {**row, "cause": cause, "pieces": lost, "fate": "second" if rng.random() < 0.07 else "scrap"}
            if causes and passed and rng.random() < 0.12:
                saved = min(passed, int(rng.integers(1, 3)))
                extra = round(4.0 * saved * scatter(rng, 0.3), 1)
                yield {**row, "cause": str(rng.choice(list(causes))), "pieces": saved, "fate": "rework", "extra_minutes": extra}


def mould_rows(rng, product, habits, moulds, loads, calendar):
    """Mould sets; a retired one gave as many casts a cavity as the loads it was in."""
    silicone, unit = figure(product["mould"]["materials"].get("silicone", {}).get("quantity", "0 g"))
    sets = [(f"{habits['mark']}M{number}", *older) for number, older in enumerate(habits["older"], start=1)]
    for mould in moulds:
        poured = [load["date"] for load in loads if load["moulds"] == mould["id"]]
        worn = len(poured) == mould["life"]
        end = (working_day(poured[-1], calendar, later=1), len(poured)) if worn else ("", "")
        sets.append((mould["id"], mould["made"], *end))
    for name, made, retired, casts in sets:
        grams = round(silicone * (1000 if unit == "kg" else 1) * scatter(rng, 0.04)) or ""
        row = {"mould": name, "cavities": int(value(product, "casts_per_load")), "made": made, "material_g": grams}
        row["minutes"] = round(value(product["mould"], "minutes") * scatter(rng, 0.15))
        yield {**row, "retired": retired, "casts_at_retirement": casts, "reason": habits["worn"] if retired else ""}


def bench_rows(rng, product, loads):
    """Minutes at the bench: a row a load where the load sets the time, else a row a day and step."""
    piles = defaultdict(lambda: np.zeros(2, int))
    for load in loads:
        for step, day in load["days"].items():
            by_load = "load_minutes" in product["steps"][step]
            piles[day, step, load["batch"] if by_load else ""] += load["flow"][step]
    for (day, step, batch), (entering, passed) in piles.items():
        entry = product["steps"][step]
        true = value(entry, "load_minutes") if batch else value(entry, "minutes") * entering
        if entering and START <= day <= END:
            checked = {"pieces_passed": passed} if "pass_share" in entry else {}
            yield {"date": day, "step": step, "minutes": minutes(rng, true), "pieces_handled": entering, **checked}


def selling_rows(rng, study, sales, stalls, calendar):
    """Minutes packing orders on the next working day, and whole days at stalls."""
    packed = Counter((working_day(row["date"], calendar), row["channel"]) for row in sales)
    for (day, name), orders in packed.items():
        true = orders * value(study["channels"][name], "minutes_per_order")
        if true and day <= END:
            yield {"date": day, "step": name, "minutes": minutes(rng, true), "pieces_handled": orders}
    for name, days in stalls.items():
        hours = value(study["channels"][name], "hours_per_day")
        for day in days:
            yield {"date": day, "step": name, "minutes": minutes(rng, 60 * hours, 0.04), "note": "stall day"}


def weekly_rows(rng, study, calendar):
    """One or two rows a week worked for each weekly task, on average the true fixed hours together."""
    tasks = study["time"]["weekly_tasks"]
    for monday in np.arange(START, END + 1, 7):
        days = [day for day in np.arange(monday, monday + 7) if np.is_busday(day, busdaycal=calendar)]
        for task in tasks if days and days[-1] <= END else ():
            times = int(rng.integers(1, 3))
            true = 60 * value(study["time"], "fixed_hours") / len(tasks) / times
            for day in rng.choice(days, times, replace=False):
                yield {"date": day, "step": task, "minutes": minutes(rng, true), "product": ""}


def stall_days(study):
    """Saturdays at a stall by channel, evenly spread."""
    saturdays, found = np.arange(START + 5, END + 1, 7), {}
    for name, channel in study["channels"].items():
        count = round(value(channel, "days") * SPAN / 365)
        if count:
            found[name] = [saturdays[int(i)] for i in np.linspace(0, len(saturdays) - 1, count + 2)[1:-1]]
    return found


def order_size(rng, channel, whole_sets):
    """Pieces in one order: a set, a few loose ones, or now and then a smaller or larger lot than usual."""
    usual = value(channel, "pieces_per_order")
    if usual < 3:
        return 1 + int(rng.poisson(usual - 1))
    return round(usual) + (0 if whole_sets else round(usual / 3) * int(rng.choice([-1, 0, 1], p=[0.15, 0.7, 0.15])))


def sale_row(rng, name, channel, day, whole_sets, kind="sale"):
    """One order, money rounded as a shop rounds it; anything but a sale is given away."""
    pieces, sold = order_size(rng, channel, whole_sets), kind == "sale"
    discount = rng.choice([1.0, 0.9, 0.95, 1.05], p=[0.86, 0.05, 0.05, 0.04])
    price = round(value(channel, "price") / value(channel, "pieces_per_order") * pieces * discount, 2)
    charged = value(channel, "postage_charged")
    fees = value(channel, "fee_share") * (price + charged * (channel.get("fee_base") != "price")) + value(channel, "fee_fixed")
    refund = round(price + charged, 2) if sold and rng.random() < value(channel, "refund_share") else 0.0
    postage, packing = value(channel, "postage_paid") * scatter(rng, 0.08), value(channel, "packaging") * scatter(rng, 0.06)
    row = {"date": day, "channel": name, "kind": kind, "postage_paid": round(postage, 2), "packaging": round(packing, 2)}
    if not sold:
        return {**row, "pieces": 1, "price": 0.0, "postage_charged": 0.0, "fees": 0.0, "refund": 0.0}
    return {**row, "pieces": pieces, "price": price, "postage_charged": charged, "fees": round(fees, 2), "refund": refund}


def sale_rows(rng, study, habits, stalls):
    """Orders by day and channel and what went out for nothing, numbered by date."""
    rows = []
    for name, channel in study["channels"].items():
        for day in stalls.get(name, np.arange(START, END + 1)):
            for _ in range(rng.poisson(value(channel, "orders") / value(channel, "days", 365))):
                rows.append(sale_row(rng, name, channel, day, habits["whole_sets"]))
    for index in rng.choice(len(rows), max(5, len(rows) // 40), replace=False):
        name, kind = rows[index]["channel"], str(rng.choice(["replacement", "sample", "gift"], p=[0.5, 0.25, 0.25]))
        rows.append(sale_row(rng, name, study["channels"][name], rows[index]["date"], habits["whole_sets"], kind))
    rows.sort(key=lambda row: row["date"])
    return [{**row, "order": f"{habits['mark']}-{number:04d}"} for number, row in enumerate(rows, start=1)]


def material_needs(product, loads, moulds):
    """Name, kind, unit, price and amount needed of everything used up."""
    casts, good = sum(load["casts"] for load in loads), sum(load["good"] for load in loads)
    groups = [(step.get("materials", {}), casts) for step in product["steps"].values()]
    for materials, times in [*groups, (product.get("parts", {}), good), (product["mould"]["materials"], len(moulds))]:
        for name, entry in materials.items():
            price, unit = figure(entry["price"])
            amount, of = figure(entry.get("quantity", 1))
            unit = unit.partition("/")[2] or "piece"
            needed = times * amount / (1 - value(entry, "loss")) * (0.001 if (of, unit) == ("g", "kg") else 1)
            yield name, entry.get("kind", "material"), unit, price, needed


def purchase_rows(rng, study, needs, packs, calendar):
    """Materials in packs, the year's bills by the month, and the tools."""
    for name, kind, unit, price, needed in needs:
        pack = packs.get(name, 100 if needed > 100 else 1)
        times = min(7, max(1, round(needed / pack)))
        quantity = math.ceil(needed / times / pack) * pack
        for turn in range(times):
            day = working_day(START + int((turn + rng.uniform(0, 0.5)) * SPAN / times), calendar)
            paid = round(quantity * price * scatter(rng, 0.035), 2)
            yield {"date": day, "item": name, "kind": kind, "quantity": quantity, "unit": unit, "paid": paid}
    for month in np.arange("2025-01", "2025-07", dtype="M8[M]"):
        for name, raw in study["overheads"].items():
            day = working_day(max(month.astype("M8[D]"), START), calendar, later=int(rng.integers(0, 4)))
            paid = round(figure(raw)[0] / 12 * (1.0 if name in STEADY else scatter(rng, 0.08)), 2)
            yield {"date": day, "item": name, "kind": "overhead", "quantity": 1, "unit": "month", "paid": paid}
    for name, entry in study["equipment"].items():
        row = {"date": START, "item": name, "kind": "equipment", "quantity": 1, "paid": value(entry, "price")}
        yield {**row, "useful_years": value(entry, "life"), "resale": value(entry, "resale")}


def seen_rows(rng, study, habits):
    """Asking prices of comparable work; the dearer, the less often sold."""
    channel = next(iter(study["channels"].values()))
    for _ in range(25):
        place = str(rng.choice(["online listing", "craft fair stall", "gift shop"], p=[0.6, 0.2, 0.2]))
        pieces, ratio = order_size(rng, channel, habits["whole_sets"]), scatter(rng, 0.22)
        price = round(2 * value(channel, "price") / value(channel, "pieces_per_order") * pieces * ratio) / 2
        sold = "unknown" if rng.random() < 0.3 else "yes" if rng.random() < 1 / (1 + math.exp(5 * (ratio - 1))) else "no"
        row = {"date": START + int(rng.integers(0, SPAN)), "place": place, "description": str(rng.choice(habits["comparable"]))}
        yield {**row, "pieces": pieces, "price": max(price, 0.5), "sold": sold}


def make_logs(study, habits, rng):
    """Rows of every log of one study."""
    calendar = np.busdaycalendar(weekmask=[day in study["calendar"] for day in DAYS], holidays=SHUT)
    product, stalls = next(iter(study["products"].values())), stall_days(study)
    bench, timing, selling, buying = rng.spawn(4)
    loads, moulds = run_loads(bench, study, product, habits, calendar)
    checked = [load for load in loads if max(load["days"].values()) <= END]
    sales = sale_rows(selling, study, habits, stalls)
    needs = material_needs(product, [load for load in loads if load["date"] >= START], moulds)
    worked = [*bench_rows(timing, product, loads), *selling_rows(timing, study, sales, stalls, calendar)]
    return {
        "timesheet": [*worked, *weekly_rows(timing, study, calendar)],
        "batches": batch_rows(bench, study, product, habits, checked),
        "faults": fault_rows(bench, product, checked),
        "moulds": mould_rows(bench, product, habits, moulds, checked, calendar),
        "purchases": purchase_rows(buying, study, needs, habits["packs"], calendar),
        "sales": sales,
        "prices_seen": seen_rows(selling, study, habits),
    }


def write_log(path, columns, rows, usual):
    """One log by date, with the usual cell where a row has none: UTF-8, commas, the same line end everywhere."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(sorted(({**usual, **row} for row in rows), key=lambda row: str(row.get("date", row.get("made")))))


def write_logs(folder, study, logs, columns):
    """Every log of one study."""
    (folder / "records").mkdir(exist_ok=True)
    for log, rows in logs.items():
        usual = {"product": next(iter(study["products"])), "tax_included": "yes"}
        write_log(folder / "records" / f"{log}.csv", columns[log].split(), rows, usual)


def main():
    """Write the logs of all studies beside this script."""
    import make_order_logs as order  # which takes its tools from here

    here = Path(__file__).resolve().parent
    for name, habits in HABITS.items():
        study = true_study(here / name, TRUTH[name])
        write_logs(here / name, study, make_logs(study, habits, np.random.default_rng(SEEDS[name])), COLUMNS)
    study = true_study(here / order.NAME, order.TRUTH)
    write_logs(here / order.NAME, study, order.make_logs(study, np.random.default_rng(order.SEED)), order.COLUMNS)


if __name__ == "__main__":
    main()
