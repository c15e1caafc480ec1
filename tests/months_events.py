"""A year of a workshop as an event simulation, month by month, written from the rules of the trade alone; and random workshops.

Orders come in on days of the month and queue by channel, the oldest first. Pots, racks, moulds and hands gather time while the weeks
go by that are worked; at the end of a month the time that there was is given to what was asked for, and what was not used is gone:

- an order of which a part went out in an earlier month is finished first: with what stands on the shelf, then with what is made for it;
- what else stands on the shelf goes out and takes packing only, to the month's own orders before those that wait;
- then the month's own orders are made, then those that wait (of a product none of whose own had to be cut), then what the shelf lacks;
- what is short for one of these is shared out by cutting all its products that need it by the same share: first what one product
  alone needs, then what more and more share, hands last of all, which everything needs;
- what went out goes to the oldest order of the channel; an order may go out in parts. What is not made waits a month if the buyer does;
  an order that is begun by then is not given up: it is worked on month after month until it is done.

Packing takes the minutes of the orders that were made, though older ones get them: where orders differ in size, that is no longer the same.
"""

from functools import cache
from itertools import product

import numpy as np
import simpy
from scipy import stats

from casting_econ.models import Channel, InMoulds, Mould, Product, Rack, Station, Step, Workshop, loads_per_week
from casting_econ.models.workshop import Luck, Months, Risk

KINDS = "begun", "own", "old"  # of orders: those of which a part has gone out, those of the month, others that wait
DAYS = 30.4  # of a month, on which orders come in; no more than their order matters
rate_of = cache(loads_per_week)  # the same in most months


class Year:
    """One year drawn: processes for buyers, for rare events and for the weeks that go by."""

    def __init__(self, a, row):
        self.a, self.row, self.env = a, row, simpy.Environment()
        self.queues = {c.name: [] for c in a.channels}  # [month it came, orders, pieces] not gone out yet
        self.shelf = {p.name: p.shelf for p in a.products}
        self.ill, self.stopped = np.zeros(12), {s.name: np.zeros(12) for s in a.stations}  # weeks lost
        self.told = []
        whole = a.weeks_per_year * a.months.working
        for risk in a.risks:
            self.strike(risk, whole)
        self.weeks = np.maximum(whole - self.ill, 0.0)
        self.number, self.sizes = {}, {}
        for c in a.channels:
            self.number[c.name], self.sizes[c.name] = self.luck_of(c)
        asked = {p.name: sum(self.sizes[c.name].sum() for c in a.channels if c.product == p.name) for p in a.products}
        usual = {
            p.name: sum(c.orders_per_year * c.pieces_per_order for c in a.channels if c.product == p.name) for p in a.products
        }
        self.ruined = {p.name: p.ruined_loads_per_year / usual[p.name] for p in a.products}  # loads a piece
        self.asked = asked

    def luck_of(self, c):
        """Orders and pieces of a channel month by month, as a general library has the quantiles."""
        a, far = self.a, np.broadcast_to(c.clustering, self.a.months.luck.orders[c.name].shape[:1])[self.row]
        u, v = (of[c.name][self.row] for of in (a.months.luck.orders, a.months.luck.sizes))
        mean = c.orders_per_year * a.months.season
        number = stats.poisson.ppf(u, mean) if far == 0 else stats.nbinom.ppf(u, 1 / far, 1 / (1 + far * mean))
        number = np.where(mean > 0, np.maximum(number, 0.0), 0.0)
        if c.size_spread == 0:
            return number, number * c.pieces_per_order
        scale = c.pieces_per_order * c.size_spread**2
        return number, np.where(number > 0, stats.gamma.ppf(v, np.maximum(number, 1) / c.size_spread**2, scale=scale), 0.0)

    def strike(self, risk, weeks):
        """A rare event takes the weeks of the month it starts in, and goes on into the next; of the year before into this January."""
        u = self.a.months.luck.risks[risk.name][self.row]
        if u >= risk.chance:
            return
        month, left = int(12 * u / risk.chance), risk.weeks
        lost = self.ill if risk.stops is None else self.stopped[risk.stops]
        for after in range(12):
            taken = min(left, weeks[(month + after) % 12])
            lost[(month + after) % 12] += taken
            left -= taken

    def run(self):
        """The months of a year that begins with the shelf that years like it leave again: full where they fill it, else what they can."""
        full = {p.name: p.shelf for p in self.a.products}
        filled, least = (Year(self.a, self.row).year(of)[-1]["shelf"] for of in (full, dict.fromkeys(full, 0.0)))
        return self.year({name: full[name] if filled[name] > full[name] - 1e-7 else least[name] for name in full})

    def year(self, shelf):
        """The months of a year that begins with so much on the shelf, the December before it left out."""
        self.settle_december_before()
        self.shelf = dict(shelf)
        self.env.process(self.calendar())
        for c in self.a.channels:
            self.env.process(self.buyers(c))
        self.env.run()
        return self.told

    def settle_december_before(self):
        """A December like this year's, with no order waiting from before and a full shelf, leaves what waits for January."""
        for c in self.a.channels:
            count = int(self.number[c.name][11])
            self.queues[c.name] += [[11, 1.0, self.sizes[c.name][11] / count] for _ in range(count)]
        self.settle(11)
        self.told.clear()
        for queue in self.queues.values():
            for order in queue:
                order[0] = -1

    def buyers(self, c):
        """Orders of a month come in one by one on its days."""
        for month in range(12):
            count = int(self.number[c.name][month])
            for one in range(count):
                yield self.env.timeout(month * DAYS + DAYS * (one + 1) / (count + 1) - self.env.now)
                self.queues[c.name].append([month, 1.0, self.sizes[c.name][month] / count])

    def calendar(self):
        """Months go by; at the end of each the time that there was is shared out."""
        for month in range(12):
            yield self.env.timeout((month + 1) * DAYS - self.env.now - 1e-6)
            self.settle(month)

    def rooms(self, month):
        """Time that there was: weeks of stations and of moulds, place-weeks of racks, hours of hands."""
        a, weeks = self.a, self.weeks[month]
        whole = a.weeks_per_year * a.months.working[month]
        rooms = {}
        for s in a.stations:
            rooms[s.name] = weeks * max(1 - self.stopped[s.name][month] / whole, 0.0) if whole > 0 else 0.0
        rooms |= {r.name: r.places * weeks for r in a.racks}
        rooms |= {f"moulds for {p.name}": weeks for p in a.products if p.mould}
        stalls = sum(c.days_per_year * c.hours_per_day for c in a.channels) * a.months.season[month]
        rooms["hands"] = max((a.hours_per_week - a.fixed_hours_per_week) * weeks - stalls, 0.0)
        return rooms

    def uses(self, p, month):
        """What making one good piece for sale takes of each resource, in the units of `rooms`, in the order in which it needs them."""
        a, entering, uses, waited = self.a, 1.0, {}, False
        good = np.prod([s.pass_share for s in p.steps])
        casts = 1 / good / (1 - p.unsold_share)
        loads = casts / p.casts_per_load + self.ruined[p.name]
        minutes, pour = 0.0, 0.0
        for step in p.steps:
            slower = a.months.slower.get((p.name, step.name), np.ones(12))[month]
            wait = step.wait_hours * slower
            minutes += casts * entering * step.minutes + casts / p.casts_per_load * step.load_minutes
            if not waited:  # a ruined load is lost where it first waits
                minutes += self.ruined[p.name] * (p.casts_per_load * step.minutes + step.load_minutes)
                pour += step.load_minutes / 60
            if step.wait_in in {s.name for s in a.stations}:
                count = next(s.count for s in a.stations if s.name == step.wait_in)
                rate = rate_of(wait, step.load_minutes / 60, count, a.windows)
                uses[step.wait_in] = (
                    uses.get(step.wait_in, 0) + (casts / p.casts_per_load + (0 if waited else self.ruined[p.name])) / rate
                )
            elif step.wait_in is not None:
                uses[step.wait_in] = uses.get(step.wait_in, 0) + casts * entering * wait / 168 * step.places_per_piece
            if wait > 0 and not waited and p.mould:
                sets = InMoulds(sets=p.mould.sets, rest_hours=p.mould.rest_hours)
                held = loads / rate_of(wait, pour, None, a.windows, sets)
            waited = waited or wait > 0
            entering *= step.pass_share
        if p.mould:
            uses[f"moulds for {p.name}"] = held
        return uses, minutes / 60

    def settle(self, month):
        """Share out the month's time, send parcels, fill the shelf, and note what became of it."""
        a, rooms = self.a, self.rooms(month)
        mine = {p.name: [c for c in a.channels if c.product == p.name] for p in a.products}
        each = {p.name: self.uses(p, month) for p in a.products}
        # pieces and hours of packing of each kind of orders, and pieces of them that go out
        asked, packs, out = ({kind: dict.fromkeys(mine, 0.0) for kind in KINDS} for _ in range(3))
        for name, channels in mine.items():
            for c in channels:
                for order in self.queues[c.name]:
                    asked[kind_of(order, month)][name] += order[2]
                    packs[kind_of(order, month)][name] += order[1] * c.minutes_per_order / 60
        full = []

        def do(make, **to):
            """Make pieces of each product and pack so many for each kind of orders, as far as there is time."""
            share = dict.fromkeys(make, 1.0)
            hours = {n: make[n] * each[n][1] for n in make}
            hours = {n: hours[n] + sum(over(to[kind][n], asked[kind][n]) * packs[kind][n] for kind in to) for n in hours}
            users = {}
            for n in make:
                for resource in each[n][0]:
                    users.setdefault(resource, []).append(n)
            wanted = {r: sum(make[n] * each[n][0][r] for n in users[r]) for r in users}
            for r in sorted(users, key=lambda r: len(users[r])):
                need = sum(make[n] * each[n][0][r] * share[n] for n in users[r])
                if need > rooms[r]:
                    share |= {n: share[n] * rooms[r] / need for n in users[r]}
            need = sum(hours[n] * share[n] for n in hours)
            short = {r: wanted[r] / rooms[r] if rooms[r] > 0 else np.inf for r in users if wanted[r] > rooms[r] * (1 + 1e-12)}
            taken = {r: sum(make[n] * each[n][0][r] * share[n] for n in users[r]) for r in short}
            short = {
                r: times for r, times in short.items() if taken[r] > rooms[r] * (1 - 1e-9) or rooms[r] == 0
            }  # full in the end
            limit = max(short, key=short.get) if short else "demand"
            if need > rooms["hands"]:
                limit = limit if need < rooms["hands"] * (1 + 1e-12) else "hands"
                share = {n: share[n] * rooms["hands"] / need for n in share}
            elif rooms["hands"] == 0 and sum(hours.values()) > 0:  # nobody is there
                limit = "hands"
            for r in users:
                rooms[r] = max(rooms[r] - sum(make[n] * each[n][0][r] * share[n] for n in users[r]), 0.0)
            rooms["hands"] = max(rooms["hands"] - sum(hours[n] * share[n] for n in hours), 0.0)
            for kind, n in product(to, make):
                out[kind][n] += to[kind][n] * share[n]
            full.append(limit)
            return share

        def off_the_shelf(*kinds):
            """Send what stands ready to orders of these kinds, one after the other; what of each is then still to be made."""
            ready = {kind: dict.fromkeys(mine, 0.0) for kind in kinds}
            for kind, n in product(kinds, mine):
                ready[kind][n] = min(self.shelf[n] - sum(ready[other][n] for other in kinds), asked[kind][n])
            share = do(dict.fromkeys(mine, 0.0), **ready)
            for n in mine:
                self.shelf[n] -= sum(ready[kind][n] for kind in kinds) * share[n]
            return ({n: asked[kind][n] - ready[kind][n] for n in mine} for kind in kinds)

        (make,) = off_the_shelf("begun")
        do(make, begun=make)
        make, later = off_the_shelf("own", "old")
        share = do(make, own=make)
        make = {n: later[n] if share[n] == 1 else 0.0 for n in mine}
        do(make, old=make)
        lacks = {p.name: p.shelf - self.shelf[p.name] for p in a.products}
        limit = next((one for one in full if one != "demand"), "demand")
        first = sum(out["begun"][n] for n in mine if share[n] < 1)
        share = do(lacks)
        for n in mine:
            self.shelf[n] += lacks[n] * share[n]
        told = {kind: {} for kind in ("met", "lost", "waits", "begun", "pieces")}
        told |= {"limit": limit, "shelf": dict(self.shelf), "first": first}
        for n, channels in mine.items():
            for c in channels:
                self.send(c, month, {kind: over(out[kind][n], asked[kind][n]) for kind in KINDS}, told)
        self.told.append(told)

    def send(self, c, month, share, told):
        """Parcels of a channel: as many pieces as were made for it, to its oldest orders first."""
        queue = self.queues[c.name]
        pieces = sum(order[2] * share[kind_of(order, month)] for order in queue)
        told["pieces"][c.name], met = pieces, 0.0
        for order in queue:
            part = min(1.0, pieces / order[2]) if order[2] > 0 else 1.0
            met, pieces = met + order[1] * part, pieces - order[2] * part
            order[1], order[2] = order[1] * (1 - part), order[2] * (1 - part)
        told["met"][c.name] = met
        stay = [order for order in queue if c.waits and order[1] > 1e-9 and (order[0] == month or order[1] < 1 - 1e-9)]
        told["lost"][c.name] = sum(order[1] for order in queue) - sum(order[1] for order in stay)
        told["begun"][c.name] = sum(order[1] for order in stay if order[0] != month)
        self.queues[c.name] = stay
        told["waits"][c.name] = sum(order[1] for order in self.queues[c.name])


def kind_of(order, month):
    """Which of `KINDS` an order is: of a part that went out in an earlier month nothing is left but the rest."""
    return "own" if order[0] == month else "begun" if order[1] < 1 - 1e-9 else "old"


def over(part, whole):
    """Part over whole, nothing where there is no whole."""
    return part / whole if whole > 0 else 0.0


def random_workshop(seed, draws=2):
    """A workshop of one to three products with seasons, cold months, weeks off, rare events, shelves and luck, now short of this, now of that."""
    rng = np.random.default_rng(seed)

    def some(low, high, chance=1.0, otherwise=0.0):
        return float(rng.uniform(low, high)) if rng.random() < chance else otherwise

    windows = tuple((24 * day + 9, 24 * day + 9 + int(rng.integers(3, 9))) for day in range(5))
    products, channels, slower = [], [], {}
    for name in ("bowl", "tile", "bead")[: rng.integers(1, 4)]:
        ruined = some(0.5, 4, 0.3)
        steps = [
            Step(name="pour", minutes=some(0.2, 3), pass_share=1.0 if ruined else some(0.7, 1)),
            Step(
                name="cure",
                load_minutes=some(5, 40),
                wait_hours=some(2, 40),
                pass_share=some(0.7, 1),
                wait_in="pot" if rng.random() < 0.7 else None,
            ),
            Step(name="lift"),
            Step(name="sand", minutes=some(0.5, 15), pass_share=some(0.6, 1)),
            Step(name="dry", wait_hours=some(20, 300), wait_in="rack" if rng.random() < 0.4 else None),
        ]
        mould = Mould(material_cost=0.0, minutes=0.0, life_casts=30.0, sets=float(rng.integers(1, 3)), rest_hours=some(0, 20))
        products.append(
            Product(
                name=name,
                casts_per_load=float(rng.integers(3, 20)),
                steps=tuple(steps),
                unsold_share=some(0, 0.2, 0.5),
                ruined_loads_per_year=ruined,
                mould=mould if rng.random() < 0.4 else None,
                shelf=float(rng.integers(1, 60)) if rng.random() < 0.4 else 0.0,
            )
        )
        if rng.random() < 0.5:
            slower[name, "cure"] = rng.choice([1.0, 1.5, 2.5], 12)
        for where in ("shop", "fair")[: rng.integers(1, 3)]:
            stall = where == "fair" and rng.random() < 0.5
            channels.append(
                Channel(
                    name=f"{where} of {name}",
                    product=name,
                    orders_per_year=some(1, 90),
                    pieces_per_order=float(rng.integers(1, 12)),
                    price=10.0,
                    minutes_per_order=some(1, 40, 0.8),
                    clustering=rng.uniform(0.2, 2, draws) if rng.random() < 0.4 else 0.0,
                    size_spread=some(0.2, 1, 0.4),
                    waits=bool(rng.random() < 0.6),
                    days_per_year=some(1, 12) if stall else 0.0,
                    hours_per_day=6.0,
                )
            )
    season, working = rng.gamma(1.5, 1.0, 12) * (rng.random(12) < 0.85), rng.uniform(0.5, 1, 12) * (rng.random(12) < 0.9)
    season[3], working[8] = season[3] + 0.5, working[8] + 0.5  # never none at all
    risks = [Risk(name="ill", chance=some(0.2, 0.9), weeks=some(1, 12))] if rng.random() < 0.5 else []
    risks += [Risk(name="pump", chance=some(0.2, 0.9), weeks=some(1, 20), stops="pot")] if rng.random() < 0.5 else []
    names = [c.name for c in channels]
    luck = Luck(
        orders={name: rng.random((draws, 12)) for name in names},
        sizes={name: rng.random((draws, 12)) for name in names},
        risks={risk.name: rng.random(draws) for risk in risks},
    )
    return Workshop(
        weeks_per_year=some(20, 50),
        hours_per_week=some(2, 50),
        fixed_hours_per_week=some(0, 2),
        windows=windows,
        target_per_hour=15.0,
        living_per_year=20_000.0,
        set_aside_share=0.0,
        products=tuple(products),
        channels=tuple(channels),
        stations=(Station(name="pot", count=int(rng.integers(1, 3))),),
        racks=(Rack(name="rack", places=some(2, 80)),),
        risks=tuple(risks),
        months=Months(working=working / working.sum(), season=season / season.sum(), slower=slower, luck=luck),
    )
