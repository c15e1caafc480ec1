"""What the study file of a first order has of its own: pots, moulds from nothing, and the order itself."""

from ..study.numbers import written
from .crafts import Guess
from .writer import WORTH, Writer, casts_a_load, read_figure

FIRST_ORDER = "first-order"
_TRANSIT_DAYS = 3


def pots(w: Writer) -> list[str]:
    """The places of each pot."""
    places = w.answers.pots
    if not places:
        w.defaults.append("places of the pot")
        return [f"places = {casts_a_load(w.answers)} # a guess of the trade: how many casts does it hold? Of two: [12, 20]"]
    return [f"places = {list(places) if len(places) > 1 else places[0]} # your answer"]


def lots(w: Writer, item: str) -> list[str]:
    """What each colour of a load takes beside its pieces: minutes to mix it, and what stays in its cup; nothing where all are alike."""
    answers, table = w.answers, w.answers.craft.table
    asked = answers.figures.get("lot_minutes")
    if not asked and not answers.colours:
        return []
    w.defaults += ([] if asked else ["minutes to mix a colour"]) + ["what stays in a cup"]
    minutes = w.value(Guess(*asked, "") if asked else Guess.of(table["lot_minutes"]), "min")
    return [
        f"lot_minutes = {minutes} # for each colour in a load",
        f'materials.{item}-in-the-cup = {{ price = {w.money(table["cup_loss"], answers.currency)}, per = "lot" }}',
    ]


def moulds(w: Writer) -> list[str]:
    """How moulds are made, one by one, from masters; none is there yet."""
    answers, mould = w.answers, w.answers.craft.table["mould"]
    counts = {key: answers.figures.get(key) for key in ("masters", "cavities")}
    w.defaults += [what for key, what in (("masters", "masters"), ("cavities", "casts a mould")) if counts[key] is None]
    masters = int((counts["masters"] or answers.craft.table["masters"])[1])
    cavities = int((counts["cavities"] or (0, min(masters, casts_a_load(answers)), 0))[1])
    heading, money = f"[products.{answers.piece}.mould", answers.currency
    lines = [
        f"{heading}] # how moulds are made; the plan says how many this order needs",
        f"cavities = {cavities} # casts that one mould gives at once{'' if counts['cavities'] else ': a guess, all masters in one, at most a load'}",
        f"masters = {masters}{'' if counts['masters'] else ' # a guess'}",
        "in_hand = 0 # moulds there now",
        f"life = {w.value(Guess.of(mould['life']), '', worth=WORTH['life'])} # casts a cavity until worn out",
        *([f'rest = "{read_figure(mould["rest"][1])} h" # before it is filled again'] if "rest" in mould else []),
    ]
    for step in mould["steps"]:
        asked = answers.figures.get(f"mould_minutes.{step['name']}")
        if not asked:
            w.defaults.append(f"minutes of making a mould: {step['name'].replace('-', ' ')}")
        lines += [
            "",
            f"{heading}.steps.{step['name']}]",
            f"minutes = {w.value(Guess(*asked, '') if asked else Guess.of(step['minutes']), 'min')} # a mould",
            *([f"wait = {w.value(Guess.of(step['wait']), 'h')}"] if "wait" in step else []),
            *([f'wait_in = "{step["wait_in"]}"'] if "wait_in" in step else []),
        ]
        if "share" in step:
            grams, price = Guess.of(mould["grams"]).times(cavities * step["share"]), w.money(mould["kg"], f"{money}/kg")
            lines.append(
                f"materials.{mould.get('material', 'silicone')} = {{ quantity = {w.value(grams, 'g')}, price = {price} }}"
            )
    w.defaults.append("mould life and cost")
    return lines


def sale(w: Writer) -> list[str]:
    """The way it is sold, and the order."""
    answers, table, money = w.answers, w.answers.craft.table, w.answers.currency
    pieces, asked = int(answers.figures["pieces"][1]), answers.figures.get("order_hours")
    if not asked:
        w.defaults.append("hours of talking, packing and posting")
    talk = (Guess(*asked, "") if asked else Guess.of(table["order_hours"])).times(60.0)
    price = w.number("price", money, factor=1 if "price" in answers.figures else pieces, what="price")
    w.defaults += ["fees", "days in the post"]
    variants = ", ".join(f'"{name}" = {count}' for name, count in answers.colours.items())
    return [
        "[channels.direct] # how this order is sold; copy and rename for every other way",
        f'product = "{answers.piece}"',
        'orders = { value = "1 orders/year", note = "this order; one more is a hope until it is asked for" }',
        f'pieces_per_order = {{ value = {pieces}, note = "your answer" }}',
        f"price = {price} # of the whole order",
        f"fee_share = {w.value(Guess.of(table['order_fee_share']), '%')}",
        f"postage_paid = {w.money(table['order_postage'], money)}",
        f"packaging = {w.money(table['order_packaging'], money)}",
        f"minutes_per_order = {w.value(talk, 'min')} # talking, photographs, packing, posting",
        "",
        "[orders]",
        f"transit_days = {_TRANSIT_DAYS} # whole days from posting to arrival: a guess",
        "",
        f"[commissions.{FIRST_ORDER}]",
        f'product = "{answers.piece}"',
        f"pieces = {pieces}",
        *([f"variants = {{ {variants} }}"] if variants else []),
        f"due = {answers.due} # the day on which they must have arrived",
        'confidence = "95 %" # how sure you want to be of it',
        'channel = "direct"',
        *([f'price = "{written(answers.figures["price"][1])} {money}"'] if "price" in answers.figures else []),
        "",
    ]
