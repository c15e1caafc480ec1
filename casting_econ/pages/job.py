"""Is it a job? Side income, a living, safe enough: three answers, and words for them that cannot contradict each other."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from ..formatting import Format
from ..kit import Answer, OpenStudy, format_of
from ..models import evaluate
from ..models.year import DEMAND, HANDS, Outcome
from .cash_paths import NO_PAY, STATED_PAY, cash_draws
from .conditions import Lever, levers, pay_over_target, solve_for_target, year_over_living
from .deciding import Decision, decision_word
from .monte_carlo import by_luck_alone, certainty_word, grade, living_words
from .table import shown

FLOOR_SHARE = 0.5  # of a year's living, below which a year must not fall where the study states no floor
SAFE, UNEASY = 0.1, 0.25  # share of bad years, or of paths whose reserve runs out, up to which it is safe enough, or not quite
_PAYING = 0.25  # chance from which it is not said that an hour, or a year, does not pay
_LEAST_REACH = 8.0  # of the orders that come, at least looked at
_SIDE = {
    "yes": "worth doing on the side",
    "probably": "probably worth doing on the side",
    "open": "may or may not be worth its hours",
    "probably not": "probably not worth its hours as it is",
    "no": "not worth its hours as it is",
}
_NO = ("no", "probably not")  # of `side` and of `lives`
APART = "bad luck apart"
_SAFE = {"yes": ", and safe enough", "not quite": ", but not quite a safe one", "no": ", but not a safe one"}


@dataclass(frozen=True, kw_only=True)
class Job:
    """What a study says about its work as a job."""

    hour: float  # chance that an hour brings the target [-]
    year: float  # chance that a year brings a living [-]
    below: float  # share of the years drawn that leave less than the floor [-]
    floor: float  # [money/year]
    stated: bool  # whether the study states the floor
    fails: float | None  # chance that the reserve runs out; None where none is stated [-]
    takes_pay: bool  # whether the stated pay is taken out meanwhile
    limit: str  # what limits in most draws
    living: str  # what a full year at the target is called
    luck: bool = True  # whether the luck of single orders is in the years drawn
    pays_from: float = np.nan  # orders a year from which an hour pays, where it does not at those that come [order/year]
    living_from: float = np.nan  # orders a year from which today's prices bring a living, if any number does [order/year]
    orders: float = np.nan  # expected at the point [order/year]
    alone: str = ""  # the one order of the study file, where its year has no other
    full: str | None = None  # where no number of orders brings a living at today's prices, what more of them fill

    @property
    def side(self) -> str:
        """Whether each hour pays: yes, probably, open, probably not, no."""
        return grade(self.hour)[0]

    @property
    def few(self) -> bool:
        """Whether it is too few orders alone that keep an hour from paying."""
        return bool(np.isfinite(self.pays_from))

    @property
    def lives(self) -> str:
        """Whether the year brings a living, in the same words."""
        return grade(self.year)[0]

    @property
    def taken(self) -> str:
        """What pay is taken out while the reserve lasts."""
        return "the stated pay" if self.takes_pay else "no pay"

    @property
    def safe(self) -> str:
        """Whether it is safe enough: yes, not quite, no."""
        return _safe(max(self.below, self.fails or 0.0))


def _safe(risk):
    """Whether a risk is small enough."""
    return "yes" if risk <= SAFE else "not quite" if risk <= UNEASY else "no"


def only_order(kit: OpenStudy) -> str:
    """The one order of the study file, where its year has no other; '' of any other study."""
    named = list(kit.study.file.commissions)
    return named[0] if len(named) == 1 and orders_now(kit) <= 1 else ""


def hour_words(kit: OpenStudy, answer: Answer) -> str:
    """What half of the years bring an hour or more; of years without an hour of work there is no such figure, and it is said."""
    pay, idle = format_of(kit).money(answer.summary("pay_per_hour")["p50"]), np.isnan(answer.draws["pay_per_hour"]).any()
    return pay + (" in a year with an order" if idle else "")


def job_of(kit: OpenStudy, answer: Answer) -> Job:
    """The three answers from the draws of the year, and of cash where the study states a reserve."""
    stated, cash, fails, case = kit.study.file.target.floor, kit.study.file.cash, None, ""
    floor = FLOOR_SHARE * answer.living if stated is None else float(stated)
    if cash.reserve > 0:
        case = STATED_PAY if cash.pay_taken > 0 else NO_PAY
        fails = _runs_out(kit, len(answer.draws["pay_per_hour"]), case)
    shares, hour, year = answer.bottleneck, *(answer.chances[f"{one}_pays_living_wage"]["chance"] for one in ("hour", "year"))
    orders = orders_now(kit)
    living_from = factor_for(kit) * orders
    return Job(
        hour=hour,
        year=year,
        below=float((answer.draws["residual_pay_per_year"] < floor).mean()),
        floor=floor,
        stated=stated is not None,
        fails=fails,
        takes_pay=case == STATED_PAY,
        limit=max(shares, key=lambda name: shares[name]),
        living=living_words(kit),
        luck=kit.variation != "rates",
        pays_from=orders_for_target(kit) if hour < _PAYING else np.nan,
        living_from=living_from,
        orders=orders,
        alone=only_order(kit),
        full=None if year >= _PAYING or np.isfinite(living_from) else full_of(ample_year(kit)),
    )


@lru_cache(maxsize=16)  # the first page asks twice
def _runs_out(kit, draws, case):
    """Chance that the reserve runs out under a rule of pay."""
    return cash_draws(kit, draws).cases[case].runs_out["chance"]


def ample_orders(kit: OpenStudy) -> Lever:
    """The lever of the orders of every channel, as a factor, up to more than the hands can make."""
    buyers, use = next(lever for lever in levers(kit) if lever.key == "buyers"), float(kit.point().utilisation_at_demand[HANDS])
    return replace(buyers, high=max(_LEAST_REACH, 2.0 / use) if use > 0 else _LEAST_REACH)


def orders_for_target(kit: OpenStudy) -> float:
    """Orders a year from which every hour earns the target at today's prices, every other number at its middle; not a number where more orders
    than now do not. [order/year]"""
    factor = factor_for(kit, pay_over_target)
    return factor * orders_now(kit) if factor > 1.0 else np.nan


def orders_now(kit: OpenStudy) -> float:
    """Orders a year that come at the point. [order/year]"""
    return sum(float(channel["came"]) for channel in kit.point().channels.values())


@lru_cache(maxsize=16)  # more than one page asks for it
def factor_for(kit: OpenStudy, aim=year_over_living) -> float:
    """Of today's orders, at which a year brings a living at today's prices, or another aim is just met, of no more than today's where those
    meet it; not a number where none does. [-]"""
    orders = ample_orders(kit)
    orders = replace(orders, high=1.0) if aim(kit.inputs()) >= 0 else orders  # more than can be made may leave less again
    return float(solve_for_target(kit, [orders], aim=aim)[0])


@lru_cache(maxsize=16)
def ample_year(kit: OpenStudy) -> Outcome:
    """The year at the point with more orders than can be made."""
    orders = ample_orders(kit)
    return evaluate(orders.move(kit.inputs(), np.asarray(orders.high)))


def full_of(year: Outcome) -> str:
    """What limits most of the months in which a resource does, at the point, or demand: in some no orders come, however many do in all."""
    counts = np.bincount([int(month.binding) for month in year.months], minlength=2)
    return year.resources[1 + int(counts[1:].argmax()) if counts[1:].any() else 0]


def verdict_words(job: Job) -> str:
    """Whether it is a job, in a few words: what is said of a living never denies what is said of the hours, nor the other way round."""
    living, short = job.living, job.side in _NO
    held = "as all of a year" if job.alone else "at these orders" if job.few else "as it is"
    side = _SIDE[job.side].replace("as it is", held)
    long_hours = ", but only by more hours than a full week"
    if job.lives in ("yes", "probably"):
        words = (living if job.lives == "yes" else f"probably {living}") + _SAFE[job.safe]
        words += f", {APART}" if job.safe == "yes" and not job.luck else ""
        words += long_hours if job.side != "yes" and job.hour < job.year else ""
    elif job.lives == "open":
        words = f"perhaps {living}{long_hours}" if short else f"{side}; perhaps {living}"
        words += _SAFE["no"] if job.safe == "no" else ""
    elif short:
        words = f"{side}, nor {living}" if job.side == "no" else f"{side}; not {living}"
    else:
        words = f"{side}; {'probably ' if job.lives == 'probably not' else ''}not {living} {_limits(job)}"
    if (job.fails or 0.0) > UNEASY and job.lives in _NO:
        words += "; the reserve does not last" if job.fails >= 0.9 else "; the reserve may not last"
    return words[0].upper() + words[1:]


def _limits(job):
    """Within what the year was worked out."""
    if job.limit == DEMAND:
        if job.full is None:
            return "at these orders"
        return f"at these prices{_held(job)}, however many orders come"
    return "within these hours" if job.limit == HANDS else f"while {full_words(job.limit)}"


def _held(job):
    """What beside the prices keeps more orders from a living: the hours given, or places to make in."""
    return {None: "", DEMAND: "", HANDS: " and hours"}.get(job.full, " with this equipment")


def full_words(name: str) -> str:
    """Hands, a station, a rack or a set of moulds that is full, as it is said.

    >>> full_words("hands"), full_words("pressure-pot"), full_words("moulds for knob")
    ('hands are full', 'the pressure pot is full', 'the moulds for knob are full')
    """
    what = name if name == HANDS else f"the {name.replace('-', ' ')}"
    return f"{what} {'are' if name == HANDS or name.startswith('moulds for ') else 'is'} full"


def years_below(share: float, fmt: Format) -> str:
    """How many years of ten fall below something, as a sentence begins.

    >>> fmt = Format("EUR", "en_IE")
    >>> [years_below(share, fmt) for share in (0.04, 0.05, 0.3, 0.95)]
    ['hardly any year falls', 'about 1 year in ten falls', 'about 3 years in ten fall', 'nearly every year falls']
    """
    if share < 0.05:
        return "no year falls" if fmt.certain else "hardly any year falls"
    if share >= 0.95:
        return "every year falls" if fmt.certain else "nearly every year falls"
    tenths = max(int(share * 10 + 0.5), 1)
    return f"about {tenths} year{'' if tenths == 1 else 's'} in ten fall{'s' if tenths == 1 else ''}"


def floor_words(job: Job, fmt: Format) -> str:
    """Years below the floor, unless it is the kit's own and the year is no living anyway; and the reserve where there is one."""
    floor = f"{fmt.money(job.floor, 0)}, half of {fmt.money(job.floor / FLOOR_SHARE, 0)}"
    floor = f"the floor of {fmt.money(job.floor, 0)}" if job.stated else floor
    luck = "" if job.luck or APART in verdict_words(job) else f"{APART}, "
    text = f"; {luck}{years_below(job.below, fmt)} below {floor}" if _tells_floor(job) else ""
    if job.fails is None:
        return text
    runs = (
        f"lasts (chance {fmt.chance(1.0 - job.fails)})"
        if job.fails <= SAFE
        else f"runs out with a chance of {fmt.chance(job.fails)}"
    )
    if fmt.certain:
        runs = "runs out" if job.fails else "lasts"
    return f"{text}; with {job.taken} taken out the reserve {runs}"


def _tells_floor(job):
    """Whether the floor says more than that the year is no living."""
    return job.stated or job.lives not in _NO


def living_from_words(job: Job, fmt: Format) -> str:
    """From how many orders a year at today's prices the year brings a living, or that no number does where the verdict has not said it."""
    if not np.isfinite(job.living_from):
        return f", which no number of orders brings at these prices{_held(job)}" if job.lives in _NO and job.side in _NO else ""
    count, luck = counted_orders(np.ceil(job.living_from - 1e-9), fmt), f", {APART}" if job.luck else ""
    return f", from about {count} a year on{luck}" if job.living_from > job.orders else f", and about {count} would do{luck}"


def job_line(kit: OpenStudy, answer: Answer, job: Job) -> str:
    """The verdict with what it rests on: the second line of the first page."""
    fmt, year = format_of(kit), answer.summary("residual_pay_per_year")
    hours = answer.summary("hours_per_year")["p50"] / float(kit.inputs().weeks_per_year)
    about, sure = ("", "") if kit.certain else ("about ", f" (chance {fmt.chance(job.year)})")
    come = f"{counted_orders(job.orders, fmt)} a year leave{'s' if job.orders == 1 else ''}"
    luck, verdict = "" if job.luck or _tells_floor(job) else f", {APART}", verdict_words(job)
    # the band is of every number at its middle: of a year that what is not known moves out of it, it says nothing
    band = by_luck_alone(kit)
    if band and band[0] <= year["p50"] <= band[1]:
        luck = " (by luck alone {} to {} in eight years of ten)".format(*(fmt.money(end, 0) for end in band))
    return (
        f"**{verdict}:** {come} {about}{fmt.money(year['p50'], 0)} for {fmt.number(hours, 1)} hours a week{luck}; "
        f"{job.living} is {fmt.money(answer.living, 0)}{sure}{living_from_words(job, fmt)}{floor_words(job, fmt)}."
    )


def counted_orders(count: float, fmt: Format) -> str:
    """So many orders, whole where they are many.

    >>> [counted_orders(count, Format("EUR", "en_IE")) for count in (1, 0.5, 6.25, 1062.4)]
    ['1 order', '0.5 orders', '6.3 orders', '1,062 orders']
    """
    whole = count >= 20 or count == round(count)
    return f"{fmt.number(count, 0 if whole else 1)} order{'' if count == 1 else 's'}"


def todo_words(job: Job, decision: Decision, fmt: Format) -> str:
    """Go on or not in a few words that say for what, no surer than the years drawn: the decision is about each hour and about many years."""
    word, mean = decision_word(decision), float(decision.benefit.mean())
    if word not in ("Go on.", "Go on, but watch it.", "Stop, or change something.", "Rather not as it is."):
        return word
    if mean > 0 and job.side in _NO:
        return "Rather not as it is: few good years carry the others."
    if mean > 0:
        on = "Go on with it on the side" if job.lives in _NO else "Go on"
        on += ", with more money to start with" if (job.fails or 0.0) > UNEASY else ""
        return f"{on}." if job.side == "yes" and word == "Go on." else f"{on}, but watch it."
    if job.lives in ("yes", "probably", "open"):
        return "Change something: it takes too many hours for what it brings."
    if job.side in ("yes", "probably"):
        return "Rather not as it is: a few bad years cost more than the others bring."
    if job.few:
        takes, luck = fmt.number(np.ceil(job.pays_from - 1e-9)), f", {APART}" if job.luck else ""
        if job.alone:
            return f"As a year's work it takes about {takes} such orders for an hour to pay{luck}."
        start = "Find more orders, or stop" if job.side == "no" else "Rather not at these orders"
        return f"{start}: an hour pays from about {takes} orders a year on{luck}."
    if job.alone and job.side in _NO:
        return "As a year's work no number of such orders makes an hour pay."
    return word if job.side in _NO else "Rather not as it is."


@shown(
    "living-job",
    "Is it a job? Three questions, each with its answer",
    "question: text; answer: text; chance: chance; because: text",
)
def job_table(kit: OpenStudy, answer: Answer, job: Job) -> pd.DataFrame:
    """The three answers, with the chance of each and what it rests on. [-]"""
    fmt, year = format_of(kit), answer.summary("residual_pay_per_year")["p50"]
    below = f"{years_below(job.below, fmt)} below {fmt.money(job.floor, 0)}"
    rows = [
        ("an hour pays", job.side, job.hour, f"{hour_words(kit, answer)}, target {fmt.money(answer.target)}"),
        (f"the year is {job.living}", job.lives, job.year, f"{fmt.money(year, 0)} a year of {fmt.money(answer.living, 0)}"),
        ("bad years stay above the floor", _safe(job.below), 1.0 - job.below, below),
    ]
    if job.fails is not None:
        rows.append(("the reserve lasts", _safe(job.fails), 1.0 - job.fails, f"with {job.taken} taken out"))
    return rows


def job_sentence(kit: OpenStudy, job: Job) -> str:
    """What each of the three answers means, and what chance is left out."""
    side = f"An hour **{certainty_word(job.hour)}** the target."
    floor = f"The floor is half of {job.living}, as the study states none (`floor` under [target])."
    floor = "The floor is the study's." if job.stated else floor
    if kit.certain:
        return f"**{verdict_words(job)}.** {side} {floor} Every number is stated as certain here, so no year is better or worse than another."
    scatter = {
        "rates": "**The luck of single orders is not in it** (`variation` under [study]): real years fall below more often.",
        "counts": "Orders come one by one in it; months are alike.",
        "months": "Orders come one by one and month by month in it.",
    }[kit.variation]
    return f"**{verdict_words(job)}.** {side} {floor} {scatter}"
