"""The records page: loads, causes of scrap and moulds, from the logs, and whether changes that the study file marks have helped."""

import numpy as np
import pandas as pd
import scipy
from scipy import special

from ..evidence import cause_shares, load_counts, load_share_posterior, loads_of_mould, mould_ages, mould_lives, ruined_loads
from ..evidence.changes import BeforeAfter, before_and_after
from ..evidence.control import p_chart, run_rules, trend
from ..evidence.labour import labour_rows, single_rows
from ..evidence.lives import kaplan_meier, remaining, weibull_fit
from ..kit import OpenStudy, format_of, grid
from ..models import beyond_target, with_levers
from ..models.costs import casts_of_moulds
from ..models.moulds import cheapest_replacement_age, mean_to_scale
from .cost import scrap_money
from .records import DAYS_TO_FINISH
from .table import shown

SURE = 0.95  # of a sign, before a sentence says that something changes
WEEKS_AHEAD = 4.0
_BETTER, _WORSE = 0.9, 0.1  # chance from which on a change is said to have helped, or not to have
_CAUTION = (
    "Before and after is no trial: whatever else changed in the same weeks, practice among it, is in these differences too."
)


@shown(
    "records-loads-{product}",
    "Loads of {product}: pieces cast and not good, and the usual range",
    "load: text; date: text; casts: 0; lost: 0; share: percent1; lower: percent1; upper: percent1",
    fold=True,
)
def load_chart(kit: OpenStudy, product: str) -> pd.DataFrame:
    """Share not good by load, with the centre and limits of a p′ chart; ruined loads are marked and kept out of both. [piece, -]"""
    counts = load_counts(kit.study, product)
    if counts is None:
        return pd.DataFrame()
    loads = counts.batches
    lost, casts = (loads.casts - loads.good).to_numpy(float), loads.casts.to_numpy(float)
    ruined = loads.index.isin(ruined_loads(counts))
    chart = p_chart(np.where(ruined, 0.0, lost), np.where(ruined, 0.0, casts))
    chart["share"] = lost / casts
    named = pd.DataFrame(
        {"load": loads.batch.to_numpy(), "date": loads.date.to_numpy(), "casts": casts, "lost": lost, "ruined": ruined}
    )
    chart = pd.concat([named, chart], axis=1)
    kept = chart[~chart.ruined & (chart.casts > 0)]
    chart.attrs["signals"] = [kept.index[at] for _, at in run_rules(kept.z.to_numpy(float))]  # for its chart
    return chart


def load_sentences(kit: OpenStudy, product: str) -> str:
    """Whether loads differ, drift, break a run rule, or were ruined as a whole."""
    chart, fmt = load_chart(kit, product), format_of(kit)
    if chart.empty:
        return f"{product}: no batches are recorded, so nothing can be said about its loads."
    kept = chart[~chart.ruined & (chart.casts > 0)]
    lost, casts = kept.lost.to_numpy(float), kept.casts.to_numpy(float)
    gone = float(lost.sum() / casts.sum())
    share, alike = load_share_posterior(1 - gone, 1.0, casts - lost, casts)
    (low, high), (near, far) = (one.quantile(np.array([0.1, 0.9])) for one in (share, alike))
    parts = [
        f"**{product}**: {fmt.number(lost.sum())} of {fmt.number(casts.sum())} pieces in {len(kept)} loads were not good, {fmt.percent(gone, 1)} "
        f"(middle eight in ten: {fmt.percent(1 - high, 1)} to {fmt.percent(1 - low, 1)}).",
        f"Pieces of one load share its luck with a correlation of about {fmt.number(alike.middle, 2)} ({fmt.number(near, 2)} to {fmt.number(far, 2)}); "
        "0 would mean that loads do not matter.",
    ]
    drift = trend(lost, casts, (kept.date - kept.date.min()).dt.days.to_numpy(float) / 30.44)
    if drift.p_value < 1 - SURE:
        way, later = "rises" if drift.slope > 0 else "falls", special.expit(special.logit(gone) + drift.slope)
        parts.append(
            f"The share lost {way} over time: from {fmt.percent(gone, 1)} it would be {fmt.percent(later, 1)} a month on."
        )
    elif drift.p_value == drift.p_value:  # not a number: the loads cannot tell
        parts.append("There is no clear drift over time.")
    if signals := run_rules(kept.z.to_numpy(float)):
        first = pd.DataFrame(signals, columns=["rule", "at"]).groupby("rule", sort=False).at.first()
        told = "; ".join(f"{rule} (load {kept.load.iloc[at]}, {kept.date.iloc[at]:%Y-%m-%d})" for rule, at in first.items())
        parts.append(f"Loads that chance alone would seldom give: {told}. Ask what was different then.")
    else:
        parts.append("No load or run of loads stands out beyond chance.")
    if chart.ruined.any():
        told = ", ".join(chart.load[chart.ruined].astype(str))
        parts.append(f"Ruined as a whole, and kept out of these figures: {told}.")
        remedy = 'write `ruined_loads = { value = "1 load/year", from = "records" }` to count them apart.'
        apart = f"products.{product}.ruined_loads" in kit.assumed.evidence
        parts.append("They count in ruined loads a year." if apart else f"They still count in the pass shares; {remedy}")
    return " ".join(parts)


@shown(
    "records-causes-{product}",
    "What goes wrong with {product}, most money first; low and high are the middle eight in ten of the share",
    "step: text; cause: text; money a year: money0; lost: 0; share: percent1; low: percent1; high: percent1; rank by pieces: 0",
    fold=True,
)
def cause_table(kit: OpenStudy, product: str) -> pd.DataFrame:
    """Causes of loss by pieces, with their share of what entered the step, and by money a year; most money first. [piece, -, money/year]"""
    shares = cause_shares(kit.study, product)
    if shares.empty:
        return pd.DataFrame()
    money = scrap_money(kit, product).rename(columns={"found at": "step"})[["step", "cause", "money a year"]]
    frame = money.merge(shares, on=["step", "cause"], how="right")
    frame["rank by pieces"] = frame.lost.rank(ascending=False, method="min").astype(int)
    return frame.sort_values("money a year", ascending=False, ignore_index=True)


def mould_survival(kit: OpenStudy, product: str) -> tuple[pd.DataFrame, float, float] | None:
    """Share of moulds still good by casts (Kaplan–Meier), and the mean life and shape in force; None without mould records. [cast, -]"""
    lives = mould_lives(kit.study, product)
    if lives is None or lives[0].size + (lives[1] > 0).sum() == 0:
        return None
    worn, live = lives[0], lives[1][lives[1] > 0]
    entry = kit.inputs().product(product).mould
    if entry is None:
        return None
    curve = kaplan_meier(np.concatenate([worn, live]), np.repeat([True, False], [worn.size, live.size]))
    return curve.reset_index(), float(entry.life_casts), float(entry.life_shape)


def still_good(casts, mean_life: float, shape: float):
    """Share of moulds still good after so many casts, by the life and shape in force. [-]"""
    return np.exp(-((np.asarray(casts) / mean_to_scale(mean_life, shape)) ** shape))


@shown(
    "records-moulds-{product}",
    "Moulds of {product}: those in use with the chance of going in the next four weeks at the planned rate, and the weeks that half of such moulds reach",
    "mould: text; casts a cavity: 0; state: text; chance of going: chance; weeks left: weeks1",
)
def mould_table(kit: OpenStudy, product: str) -> pd.DataFrame:
    """Each mould of a product: casts so far, whether worn out, and for live ones the chance of going in the next weeks; no figure of those in
    use where no load says which moulds it filled. [cast, -, week]"""
    moulds, entry = kit.study.records.get("moulds"), kit.inputs().product(product).mould
    if moulds is None or entry is None or not (moulds["product"] == product).any():
        return pd.DataFrame()
    mine, loads = moulds[moulds["product"] == product], loads_of_mould(kit.study)
    live = mine.retired.isna()
    counted = mine.mould.isin(loads.index).any()
    casts = mine.mould.map(loads).astype(float).fillna(0.0 if counted else np.nan)
    casts = casts.where(live, mine.casts_at_retirement.astype(float))
    weekly = float(kit.point().products[product]["loads_per_year"]) / kit.inputs().weeks_per_year / max(int(live.sum()), 1)
    scale = mean_to_scale(entry.life_casts, entry.life_shape)
    chance, left = remaining(entry.life_shape, scale, casts.fillna(0.0).to_numpy(), WEEKS_AHEAD * weekly)
    state = np.where(live, "in use" if counted else "in use; the loads do not name it", mine.reason.fillna("retired"))
    left, told = left / weekly if weekly > 0 else np.inf, live & counted
    return list(zip(mine.mould, casts, state, np.where(told, chance, np.nan), np.where(told, left, np.nan)))


def age_effects(kit: OpenStudy, product: str) -> dict[str, tuple[float, float]]:
    """Change of loss (log-odds) and of finishing minutes (logarithm) for each cast of mould age, with standard errors. [1/cast]

    Minutes go with the mean age of the moulds poured in the two weeks before; steps are compared with their own mean.
    """
    counts, ages, found = load_counts(kit.study, product), mould_ages(kit.study, product), {}
    if counts is None or ages.empty:
        return {}
    aged = counts.batches.loc[counts.batches.index.isin(ages.index)]
    fit = trend((aged.casts - aged.good).to_numpy(float), aged.casts.to_numpy(float), ages[aged.index].to_numpy(float))
    if fit.error == fit.error:
        found["loss"] = (fit.slope, fit.error)
    sheet = kit.study.records.get("timesheet")
    by_date = pd.Series(ages[aged.index].to_numpy(float), aged.date.to_numpy()).sort_index()
    steps = list(kit.study.file.products[product].steps)
    cure, points = kit.inputs(stated=True).product(product).first_wait or 0, []
    for (name, step), rows in single_rows(labour_rows(kit.study)).items():
        if name == product and step in steps[cure + 1 :]:
            dates = sheet.date[[row for _, _, row in rows]]
            ratio = np.log([minutes / pieces for minutes, pieces, _ in rows])
            window = [by_date[day - pd.Timedelta(days=DAYS_TO_FINISH) : day].mean() for day in dates]
            points += list(zip(window, ratio - ratio.mean(), strict=True))
    points = np.array([point for point in points if point[0] == point[0]])
    if len(points) > 10 and np.ptp(points[:, 0]) > 0:
        line = scipy.stats.linregress(points[:, 0], points[:, 1])
        found["minutes"] = (float(line.slope), float(line.stderr))
    return found


def mould_sentences(kit: OpenStudy, product: str) -> str:
    """How long moulds last, what a cast of mould costs, what age does, and when replacing is cheapest."""
    survival, fmt = mould_survival(kit, product), format_of(kit)
    p = kit.inputs().product(product)
    if p.mould is None:
        return f"{product}: the study states no mould."
    worn = 0 if survival is None else int(survival[0].events.sum())
    key, wage = f"products.{product}.mould.life", float(kit.inputs().target_per_hour) / 60.0
    cost = float(p.mould.material_cost + p.mould.minutes * wage)
    each = cost / casts_of_moulds(p)
    known, band = kit.assumed.numbers[key].distribution if key in kit.assumed.numbers else None, ""
    if known is not None:
        low, high = map(fmt.number, known.quantile(np.array([0.1, 0.9])))
        band = f" (middle eight in ten: {low} to {high})"
    rests = f"{worn} worn out so far" if worn else "a guess, as no mould has been seen to wear out"
    text = (
        f"**{product}**: a mould gives about {fmt.number(p.mould.life_casts)} casts a cavity{band}; {rests}. "
        f"That makes {fmt.money(each, 3)} of mould a cast."
    )
    if worn > 1:
        lives = mould_lives(kit.study, product)
        law = weibull_fit(np.concatenate(lives), np.repeat([True, False], [lives[0].size, lives[1].size]))
        if law is not None:
            mean = law[1] / mean_to_scale(1.0, law[0])
            text += f" The records alone, live moulds counted, fit a mean of {fmt.number(mean)} casts."
    return f"{text} {_age_sentence(kit, product, p, cost, fmt)}"


def _age_sentence(kit, product, p, cost, fmt):
    """What age does to loss and minutes, and the cheapest age to replace at."""
    effects = age_effects(kit, product)
    if not effects:
        return "Loads that do not name the moulds they filled cannot tell what age does."
    sure = {kind: slope for kind, (slope, error) in effects.items() if slope > scipy.stats.norm.ppf(SURE) * error}
    if not sure:
        return (
            "The records show no clear effect of a mould's age on losses or finishing minutes, so use moulds until they are worn."
        )
    found, parts, wear = kit.point().products[product], [], 0.0
    lost, scrapped = 1 - float(found["yield"]), float(found["casts_per_good_piece"]) - 1
    if "loss" in sure:
        parts.append(f"the odds of a loss grow by {fmt.percent(np.expm1(10 * sure['loss']))}")
        each = float(found["scrap_cost_per_good_piece"]) / scrapped if scrapped > 0 else 0.0  # what a lost piece had cost by then
        wear += sure["loss"] * lost * (1 - lost) * each
    if "minutes" in sure:
        after = sum(float(step.minutes) for step in p.steps[(p.first_wait or 0) + 1 :])
        parts.append(f"finishing minutes grow by {fmt.percent(np.expm1(10 * sure['minutes']))}")
        wear += sure["minutes"] * after * float(kit.inputs().target_per_hour) / 60.0
    age, _ = cheapest_replacement_age(p.mould.life_casts, p.mould.life_shape, cost, cost, wear * p.casts_per_load)
    advice = "run it until worn" if not np.isfinite(age) else f"replace it at about {fmt.number(age)} casts"
    return f"For each 10 casts of age, {' and '.join(parts)}. With that, the cheapest is to {advice}."


@shown(
    "records-changes",
    "Before and after each change: the difference with its middle eight in ten, the chance that it is better, and what it is worth a year",
    "change: text; from: text; of: text; before: significant; after: significant; difference: significant; low: significant; "
    "high: significant; chance better: chance; money a year: money0; low a year: money0; high a year: money0; rows: text; name: kept",
)
def change_rows(kit: OpenStudy) -> pd.DataFrame:
    """Each marked change and each quantity that the logs hold on either side of it; empty where no change is marked. [-, min/piece, money/piece, money/year]"""
    rows = []
    for name, entry in kit.study.file.changes.items():
        for told in before_and_after(kit.study, name):
            worth = [yearly_worth(kit, told, by) for by in (told.after - told.before, told.low, told.high)]
            of = f"{told.product}: {told.what}" + (f" {'in' if told.what == 'price' else 'of'} {told.at}" if told.at else "")
            numbers = [told.before, told.after, told.after - told.before, told.low, told.high, told.better]
            low, high = sorted(worth[1:]) if worth[1] == worth[1] else (np.nan, np.nan)
            kept = f"{told.rows[0]} before, {told.rows[1]} after"
            rows.append((entry.what, f"{entry.date:%Y-%m-%d}", of, *numbers, worth[0], low, high, kept, name))
    return rows


def yearly_worth(kit: OpenStudy, told: BeforeAfter, by: float) -> float:
    """What a difference is worth a year at the point, own hours at the target; nan for no difference known. [money/year]

    Shares take the place of the yield, or of the step's part in it; minutes are those of all pieces that enter the step in a year; a
    price counts for all pieces sold in its channel, before fees.
    """
    if by != by:
        return float("nan")
    found, a = kit.point().products[told.product], kit.inputs()
    if told.what == "pass share":
        step = next((step for step in a.product(told.product).steps if step.name == told.at), None)
        rest = 1.0 if step is None else float(found["yield"]) / float(step.pass_share)  # of the routing, beside the step
        shares = rest * np.array([told.before, told.before + by])
        scrap = 1.0 - np.clip(shares, 0.02, 1.0)
        lost = beyond_target(with_levers(a, product=told.product, scrap=scrap), grid(kit, scrap, product=told.product))
        return float(lost[1] - lost[0])
    if told.what == "minutes":
        entering = next(step.entering for step in found["piece"].steps if step.name == told.at) * found["made_per_year"]
        return float(-by * entering * a.target_per_hour / 60.0)
    return float(by * kit.point().channels[told.at]["pieces"])


def change_sentences(kit: OpenStudy) -> str:
    """Whether each change has helped, no surer than the rows are; nothing where no change is marked."""
    table, fmt, said = change_rows(kit), format_of(kit), []
    if not kit.study.file.changes:
        return ""
    for name, entry in kit.study.file.changes.items():
        parts = [_change_sentence(row, fmt) for row in table[table.name == name].to_dict("records")]
        body = " ".join(parts) if parts else "The logs hold nothing on either side of it that it could have moved."
        said.append(f"**{entry.what}** ({name}, from {entry.date:%Y-%m-%d}). {body}")
    luck = f" Of {len(table)} lines about one in ten looks better, and one in ten worse, by luck alone." if len(table) > 1 else ""
    return "\n\n".join(["## Did the change help?", *said, _CAUTION + luck])


def _change_sentence(row, fmt):
    of, better = row["of"], row["chance better"]
    if better != better:
        return f"{of[:1].upper()}{of[1:]}: nothing to hold it against yet ({row['rows']})."
    ways = {"pass share": fmt.percent, "price": fmt.money, "minutes": lambda number: f"{fmt.significant(number)} min"}
    write = next(way for what, way in ways.items() if f": {what}" in of)
    moved = f"from {write(row['before'])} to {write(row['after'])}"
    verb = "**is better**" if better >= _BETTER else "**is worse**" if better <= _WORSE else "may be better or worse"
    worth = f"about {fmt.money(row['money a year'], 0)} a year ({fmt.money(row['low a year'], 0)} to {fmt.money(row['high a year'], 0)})"
    return f"{of[:1].upper()}{of[1:]} went {moved} and {verb}: the chance that it is better is {fmt.chance(better)}, its worth {worth} ({row['rows']})."
