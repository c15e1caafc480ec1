"""An order afterwards: the plan as it was before its first row, what the logs say of it, and both in one form."""

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from math import nan

import numpy as np

from ..assumptions import assume
from ..evidence.equipment import owned
from ..faults import one_of, refusal
from ..kit import OpenStudy
from ..models.projects import in_digits, piece_by_division
from ..models.schedule import NEVER
from ..orders import Order, OrderPlan, Quoted, open_order, order_of, price_of
from ..orders.buying import buying_list
from ..orders.price import mould_cost
from ..orders.spec import rows_of
from ..study import STUDY_FILE
from .account import Account, Tool, causes_of
from .logged import MOULDS, ONE_OFF, ORDERS, WEEKLY, Logged, logged, study_before
from .materials import Item, Materials


@dataclass(frozen=True, kw_only=True)
class Project:
    """One order, planned and as it was."""

    kit: OpenStudy
    order: Order  # as it stands now
    log: Logged
    plan: OrderPlan  # as of its first day, without any of its rows

    @cached_property
    def quoted(self) -> Quoted:
        """Hours and money of the plan."""
        return price_of(self.plan)

    @property
    def wage(self) -> float:
        """What an hour should bring. [money/hour]"""
        return self.quoted.target

    @property
    def one_off_counts(self) -> bool:
        """Whether work done once only counts in what the order paid."""
        commission = self.kit.study.file.commissions.get(self.order.name)
        return commission is None or commission.one_off == "included"

    # ------------------------------------------------------------------ planned

    @cached_property
    def planned(self) -> Account:
        """The plan, on average over its draws."""
        plan, quoted, planner = self.plan, self.quoted, self.plan.planner
        steps, poured = list(planner.entry.steps), plan.poured[..., None]
        entering = dict(zip(steps, (plan.course.entering * poured).sum(axis=1).mean(axis=0).tolist(), strict=True))
        good = float((plan.course.good * poured).sum(axis=(1, 2)).mean())
        through = [*list(entering.values())[1:], good]
        by_step = dict(zip(steps, (plan.step_minutes.sum(axis=1).mean(axis=0) / 60).tolist(), strict=True))
        ways, lots = plan.loads.making, planner.lots(plan.loads, planner.draws) * plan.poured
        hours = by_step | {
            MOULDS: float(mould_cost(plan).hours),
            ORDERS: float(quoted.order_hours.mean()),
            WEEKLY: float(quoted.hidden_hours.mean()),
        }
        end = plan.course.finish_at(0.5)
        days = (plan.course.opened.date_of(end) - plan.order.start).days + 1.0 if end < NEVER else None
        year = {what: float(np.mean(value)) for what, value in planner.year.items()}
        gross, receipts = self._receipts(plan.order.price)
        account = Account(
            casts=plan.casts_in_loads,
            loads=float(plan.loads_in_all),
            lots=float(lots.sum(axis=1).mean()),
            pieces=good + plan.order.good,
            paid=float(plan.order.pieces),
            days=days,
            moulds=float(plan.moulds_to_make if ways is None else ways.total("moulds")),
            entering=entering,
            lost={step: max(here - after, 0.0) for (step, here), after in zip(entering.items(), through, strict=True)},
            hours={name: value for name, value in hours.items() if value > 0},
            gross=gross,
            receipts=receipts,
            year_overhead=year["overhead_per_year"],
            year_hours=year["make_hours_per_year"],
            year_weeks=float(np.mean(planner.inputs.weeks_per_year)),
            tools=self._tools(),
        )
        return replace(account, **self.materials.money(account))

    @property
    def _channel(self):
        return self.plan.planner.channel_in(self.plan.planner.point_inputs)

    def _receipts(self, price):
        """Price with postage charged, and what is left of it after fees, refunds, packing and postage, by the plan. [money]"""
        if price is None:
            return None, None
        channel = self._channel
        kept = price * float(self.quoted.kept_share.mean()) - float(self.quoted.fixed_fees.mean())
        if channel is None:
            return price, kept
        free = channel.order(0.0)
        return price + float(free["revenue"]), kept - float(free["packaging"] + free["postage"] - free["revenue"])

    def _tools(self):
        entries, planner = self.kit.study.file.equipment, self.plan.planner
        lives = {name: {"life_loads": entry.life_loads, "life_hours": entry.life_hours} for name, entry in entries.items()}
        return tuple(
            Tool(name=t.name, **lives[t.name], **{key: float(getattr(t, key)) for key in ("price", "resale", "life_years")})
            for t in planner.point_inputs.equipment
        )

    @cached_property
    def materials(self) -> Materials:
        """What it uses, by the plan and by the logs."""
        return Materials(plan=self.plan, log=self.log)

    @cached_property
    def items(self) -> list[Item]:
        """Every material and part: planned, used, bought."""
        return self.materials.items(self.planned, self._shape)

    # ------------------------------------------------------------------ actual

    @cached_property
    def _shape(self) -> Account | None:
        """Pieces, loads and days as they were, before hours and money; None where nothing is known of it."""
        log, planned, order = self.log, self.planned, self.order
        if log.nothing and not order.sold:
            return None
        pieces = float(max(log.good, order.good, order.sold))
        paid = sum(min(order.in_hand.get(name, 0), wanted) for name, wanted in order.items.items()) if order.good else pieces
        if order.sold:  # as the sale says, whatever a load was called
            paid = order.sold if order.finished else max(paid, order.sold)
        if log.entering is None:  # no load is counted: as many enter for a good one as planned
            scale = pieces / planned.pieces if planned.pieces else 0.0
            entering = {step: value * scale for step, value in planned.entering.items()}
            lost = {step: value * scale for step, value in planned.lost.items()}
            casts, loads, lots = planned.casts * scale, planned.loads * scale, planned.lots * scale
        else:
            entering, lost, casts, loads, lots = log.entering, log.lost, log.casts, float(log.loads), float(log.loads)
        made = self.materials.moulds_made
        return replace(
            planned,
            casts=casts,
            loads=loads,
            lots=lots,
            pieces=pieces,
            paid=float(min(paid, max(order.pieces, order.sold))),
            days=(log.ended - log.begun).days + 1.0 if log.begun else planned.days,
            moulds=planned.moulds if made is None else made,
            entering=entering,
            lost=lost,
        )

    @cached_property
    def logged_hours(self) -> dict[str, float]:
        """Hours by step and kind as logged; of moulds by their own log where the timesheet has none; steps first. [hour]"""
        hours, moulds = dict(self.log.hours), self.log.study.records.get("moulds")
        if MOULDS not in hours and moulds is not None and moulds.minutes.sum() > 0:
            hours[MOULDS] = float(moulds.minutes.sum()) / 60
        return hours

    @cached_property
    def not_logged(self) -> dict[str, float]:
        """Hours that the plan has and no log: at the plan's minutes for what was made. [hour]"""
        shape, planned = self._shape, self.planned
        if shape is None or (self.log.stated_total is not None and not self.logged_hours):
            return {}
        missing = {name: hours for name, hours in planned.hours.items() if name not in self.logged_hours}
        for step in missing.keys() & planned.entering.keys():
            missing[step] *= shape.entering[step] / planned.entering[step] if planned.entering[step] else 1.0
        return {name: missing[name] for name in planned.hours if name in missing and missing[name] > 0}

    @cached_property
    def all_hours(self) -> dict[str, float]:
        """Every hour of it by step and kind, the ones in no log as planned, work done once only in it. [hour]"""
        if self._shape is None:
            return {}
        if self.log.stated_total is not None and not self.logged_hours:  # a total alone: parted as the plan's hours are
            whole = self.planned.total_hours
            return {name: hours / whole * self.log.stated_total for name, hours in self.planned.hours.items()} if whole else {}
        return self.logged_hours | self.not_logged

    @cached_property
    def actual(self) -> Account | None:
        """What it was; None where nothing is known of it. Work done once only is in it as the commission says."""
        shape = self._shape
        if shape is None:
            return None
        gross, receipts = self._brought(shape)
        paid = {(row.item, row.unit): row.price for row in self.items if row.paid > 0}
        account = replace(
            shape,
            hours=self.all_hours,
            gross=gross,
            receipts=receipts,
            other=sum(self.bought_beside.values()),
            tools=self._tools_now,
            **self.materials.money(shape, paid),
        )
        hours = {name: hours for name, hours in account.hours.items() if name != ONE_OFF}
        return account if self.one_off_counts else replace(account, hours=hours)

    @cached_property
    def bought_beside(self) -> dict[str, float]:
        """Paid for what is no material, part or equipment of the study, by item. [money]"""
        bought = self.log.study.records.get("purchases")
        if bought is None:
            return {}
        known = {item for _, _, item, _ in self.materials.entries}
        known |= set(self.kit.study.file.overheads)  # of which a part of the year falls on it
        beside = bought[(bought.kind != "equipment") & ~bought["item"].isin(known)]
        return beside.groupby("item", sort=False).paid.sum().to_dict()

    @cached_property
    def _tools_now(self):
        """Equipment as bought for the order, by its name or nearly so, else as the study has it."""
        planned = {tool.name: tool for tool in self.planned.tools}
        tools = []
        for name, _, _, price, resale, life, _ in owned(self.log.study, self.log.ended or date.max, alike=True):
            same = planned.get(name, Tool(name=name, price=0.0, resale=0.0, life_years=None))
            years = same.life_years if life is None else life
            tools.append(replace(same, price=float(price), resale=float(resale), life_years=years))
        return tuple(tools)

    def _brought(self, shape):
        """What came in: by the sales that name the order, what no sale names yet at what is left of the price for what was made; else that
        price. [money]"""
        order, mine, owed = self.order, rows_of(self.kit.study, "sales", self.order.name), None
        if order.price is not None:
            missing = order.pieces - shape.paid
            owed = order.price * shape.paid / order.pieces
            owed -= (order.short_penalty + order.short_penalty_each * missing) if missing > 0 else 0.0
        if mine is not None:
            price = float(mine.price.sum())
            gross, kept = self._receipts(price)
            refunded = float(mine.refund.abs().sum())
            channel = self._channel
            if mine.fees.notna().any():
                planned = price * (1 - float(self.quoted.kept_share.mean())) + float(self.quoted.fixed_fees.mean())
                kept += planned - float(mine.fees.sum()) - refunded
            elif mine.refund.notna().any():  # the fees stay the plan's
                kept += (float(channel.order(price)["refunds"]) if channel else 0.0) - refunded
            for column, sign in (("postage_charged", 1), ("postage_paid", -1), ("packaging", -1)):
                if mine[column].notna().any():
                    usual = 0.0 if channel is None else float(getattr(channel, column))
                    kept += sign * (float(mine[column].sum()) - usual)
                    gross += float(mine[column].sum()) - usual if sign == 1 else 0.0
            left = max(owed - price, 0.0) if owed is not None and (order.to_post or not order.sold) else 0.0
            return gross + left, kept + left * float(self.quoted.kept_share.mean())
        return self._receipts(owed)

    # ------------------------------------------------------------------ both

    @cached_property
    def causes(self) -> dict[str, float] | None:
        """From planned to actual pay an hour by cause; None where either is not known. [money/hour]"""
        return None if self.actual is None else causes_of(self.planned, self.actual)

    @cached_property
    def cents(self) -> dict[str, float]:
        """Planned pay, the part of each cause, actual pay, in whole cents that add up; empty where they are not known. [money/hour]"""
        if self.causes is None:
            return {}
        ends = [round(account.pay(), 2) for account in (self.planned, self.actual)]
        return {"planned": ends[0], **in_digits(self.causes, ends[1] - ends[0], 2), "actual": ends[1]}

    @cached_property
    def outlay(self) -> float:
        """Paid out for the order: its purchases, else what it used and all of the equipment. [money]"""
        bought = self.log.study.records.get("purchases")
        account = self.actual or self.planned
        return float(bought.paid.sum()) if bought is not None else account.spent + account.equipment("at_once")

    def by_division(self, hours: float) -> float:
        """(Outlay + hours x wage) over the pieces delivered; nan where none were. [money/piece]"""
        paid = (self.actual or self.planned).paid
        return piece_by_division(max(self.outlay, 0.0), hours, self.wage, paid) if paid > 0 else nan

    @property
    def counted_hours(self) -> float:
        """Hours of the logs that count: work done once only as the commission says. [hour]"""
        return sum(hours for name, hours in self.logged_hours.items() if self.one_off_counts or name != ONE_OFF)

    @cached_property
    def planned_purchases(self) -> dict[str, tuple[float, float]]:
        """Amount to buy and its cost by item, by the plan; of a mix that is bought in parts the cost alone. [unit, money]"""
        found: dict[str, tuple[float, float]] = {}
        for row in buying_list(self.plan):
            item, parts, _ = row.item.partition(": ")
            found[item] = (nan if parts else row.bought, row.cost + found.get(item, (0.0, 0.0))[1])
        return found


def order_then(kit: OpenStudy, name: str, **asked) -> Order:
    """An order of the study file as it stands now; StudyError where there is none of the name, and as of `orders.order_of`."""
    known = kit.study.file.commissions
    if name not in known:
        right = one_of(name, known) if known else f"a [commissions.NAME] table in {STUDY_FILE}"
        raise refusal("NAME", "no order of the study file to look back on", right, found=repr(name or "no name"))
    return order_of(kit, name, today=known[name].due, **asked)


def project_of(kit: OpenStudy, name: str, **asked) -> Project:
    """An order of the study file afterwards; `asked` and errors as of `orders.open_order`."""
    order = order_then(kit, name, **asked)
    log = logged(kit.study, name, order.product, kit.study.file.commissions[name].start)
    first = log.first or order.start
    before = study_before(kit.study, name, first)
    earlier = OpenStudy(study=before, assumed=assume(before))
    then = {key: value for key, value in asked.items() if key not in ("start", "in_hand", "finished")}
    plan = open_order(earlier, name, today=min(log.begun or first, order.due), **then)
    return Project(kit=kit, order=order, log=log, plan=plan)
