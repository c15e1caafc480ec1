"""Small random orders, and a plain loop that makes one as a maker would: what the plan of an order must come to.

Written from the trade and not from the kit: a mould is free when its pieces are out and it has rested, a pot when its cure is over; mixing, pouring
and loading are one sitting; the hands have working hours, and of these so many a day; a load that can be poured goes first, then the earliest
load; what fails is cast again. Minutes from midnight of the first day.
"""

import math
import random
from datetime import date, timedelta

KINDS = "one piece, one mould, two pots, three colours, late, certain, yield 1, yield 0.3, plain, sets".split(", ")
DAYS = "monday tuesday wednesday thursday friday saturday sunday".split()
ONE_GO = "all at once"


def random_order(seed):
    """An order and its workshop, of one kind in ten after the other."""
    r, kind = random.Random(seed), KINDS[seed % 10]
    pieces = 1 if kind == "one piece" else 2 * r.randint(3, 18)
    passes = {"yield 1": (1.0, 1.0), "certain": (1.0, 1.0), "yield 0.3": (0.5, 0.6)}
    opens, closes = r.choice([(9, 13), (18, 22), (9, 17)])
    days = sorted(r.sample(range(7), r.choice([2, 4, 5, 7])))
    third, start = pieces // 3, date(2027, 3, 1) + timedelta(r.randint(0, 6))
    return {
        "colours": [pieces - 2 * third, third, third] if kind == "three colours" else [pieces],
        "pots": [r.choice([6, 8]), r.choice([12, 15, 20])] if kind == "two pots" else [r.choice([6, 8, 10])] * r.choice([1, 2]),
        "sets": 1 if kind == "one mould" else r.choice([1, 2, 3]),
        "passes": passes.get(kind, (r.choice([0.8, 0.9, 0.97]), r.choice([0.85, 0.95]))),
        "pour": r.choice([0.5, 1, 2]),
        "load": r.choice([8, 15, 30]),
        "take": r.choice([1, 2, 4]),
        "finish": r.choice([3, 6, 12]),
        "cure": r.choice([6, 14, 24, 40]),
        "rest": r.choice([0, 8]),
        "open": (opens, closes),
        "days": days,
        "cap": r.choice([90, 180, 60 * (closes - opens)]),  # a day
        "pack": r.choice([0, 30, 180, 480]),
        "price": 12 * pieces,
        "start": start,
        "due": start + timedelta(1 if kind == "late" else r.randint(5, 40)),
        "policy": r.choice([ONE_GO, "count, then top up"]),
        "set_of": 2 if kind == "sets" else 1,
    }


def study_of(c):
    """The order as a study file, with nothing uncertain but what becomes of each cast."""
    opens, closes = c["open"]
    week = "\n".join(f'{DAYS[day]} = "{opens:02d}:00-{closes:02d}:00"' for day in c["days"])
    alike = len(set(c["pots"])) == 1
    pots = f"count = {len(c['pots'])}\nplaces = {c['pots'][0]}" if alike else f"places = {c['pots']}"
    colours = ", ".join(f"c{n} = {pieces}" for n, pieces in enumerate(c["colours"]))
    first, second = c["passes"]
    return f"""
[study]
name = "Sea Pinks (invented)"
craft = "epoxy"
currency = "EUR"
locale = "en_IE"
invented = true
[time]
weeks = "46 week/year"
hours = "{min(len(c["days"]) * (closes - opens), 60)} h/week"
fixed_hours = "1 h/week"
[calendar]
{week}
[target]
per_hour = "15 EUR/h"
[stations.pot]
{pots}
[products.hook]
casts_per_load = {max(c["pots"])}
load_correlation = "0 %"
[products.hook.steps.pour]
minutes = "{c["pour"]} min"
materials.resin = {{ quantity = "20 g", price = "0.02 EUR/g" }}
[products.hook.steps.cure]
load_minutes = "{c["load"]} min"
wait = "{c["cure"]} h"
wait_in = "pot"
[products.hook.steps.take-out]
minutes = "{c["take"]} min"
pass_share = "{100 * first:g} %"
[products.hook.steps.finish]
minutes = "{c["finish"]} min"
pass_share = "{100 * second:g} %"
[products.hook.mould]
minutes = "0 min"
life = 1000000
sets = {c["sets"]}
rest = "{c["rest"]} h"
[channels.direct]
product = "hook"
orders = "1 orders/year"
pieces_per_order = {sum(c["colours"])}
price = "{c["price"]} EUR"
fee_share = "3 %"
postage_paid = "5 EUR"
minutes_per_order = "{c["pack"]} min"
[overheads]
power = "120 EUR/year"
[orders]
hours = "{len(c["days"]) * c["cap"] / 60} h/week"
[commissions.first]
product = "hook"
pieces = {sum(c["colours"])}
{f"variants = {{ {colours} }}" if c["colours"][1:] else ""}
start = {c["start"]}
due = {c["due"]}
channel = "direct"
policy = "{c["policy"]}"
price = "{c["price"]} EUR"
set_of = {c["set_of"]}
"""


def sizes_of(c):
    """Full loads in turn: the larger pot first where two differ."""
    return sorted(c["pots"], reverse=True) if len(set(c["pots"])) > 1 else c["pots"][:1]


def in_loads(c, casts):
    """So many casts of each colour in loads one after the other; no set is split over two loads."""
    queue, loads, sizes = [colour for colour, n in enumerate(casts) for _ in range(n)], [], sizes_of(c)
    while queue:
        load, queue = queue[: sizes[len(loads) % len(sizes)]], queue[sizes[len(loads) % len(sizes)] :]
        loads.append([load.count(colour) for colour in range(len(casts))])
    return loads


def cast(c, load, rng):
    """A load with its fate: what fails at the first check and what is good in the end."""
    first, second = c["passes"]
    out = [int(rng.binomial(n, first)) for n in load]
    return {"size": sum(load), "out": sum(out), "good": [int(rng.binomial(n, second)) for n in out], "at": "curing"}


def hours_of(c, load):
    """Minutes of hands that a whole load takes."""
    return load["size"] * (c["pour"] + c["take"]) + c["load"] + load["out"] * c["finish"]


def made(c, first, rng):
    """One course of the order from its first loads on: end of packing, and every load that was to be cast."""
    pots, moulds, loads, queue, packing, complete = [0.0] * len(c["pots"]), [0.0] * c["sets"], [], list(first), c["pack"], None
    have, share, opens, closes, extra = [0] * len(c["colours"]), math.prod(c["passes"]), *c["open"], 0
    working = (n for n in range(700) if (c["start"] + timedelta(n)).weekday() in c["days"])
    for day in working:
        t, end, worked = day * 1440 + opens * 60.0, day * 1440 + closes * 60.0, 0.0
        while t < end - 1e-9:
            short = [max(want - got, 0) for want, got in zip(c["colours"], have, strict=True)]
            if complete is not None:
                span = min(packing, c["cap"] - worked, end - t)
                packing, worked, t = packing - span, worked + span, t + span
                if packing <= 1e-9:
                    return (t if c["pack"] else complete), loads + [cast(c, load, rng) for load in queue]
                if span <= 1e-9:
                    break
                continue
            if not queue and any(short) and all(load["at"] == "done" for load in loads):
                if c["policy"] == ONE_GO:  # another full load of all colours
                    size = sizes_of(c)[extra % len(sizes_of(c))]
                    queue, extra = [[len(range(n, size, len(short))) for n in range(len(short))]], extra + 1
                else:
                    queue = in_loads(c, [math.ceil(n / share - 1e-9) + (share < 1) if n else 0 for n in short])
            if queue:
                size = sum(queue[0])
                sitting = size * c["pour"] + c["load"]
                pot = [n for n, free in enumerate(pots) if free <= t + 1e-9 and c["pots"][n] >= size]
                mould = [n for n, free in enumerate(moulds) if free <= t + 1e-9]
                if pot and mould and t + sitting <= end + 1e-9 and (not worked or worked + sitting <= c["cap"] + 1e-9):
                    t, worked = t + sitting, worked + sitting
                    load = cast(c, queue.pop(0), rng) | {"ready": t + 60 * c["cure"], "left": size * c["take"], "mould": mould[0]}
                    pots[min(pot, key=lambda n: c["pots"][n])], moulds[mould[0]] = load["ready"], math.inf
                    loads.append(load)
                    continue
            changes = [*pots, *moulds, *(load["ready"] for load in loads)]
            until = min([end, *(moment for moment in changes if t + 1e-9 < moment)])
            load = next((load for load in loads if load["at"] != "done" and load["ready"] <= t + 1e-9), None)
            if load is None or worked >= c["cap"] - 1e-9:
                t = until
                continue
            span = min(load["left"], c["cap"] - worked, until - t)
            load["left"], worked, t = load["left"] - span, worked + span, t + span
            if load["left"] <= 1e-9 and load["at"] == "curing":
                moulds[load["mould"]] = t + 60 * c["rest"]
                load["at"], load["left"] = "finishing", load["out"] * c["finish"]
            if load["left"] <= 1e-9 and load["at"] == "finishing":
                load["at"] = "done"
                have = [got + n // c["set_of"] * c["set_of"] for got, n in zip(have, load["good"], strict=True)]
                complete = t if all(got >= want for got, want in zip(have, c["colours"], strict=True)) else None
    raise AssertionError("not within the calendar")


def pay_of(c, year_hours, finish, loads):
    """What an hour brings: 3 % fees, 5 of postage, 0.40 of resin a cast, and the order's part of 120 of overheads and 46 weekly hours."""
    bench = sum(hours_of(c, load) for load in loads) / 60
    part = min(bench / year_hours, finish / 1440 / 7 / 46)
    left = 0.97 * c["price"] - 5 - 0.4 * sum(load["size"] for load in loads) - 120 * part
    return left / (bench + c["pack"] / 60 + 46 * part)
