"""Sentences about an order, each written from its numbers."""

import numpy as np

from ..evidence import likeness
from ..formatting import Format
from ..models.counts import chance_of
from ..models.yields import full_sets_per_load
from ..pages.job import orders_now
from ..pages.monte_carlo import LOSS, certainty_word
from .plan import OrderPlan
from .policies import cast_now_sentence, way_words
from .price import Quoted
from .spec import AT_ONCE, rows_of
from .tables import day, rule_table
from .timetable import beside_sentence, unnamed_sentence

UNLIKELY = 0.01  # chance of what a log says, below which it contradicts the plan
SPREAD_LIMIT = 0.02  # of a chance, within which two plans are as good as each other


def what_is_asked(plan: OrderPlan, fmt: Format) -> str:
    """The order in one sentence."""
    order = plan.order
    text = f"**{fmt.count(order.pieces, 'good piece')}{order.of_product}**"
    if order.variants:
        text += f" ({', '.join(f'{fmt.number(n)} {name}' for name, n in order.variants.items())})"
    if order.set_of > 1:
        place = "load" if order.match_within == "load" else "lot, whatever its loads"
        text += f" in sets of {order.set_of} that must match, so that each set comes from one {place},"
    begin = "" if order.closed else f"; work can begin on {day(fmt, order.start)}"  # nothing of it is left to begin
    sure = "" if order.closed and not order.to_post else f"; wanted certainty {fmt.sure(order.confidence)}"
    text += f" to arrive by {day(fmt, order.due)}{begin}{sure}."
    if order.good or order.under_way:
        text += f" **In hand{' or sold' if order.sold else ''}: {fmt.count(order.good, 'piece')}**"
        if order.under_way:
            loads = fmt.count(len(order.under_way), "load")
            text += f"; poured and not yet checked: {fmt.count(order.poured, 'cast')} in {loads}"
        text += "."
    if 0 < order.sold < order.pieces:
        text += f" **By the sales log {fmt.count(order.sold, 'piece')} of it {'is' if order.sold == 1 else 'are'} sold.**"
    as_of = plan.planner.kit.study.as_of
    text += beside_sentence(plan, fmt)
    return text + (f" As the logs stood on the evening of {day(fmt, as_of)}." if as_of else "")


def first_lines(plan: OrderPlan, quoted: Quoted, fmt: Format) -> list[str]:
    """The answer in three lines: whether the price pays, by when, what to do first; and that the log or the year says otherwise, where it does."""
    order, chance = plan.order, plan.course.in_time
    if order.price is None:
        price = f"**No price is stated yet:** ask {fmt.money(quoted.asked)}, and every hour earns the target of {fmt.money(quoted.target)}."
    elif not quoted.hours.any():
        price = "**It takes no hours,** so no pay an hour follows from its price."
    else:
        earned, pay = quoted.chance(order.price), fmt.money(quoted.pay(order.price).mean())
        price = f"**{fmt.money(order.price)} {certainty_word(earned)}:** an hour brings {pay}, target {fmt.money(quoted.target)} (chance {fmt.chance(earned)})."
        if order.closed:
            of = "fewer" if order.ended_short else "it"
            price = f"**{fmt.money(order.price)}** was for {fmt.count(order.pieces, 'piece')}: what an hour of {of} pays is in `project.html`."
        if order.closed and not (order.begun or order.sold):
            price = f"**{fmt.money(order.price)}:** an hour would have paid {pay} by the study's minutes, target {fmt.money(quoted.target)}."
    if plan.meets_date:
        when = f"**By {day(fmt, order.due)}:** yes, with a chance of {fmt.chance(chance)}."
    else:
        safe = f"; safe by {day(fmt, plan.arrives)}" if plan.arrives else "; no date within the calendar is safe"
        late = f"not safely, the chance is {fmt.chance(chance)}, less than the {fmt.sure(order.confidence)} asked for{safe}."
        late = f"that day has gone by{safe}." if order.due < order.start else late
        saved = plan.saved_by
        yes = f" yes with {saved[0]}, with a chance of {fmt.chance(saved[1])}; as planned here" if saved else ""
        when = f"**By {day(fmt, order.due)}:**{yes} {late}"
    year = [line] if (line := year_line(plan, quoted, fmt)) else []
    doubt = [line for line in ("" if order.closed else contradiction(plan, fmt), unnamed_sentence(plan, fmt)) if line]
    if order.closed:
        return [price, *([when] if order.to_post else []), *doubt, left_to_do(plan, fmt), *year]
    making, first = plan.loads.making, day(fmt, plan.begins)
    moulds = f"aking {fmt.count(making.to_make, 'mould')} for them begins on {first}." if making and making.to_make else ""
    if plan.tops_up:
        return [price, when, *doubt, cast_now_sentence(plan, fmt) + (f" M{moulds}" if moulds else ""), *year]
    start = f"**Start {fmt.count(plan.casts, 'cast')}** in {fmt.count(plan.new_loads, 'load')}"
    start += f" once moulds are ready; m{moulds}" if moulds else f" on {first}."
    start += way_words(plan, fmt)
    return [price, when, *doubt, start if plan.casts else "**Cast nothing more:** what is there is enough.", *year]


def left_to_do(plan: OrderPlan, fmt: Format) -> str:
    """What is left of an order of which nothing is left to make, by what the sales log says of it."""
    order, sold = plan.order, rows_of(plan.planner.kit.study, "sales", plan.order.name)
    if order.finished and not (order.begun or order.sold):  # as `new` says of an order whose day has gone by
        return "**Over, as you say:** no load and no sale of it is logged, so all of it counts as made; log its loads, its hours and its sale, and ask again what it paid."
    if order.finished and order.sold < order.pieces:
        what = f"{fmt.number(order.sold or order.good)} of {fmt.count(order.pieces, 'piece')} {'sold by the sales log' if order.sold else 'good'}"
        sale = "the sale of any others and " if order.sold else "its sale and " if order.good else ""
        return f"**Over, as you say, with {what}:** log {sale}the hours that are in no log yet, and read in `project.html` what it paid."
    if sold is None or not (order.sold or order.finished):  # a deposit alone is a row of no piece
        return "**All is in hand:** pack and post it, and once it is write it into the sales log, with the name of the order."
    if order.to_post:
        return f"**{fmt.count(order.sold, 'piece')} of it are sold** by the sales log: pack and post the other {fmt.number(order.to_post)}."
    owed = 0.0 if order.price is None else order.price - float(sold.price.sum())
    back = float(sold.refund.abs().sum())
    state = "Delivered" if max(owed, back) >= 0.005 else "Delivered and paid"
    ask = f"ask for the balance of {fmt.money(owed)}, " if owed >= 0.005 else ""
    refunded = f", {fmt.money(back)} of it paid back or never paid" if back >= 0.005 else ""
    when = day(fmt, sold.date.max().date())
    return f"**{state}** by the sales log on {when}{refunded}, asked for by {day(fmt, order.due)}: {ask}log the hours that are in no log yet, and read in `project.html` what it paid."


def contradiction(plan: OrderPlan, fmt: Format) -> str:
    """That the order's own loads say another yield than the plan counts on, and what to do; nothing where they may well come of it."""
    order, d = plan.order, plan.planner.draws
    sizes, good = tuple(casts for casts, _ in order.checked), sum(good for _, good in order.checked)
    least, more = (
        chance_of(count, 0, 1, d.good_share, d.load_correlation, started=sizes, ruined=d.ruined) for count in (good, good + 1)
    )
    if min(1.0 - more, least) >= UNLIKELY:
        return ""
    path = f"products.{order.product}.steps"
    shares = [(step, plan.planner.kit.study.numbers.get(f"{path}.{step}.pass_share")) for step in plan.planner.entry.steps]
    silent = [step for step, share in shares if share and not share.from_records]
    remedy = "state the pass shares as they are now, or a smaller `worth` beside them, so that the log counts for more"
    if silent:
        remedy = f'write `from = "records"` beside the pass share of {", ".join(silent)}, so that the log counts'
    text = f"**The log contradicts this plan:** {fmt.number(good)} of {fmt.count(sum(sizes), 'cast')} of the order were good, and it counts on "
    text += f"{fmt.percent(float(d.good_share.mean()))}. "
    why = "Find out why before you pour another load; then " if 1.0 - more < least else ""
    return text + (why + remedy if why else remedy[0].upper() + remedy[1:]) + "."


def year_line(plan: OrderPlan, quoted: Quoted, fmt: Format) -> str:
    """That the order pays and the year does not, or the other way round; nothing where both do, or no price or hours are there to tell."""
    kit, price = plan.planner.kit, plan.order.price
    if price is None or not quoted.hours.any():
        return ""
    pay, chance = float(kit.point().totals["pay_per_hour"]), quoted.chance(price)
    lead = f"**That is this order, not the year:** with {fmt.count(np.ceil(orders_now(kit)), 'order')} a year an hour brings about {fmt.money(pay)}, luck apart"
    if chance >= 0.75 and pay < quoted.target:
        return (
            f"{lead}, as weekly hours and overheads run on where no order does; `casting-econ check` says what that is as a job."
        )
    return f"{lead}, which this one does not reach." if chance < 0.25 and pay >= quoted.target else ""


def headline(plan: OrderPlan, fmt: Format) -> str:
    """What to start, the date, and how sure."""
    order, course = plan.order, plan.course
    chance = fmt.chance(plan.chance_of_enough)
    if order.closed and not order.to_post:
        return "**Nothing more needs to be cast or posted.**"
    if order.closed:
        text = "**Nothing more needs to be cast.** "
    elif plan.tops_up:
        text = f"{cast_now_sentence(plan, fmt)} "
    elif plan.casts:
        text = f"Start **{fmt.count(plan.casts, 'cast')}** in {fmt.count(plan.new_loads, 'load')}: enough good pieces with a chance of {chance}. "
    else:
        text = f"Nothing more needs to be cast: what is there is enough with a chance of {chance}. "
    arrive = f"arrives by {day(fmt, order.due)} with a chance of **{fmt.chance(course.in_time)}**"
    doubtful = 0.005 < course.in_time < 0.995 and course.error >= 0.0025
    arrive += f" (± {fmt.percent(2 * course.error)} from the number of draws)" if doubtful else ""
    if plan.meets_date:
        last = plan.last_start
        text += f"The parcel {arrive}. "
        if order.closed:
            return text + (f"Begin to pack it by {day(fmt, last)}." if last else "")
        if last and last > order.start:
            text += f"The **last safe start is {day(fmt, last)}**. "
        elif last:
            text += "**Begin on that first day: a day later is no longer safe.** "
        more = "A load more follows at once where the planned ones fall short; that is in the chance."
        more = "Rounds that top up are in the chance." if plan.tops_up else more
        return text + more if plan.casts or order.under_way else text.rstrip()
    late = f"**{day(fmt, order.due)} has gone by.** " if order.due < order.start else ""
    text += late or f"The parcel {arrive}, which is **less than the {fmt.sure(order.confidence)} asked for**. "
    if plan.saved_by:
        text += f"**With {plan.saved_by[0]} the date holds with a chance of {fmt.chance(plan.saved_by[1])}.** As planned here: "
    if plan.earliest_promise:
        posted, arrives = plan.earliest_promise
        return (
            text
            + f"**{'the' if plan.saved_by else 'The'} earliest honest date is {day(fmt, arrives)}** (posted {day(fmt, posted)})."
        )
    return text + f"{'no' if plan.saved_by else 'No'} date within the calendar holds with that certainty."


def alike_sentence(plan: OrderPlan, fmt: Format) -> str:
    """What it adds that pieces of one load fail together, and what that rests on; nothing where nothing is cast."""
    if not plan.casts or plan.tops_up:
        return ""
    value, band, basis = likeness(plan.planner.kit.study, plan.order.product)
    spread = f" ({fmt.number(band[0], 2)} to {fmt.number(band[1], 2)} in eight of ten)" if band else ""
    what = f"pieces of one load fail together with a correlation of {fmt.number(value, 2)}{spread}: {basis}"
    remedy = "; your batches or `load_correlation` of the product say better." if basis.startswith("guess") else "."
    alone = plan.casts_one_by_one
    if alone == plan.casts:
        return f"As many casts would do if pieces failed one by one; {what}{remedy}"
    return f"**{fmt.count(alone, 'cast')} if pieces failed one by one; {fmt.number(plan.casts)} because loads differ**: {what}{remedy}"


def progress_sentence(plan: OrderPlan, fmt: Format) -> str:
    """On course or not, and what to do now."""
    order = plan.order
    if not (order.begun or order.good):
        return "Nothing of this order is cast yet, or the batches log does not say so."
    if order.ended_short:
        what = f"sold**, {fmt.number(order.good)} were good" if order.sold else "good**"
        return f"**Over: {fmt.number(order.sold or order.good)} of {fmt.count(order.pieces, 'piece')} were {what}, and no more is cast."
    if order.closed:
        all_of_it = f"all {fmt.count(order.pieces, 'piece')} are" if order.pieces > 1 else "the one piece is"
        there = "sold" if order.sold >= order.pieces else "in hand or sold" if order.sold else "in hand"
        over = [f"{fmt.count(order.over, 'piece')} over"] if order.over else []
        over += [f"{fmt.count(order.poured, 'cast')} under way and no longer needed"] if order.poured else []
        beyond = f", with {' and '.join(over)}" if over else ""
        rest = f"the other {fmt.number(order.to_post)}" if order.sold else "them"
        return f"**Complete: {all_of_it} {there}**{beyond}.{f' Pack and post {rest}.' if order.to_post else ''}"
    text = f"{fmt.count(sum(order.short.values()), 'piece')} still to come"
    if order.poured:
        without = fmt.chance(plan.curve([0])[0])
        text += f", {fmt.count(order.poured, 'cast')} under way; without another load they are enough with a chance of {without}"
    state = "**On course**" if plan.meets_date else "**Not on course**"
    text += f". {state}: in time with a chance of {fmt.chance(plan.course.in_time)}"
    if plan.casts:
        verb = "is" if plan.casts == 1 else "are"
        text += f" if {fmt.count(plan.casts, 'more cast')} {verb} poured in {fmt.count(plan.new_loads, 'load')}"
    elif not plan.tops_up:
        text += " with nothing more to pour"
    text += ", and what is short after each count is cast again." if plan.tops_up else "."
    if plan.meets_date:
        last = plan.last_start
        return text + (f" Go on no later than {day(fmt, last)}." if last and plan.casts else "")
    if plan.saved_by:
        return text + f" **What would save the date: {plan.saved_by[0]}** ({fmt.chance(plan.saved_by[1])})."
    best = max(plan.options, key=lambda row: row[1])
    now = plan.options[0][1]
    helps = f" {best[0].capitalize()} would lift the chance to {fmt.chance(best[1])}." if best[1] > now + SPREAD_LIMIT else ""
    promise = f" **Tell the customer now: {day(fmt, plan.arrives)} can be promised.**" if plan.arrives else ""
    return text + helps + promise


def by_feel_sentence(plan: OrderPlan, quoted: Quoted, fmt: Format) -> str:
    """What a plan by feel risks and leaves out."""
    rules = rule_table(plan).set_index("rule")
    naive, margin = rules.loc["wanted ÷ yield"], rules.loc["a quarter more than wanted"]
    minutes, finishing = plan.step_minutes.sum(axis=1).mean(axis=0), plan.planner.first_wait + 1
    casting, after = fmt.number(minutes[:finishing].sum() / 60, 1), fmt.number(minutes[finishing:].sum() / 60, 1)
    selling, other = quoted.order_hours.mean(), quoted.order_hours.mean() + quoted.hidden_hours.mean()
    around = "talking, packing, posting and the share of weekly hours" if selling else "the share of weekly hours is"
    takes = f"casting takes about {casting} hours; **taking out, checking and finishing take {after} hours**, and {around} another {fmt.number(other, 1)}."
    takes += _guessed_hours(plan, quoted, fmt)
    if naive.casts:
        over = margin.chance - plan.order.confidence
        verb = "would do more than is asked" if over > 0.005 else "happens to be about right"
        return (
            f"Dividing what is wanted by the yield gives {fmt.count(naive.casts, 'cast')}, and that is enough with a chance of {fmt.chance(naive.chance)}. "
            f"The usual quarter more is {fmt.count(margin.casts, 'cast')} and gives {fmt.chance(margin.chance)}: "
            f"it {'falls short of what is asked' if over < -0.005 else verb}. {takes.capitalize()}"
        )
    if plan.casts or plan.order.under_way:
        return f"What is under way would do by the yield alone, and is enough in {fmt.chance(naive.chance)} of cases. With it, {takes}"
    rest = f"; talking, packing and posting take {fmt.number(selling, 1)} hours" if selling else ""
    return f"Nothing is left to cast or finish{rest}."


def _guessed_hours(plan, quoted, fmt):
    """That most of an order's hours are weekly ones that somebody guessed; nothing where they are fewer, or known."""
    hidden, number = float(quoted.hidden_hours.mean()), plan.planner.kit.assumed.numbers["time.fixed_hours"]
    if number.basis != "guess" or hidden <= float(quoted.hours.mean()) / 2:
        return ""
    return f" **{fmt.number(hidden, 1)} of these hours are weekly ones by a guess** (`fixed_hours` under [time]): write down a week of them before trusting the pay."


def sets_sentence(plan: OrderPlan, fmt: Format) -> str:
    """What matching costs; nothing where pieces need not match."""
    order, planner = plan.order, plan.planner
    if order.set_of == 1:
        return ""
    if order.matched == 1:
        return f"Sets of {order.set_of} match within a lot, so a good piece of any load completes one: no cast is lost to odd pieces."
    share, alike = float(planner.point.good_share[0]), float(planner.point.load_correlation[0])
    size = planner.casts_per_load
    sets = full_sets_per_load(size, share, order.set_of, alike)
    used = sets * order.set_of / size
    return (
        f"A full load of {size} gives {fmt.number(size * share, 1)} good pieces on average but only {fmt.number(sets, 2)} full sets of {order.set_of}: "
        f"**{fmt.percent(used)} of casts end in a full set**, against a yield of {fmt.percent(share)}."
    )


def sanding_sentence(plan: OrderPlan, fmt: Format) -> str:
    """Hand sanding a day against the planning cap."""
    cap = plan.planner.kit.study.file.orders.sanding_cap
    by_day = plan.typical.sanding_by_day
    if not any(stage.sanding for stage in plan.typical.plan.stages):
        return "No step of this product counts as sanding by hand."
    if not by_day:
        return "Nothing is left to sand by hand."
    total, most, unspread = sum(by_day.values()), max(by_day.values()), plan.sanding_uncapped
    text = f"Sanding by hand in a typical course: {fmt.number(total, 1)} hours in all, at most {fmt.number(most, 1)} a day. "
    if unspread > cap + 1e-6:
        text += f"**Worked as it comes it would be {fmt.number(unspread, 1)} hours on one day; the calendar spreads it to stay within {fmt.number(cap, 1)}.** "
    caution = "says nothing about what a hand can bear: change tasks, rest often, wet-sand, wear a fitted mask."
    return text + f"The cap is for planning (common practice, no source) and {caution}"


def start_sentence(plan: OrderPlan, fmt: Format) -> str:
    """What waiting costs."""
    later = plan.next_start
    if later is None:
        return ""
    before, after = map(fmt.chance, plan.starts([plan.order.start, later]).values())
    moves = f"stays {after}" if before == after else f"goes from {before} to {after}"
    return f"Starting on {day(fmt, later)} instead, when the next load would be poured, the chance of the date {moves}."


def price_sentence(plan: OrderPlan, quoted: Quoted, fmt: Format) -> str:
    """Prices in words, and what the order's own price does."""
    order, target = plan.order, quoted.target
    text = (
        f"The bills alone ask {fmt.money(quoted.bills_only)}; with {fmt.money(target)} for each of its own hours the order asks {fmt.money(quoted.extra_cost)}, "
        f"and **{fmt.money(quoted.full_cost)}** where it also carries its share of overheads, equipment and weekly hours. "
        f"For the target in eight cases of ten it takes {fmt.money(quoted.at_chance(0.8))}."
    )
    if order.channel is None:
        text += " No channel is named, so talking, packing, posting, fees and postage are not in these: name one with `--channel`, or as `channel` of a commission."
    if quoted.brought.mean() >= 0.005:
        text += f" What is good beyond the order is counted as bringing {fmt.money(quoted.brought.mean())} on average; without that each asks so much more."
    if order.good:
        casts = "the casts of its batches" if order.checked else "as many casts as the yield asks for"
        text += f" The pieces in hand are in all this: {casts}, {fmt.number(quoted.done_hours.mean(), 1)} hours by the study's minutes."
    if order.price is None:
        return f"{text} No price is stated yet: the quote asks the last of these, rounded up.{' State the price agreed, to see what the order pays.' * order.closed}"
    if not quoted.hours.any():
        return text + " It takes no hours, so no pay an hour follows from its price."
    pay, chance = quoted.pay(order.price), quoted.chance(order.price)
    low, high = np.quantile(pay, [0.1, 0.9])
    by = " by the study's minutes and prices" + (", were it paid in full" if order.ended_short else "") if order.closed else ""
    text += f" At **{fmt.money(order.price)}** an hour {'would have paid' if order.closed else 'pays'} {fmt.money(pay.mean())}{by} ({fmt.money(low)} to {fmt.money(high)}), and the target of {fmt.money(target)} is earned with a chance of {fmt.chance(chance)}."
    limits = (
        (quoted.bills_only, " **That does not even pay the bills.**"),
        (quoted.extra_cost, " **That pays less than its own hours at the target, even if nothing else is charged to it.**"),
        (quoted.full_cost, " That is worth taking only while hands and stations would be idle otherwise, and cannot carry the workshop."),
    )  # fmt: skip
    text += next((said for limit, said in limits if order.price < limit and not order.closed), "")
    return text + (f" {LOSS}" if pay.mean() < 0 else "")


def deposit_sentence(plan: OrderPlan, quoted: Quoted, price: float, fmt: Format) -> str:
    """The deposit and what it covers."""
    if plan.order.closed:
        return "Nothing is left to buy or to cast, so there is nothing for a deposit to cover."
    if price <= 0:
        return "Nothing is charged, so no deposit is asked."
    deposit = quoted.deposit(price)
    made = ", the making of moulds" if plan.planner.moulds and plan.loads.making.to_make else ""
    risk = f"what must {'still ' * bool(plan.order.begun)}be bought{made} and the first load at the target, {fmt.money(quoted.at_risk)}"
    if deposit < quoted.at_risk - 0.005:
        return f"No deposit covers {risk}: **even the whole price, {fmt.money(price)}, does not.**"
    if plan.order.begun:
        return f"If no deposit is paid yet, **{fmt.money(deposit)}** would cover {risk}."
    least = ", the least by `deposit_least`" if deposit >= quoted.at_risk + 1 else ""
    return f"A deposit of **{fmt.money(deposit)}** ({fmt.percent(deposit / price)} of the price{least}) covers {risk}.{_deposit_day(plan, fmt)}"


def _deposit_day(plan, fmt):
    """Until when a quote of the plan holds, where that leaves a customer no time, or moves the date."""
    start, days = plan.order.start, plan.planner.kit.study.file.quote.valid_days
    if not plan.meets_date:
        return f" The quote leaves {fmt.count(days, 'day')} for it and begins then, so its date is later than the earliest here."
    if plan.last_start > start:
        return ""
    return (
        f" **It has to be there by {day(fmt, start)}, and the quote holds no longer: a day later the date is not safe.** "
        "For more time quote a later day (`--by`), or begin before it is paid."
    )


def lots_sentence(plan: OrderPlan, fmt: Format) -> str:
    """The cheapest first lot where ending short has a price."""
    order, lots = plan.order, plan.lots
    if not (order.short_penalty or order.short_penalty_each):
        return "Ending short costs nothing by what is stated (`short_penalty`, `short_penalty_each`), so the plan above is for the wanted certainty alone."
    if order.closed:
        return "All is in hand, so no lot is left to weigh."
    if lots is None:
        return "The cheapest lots are worked out for up to 400 pieces or sets only."
    if lots.first[0] == 0:
        return (
            "By what is stated, ending short would cost less than casting at all, so no lot is advised: state the `price` of the order, "
            "and in `short_penalty` and `short_penalty_each` what a missing piece really costs."
        )
    several = f"in up to {plan.rounds} lots, which the time allows"
    many = several if plan.rounds > 1 else "in one lot, since the time allows no second"
    first = " or ".join(fmt.number(q) for q in lots.first)
    text = f"Weighing casts against the cost of ending short, missing pieces not being paid, the cheapest is to start **{first} casts** {many}, at an expected cost of {fmt.money(lots.expected_cost)}; it ends with enough in {fmt.chance(lots.chance_met)} of cases."
    once = plan.policies[AT_ONCE].casts
    sure = f"the {fmt.number(once)} for a certainty of {fmt.sure(order.confidence)}"
    if lots.first[0] < once:
        text += f" That is fewer than {sure} in one go."
    elif lots.first[0] > once:
        text += f" That is more than {sure}: ending short is dear."
    text += " All variants count as one." if order.variants else ""
    return text + " Later lots are taken as telling nothing new about the yield."
