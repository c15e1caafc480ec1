"""The dozen questions on a workshop that runs, and those on a first order; the terminal and the form both ask these."""

from dataclasses import dataclass, replace
from itertools import dropwhile


@dataclass(frozen=True, kw_only=True)
class Part:
    """One figure that a question asks for."""

    key: str  # of the answers file, such as 'casts_per_load' or 'minutes.sand'
    ask: str
    unit: str = ""  # answered in, unless another is written; {money} stands for the currency
    per: str = ""  # what the answer is for each of: a period, or a piece, load or order
    low: float = 0.0
    high: float = 1e6
    above: bool = False  # whether `low` itself is too low
    kind: str = "figure"  # or 'craft', 'word', 'date', 'colours', 'places', 'times'
    whole: bool = False  # one whole number instead of a range
    needed: bool = False  # whether no guess can stand in
    scale: float = 1.0  # what the study counts in one unit of the answer, such as 24 hours in a day
    guess: tuple = ()  # row of the craft's table that stands in, of a step's minutes

    def in_words(self, currency: str, per: bool = True) -> str:
        """What the answer counts, such as 'order/month'."""
        unit = self.unit.format(money=currency)
        return f"{unit}/{self.per}" if self.per and per and unit != "%" else unit


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question, of one part or a few."""

    title: str
    parts: tuple[Part, ...]


# a row a part: title of its question | key | what is asked | unit/per, or the kind of answer | limits, `above` low, one `whole` number, `needed`;
# a title alone is asked by craft, see `parts_of`, a key alone as in the rows before
_WORKSHOP = """
Craft | craft | Which craft? | craft
The piece | piece | What is one piece called, in one word? | word
The piece | weight | What does one cast weigh? | g/cast | above high=1e5
A load | casts_per_load | How many do you cast at a time? | cast/load | low=1 high=5000 whole
Waiting | cure | How long does a load wait {until} (usually {usual}{later})? | hour/load | high=8760
Minutes by hand
Good ones | yield | Of a hundred cast, how many turn out good enough to sell? | %/load | low=1 high=100
Price | price | What does one piece sell for? | {money}/piece | above
Buyers | orders_a_month | How many orders a month? | order/month | above high=1e5
Buyers | pieces_per_order | How many pieces in an order? | piece/order | above high=1e4
Fees | fee_share | Of what a buyer pays, how much do marketplace, card and adverts take? | %/order | high=90
Hours | weekly_hours | How many hours a week can you give, all in? | hour/week | above high=100
Hours | hidden_hours | How many of them go to what no buyer sees (books, cleaning, photos, ordering)? | hour/week | high=100
Hours | bench_times | On which days and hours can you be at the bench, such as 'mon-fri 9-17' or 'tue thu 18-21, sat 10-16'? | times
Running costs | overheads | What do workspace, power, insurance, gloves and filters cost a year? | {money}/year | high=1e8
Target | target | What should an hour of your work bring, before tax? | {money}/hour | above high=1e5
"""
_ORDER = """
Craft | craft
The piece | piece
The piece | weight
The order | pieces | How many pieces are ordered? | piece/order | low=1 high=1e5 whole needed
The order | colours | In which colours, such as 'red, blue' or 'red 40, blue 20', or how many? | colours
The order | due | By which day must they have arrived, such as 2027-03-20? | date | needed
Masters | masters | How many masters are there to mould from? | master | low=1 high=200 whole
Masters | cavities | How many casts does one mould give at once? | cast/mould | low=1 high=500 whole
Pots | pots | How many casts does each pot hold, such as 20, or 12, 20 for two pots? | places
Waiting | cure
Every hand step
Good ones | yield
Price | price | What is offered for the whole order? | {money}/order | above high=1e8
Hours | weekly_hours
Hours | hidden_hours
Hours | bench_times
Hours | order_hours | How many hours go to talking, photographs, packing and posting? | hour/order | high=1000
Running costs | overheads
Target | target
"""
_KINDS = ("craft", "word", "date", "colours", "places", "times")
PARTS: dict[str, Part] = {}  # by key, those of both tables


def _read(table: str) -> tuple[Question, ...]:
    """The questions of a table, in their order."""
    found: dict[str, list[Part]] = {}
    for title, *cells in (row.split(" | ") for row in table.strip().splitlines()):
        parts = found.setdefault(title, [])
        if len(cells) > 1:
            key, ask, unit, limits = (*cells, "")[:4]
            what, _, per = unit.partition("/")
            kind = {"kind": what} if what in _KINDS else {"unit": what, "per": per}
            named = (limit.partition("=") for limit in limits.split())
            limits = {name: float(value) if value else True for name, _, value in named}
            PARTS[key] = Part(key=key, ask=ask, **kind, **limits)
        parts += [PARTS[key] for key in cells[:1]]
    return tuple(Question(title=title, parts=tuple(parts)) for title, parts in found.items())


QUESTIONS, ORDER_QUESTIONS = _read(_WORKSHOP), _read(_ORDER)
# asked before all others
BEGIN = Part(key="begin", ask="A first order, or a workshop that runs? (order or workshop)", kind="begin")


def questions(order: bool) -> tuple[Question, ...]:
    """What is asked for a first order, or for a workshop that runs."""
    return ORDER_QUESTIONS if order else QUESTIONS


def parts_of(question: Question, craft) -> tuple[Part, ...]:
    """What a question asks for in a craft: minutes by its steps, moulds and pots where it has any."""
    if question.title == "Masters" and not craft.mould_steps:
        return ()
    if question.title == "Pots" and not craft.pots:
        return (PARTS["casts_per_load"],)
    if question.title == "Waiting":
        return (_waiting(question.parts[0], craft.table),)
    if question.title == "Every hand step":
        colour = Part(key="lot_minutes", ask="Minutes to weigh and mix one colour?", unit="minute", per="colour", high=1440)
        steps = [_minutes(step, key) for step in craft.table["steps"] for key in ("minutes", "load_minutes") if key in step]
        return (*steps, colour, *(_minutes(step, "mould_minutes") for step in craft.mould_steps))
    main = (step for step in craft.steps if step.get("main"))
    return question.parts or tuple(_minutes(step, "minutes" if "minutes" in step else "load_minutes") for step in main)


def _waiting(part, table) -> Part:
    """The one wait that is asked for, by where it is spent, and any longer one after it, for which a guess stands."""
    _, *after = dropwhile(lambda step: not step.get("cure"), table["steps"])
    longer = [step for step in after if step.get("wait", table["cure"])[2] > table["cure"][2]]
    told = ", ".join(f"{_plain(step)} {_span(step['wait'])}" for step in longer)
    later = f"; not counting longer waits afterwards, trade defaults in the study file: {told}" if longer else ""
    ask = part.ask.format(until=table["cure_until"], usual=_span(table["cure"]), later=later)
    part = replace(part, ask=ask)
    return replace(part, unit="day", high=365, scale=24.0) if _in_days(table["cure"]) else part


def _in_days(wait) -> bool:
    """Whether a row of hours is told in days: nobody counts the weeks of a rack in hours."""
    return wait[1] >= 48


def _span(wait) -> str:
    """Low and high of a wait, such as '8 to 24 hours'."""
    scale, unit = (24.0, "days") if _in_days(wait) else (1.0, "hours")
    return f"{wait[0] / scale:g} to {wait[2] / scale:g} {unit}"


def _plain(step) -> str:
    """Name of a step in words."""
    return step["name"].replace("-", " ")


def _minutes(step, kind) -> Part:
    """Minutes of a step: of a piece or else a load, or of a mould."""
    what = {"minutes": "piece", "load_minutes": "load", "mould_minutes": "mould"}[kind]
    key = "minutes" if kind == "load_minutes" and "minutes" not in step else kind  # so that each has a key of its own
    aside = ", 0 if you don't" if step.get("order") else ""
    ask = f"Minutes a {what} at: {_plain(step)}{aside}?"
    row = tuple(step["minutes" if kind == "mould_minutes" else kind])
    return Part(key=f"{key}.{step['name']}", ask=ask, unit="minute", per=what, high=1440, guess=row)
