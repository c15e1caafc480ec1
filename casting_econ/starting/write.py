"""The study file, the empty logs and the page on what to write down."""

import math

from ..ledger.logs import LOGS
from ..reference import quote_words
from ..study.numbers import written
from . import order_text
from .answers import Answers
from .crafts import Guess, kinds
from .writer import WORTH, Writer, casts_a_load, read_figure

LOCALES = {"EUR": "en_IE", "GBP": "en_GB", "USD": "en_US", "CAD": "en_CA", "AUD": "en_AU", "NZD": "en_NZ", "CHF": "de_CH"}
LOCALES |= {"SEK": "sv_SE", "NOK": "nb_NO", "DKK": "da_DK", "PLN": "pl_PL", "CZK": "cs_CZ"}
_WEEKS, _FULL_WEEK = 46, 37.5
_EXAMPLES = {
    "timesheet": {"date": "2026-01-15", "step": "{step}", "minutes": "45", "product": "{piece}", "pieces_handled": "12"},
    "batches": {"batch": "B001", "date": "2026-01-15", "product": "{piece}", "casts": "{casts}", "good": "{good}", "order": "{order}"},
    "faults": {"date": "2026-01-15", "batch": "B001", "product": "{piece}", "step": "{checked}", "cause": "{cause}", "pieces": "2", "fate": "scrap"},
    "moulds": {"mould": "M01", "product": "{piece}", "cavities": "{casts}", "made": "2026-01-02"},
    "purchases": {"date": "2026-01-10", "item": "{item}", "kind": "material", "quantity": "1", "unit": "kg", "paid": "20.00"},
    "sales": {"date": "2026-01-20", "order": "0001", "channel": "online", "product": "{piece}", "pieces": "2", "price": "30.00"},
    "prices_seen": {"date": "2026-01-20", "place": "a fair", "description": "about the same size", "pieces": "1", "price": "14.00", "sold": "unknown"},
    "stock_count": {"date": "2026-12-31", "item": "{piece}", "quantity": "20", "stage": "finished"},
    "mileage": {"date": "2026-01-20", "purpose": "a fair and back", "distance_km": "36"},
}  # fmt: skip


def _shares(answers: Answers) -> dict[str, Guess]:
    """Share passing each check: together the yield that was said, and scattering about as much, though each scatters by itself."""
    answered = answers.figures.get("yield")
    guess = Guess(*answered, "") if answered else answers.guess("yield")
    low, likely, high = (min(figure / 100.0, 0.9999) for figure in (guess.low, guess.likely, guess.high))
    losses = {step["name"]: step["losses"] for step in answers.steps if step.get("losses")}
    parts = {name: loss / sum(losses.values()) for name, loss in losses.items()}
    wider = math.hypot(*parts.values())  # of independent parts the widths add up by their squares
    ends = [
        {name: likely**part * (end / likely) ** (part / wider) for name, part in parts.items()} for end in (low, likely, high)
    ]
    shares = {name: [100.0 * min(end[name], 0.9999) for end in ends] for name in parts}
    return {name: Guess(*share, guess.kind) for name, share in shares.items()}


def study_text(answers: Answers, name: str, locale: str) -> tuple[str, list[str]]:
    """The study file of a set of answers, and what in it is a trade default."""
    w = Writer(answers)
    sold = order_text.sale(w) if answers.order else _shop(w)
    parts = [*_head(w, name, locale), *_hours(w), *_places(w), *_product(w), "", *sold, *_costs(w, locale)]
    w.defaults += ["material prices", "postage, packing and refunds", "minutes an order", "equipment"]
    return "\n".join(parts).rstrip() + "\n", list(dict.fromkeys(w.defaults))


def _head(w: Writer, name: str, locale: str) -> list[str]:
    """How the file is to be read, and what it asks."""
    craft = w.answers.craft
    question, about = f"Can {craft.name.lower()} pay me a living wage?", "A first study from a dozen answers."
    if w.answers.order:
        question, about = "What does my first order take, by when, and what does it pay?", "A first order from a dozen answers."
    return [
        f"# {name}: made from a dozen answers; every number is yours to change.",
        "#",
        "# How a number is written",
        '#   certain          { value = "12 h", note = "why" }, or shorter "12 h"',
        '#   a range          { low = "1 min", likely = "1.5 min", high = "3 min" }',
        '#   with your logs   ..., from = "records", worth = "10 pieces" }: once records/ has something to say, the logs pull the guess towards',
        "#                    what really happened; worth says for how many pieces, rows or months the guess counts beside them",
        '# "trade default" marks what you did not know: a guess of the trade, not a fact about your workshop. Replace those first. It rests on',
        *(f"#   ({kind}) {words}" for kind, words in kinds().items()),
        f"# What costs most in this craft is found late: {craft.table['latest_fault']}.",
        "",
        "[study]",
        f'name = "{name}"',
        f'question = "{question}"',
        f'about = "{about}"',
        f'craft = "{craft.id}"',
        f'currency = "{w.answers.currency}"',
        f'locale = "{locale}"',
        'variation = "months" # years differ by what you do not know and by chance: orders come one by one; "rates" leaves chance out',
        "draws = 4096",
        "seed = 1",
        "",
    ]


def _hours(w: Writer) -> list[str]:
    """Hours, the week, the target and the spread of what has no range."""
    money = w.answers.currency
    return [
        "[time]",
        f'weeks = "{_WEEKS} week/year" # what is left after holidays and sick days; yours?',
        f"hours = {w.number('weekly_hours', 'h/week', what='hours a week')}",
        f"fixed_hours = {w.number('hidden_hours', 'h/week', worth='4 weeks', what='hours a week that no buyer sees')}",
        'weekly_tasks = ["books", "cleaning", "shop-upkeep", "enquiries"] # their names in the timesheet',
        "",
        "[calendar] # hours in which a load can be taken out and a new one started; waiting goes on outside them",
        *(f'{day} = "09:00-17:00"' for day in ("monday", "tuesday", "wednesday", "thursday", "friday")),
        "",
        "[target]",
        f"per_hour = {w.number('target', f'{money}/h', what='target for an hour')}",
        f'full_week = "{_FULL_WEEK} h/week"',
        'set_aside = { value = "25 %", note = "for contributions and tax; a guess, ask a qualified adviser" }',
        "",
        "[spread] # for numbers that have no range of their own",
        'demand = "15 %"',
        'minutes = "12 %"',
        'pass_odds = "30 %"',
        'material = "8 %"',
        'price = "3 %"',
        "",
    ]


def _places(w: Writer) -> list[str]:
    """Stations and racks, those answered with the places of each."""
    table, lines = w.answers.craft.table, []
    for station, entry in table.get("stations", {}).items():
        own = w.answers.order and station == w.answers.craft.pots
        lines += [f"[stations.{station}]", *(order_text.pots(w) if own else [f"count = {entry['count']}"]), ""]
    for rack, entry in table.get("racks", {}).items():
        places = max(entry["places"], math.ceil(3 * casts_a_load(w.answers) * entry["places"] / 100))
        lines += [f"[racks.{rack}]", f"places = {places} # how many pieces find room? Count yours", ""]
    return lines


def _product(w: Writer) -> list[str]:
    """What is cast, step by step, and its moulds."""
    answers, shares = w.answers, _shares(w.answers)
    said = 'note = "your answer"'
    if "casts_per_load" not in answers.figures and not answers.pots:
        said = 'basis = "guess", note = "trade default (P)"'
        w.defaults.append("casts a load")
    lines = [
        f"[products.{answers.piece}]",
        f"casts_per_load = {{ value = {casts_a_load(answers)}, {said} }}",
        f"unsold_share = {w.number('unsold_share', '%', what='share that never sells')}",
        "",
    ]
    if "yield" not in answers.figures:
        w.defaults.append("share good enough to sell")
    for step in answers.steps:
        lines += _step(w, answers.piece, step, shares)
    if "mould" in answers.craft.table:
        lines += order_text.moulds(w) if answers.order else _mould(w, answers.piece, answers.craft.table["mould"])
    return lines


def _shop(w: Writer) -> list[str]:
    """One way of selling."""
    answers, table, money = w.answers, w.answers.craft.table, w.answers.currency
    orders = w.number("orders_a_month", "orders/month", worth="1 month", what="orders a month")
    per_order = answers.figures.get("pieces_per_order")
    size = per_order[1] if per_order else answers.guess("pieces_per_order").likely
    size_said = 'note = "your likely answer"'
    if per_order is None:
        size_said = 'basis = "guess", note = "trade default (P)"'
        w.defaults.append("pieces an order")
    return [
        "[channels.online] # copy and rename for every way of selling: fairs (days, hours_per_day, fee_per_day), wholesale …",
        f'product = "{answers.piece}"',
        f"orders = {orders}",
        f"pieces_per_order = {{ value = {written(size)}, {size_said} }}",
        f"price = {w.number('price', money, factor=size, what='price')} # of an order: the price of a piece x {written(size)}",
        f"fee_share = {w.number('fee_share', '%', what='fees')}",
        f"postage_charged = {w.money([table['postage'][1]] * 3 + [table['postage'][3]], money)}",
        f"postage_paid = {w.money(table['postage'], money)}",
        f"packaging = {w.money(table['packaging'], money)}",
        f"refund_share = {w.value(Guess.of(table['refund_share']), '%', worth='50 orders')}",
        f"minutes_per_order = {w.value(Guess.of(table['minutes_per_order']), 'min', worth='10 orders')}",
        "",
    ]


def _costs(w: Writer, locale: str) -> list[str]:
    """What the year costs anyway, the words of a quote, and what is bought for years."""
    table, money = w.answers.craft.table, w.answers.currency
    lines = [
        "[overheads]",
        f"workspace-and-running = {w.number('overheads', f'{money}/year', what='running costs a year')}",
        *(f"{item} = {w.money(row, f'{money}/year')}" for item, row in table.get("own_costs", {}).items()),
        "",
    ]
    if locale.split("_")[0] not in quote_words():
        lines += ["[quote] # has words in " + ", ".join(quote_words()) + ", not in your language", 'language = "en"', ""]
    equipment = {"hand-tools-and-scales": [*table["hand_tools"][:3], 5, table["hand_tools"][3]]} | table["equipment"]
    for item, row in equipment.items():
        lines += [f"[equipment.{item}]", f"price = {w.money([*row[:3], row[4]], money)}", f'life = "{row[3]} year"', ""]
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
        asked = w.answers.figures.get(f"{'minutes' if 'minutes' not in step else key}.{step['name']}")
        guess = Guess(*asked, "") if asked else Guess.of(step[key])
        if not asked:
            w.defaults.append(f"minutes of {step['name'].replace('-', ' ')}")
        lines.append(f"{key} = {w.value(guess, 'min', worth=WORTH[key])}")
    if step.get("cure"):
        lines.append(f"wait = {w.number('cure', 'h', what='hours of waiting')}")
    elif "wait" in step:
        lines.append(f"wait = {w.value(Guess.of(step['wait']), 'h')}")
    if "wait_in" in step:
        lines.append(f'wait_in = "{step["wait_in"]}"')
    if "load_size" in step:
        lines.append(f"load_size = {step['load_size']} # pieces that go in together")
    if step["name"] in shares:
        lines.append(f"pass_share = {w.value(shares[step['name']], '%', worth=WORTH['pass_share'])}")
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
    words = {
        "piece": answers.piece,
        "step": answers.craft.main_steps[0],
        "casts": str(casts_a_load(answers)),
        "good": str(max(casts_a_load(answers) - 2, 1)),
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
    craft = answers.craft
    tell = {
        "timesheet": ("a row each time you change to another kind of work, or one a day for each", "minutes a piece and the hours nobody sees"),
        "batches": ("a row a load, when it is checked", "yield, and how much loads differ"),
        "faults": ("a row a load and cause, with the step at which it was found", "which fault costs most money"),
        "moulds": ("a row when a mould is made; its casts when it is retired", "how long a mould lasts"),
        "purchases": ("a row a receipt line", "material prices and running costs"),
        "sales": ("a row an order, refunds and gifts too", "orders a month, prices, refunds, what postage really costs"),
        "prices_seen": ("a row whenever you see one like yours", "where your price stands"),
        "stock_count": ("a row an item and stage on the last day of the tax year", "what is in stock, at cost"),
        "mileage": ("a row a drive for the work, in km or mile", "what the year's drives come to"),
    }  # fmt: skip
    return "\n".join(
        [
            "# What to write down",
            "",
            f"{craft.name}. The files are in `records/`: open them in a spreadsheet or a text editor and add rows under the header. A line that",
            "begins with # is an example and is not read. One row an event, your own words in any text column. Leave out what you do not know:",
            "blank means not known, never zero.",
            *(_on_the_order(answers) if answers.order else []),
            "",
            "| file | write | it tells |",
            "|---|---|---|",
            *(f"| `{log}.csv` | {tell[log][0]} | {tell[log][1]} |" for log in LOGS if log in tell),
            "",
            "Start with **timesheet, batches and sales**; a few minutes a day are enough. Steps in the timesheet are those of `study.toml`: "
            + ", ".join(f"`{step['name']}`" for step in answers.steps)
            + "; and for the hours nobody sees `books`, `cleaning`, `shop-upkeep`, `enquiries`.",
            "",
            "## How much is enough",
            "",
            "- A yield of about 80 % is known to ten points either way after some 60 casts, to five after some 250.",
            "- Minutes a piece that scatter by 30 % are known to 10 % after about 35 rows of the timesheet; where they scatter by 50 %, after about 96.",
            "- Orders a month: three months say something, twelve show the season.",
            "- A mould's life: after three or four are worn out. Moulds still in use count too.",
            "",
            "These are 95 % limits by the usual formulas, for loads alike; where loads differ it takes more. `casting-econ check` and the report say for",
            "every number how much more recording would halve its width, and what is worth measuring next.",
            "",
            "## What is a trade default now",
            "",
            *(f"- {what}" for what in defaults),
            "",
            "Working safely: the safety data sheet of what you use, local codes and licensed practice come first. Pay, tax and wage figures are",
            "estimates; ask a qualified adviser.",
            "",
        ]
    )


def _on_the_order(answers: Answers) -> list[str]:
    """How a log says that a row is of the first order."""
    example = f"`{order_text.FIRST_ORDER} / {next(iter(answers.colours))}`" if answers.colours else f"`{order_text.FIRST_ORDER}`"
    return [
        "",
        f"Write {example} beside each load (column `order`), leave `good` blank until the load is through its last check, and then write the day of",
        "that check (`checked`). `casting-econ order` then plans what is left.",
    ]
