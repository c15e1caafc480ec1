"""What if: one workshop with some numbers moved, beside the study as it is. No widgets here; `widgets` has them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd

from ..draws import summarise
from ..faults import Fault, StudyError, refusal
from ..formatting import Format
from ..kit import OpenStudy, open_study
from ..pages.answer import first_lines
from ..pages.change import changed
from ..pages.curing import LoadWait, load_wait
from ..pages.deciding import Decision, expected_benefit
from ..pages.scrap import break_even_scrap, pay_at_scrap
from ..study.inputs import changed_copy, place_for_copy
from ..study.numbers import written
from ..study.scenarios import PASS_SHARE, SCRAP, dotted, nested
from ..study.schema import ScenarioEntry

RATES = np.linspace(0.0, 0.6, 25)  # scrap rates of the curve [-]


@dataclass(frozen=True, kw_only=True)
class Lever:
    """A number that can be moved."""

    key: str  # dotted, of the study file
    label: str
    unit: str
    now: float  # in force, in `unit`; for a check the share it scraps
    low: float
    high: float
    step: float
    group: str

    @property
    def is_scrap(self) -> bool:
        """Whether it is the share that a check scraps, in per cent."""
        return self.key.endswith(PASS_SHARE)

    @property
    def is_whole(self) -> bool:
        """Whether it counts things."""
        return self.key.endswith((".count", ".sets"))

    @cached_property
    def places(self) -> np.ndarray:
        """Every value it can be moved to, rising: its steps, and where it stands. [unit]"""
        steps = self.low + self.step * np.arange(round((self.high - self.low) / self.step) + 1)
        return np.sort(np.append(steps[abs(steps - self.now) > 0.5 * self.step], self.now))

    @property
    def at(self) -> int:
        """Place of `places` at which it stands."""
        return int(np.searchsorted(self.places, self.now))

    def words(self, value: float, fmt: Format) -> str:
        """A value as it is shown and said."""
        if self.group == "price":
            return f"{fmt.money(value)} {self.unit}"
        if self.group == "waiting":
            return fmt.wait(round(value, 6))
        if self.is_scrap:
            return fmt.percent(value / 100, 1)
        digits = 0 if self.is_whole else max(0, int(np.ceil(-np.log10(self.step))))
        number, unit = fmt.exactly(round(value, digits)), self.unit
        return f"{number} {unit.replace('s', '', 1) if number == '1' else unit}".strip()


def _nice(value: float) -> float:
    """A step of about a fiftieth: 1, 2 or 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(round(power * min((1, 2, 5, 10), key=lambda n: abs(n - value / power)), 10))


def levers_of(kit: OpenStudy, product: str | None = None) -> list[Lever]:
    """What can be moved for one product, the first if none is named: prices, buyers, hours, scrap, waits, stations, minutes."""
    file, numbers, found = kit.study.file, kit.assumed.numbers, []
    product = product or next(iter(file.products))
    channels = [name for name, channel in file.channels.items() if channel.product == product]

    def add(group, key, unit, said):
        if key not in numbers or numbers[key].value <= 0:
            return
        now = numbers[key].value
        parts = 100 if group in ("price", "buyers") else 50
        # so that steps are round as `words` has them
        shown = 1.0 if group != "waiting" or 1 <= now < 48 else 24.0 if now >= 48 else 1 / 60
        step = shown * _nice(now / shown / parts)
        low, high = 0.0, np.ceil(3.0 * now / step) * step
        if group == "scrap":
            now, low, step = 100.0 * (1.0 - now), 0.0, 0.5
            high = min(60.0, 99.0 * now) if now > 0 else 60.0  # a scenario scales by at most a hundred
        elif key.endswith((".count", ".sets")):
            low, high, step = 1.0, max(now, 1.0) + 5.0, 1.0
        elif group in ("price", "buyers", "waiting"):
            low = step
        found.append(Lever(key=key, label=said, unit=unit, now=now, low=low, high=float(high), step=step, group=group))

    for group, key, unit in (("price", "price", "an order"), ("buyers", "orders", "a year")):
        for name in channels:
            add(group, f"channels.{name}.{key}", unit, f"{key}, {name.replace('-', ' ')}")
    add("hours", "time.fixed_hours", "hours a week", "books, cleaning and other fixed hours")
    steps = {f"products.{product}.steps.{name}": name.replace("-", " ") for name in file.products[product].steps}
    for group, key, unit, said in (("scrap", "pass_share", "%", "scrapped"), ("waiting", "wait", "hours", "waiting")):
        for place, step in steps.items():
            add(group, f"{place}.{key}", unit, f"{said} at {step}")
    for name, station in kit.study.raw.get("stations", {}).items():
        if not isinstance(station.get("places"), list):  # one more would need places of its own
            add("stations", f"stations.{name}.count", "", f"{name.replace('-', ' ')}, how many")
    add("stations", f"products.{product}.mould.sets", "", "sets of moulds")
    for place, step in steps.items():
        for key, each in (("minutes", "piece"), ("load_minutes", "load"), ("lot_minutes", "lot")):
            add("minutes", f"{place}.{key}", "minutes", f"minutes at {step}, a {each}")
    return found


def scenario_of(levers: list[Lever], state: Mapping[str, float], what: str = "as explored") -> dict[str, object]:
    """What was moved, as a scenario of the study file; a state has the value of a lever by its key, in its unit.

    A moved number keeps its certainty, so it is scaled; counts are changed, as is the scrap of a check that scraps nothing yet.
    """
    scale: dict[str, float] = {}
    change: dict[str, object] = {}
    for lever in levers:
        value = float(state.get(lever.key, lever.now))
        if not np.isfinite(value) or abs(value - lever.now) <= 1e-9 * max(1.0, abs(lever.now)):
            continue
        value = min(max(value, lever.low), lever.high)
        if lever.is_whole:
            change[lever.key] = round(value)
        elif lever.is_scrap and lever.now <= 0:
            change[lever.key] = f"{100.0 - value:.10g} %"
        else:
            key = lever.key.removesuffix(PASS_SHARE) + SCRAP if lever.is_scrap else lever.key
            scale[key] = max(value / lever.now, 1e-9)
    return {"what": what, "scale": scale, "change": nested(change)}


@dataclass(frozen=True, kw_only=True)
class View:
    """What is seen at one state."""

    lines: list[str]  # the answer as the first page of the report has it: an hour, a year, what to do
    pay: tuple[float, float, float]  # an hour: one in ten below, half, one in ten above [money/hour]
    gain: tuple[float, float, float]  # in pay an hour against the study, on common draws: the same three [money/hour]
    limits: dict[str, float]  # share of draws in which each thing limits [-]
    curve: np.ndarray  # pay an hour at the point over RATES [money/hour]
    scrap: float  # of all casts, at the point [-]
    point: float  # pay an hour at the point [money/hour]
    break_even: float | None  # as `break_even_scrap` has it [-]
    wait: LoadWait | None
    stairs: pd.DataFrame | None  # loads a week over cure hours
    loads: float | None  # that the wait lets through [load/week]
    target: float  # [money/hour]


class Explorer:
    """A study on draws of its own, beside which any state of the steps and channels of one product is put."""

    def __init__(self, kit: OpenStudy, product: str | None = None, draws: int | None = None) -> None:
        self.kit, self.product = kit, product or next(iter(kit.study.file.products))
        self.draws, self.seed = kit.plan_of_draws(draws)
        self.levers = levers_of(kit, self.product)
        self._stairs: dict[tuple, pd.DataFrame] = {}
        self.base = kit.monte_carlo(self.draws, self.seed).draws["pay_per_hour"]

    def moved(self, state: Mapping[str, float]) -> OpenStudy:
        """The study at a state; StudyError where the state makes no study."""
        entry = ScenarioEntry.model_validate(scenario_of(self.levers, state), context={"currency": self.kit.study.currency})
        return self.kit.with_scenarios({"scenarios.as-explored": entry})

    def look(self, state: Mapping[str, float]) -> View:
        """Pay an hour and what is behind it at a state; StudyError where it makes no study, such as a load longer than a working day."""
        kit = self.moved(state)
        offers = [] if any(scenario_of(self.levers, state)[how] for how in ("scale", "change")) else self._offers
        try:
            year = kit.monte_carlo(self.draws, self.seed, base=self.kit)
            curve, point = np.array(pay_at_scrap(kit, self.product, *RATES)), kit.point()
            even = break_even_scrap(kit, self.product)
        except ValueError as error:  # a model that cannot be worked out says why
            raise refusal("explorer", "these numbers cannot be worked out together", "others", found=str(error)) from None
        wait, band = load_wait(kit), ("p10", "p50", "p90")
        pay = year.draws["pay_per_hour"]
        own, gain = summarise(pay), summarise(pay - self.base)
        decision = Decision(kit=kit, benefit=expected_benefit(kit, self.draws, self.seed, self.kit), values={})
        return View(
            lines=first_lines(kit, year, decision, offers),
            pay=tuple(own[key] for key in band),
            gain=tuple(gain[key] for key in band),
            limits={name: share for name, share in year.bottleneck.items() if share > 0},
            curve=curve,
            scrap=float(1.0 - point.products[self.product]["yield"]),
            point=float(point.totals["pay_per_hour"]),
            break_even=even,
            wait=wait,
            stairs=None if wait is None else self._stair_table(kit, wait),
            loads=None if wait is None else float(wait.loads(kit.study.windows)),
            target=float(kit.inputs().target_per_hour),
        )

    @cached_property
    def _offers(self):
        """Scenarios of the study; they were thought of for it as it stands, and so nothing is said of them elsewhere."""
        return changed(self.kit, self.draws, self.seed)

    def _stair_table(self, kit, wait):
        """Loads a week over cure hours; worked out anew only where the stairs themselves move."""
        key = replace(wait, wait_hours=0.0)
        if key not in self._stairs:
            longest = max(lever.high for lever in self.levers if lever.group == "waiting")
            usual = self.kit.assumed.numbers.get(f"products.{wait.product}.steps.{wait.step}.wait")
            hours = np.linspace(0.0, 3.0 * usual.value if usual is not None else longest, 181)
            self._stairs[key] = pd.DataFrame({"cure hours": hours, "loads a week": wait.loads(kit.study.windows, hours)})
        return self._stairs[key]


def view_sentence(view: View, fmt: Format) -> str:
    """What the first lines do not say: how far it is from the study, the band, and the scrap that the target bears."""
    low, middle, high = view.pay
    less, gain, more = view.gain
    certain = high - low <= 1e-9 * max(1.0, abs(middle))  # then the gain is too
    against = f"An hour brings {fmt.money(abs(gain))} {'more' if gain >= 0 else 'less'} than in the study"
    against += "." if certain else f" ({fmt.money(less)} to {fmt.money(more)} in eight of ten years)."
    if not any(round(end, 2) for end in view.gain):
        against = "An hour brings as much as in the study."
    band = "" if certain else f" Eight of ten years bring {fmt.money(low)} to {fmt.money(high)} an hour."
    even = "no scrap rate lets an hour earn the target"
    if view.break_even is not None:
        even = f"the target is earned up to a scrap rate of {fmt.percent(view.break_even)}"
    middle_words = "" if certain else ", with every number at its middle"
    return f"{against}{band} Scrap is {fmt.percent(view.scrap)}; {even}{middle_words}."


def save_scenario(kit: OpenStudy, levers: list[Lever], state: Mapping[str, float], folder: Path | str, name: str) -> Path:
    """Write a copy of the study, a new folder, in which the state is a scenario of that name.

    StudyError for a folder that is there, one within the study, a name that cannot be used or is taken, and a state that moves nothing.
    """
    target, faults = place_for_copy(kit.study.folder, folder)
    entry = scenario_of(levers, state, name.replace("-", " "))

    def fault(file, wrong, right, found=""):
        faults.append(Fault(file, wrong, right, found=found))

    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,40}", name):
        fault("scenario", "a name that cannot be used", "small letters, figures and hyphens", repr(name))
    elif name in kit.study.file.scenarios:
        fault("scenario", "a name that is taken", "another name", repr(name))
    if not entry["scale"] and not entry["change"]:
        fault("scenario", "nothing is moved", "at least one number moved")
    if faults:
        raise StudyError(faults)
    lines = [f"[scenarios.{name}]", f'what = "{entry["what"]}"']
    if entry["scale"]:
        factors = ", ".join(f'"{key}" = {written(factor, 17)}' for key, factor in entry["scale"].items())
        lines.append(f"scale = {{ {factors} }}")
    for key, value in dotted(entry["change"]):
        lines.append(f"change.{key} = " + (f'"{value}"' if isinstance(value, str) else str(value)))
    added = "\n# written by the explorer\n" + "\n".join(lines) + "\n"
    return changed_copy(kit.study.folder.resolve(), target, lambda text: text + added, open_study)
