"""What an accountant asks for at the end of a tax year: totals of the logs, equipment with its charge, and stock at cost."""

import datetime as dt
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pandas as pd
from babel.numbers import get_currency_precision

from ..evidence.equipment import doubt_of, owned
from ..evidence.labour import KINDS_OF_STEPS, by_day, kinds_of_steps
from ..evidence.materials import amount_in
from ..faults import counted
from ..kit import OpenStudy, open_study
from ..ledger import place_of
from ..ledger.logs import buyers_of, plain
from ..ledger.preview import runs
from ..models.costs import piece_cost
from ..models.money import straight_line
from ..running.folders import manifest, replace_folder, told_by, working_folder, write_manifest
from ..study import STUDY_FILE
from ..study.consistency import items_of, whole_of
from .sheets import Sheet, as_csv, as_xlsx
from .tax_years import Period, periods_of, tax_year_start

SALE_KINDS = ("sale", "replacement", "sample", "gift")
EXPENSES = ("material", "consumable", "overhead", "equipment")
_MONEY = "price postage_charged fees postage_paid packaging refund".split()  # of the sales log, in the sheet's order
KM_A_MILE = Decimal("1.609344")  # international mile of 1959, exact
CAUTION = "This is no tax advice. Which figures count, and when, is for a qualified adviser and your tax office to say."


class _Maker:
    """Sheets of one period of one study."""

    def __init__(self, kit: OpenStudy, period: Period) -> None:
        self.kit, self.study, self.period = kit, kit.study, period
        self.quantum = Decimal(1).scaleb(-get_currency_precision(kit.study.currency))
        self.how: list[str] = []  # how each total was made, in sentences
        self.summary: list[tuple] = []
        self.by_hand: dict[str, str] = {}  # why an item has no one cost

    def money(self, amount) -> Decimal:
        """An amount in whole cents; an exact sum is rounded once."""
        return _exact(amount).quantize(self.quantum, ROUND_HALF_UP) + 0

    def fine(self, amount) -> Decimal:
        """A cost each to a hundredth of a cent, and what is below ten cents, such as a gram, to a millionth of the unit."""
        return _fine(amount, self.quantum / (100 if _exact(amount) >= 10 * self.quantum else 10_000))

    def rows(self, log) -> pd.DataFrame | None:
        """Rows of a log in the period; what is outside is counted and named."""
        frame = self.study.records.get(log)
        if frame is None:
            self.how.append(f"{log}: the study has no such log, or no rows in it.")
            return None
        count, frame = len(frame), by_day(frame) if log == "timesheet" else frame
        inside = (frame.date >= pd.Timestamp(self.period.first)) & (frame.date < pd.Timestamp(self.period.after))
        line = f"{log}: {counted(count, 'row')} in the log, {frame[inside].index.nunique()} in this period"
        if not inside.all():
            outside = frame[~inside]
            days = f"{outside.date.min():%Y-%m-%d} to {outside.date.max():%Y-%m-%d}"
            line += f"; {counted(outside.index.nunique(), 'row')} outside it ({days}), not counted here: {self._places(log, outside.index)}"
        self.how.append(line + ".")
        for column in (name.removesuffix("_low") for name in frame if name.endswith("_low")):
            about = frame[inside & frame[f"{column}_low"].notna()]
            if len(about):
                places = self._places(log, about.index)
                self.how.append(f"{log}: {column} counts at the middle where the log has a range ({places}).")
        return frame[inside]

    def _places(self, log, index):
        """Rows as they are numbered in their files, runs of them shortened."""
        by_file: dict[str, list[int]] = {}
        for label in index:
            file, row = place_of(self.study.reading, log, label)
            by_file.setdefault(file, []).append(row)
        told = []
        for file, rows in by_file.items():
            rows = set(rows)  # a row of several days has parts
            shown = ", ".join(f"{first}–{last}" if last > first else f"{first}" for first, last in runs(rows))
            told.append(f"{file} row{'s' * (len(rows) > 1)} {shown}")
        return "; ".join(told)

    def grouped(self, sheet, frame, by=(), figures=None, totals=()):
        """Figures of each group of rows, of each kind of `totals` after its groups, and of all; no log is not zero."""
        if frame is None:
            self.summary.append((sheet.name, None, "no log", sheet.name))
            return sheet
        blank = [""] * (len(by) - 1)
        for kind in totals or (None,):
            mine = frame if kind is None else frame[frame[by[0]] == kind]
            sheet.rows.extend((*key, *figures(rows)) for key, rows in mine.groupby(by, observed=True))
            if kind is not None:
                sheet.rows.append((f"total {kind}", *blank, *figures(mine)))
        sheet.rows.append(("total", *blank, *figures(frame)))
        return sheet

    # one sheet each ---------------------------------------------------------------------------------------------------

    def sales(self) -> Sheet:
        money = "sales, postage charged, fees, postage paid, packaging, refunds, left after these"
        sheet, frame = _sheet(f"sales: channel, kind, orders, pieces, {money}"), self.rows("sales")
        if frame is None:
            return self.grouped(sheet, None)
        # nothing is no order
        frame = frame.assign(kind=pd.Categorical(frame.kind.fillna("sale"), SALE_KINDS)).dropna(subset="kind")
        for column, missing in frame[_MONEY].isna().sum().items():  # blank is never zero
            if missing:
                self.how.append(f"sales: {column} is not known in {counted(missing, 'row')} and not in the totals.")
        for kind in SALE_KINDS:
            mine = frame[frame.kind == kind]
            if len(mine) or kind == "sale":
                self.tell(f"{kind}: price of {counted(buyers_of(mine).sum(), 'order')}", self.money(_total(mine.price)), "sales")
        self.grouped(sheet, frame, ["channel", "kind"], self._sold)
        for name, amount in zip(sheet.header[5:-1], sheet.rows[-1][5:-1]):
            self.tell(name, amount, "sales")
        self.how += [
            "sales: the price as it stands in the log; refunds are what was paid back, whether written with a minus or without; "
            "a row that does not say its kind counts as a sale. Left after these = sales + postage charged - fees - postage paid - packaging - refunds.",
            "sales and expenses: postage, packaging and fees stand with the sales. Where the same bills are also in the purchases, count them once.",
        ]
        return sheet

    def _sold(self, frame):
        sums = [_total(frame[column]) for column in _MONEY]
        return (
            buyers_of(frame).sum(),
            int(frame.pieces.sum()),
            *map(self.money, sums),
            self.money(sums[0] + sums[1] - sum(sums[2:])),
        )

    def expenses(self) -> Sheet:
        sheet, frame = _sheet("expenses: kind, item, purchases, paid"), self.rows("purchases")
        self.grouped(sheet, frame, ["kind", "item"], lambda rows: (len(rows), self.money(_total(rows.paid))), EXPENSES)
        if frame is None:
            return sheet
        for kind, *_, paid in sheet.rows[:-1]:
            if kind.startswith("total "):
                self.tell(f"{kind.removeprefix('total ')}, as bought", paid, "expenses")
        for answer, words in (("no", "was paid without tax"), ("yes", "has tax in it")):
            mine = frame[frame.tax_included == answer]
            if len(mine):
                self.how.append(f"expenses: {self.money(_total(mine.paid))} of the total {words}, by the log.")
        self.how.append(
            "expenses: as bought and paid in the period, not as used up. Equipment is listed as bought; its charge for the period is on the sheet equipment: count one of the two."
        )
        return sheet

    def equipment(self) -> Sheet:
        money = "cost, resale, life in years, months charged, charge, left at the end"
        sheet = _sheet(f"equipment: item, from, bought, {money}, note")
        period, charges, apart = self.period, Decimal(0), []
        for item, source, bought, price, resale, life, note in owned(self.study, period.last):
            cost, worth = self.money(price), self.money(resale)
            if doubt := source == STUDY_FILE and doubt_of(self.study, item):
                apart.append((item, source, bought, cost, worth, None, None, None, None, f"not in the total: {doubt}"))
                continue
            if life is None:
                sheet.rows.append((item, source, bought, cost, worth, None, None, None, None, f"useful years not known{note}"))
                continue
            whole = period.month(period.after) - period.month(bought or period.first)
            before = period.month(period.first) - period.month(bought or period.first)
            start, end = (self.money(straight_line(price, resale, life, months / 12)) for months in (before, whole))
            months = max(min(whole, life * 12), 0) - max(min(before, life * 12), 0)
            if not bought:
                note += "; no day of purchase, so taken as in use all the period"
            left = cost - end if bought else None
            years, used = (_exact(round(figure, 2)).normalize() + 0 for figure in (life, months))
            sheet.rows.append((item, source, bought, cost, worth, years, used, end - start, left, note.removeprefix("; ")))
            charges += end - start
        total = charges.quantize(self.quantum)
        sheet.rows.append(("total", "", None, None, None, None, None, total, None, ""))
        self.tell("equipment: charge for the period, straight line", total, "equipment")
        sheet.rows.extend(apart)
        for item, _, _, cost, *_, note in apart:
            self.tell(f"equipment {item}, {note}", cost, "equipment")
        self.how.append(
            "equipment: (cost - resale) / life, by months in use, the month of purchase in them and months beginning on the day of the month on which the tax year starts; "
            "never more than cost less resale in all. What is in the purchases and, by the same name, in study.toml is counted once, as bought. "
            "What study.toml alone has counts where it states one price. A range or a guess was never paid and stands below the total until the purchases "
            "have it, or study.toml the price that was paid; so does what has nearly the name of a purchase and no day of its own. "
            "Tax offices may have their own rates and allowances in place of this."
        )
        return sheet

    def stock(self) -> Sheet:
        sheet = _sheet("stock: item, stage, quantity, unit, cost each, value at cost, own time each, note")
        frame, costs = self.rows("stock_count"), self._costs()
        self.how.append(
            "stock: each piece that has passed its stage at what was spent on it (material, consumables and moulds) with its share of what normally fails "
            "up to there, as normal waste stays in cost (IAS 2, from memory): all that was spent so far over the pieces that pass. Whole loads lost "
            "are not in it. Materials at the price used; what is priced for a piece, a load or a set of moulds stands as that. "
            "Your own time is shown beside it and is in no value: a sole trader's own hours are usually no cost of stock (common practice, no source). "
            "IAS 2 values stock at the lower of cost and net realisable value: what will sell for less than cost, or not at all, goes down to that. "
            "What is expected to fail later is not in it."
        )
        if frame is None or frame.empty:
            sheet.rows.extend(
                (*key, None, unit, cost, None, own, self.by_hand.get(plain(key[0]), ""))
                for key, (cost, own, unit, _) in costs.items()
            )
            self.how.append(f"stock: no count in this period. The sheet is to be filled in by hand on {self.period.last}.")
            self.summary.append(("stock at cost", None, "no count: fill in the sheet", "stock"))
            return sheet
        day = frame.date.max()
        now = frame[frame.date == day]
        if len(now) < len(frame):
            earlier = f"{counted(rows := len(frame) - len(now), 'row')} of earlier days {'is' if rows == 1 else 'are'} not"
            self.how.append(f"stock: only the last count, of {day:%Y-%m-%d}, is used; {earlier}.")
        if day.date() != self.period.last:
            ends = f"the period ends on {self.period.last}. Correct for what was made and sold between"
            self.how.append(f"stock: counted on {day:%Y-%m-%d}; {ends}.")
        total, found = Decimal(0), {(plain(item), plain(stage)): (stage, cost) for (item, stage), cost in costs.items()}
        for row in now.itertuples():
            name = plain(row.item)
            stage = row.stage or next((one for one in ("finished", "material") if (name, one) in found), "")
            stage, (cost, own, base, entry) = found.get((name, plain(stage)), (stage, (None, None, "", None)))
            amount = _in_base(row.quantity, row.unit, base, entry, self.study.currency)
            value, note = None, f"no fit for a price by the {base}: value by hand"
            if cost is None:
                note = self.by_hand.get(name, "not in study.toml: value by hand")
            elif amount is not None:  # a price by the gram as one by the kg, where kg were counted
                cost = self.fine(cost * _exact(amount) / _exact(row.quantity))
                value, note = self.money(_exact(row.quantity) * cost), ""
            sheet.rows.append((row.item, stage, _exact(row.quantity).normalize() + 0, row.unit or base, cost, value, own, note))
            total += value or 0
        blank = sum(row[5] is None for row in sheet.rows)
        note = f"without {counted(blank, 'row')}" if blank else ""
        sheet.rows.append(("total", "", None, "", None, self.money(total), None, note))
        self.tell(f"stock at cost, counted {day:%Y-%m-%d}", self.money(total), "stock")
        return sheet

    def _costs(self):
        """Cost each, own time each, unit and entry by item and stage; no cost where a material has several prices."""
        found, prices = {}, {}
        a, point = self.kit.inputs(), self.kit.point()
        for product in a.products:
            casts = point.products[product.name]["casts_per_year"]
            piece = piece_cost(product, a.target_per_hour, casts)
            stages = [(step.name, *carried) for step, carried in zip(piece.steps, piece.carried, strict=True)]
            for stage, minutes, money in [*stages, ("finished", piece.minutes, piece.material)]:
                own = minutes / 60 * a.target_per_hour
                found[product.name, stage] = (self.fine(money), self.fine(own), "piece", None)
        for key, _, step, item, entry in items_of(self.study.file):
            number, whole = self.kit.assumed.numbers[f"{key}.price"], whole_of(key, step, entry)
            base = number.unit.partition("/")[2] or f"{whole}'{'' if whole.endswith('s') else 's'} worth"
            cost, first = self.fine(number.value), found.get((item, "material"))
            if first is not None and first[2] == base and first[0] != cost:
                prices.setdefault(item, [first[0]]).append(cost)
            found.setdefault((item, "material"), (cost, None, base, entry))
        for item, several in prices.items():
            base, told = found[item, "material"][2], " and ".join(f"{price:f}" for price in dict.fromkeys(several))
            self.by_hand[plain(item)] = f"at {told} by the {base} in study.toml: value by hand, at what was paid"
            found[item, "material"] = (None, None, base, None)
        return found

    def hours(self) -> Sheet:
        sheet, frame = _sheet("hours: kind, step, rows, minutes, hours"), self.rows("timesheet")
        if frame is None:
            return self.grouped(sheet, None)
        frame = frame.assign(kind=frame.step.map(kinds_of_steps(self.study, frame.step.unique())))
        self.grouped(
            sheet,
            frame,
            ["kind", "step"],
            _summed("minutes", {1: "0.1", 60: "0.01"}),
            [kind for kind in KINDS_OF_STEPS if (frame.kind == kind).any()],
        )
        told = {kind.replace("total", "hours"): figure for kind, _, _, _, figure in sheet.rows if kind.startswith("total ")}
        self.summary += [(what, figure, "hour", "hours") for what, figure in (told | {"hours in all": sheet.rows[-1][4]}).items()]
        self.how.append(
            "hours: minutes of the timesheet; orders and stalls are selling, weekly tasks the hours no customer sees. No money is put on them here."
        )
        return sheet

    def mileage(self) -> Sheet:
        sheet, frame = _sheet("mileage: purpose, drives, km, miles"), self.rows("mileage")
        self.grouped(sheet, frame, ["purpose"], _summed("distance_km", {1: "0.1", KM_A_MILE: "0.1"}))
        if frame is not None:
            totals = zip(sheet.header[2:], sheet.rows[-1][2:])
            self.summary += [(f"distance in {unit}", distance, unit, "mileage") for unit, distance in totals]
            self.how.append("mileage: distances of the log; one mile is 1.609344 km. No rate a distance is put on them here.")
        return sheet

    def pay(self, sales, expenses, hours) -> None:
        """What the logs leave for each of the maker's own hours, where sales, purchases and hours all have rows in the period."""
        if any(len(sheet.rows) < 2 for sheet in (sales, expenses, hours)) or not hours.rows[-1][4]:
            self.how.append("left an hour: not worked out, as it takes sales, purchases and hours of the period.")
            return
        part = self.period.until(self.study.dates.max().date())
        totals = {row[0]: row for sheet in (expenses, _Maker(self.kit, part).equipment()) for row in sheet.rows}
        left = sales.rows[-1][-1] - sum(totals[f"total {kind}"][-1] for kind in EXPENSES[:3]) - totals["total"][7]
        self.tell("left for every hour, by the logs", left, "how")
        self.tell("left an hour, over the hours in all", self.money(left / hours.rows[-1][4]), "how")
        self.how.append(
            "left for every hour: what the sales leave, less material, consumables and overheads as bought, less what equipment was charged up to "
            f"{part.last}, where the period or the month of the last row ends; before tax and your own pay. Stock is not counted, nor what no log has."
        )

    def tell(self, what, amount, sheet):
        """A line of the summary, in money."""
        self.summary.append((what, amount, self.study.currency, sheet))


def _sheet(text):
    name, _, columns = text.partition(": ")
    return Sheet(name=name, header=columns.split(", "))


def _exact(amount):
    """The decimal figure that was written, not its nearest binary."""
    return amount if isinstance(amount, Decimal) else Decimal(repr(float(amount)))


def _total(column) -> Decimal:
    return sum((_exact(cell) for cell in column.dropna()), Decimal(0))


def _fine(amount, quantum):
    return _exact(amount).quantize(quantum, ROUND_HALF_UP)


def _in_base(quantity, unit, base, entry, currency):
    """A counted quantity in the unit that has a price; None where it does not fit."""
    if not unit or plain(unit) == plain(base) or (base.startswith("piece") and plain(unit) in ("piece", "pieces")):
        return quantity
    amount = amount_in(quantity, unit, base, entry, currency) if entry is not None and not base.endswith("worth") else None
    return amount if amount == amount else None


def _summed(column, units):
    """Rows, and the sum of a column in each of some units: how much of it one is, and how finely it is told."""
    return lambda rows: (len(rows), *(_fine(_total(rows[column]) / one, Decimal(fine)) for one, fine in units.items()))


def year_end_sheets(kit: OpenStudy, period: Period) -> list[Sheet]:
    """Every sheet of one period: a summary first, how each total was made last.

    Amounts are in whole cents of the study's currency [money]; totals are the exact sum of the logs, rounded once.
    """
    maker, table = _Maker(kit, period), kit.study.file.study
    sheets = [maker.sales(), maker.expenses(), maker.equipment(), maker.stock(), maker.hours(), maker.mileage()]
    maker.pay(sheets[0], sheets[1], sheets[4])
    top = [f"{table.name}, {period.first} to {period.last}"]
    top += ["Invented: no workshop, order or price in it is real."] if table.invented else []
    top += [CAUTION] if kit.study.records else [CAUTION, "There are no logs: nothing here but the equipment of study.toml."]
    how = [
        CAUTION,
        f"The tax year starts on {period.starts} (month-day): {tax_year_start(kit.study)[1]}.",
        f"Amounts are in {kit.study.currency}; each total is summed exactly from the logs and rounded once, so rounded lines may miss it by a cent where the log has fractions of one. "
        "The workbook and the text files hold the same figures; text files have decimal points, and an apostrophe before a text that a spreadsheet could take for a formula.",
        *maker.how,
    ]
    if aside := sum(len(file.set_aside) for file in kit.study.reading.files):
        rows, verb = counted(aside, "row"), "is" if aside == 1 else "are"
        how.append(f"{rows} of the files {verb} no event and in no total; casting-econ check --full names each.")
    summary = Sheet(
        name="summary", header=["what", "amount", "unit", "sheet"], rows=[*((line, None, "", "") for line in top), *maker.summary]
    )
    return [summary, *sheets, Sheet(name="how", header=["how each total was made"], rows=[(line,) for line in how])]


def run_year_end(
    folder: Path | str, *, today: dt.date, out: Path | str | None = None, say: Callable[[str], None] = print, **asked
) -> Path:
    """Write the sheets of each tax year as a workbook `LABEL.xlsx` and as text files in `LABEL/`, with a manifest, into `out`.

    The study folder is never written to, except for `year-end/` when no `out` is given; what it has of other periods stays. `today` only
    counts where there are no logs; `asked` is `year`, or `first` and `last`, as `periods_of` takes them. StudyError for faults in the study or in
    what is asked for.
    """
    folder, kit = Path(folder), open_study(folder)
    periods = periods_of(kit.study, today=today, **asked)
    made = {period: year_end_sheets(kit, period) for period in periods}
    out = (Path(out) if out else folder / "year-end").resolve()
    part = working_folder(out, folder, " ".join(["year-end", *(period.label for period in periods)]))
    inner = part / "year-end"
    for period, sheets in made.items():
        (inner / period.label).mkdir(parents=True, exist_ok=True)
        (inner / f"{period.label}.xlsx").write_bytes(as_xlsx(sheets, period.last))
        for sheet in sheets:
            (inner / period.label / f"{sheet.name}.csv").write_bytes(as_csv(sheet))
        say(f"{period.label} ({period.first} to {period.last}):")
        for what, amount, unit, _ in sheets[0].rows:
            if unit:
                say(f"  {what}: {unit if amount is None else f'{amount:,} {unit}'}")
    labels = {period.label for period in periods}
    before = {name: own for name, own in told_by(out).get("files", {}).items() if (out / name).is_file()}
    others = {name: own for name, own in before.items() if name.split("/")[0].removesuffix(".xlsx") not in labels}
    for label in sorted({name.split("/")[0].removesuffix(".xlsx") for name in others}):
        say(f"{label} stays as it was made before.")
    told = {"year_end": [[str(period.first), str(period.last)] for period in periods], "files": others}
    write_manifest(inner, manifest(kit, folder) | told)
    replace_folder(inner, out, part, say)
    return out
