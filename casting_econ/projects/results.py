"""The numbers of a project, for `project.json`; hours, money and pieces in the units of the tables."""

from .account import BASES, DIGITS, Account
from .lessons import Lessons
from .project import casts_of


def project_results(lessons: Lessons) -> dict:
    """Everything project.json holds; None stands for what is not known."""
    project = lessons.project
    order, log, actual, causes = project.order, project.log, project.actual, project.causes
    hours, stated, (plan, quoted) = project.counted_hours, log.stated_total, lessons.again
    if causes is not None:
        causes = causes | {"total": round(actual.pay(), DIGITS) - round(project.planned.pay(), DIGITS)}
    return {
        "order": _of(order, "name product pieces complete")
        | {
            "finished": project.finished,
            "plan_start": project.plan.order.start,
            "first_day": log.begun,
            "last_day": log.ended,
            "one_off": "included" if project.one_off_counts else "left out",
        },
        "planned": _account(project.planned, project.wage),
        "actual": None if actual is None else _account(actual, project.wage),
        "bridge": causes,
        "pay_per_hour": {basis: None if actual is None else actual.pay(basis) for basis in BASES},
        "hours": project.logged_hours | ({} if stated is None else {"stated_total": stated}),
        "hours_not_logged": project.not_logged,
        "materials": {row.item: _of(row, "unit planned used bought paid") for row in project.items},
        "against_wage": {
            "wage": project.wage,
            "outlay": project.outlay,
            "hours": hours,
            "per_piece": project.by_division(hours) if hours else None,
            "per_piece_with_stated_total": None if stated is None else project.by_division(stated),
        },
        "lessons": {row.key: _of(row, "unit old measured new") for row in lessons.rows},
        "again": {
            "casts": casts_of(plan),
            "hours": float(quoted.hours.mean()),
            "full_cost": quoted.full_cost,
            "start": plan.order.start,
            "honest_arrival": plan.arrives,
        },
    }


def _of(thing, names):
    """Some properties of a thing, by name."""
    return {name: getattr(thing, name) for name in names.split()}


def _account(account: Account, wage: float) -> dict:
    pay = account.pay()
    return _of(account, "pieces casts loads moulds days entering lost hours total_hours spent") | {
        "delivered": account.paid,
        "minutes_per_piece": {step: account.minutes_each(step) for step in account.entering},
        "lost_money": account.lost_money(wage),
        "price": account.gross,
        "received": account.receipts,
        "overheads": account.overhead,
        "equipment": {basis: account.equipment(basis) for basis in BASES},
        "pay_per_hour": None if pay is None else round(pay, DIGITS),
    }
