"""The study file, each number with where it comes from, the empty logs and the page on what to write down."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..ledger.logs import LOGS
from ..reference import quote_words
from ..study.numbers import written
from ..templates import template
from .answers import Answers
from .crafts import Guess, kinds
from .reading import STAND_IN, read_times

FIRST_ORDER = "first-order"
# walls of 5 to 12 mm, rubber of 1.08 to 1.30 g/ml: suppliers' data sheets
_BLOCK = [
    "# silicone is guessed from the weight of a cast; a hollow piece takes several times that. From its size, of a casting by itself in a block:",
    "# (length + 2) x (width + 2) x (height + 1) in cm, less what the cast fills in ml, x 1.15 are the grams of all steps together",
]
_STUDY, _WALL = (Path(__file__).with_name(name) for name in ("study.toml.j2", "what-to-write-down.md.j2"))
_EXAMPLES = {
    "timesheet": {"date": "2026-01-15", "step": "{step}", "minutes": "45", "product": "{piece}", "pieces_handled": "12"},
    "batches": {"batch": "B001", "date": "2026-01-15", "product": "{piece}", "casts": "{casts}", "good": "{good}", "order": "{order}"},
    "faults": {"date": "2026-01-15", "batch": "B001", "product": "{piece}", "step": "{checked}", "cause": "{cause}", "pieces": "2", "fate": "scrap"},
    "moulds": {"mould": "M01", "product": "{piece}", "cavities": "{cavities}", "made": "2026-01-02"},
    "purchases": {"date": "2026-01-10", "item": "{item}", "kind": "material", "quantity": "1", "unit": "kg", "paid": "20.00"},
    "sales": {"date": "2026-01-20", "order": "{sold}", "channel": "{channel}", "product": "{piece}", "pieces": "{pieces}", "price": "{price}"},
    "prices_seen": {"date": "2026-01-20", "place": "a fair", "description": "about the same size", "pieces": "1", "price": "14.00", "sold": "unknown"},
    "stock_count": {"date": "2026-12-31", "item": "{piece}", "quantity": "20", "stage": "finished"},
    "mileage": {"date": "2026-01-20", "purpose": "a fair and back", "distance_km": "36"},
}  # fmt: skip

# how many pieces, loads, moulds or kilograms a guess is worth against the logs
_WORTH = {"minutes": "10 pieces", "load_minutes": "5 loads", "pass_share": "20 pieces", "life": "3 moulds", "price": "2 kg"}


def _figure(value: float, kind: str = "P") -> str:
    """A figure as the study file writes it: an answer as it was given, a guess without digits that say nothing."""
    return written(value, 4 if kind else 12)


class Writer:
    """Numbers of one new study, each with where it comes from; a guess may be a row of the craft's table."""

    def __init__(self, answers: Answers) -> None:
        self.answers, self.table = answers, answers.craft.table
        self.defaults: list[str] = []  # what was not answered, in words
        usual = self.table["weight"]
        self.size = answers.figures.get("weight", usual)[1] / usual[1]  # of a piece, beside the one that the guesses are of

    def known(self, key: str, guess: Guess | list, what: str) -> Guess | list:
        """An answer, or else a guess, which is then a default, in words `what`."""
        return Guess(*self.answers.figures[key], "") if key in self.answers.figures else self.guessed(guess, what)

    def guessed(self, guess: Any, what: str) -> Any:
        """A guess that nothing stands beside, as it is; a default, in words `what`."""
        self.defaults.append(what)
        return guess

    def number(self, key: str, unit: str, what: str, *, factor: float = 1.0, worth: str = "") -> str:
        """An answer, or the craft's guess, as a value of the study file."""
        return self.value(self.known(key, self.answers.guess(key), what), unit, factor=factor, worth=worth)

    def one(self, answered: bool, figure: float, what: str, note: str = "your answer") -> str:
        """A figure without a range, answered or not."""
        basis, note = ("answered", note) if answered else self.guessed(("guess", "trade default (P)"), what)
        return f'{{ value = {written(figure)}, basis = "{basis}", note = "{note}" }}'

    def value(self, guess: Guess | list, unit: str, *, factor: float = 1.0, worth: str = "", note: str = "your answer") -> str:
        """A range, or one figure where there is none."""
        guess = (guess if isinstance(guess, Guess) else Guess.of(guess)).times(factor)
        unit = f" {unit}" if unit else ""
        note = f'basis = "guess", note = "trade default ({guess.kind})"' if guess.kind else f'basis = "answered", note = "{note}"'
        tail = f', from = "records", worth = "{worth}"' if worth else ""
        if guess.low == guess.high:
            return f'{{ value = "{_figure(guess.likely, guess.kind)}{unit}"{tail}, {note} }}'
        ends = {"low": guess.low, "likely": min(max(guess.likely, guess.low), guess.high), "high": guess.high}
        said = ", ".join(f'{name} = "{_figure(figure, guess.kind)}{unit}"' for name, figure in ends.items())
        return f"{{ {said}{tail}, {note} }}"

    def money(self, row: list, unit: str = "", size: float = 1.0) -> str:
        """A craft's money guess in the study's currency, for a `unit` such as '/kg', which logs tell too; for pieces of a `size`."""
        worth = _WORTH["price"] if unit == "/kg" else ""
        return self.value(self.answers.in_money(Guess.of(row).times(size)), self.answers.currency + unit, worth=worth)

    def places(self) -> list[str]:
        """Stations and racks, those answered with the places of each."""
        lines, pots = [], self.answers.pots
        for station, entry in self.table.get("stations", {}).items():
            if not (self.answers.order and station == self.answers.craft.pots):
                said = f"count = {self.one(False, entry['count'], f'number of {station}s')}"
            else:
                said = f"places = {list(pots) if len(pots) > 1 else pots[0]} # your answer" if pots else ""
                aside = "a guess of the trade: how many casts does it hold? Of two: [12, 20]"
                said = said or f"places = {self.one(False, self.answers.places, 'places of the pot')} # {aside}"
            lines += [f"[stations.{station}]", said, ""]
        for rack, entry in self.table.get("racks", {}).items():
            places = max(entry["places"], math.ceil(3 * self.answers.casts_a_load * entry["places"] / 100))
            room = self.one(False, places, f"places of the {rack}")
            lines += [f"[racks.{rack}]", f"places = {room} # how many pieces find room? Count yours", ""]
        return lines

    def product(self) -> list[str]:
        """What is cast, step by step, and its moulds."""
        answers, heading = self.answers, f"products.{self.answers.piece}"
        known, load = "casts_per_load" in answers.figures or bool(answers.pots), answers.casts_a_load
        whole = f"moulds of {answers.cavities} go into {answers.places} places whole"
        lines = [
            f"[{heading}]",
            f"casts_per_load = {self.one(known, load, 'casts a load', whole if load < answers.places else 'your answer')}",
            f"unsold_share = {self.number('unsold_share', '%', 'share that never sells')}",
            "",
        ]
        shares = self._shares()
        mixed = next((step["name"] for step in answers.steps if step.get("materials")), None) if answers.order else None
        for step in answers.steps:
            lines += self._step(heading, step, "minutes of", lambda key, guess: self.value(guess, "min", worth=_WORTH[key]))
            if "load_size" in step:
                size = self.one(False, step["load_size"], f"pieces of a load at {step['name'].replace('-', ' ')}")
                lines.append(f"load_size = {size} # pieces that go in together")
            if step["name"] in shares:
                share, worth = shares[step["name"]], _WORTH["pass_share"]
                said = f"your answer: none fails; a strong guess, no certainty: it counts for {worth} that passed, and logged rejects move it"
                note = said if share.low == 100.0 else "your answer"
                lines.append(f"pass_share = {self.value(share, '%', worth=worth, note=note)}")
                causes = ", ".join(f'"{cause}" = {weight}' for cause, weight in step["causes"].items())
                lines.append(f"causes = {{ {causes} }}")
            for item, row in step.get("materials", {}).items():
                lines.append(f"materials.{item} = {self._material(step, item, row)}")
            for item, row in step.get("per_load", {}).items():
                lines.append(f'materials.{item} = {{ price = {self.money(row)}, per = "load", kind = "consumable" }}')
            lines += [*(self._lots(next(iter(step["materials"]))) if step["name"] == mixed else []), ""]
        return lines + (self._moulds(f"{heading}.mould", self.table["mould"]) if "mould" in self.table else [])

    def _material(self, step: dict, item: str, row: list) -> str:
        """What a cast takes of a material: its weight of what it is cast of, with a size of all that goes in at that step, or a sum of money."""
        if row[4:] == ["kg"]:
            back = step.get("recovered", {}).get(item)
            again = f", recovered = {self.value([back, back, back, 'P'], '%')}" if back else ""
            return f"{{ quantity = {self.number('weight', 'g', 'weight of a cast')}, price = {self.money(row, '/kg')}{again} }}"
        poured = any(other[4:] == ["kg"] for other in step["materials"].values())
        kind = ', kind = "consumable"' if row[4:] else ""
        return f"{{ price = {self.money(row, size=self.size if poured else 1.0)}{kind} }}"

    def _shares(self) -> dict[str, Guess]:
        """Share passing each check: together the yield that was said, and scattering about as much, though each scatters by itself."""
        guess = self.known("yield", self.answers.guess("yield"), "share good enough to sell")
        low, likely, high = (figure / 100.0 for figure in (guess.low, guess.likely, guess.high))
        losses = {step["name"]: step["losses"] for step in self.answers.steps if step.get("losses")}
        parts = {name: loss / sum(losses.values()) for name, loss in losses.items()}
        wider = math.hypot(*parts.values())  # of independent parts the widths add up by their squares

        def share(part, end):
            return round(100.0 * min(likely**part * (end / likely) ** (part / wider), 1.0), 4)

        return {name: Guess(*(share(part, end) for end in (low, likely, high)), guess.kind) for name, part in parts.items()}

    def _step(self, heading: str, step: dict, what: str, minutes: Callable[[str, Any], str], prefix: str = "") -> list[str]:
        """Heading, minutes and wait of a step, of the routing or of making a mould."""
        lines = [f"[{heading}.steps.{step['name']}]"]
        for key in ("minutes", "load_minutes"):
            if key in step:
                asked = f"{prefix}{'minutes' if 'minutes' not in step else key}.{step['name']}"
                guess = self.known(asked, step[key], f"{what} {step['name'].replace('-', ' ')}")
                lines.append(f"{key} = {minutes(key, guess)}")
        if step.get("cure") or "wait" in step:
            waits = f"hours of waiting at {step['name'].replace('-', ' ')}"
            wait = self.known("cure", self.table["cure"], waits) if step.get("cure") else self.guessed(step["wait"], waits)
            lines.append(f"wait = {self.value(wait, 'h')}")
        return [*lines, *([f'wait_in = "{step["wait_in"]}"'] if "wait_in" in step else [])]

    def _lots(self, item: str) -> list[str]:
        """What each colour of a load takes beside its pieces: minutes to mix it, and what stays in its cup; nothing where all are alike."""
        if "lot_minutes" not in self.answers.figures and not self.answers.colours:
            return []
        minutes = self.known("lot_minutes", self.table["lot_minutes"], "minutes to mix a colour")
        cup = self.money(self.guessed(self.table["cup_loss"], "what stays in a cup"))
        return [
            f"lot_minutes = {self.value(minutes, 'min')} # for each colour in a load",
            f'materials.{item}-in-the-cup = {{ price = {cup}, per = "lot" }}',
        ]

    def _moulds(self, heading: str, mould: dict) -> list[str]:
        """What fills one load; of a first order how moulds are made, one by one, from masters, as none is there yet."""
        answers, material = self.answers, f"materials.{mould.get('material', 'silicone')}"
        last = [f"life = {self.value(mould['life'], '', worth=_WORTH['life'])} # casts a cavity until worn out"]
        if "rest" in mould:
            _, likely, _, kind = mould["rest"]
            last.append(f"rest = {self.value([likely, likely, likely, kind], 'h')} # before it is filled again")
        if not answers.order:
            lines = [
                f"[{heading}] # what fills one load",
                f"{material} = {{ price = {self.money(mould['silicone'], size=self.size)} }}",
            ]
            sets = self.one(False, mould["sets"], "sets of moulds")
            lines += [f"minutes = {self.value(mould['minutes'], 'min')}", f"sets = {sets}", *last]
            return self.guessed(lines, "mould life and cost")
        guessed = {key: key not in answers.figures for key in ("masters", "cavities")}
        self.defaults += [what for key, what in (("masters", "masters"), ("cavities", "casts a mould")) if guessed[key]]
        aside = ": a guess, all masters in one, at most a load" if guessed["cavities"] else ""
        lines = [
            f"[{heading}] # how moulds are made; the plan says how many this order needs",
            f"cavities = {answers.cavities} # casts that one mould gives at once{aside}",
            f"masters = {answers.masters}{' # a guess' if guessed['masters'] else ''}",
            "in_hand = 0 # moulds there now",
            *last,
            *([] if "material" in mould else _BLOCK),
        ]
        for step in mould["steps"]:
            what = "minutes of making a mould:"
            lines += ["", *self._step(heading, step, what, lambda _, guess: f"{self.value(guess, 'min')} # a mould", "mould_")]
            if "share" in step:
                grams = self.value(mould["grams"], "g", factor=answers.cavities * step["share"] * self.size)
                lines.append(f"{material} = {{ quantity = {grams}, price = {self.money(mould['kg'], '/kg')} }}")
        return self.guessed(lines, "mould life and cost")


def study_text(answers: Answers, name: str, locale: str | None) -> tuple[str, list[str]]:
    """The study file of a set of answers, and what in it is a trade default."""
    w, table = Writer(answers), answers.craft.table
    tools = {"hand-tools-and-scales": [*table["hand_tools"][:3], 5, table["hand_tools"][3]]} | table["equipment"]
    given = {"name": name, "locale": locale, "answers": answers, "money": answers.currency, "table": table, "tools": tools}
    given |= {"w": w, "written": written, "kinds": kinds(), "stand_in": STAND_IN, "read_times": read_times}
    text = template(_STUDY, plain=True).render(**given, first_order=FIRST_ORDER, quote_words=quote_words())
    w.defaults += ["material prices", "postage, packing and refunds", "minutes an order", "equipment"]
    return text.rstrip() + "\n", list(dict.fromkeys(w.defaults))


def log_texts(answers: Answers) -> dict[str, str]:
    """Each log by its file name: the header, and an example row that is not read."""
    checked = next(step for step in answers.steps if step.get("losses"))
    sold = {"sold": "0001", "channel": "online", "pieces": "2", "price": "30.00", "cavities": str(answers.casts_a_load)}
    if answers.order:
        pieces, price = (answers.figures.get(key, (0, 0, 0))[1] for key in ("pieces", "price"))
        sold |= {"sold": FIRST_ORDER, "channel": "direct", "pieces": written(pieces)}
        sold |= {"price": written(price or 15 * pieces), "cavities": str(answers.cavities or answers.masters)}
    words = sold | {
        "piece": answers.piece,
        "step": next(step["name"] for step in answers.craft.steps if step.get("main")),
        "casts": str(answers.casts_a_load),
        "good": str(max(answers.casts_a_load - 2, 1)),
        "checked": checked["name"],
        "cause": next(iter(checked["causes"])),
        "item": _first_material(answers),
        "order": " / ".join([FIRST_ORDER, *list(answers.colours)[:1]]) if answers.order else "",
    }
    texts = {}
    for log, columns in LOGS.items():
        example = _EXAMPLES.get(log, {})
        row = ",".join(example.get(column, "").format(**words) for column in columns)
        texts[f"{log}.csv"] = f"{','.join(columns)}\n# {row}\n"
    return texts


def what_to_write_down(answers: Answers, defaults: list[str]) -> str:
    """A page for the workshop wall."""
    page = template(_WALL, plain=True)
    return page.render(answers=answers, defaults=defaults, first_order=FIRST_ORDER, item=_first_material(answers)) + "\n"


def _first_material(answers):
    return next(item for step in answers.steps for item in step.get("materials", {}))
