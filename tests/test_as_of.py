"""An order as of a day: what the logs had by then, and that day as today; the same study otherwise."""

from datetime import date

import pandas as pd
import pytest
from commands import command, copy_of

from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.orders import open_order
from casting_econ.study.records import known_on

LOADS = """batch,date,product,casts,good,checked,order
K1,2026-11-30,knob,14,12,2026-12-02,kitchen
K2,2026-12-01,knob,14,13,2026-12-03,Kitchen
K3,2026-12-04,knob,14,11,,kitchen
"""
FAULTS = "date,batch,step,cause,pieces,fate\n2026-12-02,K1,demould,voids,2,scrap\n2026-12-03,K2,demould,voids,1,scrap\n"


@pytest.fixture
def kitchen(tmp_path):
    """The kitchen order of 28 with three loads, the second counted two days after its pour."""
    folder = copy_of("kelpmoor-handles", tmp_path)
    for log in (folder / "records").iterdir():
        log.unlink()
    (folder / "records" / "batches.csv").write_text(LOADS, encoding="utf-8")
    (folder / "records" / "faults.csv").write_text(FAULTS, encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("day", "in_hand", "under_way", "start", "complete"),
    [
        ("2026-11-29", 0, (), "2026-11-30", False),  # nothing yet: the study's own start
        ("2026-11-30", 0, ("K1",), "2026-11-30", False),
        ("2026-12-02", 12, ("K2",), "2026-12-02", False),
        ("2026-12-03", 25, (), "2026-12-03", False),  # that day is today, though the log's last row is older
        ("2026-12-04", 36, (), "2026-12-04", True),  # without `checked` a load counts from its own date on
        ("2027-06-01", 36, (), "2027-06-01", True),  # long after, and not sold: nothing is posted before today
    ],
)
def test_an_order_is_what_the_logs_had_by_that_evening(day, in_hand, under_way, start, complete, kitchen):
    """Counts by the day of their check, loads before it under way, and what is left planned from that day."""
    order = open_order(open_study(kitchen, as_of=day), "kitchen", today=date.fromisoformat(day)).order
    assert (order.good, tuple(load.batch for load in order.under_way)) == (in_hand, under_way)
    assert (order.start.isoformat(), order.complete) == (start, complete)


def test_no_row_is_read_before_its_day():
    """Logs without a row by then are not there; a mould retired later is in use, with no casts of its end."""
    day = pd.to_datetime
    moulds = pd.DataFrame(
        {
            "mould": ["A", "B"],
            "made": day(["2026-01-05", "2026-02-01"]),
            "retired": day(["2026-03-01", None]),
            "casts_at_retirement": [30.0, None],
            "reason": ["torn", None],
        }
    )
    sales = pd.DataFrame({"date": day(["2026-03-01"]), "price": [9.0]})
    early, later = (known_on({"moulds": moulds, "sales": sales}, date(2026, *to)) for to in ((1, 20), (3, 1)))
    assert list(early) == ["moulds"] and early["moulds"].mould.tolist() == ["A"]
    assert early["moulds"][["retired", "casts_at_retirement", "reason"]].isna().all(axis=None)
    assert later["moulds"].casts_at_retirement.tolist()[0] == 30 and len(later["sales"]) == 1


def test_the_evidence_of_a_day_is_that_of_its_rows_and_no_day_is_all_of_them(kitchen):
    """Before the first row a study rests on its guesses; after the last the numbers are those without a day."""
    keys = [set(open_study(kitchen, as_of=day).assumed.evidence) for day in ("2026-11-29", "2030-01-01", None)]
    assert not keys[0] and keys[1] == keys[2] and keys[1]


def test_the_command_takes_the_day_as_today(kitchen):
    """Half-way and finished from one folder; no word of a day gone by, nothing written in the study's records."""
    before = {path: path.read_bytes() for path in (kitchen / "records").iterdir()}
    half = command("order", kitchen, "kitchen", "--as-of", "2026-12-02", "--answer-only")
    done = command("order", kitchen, "kitchen", "--as-of", "2026-12-31", "--answer-only")
    assert half[0] == done[0] == 0 and "Today is" not in half[1] + done[1]
    assert "As the logs stood on the evening of" in half[1]
    assert "14 casts under way" in half[1] and "Complete: all 28 pieces are in hand, with 8 pieces over" in done[1]
    assert before == {path: path.read_bytes() for path in (kitchen / "records").iterdir()}


@pytest.mark.parametrize("day", ["soon", "2026-13-01", "1926-01-01", "2026-12-02 10:00"])
def test_a_day_that_is_none_is_told(day, kitchen):
    """Exit 2 with the option named."""
    code, _, told = command("order", kitchen, "kitchen", "--as-of", day, "--answer-only")
    assert code == 2 and told.startswith("--as-of: ") and repr(day) in told and "Traceback" not in told


def test_a_count_before_the_pour_is_told(kitchen):
    """`checked` on or after the date of its row; a later row with a fault is told whatever the day."""
    log = kitchen / "records" / "batches.csv"
    log.write_text(LOADS.replace("13,2026-12-03", "13,2026-11-03"), encoding="utf-8")
    with pytest.raises(StudyError, match="checked 2026-11-03, poured 2026-12-01"):
        open_study(kitchen, as_of="2026-11-30")
