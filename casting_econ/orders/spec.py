"""What is asked for: one order, from the study file, the logs and the command line."""

from dataclasses import dataclass, field, fields, replace
from datetime import date

from pydantic import TypeAdapter, ValidationError

from ..faults import Fault, StudyError, one_of, refusal
from ..kit import OpenStudy
from ..study import STUDY_FILE
from ..study.commissions import CommissionEntry
from ..study.consistency import check_commission
from ..study.faulty import faults_of
from ..study.fields import decided
from ..study.numbers import UNKNOWN, given_unit
from ..study.records import split_order
from ..study.stations import load_sizes

AT_ONCE, TOP_UP = "all at once", "count, then top up"


@dataclass(frozen=True, kw_only=True)
class UnderWay:
    """A load of the order that is poured and not through its last check."""

    batch: str
    variant: str | None
    casts: int
    poured: date
    station: str | None = None  # the pot it is in, where the log says


@dataclass(frozen=True, kw_only=True)
class Order:
    """So many good pieces by a date."""

    name: str
    product: str
    pieces: int
    due: date  # on which the parcel must have arrived
    start: date  # first day on which work can begin
    confidence: float = 0.95
    set_of: int = 1  # pieces that must match
    match_within: str = "load"  # what such a set must come from: one "load", or one "lot" over any loads
    variants: dict[str, int] = field(default_factory=dict)  # pieces by colour or form; empty: all alike
    channel: str | None = None
    price: float | None = None  # offered [money/order]
    short_penalty: float = 0.0  # where anything is missing in the end [money]
    short_penalty_each: float = 0.0  # [money/piece]
    leftover_value: float = 0.0  # of a good piece too many [money/piece]
    rounds: int = 2  # lots that time may allow
    in_hand: dict[str, int] = field(default_factory=dict)  # good pieces by variant; "" where there are none
    under_way: tuple[UnderWay, ...] = ()
    counted: dict[str, int] = field(default_factory=dict)  # casts through their last check by variant
    checked: tuple[tuple[int, int], ...] = ()  # casts and good pieces of each load through its last check
    begun: date | None = None  # where a pour is in the batches log: the first day of work on it, its moulds too
    policy: str | None = None  # "all at once" or "count, then top up"; None as the first
    what: str = ""
    sold: int = 0  # of it by the sales log [piece]
    finished: bool = False  # said to be over, complete or not

    @property
    def of_product(self) -> str:
        """Of what the pieces are; nothing of a piece that nobody gave a name."""
        return "" if self.product == "piece" else f" of {self.product.replace('-', ' ')}"

    @property
    def matched(self) -> int:
        """Pieces that must come from one load. [piece]"""
        return self.set_of if self.match_within == "load" else 1

    @property
    def items(self) -> dict[str, int]:
        """Pieces wanted by variant; one nameless item where there are none."""
        return self.variants or {"": self.pieces}

    @property
    def good(self) -> int:
        """Good pieces in hand, of all items. [piece]"""
        return sum(self.in_hand.values())

    @property
    def poured(self) -> int:
        """Casts under way, of all items. [cast]"""
        return sum(under.casts for under in self.under_way)

    @property
    def started(self) -> dict[str, tuple[int, ...]]:
        """Casts of each load under way, by item. [cast]"""
        return {name: tuple(load.casts for load in self.under_way if load.variant == name) for name in self.items}

    @property
    def short(self) -> dict[str, int]:
        """Good pieces still to come by item, loads under way not counted; none of an order said to be over. [piece]"""
        return {name: 0 if self.finished else max(wanted - self.in_hand.get(name, 0), 0) for name, wanted in self.items.items()}

    @property
    def needed(self) -> dict[str, int]:
        """Good pieces, or sets, still to come by item, loads under way not counted. [piece or set]"""
        return {name: -(-count // self.matched) for name, count in self.short.items()}

    @property
    def over(self) -> int:
        """Good pieces in hand beyond what is wanted. [piece]"""
        return sum(max(self.in_hand.get(name, 0) - wanted, 0) for name, wanted in self.items.items())

    @property
    def complete(self) -> bool:
        """Whether all that is wanted is in hand."""
        return all(self.in_hand.get(name, 0) >= wanted for name, wanted in self.items.items())

    @property
    def closed(self) -> bool:
        """Whether nothing is left to make: all of it is in hand, or it is said to be over."""
        return not any(self.short.values())

    @property
    def ended_short(self) -> bool:
        """Whether it is said to be over with less than was ordered: by its sales where there are any, else by what is good."""
        return self.finished and (self.sold < self.pieces if self.sold else not self.complete)

    @property
    def to_post(self) -> int:
        """Pieces that no sale names yet; none of an order said to be over. [piece]"""
        return 0 if self.finished else max(self.pieces - self.sold, 0)


def order_of(
    kit: OpenStudy, name: str | None = None, *, today: date | None = None, in_hand=None, finished: bool = False, **asked
) -> Order:
    """An order of the study file with what is asked for in its place, and what its batches and sales say; StudyError with every fault of that.

    `name` is its key under `[commissions]`; None makes an order of what is asked for alone, or is the only one there where no pieces
    are asked for. `today` is the first day of work where nothing else says one; `in_hand` are good pieces made so far, those of the batches
    and the sold ones among them, by variant where there are several [piece]; `finished` says that it is over, complete or not. `asked` are keys
    of a commission, read as in the study file, but that `due` may be `by` and `price` need not name its currency; None and what is empty leave a
    key as it is.
    """
    file, faults = kit.study.file, []
    asked = {{"by": "due"}.get(key, key): value for key, value in asked.items() if value not in (None, "", {})}

    def fault(column, wrong, found, right):
        key = column.split(".")[0]  # what was asked for is at fault, where a key of the study file does not fit it
        other = "set_of" if "sets" in wrong else "pieces" if key == "variants" and key not in asked else key
        option = _option(other if other in asked else key)
        if key == "due" and name is not None and not asked.keys() & {"due", "start"}:  # the study file says the day
            option = f"{STUDY_FILE}:commissions.{name}.due"
        faults.append(Fault(option, wrong, right, found=found))

    if name is not None and name not in file.commissions:
        known = file.commissions
        right = one_of(name, known) if known else f"a [commissions.NAME] table in {STUDY_FILE}"
        raise refusal("NAME", "unknown commission", right, found=repr(name))
    if name is None and file.commissions and not asked.keys() & {"pieces", "variants"}:
        if len(file.commissions) == 1:
            name = next(iter(file.commissions))
        elif "due" not in asked:
            raise refusal("NAME", "is missing", f"{one_of('', file.commissions)}, or --pieces and --by of another order")
    entry, given = _read(kit, name, asked, in_hand)
    product, size = file.products.get(entry.product), entry.set_of if entry.match_within == "load" else 1
    if product and size > (load := load_sizes(file, entry.product)[0]):
        fault("set_of", "is more than one load gives, from which a set must come", str(size), f"at most {load}")
    else:
        check_commission("", entry, file, fault)
    start, booked = entry.start or today, _booked(kit, name, entry.product)
    sales, hours = (rows_of(kit.study, log, name) if name else None for log in ("sales", "timesheet"))
    sold = 0 if sales is None else int(sales.pieces.sum())
    over = finished or sold >= entry.pieces
    if booked and "start" not in asked:  # what is left cannot begin before what the log says was done
        start = max(start or booked[-1].date.date(), booked[-1].date.date())
    if start is None:
        fault("start", "is missing", "", "the first day on which work can begin")
    elif entry.due < start and not (booked or over):  # an order under way may be late
        right = "a day after that; --by and --start take new ones"
        right += "; or, if it is over, its loads or its sale in the logs, or --finished" if name else ""
        fault("due", "is before the work can start", f"{entry.due}, work begins on {start}", right)
    items = entry.variants or {"": entry.pieces}
    if not isinstance(given, dict):
        if given and len(items) > 1:
            right = f"pieces by variant, such as {next(iter(items))}={given}"
            fault("in_hand", "does not say of which variant", str(given), right)
        given = {next(iter(items)): given} if given else {}
    elif unknown := set(given) - set(items):
        right = one_of("", items) if items.keys() != {""} else "a plain number, since the order has no variants"
        fault("in_hand", "unknown variant", ", ".join(sorted(unknown)), right)
    if faults:
        raise StudyError(faults)
    done, known = _from_batches(booked, items)
    if booked and hours is not None:
        known["begun"] = min(known["begun"], hours.date.min().date())
    known |= {"under_way": ()} if over else {}  # loads that were never counted are those of the pieces that went out
    if in_hand is None:  # what the command line says is the whole count
        given = {key: given.get(key, 0) + done.get(key, 0) for key in given | done}
    short = {key: max(wanted - given.get(key, 0), 0) for key, wanted in items.items()}
    made = sold - sum(given.values()) - sum(under.casts for under in known["under_way"])  # and in no load of the log
    untold = in_hand is None and not (sold or done or any(given.values()))
    if sold >= entry.pieces or (finished and untold):  # whatever batches and count say
        given = {key: given.get(key, 0) + left for key, left in short.items()}
    elif made > 0:  # of each variant by what is short of it, as no row says of which
        given = {key: given.get(key, 0) + made * left // sum(short.values()) for key, left in short.items()}
    own = name or f"{entry.product} {entry.pieces} by {entry.due}"  # so that one order without a name does not replace another
    order = Order(
        **picked(entry, _STATED) | known | {"name": own, "start": start, "in_hand": given, "sold": sold, "finished": finished}
    )
    since = kit.study.as_of if booked and not order.closed else today if order.closed and order.to_post else None
    return replace(order, start=max(start, since)) if since and "start" not in asked else order  # what is left goes on from there


def _read(kit, name, asked, in_hand):
    """The commission by the rules of the study file, and the good pieces in hand; every fault at its option."""
    file, currency, faults = kit.study.file, kit.study.currency, []
    raw = {} if name is None else dict(kit.study.raw["commissions"][name])
    raw |= asked | ({"pieces": 1} if "variants" in asked and "pieces" not in asked else {})
    if len(file.products) == 1:
        raw.setdefault("product", next(iter(file.products)))
    if "price" in asked and not given_unit(asked["price"]):
        raw["price"] = f"{asked['price']} {currency}"
    for key, right in (
        ("product", one_of("", file.products)),
        ("pieces", "how many good pieces are ordered"),
        ("due", "the date on which they must be there"),
    ):
        if key not in raw:
            faults.append(Fault(_option(key), "is missing", right))
            raw[key] = UNKNOWN if key != "product" else ""
    by_variant = isinstance(in_hand, dict)
    raw |= {} if in_hand is None or by_variant else {"in_hand": in_hand}
    found = []
    for kind, value in ((CommissionEntry, raw), (dict[str, _PIECES], in_hand if by_variant else {})):
        try:
            found.append(TypeAdapter(kind).validate_python(value, context={"currency": currency}))
        except ValidationError as error:
            for fault in faults_of(error, currency):
                key = fault.column.split(".")[0] if kind is CommissionEntry else "in_hand"
                faults.append(replace(fault, file=_option(key), column=""))
    if faults:
        raise StudyError(faults)
    entry, counts = found
    if "variants" in asked and "pieces" not in asked:
        entry = entry.model_copy(update={"pieces": sum(entry.variants.values())})
    return entry, counts if by_variant else entry.in_hand


def picked(thing, names: str) -> dict:
    """Some properties of a thing, by name; the names parted by blanks."""
    return {name: getattr(thing, name) for name in names.split()}


def _option(key):
    """The option of the command that asks for a key of a commission."""
    return "--" + {"due": "by", "variants": "variant"}.get(key, key).replace("_", "-")


_PIECES = decided(whole=True, high=100_000.0, counts="piece")
_STATED = " ".join(f.name for f in fields(Order) if f.name in CommissionEntry.model_fields)


def _booked(kit, name, product):
    """Rows of the batches log that name an order, in order of date; `good` is not a number where a load is under way."""
    batches = kit.study.whole_logs.get("batches") if name else None
    rows = () if batches is None else batches.itertuples()
    mine = [row for row in rows if row.product == product and isinstance(row.order, str)]
    return sorted((row for row in mine if split_order(row.order)[0] == name.casefold()), key=lambda row: row.date)


def open_beside(kit: OpenStudy, order: Order) -> list[Order]:
    """The other commissions of the study of which something is left to make, from the first day of work on this one."""
    found = []
    for name in kit.study.file.commissions:
        try:
            other = None if name == order.name else order_of(kit, name, today=order.start)
        except StudyError:  # its day has gone by, or it is no order that could be planned
            continue
        found += [other] if other and not other.closed else []
    return found


def unnamed_loads(kit: OpenStudy, order: Order) -> list:
    """Rows of the batches log that name no commission and may well be of this one, the only open one of its product.

    They count from its first load that does name it, else from its stated start, else all of them where nothing else sells the product; of an order
    that is over until its date.
    """
    file, logs = kit.study.file, kit.study.whole_logs
    if order.name not in file.commissions or "batches" not in logs:
        return []
    booked, start = _booked(kit, order.name, order.product), file.commissions[order.name].start
    since, until = booked[0].date.date() if booked else start, order.due if order.closed else date.max
    sold_else = sum(one.product == order.product for one in file.channels.values()) > 1
    named = {name.casefold() for name in file.commissions}
    loads = [
        row
        for row in logs["batches"].itertuples()
        if row.product == order.product
        and (since <= row.date.date() <= until if since else not sold_else)
        and not (isinstance(row.order, str) and split_order(row.order)[0] in named)
    ]
    return loads if loads and all(other.product != order.product for other in open_beside(kit, order)) else []


def rows_of(study, log: str, name: str):
    """Rows of a log that name an order; None where there are none."""
    rows = study.records.get(log)
    mine = (
        None
        if rows is None or "order" not in rows
        else rows[rows.order.map(lambda text: split_order(str(text))[0] == name.casefold())]
    )
    return None if mine is None or mine.empty else mine


def _from_batches(booked, items):
    """Good pieces by variant, and loads checked and under way, of the rows that name an order.

    The log names the order, and the variant after a slash: 'hotel / sea green'.
    """
    done, counted, under_way, checked, faults = {}, {}, [], [], []
    names = {key.casefold(): key for key in items}
    for row in booked:
        said = split_order(row.order)[1]
        variant = names.get(said) if len(items) > 1 or said else next(iter(items))
        if variant is None:
            right = " or ".join(f"{row.order.partition('/')[0].strip()} / {key}".removesuffix(" / ") for key in items)
            wrong = "unknown variant" if said else "does not say of which variant"
            faults.append(Fault("batches", f"batch {row.batch} {wrong}", right, column="order", found=repr(row.order)))
        elif row.good == row.good:
            done[variant] = done.get(variant, 0) + int(row.good)
            counted[variant] = counted.get(variant, 0) + int(row.casts)
            checked.append((int(row.casts), int(row.good)))
        else:
            station = row.station if isinstance(getattr(row, "station", None), str) else None
            poured = {"casts": int(row.casts), "poured": row.date.date(), "station": station}
            under_way.append(UnderWay(batch=str(row.batch), variant=variant, **poured))
    if faults:
        raise StudyError(faults)
    begun = booked[0].date.date() if booked else None
    return done, {"under_way": tuple(under_way), "counted": counted, "checked": tuple(checked), "begun": begun}
