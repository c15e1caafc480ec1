"""What is asked for: one order, from the study file, the logs and the command line."""

from dataclasses import dataclass, field, fields
from datetime import date

from pydantic import TypeAdapter, ValidationError

from ..faults import Fault, StudyError, close_match
from ..kit import OpenStudy
from ..study import STUDY_FILE
from ..study.records import split_order
from ..study.schema import Key

__all__ = ["Order", "UnderWay", "order_of"]


@dataclass(frozen=True, kw_only=True)
class UnderWay:
    """A load of the order that is poured and not through its last check."""

    batch: str
    variant: str | None
    casts: int
    poured: date


@dataclass(frozen=True, kw_only=True)
class Order:
    """So many good pieces by a date."""

    name: str
    product: str
    pieces: int
    due: date  # on which the parcel must have arrived
    start: date  # first day on which work can begin
    confidence: float = 0.95
    set_of: int = 1  # pieces that must match, so come from one load
    variants: dict[str, int] = field(default_factory=dict)  # pieces by colour or form; empty: all alike
    channel: str | None = None
    price: float | None = None  # offered [money/order]
    short_penalty: float = 0.0  # where anything is missing in the end [money]
    short_penalty_each: float = 0.0  # [money/piece]
    leftover_value: float = 0.0  # of a good piece too many [money/piece]
    rounds: int = 2  # lots that time may allow
    in_hand: dict[str, int] = field(default_factory=dict)  # good pieces by variant; "" where there are none
    under_way: tuple[UnderWay, ...] = ()
    checked: tuple[tuple[int, int], ...] = ()  # casts and good pieces of each load through its last check
    begun: date | None = None  # first pour in the batches log
    what: str = ""

    @property
    def items(self) -> dict[str, int]:
        """Pieces wanted by variant; one nameless item where there are none."""
        return self.variants or {"": self.pieces}

    @property
    def over(self) -> int:
        """Good pieces in hand beyond what is wanted. [piece]"""
        return sum(max(self.in_hand.get(name, 0) - wanted, 0) for name, wanted in self.items.items())

    @property
    def complete(self) -> bool:
        """Whether all that is wanted is in hand."""
        return all(self.in_hand.get(name, 0) >= wanted for name, wanted in self.items.items())


def order_of(kit: OpenStudy, name: str | None = None, *, today: date | None = None, **asked) -> Order:
    """An order of the study file with what is asked for in its place, and what its batches say.

    Parameters
    ----------
    kit : OpenStudy
        Open study.
    name : str, optional
        Key under `[commissions]`; None makes an order of what is asked for alone.
    today : date, optional
        First day of work where neither the study nor what is asked for says one.
    asked : optional
        Fields of Order; None leaves a field as it is. `in_hand` may be a plain number of pieces.

    Returns
    -------
    Order

    Raises
    ------
    StudyError
        With every fault of what is asked for.
    """
    file, faults = kit.study.file, []

    def fault(option, wrong, found, right):
        faults.append(Fault(file=option, wrong=wrong, found=found, right=right))

    asked = {key: value for key, value in asked.items() if value is not None}
    known = file.commissions
    if name is not None and name not in known:
        right = f"one of {', '.join(known)}{close_match(name, known)}" if known else f"a [commissions.NAME] table in {STUDY_FILE}"
        raise StudyError([Fault(file="NAME", wrong="unknown commission", found=repr(name), right=right)])
    stated = {} if name is None else {key: getattr(known[name], key) for key in _STATED if getattr(known[name], key) is not None}
    facts = {"product": next(iter(file.products))} if len(file.products) == 1 else {}
    facts |= stated | asked
    if asked.get("variants") and "pieces" not in asked:
        facts["pieces"] = sum(asked["variants"].values())
    for key, option, right in (
        ("product", "--product", f"one of {', '.join(file.products)}"),
        ("pieces", "--pieces", "how many good pieces are ordered"),
        ("due", "--by", "the date on which they must be there"),
    ):
        if key not in facts:
            fault(option, "is missing", "", right)
    faults += _outside(asked)
    if faults:
        raise StudyError(faults)
    product = facts["product"]
    if product not in file.products:
        fault(
            "--product",
            "unknown product",
            repr(product),
            f"one of {', '.join(file.products)}{close_match(product, file.products)}",
        )
    elif facts.get("channel") is not None and facts["channel"] not in file.channels:
        known = [name for name, channel in file.channels.items() if channel.product == product]
        fault("--channel", "unknown channel", repr(facts["channel"]), f"one of {', '.join(known)}")
    elif facts.get("channel") is not None and file.channels[facts["channel"]].product != product:
        fault("--product", "is not sold in the channel of the commission", repr(product), file.channels[facts["channel"]].product)
    facts.setdefault("start", today)
    booked = _booked(kit, name, product)
    if booked and "start" not in asked:  # what is left cannot begin before what the log says was done
        facts["start"] = max(facts["start"] or booked[-1].date.date(), booked[-1].date.date())
    if facts["start"] is None:
        fault("--start", "is missing", "", "the first day on which work can begin")
    elif facts["due"] < facts["start"] and not booked:  # an order under way may be late
        fault("--by", "is before the work can start", f"{facts['due']}, start {facts['start']}", "a date after the start")
    stated_sum = sum((facts.get("variants") or {}).values())
    if stated_sum and "variants" not in asked and asked.get("pieces", stated_sum) != stated_sum:
        right = "--variant with the new numbers"
        fault("--pieces", "does not fit the variants of the commission", str(asked["pieces"]), right)
    elif stated_sum and "pieces" in asked and asked["pieces"] != stated_sum:
        fault("--variant", "do not add up to the pieces", str(stated_sum), str(asked["pieces"]))
    elif stated_sum:
        facts["pieces"] = stated_sum
    size, items = facts.get("set_of", 1), facts.get("variants") or {"": facts["pieces"]}
    if product in file.products and size > (load := int(file.products[product].casts_per_load.value)):
        fault("--set-of", "is more than one load gives, from which a set must come", str(size), f"at most {load}")
    else:
        for what, count in items.items():
            if count % size:
                fault(
                    "--set-of", "does not divide the pieces", f"{count} {what} in sets of {size}".replace("  ", " "), "whole sets"
                )
    if faults:
        raise StudyError(faults)
    done, known = _from_batches(booked, items)
    given = facts.pop("in_hand", 0)
    in_hand = given if isinstance(given, dict) else {next(iter(items)): given} if given else {}
    if len(items) > 1 and given and not isinstance(given, dict):
        right = f"pieces by variant, such as {next(iter(items))}={given}"
        raise StudyError([Fault(file="--in-hand", wrong="does not say of which variant", found=str(given), right=right)])
    if "in_hand" not in asked:  # what the command line says is the whole count
        in_hand = {key: in_hand.get(key, 0) + done.get(key, 0) for key in {*in_hand, *done}}
    unknown = set(in_hand) - set(items)
    if unknown:
        found = ", ".join(sorted(unknown))
        right = f"one of {', '.join(items)}" if items.keys() != {""} else "a plain number, since the order has no variants"
        raise StudyError([Fault(file="--in-hand", wrong="unknown variant", found=found, right=right)])
    own = name or f"{product} {facts['pieces']} by {facts['due']}"  # so that one order without a name does not replace another
    return Order(name=own, in_hand=in_hand, **known, **facts)


# what the study file takes for the same: least, most, whether whole, in words
_LIMITS = {
    "--pieces": (1, 100_000, True, "a whole number from 1 to 100,000"),
    "--variant": (1, 100_000, True, "NAME=N with a whole number from 1 to 100,000"),
    "--in-hand": (0, 100_000, True, "a whole number from 0 to 100,000"),
    "--set-of": (1, 1000, True, "a whole number from 1 to 1,000"),
    "--confidence": (0.5, 0.9999, False, "a share from 0.5 to 0.9999"),
    "--price": (0.01, 1e9, False, "an amount from 0.01 to 1,000,000,000"),
}


def _outside(asked):
    """Faults of single fields of what is asked for."""
    given, variants = asked.get("in_hand", 0), asked.get("variants", {})
    figures = [("--" + key.replace("_", "-"), asked[key]) for key in ("pieces", "set_of", "confidence", "price") if key in asked]
    figures += [("--in-hand", count) for count in (given.values() if isinstance(given, dict) else [given])]
    figures += [("--variant", count) for count in variants.values()]
    for option, figure in figures:
        least, most, whole, right = _LIMITS[option]
        if not least <= figure <= most or (whole and figure != int(figure)):
            yield Fault(file=option, wrong="outside the limits", found=f"{figure}", right=right)
    for name in variants:
        try:
            TypeAdapter(Key).validate_python(name)
        except ValidationError:
            right = "letters, digits, spaces, - and _, at most 60, as the batches log names it after a slash"
            yield Fault(file="--variant", wrong="not a name for a variant", found=repr(name), right=right)
    for option, key in (("--by", "due"), ("--start", "start")):
        if key in asked and not 2000 <= asked[key].year <= 2099:
            yield Fault(file=option, wrong="a date of another century", found=str(asked[key]), right="a day such as 2026-12-18")


_STATED = tuple(f.name for f in fields(Order) if f.name not in ("name", "under_way", "checked", "begun"))


def _booked(kit, name, product):
    """Rows of the batches log that name an order, in order of date; `good` is not a number where a load is under way."""
    frames = [kit.study.records.get("batches"), kit.study.in_work]
    rows = [row for frame in frames if frame is not None and "order" in frame for row in frame.itertuples()] if name else []
    mine = [row for row in rows if row.product == product and isinstance(row.order, str)]
    return sorted((row for row in mine if split_order(row.order)[0] == name.casefold()), key=lambda row: row.date)


def _from_batches(booked, items):
    """Good pieces by variant, and loads checked and under way, of the rows that name an order.

    The log names the order, and the variant after a slash: 'hotel / sea green'.
    """
    done, under_way, checked, faults = {}, [], [], []
    names = {key.casefold(): key for key in items}
    for row in booked:
        said = split_order(row.order)[1]
        variant = names.get(said) if len(items) > 1 or said else next(iter(items))
        if variant is None:
            right = " or ".join(f"{row.order.partition('/')[0].strip()} / {key}".removesuffix(" / ") for key in items)
            wrong = "unknown variant" if said else "does not say of which variant"
            faults.append(
                Fault(file="batches", column="order", wrong=f"batch {row.batch} {wrong}", found=repr(row.order), right=right)
            )
        elif row.good == row.good:
            done[variant] = done.get(variant, 0) + int(row.good)
            checked.append((int(row.casts), int(row.good)))
        else:
            started = UnderWay(batch=str(row.batch), variant=variant, casts=int(row.casts), poured=row.date.date())
            under_way.append(started)
    if faults:
        raise StudyError(faults)
    begun = booked[0].date.date() if booked else None
    return done, {"under_way": tuple(under_way), "checked": tuple(checked), "begun": begun}
