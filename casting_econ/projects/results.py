"""The numbers of a project, for `project.json`; hours, money and pieces in the units of the tables."""

from .account import BASES, DIGITS, Account
from .lessons import Lessons
from .project import casts_of


def project_results(lessons: Lessons) -> dict:
    """Everything project.json holds; None stands for what is not known."""
    project = lessons.project
    order, log, actual = project.order, project.log, project.actual
    causes, logged = project.causes, dict(project.logged_hours)
    counted, stated = project.counted_hours, log.stated_total
    plan, quoted = lessons.again
    return {
        "order": {
            "name": order.name,
            "product": order.product,
            "pieces": order.pieces,
            "complete": order.complete,
            "finished": project.finished,
            "plan_start": project.plan.order.start.isoformat(),
            "first_day": log.begun.isoformat() if log.begun else None,
            "last_day": log.ended.isoformat() if log.ended else None,
            "one_off": "included" if project.one_off_counts else "left out",
        },
        "planned": _account(project.planned, project.wage),
        "actual": None if actual is None else _account(actual, project.wage),
        "bridge": None
        if causes is None
        else causes | {"total": round(actual.pay(), DIGITS) - round(project.planned.pay(), DIGITS)},
        "pay_per_hour": {basis: None if actual is None else actual.pay(basis) for basis in BASES},
        "hours": logged | ({} if stated is None else {"stated_total": stated}),
        "hours_not_logged": project.not_logged,
        "materials": {
            row.item: {key: getattr(row, key) for key in ("unit", "planned", "used", "bought", "paid")} for row in project.items
        },
        "against_wage": {
            "wage": project.wage,
            "outlay": project.outlay,
            "hours": counted,
            "per_piece": project.by_division(counted) if counted else None,
            "per_piece_with_stated_total": None if stated is None else project.by_division(stated),
        },
        "lessons": {row.key: {key: getattr(row, key) for key in ("unit", "old", "measured", "new")} for row in lessons.rows},
        "again": {
            "casts": casts_of(plan),
            "hours": float(quoted.hours.mean()),
            "full_cost": quoted.full_cost,
            "start": plan.order.start.isoformat(),
            "honest_arrival": plan.arrives and plan.arrives.isoformat(),
        },
    }


def _account(account: Account, wage: float) -> dict:
    pay = account.pay()
    return {
        "pieces": account.pieces,
        "delivered": account.paid,
        "casts": account.casts,
        "loads": account.loads,
        "moulds": account.moulds,
        "days": account.days,
        "entering": account.entering,
        "minutes_per_piece": {step: account.minutes_each(step) for step in account.entering},
        "lost": account.lost,
        "lost_money": account.lost_money(wage),
        "hours": account.hours,
        "total_hours": account.total_hours,
        "price": account.gross,
        "received": account.receipts,
        "spent": account.spent,
        "overheads": account.overhead,
        "equipment": {basis: account.equipment(basis) for basis in BASES},
        "pay_per_hour": None if pay is None else round(pay, DIGITS),
    }
