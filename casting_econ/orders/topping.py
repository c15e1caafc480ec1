"""Count, then top up: what is cast now, and the rounds that may follow, in the draws of an order."""

from dataclasses import replace

import numpy as np

from ..models.topping import ToppedUp, first_casts, top_up, top_up_casts
from .simulated import Draws, Loads, entering_of, good_of
from .spec import Order

OFTEN = 16_384  # draws that tell how many casts it takes, all draws of the planner several times
MOST_COUNTED = 2**22  # of loads by draw, beyond which it is fewer


def cast_now(planner, order: Order) -> dict[str, int]:
    """Casts to start now by item: the rest of a first round, or what the last count left short. [cast]

    An item of which loads are under way waits for their count, unless its first round is not all poured.
    """
    share, size, found = float(planner.point.good_share[0]), order.matched, {}
    for name, short in order.needed.items():
        under, counted = sum(order.started[name]), order.counted.get(name, 0)
        wanted = short if not counted else -(-order.items[name] // size)
        casts = int(first_casts(wanted, planner.casts_per_load, share, size)) - counted - under
        if counted and not under:
            casts = int(top_up_casts(short, share, size))
        found[name] = max(casts, 0) if short else 0
    return found


def in_loads(casts: np.ndarray, sizes: tuple[int, ...], *, apart: bool) -> np.ndarray:
    """Casts of a round in loads of at most so many in turn, item by item; where `apart`, no load holds two items.

    `casts` has shape (D, I), the result (D, L, I). [cast]
    """
    most = int(casts.sum(axis=1).max(initial=0)) // min(sizes) + casts.shape[1] + 1
    starts = np.append(0, np.cumsum(np.resize(sizes, most)))
    begin, end, at = np.zeros_like(casts), np.zeros_like(casts), np.zeros(len(casts), casts.dtype)
    for item in range(casts.shape[1]):
        begin[:, item] = starts[np.searchsorted(starts, at)] if apart else at
        at = end[:, item] = begin[:, item] + casts[:, item]
    edges = starts[: 1 + np.searchsorted(starts, at.max(initial=0))][:, None]
    return np.clip(np.minimum(end[:, None], edges[1:]) - np.maximum(begin[:, None], edges[:-1]), 0, None)


def _followed(planner, order, base, now, draws, rng):
    """Rounds of an order: casts and good pieces of the loads under way, then of those of each round, and the whole of it."""
    size, begun = order.matched, base.promised
    parts = [np.broadcast_to(base.casts.astype(int), (draws.load_correlation.size, *base.casts.shape))]
    goods = [good_of(parts[0], draws, rng)]

    def outcome(casts):
        parts.append(in_loads(casts, planner.load_sizes, apart=size > 1))
        goods.append(good_of(parts[-1], draws, rng))
        return (goods[-1] // size).sum(axis=1)

    short = np.array(list(order.needed.values())) - (goods[0][:, begun:] // size).sum(axis=1)
    found = top_up(np.maximum(short, 0), list(now.values()), outcome, float(planner.point.good_share[0]), size)
    return parts, goods, found


def topped_loads(planner, order: Order, now: dict[str, int]) -> Loads:
    """Loads of all rounds, as many of each as the draw that needs most, with what becomes of them in every draw; `now` has the casts of
    the first round by item. [cast]

    The typical draw has as many rounds as half of the draws have, and the middle number of casts.
    """
    base, rng = planner.loads(order, {}, extra=0), np.random.default_rng([planner.seed, 4])
    parts, goods, found = _followed(planner, order, base, now, planner.draws, rng)
    each, good = np.concatenate(parts, axis=1), np.concatenate(goods, axis=1)
    if not each.shape[1]:  # all is in hand
        return planner.loads(order, {})
    cast = [number for number, casts in enumerate(found.casts, 1) if casts.any()]
    rounds = [0] * len(base.casts) + [number for number, part in zip(cast, parts[1:], strict=True) for _ in range(part.shape[1])]
    typical = int(np.lexsort((found.total, found.rounds))[found.total.size // 2])  # in the middle by rounds, then by casts
    return replace(
        base,
        by_draw=each,
        planned=each.shape[1],
        rounds=tuple(rounds),
        fate=(entering_of(each, good, planner.draws, rng), good),
        typical=typical,
    )


def topped_often(planner, order: Order, now: dict[str, int]) -> ToppedUp:
    """The rounds of an order in so many draws that what they take on average is known well."""
    base, draws = planner.loads(order, {}, extra=0), planner.draws
    size = draws.load_correlation.size
    loads = sum(now.values()) / planner.casts_per_load + 4.0 + len(base.casts)
    times = int(np.clip(min(OFTEN, MOST_COUNTED / (loads * len(order.items))) / size, 1, None))
    often: Draws = draws.at(np.tile(np.arange(size), times))
    return _followed(planner, order, base, now, often, np.random.default_rng([planner.seed, 5]))[2]
