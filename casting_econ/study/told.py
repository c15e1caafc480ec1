"""Which log tells which number of a study."""

import re

_STEP = r"products\.[^.]+\.steps\.[^.]+\."
# log in words: the tables it is kept in, and the dotted keys it tells; what no log tells is in none
TOLD = {
    "timesheet": (("timesheet",), rf"time\.fixed_hours|{_STEP}(minutes|load_minutes)|channels\.[^.]+\.minutes_per_order"),
    "moulds": (("batches", "moulds"), r"products\.[^.]+\.mould\.(life|life_shape|minutes)"),
    "batches and faults": (
        ("batches", "faults"),
        rf"products\.[^.]+\.ruined_loads|{_STEP}(pass_share|rework_share|rework_minutes|wait|materials\.[^.]+\.loss)",
    ),
    "purchases": (("purchases",), r"products\.[^.]+\.((mould\.)?(steps\.[^.]+\.)?materials|parts)\.[^.]+\.price"),
    "sales": (
        ("sales",),
        r"channels\.[^.]+\.(orders|clustering|price|pieces_per_order|size_spread|postage_charged|postage_paid|packaging|refund_share)",
    ),
}


def log_of(key: str) -> str | None:
    """The log that tells a number, or None for what no log knows.

    >>> log_of("channels.online.orders"), log_of("target.per_hour")
    ('sales', None)
    """
    return next((log for log, (_, pattern) in TOLD.items() if re.fullmatch(pattern, key)), None)


def worth_of(key: str) -> str:
    """What the `worth` of a number that a log tells is counted in: a counting word, 'month' for any time, '' for what its price is for.

    >>> worth_of("channels.online.orders"), worth_of("products.knob.steps.pot.load_minutes"), worth_of("products.knob.parts.pin.price")
    ('month', 'load', '')
    """
    kind = key.rpartition(".")[2]
    if kind in ("orders", "clustering", "fixed_hours", "ruined_loads"):
        return "month"
    if key.startswith("channels."):
        return "order"
    if kind == "price":
        return ""
    if ".mould." in key:
        return "mould"
    return "load" if kind in ("load_minutes", "wait", "loss") else "piece"
