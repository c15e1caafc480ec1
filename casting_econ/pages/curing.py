"""The curing page: what is full, the staircase of loads a week, and the cold months."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..kit import Answer, OpenStudy, format_of
from ..models import InMoulds, Product, evaluate, hours_at_temperature, in_moulds, loads_per_week, with_levers
from ..models.curing import ENOUGH_LOADS
from ..models.year import DEMAND
from ..study.fields import MONTHS
from .table import shown


@dataclass(frozen=True, kw_only=True)
class LoadWait:
    """A wait of a load: in which step and place, how long, how it is turned round, and what its moulds go through after it."""

    product: str
    step: str
    resource: str  # name in Outcome.utilisation
    wait_hours: float  # in station or mould [hour]
    turnaround_hours: float  # [hour]
    count: int  # stations, or sets of moulds
    stations: int | None = None  # where moulds are counted: stations that it waits in too
    moulds: InMoulds | None = None  # None: none limit
    sizes: tuple[float, ...] = ()  # of the loads in turn, where the stations differ [piece]

    @property
    def rest_hours(self) -> float:
        """Of the moulds, where they are what is counted. [hour]"""
        return float(self.moulds.rest_hours) if self.moulds and self.resource == moulds_for(self.product) else 0.0

    def loads(self, windows, hours=None, count=None):
        """Loads a week that it lets through, as it is or with other hours or another count. [load/week]"""
        hours, count = self.wait_hours if hours is None else hours, self.count if count is None else count
        if self.resource == moulds_for(self.product):
            stations, moulds = self.stations, replace(self.moulds, sets=count)
        else:
            stations, moulds = count, self.moulds
            if self.sizes and moulds:  # what there would be more holds the mean of those that are there
                moulds = replace(moulds, shares=(*moulds.shares, *(1.0,) * (count - len(moulds.shares))))
        return loads_per_week(np.asarray(hours), self.turnaround_hours, stations, windows, moulds, ENOUGH_LOADS)


def moulds_for(product: str) -> str:
    """Name of a product's moulds among what can be full."""
    return f"moulds for {product}"


def load_waits(p: Product, minutes, stations: dict[str, int], counts_moulds: bool) -> list[LoadWait]:
    """Waits of a product's loads, at a point, in stations with load minutes and in its moulds, where those can be full.

    `minutes` is hand work by step, load minutes in it [min/piece entering]; `stations` says how many there are, by name.
    """
    pour, _, use = in_moulds(p, minutes) if counts_moulds else (0.0, 0.0, None)
    first, found = None if p.first_wait is None else p.steps[p.first_wait], []
    by_hand = use is not None and float(use.work_hours) > 0
    for step in p.steps:
        here = {"product": p.name, "step": step.name, "wait_hours": float(step.wait_hours)}
        count = None if step.wait_in not in stations else int(p.stations_for(step, stations[step.wait_in]))
        both = by_hand and step is first and step.load_size is None
        if count is not None and p.turn_minutes(step) > 0:
            turn = pour if both else p.turn_minutes(step) / 60.0
            sizes = tuple(map(float, p.pots)) if step is first and step.load_size is None else ()
            shared = {"turnaround_hours": float(turn), "moulds": use if both else None, "sizes": sizes}
            found.append(LoadWait(resource=step.wait_in, count=count, **here, **shared))
        if use is not None and step is first:
            shared = {"turnaround_hours": float(pour), "moulds": use, "stations": count if both else None}
            found.append(LoadWait(resource=moulds_for(p.name), count=int(use.sets), **here, **shared))
    return found


def load_wait(kit: OpenStudy) -> LoadWait | None:
    """The wait of a load that the staircase is about: of those that limit loads, the one demand fills most; None when no load waits in a station
    or a mould."""
    a, point = kit.inputs(), kit.point()
    use, stations, found = point.utilisation_at_demand, {s.name: int(s.count) for s in a.stations}, []
    for p in a.products:
        minutes = [step.minutes for step in point.products[p.name]["piece"].steps]
        found += load_waits(p, minutes, stations, moulds_for(p.name) in use)
    return max(found, key=lambda wait: float(use[wait.resource]), default=None)


def waits_around(hours: float) -> list[float]:
    """Waits to try around a study's own: a half to two and a half times, whole hours, its own among them."""
    tries = {round(hours * share) for share in (0.5, 0.75, 1.25, 1.5, 2.0, 2.5)}
    return sorted({float(t) for t in tries if t > 0} | {float(hours)}) or [0.0]


@shown(
    "curing-resources",
    "Use of each resource, and how often it is what limits",
    "resource: text; in use: percent; needed at full demand: percent; limits in draws: chance",
)
def resource_table(kit: OpenStudy, answer: Answer) -> pd.DataFrame:
    """How much of each resource is in use, what full demand would need, and how often it limits."""
    point, limits = kit.point(), answer.bottleneck
    needed = point.utilisation_at_demand.items()
    rows = [(name.replace("-", " "), float(point.utilisation[name]), float(use), limits[name]) for name, use in needed]
    return [*rows, (DEMAND, np.nan, np.nan, limits[DEMAND])]


@shown(
    "curing-months",
    "Month by month over the draws: orders that come, the share sent of all that are there (those that waited among them; what is begun is "
    "finished before a month's own orders), in how many years something is full and what most often; and what the expected orders need most",
    "month: text; orders: 1; 1 in 10 below: 0; 1 in 10 above: 0; sent: percent; something full: chance; most often: text; needed most: text; "
    "needed: percent; ready: 0",
    fold=True,
)
def month_table(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> pd.DataFrame:
    """What comes, is sent and is full in each month of a study whose months vary; empty for another. [order/month, -, piece]

    `needed` is the share of the resource that the orders expected in that month would take; `ready` are pieces on the shelf at its end.
    """
    if kit.variation != "months":
        return []

    def work(a):
        found = {}
        for m, month in enumerate(evaluate(a).months):
            came, met, lost, waits = (sum(each.values()) for each in (month.came, month.met, month.lost, month.waits))
            found |= {("came", m): came, ("met", m): met, ("there", m): met + lost + waits, ("binding", m): month.binding}
            found["ready", m] = sum(month.shelf.values())
        return found

    found, point, rows = kit.by_draw(work, draws, seed), kit.point(), []
    for m, month in enumerate(point.months):
        low, high = np.quantile(found["came", m], [0.1, 0.9])
        there, full = found["there", m].sum(), np.bincount(found["binding", m].astype(int), minlength=len(point.resources))[1:]
        most = point.resources[1 + int(full.argmax())].replace("-", " ") if full.any() else ""
        needed = max(month.utilisation, key=lambda name: float(month.utilisation[name]))
        sent, busy = found["met", m].sum() / there if there else np.nan, full.sum() / found["binding", m].size
        needs = needed.replace("-", " "), float(month.utilisation[needed]), found["ready", m].mean()
        rows.append((MONTHS[m].capitalize(), float(sum(month.came.values())), low, high, sent, busy, most, *needs))
    return rows


def month_sentence(kit: OpenStudy, frame: pd.DataFrame) -> str:
    """When something is full, and why the year as a whole does not show it; nothing where months do not vary."""
    if frame.empty:
        return ""
    fmt, worst, best = format_of(kit), frame.loc[frame["something full"].idxmax()], frame.loc[frame["something full"].idxmin()]
    text = "The shares above are of the whole year with as many orders as expected. Orders bunch, and what stands idle in a quiet month helps no busy one"
    if worst["something full"] < 0.005:
        return f"{text}; even so nothing is full in any month of nearly all years drawn."
    text += f": in **{worst.month}** something is full in {fmt.chance(worst['something full'])} of the years drawn, most often {worst['most often']}"
    if worst["something full"] - best["something full"] < 0.1:
        return f"{text}; other months are much the same."
    return f"{text}; in {best.month}, when it is least so, in {fmt.chance(best['something full'])}."


def stair_table(kit: OpenStudy, wait: LoadWait) -> pd.DataFrame:
    """Loads a week over cure hours, for what there is and one and two more. [load/week]"""
    hours = np.unique(np.append(np.linspace(0.0, 3.0 * wait.wait_hours, 241), wait.wait_hours))
    counts = np.arange(wait.count, wait.count + 3)
    # in one go, but where one more changes the loads in turn
    rates = np.vstack([wait.loads(kit.study.windows, hours, n) for n in (counts.tolist() if wait.sizes else [counts[:, None]])])
    return pd.DataFrame({"cure hours": hours} | {f"{n} in use": rate for n, rate in zip(counts, rates, strict=True)})


@shown(
    "curing-season",
    "The wait by month, by the stated temperatures",
    "month: text; temperature: 0; hours: 1; loads a week: 2",
    fold=True,
)
def temperature_table(kit: OpenStudy, wait: LoadWait | None) -> pd.DataFrame:
    """Hours of a load's wait by month, and the loads a week they let through; empty where the study states no temperatures."""
    climate = kit.study.file.temperature
    stated_at = None if wait is None else kit.study.file.products[wait.product].steps[wait.step].wait_at
    if stated_at is None or not climate.months:
        return []
    hours = hours_at_temperature(wait.wait_hours, stated_at, np.array(climate.months), climate.factor)
    rates = wait.loads(kit.study.windows, hours)
    return [(month.capitalize(), *row) for month, *row in zip(MONTHS, climate.months, hours, rates, strict=True)]


@shown("curing-staircase", "Loads a week from these hours on", "cure hours: significant; *: 2")
def stair_treads(frame: pd.DataFrame) -> pd.DataFrame:
    """Rows of a stair table at which a rate changes, from a tenth of its longest cure on, at most twenty of them."""
    frame = frame[frame["cure hours"] >= 0.1 * frame["cure hours"].max()]
    rows = frame[(frame.drop(columns="cure hours").diff().fillna(1.0) != 0).any(axis=1)]
    return rows.iloc[np.unique(np.linspace(0, len(rows) - 1, min(len(rows), 20)).astype(int))]


def loads_needed(kit: OpenStudy, wait: LoadWait) -> float:
    """Loads a week that expected demand asks of a load's wait. [load/week]"""
    rate = wait.loads(kit.study.windows)
    return float(kit.point().utilisation_at_demand[wait.resource] * rate)


def limit_sentence(kit: OpenStudy, answer: Answer) -> str:
    """What is full, or that nothing is."""
    fmt, shares = format_of(kit), sorted(answer.bottleneck.items(), key=lambda item: -item[1])
    seen = [f"{name.replace('-', ' ')} in {fmt.chance(share)}" for name, share in shares if share >= 0.005]
    first, full = shares[0][0], float(answer.draws["full_months"].mean()) if kit.variation == "months" else 0.0
    if first == "demand":
        helps = "more room to make would not help" if full < 0.5 else "in most months all that is asked for can be made"
        lead = f"What limits sales is **demand**: {helps if shares[0][1] >= 0.9 else 'in most draws all that could be sold can be made'}"
        if full >= 0.5 and shares[0][1] < 0.9:
            lead = "What limits sales more often than anything else is **demand**"
        more = evaluate(with_levers(kit.inputs(), demand=1.02))
        if more.totals["residual_pay_per_year"] <= kit.point().totals["residual_pay_per_year"]:
            lead += ", and more buyers at these prices would bring no money either"
    elif first == "hands":
        lead = "What limits sales is **hands**: there are more buyers than hours to serve them"
    else:
        lead = f"What limits sales is **{first.replace('-', ' ')}**: it is full before demand is met"
    if kit.certain:
        return f"{lead}."
    if full >= 0.05:
        return f"{lead} (most of a year's months: {', '.join(seen)} of the years drawn). In {fmt.number(full, 1)} months of a year, on average, something is full, and orders wait or are lost."
    return f"{lead} (of the draws: {', '.join(seen)})."


def stair_sentence(kit: OpenStudy, wait) -> str:
    """Where the study stands on the staircase, and how far the next stair is."""
    fmt = format_of(kit)
    longer = wait.wait_hours + 0.25 * np.arange(1, 4 * 72)
    shorter = wait.wait_hours - 0.25 * np.arange(max(int(4 * wait.wait_hours), 1))  # what is now first
    less, more = wait.loads(kit.study.windows, longer), wait.loads(kit.study.windows, shorter)
    rate = float(more[0])
    # where moulds are emptied the rate is known within one per cent; less is no stair
    later, gain = next(iter(longer[less < 0.99 * rate]), None), next(iter(shorter[more > 1.01 * rate]), None)
    text = f"With {wait.count:g} in use ({wait.resource.replace('-', ' ')}), {fmt.wait(wait.wait_hours)} of waiting"
    text += f" and {fmt.number(wait.rest_hours, 1)} of rest" if wait.rest_hours else ""
    text += f" let **{fmt.styled(rate, 'figure')} loads a week** through."
    if wait.sizes:
        each = " and ".join(fmt.number(size) for size in wait.sizes)
        mean = np.mean(wait.sizes)
        text += f" These take {each} pieces in turn, {fmt.number(mean, int(mean % 1 > 0))} on average: a load is as large as what it goes into."
    if emptied := float(wait.moulds.work_hours) if wait.moulds else 0.0:
        text += f" Getting the pieces out takes {fmt.wait(emptied)} a load, and until then the moulds are full."
    if later is not None:
        text += f" The next stair down comes at about {fmt.exactly(later)} hours."
    if gain is not None:
        text += f" The next stair up would need {fmt.exactly(gain)} hours or less, if the material's data sheet allows it."
    return text


def months_alike(frame: pd.DataFrame) -> bool:
    """Whether every month of a temperature table lets as many loads through."""
    return frame["loads a week"].astype(float).round(6).nunique() <= 1


def cure_by_season(kit: OpenStudy, wait, frame) -> str:
    """How the cold months change a load's wait; what is missing where no temperatures are stated."""
    fmt = format_of(kit)
    if frame.empty:
        return "The study does not state the workshop's temperature by month, or not at which its cure holds (`wait_at`), so every month cures alike here. A cold room cures more slowly: by the usual rule 10 °C less double the time."
    cold, warm = frame.loc[frame.hours.idxmax()], frame.loc[frame.hours.idxmin()]

    def said(row):
        lets = "" if alike else f" and lets {fmt.styled(row['loads a week'], 'figure')} loads a week through"
        return f"in {row.month} at {fmt.number(row.temperature)} °C it takes {fmt.number(row.hours, 1)} hours{lets}"

    alike = months_alike(frame)
    text = f"The wait at {wait.step} follows the temperature of the workshop: {said(cold)}"
    text += "" if cold.hours == warm.hours else f"; {said(warm)}"
    text += f". Every month lets {fmt.styled(cold['loads a week'], 'figure')} loads a week through." if alike else "."
    if cold["loads a week"] < warm["loads a week"]:
        months = kit.variation == "months"
        counted = ", and the year's result has them so" if months else "; the year's result takes every month alike"
        text += f" **The cold months cost loads{counted}.**"
    return text + " Never take a load out before the time that the data sheet asks for at that temperature."
