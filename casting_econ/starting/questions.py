"""The dozen questions; the terminal and the form both ask these."""

from dataclasses import dataclass

__all__ = ["QUESTIONS", "Part", "Question", "parts_of"]


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
    kind: str = "figure"  # or 'craft', 'word'
    whole: bool = False  # one whole number instead of a range

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


def parts_of(question: Question, craft) -> tuple[Part, ...]:
    """What a question asks for in a craft: minutes are asked by its main steps."""
    if question.parts:
        return question.parts
    return tuple(
        Part(
            key=f"minutes.{step['name']}",
            ask=f"Minutes {'a load' if 'minutes' not in step else 'a piece'} at: {step['name'].replace('-', ' ')}?",
            unit="minute",
            per="load" if "minutes" not in step else "piece",
            high=1440,
        )
        for step in craft.steps
        if step.get("main")
    )
