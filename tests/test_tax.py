"""Tax by band tables, the reference data, the study's key, and a living wage on several bases."""

import datetime as dt
import shutil
from dataclasses import replace

import numpy as np
import pytest
from commands import DATA
from hypothesis import given, settings
from hypothesis import strategies as st

from casting_econ.faults import StudyError
from casting_econ.kit import Answer, open_study
from casting_econ.models.tax import TaxPart, TaxScheme, by_bands, charges, take_home
from casting_econ.pages.living import (
    bases_sentence,
    bases_table,
    pay_bases,
    scheme_of,
    set_aside_sentence,
    target_lines,
    tax_sentence,
    tax_table,
)
from casting_econ.pages.monte_carlo import target_sentence, year_sentence
from casting_econ.reference import over_a_year_old, taxes, wages, wages_on
from casting_econ.study import read_study

KNOBS, FIGURES, SOAP = "kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather"
DRAWS = 1600  # sixteen sets of a hundred
SCHEMES = sorted(taxes())


def price_floors(scheme):
    """Profits at which something falls due at once, as the scheme states it."""
    return [part.floor / part.share for part in scheme.parts if part.floor]


# ---- models ----


def test_bands_by_hand():
    """Nothing to 100, a tenth to 300, a half above: 0, 0, 5, 20, 120."""
    bands = ((100, 0.1), (300, 0.5))

    assert by_bands([0, 100, 150, 300, 500], bands).tolist() == pytest.approx([0, 0, 5, 20, 120])
    assert by_bands(150, bands) == pytest.approx(5.0)


def scheme(*parts):
    """An invented place with these parts."""
    return TaxScheme(name="invented", place="nowhere", year="2025", currency="EUR", parts=parts)


def test_parts_by_hand():
    """Each switch of a part alone, on 1,000: share, allowance, shrinking allowance, credit, floor, least, deduction."""
    ten = {"name": "a", "kind": "tax", "bands": ((0, 0.1),)}

    def due(profit=1000, **changes):
        return float(charges(profit, scheme(TaxPart(**ten | changes)))["a"])

    assert due() == pytest.approx(100.0)
    assert due(share=0.5) == pytest.approx(50.0)
    assert due(allowance=400) == pytest.approx(60.0) and due(allowance=2000) == 0.0
    assert due(allowance=400, tapers_from=800, taper=0.5) == pytest.approx(70.0)  # allowance 300
    assert due(allowance=400, tapers_from=0, taper=0.5) == pytest.approx(100.0)  # nothing left of it
    assert due(credit=30) == pytest.approx(70.0) and due(credit=130) == 0.0
    assert due(floor=1000) == pytest.approx(100.0) and due(profit=999.99, floor=1000) == 0.0
    assert due(least=150) == pytest.approx(150.0) and due(profit=0, least=150) == 0.0
    assert due(profit=-500) == 0.0


def test_deduction_lowers_taxes_and_no_contributions():
    """Half of a contribution of 200 comes off what the tax counts: 10 % of 900; the second contribution counts all."""
    first = TaxPart(name="first", kind="contribution", bands=((0, 0.2),), deductible=0.5)
    second = TaxPart(name="second", kind="contribution", bands=((0, 0.1),))
    tax = TaxPart(name="tax", kind="tax", bands=((0, 0.1),))
    due = charges(1000, scheme(first, second, tax))

    assert {name: float(amount) for name, amount in due.items()} == pytest.approx({"first": 200, "second": 100, "tax": 90})
    assert take_home(1000, scheme(first, second, tax)) == pytest.approx(610.0)
    assert take_home(1000, scheme(first, second, tax), kinds=("contribution",)) == pytest.approx(700.0)


@pytest.mark.parametrize("name", SCHEMES)
def test_many_profits_are_taxed_as_one(name):
    """Vector equals scalar, integers equal floats, any shape."""
    profits = np.array([[-500, 0, 399], [12_570, 35_000, 250_000]])
    many = take_home(profits, taxes()[name])

    assert many.shape == (2, 3)
    for at in np.ndindex(2, 3):
        assert many[at] == take_home(float(profits[at]), taxes()[name])


def test_loss_is_left_as_it_is():
    """A loss owes nothing anywhere."""
    assert [float(take_home(-1234.5, taxes()[name])) for name in SCHEMES] == [-1234.5] * len(SCHEMES)


@pytest.mark.parametrize("name", SCHEMES)
@given(profit=st.floats(0, 900_000), more=st.floats(0.01, 5_000))
@settings(max_examples=60, deadline=None)
def test_tax_is_continuous_and_never_falls(name, profit, more):
    """Section 14: no part falls as profit rises, nor by more than the profit but at a stated floor; take-home within the profit."""
    scheme_, jump = taxes()[name], any(profit < floor <= profit + more for floor in price_floors(taxes()[name]))
    low, high = (charges(p, scheme_) for p in (profit, profit + more))
    rise = sum(high.values()) - sum(low.values())

    assert all(high[part] >= low[part] - 1e-9 for part in low)
    assert jump or rise <= 0.7 * more + 1e-6
    assert 0 <= take_home(profit, scheme_) <= profit


@pytest.mark.parametrize("name", SCHEMES)
def test_no_part_jumps_inside_its_bands(name):
    """Either side of every stated limit that is no floor, a penny changes the whole by less than a penny."""
    scheme_ = taxes()[name]
    limits = [start / part.share + extra for part in scheme_.parts for start, _ in part.bands for extra in (0, part.allowance)]
    limits += [part.tapers_from for part in scheme_.parts if np.isfinite(part.tapers_from)]
    for limit in limits:
        if limit > 0 and min((abs(limit - floor) for floor in price_floors(scheme_)), default=1) > 0.1:
            below, above = (take_home(limit + step, scheme_) for step in (-0.005, 0.005))

            assert 0 <= above - below <= 0.010001, limit


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"bands": ()}, "bands of 'a' must rise"),
        ({"bands": ((10, 0.1), (5, 0.2))}, "must rise from zero"),
        ({"bands": ((-1, 0.1),)}, "must rise from zero"),
        ({"bands": ((0, 1.0),)}, r"with shares in \[0, 1\)"),
        ({"kind": "levy"}, "kind of 'a' must be 'contribution' or 'tax'; got 'levy'"),
    ],
)
def test_wrong_part_is_refused(changes, said):
    """A table that could fall, or take all, is no table."""
    with pytest.raises(ValueError, match=said):
        TaxPart(**{"name": "a", "kind": "tax", "bands": ((0, 0.1),)} | changes)


def test_profit_must_be_finite():
    """Not-a-number is refused by name, as is a base below zero."""
    with pytest.raises(ValueError, match="profit must be finite; got nan"):
        charges(np.nan, taxes()["uk-2025"])
    with pytest.raises(ValueError, match="base must be at least 0"):
        by_bands(-1, ((0, 0.1),))


# ---- reference data ----


@pytest.mark.parametrize("name", SCHEMES)
def test_every_rate_says_where_it_is_from(name):
    """Each part names its authority and whether it was seen; ids end in the year; names within a table differ."""
    scheme_ = taxes()[name]

    assert name.endswith(scheme_.year[:4]) and scheme_.note and scheme_.place and scheme_.currency.isupper()
    assert all(part.source and part.status in ("second-hand copy", "from memory") for part in scheme_.parts)
    assert len({part.name for part in scheme_.parts}) == len(scheme_.parts)


def test_wage_table_is_in_order():
    """Ids are unique, every row has source and status, days are days, and a rate ends before the next of its kind begins."""
    table = wages()

    assert table.index.is_unique and table[["source", "status", "place", "kind", "currency"]].notna().all(axis=None)
    assert (table.amount > 0).all()
    for _, rows in table[table.kind == "legal minimum"].groupby("place"):
        begins = [dt.date.fromisoformat(day) for day in rows.valid_from]
        ends = [dt.date.fromisoformat(day) for day in rows.valid_to.dropna()]
        assert [(begin - end).days for end, begin in zip(ends, begins[1:], strict=True)] == [1] * len(ends)


def test_wages_of_a_day_are_those_in_force():
    """The federal minimum of the United States was 5.85 from July 2007, and is 7.25 since July 2009 (Fair Labor Standards Act, from memory);
    with living wages of whole years the newest stays, as nobody knows the next one yet."""
    for day, amounts in ((dt.date(2008, 1, 1), [5.85]), (dt.date(2026, 11, 27), [7.25]), (None, [7.25])):
        table = wages_on(day)
        assert table.amount[table.currency == "USD"].tolist() == amounts
    assert wages_on(dt.date(2099, 1, 1)).index.equals(wages_on(None).index)
    assert "uk-living-wage-2025" in wages_on(None).index and "uk-living-wage-2024" not in wages_on(None).index


# ---- the study's key ----


def untaxed(demo):
    """A demo's study file without its tax table."""
    text = (DATA / demo / "study.toml").read_text(encoding="utf-8")
    return "".join(line for line in text.splitlines(keepends=True) if not line.startswith("tax = "))


@pytest.fixture
def taxed(tmp_path):
    """A demo as stated with a tax table, and other text replaced."""

    def make(demo, tax, *edits):
        text = untaxed(demo)
        for old, new in [*edits, *([("[target]", f'[target]\ntax = "{tax}"')] if tax else [])]:
            assert old in text
            text = text.replace(old, new)
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        return tmp_path

    return make


def test_tax_table_of_a_study(taxed):
    """The key names a table; without it there is none, and no number of the study is another."""
    with_, without = open_study(taxed(FIGURES, "uk-2025")), open_study(taxed(FIGURES, None))

    assert scheme_of(with_) is taxes()["uk-2025"] and scheme_of(without) is None
    assert with_.study.numbers == without.study.numbers and with_.point().totals == without.point().totals


@pytest.mark.parametrize(
    ("demo", "tax", "texts"),
    [
        (FIGURES, "uk-225", ["unknown tax table", "found 'uk-225'", "one of uk-2024, uk-2025", "did you mean 'uk-2025'?"]),
        (FIGURES, "us-2025", ["tax table in another currency", "found USD", "one of uk-2024, uk-2025"]),
        (KNOBS, "germany", ["unknown tax table", "one of ie-2025"]),
    ],
)
def test_faults_of_the_tax_key(taxed, demo, tax, texts):
    """An unknown table and one of another currency are told with their line."""
    folder = taxed(demo, tax)
    row = (folder / "study.toml").read_text(encoding="utf-8").splitlines().index(f'tax = "{tax}"') + 1

    with pytest.raises(StudyError) as caught:
        read_study(folder)

    [fault] = caught.value.faults
    assert (fault.column, fault.row) == ("target.tax", row)
    assert [text for text in texts if text not in str(fault)] == []


def test_currency_without_a_table_says_so(taxed):
    """A study in another currency learns that no table fits, rather than an empty list."""
    text = untaxed(FIGURES).replace("GBP", "SEK").replace("en_GB", "sv_SE")
    folder = taxed(FIGURES, None)
    (folder / "study.toml").write_text(text.replace("[target]", '[target]\ntax = "uk-2025"'), encoding="utf-8")

    with pytest.raises(StudyError, match="no tax: none in SEK is known"):
        read_study(folder)


# ---- a living wage, line by line ----


@pytest.mark.parametrize("share", ["0 %", "13.8 %"])
def test_lines_multiply_to_the_target(taxed, share):
    """Every line's figure, multiplied or divided in its turn, gives the target the study rests on; the last line shows it."""
    edits = [("per_hour = ", f'wage = "uk-living-wage-2025"\nemployer_share = "{share}"\n# ')]
    kit = open_study(taxed(FIGURES, None, *edits))
    lines = target_lines(kit)
    total = np.prod(np.where(lines.by == "×", lines.figure, 1 / lines.figure))

    assert total == pytest.approx(float(kit.inputs().target_per_hour), rel=1e-12)
    assert lines["so far"].iloc[-1] == pytest.approx(total, rel=1e-12) and len(lines) == 5
    # 13.45 x 1,950 h: T17, public guide, 2026, second-hand copy
    assert lines["so far"][1] == pytest.approx(26_227.50)


def test_lines_of_a_typed_target():
    """A typed target is one line, itself."""
    [line] = target_lines(open_study(DATA / KNOBS, with_records=False)).to_dict("records")

    assert (line["figure"], line["so far"], line["so far in"]) == (16.0, 16.0, "EUR/hour")


# ---- pay on several bases ----


@pytest.fixture
def soap(taxed):
    """The demo on the edge, with a tax table."""
    kit = open_study(taxed(SOAP, "us-2025"))
    return kit, kit.monte_carlo(DRAWS)


def test_bases_go_down_and_agree_with_the_year(soap):
    """Before set-aside and after it are the year's own figures; contributions take something, tax never adds."""
    kit, answer = soap
    before, after, contributed, taxed_ = pay_bases(kit, answer)
    hours = answer.draws["hours_per_year"]

    assert np.array_equal(before.pay, answer.draws["residual_pay_per_year"])
    assert after.pay / hours == pytest.approx(answer.draws["pay_per_hour_after_set_aside"], rel=1e-12)
    assert (contributed.pay < before.pay).all() and (taxed_.pay <= contributed.pay).all()
    # 15.3 % of 92.35 % in every draw below the base: T03
    assert before.pay.max() < 176_100
    assert before.pay - contributed.pay == pytest.approx(0.153 * 0.9235 * before.pay, rel=1e-12)


def test_interest_on_own_money_is_no_expense_to_a_tax_office(taxed):
    """6 % a year on money in equipment lowers pay and no tax: the contribution stays 15.3 % of 92.35 % of what pays without it (T03), and a year at
    the target is reached in the same draws on every basis."""
    plain, with_interest = (
        open_study(taxed(SOAP, "us-2025", *edits)) for edits in ((), [("[study]", 'interest = "6 %"\n[study]')])
    )
    without, answer = plain.monte_carlo(DRAWS), with_interest.monte_carlo(DRAWS)
    before, _, contributed, _ = pay_bases(with_interest, answer)
    # (A/P, 6 %, n) by the formula of standard compound-interest tables, less straight line
    apart = [
        (e.price - e.resale) * (0.06 / (1 - 1.06**-e.life_years) - 1 / e.life_years) + e.resale * 0.06
        for e in plain.inputs().equipment
    ]

    assert without.draws["residual_pay_per_year"] - before.pay == pytest.approx(sum(apart)) and sum(apart) > 1
    assert before.pay - contributed.pay == pytest.approx(0.153 * 0.9235 * without.draws["residual_pay_per_year"])
    table = bases_table(with_interest, answer)
    assert table["target reached"].nunique() == 1
    assert tax_table(with_interest, answer)["money a year"].sum() == pytest.approx(
        tax_table(plain, without)["money a year"].sum()
    )


def test_living_page_has_one_basis(soap):
    """Pay and target of every row are those that half of the draws stay below: the first is the middle that the first page says."""
    kit, answer = soap
    table, year = bases_table(kit, answer), answer.summary("residual_pay_per_year")

    assert table["pay a year"][0] == pytest.approx(year["p50"], rel=1e-12)
    assert table["pay an hour"][0] == pytest.approx(answer.summary("pay_per_hour")["p50"], rel=1e-12)
    said = bases_sentence(kit, answer)
    assert (
        f"{table['pay an hour'][3]:.2f}" in said and f"{table['target an hour'][3]:.2f}" in said and "half of the draws" in said
    )


def test_target_is_counted_in_the_same_way(soap):
    """An hour at the target is taxed like an hour of pay, so the same draws reach it on every basis."""
    table = bases_table(*soap)

    assert table["target reached"].nunique() == 1 and 0.3 < table["target reached"][0] < 0.7
    assert (table["target an hour"] <= table["target an hour"][0]).all()
    assert (table["pay an hour"] <= table["pay an hour"][0]).all()


def test_tax_table_adds_up(soap):
    """Its lines are what separates the first basis from the last."""
    kit, answer = soap
    pay = bases_table(kit, answer)["pay a year"]

    # two draws stand about the middle of an even number of them; tax bends between them by next to nothing
    assert tax_table(kit, answer)["money a year"].sum() == pytest.approx(pay.iloc[0] - pay.iloc[-1], rel=1e-6)
    assert set(tax_table(kit, answer).status) == {"second-hand copy"}


def test_without_a_table_two_bases_are_left(taxed):
    """No table: before and after set-aside, no tax lines, and the sentences say what cannot be said."""
    kit = open_study(taxed(KNOBS, None), with_records=False)
    answer = kit.monte_carlo(DRAWS)

    assert [basis.name for basis in pay_bases(kit, answer)] == ["before set-aside", "after set-aside"]
    assert tax_table(kit, answer).empty and "names no tax table" in tax_sentence(kit)
    assert "cannot be said without a tax table" in set_aside_sentence(kit, answer)
    assert bases_sentence(kit, answer).startswith("**After set-aside**")


def with_pay(answer, pay):
    """The same answer with these years' pay, all of 1,000 hours and a target of 17 an hour."""
    size = len(pay)
    draws = {
        "residual_pay_per_year": np.asarray(pay, float),
        "interest_per_year": np.zeros(size),
        "hours_per_year": np.full(size, 1000.0),
    }
    return Answer(
        draws=answer.draws | draws | {"target_per_hour": np.full(size, 17.0), "set_aside_share": np.full(size, 0.25)},
        resources=answer.resources,
        target=17.0,
        living=answer.living,
    )


def years(share, above, below):
    """A thousand years, so large a share of them with the one pay and the rest with the other."""
    return [above] * round(share * 1000) + [below] * (1000 - round(share * 1000))


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (1.0, "**reaches the target"),
        (0.9, "**reaches the target"),
        (0.899, "**may or may not reach"),
        (0.101, "**may or may not reach"),
        (0.1, "**does not reach the target"),
        (0.0, "**does not reach the target"),
    ],
)
def test_bases_sentence_by_chance(soap, share, said):
    """Nine draws in ten reach it, one in ten does not; the estimate defers to an adviser and is never certain."""
    kit, answer = soap
    text = bases_sentence(kit, with_pay(answer, years(share, 18_000, 12_000)))

    assert said in text and "After contributions and tax" in text and "qualified adviser" in text
    assert ("over 99" in text) == (share == 1.0) and ("under 1" in text) == (share == 0.0)


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (1.0, "**would cover**"),
        (0.9, "**would cover**"),
        (0.899, "**may not cover**"),
        (0.101, "**may not cover**"),
        (0.1, "**would not cover**"),
        (0.0, "**would not cover**"),
    ],
)
def test_set_aside_sentence_by_chance(soap, share, said):
    """25 % covers a profit of 10,000 (14 % in contributions) and not one of 200,000 (30 % in all)."""
    kit, answer = soap
    text = set_aside_sentence(kit, with_pay(answer, years(share, 10_000, 200_000)))

    assert said in text and "25" in text


def test_tax_sentence_marks_what_was_not_seen(soap, taxed, monkeypatch):
    """Rates from memory are named; where all were seen, no such words; what is left out is said."""
    kit, _ = soap
    scheme = taxes()["us-2025"]
    text = tax_sentence(kit)

    assert "from memory" not in text and "state and city taxes" in text
    *seen, tax = scheme.parts
    unseen = replace(scheme, note="", parts=(*seen, replace(tax, status="from memory")))
    monkeypatch.setitem(taxes(), "us-2025", unseen)
    assert "from memory: income tax" in tax_sentence(kit) and "left out" not in tax_sentence(kit)


@pytest.mark.parametrize(("demo", "tax"), [(KNOBS, "ie-2025"), (FIGURES, "uk-2025"), (SOAP, "us-2025")])
def test_no_basis_leaves_more_than_all(demo, tax):
    """Each demo by its own table, whichever of set-aside and taxes takes more: none leaves more than before, tax after contributions takes more."""
    kit = open_study(DATA / demo)
    assert kit.study.file.target.tax == tax
    before, aside, contributions, tax_too = (basis.pay for basis in pay_bases(kit, kit.monte_carlo(DRAWS)))

    assert (aside <= before).all() and (tax_too <= contributions).all() and (contributions <= before).all()


# ---- age and kind of what the tables say ----


def test_rows_of_2025_and_2026_can_be_looked_up():
    """Every wage that held in 2025 or 2026, and every part of a tax of those years, links the page where it was read."""
    table = wages()
    current = table[table.valid_to.isna() | (table.valid_to.astype(str).str[:4] >= "2025")]
    parts = [part for scheme in taxes().values() if scheme.year[:4] in ("2025", "2026") for part in scheme.parts]

    assert current.link.str.startswith("https://").all() and len(current) > 15
    assert all(part.link.startswith("https://") for part in parts) and len(parts) > 15
    assert set(table.kind) == {"living wage", "legal minimum"}


def test_tax_tables_begin_with_their_year():
    """The first day of a scheme lies in the year that its name and its own year say: April in the United Kingdom, else January."""
    for name, scheme in taxes().items():
        assert str(scheme.valid_from) == f"{name[-4:]}-{'04-06' if name.startswith('uk') else '01-01'}"


@pytest.mark.parametrize(
    ("start", "today", "old"),
    [
        ("2025", dt.date(2026, 12, 31), False),
        ("2025", dt.date(2027, 1, 1), True),
        (dt.date(2025, 4, 6), dt.date(2026, 4, 6), False),
        (dt.date(2025, 4, 6), dt.date(2026, 4, 7), True),
        ("2024-02-29", dt.date(2025, 2, 28), False),
        ("2024-02-29", dt.date(2025, 3, 1), True),
        ("2009-07-24", None, False),
    ],
)
def test_over_a_year_old(start, today, old):
    """A year to the day is not over a year; of a bare year the last day counts; without a day of the study nothing is old."""
    assert over_a_year_old(start, today) is old


@pytest.mark.parametrize(("changed", "old"), [("2026-04-06", False), ("2026-04-07", True), (None, False)])
def test_age_of_a_tax_table_is_said(taxed, changed, old):
    """No clock: without logs the day of the study is its `changed_on`, and without that nothing is said of age."""
    kit = open_study(taxed(FIGURES, "uk-2025", *([("[study]", f"[study]\nchanged_on = {changed}")] if changed else [])))

    assert ("a later one may be in force" in tax_sentence(kit)) is old
    assert ("This tax table holds from 2025-04-06" in tax_sentence(kit)) is old


def test_newest_row_goes_before_the_stated_day(tmp_path):
    """With logs their newest row is the day of the study, whatever the file says; its own wage's age follows from it."""
    shutil.copytree(DATA / FIGURES, tmp_path / "study")
    path = tmp_path / "study" / "study.toml"
    text = path.read_text(encoding="utf-8").replace("[study]", "[study]\nchanged_on = 2031-01-01")
    path.write_text(text, encoding="utf-8")
    kit = open_study(tmp_path / "study")

    assert (
        kit.study.day == max(log.date.max() for log in kit.study.records.values() if "date" in log).date() < dt.date(2026, 1, 1)
    )
    assert "a later one may be in force" not in tax_sentence(kit)


@pytest.mark.parametrize(
    ("wage", "words", "others"),
    [
        ("uk-minimum-2025", "a full year at the legal minimum", "a living"),
        ("uk-living-wage-2025", "a living", "legal minimum"),
        (None, "a living", "legal minimum"),
    ],
)
def test_a_living_is_never_said_of_a_legal_minimum(taxed, wage, words, others):
    """The words of the year follow the kind of the wage; a typed target is the maker's own idea of a living."""
    kit = open_study(taxed(FIGURES, None, *([("per_hour = ", f'wage = "{wage}"\n# ')] if wage else [])))
    sentence = year_sentence(kit, kit.monte_carlo(128))

    assert words in sentence and others not in sentence


def test_an_old_wage_says_its_age(taxed):
    """A wage of April 2024 in a study of 2026 is said to be more than a year old; that of April 2026 is not."""
    said = [
        target_sentence(
            open_study(
                taxed(FIGURES, None, ("per_hour = ", f'wage = "{wage}"\n# '), ("[study]", "[study]\nchanged_on = 2026-10-01"))
            )
        )
        for wage in ("uk-minimum-2024", "uk-minimum-2026")
    ]

    assert ["This wage holds from 2024-04-01" in one for one in said] == [True, False]
    assert "a later one may be in force" not in said[1]
