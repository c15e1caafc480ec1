"""Loads that nobody has counted yet, rows exported again, and how alike the pieces of a load are."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from commands import DATA
from commission_files import ORDERS, faults_of, study
from scipy import stats

from casting_econ.evidence import load_correlation, load_counts, ruined_loads
from casting_econ.kit import open_study
from casting_econ.ledger.logs import LOGS
from casting_econ.ledger.preview import preview
from casting_econ.study import read_study

DEMOS = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")

HEADER = "batch,date,product,casts,good,cure_h,order,note\n"
COUNTED = "T1,2026-01-05,tile,12,10,16.5,,\nT2,2026-01-06,tile,12,11,17,,\nT3,2026-01-07,tile,12,7,17,,\n"
IN_WORK = "T4,2026-01-08,tile,12,,,harbour-house,in the mould\nT5,2026-01-09,tile,12,?,,harbour-house,\n"
FAULTS = "date,batch,product,step,cause,pieces,fate,extra_minutes\n2026-01-06,T1,tile,sand,chip,2,scrap,\n"
OF_WORK = "2026-01-09,T4,tile,sand,chip,3,scrap,\n2026-01-09,T4,,buff,dull,1,rework,4\n"


def test_loads_without_a_count_are_in_work(tmp_path):
    """A blank in good leaves the batches log and is kept apart, in the same columns, and said by name."""
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + COUNTED + IN_WORK, faults=FAULTS + OF_WORK))

    assert list(read.records["batches"].batch) == ["T1", "T2", "T3"]
    assert list(read.in_work.batch) == ["T4", "T5"] and list(read.in_work.order) == ["harbour-house"] * 2
    assert list(read.in_work.columns) == list(read.records["batches"].columns) == list(LOGS["batches"])
    assert list(read.records["faults"].batch) == ["T1"] and list(read.in_work_faults.pieces) == [3, 1]
    assert list(read.in_work_faults.columns) == list(LOGS["faults"])
    assert read.reading.notes[0] == (
        "2 loads of batches.csv have no count of good pieces yet; they count as in work, with their 2 rows of faults.csv."
    )
    [file] = [file for file in read.reading.files if file.log == "batches"]
    assert (file.read, file.used, file.set_aside) == (5, 5, [])
    assert "2 loads without a count in good, still in work: rows 5, 6" in preview(read.reading)


def test_one_load_in_work_is_said_in_the_singular(tmp_path):
    """One load has no count; it counts as in work."""
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + COUNTED + IN_WORK.splitlines()[0] + "\n"))

    assert read.reading.notes == ("1 load of batches.csv has no count of good pieces yet; it counts as in work.",)


def test_evidence_is_as_before_loads_in_work(tmp_path):
    """Loads in work and their faults change no number: logs with and without them give the same evidence and point."""
    with_them = study(tmp_path / "with", ORDERS, batches=HEADER + COUNTED + IN_WORK, faults=FAULTS + OF_WORK)
    without = study(tmp_path / "without", ORDERS, batches=HEADER + COUNTED, faults=FAULTS)
    kits = [open_study(folder) for folder in (with_them, without)]

    for log in ("batches", "faults"):
        pd.testing.assert_frame_equal(*(kit.study.records[log] for kit in kits), check_dtype=log == "batches")
    assert kits[0].assumed.evidence and kits[0].assumed.evidence == kits[1].assumed.evidence
    assert kits[0].point().totals == kits[1].point().totals


def test_study_with_loads_in_work_only_has_no_batches(tmp_path):
    """Where no load was counted yet there is no log of batches, and the study rests on its guesses."""
    kit = open_study(study(tmp_path, ORDERS, batches=HEADER + IN_WORK, faults=FAULTS.replace("01-06,T1", "01-09,T4")))

    assert kit.study.records == {} and len(kit.study.in_work) == 2 and len(kit.study.in_work_faults) == 1
    assert kit.point().totals["pay_per_hour"] == open_study(study(tmp_path / "bare")).point().totals["pay_per_hour"]


@pytest.mark.parametrize("demo", DEMOS)
def test_demos_have_nothing_in_work(demo):
    """The demos' logs name no order and every load is counted: their frames of loads in work are empty, with all columns."""
    read = read_study(DATA / demo)

    assert read.in_work.empty and list(read.in_work.columns) == list(LOGS["batches"])
    assert read.in_work_faults.empty and read.records["batches"].order.isna().all()


def test_study_without_logs_has_nothing_in_work(tmp_path):
    """Without logs the frames are there all the same."""
    read = read_study(study(tmp_path))

    assert list(read.in_work.columns) == list(LOGS["batches"]) and read.in_work.empty
    assert list(read.in_work_faults.columns) == list(LOGS["faults"]) and read.in_work_faults.empty


# id, batches, faults, column, row, what the line must say
BROKEN = [
    (
        "header of good missing",
        HEADER.replace("good,", "") + "T1,2026-01-05,tile,12,16,,\n",
        None,
        "good",
        1,
        "column is missing",
    ),
    ("unknown product in work", HEADER + "T4,2026-01-08,tiel,12,,,,\n", None, "product", 2, "did you mean 'tile'?"),
    ("no casts in work", HEADER + "T4,2026-01-08,tile,,,,,\n", None, "casts", 2, "empty cell"),
    ("more lost than cast", HEADER + IN_WORK, OF_WORK.replace(",3,", ",13,"), "pieces", 2, "13 scrapped or seconds, 12 cast"),
    ("lost before the pour", HEADER + IN_WORK, OF_WORK.replace("01-09,T4,tile", "01-07,T4,tile"), "date", 2, "out of order"),
    ("unknown batch", HEADER + IN_WORK, OF_WORK.replace("T4,tile", "T9,tile"), "batch", 2, "unknown batch"),
    (
        "more lost than counted loads lost",
        HEADER + COUNTED + IN_WORK,
        "2026-01-09,,tile,sand,chip,9,scrap,\n2026-01-09,T4,tile,sand,chip,3,scrap,\n",
        "pieces",
        2,
        "room for 8",
    ),
]


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case[0])
def test_what_is_wrong_with_a_load_in_work_is_told(case, tmp_path):
    """A load in work needs all but its count, and its faults are checked like others."""
    _, batches, faults, column, row, said = case
    logs = {"batches": batches} | ({"faults": FAULTS.splitlines()[0] + "\n" + faults} if faults else {})

    [fault] = faults_of(study(tmp_path, ORDERS, **logs))

    assert (fault.file, fault.column, fault.row) == (f"records/{'faults' if faults else 'batches'}.csv", column, row)
    assert said in str(fault)


def test_unknown_order_is_a_note(tmp_path):
    """An order that is no commission is no fault; one in other capitals is read as its name."""
    rows = COUNTED.replace("16.5,,\n", "16.5,HARBOUR-HOUSE,\n").replace("17,,\n", "17,harbour-hose,\n")
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + rows))

    assert list(read.records["batches"].order) == ["harbour-house", "harbour-hose", "harbour-hose"]
    assert read.reading.notes == (
        "batches.csv names orders that are no commission of study.toml: 'harbour-hose' (did you mean 'harbour-house'?). "
        "An order that is over may stay.",
    )


OPEN_ROW, CLOSED_ROW = "T4,2026-01-08,tile,12,,,harbour-house,in the mould\n", "T4,2026-01-08,tile,12,9,16.5,harbour-house,\n"


@pytest.mark.parametrize("first", ["batches__1", "batches__2"])
def test_row_exported_again_with_its_count_replaces_the_open_one(first, tmp_path):
    """Of the same batch, date, product and casts the counted row counts, whichever file comes first."""
    second = "batches__2" if first == "batches__1" else "batches__1"
    read = read_study(study(tmp_path, ORDERS, **{first: HEADER + COUNTED + OPEN_ROW, second: HEADER + COUNTED + CLOSED_ROW}))

    assert sorted(read.records["batches"].batch) == ["T1", "T2", "T3", "T4"] and read.in_work.empty and read.reading.notes == ()
    assert read.records["batches"].set_index("batch").good["T4"] == 9
    files = {file.place: file for file in read.reading.files}
    old = files[f"records/{first.replace('__', '-')}.csv"]
    assert [one.reason for one in old.set_aside if one.row == 5] == [
        f"counted since, in row 5 of records/{second.replace('__', '-')}.csv"
    ]
    assert all(file.read == file.used + len(file.set_aside) for file in files.values())


def test_row_counted_further_down_the_same_file_replaces_the_open_one(tmp_path):
    """A line written anew below is told as such, and the open one is set aside."""
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + OPEN_ROW + COUNTED + CLOSED_ROW))

    [file] = read.reading.files
    assert [(one.row, one.reason) for one in file.set_aside] == [(2, "counted since, in row 6")]
    assert list(read.records["batches"].batch) == ["T1", "T2", "T3", "T4"]


def test_open_row_that_says_more_replaces_one_that_says_less(tmp_path):
    """Exported again with its cure hours, but not yet counted: the fuller row counts as in work, once."""
    fuller = OPEN_ROW.replace(",,,harbour", ",,16,harbour")
    read = read_study(study(tmp_path, ORDERS, batches__1=HEADER + OPEN_ROW, batches__2=HEADER + fuller))

    assert list(read.in_work.cure_h) == [16.0]
    assert [one.reason for one in read.reading.files[0].set_aside] == ["said again with more in row 2 of records/batches-2.csv"]


@pytest.mark.parametrize(
    ("old", "new", "columns"),
    [
        (OPEN_ROW, CLOSED_ROW.replace("01-08", "01-09"), ["batch", "batch"]),
        (OPEN_ROW, CLOSED_ROW.replace(",12,9", ",11,9"), ["batch", "batch"]),
        (OPEN_ROW, OPEN_ROW.replace("in the mould", "out of it"), ["batch", "batch"]),
        (CLOSED_ROW, CLOSED_ROW.replace(",9,", ",8,"), ["batch", "batch"]),
    ],
    ids=["another date", "other casts", "two open rows that disagree", "two counts"],
)
def test_rows_that_disagree_are_still_the_same_id_twice(old, new, columns, tmp_path):
    """Nothing is guessed where rows of one batch are not the same load, or say different things."""
    faults = faults_of(study(tmp_path, ORDERS, batches__1=HEADER + old, batches__2=HEADER + new))

    assert [fault.column for fault in faults] == columns
    assert {fault.wrong for fault in faults} == {"the same id twice"}


def test_correlation_without_batches_is_the_prior(tmp_path):
    """Beta(1, 19), whose q-quantile is 1 - (1 - q)^(1/19) by its distribution function 1 - (1 - x)^19; mean 0.05."""
    found, chances = load_correlation(read_study(study(tmp_path)), "tile"), np.array([0.1, 0.5, 0.9])

    assert found.middle == pytest.approx(0.05)
    assert found.quantile(chances) == pytest.approx(1 - (1 - chances) ** (1 / 19), rel=1e-6)


def batches_of(counts):
    """A batches log of loads of 12 with these good."""
    days = [dt.date(2026, 1, 1) + dt.timedelta(days=at) for at in range(len(counts))]
    return HEADER + "".join(f"T{at},{day},tile,12,{good},,,\n" for at, (day, good) in enumerate(zip(days, counts)))


def mean_by_plain_sum(counts):
    """Posterior mean of the correlation by a sum over a grid of share and correlation, with scipy's beta-binomial.

    Share beta(7.2, 2.8): 0.9 x 0.8 stated, worth 10; correlation beta(1, 19).
    """
    shares, alike = (np.arange(300) + 0.5) / 300, (np.arange(300) + 0.5)[:, None] / 300 * 0.9
    strength = (1 - alike) / alike
    logs = stats.beta(7.2, 2.8).logpdf(shares) + stats.beta(1, 19).logpdf(alike)
    for good in counts:
        logs = logs + stats.betabinom.logpmf(good, 12, shares * strength, (1 - shares) * strength)
    weights = np.exp(logs - logs.max())
    return float((weights * alike).sum() / weights.sum())


@pytest.mark.parametrize("counts", [[10, 11, 9, 10, 12, 8], [12, 4, 12, 6, 12, 12, 3], [10]])
def test_correlation_equals_a_plain_sum(counts, tmp_path):
    """The posterior mean is that of a plain sum, which is good to 0.001 of it, and up to 1.2 % above.

    Its density is joined by straight lines between 71 points 0.15 apart in log-odds: at a correlation of 0.1, where the prior
    falls by 19 x 0.0135 = 26 % from point to point, a line lies 0.26²/12 = 0.6 % above the curve, and more further out.
    """
    found = load_correlation(read_study(study(tmp_path, batches=batches_of(counts))), "tile")

    assert 0.999 < found.middle / mean_by_plain_sum(counts) < 1.012


def test_correlation_leaves_out_ruined_loads(tmp_path):
    """A load with nothing good among good ones is ruined, not correlated: it is as if it were not there."""
    usual = [10, 11, 9, 10, 12, 10, 11, 10]
    with_it = read_study(study(tmp_path / "a", batches=batches_of([*usual, 0])))
    without = read_study(study(tmp_path / "b", batches=batches_of(usual)))

    assert len(ruined_loads(load_counts(with_it, "tile"))) == 1
    assert load_correlation(with_it, "tile") == load_correlation(without, "tile")
    assert (
        load_correlation(with_it, "tile").middle
        < 0.05
        < load_correlation(read_study(study(tmp_path / "c", batches=batches_of([12, 2, 12, 3, 12, 2, 12, 12]))), "tile").middle
    )


def test_correlation_of_an_unknown_product_is_refused(tmp_path):
    """A product that the study has not is a programming error, told as such."""
    with pytest.raises(KeyError, match="tiel"):
        load_correlation(read_study(study(tmp_path)), "tiel")
