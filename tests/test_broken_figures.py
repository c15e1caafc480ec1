"""Figures that cannot be used are told as faults, and those of any country read as themselves or asked about."""

import re
import tomllib
from typing import Literal, get_args, get_origin

import pytest
from babel.numbers import format_decimal, list_currencies
from broken import STUDY, WAIT, edit, faults_of
from pydantic import ValidationError

from casting_econ.formatting import Format
from casting_econ.kit import open_study
from casting_econ.starting.answers import read_answer
from casting_econ.starting.questions import Part
from casting_econ.study import Quantity, read_study
from casting_econ.study.faulty import faults_of as every_fault
from casting_econ.study.fields import Node
from casting_econ.study.keys import _parts
from casting_econ.study.schema import StudyFile
from casting_econ.units import Unclear

# a wait of "18 h" that becomes: id, new text, what the line must say
WAITS = [
    ("no unit", "18", "no unit where one is needed", "found 18", "a number at least 0", "'2 hour'"),
    ("wrong unit", '"18 g"', "a unit that cannot be read as hour", "found '18 g'", "'2 hour'"),
    ("misspelt unit", '"18 huor"', "unknown unit 'huor'", "did you mean 'hour'?"),
    ("unit that divides by zero", '"18 h/0"', "cannot be read as hour"),
    ("unit with a power of a power", '"18 h**9**9**9"', "cannot be read as hour"),
    ("unit in braces", '"18 {h}"', "cannot be read as hour"),
    ("unit that never closes", '"18 h("', "cannot be read as hour"),
    ("percentage for a unit", '"18 %"', "a percentage where a unit is needed"),
    ("a comma for a decimal or for thousands", '"1,800 h"', "question: is this 1800 or 1.800?", "'1800 h', or '1.8000 h'"),
    ("a point for thousands or for a decimal", '"1.800 h"', "question: is this 1800 or 1.800?", "found '1.800 h'"),
    ("figures that are none", '"1,80,000 h"', "not a number"),
    ("two figures", '"18 24 h"', "not a number"),
    ("hours of a hundred", '"18 hh"', "unknown unit 'hh'"),
    ("text that is no number", '"overnight"', "not a number", "found 'overnight'"),
    ("empty text", '""', "not a number", "found ''"),
    ("true", "true", "not a number", "found True"),
    ("list", '["18 h"]', "not a number"),
    ("date", "2025-01-06", "not a number"),
    ("empty table", "{}", "needs 'value', or 'low', 'likely' and 'high', or 'distribution'"),
    ("too large for a computer", '"1e999 h"', "not a finite number"),
    ("whole number of 400 digits", "9" * 400, "not a finite number"),
    ("longer than anyone waits", '"1e300 h"', "outside the limits", "at most 100000"),
    ("negative", '"-18 h"', "outside the limits", "at least 0"),
    ("misspelt value", '{ valeu = "18 h" }', "unknown 'valeu'", "did you mean 'value'?"),
    ("low above likely", '{ low = "20 h", likely = "18 h", high = "24 h" }', "a range out of order", "low <= likely <= high"),
    ("no width", '{ low = "18 h", likely = "18 h", high = "18 h" }', "a range without width", "one value"),
    ("high left out", '{ low = "16 h", likely = "18 h" }', "'low', 'likely' and 'high'"),
    ("unknown distribution", '{ distribution = "trianglar", low = "1 h" }', "'trianglar'", "did you mean 'triangular'?"),
    ("distribution that is no name", "{ distribution = [] }", "unknown distribution []", "triangular, pert"),
    ("distribution past the limits", '{ distribution = "normal", mean = "18 h", sd = "4 h" }', "outside the limits"),
    ("unknown parameter", '{ distribution = "normal", mean = "18 h", sdd = "1 h" }', "'sdd'", "did you mean 'sd'?"),
    ("parameter left out", '{ distribution = "normal", mean = "18 h" }', "normal needs mean, sd; got mean"),
    ("parameters in the wrong order", '{ distribution = "lognormal", p10 = "20 h", p90 = "18 h" }', "0 < p10 < p90"),
    ("parameter that overflows", '{ distribution = "lognormal", p10 = "1e-9 h", p90 = "9e4 h" }', "outside the limits"),
    ("list for a figure", '{ distribution = "uniform", low = ["16 h"], high = "20 h" }', "single figures"),
    ("figure for a list", '{ distribution = "discrete", values = "18 h", weights = 1 }', "lists"),
    ("weights amiss", '{ distribution = "discrete", values = ["18 h"], weights = [1, 2] }', "as many weights as values"),
    ("unknown basis", '{ value = "18 h", basis = "mesured" }', "basis must be one of", "did you mean 'measured'?"),
    ("from something else", '{ value = "18 h", from = "memory" }', "records"),
    ("worth of nothing", '{ value = "18 h", from = "records", worth = 0 }', "worth", "10 pieces"),
    ("worth in words", '{ value = "18 h", from = "records", worth = "many" }', "worth", "10 pieces"),
    ("note that is no text", '{ value = "18 h", note = 5 }', "note must be text"),
]


EXAMPLE = re.compile(r"""\b(?:such as|or) (\[.*?\]|'[^']*'|"[^"]*"|[\d.-]+|[A-Z]{2,3}(?:-[A-Z]{2})?\b|[a-z]{2}_[A-Z]{2})""")


def tables(node, seen):
    """A table of the study file and all that stand below it."""
    seen.append(node)
    for part in [part for field in node.model_fields.values() for part in _parts(field.annotation)]:
        if isinstance(part, type) and issubclass(part, Node) and part not in seen:
            tables(part, seen)
    return seen


def refusal_of(node, key, value):
    """What is said of a value of one key, apart from what the table lacks; nothing where it is taken."""
    try:
        node.model_validate({key: value}, context={"currency": "EUR"})
    except ValidationError as error:
        return next(
            (fault for fault in every_fault(error) if fault.column.split(".")[0] == key and fault.wrong != "is missing"), None
        )


def test_the_example_of_every_refusal_is_accepted():
    """Whatever stands at a key that does not belong there: the example in what is told of it can be written there as it stands."""
    tried = set()
    for node in tables(StudyFile, []):
        for name, field in node.model_fields.items():
            parts, key = _parts(field.annotation), field.alias or name
            if any(isinstance(part, type) and issubclass(part, Node) for part in parts):
                continue
            names = next((get_args(part)[0] for part in parts if get_origin(part) is dict), None)
            inner = get_args(names)[0] if get_origin(names) is Literal else "one"
            for wrong in ("??", "5 bananas", "-3", 1e9, 0.5, "3", "5 %", "7 h", "4 EUR"):
                fault = refusal_of(node, key, {inner: wrong} if names else wrong)
                if fault is None or "did you mean" in fault.right:
                    continue
                units = re.findall(r"where (?:one|a unit) is needed, such as (.+)", fault.wrong)
                for text in [f"'2 {unit}'" for unit in units] + EXAMPLE.findall(fault.right):
                    text = f"'{text}'" if text[0].isalpha() else text
                    example = tomllib.loads(f"x = {text}")["x"]
                    found = refusal_of(node, key, {inner: example} if names else example)
                    assert found is None, f"{node.__name__}.{key}: {text} is told for {wrong!r} and {found}"
                    tried.add((node.__name__, key))
    assert len(tried) > 90


@pytest.mark.parametrize("written", ['"5 %"', '"5 %/year"', '"0.05 1/year"', '"0.05/year"', '"0,05 /year"', '{ value = "5 %" }'])
def test_interest_is_of_a_year(written, file_only):
    """Five in a hundred a year, however it is written."""
    edit(file_only, STUDY, "[study]", f"interest = {written}\n[study]")
    assert open_study(file_only).inputs().interest == 0.05


@pytest.mark.parametrize("case", WAITS, ids=lambda case: case[0])
def test_wrong_number_is_told(case, file_only):
    """A number that cannot be used is told by its line, its key, what it is, and what it should be."""
    _, new, *texts = case
    row = edit(file_only, STUDY, '"18 h"', new)

    [fault] = faults_of(file_only)

    assert (fault.file, fault.row, fault.column) == (STUDY, row, WAIT)
    assert [text for text in texts if text not in str(fault)] == []


@pytest.mark.parametrize(
    ("written", "hours"),
    [
        ("1 800 h", 1800),
        ("1\u202f800 h", 1800),
        ("1\u00a0800,5 h", 1800.5),
        ("1'800 h", 1800),
        ("1.800,5 h", 1800.5),
        ("18,5 h", 18.5),
    ],
)
def test_a_figure_with_one_reading_is_read(written, hours, file_only):
    """Spaces, thin spaces and apostrophes between thousands, as reports print them, and marks that leave no doubt."""
    edit(file_only, STUDY, '"18 h"', f'"{written}"')
    assert read_study(file_only).numbers[WAIT].value == hours


def test_a_bare_figure_is_what_it_is_in_toml(file_only):
    """A point between bare figures is a decimal one in TOML 1.0 (Float), so there is nothing to ask: twelve weights with three digits."""
    season = "[1.539, 1.100, 1.000, 0.900, 0.800, 0.700, 0.800, 0.900, 1.000, 1.100, 1.100, 1.061]"
    text = (file_only / STUDY).read_text(encoding="utf-8")
    (file_only / STUDY).write_text(f"{text}\n[cash]\nseason = {season}\n", encoding="utf-8")
    edit(file_only, STUDY, "pieces_per_order = 6", "pieces_per_order = 6.000")
    study = read_study(file_only)
    assert study.file.cash.season[0] == 1.539 and study.numbers["channels.online.pieces_per_order"].value == 6


PLACES = (
    "en_IE",
    "en_US",
    "de_DE",
    "de_CH",
    "fr_FR",
    "nb_NO",
    "sv_SE",
    "da_DK",
    "pl_PL",
    "cs_CZ",
    "it_IT",
    "es_ES",
    "pt_PT",
    "en_IN",
)


@pytest.mark.parametrize("place", PLACES)
def test_what_a_country_prints_reads_as_itself_or_is_a_question(place):
    """No figure that babel (CLDR) prints for a country is read as another one, in the study file or as an answer."""
    read_as_it_is, price = 0, Part(key="price", ask="?", unit="{money}", high=1e9)
    for value in (0.5, 0.25, 1.5, 12.25, 38, 999, 1005.25, 2160, 2160.5, 38000, 102500, 1234567.89):
        for text in (
            format_decimal(value, locale=place),
            Format("NOK", place).number(value, 2),
            Format("NOK", place).exactly(value),
        ):
            for read in (
                lambda text: Quantity("{money}").read(f"{text} NOK", "NOK").value,
                lambda text: read_answer(price, text, "NOK")[1],
            ):
                try:
                    assert read(text) == pytest.approx(value), text
                    read_as_it_is += 1
                except Unclear as error:
                    assert re.sub(r"[.,]", "", text) in str(error)  # a mark and three digits: asked, with both readings
                except ValueError:
                    assert place == "en_IN" and value > 1e5  # 1,02,500 is told, not read
    assert read_as_it_is > 40


def test_no_currency_is_read_as_another_or_as_a_unit():
    """Money of every other code of ISO 4217 (as babel has them) is refused by name, and a code counts in itself."""
    for code in list_currencies() - {"EUR"}:
        with pytest.raises(ValueError, match=f"money in {code} while the study counts in EUR"):
            Quantity("{money}").read(f"2 {code}", "EUR")
    for code in ("NOK", "CUP", "TRY"):  # a cup and a troy ounce are units
        assert Quantity("{money}/kilogram").read(f"2 {code}/g", code).value == pytest.approx(2000)


def test_a_currency_in_words_is_one_fault(file_only):
    """Money is read in the code that the file's figures have, so that none of them is told as foreign."""
    path = file_only / STUDY
    text = path.read_text(encoding="utf-8").replace('currency = "EUR"', 'currency = "kr"').replace('tax = "ie-2025"\n', "")
    path.write_text(text.replace(" EUR", " NOK"), encoding="utf-8")

    [fault] = faults_of(file_only)

    assert (fault.column, fault.found) == ("study.currency", "'kr'") and "such as NOK" in fault.right


def test_pints_and_tons_are_those_of_the_country():
    """US measures in a study in USD, and asked for elsewhere: 3.785411784 and 4.54609 l a gallon, 28.349523125 g an ounce
    (NIST SP 811, appendix B, from memory)."""
    assert Quantity("liter").read("1 gallon", "USD").value == pytest.approx(3.785411784)
    assert Quantity("liter").read("1 US gallon", "GBP").value == pytest.approx(3.785411784)
    assert Quantity("liter").read("1 imperial gallon", "GBP").value == pytest.approx(4.54609)
    assert Quantity("gram").read("1 oz", "GBP").value == pytest.approx(28.349523125)
    for unit in ("gallon", "pint", "quart", "fl oz", "cup"):
        with pytest.raises(Unclear, match=r"question: which .* -> US_.* or imperial_"):
            Quantity("liter").read(f"1 {unit}", "GBP")


def test_a_wide_spread_of_load_minutes_gives_a_result(file_only):
    """Draws in which a load fits no working window make nothing, instead of ending the run."""
    edit(
        file_only, STUDY, 'load_minutes = { value = "24 min", from = "records", worth = "10 loads" }', 'load_minutes = "100 min"'
    )
    edit(file_only, STUDY, 'minutes = "12 %"', 'minutes = "100 %"')

    answer = open_study(file_only).monte_carlo(draws=1024)

    made = answer.draws["good_pieces_per_year"]
    assert 0 < (made < 1e-3).mean() < 0.1
    assert (made > 100).mean() > 0.8
