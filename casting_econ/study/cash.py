"""The table of the study file that says how money comes and goes by month."""

from typing import Annotated, Literal

from .fields import MONTHS, Key, Node, PlainMoney, decided, key, reads
from .numbers import split_figure


def _season(raw, _):
    """Twelve weights from January, or 'records'."""
    if raw == "records":
        return raw
    if not isinstance(raw, list | tuple):
        raise ValueError("not a list of weights")
    weights = [split_figure(one) for one in raw]
    if len(raw) != len(MONTHS):
        raise ValueError(f"{len(raw)} weights for the {len(MONTHS)} months")
    for month, (figure, unit), one in zip(MONTHS, weights, raw, strict=True):
        if figure is None or unit or figure < 0:
            raise ValueError(f"a weight of {month} that is no number of 0 or more, {one!r}")
    if not any(figure for figure, _ in weights):
        raise ValueError("no weight above 0")
    return tuple(figure for figure, _ in weights)


_WEIGHTS = 'twelve weights from January such as [0.8, 0.8, 1, 1, 1, 1, 0.9, 0.9, 1, 1, 1.3, 1.3], or "records"'


class CashTable(Node):
    """How money comes and goes by month. Decided figures; of them the season alone reaches the year, where it varies by months."""

    reserve: PlainMoney = key("money there at the start", 0.0)
    outlay: dict[Key, PlainMoney] | None = key("paid at the start, by what for; equipment and first moulds if not given", None)
    months: decided(low=12.0, high=60.0, whole=True) = key("months that are followed", 24)
    ramp_months: decided(high=60.0) = key("months until demand is full, growing evenly from nothing", 0.0)
    season: Annotated[tuple[float, ...] | str, reads(_season, _WEIGHTS)] | None = key(
        'how demand comes by month: twelve weights from January, or "records"; every month alike if not given', None
    )
    start_month: Literal[MONTHS] = key("month it starts in", MONTHS[0])
    payment_delay: dict[Key, decided(high=24.0, whole=True)] = key("by channel: months from a sale to its money", {})
    pay_taken: decided("{money}/month") = key("money a month that you mean to take out", 0.0)
    material_lead: decided(high=12.0, whole=True) = key("months that materials are bought before the sale", 0)
