"""The dozen questions on a workshop that runs, and those on a first order; the terminal and the form both ask these."""

from dataclasses import dataclass, replace


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

    def in_words(self, currency: str, per: bool = True) -> str:
        """What the answer counts, such as 'order/month'."""
        unit = self.unit.format(money=currency)
        return f"{unit}/{self.per}" if self.per and per and unit != "%" else unit


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question, of one part or a few."""

    title: str
    parts: tuple[Part, ...]


def _one(title, key, ask, unit="", **limits):
    return Question(title=title, parts=(Part(key=key, ask=ask, unit=unit, **limits),))


QUESTIONS = (
    _one("Craft", "craft", "Which craft?", kind="craft"),
    _one("The piece", "piece", "What is one piece called, in one word?", kind="word"),
    _one("A load", "casts_per_load", "How many do you cast at a time?", "cast", per="load", low=1, high=5000, whole=True),
    _one(
        "Waiting",
        "cure",
        "How long does a load cure, set or rest before it can go on (the longest wait)?",
        "hour",
        per="load",
        high=8760,
    ),
    Question(title="Minutes by hand", parts=()),  # by craft, see `parts_of`
    _one("Good ones", "yield", "Of a hundred cast, how many turn out good enough to sell?", "%", per="load", low=1, high=100),
    _one("Price", "price", "What does one piece sell for?", "{money}", per="piece", above=True),
    Question(
        title="Buyers",
        parts=(
            Part(key="orders_a_month", ask="How many orders a month?", unit="order", per="month", above=True, high=100_000),
            Part(key="pieces_per_order", ask="How many pieces in an order?", unit="piece", per="order", above=True, high=10_000),
        ),
    ),
    _one("Fees", "fee_share", "Of what a buyer pays, how much do marketplace, card and adverts take?", "%", per="order", high=90),
    Question(
        title="Hours",
        parts=(
            Part(
                key="weekly_hours",
                ask="How many hours a week can you give, all in?",
                unit="hour",
                per="week",
                above=True,
                high=100,
            ),
            Part(
                key="hidden_hours",
                ask="How many of them go to what no buyer sees (books, cleaning, photos, ordering)?",
                unit="hour",
                per="week",
                high=100,
            ),
            Part(
                key="bench_times",
                ask="On which days and hours can you be at the bench, such as 'mon-fri 9-17' or 'tue thu 18-21, sat 10-16'?",
                kind="times",
            ),
        ),
    ),
    _one(
        "Running costs",
        "overheads",
        "What do workspace, power, insurance, gloves and filters cost a year?",
        "{money}",
        per="year",
        high=1e8,
    ),
    _one("Target", "target", "What should an hour of your work bring, before tax?", "{money}", per="hour", above=True, high=1e5),
)


# asked before all others
BEGIN = Part(key="begin", ask="A first order, or a workshop that runs? (order or workshop)", kind="begin")
_ASKED = {question.title: question for question in QUESTIONS}
ORDER_QUESTIONS = (
    _ASKED["Craft"],
    _ASKED["The piece"],
    Question(
        title="The order",
        parts=(
            Part(
                key="pieces",
                ask="How many pieces are ordered?",
                unit="piece",
                per="order",
                low=1,
                high=100_000,
                whole=True,
                needed=True,
            ),
            Part(key="colours", ask="In which colours, such as 'red, blue' or 'red 40, blue 20', or how many?", kind="colours"),
            Part(key="due", ask="By which day must they have arrived, such as 2027-03-20?", kind="date", needed=True),
        ),
    ),
    Question(title="Masters", parts=()),
    Question(title="Pots", parts=()),
    _ASKED["Waiting"],
    Question(title="Every hand step", parts=()),
    _ASKED["Good ones"],
    _one("Price", "price", "What is offered for the whole order?", "{money}", per="order", above=True, high=1e8),
    Question(
        title="Hours",
        parts=(
            *_ASKED["Hours"].parts[::2],
            Part(
                key="order_hours",
                ask="How many hours go to talking, photographs, packing and posting?",
                unit="hour",
                per="order",
                high=1000,
            ),
        ),
    ),
    _ASKED["Target"],
)
_MASTERS = (
    Part(key="masters", ask="How many masters are there to mould from?", unit="master", low=1, high=200, whole=True),
    Part(
        key="cavities", ask="How many casts does one mould give at once?", unit="cast", per="mould", low=1, high=500, whole=True
    ),
)
_POTS = (Part(key="pots", ask="How many casts does each pot hold, such as 20, or 12, 20 for two pots?", kind="places"),)


def questions(order: bool) -> tuple[Question, ...]:
    """What is asked for a first order, or for a workshop that runs."""
    return ORDER_QUESTIONS if order else QUESTIONS


def parts_of(question: Question, craft) -> tuple[Part, ...]:
    """What a question asks for in a craft: minutes by its steps, moulds and pots where it has any."""
    if question.title == "Masters":
        return _MASTERS if craft.mould_steps else ()
    if question.title == "Pots":
        return _POTS if craft.pots else _ASKED["A load"].parts
    if question.title == "Waiting" and craft.table["cure"][1] >= 48:  # nobody counts the weeks of a rack in hours
        return (replace(question.parts[0], unit="day", high=365, scale=24.0),)
    if question.title == "Every hand step":
        colour = Part(key="lot_minutes", ask="Minutes to weigh and mix one colour?", unit="minute", per="colour", high=1440)
        steps = [_minutes(step, key) for step in craft.table["steps"] for key in ("minutes", "load_minutes") if key in step]
        return (*steps, colour, *(_minutes(step, "mould_minutes") for step in craft.mould_steps))
    return question.parts or tuple(
        _minutes(step, "minutes" if "minutes" in step else "load_minutes") for step in craft.steps if step.get("main")
    )


def _minutes(step, kind) -> Part:
    """Minutes of a step: of a piece or else a load, or of a mould."""
    what = {"minutes": "piece", "load_minutes": "load", "mould_minutes": "mould"}[kind]
    both = kind == "load_minutes" and "minutes" in step  # so that each has a key of its own
    key = f"{kind if both or what == 'mould' else 'minutes'}.{step['name']}"
    aside = ", 0 if you don't" if step.get("order") else ""
    return Part(key=key, ask=f"Minutes a {what} at: {step['name'].replace('-', ' ')}{aside}?", unit="minute", per=what, high=1440)
