"""The invented logs of a first order: evenings of a maker who makes moulds, casts, finishes, counts and tops up.

ALL OF IT IS INVENTED. A fixed seed; `make_demo_logs.py` calls this. An evening goes first to what came out of the pots, then to the
pots, then to the oldest hooks on the bench; a load is checked on the evening on which its last hook is polished.
"""

from collections import Counter, defaultdict, deque

import numpy as np
from make_demo_logs import minutes, scatter, survivors, value

NAME, SEED = "samphire-hooks", 61
COLUMNS = {
    "timesheet": "date step minutes product pieces_handled pieces_passed until order note",
    "batches": "batch date product station moulds casts good checked mixed_mass_g room_c cure_h order note",
    "faults": "date batch product step cause pieces fate",
    "moulds": "mould product cavities made material_g minutes",
    "purchases": "date item kind quantity unit paid tax_included useful_years resale order",
    "sales": "date order channel product pieces price postage_charged postage_paid packaging fees refund kind",
}
TRUTH = {
    "product.steps.pour.minutes": "0.6 min", "product.steps.place-in-pot.load_minutes": "17 min", "product.steps.take-out.minutes": "2.2 min",
    "product.steps.take-out.pass_share": "89 %", "product.steps.sand.minutes": "4.9 min", "product.steps.sand.pass_share": "97 %",
    "product.steps.paint-tip.minutes": "2.3 min", "product.steps.wipe.minutes": "0.8 min", "product.steps.polish-and-check.minutes": "1.8 min",
    "product.steps.polish-and-check.pass_share": "96.5 %", "product.steps.fit-screws.minutes": "0.7 min",
}  # fmt: skip
CASTING = ("mix", "pour", "place-in-pot")
FIRST_DAY, ORDER = np.datetime64("2026-01-12"), "first-order"
EVENING, SATURDAY = 200.0, 250.0  # minutes of hands
LOOSE_WEEK = (
    np.datetime64("2026-01-26"),
    np.datetime64("2026-01-31"),
)  # in which sanding was written down once, for all its days
MOULD_MINUTES = {"bottom-half": 31, "lid": 28, "vent-and-label": 15}
# evening -> moulds begun (a bottom half), and casts from the moulds there are: copies for the next masters, then the first colours
MOULDS = {0: 1, 2: 1, 4: 3, 6: 3}
EARLY = {2: ("", 3), 3: ("", 3), 4: ("samphire", 6), 5: ("samphire", 6), 6: ("samphire", 15), 7: ("slate", 15)}
LOAD = 12  # casts of four moulds, in either pot


def evenings():
    """Weekdays and Saturdays from the first day on."""
    day = FIRST_DAY
    while True:
        if np.is_busday(day, weekmask="1111110"):
            yield day
        day += 1


class Bench:
    """What lies on the bench, and all that is written down."""

    def __init__(self, study, rng):
        self.product, self.rng = next(iter(study["products"].values())), rng
        self.steps = list(self.product["steps"])[len(CASTING) :]
        self.colours = study["commissions"][ORDER]["variants"]
        self.rows = defaultdict(list)
        self.piles = deque()  # of a batch: step it waits for, pieces, and the evening after which it can go on
        self.good, self.moulds = Counter(), 0

    def write(self, log, **row):
        """A row of a log; hours and purchases of this project are all of its order."""
        self.rows[log].append({"order": ORDER, **row} if log in ("timesheet", "purchases") else row)

    def cast(self, day, station, lots):
        """A load of one or more colours; what has no colour is kept as masters."""
        entry = self.product["steps"]
        casts = sum(count for _, count in lots)
        number = f"S{1 + sum(row['first'] for row in self.rows['batches']):02d}"
        times = {
            "mix": 6.5 * len(lots),
            "pour": value(entry["pour"], "minutes") * casts,
            "place-in-pot": value(entry["place-in-pot"], "load_minutes"),
        }
        for step, true in times.items():
            self.write("timesheet", date=day, step=step, minutes=minutes(self.rng, true), pieces_handled=casts)
        for at, (colour, count) in enumerate(lots):
            mass = round((count * 24.5 + 16) * scatter(self.rng, 0.02))
            batch = {"batch": number + ("abcdefgh"[at] if len(lots) > 1 else ""), "date": day, "station": station, "casts": count}
            batch |= {
                "mixed_mass_g": mass,
                "room_c": round(17.5 + self.rng.normal(0, 0.7), 1),
                "cure_h": round(21.6 + self.rng.normal(0, 0.4), 1),
            }
            batch |= (
                {"order": f"{ORDER} / {colour}", "first": at == 0} if colour else {"note": "copies for masters", "first": True}
            )
            batch |= {"colour": colour, "good": count, "checked": day + 1} if not colour else {"colour": colour}
            self.write("batches", **batch)
            if colour:
                self.piles.append([batch["batch"], 0, count, day])
        return sum(times.values())

    def finish(self, day, left, only=None):
        """Work through the oldest piles while the evening lasts; `only` what must be taken out."""
        done, fresh = Counter(), deque()
        while self.piles:
            batch, at, pieces, since = self.piles.popleft()
            poured = next(row for row in self.rows["batches"] if row["batch"] == batch)
            step = self.steps[at]
            takes = value(self.product["steps"][step], "minutes") * pieces
            if since >= day or takes > left or (only is not None and at != only):
                fresh.append([batch, at, pieces, since])
                continue
            left -= takes
            passed = self.check(day, poured, step, pieces)
            done[step] += pieces
            done[step, "passed"] += passed
            if step == "polish-and-check":
                poured.update(good=passed, checked=day)
                self.good[poured["colour"]] += passed
            if at + 1 < len(self.steps) and passed:
                self.piles.append([batch, at + 1, passed, day if step == "wipe" else since])  # paint dries overnight
        self.piles = deque(sorted(fresh, key=lambda pile: (pile[0], pile[1])))
        for step in self.steps:
            if done[step]:
                entry = self.product["steps"][step]
                row = {"minutes": minutes(self.rng, value(entry, "minutes") * done[step], 0.15), "pieces_handled": done[step]}
                self.write(
                    "timesheet",
                    date=day,
                    step=step,
                    **row,
                    **({"pieces_passed": done[step, "passed"]} if "pass_share" in entry else {}),
                )
        return left

    def check(self, day, batch, step, pieces):
        """Pieces that pass; what fails is written down by its cause."""
        entry = self.product["steps"][step]
        passed = survivors(self.rng, pieces, value(entry, "pass_share", 1.0))
        weights = np.array(list(entry.get("causes", {"": 1}).values()), float)
        for cause, lost in zip(entry.get("causes", ()), self.rng.multinomial(pieces - passed, weights / weights.sum())):
            if lost:
                self.write("faults", date=day, batch=batch["batch"], step=step, cause=cause, pieces=lost, fate="scrap")
        return passed

    def make_moulds(self, day, step, count):
        """Minutes of one step for so many moulds, written down; silicone as poured."""
        taken = minutes(self.rng, MOULD_MINUTES[step] * count, 0.12)
        self.write("timesheet", date=day, step=step, minutes=taken, product="")
        for _ in range(count if step == "vent-and-label" else 0):
            self.moulds += 1
            row = {"mould": f"SM{self.moulds}", "cavities": 3, "made": day, "material_g": round(276 * scatter(self.rng, 0.03))}
            self.write("moulds", **row, minutes=round(74 * scatter(self.rng, 0.1)))
        return taken

    @property
    def short(self):
        """Pieces still short by colour."""
        return {colour: wanted - self.good[colour] for colour, wanted in self.colours.items() if wanted > self.good[colour]}


def planned_loads(colours):
    """Casts of the first round by evening: two loads of twelve, 36 to 39 of a colour."""
    left = {colour: 36 for colour in colours} | {"samphire": 12, "slate": 24}
    loads = [[(colour, LOAD)] for colour in colours for _ in range(left[colour] // LOAD)]
    return [loads[at : at + 2] for at in range(0, len(loads), 2)]


def top_up(short):
    """Loads of at most twelve that make good what is short: a fifth more and one of each colour, colours side by side."""
    loads, free = [[]], LOAD
    for colour, count in short.items():
        casts = -(-count * 6 // 5) + 1
        while casts:
            if not free:
                loads, free = [*loads, []], LOAD
            took = min(casts, free)
            loads[-1].append((colour, took))
            casts, free = casts - took, free - took
    return [loads[at : at + 2] for at in range(0, len(loads), 2)]


def make_logs(study, rng):
    """Rows of every log, evening by evening until the last hook is packed."""
    bench = Bench(study, rng)
    colours = list(bench.colours)
    waiting = planned_loads(colours)
    for number, day in enumerate(evenings()):
        left = SATURDAY if day == np.busday_offset(day, 0, roll="forward", weekmask="0000010") else EVENING
        left = bench.finish(day, left, only=0)  # first what came out of the pots
        for begun, count in MOULDS.items():
            for step, later in zip(MOULD_MINUTES, range(3)):
                left -= bench.make_moulds(day, step, count) if number == begun + later else 0
        if number in EARLY:
            left -= bench.cast(day, "pot 2", [EARLY[number]])  # moulds cure in the other
        elif number >= 8:
            if not waiting and bench.short and not bench.piles:  # all is counted: cast what is short
                waiting = top_up(bench.short)
            for pot, lots in enumerate(waiting.pop(0) if waiting else [], start=1):
                left -= bench.cast(day, f"pot {pot}", lots)
        bench.finish(day, left)
        if number >= 8 and not (waiting or bench.piles or bench.short):
            break
    _beside(bench, day)
    return {log: rows for log, rows in bench.rows.items()}


def _beside(bench, last):
    """What goes on round the bench: trying out, photographs, receipts, packing and the payment; a week of sanding in one row."""
    write, rng = bench.write, bench.rng
    for day, step, took in (
        ("2026-01-12", "trying-colours", 150),
        ("2026-01-14", "trying-colours", 95),
        ("2026-02-21", "photographs", 140),
    ):
        write("timesheet", date=np.datetime64(day), step=step, minutes=took, product="")
    sheet = bench.rows["timesheet"]
    week = [row for row in sheet if row["step"] == "sand" and LOOSE_WEEK[0] <= row["date"] <= LOOSE_WEEK[1]]
    if week:
        whole = {key: sum(row[key] for row in week) for key in ("minutes", "pieces_handled", "pieces_passed")}
        whole["minutes"] = 30 * round(whole["minutes"] / 30)
        bench.rows["timesheet"] = [row for row in sheet if row not in week]
        write("timesheet", date=week[0]["date"], step="sand", until=week[-1]["date"], **whole, note="all that week")
    packed = np.busday_offset(last, 1, roll="forward", weekmask="1111110")
    write("timesheet", date=packed, step="direct", minutes=165, pieces_handled=1, note="packing and posting")
    resin = sum(row["mixed_mass_g"] for row in bench.rows["batches"]) / 1000
    receipts = [
        ("2026-01-08", "pots-and-compressor", "equipment", 1, "", 604.0, 8, 150),
        ("2026-01-08", "hand-tools-and-scales", "equipment", 1, "", 148.5, 5, ""),
        ("2026-01-09", "silicone", "material", 3, "kg", 79.5, "", ""),
        ("2026-01-09", "resin", "material", 7.5, "kg", 114.0, "", ""),
        ("2026-01-09", "pigment", "material", 400, "piece", 15.6, "", ""),
        ("2026-01-23", "paper", "consumable", 350, "piece", 24.4, "", ""),
        ("2026-01-30", "paint", "material", 300, "piece", 17.8, "", ""),
        ("2026-02-03", "resin", "material", max(1.5 * np.ceil((resin - 7.5) / 1.5), 1.5), "kg", 0.0, "", ""),
        ("2026-02-20", "screws-and-plugs", "material", 300, "piece", 47.1, "", ""),
        ("2026-01-16", "gloves-and-filters", "overhead", 1, "piece", 31.2, "", ""),
    ]
    for day, item, kind, quantity, unit, paid, years, resale in receipts:
        paid = paid or round(quantity * 18.2 * scatter(rng, 0.02), 2)
        write(
            "purchases",
            date=np.datetime64(day),
            item=item,
            kind=kind,
            quantity=quantity,
            unit=unit,
            paid=paid,
            useful_years=years,
            resale=resale,
        )
    sale = {
        "channel": "direct",
        "pieces": sum(bench.colours.values()),
        "price": 1690.0,
        "postage_charged": 0,
        "postage_paid": 23.6,
    }
    write("sales", date=packed + 9, order="first-order", **sale, packaging=17.8, fees=0, refund=0, kind="sale")
