"""Numbers in the study's locale, and the sentences a report says about them."""

from .analysis import Answer, Kit, basis_counts, break_even_scrap, evidence_steps, grid, main_wait
from .assumptions import label
from .evidence import could_learn
from .formatting import Format
from .models import evaluate, loads_per_week, with_levers
from .reference import wages
from .tables import scrap_money

__all__ = ["Format", "certainty_word", "format_of", "limit_sentence", "verdict", "year_sentence"]


def format_of(kit: Kit) -> Format:
    """The format of a study."""
    return Format(kit.study.currency, kit.study.file.study.locale)


def certainty_word(chance: float) -> str:
    """How sure a verdict may sound at this chance of reaching the target.

    Examples
    --------
    >>> [certainty_word(c) for c in (0.95, 0.8, 0.5, 0.2, 0.05)]
    ['pays', 'probably pays', 'is on the edge of paying', 'probably does not pay', 'does not pay']
    """
    for least, word in (
        (0.9, "pays"),
        (0.75, "probably pays"),
        (0.25, "is on the edge of paying"),
        (0.1, "probably does not pay"),
    ):
        if chance >= least:
            return word
    return "does not pay"


def verdict(kit: Kit, answer: Answer) -> str:
    """Whether an hour pays the target, in words no stronger than the chance allows."""
    fmt, pay = format_of(kit), answer.summary("pay_per_hour")
    chance = answer.chances["hour_pays_living_wage"]["chance"]
    band = f"{fmt.money(pay['p10'])} and {fmt.money(pay['p90'])}"
    return (
        f"On these numbers an hour of work **{certainty_word(chance)}** the target of {fmt.money(answer.target)}: "
        f"half of the years drawn bring {fmt.money(pay['p50'])} an hour or more, eight in ten lie between {band}, "
        f"and the chance of reaching the target is {fmt.chance(chance)}. "
        "Every hour counts here, at the bench or not, and every cost."
    )


def year_sentence(kit: Kit, answer: Answer) -> str:
    """Whether the hours that can be sold make a year's living."""
    fmt, year = format_of(kit), answer.summary("residual_pay_per_year")
    hours = answer.summary("hours_per_year")["p50"] / float(kit.inputs().weeks_per_year)
    chance = answer.chances["year_pays_living_wage"]["chance"]
    whether = {
        "pays": "The year brings a living too",
        "probably pays": "The year probably brings a living too",
        "is on the edge of paying": "Whether the year brings a living is open",
        "probably does not pay": "The year probably does not bring a living",
        "does not pay": "The year does not bring a living",
    }[certainty_word(chance)]
    if answer.chances["hour_pays_living_wage"]["chance"] < 0.75:
        whether = whether.replace(" too", "")
    return (
        f"{whether}: it leaves {fmt.money(year['p50'], 0)} ({fmt.money(year['p10'], 0)} to {fmt.money(year['p90'], 0)}) "
        f"for {fmt.number(hours, 1)} hours a week, where a full working year at the target would be {fmt.money(answer.living, 0)}. "
        f"The chance of that is {fmt.chance(chance)}."
    )


def limit_sentence(kit: Kit, answer: Answer) -> str:
    """What is full, or that nothing is."""
    fmt, shares = format_of(kit), sorted(answer.bottleneck.items(), key=lambda item: -item[1])
    seen = [f"{name.replace('-', ' ')} in {fmt.chance(share)}" for name, share in shares if share >= 0.005]
    first = shares[0][0]
    if first == "demand":
        lead = "What limits sales is **demand**: "
        lead += "more room to make would not help" if shares[0][1] >= 0.9 else "in most draws all that could be sold can be made"
        more = (
            evaluate(with_levers(kit.inputs(), demand=1.02)).studio["residual_pay_per_year"]
            - kit.point().studio["residual_pay_per_year"]
        )
        if more <= 0:
            lead += ", and more buyers at these prices would bring no money either"
    elif first == "hands":
        lead = "What limits sales is **hands**: there are more buyers than hours to serve them"
    else:
        lead = f"What limits sales is **{first.replace('-', ' ')}**: it is full before demand is met"
    return f"{lead} (of the draws: {', '.join(seen)})."


def introduction(kit: Kit) -> str:
    """Name, question and what the study is, as its file states them."""
    table = kit.study.file.study
    invented = "\n\n**Invented demo:** no person, place or business in it is real." if table.invented else ""
    parts = [f"**{table.name}.** {table.question}".strip(), table.about]
    return "\n\n".join(part for part in parts if part) + invented


def pay_alt(kit: Kit, answer: Answer) -> str:
    """Alternative text of the histogram of pay an hour."""
    fmt, pay = format_of(kit), answer.summary("pay_per_hour")
    return (
        f"Histogram of pay an hour: eight in ten draws between {fmt.money(pay['p10'])} and {fmt.money(pay['p90'])}, "
        f"half above {fmt.money(pay['p50'])}; the target is {fmt.money(answer.target)}."
    )


def three_numbers(kit: Kit, swings) -> str:
    """The three uncertain numbers with the largest swing, and what each is now."""
    if not len(swings):
        return "Every number of this study is stated as certain, so none can move the result."
    fmt, rows = format_of(kit), []
    for place, row in enumerate(swings.head(3).itertuples(), start=1):
        number = kit.assumed.numbers.get(row.key)
        rests = "stated" if number is None or row.key.startswith("spread.") else number.basis
        low, high = sorted((row.pay_low, row.pay_high))
        rows.append(
            f"{place}. **{row.label}** ({rests}): pay an hour between {fmt.money(low)} and {fmt.money(high)}, the others as they are."
        )
    return "\n".join(rows)


def certainty_list(kit: Kit) -> str:
    """How many numbers are guessed, measured, published, agreed and decided, and which are guesses."""
    groups = basis_counts(kit)
    words = {
        "guess": "guessed",
        "measured": "measured by the logs",
        "published": "published",
        "agreed": "agreed or bought",
        "decided": "decided by the maker",
    }
    counts = [f"{len(groups[basis])} {words[basis]}" for basis in words if groups.get(basis)]
    text = f"Of {sum(map(len, groups.values()))} stated numbers, {', '.join(counts)}."
    waiting = [key for key in groups.get("guess", []) if kit.assumed.numbers[key].from_records]
    if waiting:
        text += f" {len(waiting)} of the guesses ask for records that the logs do not have."
    guesses = [label(key) for key in groups.get("guess", [])]
    if guesses:
        more = f" and {len(guesses) - 12} more" if len(guesses) > 12 else ""
        text += f" Guessed: {', '.join(guesses[:12])}{more}."
    return text + " The page on records lists every one."


def evidence_effect(kit: Kit) -> str:
    """What the logs change in the point result, and the numbers behind most of it."""
    if not kit.assumed.evidence:
        silent = "The logs measure none of the study's numbers" if kit.study.records else "There are no logs yet"
        return f"{silent}: every number is as stated.{_could_measure(kit)}"

    fmt = format_of(kit)
    stated, point = (float(kit.point(stated=s).studio["pay_per_hour"]) for s in (True, False))
    steps = evidence_steps(kit)[:3]
    moved = "; ".join(f"{step['label']} ({_signed(fmt, step['change'])})" for step in steps)
    return (
        f"As stated, before the logs, an hour would bring {fmt.money(stated)}; with what the logs measured it brings {fmt.money(point)}. "
        f"The measured numbers that change it most, each alone: {moved}.{_could_measure(kit)}"
    )


def _signed(fmt: Format, amount: float) -> str:
    """An amount with its sign, which no line break parts from it."""
    return ("+" if amount >= 0 else "\u2212") + "\u2060" + fmt.money(abs(amount))


def _could_measure(kit: Kit) -> str:
    """What the logs know but the study does not ask them."""
    keys = could_learn(kit.study)
    if not keys:
        return ""
    more = f" and {len(keys) - 6} more" if len(keys) > 6 else ""
    names = ", ".join(label(key) for key in keys[:6])
    return f' The logs also know something about {names}{more}: write `from = "records"` beside a value in the study file to let them count.'


def records_overview(kit: Kit) -> str:
    """Which logs there are, how long they run, and what is odd in them."""
    if not kit.study.records:
        return "This study has no logs: everything rests on what the study file states."
    parts = [f"{name.replace('_', ' ')} ({len(log)} rows)" for name, log in kit.study.records.items()]
    dates = [log.date for log in kit.study.records.values() if "date" in log]
    first, last = min(d.min() for d in dates), max(d.max() for d in dates)
    text = f"Logs from {first:%Y-%m-%d} to {last:%Y-%m-%d}: {', '.join(parts)}. They measure {len(kit.assumed.evidence)} of the study's numbers."
    return "\n\n".join([text + _could_measure(kit), *kit.study.notes])


def cost_sentence(kit: Kit) -> str:
    """Cost, casts and minutes of a good piece, by product."""
    fmt, rows = format_of(kit), []
    for name, found in kit.point().products.items():
        rows.append(
            f"A good **{name}** takes {fmt.number(found['casts_per_good_piece'], 2)} casts and {fmt.number(found['minutes_per_good_piece'], 1)} minutes "
            f"of making, uses {fmt.money(found['material_per_good_piece'])} of material, and costs {fmt.money(found['cost_per_good_piece'])} in all "
            f"before it is sold; {fmt.money(found['scrap_cost_per_good_piece'])} of that is scrap."
        )
    return "\n\n".join(rows)


def scrap_order(kit: Kit) -> str:
    """Whether money ranks the causes of scrap as their count does."""
    fmt, rows = format_of(kit), []
    for name in kit.study.file.products:
        lost = scrap_money(kit, name)
        if lost.empty:
            rows.append(f"Nothing of {name} is scrapped in this study.")
            continue
        first, most = lost.iloc[0], lost.sort_values("pieces a year", ascending=False, kind="stable").iloc[0]
        if first.cause == most.cause:
            text = (
                f"For {name}, **{first.cause}** loses most pieces and most money: {fmt.money(first['money a year'], 0)} a year."
            )
        else:
            text = (
                f"For {name}, **{most.cause}** loses most pieces ({fmt.number(most['pieces a year'])} a year), but **{first.cause}** loses most money "
                f"({fmt.money(first['money a year'], 0)} against {fmt.money(most['money a year'], 0)}), because it is found later."
            )
        moved = (lost["rank by pieces"].to_numpy() != lost["money a year"].rank(ascending=False, method="min").to_numpy()).sum()
        rows.append(
            text + (f" {moved} of {len(lost)} causes change place when money is counted instead of pieces." if moved else "")
        )
    return "\n\n".join(rows)


def scrap_now(kit: Kit, product: str) -> str:
    """Today's scrap rate and what none at all would add."""

    fmt, found = format_of(kit), kit.point().products[product]
    none, now = float(grid(kit, [0.0], product=product).studio["pay_per_hour"][0]), float(kit.point().studio["pay_per_hour"])
    more = float(grid(kit, [1 - found["yield"] + 0.05], product=product).studio["pay_per_hour"][0]) - now
    return (
        f"Today {fmt.percent(1 - found['yield'], 1)} of the casts of {product} end as scrap. Without any, an hour would bring {fmt.money(none)} instead of "
        f"{fmt.money(now)}; five points more scrap would change it by {_signed(fmt, more)}."
    )


def scrap_break_even(kit: Kit, product: str) -> str:
    """The scrap rate at which an hour pays the target, or that none does."""
    fmt, rate = format_of(kit), break_even_scrap(kit, product)
    now = 1 - float(kit.point().products[product]["yield"])
    target = fmt.money(float(kit.inputs().target_per_hour))
    if rate is None:
        return f"**No scrap rate does:** even with none at all an hour stays below the target of {target}. Less scrap alone is not enough."
    if rate >= 0.98:
        return f"Even with 98 % of the casts scrapped an hour would pay the target of {target}."
    room = f"{fmt.percent(rate - now, 1)[:-2]} points above" if rate > now else f"{fmt.percent(now - rate, 1)[:-2]} points below"
    verb = "may rise to" if rate > now else "would have to fall to"
    return f"Scrap {verb} **{fmt.percent(rate, 1)}** before an hour pays just the target of {target}: {room} today's {fmt.percent(now, 1)}."


def stair_sentence(kit: Kit, wait) -> str:
    """Where the study stands on the staircase, and how far the next stair is."""
    fmt, windows = format_of(kit), kit.study.windows

    def rates(hours):
        return loads_per_week([h + wait.rest_hours for h in hours], wait.turnaround_hours, wait.count, windows)

    rate = float(rates([wait.wait_hours])[0])
    longer = [wait.wait_hours + i * 0.25 for i in range(1, 4 * 72)]
    shorter = [wait.wait_hours - i * 0.25 for i in range(1, max(int(4 * wait.wait_hours), 2))]
    shorter = [hours for hours in shorter if hours > 0] or [wait.wait_hours]
    later = next((h for h, r in zip(longer, rates(longer), strict=True) if r < rate), None)
    gain = next((h for h, r in zip(shorter, rates(shorter), strict=True) if r > rate), None)
    text = f"With {wait.count:g} in use, {fmt.number(wait.wait_hours, 1)} hours of waiting"
    text += f" and {fmt.number(wait.rest_hours, 1)} of rest" if wait.rest_hours else ""
    text += f" let **{fmt.figure(rate)} loads a week** through."
    if later is not None:
        text += f" The next stair down comes at about {fmt.number(later, 2)} hours."
    return text + (
        f" The next stair up would need {fmt.number(gain, 2)} hours or less, if the material's data sheet allows it."
        if gain is not None
        else ""
    )


def cure_by_season(kit: Kit, wait, frame) -> str:
    """How the cold months change a load's wait; what is missing where no temperatures are stated."""
    fmt = format_of(kit)
    if frame.empty:
        return "The study does not state the workshop's temperature by month, or not at which its cure holds (`wait_at`), so every month cures alike here. A cold room cures more slowly: by the usual rule 10 °C less double the time."
    cold, warm = frame.loc[frame.hours.idxmax()], frame.loc[frame.hours.idxmin()]

    def said(row):
        return f"in {row.month} at {fmt.number(row.temperature)} °C it takes {fmt.number(row.hours, 1)} hours and lets {fmt.figure(row['loads a week'])} loads a week through"

    text = f"The wait at {wait.step} follows the temperature of the workshop: {said(cold)}"
    text += "." if cold.hours == warm.hours else f"; {said(warm)}."
    if cold["loads a week"] < warm["loads a week"]:
        text += " **The cold months cost loads; the year's result takes every month alike.**"
    return text + " Never take a load out before the time that the data sheet asks for at that temperature."


def waiting_places(kit: Kit) -> str:
    """Rack places taken and there, by rack."""
    fmt, point, file = format_of(kit), kit.point(), kit.study.file
    rows = [
        f"**{name.replace('-', ' ')}**: about {fmt.number(float(point.use[name]) * rack.places.value)} of {fmt.number(rack.places.value)} places taken."
        for name, rack in file.racks.items()
        if name in point.use
    ]
    return "\n\n".join(rows) or "No piece of this study waits in a rack of places."


def hidden_hours(kit: Kit) -> str:
    """Share of hours that no bench sees, and what the bench alone would have promised."""
    fmt, studio = format_of(kit), kit.point().studio
    hidden = float(1 - studio["make_hours_per_year"] / studio["hours_per_year"])
    naive = float(studio["residual_pay_per_year"] / studio["make_hours_per_year"])
    return (
        f"{fmt.percent(hidden)} of the {fmt.number(studio['hours_per_year'])} hours of the year are not making: orders, stalls, books, cleaning. "
        f"Over the making hours alone the same money would look like {fmt.money(naive)} an hour; over every hour it is **{fmt.money(float(studio['pay_per_hour']))}**."
    )


def price_sentences(kit: Kit) -> str:
    """Price now against both break-even prices, by product."""
    fmt, rows = format_of(kit), []
    for name, found in kit.point().products.items():
        now, target, cash = (float(found[key]) for key in ("mean_price_per_piece", "break_even_price", "cash_break_even_price"))
        factor = target / now
        side = (
            "about the same as"
            if abs(factor - 1) < 0.005
            else f"{fmt.percent(abs(factor - 1))} {'above' if factor > 1 else 'below'}"
        )
        if target <= 0:
            rows.append(
                f"A **{name}** sells for {fmt.money(now)} on average; the rest of the studio earns the target without it."
            )
            continue
        rows.append(
            f"A **{name}** sells for {fmt.money(now)} on average. Every hour earns the target at {fmt.money(target)}, {side} that "
            f"(a factor of {fmt.number(factor, 2)}); at {fmt.money(max(cash, 0.0))} the bills are paid and the hours earn nothing."
        )
    return "\n\n".join(rows)


def levers_sentence(kit: Kit, product, *, scrap, cure_hours) -> str:
    """What a sweep has set for every draw."""
    fmt, waiting = format_of(kit), main_wait(kit, product)[0]
    parts = [f"scrap set to {fmt.percent(scrap, 1)} of casts"] if scrap is not None else []
    parts += [f"the wait at {waiting} set to {fmt.number(cure_hours, 1)} hours"] if cure_hours is not None else []
    return f"In every draw: {' and '.join(parts)}." if parts else "All numbers are drawn as the study and its logs have them."


def target_sentence(kit: Kit) -> str:
    """Where the target comes from."""
    fmt, target, a = format_of(kit), kit.study.file.target, kit.inputs()
    year = f"For a full year of {fmt.number(a.weeks_per_year)} weeks at {fmt.number(target.full_week.value, 1)} hours that is {fmt.money(a.living_per_year, 0)}."
    if target.wage is None:
        return f"The target of {fmt.money(a.target_per_hour)} an hour is stated in the study. {year}"
    row = wages().loc[target.wage]
    return (
        f"The target of {fmt.money(a.target_per_hour)} an hour comes from {row.kind} {fmt.money(row.amount)}, {row.place}, from {row.valid_from} ({row.source}), "
        f"paid for {fmt.number(row.paid_hours_per_year)} hours a year, with {fmt.percent(target.employer_share.value)} for an employer's contributions. {year}"
    )


def error_sentence(kit: Kit, answer: Answer) -> str:
    """Monte Carlo error of the two main results."""
    fmt, pay = format_of(kit), answer.summary("pay_per_hour")
    chance = answer.chances["hour_pays_living_wage"]
    return (
        f"{fmt.number(len(answer.draws['pay_per_hour']))} draws: the mean of pay an hour is known to about ±{fmt.money(2 * pay['mean_error'], 3)}, "
        f"the chance of the target to about ±{fmt.percent(2 * chance['error'], 1)} (two standard errors, from the scatter of 16 independent sets of draws). "
        "This is the error of the arithmetic, not of the assumptions."
    )


def grid_sentence(kit: Kit, waiting, hours) -> str:
    """What the grid moves and what it holds still."""
    fmt = format_of(kit)
    if waiting is None:
        return "No step of this product waits, so only the scrap rate matters here."
    return (
        f"The longest wait of this product is {fmt.number(hours, 1)} hours at **{waiting}**. Cells in bold meet the target. "
        f"Where a row does not change, waiting is not what limits. The check at each step keeps its part of the losses."
    )
