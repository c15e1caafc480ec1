"""What no single key of a study file can know: names that must exist, loads that must fit, hours that must be left."""

import math
import re

from ..draws.sampling import copula_matrix
from ..faults import Fault, close_match, one_of
from ..models.windows import merged_windows
from ..reference import taxes, wages
from ..units import measures
from .fields import DAYS, MONTHS
from .numbers import Amount, written
from .told import log_of, worth_of

STUDY_FILE, UNUSED = "study.toml", "unknown material or part"
MOST_FAULTS = 500  # told in one round
LEAST_GOOD = 0.005  # of the casts; less is a slip of the pen, or no craft
MOST_PROMISED = 100  # loads that go before an order; the calendar follows each in every draw
_HOURS = re.compile(r"^(\d{1,2}):([0-5]\d)\s*-\s*(\d{1,2}):([0-5]\d)$", re.ASCII)


class Enough(Exception):
    """No more faults are looked for."""


class Faults(list):
    """Faults between the keys of a study file."""

    def told(self, column: str, wrong: str, found: str, right: str) -> None:
        """Add one; Enough once there are as many as are told."""
        self.append(Fault(STUDY_FILE, wrong, right, column=column, found=found))
        if len(self) >= MOST_FAULTS:
            raise Enough


def _is_known(fault, column, kind, name, names):
    """Whether a name, if one is given, is one of those there are; a fault where it is not."""
    if name is None or name in names:
        return True
    fault(column, f"unknown {kind}", repr(name), one_of(name, names) if len(names) else f"a {kind} of the study, none yet")
    return False


def items_of(file):
    """Every material and part of a study file as (dotted key, product, step or None, item, entry of the file)."""
    for name, product in file.products.items():
        path, steps = f"products.{name}", [] if product.mould is None else product.mould.steps.items()
        tables = [(f"{path}.steps.{step}.materials", step, entry.materials) for step, entry in product.steps.items()]
        tables += [(f"{path}.parts", None, product.parts)]
        tables += [] if product.mould is None else [(f"{path}.mould.materials", None, product.mould.materials)]
        tables += [(f"{path}.mould.steps.{step}.materials", None, entry.materials) for step, entry in steps]
        for place, step, table in tables:
            yield from ((f"{place}.{item}", name, step, item, entry) for item, entry in table.items())


def whole_of(key, step, entry):
    """What a material or part of `items_of` is stated for: a piece, a load or another `per` of its step, a mould, or a set of them."""
    if ".mould." in key:
        return "set of moulds" if ".mould.materials." in key else "mould"
    return entry.per if step else "piece"


def working_windows(calendar, faults):
    """Working windows of the week, Monday 0:00 being 0 [hour]; what is wrong with them is added to `faults`."""
    windows, fault = [], faults.told
    for day, text in calendar.items():
        for part in (p.strip() for p in text.split(",") if p.strip()):
            match = _HOURS.match(part)
            start, end = (int(match[1]) + int(match[2]) / 60, int(match[3]) + int(match[4]) / 60) if match else (0, 0)
            if not match or not 0 <= start < end <= 24:
                right = "'09:00-12:30', later after earlier, several with a comma"
                fault(f"calendar.{day}", "not working hours", repr(part), right)
            else:
                base = 24.0 * DAYS.index(day)
                windows.append((base + start, base + end))
    try:
        if windows:
            merged_windows(windows)
        elif not faults:
            fault("calendar", "no working hours at all", "", "at least one day with hours such as '09:00-12:30'")
    except ValueError as error:
        fault("calendar", str(error), "", "windows that do not overlap")
    return tuple(windows)


def _turn(product, step):
    """Most hands-on minutes of a step for a load and its lots. [min/load]"""
    return step.load_minutes.most + step.lot_minutes.most * product.lots_per_load.most


def _longest_window(windows):
    """Length of the longest working window, touching ones joined. [hour]"""
    try:
        return max(end - start for start, end in merged_windows(windows)) / 3600.0
    except ValueError:  # overlapping or none, which has a fault of its own
        return max((end - start for start, end in windows), default=0.0)


def cross_checks(file, windows, faults):
    """What no single key can know. A number that is wrong itself is not-a-number here, and trips no comparison."""
    fault = faults.told
    for name in set(file.stations) & set(file.racks):
        fault(f"racks.{name}", "same name as a station", repr(name), "a name of its own")
    for name, station in file.stations.items():
        if station.sizes and station.count.value != len(station.sizes):
            right = f"{len(station.sizes)}, or no count beside a list of places, which has one for each"
            found = f"{station.count.value:g}, places {list(station.sizes)}"
            fault(f"stations.{name}.count", "is not as many as the places", found, right)
    for name, product in file.products.items():
        _check_product(f"products.{name}", product, file, windows, fault)
    for name, channel in file.channels.items():
        _is_known(fault, f"channels.{name}.product", "product", channel.product, file.products)
        for key in ("price", "reference_price") if channel.elasticity.most > 0 else ():
            if (price := getattr(channel, key)) is not None and price.most <= 0:
                fault(f"channels.{name}.{key}", "is nothing where buyers follow it", "0", "a price above 0, or no elasticity")
    if all(channel.orders.value <= 0 for channel in file.channels.values()):
        fault("channels", "nothing is sold", "no orders in any channel", "at least one channel with orders above 0")
    sold = {c.product for c in file.channels.values() if not c.orders.value <= 0}
    for name in (name for name in file.products if name not in sold):
        fault(f"products.{name}", "is sold nowhere", repr(name), "at least one channel with orders above 0")
    stall = sum(c.days.value * c.hours_per_day.value for c in file.channels.values())
    fixed = file.time.fixed_hours.value * file.time.weeks.value + stall
    if fixed >= file.time.hours.value * file.time.weeks.value:
        found, right = f"{fixed:.0f} fixed and stall hours a year", "more hours a week, or fewer fixed ones"
        fault("time.hours", "no hours left to make anything", found, right)
    _check_target(file, fault)
    for name, entry in file.changes.items():
        place, known = f"changes.{name}", _is_known(fault, f"changes.{name}.product", "product", entry.product, file.products)
        products = file.products.values() if entry.product is None or not known else [file.products[entry.product]]
        _is_known(fault, f"{place}.step", "step", entry.step, [step for product in products for step in product.steps])
    for name, risk in file.risks.items():
        _is_known(fault, f"risks.{name}.stops", "station", risk.stops, file.stations)
    if file.time.weeks_off and sum(file.time.weeks_off.values()) > 365.2425 / 7.0 - file.time.weeks.value:
        found = f"{sum(file.time.weeks_off.values()):g} weeks off beside {file.time.weeks.value:g} weeks worked"
        fault("time.weeks_off", "more weeks off than the year leaves", found, "weeks off and weeks worked that fit one year")
    for name in file.cash.payment_delay:
        _is_known(fault, f"cash.payment_delay.{name}", "channel", name, file.channels)


def _check_product(place, product, file, windows, fault):
    """Names, moulds, loads and causes of the routing of one product."""
    longest, steps, places = _longest_window(windows) * 60, list(product.steps), {**file.stations, **file.racks}
    first = product.first_wait
    after = steps[steps.index(first) + 1 :] if first else []
    handled = sum(_turn(product, product.steps[key]) for key in steps if first and key not in after)
    _is_known(fault, f"{place}.cure_step", "step", product.cure_step, steps)
    if product.mould is not None and first and handled <= 0 and product.steps[first].wait_in not in file.stations:
        wrong, found = "waits in the mould but no step loads it", f"{product.steps[first].wait.value:g} h"
        right = "load_minutes, the hands-on minutes to fill the moulds of a load, on the step that waits in them or before it"
        fault(f"{place}.steps.{first}.wait", wrong, found, right)
    out = product.mould.free_after if product.mould is not None else None
    if out is not None and out not in after:
        wrong = "a step before the load has waited" if out in steps else "unknown step"
        right = f"the step that gets the pieces out of the moulds, one of {', '.join(after) or 'those after a step that waits'}"
        fault(f"{place}.mould.free_after", wrong, repr(out), right + close_match(out, after))
    good = math.prod(step.pass_share.value for step in product.steps.values())
    if good < LEAST_GOOD:
        right = f"at least {LEAST_GOOD:g} of them; a pass_share of 0.88 is '88 %', not '0.88 %'"
        fault(f"{place}.steps", "pass shares that together leave hardly a good piece", f"{good:.1g} of the casts", right)
    if product.mould is not None:
        _check_mould(f"{place}.mould", product.mould, file, fault)
    for key, step in product.steps.items():
        column, station = f"{place}.steps.{key}", file.stations.get(step.wait_in)
        _is_known(fault, f"{column}.wait_in", "station or rack", step.wait_in, places)
        # a load turns round at a station, and in the moulds up to the first step that waits
        most = _turn(product, step) if station is not None else handled if key == first and product.mould else None
        if most is not None and windows and (most > longest or (most <= 0 and station is not None)):
            within = f"above 0 and within the longest window of {longest:g} minutes"
            right = f"minutes to unload and load on the step that waits, {within}"
            fault(f"{column}.load_minutes", "does not fit a working window", f"{most:g} minutes", right)
        # a load is cast, or put together, for its own station; one that is there already must fit any of them
        room = math.inf if station is None else station.room(chosen=key == first or step.load_size is not None)
        if (size := (step.load_size or product.casts_per_load).value) > room:
            named = f"{column}.load_size" if step.load_size else f"{place}.casts_per_load"
            right = f"at most {room:g}, as {named}, or more places"
            fault(f"{column}.wait_in", "load larger than the station", f"{size:g} pieces", right)
        if key == first and product.mould is not None:
            _check_fits(column, product.mould, room, fault)
        weights = step.causes.values()
        if weights and not (all(0 <= weight < math.inf for weight in weights) and sum(weights) > 0):
            fault(f"{column}.causes", "not weights", str(step.causes)[:200], "numbers of zero or more, not all zero")


def _check_mould(column, mould, file, fault):
    """Moulds are told as sets with their minutes, or one by one with the steps of making them; not half of each."""
    given, steps = mould.model_fields_set, mould.steps
    right = "either steps with cavities (and in_hand, masters), or minutes and materials of a set (and sets)"
    of_sets, of_moulds = {"minutes", "materials"} & given, {"cavities", "in_hand", "masters"} & given
    for key in sorted(of_sets if steps else of_moulds):
        wrong = "is told twice, here and in steps" if steps else "counts moulds whose making has no steps"
        fault(f"{column}.{key}", wrong, "", right)
    if {"sets", "in_hand"} <= given:
        fault(f"{column}.in_hand", "moulds counted twice", "sets and in_hand", "one of them")
    if not steps and not of_sets:
        fault(f"{column}.minutes", "is missing", "", right)
    if steps and mould.cavities is None:
        fault(f"{column}.cavities", "is missing", "", "the casts that one mould gives at once, such as 3")
    for key, step in steps.items():
        place, station = f"{column}.steps.{key}", file.stations.get(step.wait_in)
        _is_known(fault, f"{place}.wait_in", "station", step.wait_in, file.stations)
        for item, material in step.materials.items():
            if material.per == "lot":
                fault(f"{place}.materials.{item}.per", "lots are of colours, which moulds have none of", "'lot'", "piece or load")
        _check_fits(place, mould, math.inf if station is None else station.room(chosen=True), fault)


def _check_fits(place, mould, room, fault):
    """A mould takes a place for each of its cavities, whether it is made or cast in."""
    if mould.cavities is not None and mould.cavities > room:
        fault(f"{place}.wait_in", "mould larger than the station", f"{mould.cavities} cavities", f"at most {room:g}")


def check_correlations(file, numbers, faults):
    """Pairs must name two different numbers of the file, each pair once, and agree with each other."""
    pairs, seen, before, fault = [], set(), len(faults), faults.told
    for index, pair in enumerate(file.correlations):
        place = f"correlations.{index}.between"
        for key in pair.between:
            if key not in numbers:
                fault(place, "unknown number", repr(key), f"the dotted key of a number in the file{close_match(key, numbers)}")
                continue
            number = numbers[key]  # which is drawn by its own spread, by what the logs say, or as a shared factor
            shared = key.startswith("spread.") and number.value > 0
            if not (number.value != number.value or number.distribution is not None or number.from_records or shared):
                fault(place, "a number that never varies", repr(key), "a number with a range, a distribution or from records")
        if pair.between[0] == pair.between[1] or frozenset(pair.between) in seen:
            fault(place, "pair twice, or a number with itself", "", "two different numbers, once")
        pairs.append((*pair.between, pair.rank))
        seen.add(frozenset(pair.between))
    if len(faults) > before:
        return
    try:
        copula_matrix(sorted({key for pair in pairs for key in pair[:2]}), pairs)
    except ValueError as error:
        fault("correlations.0", str(error), "", "fewer or weaker correlations")


def check_time(numbers, faults):
    """A year needs an hour somewhere, or no pay an hour follows from it."""
    hours = [n for key, n in numbers.items() if key.endswith(("minutes", "minutes_per_order", "fixed_hours", "hours_per_day"))]
    if all(number.most <= 0 and not number.from_records for number in hours):  # one that is wrong itself is not-a-number here
        right = "the minutes that a step or an order takes, or weekly hours, so that a year has hours to pay"
        faults.told("products", "nothing takes time", "no minutes and no hours", right)


def check_asked(numbers, faults):
    """Only what some log tells may be asked of the records."""
    right = "a value or a range; logs tell minutes, pass and rework shares, waits, mould life, prices, losses, orders and how they come, what they bring, and fixed hours"
    for key, number in numbers.items():
        if number.from_records and log_of(key) is None:
            faults.told(key, "no log tells this number", 'from = "records"', right)


def check_worth(file, numbers, faults):
    """A guess counts for so many of what its own logs are counted in: of anything else its figure would stand for another amount."""
    items = {f"{key}.price": entry for key, *_, entry in items_of(file)}
    for key, number in numbers.items():
        if not number.prior_weight_unit or log_of(key) is None:
            continue
        unit, counts = number.prior_weight_unit, worth_of(key)
        if counts:
            one = unit.removesuffix("s")
            fits = one == counts or (counts == "month" and (one == "week" or measures(unit, counts)))
        else:
            counts = number.unit.partition("/")[2]
            fits = _is_amount(unit, counts, items[key], file.study.currency)
        if not fits:
            usual = {"month": "months or weeks", "": "a plain count", "g": "g or kg", "gram": "g or kg"}
            right = usual.get(counts, f"{counts}s" if worth_of(key) else counts)
            found = f"{written(number.prior_weight)} {unit}"
            faults.told(key, "worth in another unit than its logs are counted in", repr(found), f"a worth in {right}")


def _is_amount(unit, base, entry, currency):
    """Whether a unit measures what a price is for, through the density of the item where that is needed."""
    try:
        Amount.read(f"1 {unit}", currency).in_unit(base, currency, entry.density and entry.density.value)
    except ValueError:
        return False
    return True


def _check_target(file, fault):
    target = file.target
    if (target.per_hour is None) == (target.wage is None):
        found = "both" if target.wage else "neither"
        fault("target", "needs one target", found, "either per_hour, or wage with an id of the wage table")
    elif target.wage is not None and _is_known(fault, "target.wage", "wage", target.wage, wages().index):
        found, right = wages().currency[target.wage], f"a wage in {file.study.currency}, or per_hour"
        if found != file.study.currency:
            fault("target.wage", "wage in another currency", found, right)
    if target.tax is not None:
        fitting = [name for name, scheme in taxes().items() if scheme.currency == file.study.currency]
        right = f"one of {', '.join(fitting)}" if fitting else f"no tax: none in {file.study.currency} is known"
        if target.tax not in taxes():
            fault("target.tax", "unknown tax table", repr(target.tax), right + close_match(target.tax, taxes()))
        elif target.tax not in fitting:
            fault("target.tax", "tax table in another currency", taxes()[target.tax].currency, right)


def check_commissions(file, faults):
    """What commissions, their supplies and their hands say together. What is wrong itself trips no comparison, as above."""
    fault, items = faults.told, {}
    for *_, item, entry in items_of(file):
        items.setdefault(item, []).append(entry)
    for item, supply in file.supplies.items():
        _is_known(fault, f"supplies.{item}", "material or part", item, items)
        _check_supply(f"supplies.{item}", supply, items.get(item, []), file.study.currency, fault)
    missing = [month for month in MONTHS if getattr(file.temperature, month) is None]
    if 0 < len(missing) < len(MONTHS):
        fault("temperature", "months are missing", f"no {', '.join(missing)}", "all twelve months, or none of them")
    promised = [(p, file.products[p.product]) for p in file.orders.promised if p.casts and p.product in file.products]
    loads = sum(-(-promise.casts // product.casts_per_load.value) for promise, product in promised)
    if loads > MOST_PROMISED:
        found = f"{sum(promise.casts for promise, _ in promised):,.0f} casts in {loads:,.0f} loads"
        weekly = 'say standing work as hours a week, such as { what = "shop", hours = "3 h/week" }'
        right = f"at most {MOST_PROMISED} loads; {weekly}"
        fault("orders.promised", "more than the calendar of an order follows", found, right)
    for number, promise in enumerate(file.orders.promised):
        column = f"orders.promised.{number}"
        for_hours = (promise.hours, promise.begins, promise.until)
        for_loads = (promise.product, promise.casts)
        loads = promise.hours is None and None not in for_loads and promise.begins is None and promise.until is None
        if not loads and (promise.hours is None or for_loads != (None, None)):
            given = [key for key, value in zip(("hours", "from", "until", "product", "casts"), for_hours + for_loads) if value]
            right = "either hours a week (with from and until if it is for a time), or a product and its casts"
            fault(column, "promises neither hours nor loads", ", ".join(given) or "only what", right)
        _is_known(fault, f"{column}.product", "product", promise.product, file.products)
        if promise.begins and promise.until and promise.begins > promise.until:
            found = f"from {promise.begins} until {promise.until}"
            fault(f"{column}.until", "dates out of order", found, "a day on or after from")
    for name, order in file.commissions.items():
        column = f"commissions.{name}"
        check_commission(f"{column}.", order, file, fault)
        if order.start and order.due and order.due <= order.start:
            fault(f"{column}.due", "dates out of order", f"start {order.start}, due {order.due}", "a day after the start")


def check_commission(place, order, file, fault):
    """What product, channel, pieces, sets and variants of one order say together; `fault` takes column, wrong, found and right."""
    _is_known(fault, f"{place}product", "product", order.product, file.products)
    _is_known(fault, f"{place}channel", "channel", order.channel, file.channels)
    channel = file.channels.get(order.channel)
    if channel is not None and order.product in file.products and channel.product != order.product:
        sells = [key for key, one in file.channels.items() if one.product == order.product]
        found = f"{order.channel!r}, which sells {channel.product!r}"
        right = one_of("", sells) if sells else f"a channel that sells {order.product!r}"
        fault(f"{place}channel", "channel of another product", found, right)
    counts = {f"{place}pieces": order.pieces} | {f"{place}variants.{key}": count for key, count in order.variants.items()}
    for at, count in counts.items():
        if count % order.set_of > 0:
            fault(at, "not whole sets", f"{count:g} pieces in sets of {order.set_of:g}", f"a multiple of {order.set_of:g}")
    if order.variants and abs(sum(order.variants.values()) - order.pieces) > 0:
        found = f"{sum(order.variants.values()):g} pieces in variants, {order.pieces:g} in all"
        fault(f"{place}variants", "variants are not the whole order", found, "variants that add up to the pieces")


def _check_supply(column, supply, entries, currency, fault):
    """Packs and stocks of an item: on one level, and in units that the routing can use."""
    own, parts = {"packs": supply.packs, "stock": supply.stock}, supply.mix.items()
    by_part = [f"{part}.{key}" for part, entry in parts for key in own if getattr(entry, key)]
    whole = [key for key, value in own.items() if value]
    if by_part and whole:
        right = "either the packs and stock of each part, or those of the kit sold in this ratio"
        fault(f"{column}.{whole[0]}", "bought both mixed and by part", f"beside mix.{by_part[0]}", right)
    base = {"volume": "milliliter", "mass": "gram"}[supply.mix_by]
    for part, entry in parts:
        if supply.mix_by == "volume" and entry.density is None:
            right = "the density of the part such as '1.1 g/ml', or mix_by = \"mass\""
            fault(f"{column}.mix.{part}.density", "is missing", "a mix by volume", right)
        else:
            _check_units(f"{column}.mix.{part}", entry, base, entry.density, currency, fault)
    used = {(entry.quantity.unit, entry.density and entry.density.value): None for entry in entries if entry.quantity.value > 0}
    if supply.mix_by == "volume" and any(entry.density is None for _, entry in parts):
        return  # which has its fault above
    for unit, other in used:
        density = other if supply.whole_density is None else supply.whole_density
        try:
            if supply.mix:
                Amount.read(f"1 {unit}", currency).in_unit(base, currency, density)
        except ValueError as error:
            lacking = "density" in str(error)
            right = "density of the mix such as '1.1 g/ml'" if lacking else "a material measured by mass or volume"
            fault(f"{column}.mix", str(error), f"{unit or 'pieces'} in the routing, mixed by {supply.mix_by}", right)
        _check_units(column, supply, unit, density, currency, fault)


def _check_units(column, entry, unit, density, currency, fault):
    """Packs and stock of an item or a part of it must be of the kind that is used, or have the density between them."""
    amounts = {f"{column}.packs.{at}.quantity": pack.quantity for at, pack in enumerate(entry.packs)}
    for place, amount in (amounts | {f"{column}.stock": entry.stock}).items():
        try:
            if amount is not None:
                amount.in_unit(unit, currency, density)
        except ValueError as error:
            right = f"an amount in {unit}" if unit else "a plain count"
            right += ", or the density beside it such as '1.1 g/ml'" if "density" in str(error) else ""
            fault(place, "a unit that the routing cannot use", str(error), right)
