"""The records page: guesses beside what the logs say, and where the logs contradict each other."""

import numpy as np
import pandas as pd
from scipy import special

from .. import evidence
from ..assumptions import as_shown, label
from ..evidence.labour import labour_rows
from ..evidence.loads import pots_used
from ..faults import counted, some_of
from ..formatting import too_long
from ..kit import OpenStudy, basis_counts, format_of
from ..study.consistency import items_of, whole_of
from ..study.numbers import BASES
from ..study.stations import load_sizes
from .table import shown
from .waiting import known_orders

FAR = 0.5  # of the number used, between it and the logs alone, before a sentence speaks of it
LONG = 60  # days of logs without a sale that are spoken of
TIMES, TIMES_OF_FEW = 2.0, 5.0  # an order of the log against the stated one, either way, before it is spoken of
PIECES = 0.2  # part of the cavities' logarithm about them
FEWEST_CAVITIES = 3  # from so many on a guess of a life can be so far off
FEW = 3  # orders, below which it is the second of these
LEARNT = 0.9  # chance of learning before a sentence speaks of it; several steps are tried, one could look so by luck
hours_table = shown("records-hours", "Hours in the timesheet", "kind: text; hours: 0; share: percent")(evidence.hours_by_kind)
materials_table = shown(
    "records-materials",
    "Materials: bought by the purchases log, used by the batches at the stated amount and loss; what is in stock is in neither",
    "material: text; purchases: 0; unread: 0; bought: significant; used by batches: significant; unit: text; paid: money0; "
    "cheaper when doubled: percent",
)(evidence.material_table)
season_by_month = shown(
    "records-season",
    "Orders of a month against the average one, with the middle eight in ten",
    "month: 0; orders: 0; index: significant; low: significant; high: significant",
)(evidence.season_table)
DAYS_TO_FINISH = 14  # after a pour in which its pieces are worked on, for the effect of mould age on minutes


def hours_sentence(kit: OpenStudy) -> str:
    """Where the hours of the timesheet went, and how many of the bench hours say how many pieces they made."""
    hours, fmt = evidence.hours_by_kind(kit.study), format_of(kit)
    if hours.empty:
        return "There is no timesheet, so every minute is a guess."
    bench = hours[hours.kind == "at the bench"]
    at_bench, counted = float(bench.hours.sum()), float(bench.counted.sum())
    hidden = 1 - at_bench / hours.hours.sum()
    return (
        f"The timesheet holds {fmt.number(hours.hours.sum())} hours; {fmt.percent(hidden)} of them were not at the bench, hours that no customer sees. "
        f"Of the bench hours, {fmt.percent(counted / at_bench if at_bench else 0.0)} came with a count of pieces and so tell minutes a piece; the others count as hours only."
    )


def learning_sentences(kit: OpenStudy) -> str:
    """For which steps the timesheet shows learning, and how sure that is."""
    table, fmt = evidence.learning_table(kit.study), format_of(kit)
    if table.empty:
        return "Too few timesheet rows of single steps to tell learning from chance."
    found = table[table.weight > LEARNT].sort_values("weight", ascending=False)
    if found.empty:
        return f"In none of {len(table)} steps did minutes a piece fall with practice beyond chance; the mean of all rows stands."
    told = [
        f"- {row.product}, {row.step}: each doubling of pieces leaves {fmt.percent(row.rate)} of the minutes ({fmt.percent(row.low)} to "
        f"{fmt.percent(row.high)}), from {fmt.significant(row.first)} down to {fmt.significant(row.practised)}; chance that this is learning, "
        f"against steady minutes, {fmt.chance(row.weight)}"
        for row in found.itertuples()
    ]
    state = "Where that holds, the mean of all rows overstates later pieces: state `first_minutes` and `learning_rate`, and the practised minutes."
    return "\n\n".join(["Minutes fell with practice:", "\n".join(told), state])


def unreconciled(kit: OpenStudy) -> list[str]:
    """What does not add up between the logs, as sentences."""
    return list(_contradictions(kit.study, format_of(kit)))


def _contradictions(study, fmt):
    """Sentences of what each rule between the logs finds: within a file, by day, by material, by step and by product."""
    for file in study.reading.files:
        yield from file.unequal
    sheet, batches, sales = (study.records.get(log) for log in ("timesheet", "batches", "sales"))
    if sheet is not None:
        hours = sheet.groupby("date").minutes.sum() / 60.0
        for day, value in hours[hours > 16.0].items():
            yield f"{day:%Y-%m-%d} has {fmt.number(value, 1)} hours in the timesheet, more than a long day holds."
    if sheet is not None and batches is not None:
        silent = sorted(set(batches.date[batches.date.between(sheet.date.min(), sheet.date.max())]) - set(sheet.date))
        if silent:
            days = ", ".join(f"{day:%Y-%m-%d}" for day in silent[:3]) + (" and others" if len(silent) > 3 else "")
            yield f"On {counted(len(silent), 'day')} with a pour the timesheet has no row ({days}): hours are missing, or a date is wrong."
    if sheet is not None and sales is not None:
        packed = sheet.groupby("step").pieces_handled.sum()
        for channel, orders in evidence.channel_summary(study).get("orders", pd.Series(dtype=float)).items():
            if packed.get(channel, 0.0) > 1.1 * orders + 2.0:
                yield (
                    f"{channel}: the timesheet packs {fmt.number(packed[channel])} orders, the sales log has {fmt.number(orders)}. For a channel "
                    "`pieces_handled` counts orders, not pieces: minutes an order come out too few."
                )
    table = evidence.material_table(study)
    for _, row in table.iterrows():
        used, bought = row["used by batches"], row.bought
        if not row.unread and used > 1.1 * bought:
            both = f"the batches used {fmt.number(used)} {row.unit} at the amount of the study file, {fmt.number(bought)} were bought"
            yield f"{row.material}: {both}. The rest was in stock before, a receipt is missing, or a piece takes less."
    unread = [(row.material, row.purchases, row.unread, row.unit) for row in table.itertuples() if row.unread]
    for material, purchases, count, unit in unread:
        amount = f"`quantity` {_amounts(study.file, material)}"
        would = f': with its {amount}, such as "20 g", and a price by that unit `from = "records"` in study.toml they would'
        if unit != "pieces":
            would = f': write them in {unit} or a unit like it or, between volume and weight, its `density`, such as "1.1 g/ml", in study.toml'
        yield f"{material}: {count} of {purchases} purchases are in a unit that does not turn into {unit}, and say nothing of its price{would}."
    units = [(key, pieces) for _, parts, _ in labour_rows(study) for key, (pieces, _) in parts.items()]
    handled = pd.DataFrame(units, columns=["key", "pieces"]).groupby("key").pieces.sum()
    for product in study.file.products:
        counts = evidence.load_counts(study, product)
        if counts is None:
            continue
        # loads in work, which the first steps may have handled already
        working = float(study.in_work.casts[study.in_work["product"] == product].sum())
        for step, entering, lost in counts.totals[["entering", "lost"]].itertuples():
            seen, short = handled.get((product, step), 0.0), _short(study, product, step)
            if short is not None and abs(short - lost) > max(0.25 * lost, 3.0):
                said = f"{fmt.number(short)} pieces did not pass by the timesheet, {fmt.number(lost)} were lost by batches and faults"
                yield f"{product}, {step}: {said}."
            if seen and max(entering - seen, seen - entering - working) > 0.1 * entering:
                said = f"{fmt.number(seen)} pieces, batches and faults say that {fmt.number(entering)} reached it"
                yield f"{product}, {step}: the timesheet handles {said}."
        sold = 0.0 if sales is None else float(sales.pieces[sales["product"] == product].sum())
        good = float(counts.batches.good.sum())
        if sold > good:
            left = f"{fmt.number(sold)} pieces left by the sales log, {fmt.number(good)} good ones by the batches"
            yield f"{product}: {left}; the rest was in stock before, or a log has gaps."


def _amounts(file, material):
    """For each of what the study states a material's amount, such as 'a piece of dish and tray'; products where there are several."""
    per: dict[str, list[str]] = {}
    for key, product, step, item, entry in items_of(file):
        if item == material:
            per.setdefault(whole_of(key, step, entry), []).append(product)
    of = {each: " and ".join(dict.fromkeys(names)) for each, names in per.items()}
    return " and ".join(f"a {each} of {names}" if len(file.products) > 1 else f"a {each}" for each, names in of.items())


def _short(study, product, step):
    """Pieces that rows of the timesheet handled but did not pass; None where no row says both."""
    sheet, alone = study.records.get("timesheet"), len(study.file.products) == 1
    if sheet is None:
        return None
    rows = sheet[(sheet.step == step) & ((sheet["product"] == product) | (sheet["product"].isna() & alone))]
    short = (rows.pieces_handled - rows.pieces_passed).dropna()
    return None if short.empty else float(short.sum())


@shown(
    "records-assumptions",
    "Every stated number: its value, what it rests on, and why",
    "number: text; value: significant; unit: text; low: significant; high: significant; rests on: text; why: text; key: kept",
)
def assumption_table(kit: OpenStudy) -> pd.DataFrame:
    """Every number in force: value, unit, what it rests on, why."""
    rows, groups = [], basis_counts(kit)
    for key in (key for basis in BASES for key in groups.get(basis, ())):
        number = kit.assumed.numbers[key]
        unit, factor = as_shown(key, number.unit, kit.study.currency)
        spread = number.distribution or known_orders(kit, key)
        band = (None, None) if spread is None else spread.quantile(np.array([0.1, 0.9])) * factor
        why = "; ".join(text for text in (number.note, number.source) if text)
        rows.append((label(key), number.value * factor, unit, *band, number.basis, why, key))
    return rows


@shown(
    "records-guess-and-logs",
    "Guess, logs alone, the number used with its middle eight in ten, and how much more recording would halve that width; a range counts by its "
    "middle, rows and loads one by one, so the number used may lie just beside guess and logs",
    "number: text; unit: text; stated: significant; logs alone: significant; in force: significant; low: significant; "
    "high: significant; from: text; to halve the width: text",
)
def evidence_table(kit: OpenStudy) -> pd.DataFrame:
    """Stated guess, what the logs say, and the number in force, side by side."""
    rows = []
    for key, found in kit.assumed.evidence.items():
        unit, factor = as_shown(key, kit.study.numbers[key].unit, kit.study.currency)
        values = (kit.study.numbers[key].value, found.observed, found.posterior.middle)
        band = found.posterior.quantile(np.array([0.1, 0.9]))
        rows.append((label(key), unit, *(float(v * factor) for v in (*values, *band)), found.data, _more(found, kit)))
    return rows or pd.DataFrame()


def _more(found, kit) -> str:
    """How much more recording would halve a width, in words."""
    if np.isinf(found.more_to_halve):
        return "rows with more or fewer pieces a load; more of the same tell only the sum"
    if too_long(found.more_to_halve, found.counted):
        return f"{format_of(kit).time(found.more_to_halve, found.counted.removesuffix('s'))} more"
    return f"{format_of(kit).exactly(float(f'{found.more_to_halve:.2g}'))} more {found.counted}"


def evidence_curves(kit: OpenStudy) -> list[dict[str, object]]:
    """Guess and number in force as densities, and what the logs alone say, one entry a number, in shown units."""
    scores = np.linspace(-3.2, 3.2, 161)
    found = []
    for key, told in kit.assumed.evidence.items():
        unit, factor = as_shown(key, kit.study.numbers[key].unit, kit.study.currency)
        curves = {}
        for name, spread in (("guess", told.prior), ("in force", told.posterior)):
            values = np.asarray(spread.quantile(special.ndtr(scores)), float) * factor
            there = values != 0.0  # what may be none at all has no density there
            there = there if there.sum() > 1 else np.arange(scores.size) > 0
            density = np.zeros(scores.size)
            with np.errstate(divide="ignore"):
                density[there] = np.exp(-(scores[there] ** 2) / 2) / np.gradient(values[there], scores[there])
            curves[name] = (values, np.where(np.isfinite(density), density, 1.0))
        values = {"stated": kit.study.numbers[key].value, "logs alone": told.observed, "used": told.posterior.middle}
        said = {"label": label(key, each=False), "unit": unit, **{name: float(value * factor) for name, value in values.items()}}
        if not any(said.items() <= other.items() for other in found):  # what two steps use, and one log tells, is one chart
            found.append(said | curves)
    return found


@shown(
    "records-yield",
    "Pieces entering and lost at each step",
    "product: text; step: text; entering: 0; lost: 0; share lost: percent1",
)
def yield_table(kit: OpenStudy) -> pd.DataFrame:
    """Pieces through each step of the logs, by product. [piece]"""
    counts = {name: evidence.load_counts(kit.study, name) for name in kit.study.file.products}
    totals = {name: found.totals for name, found in counts.items() if found is not None}
    parts = {name: total.assign(**{"share lost": total.lost / total.entering}) for name, total in totals.items()}
    return pd.concat(parts, names=["product", "step"]).reset_index() if parts else pd.DataFrame()


@shown(
    "records-stations",
    "Loads by the station that the batches log names, where those of a kind differ in size",
    "product: text; station: text; loads: 0; casts a load: 1; good: percent1",
)
def pot_table(kit: OpenStudy) -> pd.DataFrame:
    """Loads, casts a load [cast] and share good [-] by station; empty where those of a kind are all alike."""
    file = kit.study.file
    used = [pots_used(kit.study, name).assign(product=name) for name in file.products if len(load_sizes(file, name)) > 1]
    return pd.concat(used)[["product", "station", "loads", "casts a load", "good"]] if used else pd.DataFrame()


@shown(
    "records-orders-by-month",
    "Orders a month from the sales log; part months at either end count as they are",
    "month: text; *: 0",
)
def monthly_orders(kit: OpenStudy) -> pd.DataFrame:
    """Orders by month and channel from the sales log. [order/month]"""
    frame = evidence.orders_by_month(kit.study)
    return frame.rename_axis("month").reset_index().assign(month=lambda f: f.month.astype(str)) if len(frame) else frame


@shown(
    "records-orders",
    "Averages of an order by channel, from the sales log",
    "channel: text; orders: 0; pieces: 1; price: money; postage charged: money; fees: money; postage paid: money; "
    "packaging: money; refund: money; net: money; refunded: percent1; replaced: percent1; given: 0",
)
def sales_summary(kit: OpenStudy) -> pd.DataFrame:
    """What an order brought by channel, from the sales log. [money/order]"""
    frame = evidence.channel_summary(kit.study)
    frame = frame.rename_axis("channel").reset_index()
    if len(frame):
        frame.insert(2, "net", frame.pop("net"))  # what matters, where a phone shows it
    return frame


def season_sentence(kit: OpenStudy) -> str:
    """What a sales log of less than a year says of the season; nothing with a year or without sales."""
    told, fmt = evidence.season_told(kit.study), format_of(kit)
    if not 0 < told < 1:
        return ""
    start = "With less than a year of sales a season cannot be told from a trend, so"
    if kit.study.file.cash.season != "records":
        return f"{start} the year is taken as these months go on."
    months = f"{fmt.number(12 * told)} of twelve months are known, and what one of them has beyond the average counts by so many twelfths"
    return f"{start} the season of the sales log is drawn towards level months: {months}; a month not seen yet is an average one."


def could_measure(kit: OpenStudy) -> str:
    """What the logs know but the study does not ask them."""
    names = some_of(list(dict.fromkeys(label(key, each=False) for key in evidence.could_update(kit.study))), 6)
    told = f' The logs also know something about {names}: write `from = "records"` beside a value in the study file to let them count.'
    return told if names else ""


def far_apart(kit: OpenStudy) -> str:
    """Where the logs alone lie far from the number used, since its guess counts for more than their rows; nothing where they do not."""
    fmt, told, whole = format_of(kit), [], ""
    for key, found in kit.assumed.evidence.items():
        used, (low, high) = found.posterior.middle, found.posterior.quantile(np.array([0.01, 0.99]))
        if not low <= found.observed <= high and abs(found.observed - used) > FAR * used:
            unit, factor = as_shown(key, kit.study.numbers[key].unit, kit.study.currency)
            figures = [
                fmt.styled(one * factor, "percent" if unit == "share" else "significant") for one in (found.observed, used)
            ]
            told.append(f"{label(key)} ({figures[0]} by the logs, {figures[1]} used)")
            whole = whole or (
                " (a load that fails as a whole is one event, not so many pieces)" if key.endswith("pass_share") else ""
            )
    if not told:
        return ""
    return (
        f" The logs lie far from the number used at {some_of(told, 4)}: there the guess counts for more than the rows{whole}. "
        "If the rows are right, widen that guess in study.toml or give it less `worth`; if a row is wrong, mend it."
    )


def unlike_orders(kit: OpenStudy) -> list[str]:
    """Channels whose orders bring far more or less money, or pieces, than the study states for one; none that takes both from the records."""
    fmt, numbers, told = format_of(kit), kit.study.numbers, []
    for channel, mine in evidence.channel_summary(kit.study).iterrows():
        price, pieces = (numbers[f"channels.{channel}.{key}"] for key in ("price", "pieces_per_order"))
        far, pairs = (TIMES if mine.orders >= FEW else TIMES_OF_FEW), ((mine.price, price.value), (mine.pieces, pieces.value))
        if (price.from_records and pieces.from_records) or all(one <= far * other and other <= far * one for one, other in pairs):
            continue
        brings, more = "bring" if mine.orders > 1 else "brings", mine.price > price.value or mine.pieces > pieces.value
        is_it = (
            "Is a row a day's takings? Then say how many bought in a column `buyers` of the sales log. Or is it the order of a shop? "
            if more
            else ""
        )
        told.append(
            f"{fmt.count(int(mine.orders), 'order')} in {channel.replace('_', ' ').replace('-', ' ')} {brings} {fmt.money(mine.price)} and "
            f"{fmt.number(mine.pieces, 1)} pieces each by the sales log, where {fmt.money(price.value)} and {fmt.number(pieces.value, 1)} are stated "
            f'for an order, so that its sales are reckoned wrong. {is_it}Write `from = "records"` beside both `price` and `pieces_per_order` of '
            f"[channels.{channel}] in study.toml, not one of them alone, and state such rows a year as its `orders`; or write down a row for each buyer."
        )
    return told


def unlike_lives(kit: OpenStudy) -> list[str]:
    """Products whose worn moulds gave as many times what their loads or the stated life say, or as small a part of it, as they have cavities."""
    moulds, fmt, told = kit.study.records.get("moulds"), format_of(kit), []
    for product, stated in kit.study.file.products.items() if moulds is not None else ():
        worn = moulds[(moulds["product"] == product) & (moulds.casts_at_retirement > 0) & (moulds.cavities > 1)]
        if stated.mould is None or worn.empty:
            continue
        loads, life = worn.mould.map(evidence.loads_of_mould(kit.study)), stated.mould.life.value
        named, casts, cavities = bool(loads.notna().all()), worn.casts_at_retirement.median(), worn.cavities.median()
        of = loads.median() if named else life
        power = np.log(casts / of) / np.log(cavities)  # 1 where pieces of all cavities are counted, 0 where casts of one are
        if abs(power - 1 if named else abs(power) - 1) > PIECES or not (named or cavities >= FEWEST_CAVITIES):
            continue
        than = f"the {fmt.number(of)} loads that name them" if named else f"the stated life of {fmt.number(of)}"
        times, at = f"about {fmt.number(cavities)} times", f"`life` of [products.{product}.mould] in study.toml"
        far, at = (f"{times} {than}", "`casts_at_retirement`") if power > 0 else (f"and {than} is {times} that", at)
        told.append(
            f"{product}: {fmt.count(len(worn), 'mould')} of {fmt.number(cavities)} cavities wore out after {fmt.number(casts)} casts, {far}. "
            f"Does {at} count pieces? It is to say how often a mould was filled, a cast in each of its cavities: divide pieces by the cavities."
        )
    return told


def records_overview(kit: OpenStudy) -> str:
    """Which logs there are, how long they run, and what is odd in them."""
    if not kit.study.records:
        return "This study has no logs: everything rests on what the study file states."
    fmt = format_of(kit)
    parts = [f"{name.replace('_', ' ')} ({fmt.count(len(log), 'row')})" for name, log in kit.study.records.items()]
    logs = kit.study.records.values()
    dates = [log.date for log in logs if "date" in log] or [log.made for log in logs]  # of a study with a moulds log alone
    first, last = min(d.min() for d in dates), max(d.max() for d in dates)
    text = f"Logs from {first:%Y-%m-%d} to {last:%Y-%m-%d}: {', '.join(parts)}. They measure {len(kit.assumed.evidence)} of the study's numbers."
    if "sales" not in kit.study.records and (last - first).days > LONG:
        text += f" No sale is in these {(last - first).days} days: orders rest on the guess alone. If nothing was sold in them, two rows of the sales log with `nothing` as their kind, of the first and the last of these days, say so."
    return "\n\n".join(
        [text + could_measure(kit) + far_apart(kit), *unlike_orders(kit), *unlike_lives(kit), *kit.study.reading.notes]
    )
