"""What the study file of a first order has of its own: pots, and moulds from nothing."""

from .crafts import Guess
from .writer import WORTH, Writer, read_figure

FIRST_ORDER = "first-order"


def pots(w: Writer) -> list[str]:
    """The places of each pot."""
    places = w.answers.pots
    if not places:
        w.defaults.append("places of the pot")
        return [f"places = {w.answers.places} # a guess of the trade: how many casts does it hold? Of two: [12, 20]"]
    return [f"places = {list(places) if len(places) > 1 else places[0]} # your answer"]


def lots(w: Writer, item: str) -> list[str]:
    """What each colour of a load takes beside its pieces: minutes to mix it, and what stays in its cup; nothing where all are alike."""
    answers, table = w.answers, w.answers.craft.table
    if "lot_minutes" not in answers.figures and not answers.colours:
        return []
    minutes = w.known("lot_minutes", Guess.of(table["lot_minutes"]), "minutes to mix a colour")
    cup = w.money(w.guessed(table["cup_loss"], "what stays in a cup"), answers.currency)
    return [
        f"lot_minutes = {w.value(minutes, 'min')} # for each colour in a load",
        f'materials.{item}-in-the-cup = {{ price = {cup}, per = "lot" }}',
    ]


def moulds(w: Writer) -> list[str]:
    """How moulds are made, one by one, from masters; none is there yet."""
    answers, mould = w.answers, w.answers.craft.table["mould"]
    counts = {key: answers.figures.get(key) for key in ("masters", "cavities")}
    w.defaults += [what for key, what in (("masters", "masters"), ("cavities", "casts a mould")) if counts[key] is None]
    heading, money = f"[products.{answers.piece}.mould", answers.currency
    lines = [
        f"{heading}] # how moulds are made; the plan says how many this order needs",
        f"cavities = {answers.cavities} # casts that one mould gives at once{'' if counts['cavities'] else ': a guess, all masters in one, at most a load'}",
        f"masters = {answers.masters}{'' if counts['masters'] else ' # a guess'}",
        "in_hand = 0 # moulds there now",
        f"life = {w.value(Guess.of(mould['life']), '', worth=WORTH['life'])} # casts a cavity until worn out",
        *([f'rest = "{read_figure(mould["rest"][1])} h" # before it is filled again'] if "rest" in mould else []),
    ]
    for step in mould["steps"]:
        what = f"minutes of making a mould: {step['name'].replace('-', ' ')}"
        minutes = w.known(f"mould_minutes.{step['name']}", Guess.of(step["minutes"]), what)
        lines += [
            "",
            f"{heading}.steps.{step['name']}]",
            f"minutes = {w.value(minutes, 'min')} # a mould",
            *([f"wait = {w.value(Guess.of(step['wait']), 'h')}"] if "wait" in step else []),
            *([f'wait_in = "{step["wait_in"]}"'] if "wait_in" in step else []),
        ]
        if "share" in step:
            grams, price = Guess.of(mould["grams"]).times(answers.cavities * step["share"]), w.money(mould["kg"], f"{money}/kg")
            lines.append(
                f"materials.{mould.get('material', 'silicone')} = {{ quantity = {w.value(grams, 'g')}, price = {price} }}"
            )
    w.defaults.append("mould life and cost")
    return lines
