"""The answer for an order as an object, as lines for a terminal, as numbers and as a quote."""

from datetime import date, timedelta
from math import ceil

from ..evidence import likeness
from ..faults import refusal
from ..kit import OpenStudy, format_of
from . import tables, wording
from .buying import buying_list
from .mould_choice import with_moulds_chosen
from .mould_page import mould_results, moulds_sentence
from .plan import OrderPlan
from .planner import Planner
from .policies import policy_results, policy_sentence
from .price import SAFE, Quoted
from .quote import Quote
from .spec import AT_ONCE, order_of, picked
from .timetable import days_off_sentence, schedule_results


def open_order(
    kit: OpenStudy, name: str | None = None, *, today: date | None = None, base: OpenStudy | None = None, **asked
) -> OrderPlan:
    """Plan an order of a study; `name`, `today` and `asked` as `order_of` takes them, `base` a study whose draws are kept in what both share.

    StudyError for what is asked for and cannot be, or a certainty that no number of casts gives.
    """
    order = order_of(kit, name or None, today=today, **asked)
    known = kit.kept.get(OrderPlan)
    if known and known.order == order:
        return known
    share = float(kit.point().products[order.product]["yield"])
    planner = Planner(kit, order.product, max(ceil(order.pieces / share), 1), order.channel, base=base)
    plan = OrderPlan(planner=planner, order=order)
    try:
        plan = with_moulds_chosen(plan)
        _ = plan.policies[AT_ONCE].casts_by_item
    except ValueError as error:
        right = "a lower --confidence, or a study whose pass shares leave good pieces"
        raise refusal("--confidence", str(error), right, found=f"{order.confidence:g}") from None
    return plan


def order_lines(plan: OrderPlan, quoted: Quoted) -> list[str]:
    """The answer for a terminal, without Markdown."""
    fmt = format_of(plan.planner.kit, year=False)
    said = [wording.what_is_asked(plan, fmt), wording.headline(plan, fmt)]
    said += [wording.progress_sentence(plan, fmt)] if plan.order.good or plan.order.begun else []
    if not plan.order.closed:
        said += [days_off_sentence(plan, fmt), wording.by_feel_sentence(plan, quoted, fmt), wording.alike_sentence(plan, fmt)]
        said += [moulds_sentence(plan, fmt), policy_sentence(plan, fmt)]
        said += [wording.price_sentence(plan, quoted, fmt), wording.deposit_sentence(plan, quoted, quoted.asked, fmt)]
    lines = [*wording.first_lines(plan, quoted, fmt), *(line for sentence in said if sentence for line in ("", sentence))]
    return [line.replace("**", "").replace("`", "") for line in lines]


def order_results(plan: OrderPlan, quoted: Quoted) -> dict:
    """Numbers of the answer, for `order.json`; hours, money, chances and shares in the units of the tables."""
    order, course, price = plan.order, plan.course, quoted.asked
    asked = picked(order, "name product pieces set_of variants start due confidence")
    in_hand = {key or order.product: value for key, value in order.in_hand.items()}
    return {
        "order": asked | {"in_hand": in_hand, "under_way": order.poured},
        "complete": order.complete,
        "pieces_over": order.over,
        "casts": plan.casts,
        "casts_if_pieces_failed_one_by_one": plan.casts_one_by_one,
        "load_correlation": likeness(plan.planner.kit.study, order.product)[0],
        "casts_by_variant": {key or order.product: value for key, value in plan.casts_by_item.items()},
        "loads": plan.new_loads,
        **policy_results(plan),
        "chance_of_enough": plan.chance_of_enough,
        "chance_of_date": course.in_time,
        "chance_of_date_error": course.error,
        "meets_date": plan.meets_date,
        "last_safe_start": plan.last_start,
        "honest_arrival": plan.arrives,
        "mould_sets_for_date": plan.sets_wanted,
        "mould_sets_worn": plan.sets_worn,
        "mould_sets_to_make": plan.moulds_to_make,
        "moulds": mould_results(plan),
        "schedule": schedule_results(plan),
        "hours": {row.what: row.hours for row in tables.hours_table(plan, quoted).itertuples()},
        "sanding_hours_per_day": max(plan.typical.sanding_by_day.values(), default=0.0),
        "materials_to_buy": {row.item: {"needed": row.needed, "unit": row.unit, "cost": row.cost} for row in buying_list(plan)},
        "prices": {
            **picked(quoted, "bills_only extra_cost full_cost"),
            "target_in_eight_of_ten": quoted.at_chance(SAFE),
            "asked": price,
        },
        "chance_price_earns_target": quoted.chance(price),
        "pay_per_hour_at_price": float(quoted.pay(price).mean()),
        "deposit": quoted.deposit(price),
    }


def quote_of(plan: OrderPlan, quoted: Quoted, today: date | None = None) -> Quote:
    """The quote for the customer, made today, or on the plan's first day: nothing of what it costs.

    The date is the one asked for if it holds with the wanted certainty, otherwise the earliest that does where work begins once the quote
    has run out. It holds as long as its date does, which is until when the deposit must be there. StudyError where there is no price to
    quote, or no date holds.
    """
    file, order = plan.planner.kit.study.file, plan.order
    price, words = quoted.asked, file.quote
    channel = file.channels.get(order.channel or "")
    charged = 0.0 if channel is None else channel.postage_charged.value
    if price <= 0.0:
        right = "the price agreed, by --price or as `price` of the commission"
        raise refusal("--price", "no price to quote", right, found=f"{price:g}")
    made_on, posted, arrives, until = _quote_dates(plan, order.start if order.begun or today is None else today, words.valid_days)
    return Quote(
        **picked(words, "contact changes tax_note language"),
        **picked(order, "pieces set_of variants"),
        **picked(file.study, "currency locale invented"),
        maker=words.maker,
        what=order.what or order.product.replace("-", " "),
        cast_together=order.matched > 1,
        price=price + charged,
        postage=charged if charged else None if channel is None else 0.0,
        deposit=quoted.deposit(price),
        made_on=made_on,
        valid_until=until,
        posted_by=posted,
        arrives_by=arrives if file.orders.transit_days else None,
        terms=tuple(words.terms),
    )


def _quote_dates(plan, day, valid_days):
    """Of a quote made on a day: that day, posting and arrival, and the last day on which it holds."""
    order, until = plan.order, day + timedelta(days=valid_days)
    if day > order.start:  # the first day of the plan has gone by
        plan = plan.with_order(start=day)
    if plan.meets_date:
        posted = plan.course.opened.last_posting(order.due)
        return day, posted, order.due, min(plan.last_start or day, until)
    promise = plan.promise_from(max(until, plan.order.start))
    if promise is None:
        wrong, found = "no date holds with the wanted certainty", f"{order.confidence:.0%}"
        raise refusal("quote", wrong, "a lower --confidence", found=found)
    return day, *promise, until
