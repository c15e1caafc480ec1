"""The study file, the empty logs and the page on what to write down."""

import math
from pathlib import Path

from ..ledger.logs import LOGS
from ..reference import quote_words
from ..study.numbers import written
from ..templates import template
from . import order_text
from .answers import Answers
from .crafts import Guess, kinds
from .order_answers import STAND_IN, read_times
from .writer import WORTH, Writer, read_figure

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


def _shares(answers: Answers) -> dict[str, Guess]:
    """Share passing each check: together the yield that was said, and scattering about as much, though each scatters by itself."""
    answered = answers.figures.get("yield")
    guess = Guess(*answered, "") if answered else answers.guess("yield")
    low, likely, high = (figure / 100.0 for figure in (guess.low, guess.likely, guess.high))
    losses = {step["name"]: step["losses"] for step in answers.steps if step.get("losses")}
    parts = {name: loss / sum(losses.values()) for name, loss in losses.items()}
    wider = math.hypot(*parts.values())  # of independent parts the widths add up by their squares
    ends = [
        {name: likely**part * (end / likely) ** (part / wider) for name, part in parts.items()} for end in (low, likely, high)
    ]
    shares = {name: [round(100.0 * min(end[name], 1.0), 4) for end in ends] for name in parts}
    return {name: Guess(*share, guess.kind) for name, share in shares.items()}


def study_text(answers: Answers, name: str, locale: str | None) -> tuple[str, list[str]]:
    """The study file of a set of answers, and what in it is a trade default."""
    w, table = Writer(answers), answers.craft.table
    tools = {"hand-tools-and-scales": [*table["hand_tools"][:3], 5, table["hand_tools"][3]]} | table["equipment"]
    given = {"name": name, "locale": locale, "answers": answers, "money": answers.currency, "table": table, "tools": tools}
    given |= {"w": w, "of": Guess.of, "written": written, "places": _places, "product": _product, "kinds": kinds()}
    given |= {"stand_in": STAND_IN, "read_times": read_times}
    text = template(_STUDY, plain=True).render(**given, first_order=order_text.FIRST_ORDER, quote_words=quote_words())
    w.defaults += ["material prices", "postage, packing and refunds", "minutes an order", "equipment"]
    return text.rstrip() + "\n", list(dict.fromkeys(w.defaults))


def _places(w: Writer) -> list[str]:
    """Stations and racks, those answered with the places of each."""
    table, lines = w.answers.craft.table, []
    for station, entry in table.get("stations", {}).items():
        own = w.answers.order and station == w.answers.craft.pots
        lines += [f"[stations.{station}]", *(order_text.pots(w) if own else [f"count = {entry['count']}"]), ""]
    for rack, entry in table.get("racks", {}).items():
        places = max(entry["places"], math.ceil(3 * w.answers.casts_a_load * entry["places"] / 100))
        lines += [f"[racks.{rack}]", f"places = {places} # how many pieces find room? Count yours", ""]
    return lines


def _product(w: Writer) -> list[str]:
    """What is cast, step by step, and its moulds."""
    answers, shares = w.answers, _shares(w.answers)
    known = "casts_per_load" in answers.figures or bool(answers.pots)
    whole = f"moulds of {answers.cavities} go into {answers.places} places whole"
    note = whole if answers.casts_a_load < answers.places else "your answer"
    lines = [
        f"[products.{answers.piece}]",
        f"casts_per_load = {w.one(known, answers.casts_a_load, 'casts a load', note)}",
        f"unsold_share = {w.number('unsold_share', '%', 'share that never sells')}",
        "",
    ]
    if "yield" not in answers.figures:
        w.defaults.append("share good enough to sell")
    for step in answers.steps:
        lines += _step(w, answers.piece, step, shares)
    if "mould" in answers.craft.table:
        lines += order_text.moulds(w) if answers.order else _mould(w, answers.piece, answers.craft.table["mould"])
    return lines


def _mould(w: Writer, piece: str, mould: dict) -> list[str]:
    """What fills one load."""
    price = w.money(mould["silicone"], w.answers.currency)
    lines = [
        f"[products.{piece}.mould] # what fills one load",
        f"materials.{mould.get('material', 'silicone')} = {{ price = {price} }}",
        f"minutes = {w.value(Guess.of(mould['minutes']), 'min')}",
        f"life = {w.value(Guess.of(mould['life']), '', worth=WORTH['life'])} # casts a cavity until worn out",
        f"sets = {mould['sets']}",
    ]
    if "rest" in mould:
        lines.append(f'rest = "{read_figure(mould["rest"][1])} h" # before it is filled again')
    w.defaults.append("mould life and cost")
    return lines


def _step(w: Writer, piece: str, step: dict, shares: dict[str, Guess]) -> list[str]:
    """One step of the routing."""
    lines, money = [f"[products.{piece}.steps.{step['name']}]"], w.answers.currency
    for key in ("minutes", "load_minutes"):
        if key not in step:
            continue
        asked, what = "minutes" if "minutes" not in step else key, f"minutes of {step['name'].replace('-', ' ')}"
        guess = w.known(f"{asked}.{step['name']}", Guess.of(step[key]), what)
        lines.append(f"{key} = {w.value(guess, 'min', worth=WORTH[key])}")
    if step.get("cure"):
        lines.append(f"wait = {w.number('cure', 'h', 'hours of waiting')}")
    elif "wait" in step:
        lines.append(f"wait = {w.value(Guess.of(step['wait']), 'h')}")
    if "wait_in" in step:
        lines.append(f'wait_in = "{step["wait_in"]}"')
    if "load_size" in step:
        lines.append(f"load_size = {step['load_size']} # pieces that go in together")
    if step["name"] in shares:
        share, worth = shares[step["name"]], WORTH["pass_share"]
        said = f"your answer: none fails; a strong guess, no certainty: it counts for {worth} that passed, and logged rejects move it"
        lines.append(f"pass_share = {w.value(share, '%', worth=worth, note=said if share.low == 100.0 else 'your answer')}")
        lines.append("causes = { " + ", ".join(f'"{cause}" = {weight}' for cause, weight in step["causes"].items()) + " }")
    for table, per in (("materials", ""), ("per_load", ', per = "load"')):
        for item, row in step.get(table, {}).items():
            kind = ', kind = "consumable"' if per or row[4:] else ""
            back = step.get("recovered", {}).get(item)
            again = f', recovered = "{back} %"' if back else ""
            lines.append(f"materials.{item} = {{ price = {w.money(row, money)}{per}{kind}{again} }}")
    if w.answers.order and step is next(one for one in w.answers.steps if one.get("materials")):
        lines += order_text.lots(w, next(iter(step["materials"])))
    return [*lines, ""]


def log_texts(answers: Answers) -> dict[str, str]:
    """Each log by its file name: the header, and an example row that is not read."""
    checked = next(step for step in answers.steps if step.get("losses"))
    sold = {"sold": "0001", "channel": "online", "pieces": "2", "price": "30.00", "cavities": str(answers.casts_a_load)}
    if answers.order:
        pieces, price = (answers.figures.get(key, (0, 0, 0))[1] for key in ("pieces", "price"))
        sold |= {"sold": order_text.FIRST_ORDER, "channel": "direct", "pieces": written(pieces)}
        sold |= {"price": written(price or 15 * pieces), "cavities": str(answers.cavities or answers.masters)}
    words = sold | {
        "piece": answers.piece,
        "step": answers.craft.main_steps[0],
        "casts": str(answers.casts_a_load),
        "good": str(max(answers.casts_a_load - 2, 1)),
        "checked": checked["name"],
        "cause": next(iter(checked["causes"])),
        "item": next(item for step in answers.steps for item in step.get("materials", {})),
        "order": " / ".join([order_text.FIRST_ORDER, *list(answers.colours)[:1]]) if answers.order else "",
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
    return page.render(answers=answers, defaults=defaults, first_order=order_text.FIRST_ORDER) + "\n"
