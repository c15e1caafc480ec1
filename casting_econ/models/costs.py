"""What a piece has cost by each step, what scrap costs, and what a good piece must carry."""

from dataclasses import dataclass, replace
from functools import cached_property

from .checks import checked, checked_share
from .labour import practised_minutes
from .moulds import expected_casts
from .workshop import Product, Step
from .yields import entering_per_good, rolled_yield, scrapped_per_good, surviving_share


@dataclass(frozen=True, kw_only=True)
class StepCost:
    """One step seen from the pieces that enter it."""

    name: str
    entering: object  # for one good piece at the end [piece/piece]
    scrapped: object  # here, for one good piece at the end [piece/piece]
    minutes: object  # hands-on, for a piece entering, load and rework in it [min/piece]
    material: object  # for a piece entering [money/piece]
    consumables: object  # for a piece entering [money/piece]
    # on a piece scrapped here: all since the mould, and its place in later loads, left empty [money/piece]
    spent_when_found: object
    recovered: object  # got back from a piece scrapped here [money/piece]

    @cached_property
    def scrap_cost(self):
        """Cost of scrap found here, for one good piece at the end. [money/piece]"""
        return self.scrapped * (self.spent_when_found - self.recovered)

    @cached_property
    def minutes_per_good(self):
        """Hands-on minutes at this step for one good piece at the end. [min/piece]"""
        return self.entering * self.minutes


@dataclass(frozen=True, kw_only=True)
class PieceCost:
    """What one good piece takes, before overhead, equipment and selling."""

    good_share: object  # yield over all steps [-]
    steps: tuple[StepCost, ...]
    mould_minutes: object  # mould making, for one good piece [min/piece]
    mould_material: object  # [money/piece]
    parts: object  # for each good piece, after the last check [money/piece]
    recovered: object  # from scrap, for one good piece [money/piece]

    @cached_property
    def casts(self):
        """Casts for one good piece. [cast/piece]"""
        return 1.0 / self.good_share

    @cached_property
    def minutes(self):
        """Hands-on minutes for one good piece, mould making in it. [min/piece]"""
        return sum((step.minutes_per_good for step in self.steps), self.mould_minutes)

    @cached_property
    def material(self):
        """Material, consumables, parts and moulds for one good piece, less what scrap gives back. [money/piece]"""
        used = sum(step.entering * (step.material + step.consumables) for step in self.steps)
        return used + self.mould_material + self.parts - self.recovered

    @cached_property
    def carried(self):
        """What a piece that has passed each check carries: its minutes and its material, consumables and moulds with its share of what failed
        up to there, less what that gave back; the last, parts added, is a good piece. [min/piece, money/piece]"""
        minutes, money, found = self.mould_minutes, self.mould_material, []
        for step in self.steps:
            minutes = minutes + step.minutes_per_good
            money = money + step.entering * (step.material + step.consumables) - step.scrapped * step.recovered
            passed = step.entering - step.scrapped
            found.append((minutes / passed, money / passed))
        return tuple(found)

    @cached_property
    def scrap_cost(self):
        """What scrap costs each good piece, labour at the target in it. [money/piece]"""
        return sum(step.scrap_cost for step in self.steps)


def material_cost(cost, loss_share=0.0):
    """Cost of what has to be opened for what ends in the piece, cost / (1 - loss share). [money/piece]

    `cost` is of what ends in the piece [money/piece], `loss_share` the share of what is opened that stays in cups, drips and
    lids [-]; ValueError for a cost below zero or a share outside [0, 0.99].

    >>> material_cost(0.90, loss_share=0.10)
    1.0
    """
    return checked("material cost", cost, low=0.0) / (1.0 - checked_share("loss share", loss_share, high=0.99))


def piece_cost(product: Product, target_per_hour, casts_per_year=None):
    """Follow one product through its routing, to the `PieceCost` of a good piece.

    Its numbers may be arrays; `target_per_hour` is what an hour of the maker's time is taken to cost [money/hour]. Learning is averaged
    over the `casts_per_year`, which only steps that learn need [cast/year]. ValueError if an input is outside its range.

    A scrapped piece costs all that was spent on it up to the step that rejects it, the view of ISO 14051:2011; mould making is spent
    with the first step. Load minutes fall on the pieces that are still in the load. A piece scrapped before a load that is as large as
    what is left leaves its place in it empty, and bears the cost of that place; so the cost of scrap is what a good piece would cost
    less if every check passed, learning apart.

    >>> from casting_econ.models import Product, Step
    >>> steps = (Step(name="pour", minutes=6.0, pass_share=0.5), Step(name="sand", minutes=3.0))
    >>> cost = piece_cost(Product(name="knob", casts_per_load=10, steps=steps), target_per_hour=10.0)
    >>> cost.minutes, cost.scrap_cost
    (15.0, 1.0)
    """
    shares = [step.pass_share for step in product.steps]
    good_share = rolled_yield(shares)
    wage = checked("target pay", target_per_hour, low=0.0) / 60.0
    mould_minutes, mould_material = mould_per_cast(product)
    spent, recovered, recovered_per_good, steps = mould_minutes * wage + mould_material, 0.0, 0.0, []
    places = []  # what a place costs in the loads of each step that later scrap cannot fill again
    flow = (entering_per_good(shares), scrapped_per_good(shares), surviving_share(shares))
    for step, entering, scrapped, surviving in zip(product.steps, *flow, strict=True):
        load_size = product.casts_per_load * surviving if step.load_size is None else step.load_size
        load_size = checked(f"load size of {step.name}", load_size, above=0.0)
        full = product.casts_per_load if step.load_size is None else step.load_size
        again = checked_share(f"rework share of {step.name}", step.rework_share)
        pieces = None if casts_per_year is None else casts_per_year * entering * good_share
        hands = hands_on_minutes(step, product.made_before, pieces)
        a_load = checked(f"load minutes of {step.name}", product.turn_minutes(step), low=0.0)
        minutes, load_cost = hands + a_load / load_size, a_load * wage
        by_kind = {"material": 0.0, "consumable": 0.0}
        for item in step.materials:
            cost = material_cost(item.cost, item.loss_share) * (1.0 + again if item.per == "piece" else 1.0)
            if item.per == "lot":
                cost = cost * product.lots_per_load
            if item.per != "piece":
                load_cost, cost = load_cost + cost, cost / load_size
            by_kind[item.kind] = by_kind[item.kind] + cost
            # what stayed in the cup is not in the piece that is scrapped, so it does not come back
            recovered = recovered + cost * (1.0 - item.loss_share) * checked_share("recovered share", item.recovered_share)
        place = load_cost / full
        spent = spent + minutes * wage + by_kind["material"] + by_kind["consumable"] - load_cost / load_size + place
        places.append(place if step.load_size is None else 0.0)
        recovered_per_good = recovered_per_good + scrapped * recovered
        steps.append(
            StepCost(
                name=step.name,
                entering=entering,
                scrapped=scrapped,
                minutes=minutes,
                material=by_kind["material"],
                consumables=by_kind["consumable"],
                spent_when_found=spent,
                recovered=recovered,
            )
        )
    emptied = 0.0
    for index in reversed(range(len(steps))):
        steps[index] = replace(steps[index], spent_when_found=steps[index].spent_when_found + emptied)
        emptied = emptied + places[index]
    return PieceCost(
        good_share=good_share,
        steps=tuple(steps),
        mould_minutes=mould_minutes / good_share,
        mould_material=mould_material / good_share,
        parts=sum(material_cost(item.cost, item.loss_share) for item in product.parts),
        recovered=recovered_per_good,
    )


def hands_on_minutes(step: Step, made_before=0.0, pieces=None):
    """Hands-on minutes for a piece entering a step, rework in them, its part of a load apart. [min/piece]

    A step that learns is averaged over the `pieces` that enter it, after those `made_before` [piece]. ValueError if an input
    is outside its range, or such a step has no pieces.

    >>> from casting_econ.models import Step
    >>> hands_on_minutes(Step(name="sand", minutes=3.0, rework_share=0.1, rework_minutes=5.0))
    3.5
    """
    minutes = checked(f"minutes of {step.name}", step.minutes, low=0.0)
    if step.first_minutes is not None:
        if pieces is None:
            raise ValueError(f"casts per year must be given where a step learns; got none for {step.name!r}")
        minutes = practised_minutes(minutes, step.first_minutes, step.learning_rate, made_before, pieces)
    rework = minutes if step.rework_minutes is None else step.rework_minutes
    again = checked_share(f"rework share of {step.name}", step.rework_share)
    return minutes + again * checked(f"rework minutes of {step.name}", rework, low=0.0)


def casts_of_moulds(product: Product):
    """Casts that a set of moulds gives until it is replaced, on average; a cast bears its part of their cost. [cast]"""
    return product.largest_load * expected_casts(product.mould.life_casts, product.mould.life_shape, product.mould.replace_at)


def mould_per_cast(product):
    """Minutes and material of mould making for one cast, none without a mould; ValueError below zero. [min/cast, money/cast]"""
    mould = product.mould
    if mould is None:
        return 0.0, 0.0
    casts, minutes = casts_of_moulds(product), checked("mould minutes", mould.minutes, low=0.0)
    return minutes / casts, checked("mould cost", mould.material_cost, low=0.0) / casts
