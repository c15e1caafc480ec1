"""A study's draws for one product, and the loads of an order followed through the calendar in each of them."""

from dataclasses import replace
from datetime import date
from functools import cached_property
from itertools import pairwise

import numpy as np

from ..assumptions import draw_values, point_values, workshop_at
from ..evidence import load_correlation
from ..kit import OpenStudy
from ..models import evaluate
from ..models.counts import loads_for
from ..models.orders import casts_by_variant, chance_by_variant
from ..models.schedule import DAY, Plan, Stage, simulate, through_other_stages
from ..models.supplies import hours_at_temperature
from ..models.workshop import Channel, Product, Workshop
from ..models.yields import surviving_share
from ..pages.curing import LoadWait, load_waits
from ..study.schema import is_hand_sanding
from ..study.stations import load_sizes
from .dates import REFERENCE_C, Opening, opening
from .making import MouldsInUse, in_calendar, taken_out, with_copies, with_making
from .pots import pools, slots_of
from .simulated import Draws, Loads, SimulatedOrder, draws_of, fates, repeated
from .spec import Order

DRAWS = 512
EXTRA = 3  # loads that may follow one by one where the planned ones fall short
HORIZON = 500  # days after the due date up to which the calendar is followed [day]


class Planner:
    """A study's draws for one product, made once; plans for it are then quick.

    Learning is averaged over about as many `casts` as an order takes [cast], which has the minutes of the `channel`; the draws of a `base` are
    kept in what both studies share, so that plans for the two can be compared.
    """

    def __init__(self, kit: OpenStudy, product: str, casts: int, channel=None, draws: int = DRAWS, base=None) -> None:
        self.kit, self.base, self.product, self.learning_casts = kit, base, product, casts
        self.entry, self.channel, self.seed = kit.study.file.products[product], channel, kit.study.file.study.seed
        self.loads_per_year = max(float(kit.point().products[product]["loads_per_year"]), 1.0)
        values = draw_values(kit.assumed, draws, self.seed, base=(base or kit).assumed)
        self.inputs = workshop_at(kit.study, values)
        rng = np.random.default_rng([self.seed, 1])
        stated = self.entry.load_correlation
        alike = np.full(draws, stated) if stated is not None else load_correlation(kit.study, product).quantile(rng.random(draws))
        self.draws = self._draws(self.inputs, draws, alike)
        self._others: dict[str, Planner] = {}  # of products of which casts are promised
        self._calendars: dict[tuple, Opening] = {}
        self._exact: dict[tuple, float] = {}
        self._thrown: dict[tuple, tuple[np.ndarray, np.ndarray]] = {}
        self.values = point_values(kit.assumed)  # numbers in force, by dotted key
        self.point_inputs = kit.inputs()
        self.point = self._draws(self.point_inputs, 1, np.array([alike.mean()]))

    def _draws(self, inputs, draws, alike):
        given = inputs.product(self.product), self.channel_in(inputs)
        return draws_of(*given, draws, alike, casts=self.learning_casts, loads_per_year=self.loads_per_year)

    def channel_in(self, inputs: Workshop) -> Channel | None:
        """The order's channel among the inputs; None where it has none."""
        return next((channel for channel in inputs.channels if channel.name == self.channel), None)

    @cached_property
    def year(self) -> dict[str, np.ndarray]:
        """Totals of the study's year in each draw, as many orders coming as on average in it."""
        return evaluate(self.inputs).totals

    @cached_property
    def point_product(self) -> Product:
        """Inputs of the product at the point."""
        return self.point_inputs.product(self.product)

    @property
    def mould_sets(self) -> int:
        """Sets of moulds in use; 0 where the study has none for the product, or counts its moulds one by one. [set]"""
        return 0 if self.entry.mould is None or self.entry.mould.steps else int(self.entry.mould.sets.value)

    @cached_property
    def moulds(self) -> MouldsInUse | None:
        """Moulds in use, where they are counted one by one."""
        return MouldsInUse.of(self.kit.study, self.product, self.point_product.mould)

    @cached_property
    def casts_per_load(self) -> int:
        """Casts of a full load, the largest where stations differ. [cast/load]"""
        most = load_sizes(self.kit.study.file, self.product)[0]
        return most if self.moulds is None else min(most, self.moulds.in_use * self.moulds.cavities)

    @property
    def load_sizes(self) -> tuple[int, ...]:
        """Casts of full loads in turn: one size where stations are alike. [cast/load]"""
        return load_sizes(self.kit.study.file, self.product, self.casts_per_load)

    @cached_property
    def hours_per_week(self) -> float:
        """Hands that commissions can have, other promises not taken off. [hour/week]"""
        stated = self.kit.study.file.orders.hours
        a = self.point_inputs
        return float(a.hours_per_week - a.fixed_hours_per_week) if stated is None else stated

    @cached_property
    def first_wait(self) -> int:
        """Index of the first step that waits, up to which a load is cast in one go; of one with minutes of a load where none does."""
        waits, steps = self.point_product.first_wait, enumerate(self.entry.steps.values())
        loads = (index for index, step in steps if step.load_minutes.value + step.lot_minutes.value > 0)
        return next(loads, 0) if waits is None else waits

    @property
    def load_wait(self) -> LoadWait:
        """The first wait of a load, as the curing page takes it, with what else goes on until its moulds are empty."""
        name, step = list(self.entry.steps.items())[self.first_wait]
        product, point = self.point_product, self.point
        entering = surviving_share([step.pass_share for step in product.steps])
        full = float(np.mean(self.load_sizes))
        minutes = [
            float(own + product.turn_minutes(step) / (step.load_size or full * share))
            for own, step, share in zip(point.minutes[0], product.steps, entering, strict=True)
        ]
        stations = {station.name: int(station.count) for station in self.point_inputs.stations}
        waits = load_waits(product, minutes, stations, product.mould is not None)
        nothing = {"wait_hours": float(point.wait[0, self.first_wait]), "turnaround_hours": 1 / 60, "count": 1}
        none = LoadWait(product=self.product, step=name, resource=step.wait_in or name, **nothing)
        return next((wait for wait in waits if wait.step == name and wait.turnaround_hours > 0), none)

    # ------------------------------------------------------------------ how many

    def casts(self, order: Order, *, alike: bool = True) -> tuple[dict[str, int], float]:
        """Casts to start by item so that the order is met with its confidence, and the chance of that. [cast, -]

        Not `alike`, pieces of one load fail one by one. ValueError if no number of casts gives that chance.
        """
        needed, given = order.needed, self._given(order, alike)
        found, chance = casts_by_variant(list(needed.values()), order.confidence, *given)
        return dict(zip(needed, found, strict=True)), chance

    def chance(self, order, casts):
        """Chance that these new casts by item, with the loads under way, are enough."""
        return chance_by_variant(list(order.needed.values()), casts, *self._given(order))

    def _given(self, order, alike=True):
        """What the chance of enough depends on beside casts and pieces."""
        d, started = self.draws, list(order.started.values())
        return self.load_sizes, d.good_share, d.load_correlation * alike, order.matched, started, d.ruined

    # ------------------------------------------------------------------ when

    def loads(self, order: Order, casts: dict[str, int], extra: int = EXTRA) -> Loads:
        """Loads in pouring order: earlier promises, those under way, the new ones, extra ones in case."""
        items, sizes, file = list(order.items), self.load_sizes, self.kit.study.file
        rows, products = [], []
        for promise in file.orders.promised:
            if promise.product is not None:
                full = load_sizes(file, promise.product)
                rows += [np.eye(1, len(items), dtype=int)[0] * size for size in loads_for(promise.casts, full)]
                products += [promise.product] * (len(rows) - len(products))
        promised = len(rows)
        for under in order.under_way:
            rows.append(np.array([under.casts if under.variant == name else 0 for name in items]))
        started = len(rows) - promised
        queue = np.repeat(np.arange(len(items)), [casts.get(name, 0) for name in items])  # variants share a load that has room
        ends = np.cumsum((0, *(self.moulds.in_loads if self.moulds else loads_for)(queue.size, sizes)))
        rows += [np.bincount(queue[begin:end], minlength=len(items)) for begin, end in pairwise(ends)]
        planned = len(rows)
        rows += [np.bincount(np.arange(sizes[n % len(sizes)]) % len(items), minlength=len(items)) for n in range(extra)]
        casts = np.array(rows).reshape(len(rows), len(items))
        counts = {"promised": promised, "started": started, "planned": planned}
        return with_making(self, Loads(by_draw=casts[None], **counts, promised_products=tuple(products)))

    def course(
        self,
        order: Order,
        loads: Loads,
        draws: Draws,
        *,
        starts: tuple[date, ...] = (),
        sets: tuple[int, ...] = (),
        record: bool = False,
        stations: int = 0,
        hours_share: float = 1.0,
        capped: bool = True,
    ) -> SimulatedOrder:
        """Follow the loads through the calendar in every draw; StudyError if no day of it is open.

        `starts` are first days, `sets` numbers of sets of moulds [set], to try instead: all draws for each in turn. Where `record`, it is a
        typical course with its segments of hand work instead of chances. `stations` of each kind are more, `hours_share` is of the hours a week
        for commissions [-], and sanding by hand keeps below its cap where `capped`.
        """
        opened = self._opened(order, hours_share)
        entering, good = self.fate(loads, draws, record)
        entering = entering.copy()
        entering[:, [load for load, name in enumerate(loads.promised_products) if name != self.product]] = 0
        plan = self._plan(order, loads, draws, entering, good, opened, stations)
        for name in dict.fromkeys(loads.promised_products):
            plan = plan if name == self.product else self._with_other(plan, name, order, loads, draws, opened, record, stations)
        if self.moulds:
            plan = in_calendar(self, plan, loads, draws, opened)
        if starts or sets:
            plan = repeated(plan, [opened.seconds(day) for day in starts], list(sets))
        deadline = opened.seconds(opened.last_posting(order.due)) + DAY
        if not capped:
            opened = replace(opened, calendar=replace(opened.calendar, sanding_cap=DAY))
        found = {"plan": plan, "schedule": simulate(plan, opened.calendar, record=record), "opened": opened, "deadline": deadline}
        weights = np.ones(1) if record else self._weights(order, loads, good)
        return SimulatedOrder(entering=entering, good=good, weights=weights, **found)

    def fate(self, loads: Loads, draws: Draws, record: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """What becomes of loads, as `fates` gives it; the same loads meet the same fate in every plan."""
        key = loads.by_draw.tobytes(), loads.by_draw.shape, draws.load_correlation.size, record
        if key not in self._thrown:
            self._thrown = {key: fates(loads, draws, None if record else (self.seed, 2))} | dict(list(self._thrown.items())[-3:])
        return self._thrown[key]

    def _weights(self, order, loads, good):
        """Weights of the draws by whether their planned loads are enough, which the formula knows without the noise of draws."""
        if loads.fate is not None:
            return np.full(good.shape[0], 1.0 / good.shape[0])
        own, needed = loads.own, np.array(list(order.needed.values()))
        enough = ((good[:, own] // order.matched).sum(axis=1) >= needed).all(axis=1)
        key = order.matched, tuple(needed), tuple(order.started.values()), loads.casts[own].tobytes()
        if key not in self._exact:
            self._exact[key] = self.chance(order, loads.casts[loads.new].sum(axis=0).tolist())
        seen, exact = enough.mean(), self._exact[key]
        if not 0.0 < seen < 1.0:
            return np.full(enough.size, 1.0 / enough.size)
        return np.where(enough, exact / seen, (1.0 - exact) / (1.0 - seen)) / enough.size

    def _opened(self, order, hours_share):
        key = order.start, order.due, hours_share
        if key not in self._calendars:
            days = (max(order.due, order.start) - order.start).days + HORIZON
            self._calendars[key] = opening(self.kit.study, order.start, days, self.hours_per_week * hours_share)
        return self._calendars[key]

    def _with_other(self, plan, name, order, loads, draws, opened, typical, stations):
        """The plan with the promised loads of another product going through stages of their own, behind those of the order.

        They take stations, racks and hands like any load; moulds for them are taken to be enough.
        """
        if name not in self._others:
            size = self.draws.load_correlation.size
            self._others[name] = Planner(self.kit, name, self.learning_casts, draws=size, base=self.base)
        other = self._others[name]
        mine = [load for load, product in enumerate(loads.promised_products) if product == name]
        given = (
            Loads(by_draw=loads.size[None, mine, None], promised=len(mine), started=0, planned=len(mine)),
            other.point if typical else other.draws.part(draws.load_correlation.size),
        )
        theirs = replace(order, product=name, variants={}, in_hand={}, under_way=())
        theirs = other._plan(theirs, *given, *fates(*given, None if typical else (self.seed, 3)), opened, stations)
        stages = [replace(stage, name=f"{stage.name if n else 'casting'} ({name})") for n, stage in enumerate(theirs.stages)]
        return through_other_stages(plan, replace(theirs, stages=tuple(stages)), mine)

    def _plan(self, order, loads, draws, entering, good, opened, stations):
        file, steps, first = self.kit.study.file, list(self.entry.steps.items()), self.first_wait
        entering, lots = with_copies(self, entering, self.lots(loads, draws), loads)
        minutes = self.step_minutes(draws, entering, lots)
        warm = [s.wait_at is not None and bool(file.temperature.months) for _, s in steps]
        reference = [
            float(hours_at_temperature(1.0, s.wait_at, REFERENCE_C, file.temperature.factor)) if follows else 1.0
            for follows, (_, s) in zip(warm, steps, strict=True)
        ]
        wait = np.rint(draws.wait * 3600) * np.array(reference)
        work = np.rint(minutes * 60)
        work = np.where(entering > 0, np.maximum(work, 1), 0).astype(np.int64)
        longest = int(np.diff(opened.calendar.windows).max())
        work = np.concatenate([work[..., : first + 1].sum(axis=-1, keepdims=True), work[..., first + 1 :]], axis=-1)
        waits = np.broadcast_to(np.rint(wait)[:, None, first:], work.shape).astype(np.int64)
        room = np.array([s.places_per_piece.value for _, s in steps])
        places = np.ceil(entering * room).astype(np.int64)[..., first:]
        stages, slots = [], {}
        for k, (name, s) in list(enumerate(steps))[first:]:
            station = s.wait_in if s.wait_in in file.stations else None
            if station is not None:
                most = getattr(s.load_size, "value", None)
                slots |= slots_of(station, file.stations[station], most, self.casts_per_load, stations)
            in_loads = k == first or s.load_minutes.value + s.lot_minutes.value > 0
            stage = Stage(
                name=name if k > first else " + ".join(name for name, _ in steps[: first + 1]),
                block=in_loads and int(work[..., k - first].max(initial=0)) <= longest,
                station=station,
                rack=s.wait_in if s.wait_in in file.racks else None,
                sanding=is_hand_sanding(name, s),
                follows_temperature=warm[k],
            )
            stages.append(stage)
        known = {loads.promised + n: under.station for n, under in enumerate(order.under_way)}
        casts, out = entering[..., 0].max(axis=0).tolist(), taken_out(self) - first
        in_moulds = [self.moulds.fills(size) * self.moulds.cavities for size in casts] if self.moulds else casts
        takes = [in_moulds if stage < out else casts for stage in range(len(stages))]
        pool = pools([stage.station for stage in stages], takes, slots, file.stations, known)
        names, needed = [*slots, None], np.array(list(order.needed.values()))
        credit = good // order.matched
        credit[:, : loads.promised] = 0
        size = draws.load_correlation.size
        mould, sets, own = self.entry.mould, self.mould_sets, self.moulds
        under_way = {}
        for n, under in enumerate(order.under_way):
            closes = opened.seconds(under.poured) + DAY  # the hour is not in the log: the end of the day is the cautious one
            ready = max(closes + int(waits[:, loads.promised + n, 0].max()), opened.seconds(order.start))
            busy = ready > opened.seconds(order.start)
            # what is poured and not yet checked may be in its moulds still, but not more of it than there are
            full = len(order.under_way) - n if own is None else sum(own.fills(later.casts) for later in order.under_way[n:])
            in_moulds = full <= (sets if own is None else own.in_hand)
            under_way[loads.promised + n] = (1, ready, names[pool[loads.promised + n, 0]] if busy else None, in_moulds)
        return Plan(
            stages=tuple(stages),
            work=work,
            wait=waits,
            credit=credit,
            needed=needed,
            in_hand=np.zeros_like(needed),
            planned=loads.planned,
            after=loads.after,
            slots=slots,
            pool=pool,
            places_in={name: int(rack.places.value) for name, rack in file.racks.items()},
            places=places,
            moulds=np.full(size, sets),
            mould_use=min(sets, 1),
            mould_rest=0 if mould is None else round(mould.rest.value * 3600),
            mould_stage=out,
            start=np.full(size, opened.seconds(order.start)),
            pack=np.rint(draws.order_minutes * 60).astype(np.int64),
            under_way=under_way,
        )

    def lots(self, loads: Loads, draws: Draws) -> np.ndarray:
        """Lots in each load, those promised before having as many as the year's; shape (D or 1, L). [lot]"""
        lots = (loads.of(draws) > 0).sum(axis=2).astype(float)
        lots[:, : loads.promised] = self.entry.lots_per_load.value
        return lots

    def step_minutes(self, draws: Draws, entering: np.ndarray, lots: np.ndarray) -> np.ndarray:
        """Hand work of each load, with so many lots in it, at each step; shape (D, L, K). [min]"""
        sizes = np.array([np.nan if step.load_size is None else step.load_size.value for step in self.entry.steps.values()])
        turns = np.where(np.isnan(sizes), 1.0, entering / sizes)
        load = turns * draws.load_minutes[:, None] + lots[..., None] * draws.lot_minutes[:, None]
        return entering * draws.minutes[:, None] + np.where(entering > 0, load, 0.0)
