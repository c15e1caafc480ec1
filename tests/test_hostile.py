"""Study files that nobody writes by hand: any of them is read, or refused with faults, in steps that grow with its size alone."""

import random
import re
import signal
import sys

import pytest
from commands import DATA

from casting_econ.faults import StudyError, close_match
from casting_econ.kit import open_study
from casting_econ.pages.change import changed
from casting_econ.study import faulty, read_study
from casting_econ.study.text import MOST_BYTES

DEMO = (DATA / "kelpmoor-handles" / "study.toml").read_text(encoding="utf-8").partition("[scenarios.")[0]  # each is a reading
WAIT = '"18 h"'  # of the demo, spoilt below


def written(folder, text):
    """A study folder with this file."""
    (folder / "study.toml").write_text(text, encoding="utf-8", newline="")
    return folder


def faults_of(folder, text):
    """Faults of a study file."""
    with pytest.raises(StudyError) as caught:
        read_study(written(folder, text))
    return caught.value.faults


def many(count, line, head=""):
    """A file with so many lines or tables more, numbered."""
    return DEMO + head + "".join(line.format(i) for i in range(count))


CHANNEL = '[channels.c{0}]\nproduct = "%s"\norders = "9 orders/year"\npieces_per_order = 1\nprice = "9 EUR"\n'
PRODUCT = '[products.p{0}]\ncasts_per_load = 4\n[products.p{0}.steps.cast]\nminutes = "1 min"\n'
COMMISSION = '[commissions.a{0}]\nproduct = "%s"\npieces = %s\ndue = 2027-02-01\n'
MANY = {
    "overheads without a year": '[overheads.o{0}]\nvalue = "5 EUR"\n',
    "overheads in unknown units": '[overheads.o{0}]\nvalue = "5 u{0}"\n',
    "overheads": '[overheads.o{0}]\nvalue = "5 EUR/year"\n',
    "commissions of no product": COMMISSION % ("knop", "5"),
    "commissions in words": COMMISSION % ("knob", '"x"'),
    "commissions": COMMISSION % ("knob", "5"),
    "correlations of nothing": '[[correlations]]\nbetween = ["x{0}", "y{0}"]\nrank = 0.1\n',
    "correlations out of range": '[[correlations]]\nbetween = ["x{0}", "y{0}"]\nrank = 1.1\n',
    "packs by the metre": '[[supplies.pigment.packs]]\nquantity = "1 m"\nprice = "3 EUR"\n',
    "packs": '[[supplies.pigment.packs]]\nquantity = "1 kg"\nprice = "3 EUR"\n',
    "supplies of nothing": "[supplies.s{0}]\nstock = 3\n",
    "channels of products not there": PRODUCT + CHANNEL % "q{0}",
    "products with channels": PRODUCT + CHANNEL % "p{0}",
    "steps that wait nowhere": '[products.knob.steps.s{0}]\nminutes = "1 min"\nwait = "1 h"\nwait_in = "sky{0}"\n',
    "delays of channels not there": CHANNEL % "knob" + "[cash.payment_delay.d{0}]\n",
    "unknown tables": "[t{0}]\na = 1\n",
    "scenarios": '[scenarios.s{0}]\nwhat = "x"\nscale = {{ "channels.*.orders" = 1.1 }}\n',
    "blank lines after a fault": "\n",
}


def steps(work):
    """Calls that a piece of work makes, of Python and of C functions."""
    count = [0]

    def called(frame, event, arg):
        count[0] += event in ("call", "c_call")

    sys.setprofile(called)
    try:
        work()
    finally:
        sys.setprofile(None)
    return count[0]


@pytest.mark.parametrize("case", MANY)
def test_many_entries_take_steps_in_proportion(case, tmp_path):
    """A hundred more entries after two hundred take no more steps than the hundred before them: nothing is quadratic."""

    def read(count):
        text = many(count, MANY[case])
        written(tmp_path, text.replace(WAIT, '"18"') if "after a fault" in case else text)

        def work():
            try:
                read_study(tmp_path)
            except StudyError as error:
                assert len(error.faults) <= faulty.MOST_FAULTS + 1

        return steps(work)

    read(300)  # fills what is kept from one reading to the next
    first, second, third = read(100), read(200), read(300)

    assert third - second <= 1.05 * (second - first) + 500


LONG = {
    "spaces within a value": (WAIT, f'"18{" " * 100_000}h x"'),
    "spaces after a value": (WAIT, f'"18 h{" " * 100_000}\\nx"'),
    "digits": (WAIT, f'"{"1" * 100_000}\\nx"'),
    "lines within a value": (WAIT, '"18 ' + "\\n" * 50_000 + 'x"'),
    "a word": (WAIT, f'"18 {"h" * 100_000}"'),
    "spaces in a note": ("[overheads]", f'[overheads]\nx = """\n{" " * 50_000}x\n[{" " * 50_000}\n"""'),
    "spaces after a line": ("[overheads]", f"[overheads]{' ' * 100_000}\nx = 1"),
    "weights below nothing": ("voids = 5", "voids = -5," + ",".join(f"c{i} = 1" for i in range(9000))),
    "commas in hours": ('"09:00-17:00"', f'"9-17{" , " * 30_000}"'),
}


@pytest.mark.parametrize("case", LONG)
def test_a_long_run_of_one_letter_is_a_fault_at_once(case, tmp_path):
    """A hundred thousand spaces, digits or letters are refused like ten; an expression that tries them over would take hours."""
    faults = faults_of(tmp_path, DEMO.replace(*LONG[case], 1))

    assert len(faults) == 1 and faults[0].row and len(str(faults[0])) < 500


DEEP = {
    "dotted key": "{0} = 1",
    "table": "[{0}]",
    "change of a scenario": "[scenarios.s]\nwhat = 'x'\nchange.{0} = 1",
    "table in a scenario": "[scenarios.s]\nwhat = 'x'\n[scenarios.s.change.{0}]",
    "material": "[products.knob.mould.materials.x.{0}]",
}


@pytest.mark.parametrize("depth", [25, 390, 800, 100_000])
@pytest.mark.parametrize("case", DEEP)
def test_names_within_names_without_end_are_a_fault(case, depth, tmp_path):
    """Keys of 25 to 100,000 names are refused with the levels that are allowed, and never walked down."""
    [fault] = faults_of(tmp_path, f"{DEMO}\n{DEEP[case].format('.'.join('a' * depth))}\n")

    assert "too many names or brackets within each other" in str(fault) and fault.right == "at most 20 levels"
    assert fault.row and len(str(fault)) < 300


@pytest.mark.parametrize("text", ["[" * 300 + "]" * 300, "{a=" * 90 + "1" + "}" * 90, "[" * 5000])
def test_brackets_within_brackets_are_a_fault(text, tmp_path):
    """Lists and tables in brackets, closed or not, are refused by their levels."""
    [fault] = faults_of(tmp_path, f"x = {text}\n{DEMO}")

    assert fault.right == "at most 20 levels"


def test_limits_of_a_file_are_told_with_what_was_found(tmp_path):
    """A file of 250 kB is read, one byte more is not; of 501 faults the first 500 are told, and that there are more."""
    room = MOST_BYTES - len(DEMO.encode())
    assert read_study(written(tmp_path, DEMO + "#" * room)).file.study.name == "Kelpmoor Handles"
    [large] = faults_of(tmp_path, DEMO + "#" * (room + 1))
    assert (large.wrong, large.found) == ("is too large", "250 kB")
    told = faults_of(tmp_path, many(500 + 1, MANY["overheads without a year"]))
    assert len(told) == 501 and [fault.wrong for fault in told if not fault.row] == ["more faults than are told at once"]
    for case, name, most in (("correlations out of range", "correlations", 200), ("scenarios", "scenarios", 50)):
        [fault] = [one for one in faults_of(tmp_path, many(300, MANY[case])) if one.wrong == "too many entries"]
        assert (fault.column, fault.found, fault.right) == (name, "300", f"at most {most}")


def test_an_unknown_name_among_thousands_lists_twenty(tmp_path):
    """Of many names that one could mean, a fault lists the first twenty, how many more there are, and the likeliest."""
    text = many(300, PRODUCT + CHANNEL % "p{0}").replace('product = "p7"', 'product = "pp7"')
    [fault] = [one for one in faults_of(tmp_path, text) if one.column == "channels.c7.product"]

    assert fault.right.startswith("one of knob, p0, p1") and "and 281 more (did you mean 'p7'?)" in fault.right
    assert close_match("p7", ["q"] * 100 + ["p7"]) == ""  # beyond 100 names no hint is worth the time


# --- files changed at random

NASTY = ("nan", "inf", "-1", "0", '""', '"0 h"', '"1e308 h"', '"5 %"', "[]", "{}", "true", "2027-02-30", "1979-05-27", '"‮ 5"')
NASTY += ("1e-320", "9" * 30, '"1 EUR"', "{ low = 1, likely = 1, high = 1 }", '{ value = "1 h", from = "records" }', '"\\u0000"')
NASTY += ('{ distribution = "gamma", mean = 1e-300, sd = 1 }', '{ low = "0 h", likely = "0 h", high = "1e5 h" }', '"999 year"')
LINE = re.compile(r"(?m)^([\w.-]+ = ).*$")


def mutant(text, rng):
    """The file with one change, or up to three: values, lines, names, pieces cut out, doubled or moved."""
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        lines, kind = text.split("\n"), rng.randrange(7)
        at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
        if kind == 0:
            found = rng.choice(list(LINE.finditer(text)) or [None])
            text = text[: found.start()] + found[1] + rng.choice(NASTY) + text[found.end() :] if found else text
        elif kind == 1:  # a figure by another power of ten, or signed
            found = rng.choice(list(re.finditer(r"\d+(\.\d+)?", text)) or [None])
            new = rng.choice(["0", "1e9", "1e-9", "-3", "0.5", "1", "17", "100000"])
            text = text[: found.start()] + new + text[found.end() :] if found else text
        elif kind == 2:
            text = "\n".join(lines[:at] + lines[at + 1 :])
        elif kind == 3:
            lines[at], lines[other] = lines[other], lines[at]
            text = "\n".join(lines)
        elif kind == 4:
            text = "\n".join([*lines[:at], lines[other], *lines[at:]])
        elif kind == 5:  # a name by one that stands elsewhere
            names = re.findall(r"[A-Za-z_-]{3,}", text)
            text = text.replace(rng.choice(names), rng.choice(names), rng.choice([1, -1]))
        else:
            cut = rng.randrange(len(text))
            text = text[:cut] + rng.choice(["", '"', "[", "=", "\x00", " " * 200, "é", "."]) + text[cut + rng.randrange(3) :]
    return text


def tried(folder, text):
    """How a study file is taken: 'refused', or 'read' with a year and its scenarios worked out, none of it not-a-number."""
    try:
        kit = open_study(written(folder, text))
    except StudyError as error:
        assert error.faults and "\n" not in error.faults[0].wrong
        return "refused"
    answer = kit.monte_carlo(draws=128)
    year = [kit.point().totals["pay_per_hour"], *answer.draws["pay_per_hour"], *answer.draws["residual_pay_per_year"]]
    assert not any(value != value for value in year)
    try:
        changed(kit, draws=128)
    except ValueError as error:  # a scenario without an hour left, which its page tells
        assert str(error)
    return "read"


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no clock of processor time on this system")
@pytest.mark.parametrize("demo", ["gannet-lane-figures", "hollin-quay-pulls"])
def test_a_file_changed_at_random_is_read_or_refused(demo, tmp_path):
    """Twenty-five files changed at random give a result or faults: no other error, no not-a-number, and each comes to an end."""
    text = (DATA / demo / "study.toml").read_text(encoding="utf-8")
    found = fuzzed(text, tmp_path, range(25))

    assert {outcome for _, outcome in found} == {"read", "refused"}


def fuzzed(text, folder, seeds, seconds=30):
    """Outcome by seed; an error that is none of faults, and a file that does not end, are raised with their seed."""

    def over(*_):
        raise TimeoutError(f"no end within {seconds} s of processor time")

    found = []
    before = signal.signal(signal.SIGVTALRM, over)
    try:
        for seed in seeds:
            signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
            try:
                found.append((seed, tried(folder, mutant(text, random.Random(seed)))))
            except Exception as error:
                error.add_note(f"seed {seed}")
                raise
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)
    return found
