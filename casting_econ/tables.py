"""One function a table: frames of raw numbers whose columns say their unit."""

import numpy as np
import pandas as pd
from scipy import special

from .analysis import Answer, Kit, LoadWait, basis_counts, grid, main_wait, swings
from .assumptions import label
from .evidence import channel_summary, orders_by_month, own_faults, scrap_table
from .models import hours_at_temperature, self_employed_target
from .models.studio import DEMAND
from .reference import wages
from .study.numbers import BASES
from .study.schema import MONTHS

__all__ = [
    "assumption_table",
    "channel_table",
    "cost_table",
    "evidence_curves",
    "evidence_table",
    "grid_table",
    "loads_needed",
    "money_steps",
    "monthly_orders",
    "pay_table",
    "price_place",
    "resource_table",
    "sales_summary",
    "scrap_curve",
    "scrap_money",
    "stair_table",
    "stair_treads",
    "swing_table",
    "temperature_table",
    "wage_table",
    "year_table",
    "yield_table",
]


def _shown(kit: Kit, key: str, number) -> tuple[str, float]:
    """Unit as shown, and the factor to it: prices by the kilogram, shares and counts by name."""
    unit = number.unit.format(money=kit.study.currency)
    if unit.endswith(("/g", "/gram")):
        return f"{kit.study.currency}/kg", 1000.0
    if key.endswith(".mould.life"):
        return "casts", 1.0
    share = key.rsplit(".", 1)[-1].endswith(("share", "loss", "recovered", "set_aside", "rate", "elasticity"))
    return unit or ("share" if share else "count"), 1.0


def assumption_table(kit: Kit) -> pd.DataFrame:
    """Every number in force: value, unit, what it rests on, why."""
    rows, groups = [], basis_counts(kit)
    for basis in (basis for basis in BASES if basis in groups):
        for key in groups[basis]:
            number = kit.assumed.numbers[key]
            unit, factor = _shown(kit, key, number)
            band = (None, None) if number.distribution is None else number.distribution.quantile(np.array([0.1, 0.9])) * factor
            row = {
                "number": label(key),
                "value": number.value * factor,
                "unit": unit,
                "low": band[0],
                "high": band[1],
                "rests on": basis,
            }
            rows.append(row | {"why": "; ".join(text for text in (number.note, number.source) if text), "key": key})
    return pd.DataFrame(rows)


def evidence_table(kit: Kit) -> pd.DataFrame:
    """Stated guess, what the logs say, and the number in force, side by side."""
    rows = []
    for key, found in kit.assumed.evidence.items():
        unit, factor = _shown(kit, key, found.number)
        low, high = found.number.distribution.quantile(np.array([0.1, 0.9])) * factor
        row = {
            "number": label(key),
            "unit": unit,
            "stated": kit.study.numbers[key].value * factor,
            "logs alone": found.observed * factor,
        }
        row |= {"in force": found.number.value * factor, "low": float(low), "high": float(high), "from": found.data}
        rows.append(row | {"to halve the width": _more(found)})
    return pd.DataFrame(rows)


def _more(found) -> str:
    """How much more recording would halve a width, in words."""
    if np.isinf(found.more_to_halve):
        return "rows with more or fewer pieces a load; more of the same tell only the sum"
    return f"{float(f'{found.more_to_halve:.2g}'):g} more {found.counted}"


def evidence_curves(kit: Kit, points: int = 161) -> list[dict[str, object]]:
    """Guess and number in force as densities, and what the logs alone say, one entry a number, in shown units."""
    scores = np.linspace(-3.2, 3.2, points)
    found = []
    for key, told in kit.assumed.evidence.items():
        unit, factor = _shown(kit, key, told.number)
        curves = {}
        for name, spread in (("guess", told.prior), ("in force", told.number.distribution)):
            values = np.asarray(spread.quantile(special.ndtr(scores)), float) * factor
            with np.errstate(divide="ignore"):
                curves[name] = (values, np.exp(-(scores**2) / 2) / np.gradient(values, scores))
        found.append({"label": label(key), "unit": unit, "logs alone": told.observed * factor, **curves})
    return found


def yield_table(kit: Kit) -> pd.DataFrame:
    """Pieces through each step of the logs, by product."""
    parts = {}
    for name in kit.study.file.products:
        table = scrap_table(kit.study, name)
        if table is not None:
            parts[name] = table.assign(**{"share lost": table.lost / table.entering})
    return pd.concat(parts, names=["product", "step"]).reset_index() if parts else pd.DataFrame()


def monthly_orders(kit: Kit) -> pd.DataFrame:
    """Orders by month and channel from the sales log. [order/month]"""
    frame = orders_by_month(kit.study)
    return frame.rename_axis("month").reset_index().assign(month=lambda f: f.month.astype(str)) if len(frame) else frame


def sales_summary(kit: Kit) -> pd.DataFrame:
    """What an order brought by channel, from the sales log. [money/order]"""
    frame = channel_summary(kit.study)
    return frame.rename_axis("channel").reset_index() if len(frame) else frame


def cost_table(kit: Kit, product: str) -> pd.DataFrame:
    """Cost of one good piece by kind, labour at the target. [money/piece]"""
    kinds = kit.point().products[product]["cost_by_kind"]
    frame = pd.DataFrame({"kind": list(kinds), "cost": [float(value) for value in kinds.values()]})
    return frame.assign(share=frame.cost / frame.cost.sum())


def scrap_money(kit: Kit, product: str) -> pd.DataFrame:
    """Pieces and money lost a year by step and cause; causes share their step's loss by their weights.

    Weights come from the faults log where it has this step, from the study file otherwise.
    """
    found, faults = kit.point().products[product], kit.study.records.get("faults")
    steps = {step.name: step for step in next(p for p in kit.inputs().products if p.name == product).steps}
    ours = None if faults is None else own_faults(kit.study, product, faults)
    rows = []
    for step in found["piece"].steps:
        if step.scrapped <= 0:
            continue
        weights = dict(steps[step.name].causes) or {"not said": 1.0}
        if faults is not None:
            mine = faults[(faults.step == step.name) & (faults.fate != "rework") & ours]
            weights = mine.groupby("cause").pieces.sum().to_dict() or weights
        for cause, weight in weights.items():
            pieces = found["made_per_year"] * step.scrapped * weight / sum(weights.values())
            each = step.spent_when_found - step.recovered
            rows.append(
                {
                    "found at": step.name,
                    "cause": cause,
                    "pieces a year": float(pieces),
                    "spent by then": float(step.spent_when_found),
                    "got back": float(step.recovered),
                    "money a year": float(pieces * each),
                }
            )
    frame = pd.DataFrame(rows, columns=["found at", "cause", "pieces a year", "spent by then", "got back", "money a year"])
    frame["rank by pieces"] = frame["pieces a year"].rank(ascending=False, method="min").astype(int)
    return frame.sort_values("money a year", ascending=False, ignore_index=True)


def scrap_curve(kit: Kit, product: str, rates) -> pd.DataFrame:
    """Cost, break-even prices and pay over scrap rates of one product."""
    outcome = grid(kit, rates, product=product)
    found = outcome.products[product]
    columns = {
        "scrap rate": np.asarray(rates),
        "casts a good piece": found["casts_per_good_piece"],
        "cost a good piece": found["cost_per_good_piece"],
        "scrap cost a good piece": found["scrap_cost_per_good_piece"],
        "break-even price": found["break_even_price"],
        "cash break-even price": found["cash_break_even_price"],
        "pay an hour": outcome.studio["pay_per_hour"],
        "break-even share of demand": outcome.studio["pay_break_even_share_of_demand"],
    }
    return pd.DataFrame({name: np.broadcast_to(value, np.shape(rates)) for name, value in columns.items()})


def resource_table(kit: Kit, answer: Answer) -> pd.DataFrame:
    """How much of each resource is in use, what full demand would need, and how often it limits."""
    point, limits = kit.point(), answer.bottleneck
    rows = [
        {
            "resource": name.replace("-", " "),
            "in use": float(point.use[name]),
            "needed at full demand": float(use),
            "limits in draws": limits[name],
        }
        for name, use in point.use_at_demand.items()
    ]
    rows.append({"resource": DEMAND, "in use": np.nan, "needed at full demand": np.nan, "limits in draws": limits[DEMAND]})
    return pd.DataFrame(rows)


def channel_table(kit: Kit) -> pd.DataFrame:
    """What each channel brings a year, and what is left for an hour before shared costs."""
    point, rows = kit.point(), []
    for name, channel in point.channels.items():
        product = point.products[channel["product"]]
        made = channel["pieces"] * product["made_per_year"] / product["sold_per_year"]
        material, hours = made * product["material_per_good_piece"], made * product["minutes_per_good_piece"] / 60.0
        hours = hours + channel["order_hours"] + channel["stall_hours"]
        left = channel["net"] - channel["stall_fees"] - material
        rows.append(
            {
                "channel": name,
                "orders a year": float(channel["orders"]),
                "pieces a year": float(channel["pieces"]),
                "sales a year": float(channel["revenue"]),
                "kept of sales": float(channel["net"] / channel["revenue"]),
                "left after material": float(left),
                "hours a year": float(hours),
                "left an hour": float(left / hours),
            }
        )
    return pd.DataFrame(rows)


def money_steps(kit: Kit) -> pd.DataFrame:
    """From sales down to what is left for the maker's hours. [money/year]"""
    studio = kit.point().studio
    kinds = ("fees", "postage", "packaging", "refunds", "stall_fees", "material", "freak_loss", "overhead", "equipment")
    rows = [{"step": "sales and postage charged", "money a year": studio["revenue_per_year"]}]
    rows += [
        {"step": kind.replace("_", " "), "money a year": -studio[f"{kind}_per_year"]}
        for kind in kinds
        if studio[f"{kind}_per_year"]
    ]
    rows.append({"step": "left for every hour", "money a year": studio["residual_pay_per_year"]})
    frame = pd.DataFrame(rows)
    frame["money a year"] = frame["money a year"].astype(float)
    return frame


def price_place(kit: Kit, product: str) -> pd.DataFrame:
    """Our price a piece among asking prices seen: quantiles and the share of asking prices below ours."""
    seen = kit.study.records.get("prices_seen")
    if seen is None:
        return pd.DataFrame()
    each, ours = seen.price / seen.pieces, float(kit.point().products[product]["mean_price_per_piece"])
    rows = {"all seen": each, "known to have sold": each[seen.sold == "yes"]}
    return pd.DataFrame(
        [
            {
                "asking prices": name,
                "seen": len(v),
                "1 in 4 below": v.quantile(0.25),
                "half below": v.median(),
                "1 in 4 above": v.quantile(0.75),
                "ours": ours,
                "below ours": float((v < ours).mean()),
            }
            for name, v in rows.items()
            if len(v)
        ]
    )


def wage_table(kit: Kit, answer: Answer) -> pd.DataFrame:
    """Chance that an hour, and a full year, reaches each published wage of the study's currency as a self-employed one."""
    a, target = kit.inputs(), kit.study.file.target
    rows = []
    for identifier, row in wages()[wages().currency == kit.study.currency].iterrows():
        needed = self_employed_target(
            row.amount, row.paid_hours_per_year, target.employer_share.value, a.weeks_per_year, target.full_week.value
        )
        hour = float((answer.draws["pay_per_hour"] >= needed).mean())
        living = needed * a.weeks_per_year * target.full_week.value
        year = float((answer.draws["residual_pay_per_year"] >= living).mean())
        rows.append(
            {
                "wage": identifier,
                "place": row.place,
                "kind": row.kind,
                "from": row.valid_from,
                "published": row.amount,
                "self-employed hour": float(needed),
                "hour reached": hour,
                "year reached": year,
                "source": row.source,
            }
        )
    return pd.DataFrame(rows)


def swing_table(kit: Kit) -> pd.DataFrame:
    """What each uncertain number alone does to pay an hour, largest first."""
    return pd.DataFrame(swings(kit), columns=["label", "low", "high", "pay_low", "pay_high", "swing", "key"])


def grid_table(kit: Kit, scrap, cure_hours, *, product: str) -> pd.DataFrame:
    """Pay an hour over scrap rates (rows) and cure hours (columns). [money/hour]"""
    waits = main_wait(kit, product)[0] is not None
    pay = grid(kit, scrap, cure_hours if waits else None, product=product).studio["pay_per_hour"]
    pay = np.broadcast_to(np.reshape(pay, (len(scrap), -1)), (len(scrap), len(cure_hours)))
    return pd.DataFrame(pay, index=pd.Index(scrap, name="scrap rate"), columns=pd.Index(cure_hours, name="cure hours"))


def _summary_rows(answer: Answer, quantities) -> pd.DataFrame:
    rows = []
    for quantity, name in quantities.items():
        found = answer.summary(quantity)
        row = {"quantity": name, "1 in 10 below": found["p10"], "half below": found["p50"], "1 in 10 above": found["p90"]}
        rows.append(row | {"mean": found["mean"], "error of mean": found["mean_error"]})
    return pd.DataFrame(rows)


def pay_table(answer: Answer) -> pd.DataFrame:
    """Pay an hour before and after what is set aside. [money/hour]"""
    return _summary_rows(answer, {"pay_per_hour": "pay an hour", "pay_per_hour_after_set_aside": "after set-aside"})


def year_table(answer: Answer, currency: str) -> pd.DataFrame:
    """The year's money, hours and pieces."""
    names = {
        "revenue_per_year": "sales and postage charged",
        "residual_pay_per_year": "left for the maker",
        "hours_per_year": "hours",
        "pieces_sold_per_year": "pieces sold",
        "casts_per_year": "casts",
        "loads_per_year": "loads",
    }
    frame = _summary_rows(answer, names)
    frame.insert(1, "unit", [f"{currency}/year"] * 2 + ["hour/year", "piece/year", "cast/year", "load/year"])
    return frame


def stair_table(kit: Kit, wait: LoadWait) -> pd.DataFrame:
    """Loads a week over cure hours, for what there is and one and two more. [load/week]"""
    hours = np.unique(np.append(np.linspace(0.0, 3.0 * wait.wait_hours, 241), wait.wait_hours))
    rates = {f"{n} in use": wait.loads(kit.study.windows, hours, n) for n in range(wait.count, wait.count + 3)}
    return pd.DataFrame({"cure hours": hours, **rates})


def temperature_table(kit: Kit, wait: LoadWait | None) -> pd.DataFrame:
    """Hours of a load's wait by month, and the loads a week they let through; empty where the study states no temperatures."""
    climate, columns = kit.study.file.temperature, ["month", "temperature", "hours", "loads a week"]
    stated_at = None if wait is None else kit.study.file.products[wait.product].steps[wait.step].wait_at
    if stated_at is None or not climate.months:
        return pd.DataFrame(columns=columns)
    hours = hours_at_temperature(wait.wait_hours, stated_at, np.array(climate.months), climate.factor)
    rates = wait.loads(kit.study.windows, hours)
    return pd.DataFrame(dict(zip(columns, ([m.capitalize() for m in MONTHS], climate.months, hours, rates), strict=True)))


def stair_treads(frame: pd.DataFrame) -> pd.DataFrame:
    """Rows of a stair table at which a rate changes, from a tenth of its longest cure on, at most twenty of them."""
    frame = frame[frame["cure hours"] >= 0.1 * frame["cure hours"].max()]
    rows = frame[(frame.drop(columns="cure hours").diff().fillna(1.0) != 0).any(axis=1)]
    return rows.iloc[np.unique(np.linspace(0, len(rows) - 1, min(len(rows), 20)).astype(int))]


def loads_needed(kit: Kit, wait: LoadWait) -> float:
    """Loads a week that expected demand asks of a load's wait. [load/week]"""
    rate = wait.loads(kit.study.windows)
    return float(kit.point().use_at_demand[wait.resource] * rate)
