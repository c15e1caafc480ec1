"""Packs for a partner: what goes in, that they verify, that each change is named, and that hostile archives are refused."""

import hashlib
import io
import json
import os
import re
import shutil
import stat
import struct
import tempfile
import tomllib
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from commands import DATA, command, only_pages
from openpyxl import load_workbook
from openpyxl.comments import Comment

from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.ledger import LOGS
from casting_econ.running import run
from casting_econ.running.results import as_json, results
from casting_econ.sharing.form import read_pack, write_study, zipped
from casting_econ.sharing.pack import installed_versions, pack_study
from casting_econ.sharing.redact import packed_records, packed_study_file
from casting_econ.sharing.verify import verify_pack
from casting_econ.study import read_study

BUYERS = ("Ottoline Quern", "Barnaby Thrupp", "Märta Ödquist")  # invented


def members_of(archive):
    """Every member of an archive, unpacked."""
    with zipfile.ZipFile(archive) as book:
        return {name: book.read(name) for name in book.namelist()}


def with_customers(folder, demo="kelpmoor-handles"):
    """A demo whose sales name invented customers, some of them with separators and quotes in their names."""
    study = Path(shutil.copytree(DATA / demo, folder))
    path = study / "records" / "sales.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    names = [BUYERS[0], f'"{BUYERS[1]}, ""Barn"""', BUYERS[2]]
    lines = [f"{head.replace('channel', 'Customer,channel', 1)}"]
    for number, row in enumerate(rows):
        date, order, rest = row.split(",", 2)
        lines.append(f"{date},{order},{names[number % 3]},{rest}")
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode())
    text = (study / "study.toml").read_text(encoding="utf-8").replace("draws = 8192", "draws = 256")
    (study / "study.toml").write_text(text + '\n[records.columns.sales]\nCustomer = "ignore"\n', encoding="utf-8")
    return study


@pytest.fixture(scope="module")
def one_page():
    """Only one page is run, so that these tests are quick; tests/test_fresh_environment.py runs them all."""
    with pytest.MonkeyPatch.context() as patch:
        only_pages(patch, "03_cost")
        yield


@pytest.fixture(scope="module")
def packed(one_page, tmp_path_factory):
    """A study with customers, its pack, and what was said."""
    folder = tmp_path_factory.mktemp("a folder with spaces")
    study = with_customers(folder / "my study")
    code, out, err = command("pack", study, "--out", folder / "the pack.zip")
    assert (code, err) == (0, "")
    return study, folder / "the pack.zip", out


def repacked(archive, target, change, *, rehash=True):
    """A pack with changed members, its manifest made to fit or not."""
    members = members_of(archive)
    change(members)
    if rehash:
        listed = json.loads(members["manifest.json"])
        listed["members"] = {name: hashlib.sha256(data).hexdigest() for name, data in members.items() if name != "manifest.json"}
        members["manifest.json"] = json.dumps(listed).encode()
    target.write_bytes(zipped(members))
    return target


# --- what goes in


def test_no_customer_is_left_in_any_member(packed):
    """The names are in no member, unpacked or packed, and the pack and the terminal both list what was left out."""
    study, archive, said = packed
    members = members_of(archive)

    assert BUYERS[0].encode() in (study / "records" / "sales.csv").read_bytes()
    for name, data in [*members.items(), ("whole", archive.read_bytes())]:
        for part in (word for buyer in BUYERS for word in buyer.split()):
            for codec in ("utf-8", "utf-16-le", "cp1252"):
                assert part.encode(codec) not in data, name
    for text in (said, members["README.txt"].decode()):
        assert "sales.Customer: may name people" in text
    assert "sales.Customer" in json.loads(members["manifest.json"])["left_out"]


def as_in_a_pack(study, folder, keep=()):
    """What a pack of a study holds of it, below a folder."""
    study = study if not isinstance(study, Path) else read_study(study)
    records = packed_records(study, keep)
    members = {"study/study.toml": packed_study_file(study)}
    members |= {f"study/records/{name}": data for name, data in records.files.items()}
    return write_study(members, folder), records


def in_full(kit):
    """All that a study's logs tell, to the last digit, and what comes of it; but for where functions lie in memory."""
    told = repr((kit.assumed.evidence, kit.assumed.numbers, kit.assumed.uncertain, kit.study.reading.notes))
    return re.sub(r" at 0x\w+", "", told), as_json(results(kit, kit.monte_carlo(draws=256)))


STUDIES = sorted(path.parent.relative_to(DATA).as_posix() for path in DATA.rglob("study.toml") if "report" not in path.parts)


@pytest.mark.parametrize("name", STUDIES)
def test_a_pack_tells_what_the_study_tells(name, tmp_path):
    """Evidence, numbers and results of each demo and each messy twin are the same bytes in the pack; its files are the logs' own columns."""
    study, records = as_in_a_pack(DATA / name, tmp_path)

    assert in_full(open_study(study)) == in_full(open_study(DATA / name))
    for path in (study / "records").iterdir():
        heads = path.read_text(encoding="utf-8").partition("\n")[0].split(",")
        assert set(heads) <= set(LOGS[path.stem]) - {"note"} and len(set(heads)) == len(heads)
    assert {f"{log}.csv" for log in records.frames} == {path.name for path in (study / "records").iterdir()}
    again = as_in_a_pack(study, tmp_path / "again")[1]
    assert (
        again.files == records.files and not again.left_out
    )  # packed again it is the same bytes, with nothing more to leave out


def test_a_file_of_records_goes_as_the_log_that_was_read(packed):
    """The demo's own lines come back in plain CSV, though customers stood among them and the line ends were changed."""
    own = (DATA / "kelpmoor-handles" / "records" / "sales.csv").read_text(encoding="utf-8").splitlines()
    new = members_of(packed[1])["study/records/sales.csv"].decode().splitlines()
    heads = [line[0].split(",") for line in (own, new)]

    assert b"\r" not in members_of(packed[1])["study/records/sales.csv"] and len(own) == len(new)
    assert set(heads[1]) <= set(heads[0])
    for one, other in zip(own[1:], new[1:]):
        cells = dict(zip(heads[0], one.split(",")))
        for head, cell in zip(heads[1], other.split(",")):
            assert cells[head] == cell or float(cells[head]) == float(cell)


def test_a_column_may_be_kept_and_the_pack_says_so(tmp_path):
    """--keep-column keeps one that is read, by the log's name or its own heading; one that is not there or not read is told."""
    study = with_customers(tmp_path / "s")
    read = read_study(study)

    assert b"note" not in packed_records(read).files["batches.csv"].partition(b"\n")[0]
    found = packed_records(read, ("batches.Note",))
    assert found.kept == ["batches.note"] and "batches.note" not in found.left_out
    notes = read.records["batches"].note.dropna()
    assert len(notes) and all(note.encode() in found.files["batches.csv"] for note in notes if '"' not in note)
    code, _, err = command("pack", study, "--out", tmp_path / "x.zip", "--keep-column", "sales.custommer")
    assert code == 2 and "no such column" in err and "sales.Customer" in err
    code, _, err = command("pack", study, "--out", tmp_path / "x.zip", "--keep-column", "sales.customer")
    assert code == 2 and "the study does not read it" in err and '"Customer" = "note" under [records.columns.sales]' in err
    assert not (tmp_path / "x.zip").exists()


def test_a_needed_column_that_names_customers_is_not_packed_silently(packed, tmp_path):
    """Where the study reads a customer column as something it needs, the maker must say that it may go along."""
    study = Path(shutil.copytree(packed[0], tmp_path / "s"))
    path = study / "records" / "sales.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("Customer,channel", "who,buyer channel", 1), encoding="utf-8")
    text = (study / "study.toml").read_text(encoding="utf-8")
    text = text.replace('Customer = "ignore"', 'who = "ignore"\n"buyer channel" = "channel"')
    (study / "study.toml").write_text(text, encoding="utf-8")

    with pytest.raises(StudyError, match=r'may name customers and cannot be left out.*--keep-column "sales.buyer channel"'):
        packed_records(read_study(study))
    assert "sales.who" in packed_records(read_study(study), ("sales.buyer channel",)).left_out


ODD = {  # minutes of a timesheet that plain CSV could be read otherwise by
    "three decimals": ["1.234", "2.125"],
    "powers of ten": ["0.00001234", "1e-7", "3"],
    "intervals": ["10 to 12", "2 to 3", "4"],
    "whole": ["5", "7", "1200"],
    "whole in part": ["5.0", "7", "12"],
}


@pytest.mark.parametrize("case", ODD)
def test_figures_are_read_again_as_they_were(case, tmp_path):
    """Every value and its kind come back, also where the study's locale writes a decimal comma and only [records] told of a point."""
    study = Path(shutil.copytree(DATA / "hollin-quay-pulls", tmp_path / "s"))
    lines = ["date;step;minutes;product;pieces_handled"]
    lines += [f"2026-08-04;demould-and-clean;{cell};cord-pull;33" for cell in ODD[case]] + ["2026-08-05;demould-and-clean;9.5;;"]
    (study / "records" / "timesheet.csv").write_text("\n".join(lines[: -1 if case == "three decimals" else None]) + "\n")
    text = re.sub(r"\nlocale = .*", "", (study / "study.toml").read_text(encoding="utf-8"))
    text = text.replace('currency = "USD"', 'currency = "USD"\nlocale = "de_DE"', 1)
    (study / "study.toml").write_text(text + '\n[records]\ndecimal = "point"\n', encoding="utf-8")
    before = read_study(study).records["timesheet"].drop(columns="note")
    again = read_study(as_in_a_pack(study, tmp_path)[0]).records["timesheet"].drop(columns="note")

    assert before.minutes.iloc[0] == {"three decimals": 1.234, "powers of ten": 1.234e-5, "intervals": 11.0}.get(case, 5.0)
    assert again.reset_index(drop=True).equals(before.reset_index(drop=True))


def test_a_study_with_nothing_to_pack_yet_packs(tmp_path):
    """No records at all, and logs with a header only: no file of records goes, nothing is left out, the study reads alike."""
    for name in ("none", "headers"):
        study = Path(shutil.copytree(DATA / "hollin-quay-pulls", tmp_path / name))
        for path in (study / "records").iterdir():
            head = path.read_text(encoding="utf-8").partition("\n")[0]
            path.unlink() if name == "none" else path.write_text(head + "\n", encoding="utf-8")
        folder, found = as_in_a_pack(study, tmp_path / f"{name} packed")
        assert (found.files, found.left_out, found.kept) == ({}, {}, [])
        assert read_study(folder).raw == read_study(study).raw and not read_study(folder).records


def test_words_that_a_reader_stumbles_over_come_back(tmp_path):
    """Separators, quotes and line ends in a cell, a code that could be a date, a mould named like a remark, and a load still in work."""
    study = Path(shutil.copytree(DATA / "hollin-quay-pulls", tmp_path / "s"))
    head = "Batch;date;product;station;casts;good;moulds"
    rows = [
        '3-Apr;2026-08-03;cord-pull;pressure-pot;33;26;"# 1 ""a"",\nb"',
        "P2;2026-08-06;cord-pull;pressure-pot;33;29;Total",
        "P3;2026-08-11;cord-pull;pressure-pot;33;;",
    ]
    (study / "records" / "batches.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    (study / "records" / "faults.csv").unlink()
    with (study / "study.toml").open("a", encoding="utf-8") as file:
        file.write('\n[records.words.batch]\n"3-Apr" = "3-Apr"\n# a remark stays\n')
    before, after = read_study(study), read_study(as_in_a_pack(study, tmp_path)[0])

    assert before.records["batches"].batch.tolist() == ["3-Apr", "P2"] and len(before.in_work) == 1
    for one, other in ((before.records["batches"], after.records["batches"]), (before.in_work, after.in_work)):
        assert other.reset_index(drop=True).equals(one.reset_index(drop=True))
    assert "# a remark stays" in (after.folder / "study.toml").read_text(encoding="utf-8")


def test_a_workbook_goes_as_the_logs_in_it(tmp_path):
    """Hidden and ignored sheets, comments, document properties and a customer column stay behind; the logs are read alike."""
    study = Path(shutil.copytree(DATA / "messy-twins" / "gannet-lane-figures", tmp_path / "s"))
    path = study / "records" / "Workshop book.xlsx"
    book = load_workbook(path)
    book.properties.creator = book.properties.lastModifiedBy = "Ottoline Quern"
    sheet = next(sheet for sheet in book if sheet.title.lower().startswith("timesheet"))
    sheet.cell(1, 1).comment = Comment("asked by Ottoline Quern", "Ottoline Quern")
    hidden = book.create_sheet("Buyers")
    hidden.sheet_state = "hidden"
    hidden.append(["Ottoline Quern", "12 Mill Lane"])
    book.save(path)
    text = (study / "study.toml").read_text(encoding="utf-8")
    (study / "study.toml").write_text(text + '\n[records.files]\n"Workshop book.xlsx/Buyers" = "ignore"\n', encoding="utf-8")
    before = read_study(study)
    folder, found = as_in_a_pack(before, tmp_path)
    after = read_study(folder)

    assert found.left_out["Workshop book.xlsx/Buyers"] == "the study does not read it"
    assert not any(b"Ottoline" in data or b"Mill Lane" in data for data in found.files.values())
    for log, frame in before.records.items():
        columns = [name for name in frame if name != "note"]
        assert after.records[log][columns].reset_index(drop=True).equals(frame[columns].reset_index(drop=True)), log


def test_how_records_are_read_stays_behind_wherever_it_stands(tmp_path):
    """Every form of [records] goes, the rest of the file stays; one that cannot be parted from the rest is refused with the remedy."""
    text = (DATA / "hollin-quay-pulls" / "study.toml").read_text(encoding="utf-8")
    forms = (
        'records.dates = "year first"\n' + text,
        text + '\n[ "records" ]\ndates = "year first" # so\n[records.words]\nfate = { bin = "scrap" }\n',
        text.replace("[target]", '[records]\ndates = "year first"\n\n# of the target\n[target]'),
    )
    whole = tomllib.loads(text)
    for number, form in enumerate(forms):
        study = Path(shutil.copytree(DATA / "hollin-quay-pulls", tmp_path / str(number)))
        (study / "study.toml").write_text(form, encoding="utf-8")
        new = packed_study_file(read_study(study)).decode()
        assert tomllib.loads(new) == whole
        assert ("# of the target" in new) == ("# of the target" in form)
    (study / "study.toml").write_text('records = { words = { fate = { bin = """\n[x]\n""" } } }\n' + text, encoding="utf-8")
    with pytest.raises(StudyError, match="cannot be parted from the rest of the file; right would be"):
        packed_study_file(replace(read_study(DATA / "hollin-quay-pulls"), folder=study, raw=whole | {"records": {}}))


def test_a_cell_that_would_be_read_otherwise_is_told(tmp_path, monkeypatch):
    """Where what is written is not read again as it was, the pack is refused with the cell, and nothing is written."""
    real = packed_records

    def other(*args):
        found = real(*args)
        found.frames["timesheet"] = found.frames["timesheet"].astype({"minutes": float})
        found.frames["timesheet"].iloc[1, found.frames["timesheet"].columns.get_loc("minutes")] = 99.5
        return found

    monkeypatch.setattr("casting_econ.sharing.pack.packed_records", other)
    with pytest.raises(StudyError, match=r"records/timesheet.csv:3:minutes: would be read otherwise in a pack; found .*99.5"):
        pack_study(DATA / "hollin-quay-pulls", tmp_path / "x.zip", say=lambda _: None)
    assert list(tmp_path.iterdir()) == []


def test_a_name_that_stands_elsewhere_is_pointed_at(packed, tmp_path):
    """Somebody of a column left out who is named in the study file too is told, before anything is written."""
    study = Path(shutil.copytree(packed[0], tmp_path / "s"))
    with (study / "study.toml").open("a", encoding="utf-8") as file:
        file.write(f"# {BUYERS[0]} wants blue ones\n")
    (study / "study.toml").write_text((study / "study.toml").read_text(encoding="utf-8"), encoding="utf-8")
    said = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("casting_econ.sharing.pack.run_study", lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            pack_study(study, tmp_path / "x.zip", say=said.append)

    assert any(line.startswith("Look at study.toml: 'Ottoline Quern'") for line in said)
    assert not (tmp_path / "x.zip").exists()


def test_pins_hold_every_distribution_the_kit_needs(packed):
    """Each requirement of the kit, and of what it needs, is pinned to what is installed; nothing else stands there."""
    pins = members_of(packed[1])["requirements.txt"].decode().split()

    assert all(pin.count("==") == 1 for pin in pins)
    names = {pin.split("==")[0].lower().replace("_", "-") for pin in pins}
    assert {"numpy", "papermill", "pandas", "jupyterlab", "pyzmq", "tornado", "fqdn"} <= names  # the last by an extra of an extra
    assert not {"python", "casting-econ", "pytest", "ruff"} & names


def test_the_same_study_packs_to_the_same_bytes(packed, tmp_path):
    """Sorted members, one date, no clock and no path in it; run from elsewhere, into another place."""
    study = Path(shutil.copytree(packed[0], tmp_path / "my study"))
    pack_study(study, tmp_path / "again.zip", say=lambda _: None)

    assert (tmp_path / "again.zip").read_bytes() == packed[1].read_bytes()


def test_a_total_in_a_column_left_out_stays_no_event(packed, tmp_path):
    """The word Total stands in the customer column only: the row is no sale in the study, and none in the pack."""
    study = Path(shutil.copytree(packed[0], tmp_path / "s"))
    with (study / "records" / "sales.csv").open("a", encoding="utf-8", newline="") as file:
        file.write(",,Total,,,9999,,,,,,,\r\n")

    assert packed_records(read_study(study)).files["sales.csv"] == members_of(packed[1])["study/records/sales.csv"]


@pytest.mark.parametrize("name,says", [("x.tar", "ends in .zip"), ("other.zip", "is no pack"), ("none/x.zip", "not there")])
def test_a_pack_takes_no_place_that_is_not_its_own(packed, tmp_path, name, says):
    """What is there and no pack stays as it is."""
    (tmp_path / "other.zip").write_bytes(b"mine")
    code, _, err = command("pack", packed[0], "--out", tmp_path / name)

    assert code == 2 and says in err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"other.zip": b"mine"}


# --- verifying


def test_a_pack_verifies_from_another_folder(packed, tmp_path, monkeypatch):
    """Moved elsewhere, with the current folder elsewhere too: the same numbers, and study and report kept where asked."""
    (tmp_path / "at my partner's").mkdir()
    shutil.copy(packed[1], tmp_path / "at my partner's" / "p.zip")
    monkeypatch.chdir(tmp_path)
    code, out, err = command("verify", "at my partner's/p.zip", "--out", "here it is")

    assert (code, err) == (0, "")
    assert "Same numbers: all" in out
    assert (tmp_path / "here it is" / "report" / "results.json").read_bytes() == members_of(packed[1])["report/results.json"]
    code, _, err = command("verify", "at my partner's/p.zip", "--out", "here it is", "--quick")
    assert code == 2 and "is there already" in err


@pytest.mark.parametrize(
    "member",
    [
        "study/study.toml",
        "study/records/batches.csv",
        "study/records/sales.csv",
        "report/results.json",
        "report/report.html",
        "README.txt",
    ],
)
def test_a_changed_byte_is_named(packed, tmp_path, member):
    """One byte of any member, though nothing in the study reads it: named by file, exit code 1."""

    def change(members):
        members[member] = members[member] + b"\n"

    code, out, _ = command("verify", repacked(packed[1], tmp_path / "p.zip", change, rehash=False), "--quick")

    assert code == 1
    assert f"Not what was packed:\n  {member}: packed bytes" in out
    assert "not everything is as it was packed" in out


def test_a_changed_assumption_is_named_with_what_it_does(packed, tmp_path):
    """A price changed in the study file: the file by its hash; with a manifest made to fit, each quantity it moves."""

    def change(members):
        text = members["study/study.toml"].decode()
        members["study/study.toml"] = text.replace('\nprice = "96.00 EUR"', '\nprice = "97.00 EUR"').encode()
        assert members["study/study.toml"] != text.encode()

    plain = verify_pack(repacked(packed[1], tmp_path / "p.zip", change, rehash=False), quick=True)
    fitted = verify_pack(repacked(packed[1], tmp_path / "q.zip", change), quick=True)

    assert [one.partition(":")[0] for one in plain.changed] == ["study/study.toml"]
    assert fitted.changed == []
    named = {one.partition(":")[0] for one in fitted.numbers}
    assert {"results.json, stated.pay_per_hour", "results.json, stated.revenue_per_year"} <= named
    assert not any("minutes_per_good_piece" in what for what in named)


def as_packed(monkeypatch, packed):
    """A run gives what is in the pack itself, as the first test proves; so that each change of it need not run the study."""

    def ran(study, report, **_):
        for name, data in members_of(packed[1]).items():
            target = report / name.removeprefix("report/")
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)

    monkeypatch.setattr(run, "run_study", ran)


def picture(members, change):
    """Put another picture in the place of the report's first; `change` takes and gives what is drawn, as bytes."""
    page = members["report/report.html"]
    old = re.search(rb"data:image/svg\+xml,([^']+)", page)[1]
    new = change(old)
    assert new != old
    members["report/report.html"] = page.replace(old, new, 1)


def rounded_otherwise(drawn):
    """One more in the fourth digit of each place between ten and a hundred."""
    return re.sub(rb"\b(\d\d\.\d)([0-8])\b", lambda place: b"%s%d" % (place[1], int(place[2]) + 1), drawn)


ADDED = {
    "a script": (
        lambda m: m.update({"report/report.html": m["report/report.html"] + b"<script>1</script>"}),
        "report.html, from line",
    ),
    "a picture": (lambda m: picture(m, lambda drawn: drawn.replace(b"L", b"M", 1)), "report.html, picture 1 of"),
    "a picture of another place": (
        lambda m: picture(m, lambda drawn: re.sub(rb"L(\d)", rb"L9\1", drawn, count=1)),
        "report.html, picture 1 of",
    ),
    "a picture in another colour": (
        lambda m: picture(m, lambda drawn: drawn.replace(b"%230072b2", b"%239972b2")),
        "report.html, picture 1 of",
    ),
    "a table": (lambda m: m.update({"report/tables/more.csv": b"a\n1\n"}), "tables/more.csv: packed a table, found none"),
    "a readme": (lambda m: m.update({"README.txt": m["README.txt"] + b"Run this first.\n"}), "README.txt, from line"),
    "a pin": (lambda m: m.update({"requirements.txt": m["requirements.txt"] + b"evil==1.0\n"}), "requirements.txt, from line"),
    "a result": (
        lambda m: m.update({"report/results.json": m["report/results.json"].replace(b"{", b'{"point.pay_per_hour": 99,', 1)}),
        "results.json, point.pay_per_hour: packed 99, found 'nothing'",
    ),
}


@pytest.mark.parametrize("case", ADDED)
def test_what_is_put_into_any_member_is_named_or_said_to_be_unchecked(packed, tmp_path, monkeypatch, case):
    """With a manifest made to fit: the full check names it, exit code 1; the quick one names it or says that it did not look."""
    change, says = ADDED[case]
    as_packed(monkeypatch, packed)
    archive = repacked(packed[1], tmp_path / "p.zip", change)
    code, out, _ = command("verify", archive)
    assert code == 1 and says in out

    code, out, _ = command("verify", archive, "--quick")
    assert "Same numbers" not in out
    assert (code == 1 and says in out) or "NOT checked with --quick: the words, scripts and pictures of report.html, and" in out


def test_the_verdict_names_what_was_compared(packed, tmp_path, monkeypatch):
    """An honest pack: every member is named as compared, unchecked or taken as it came; a picture in other bytes is told as such."""
    as_packed(monkeypatch, packed)
    full, quick = (verify_pack(packed[1], quick=one, say=lambda _: None) for one in (False, True))
    lines = "\n".join(full.lines())

    assert full.same and quick.same
    assert "Same numbers: all" in lines and "NOT checked" not in lines
    tables = sum(name.startswith("report/tables/") for name in members_of(packed[1]))
    for part in ("results.json", f"{tables} tables", "pictures of report.html.", "README.txt", "requirements.txt"):
        assert part in lines
    assert "Taken as they came, as all this is worked out from them: study.toml," in lines
    assert f"{tables} tables. At most their hashes" in quick.lines()[-1] and quick.lines()[0].startswith("Same results: all")
    other = verify_pack(repacked(packed[1], tmp_path / "p.zip", lambda m: picture(m, rounded_otherwise)), say=lambda _: None)
    assert other.same and "1 of them the same to the eye in other bytes" in "\n".join(other.lines())


def test_a_changed_result_table_or_word_is_named(packed, tmp_path, monkeypatch):
    """Figures in a table and words or scripts in the report are compared too, with a manifest made to fit."""

    def change(members):
        name = next(name for name in members if name.startswith("report/tables/cost"))
        rows = members[name].decode().split("\n")
        cells = rows[1].split(",")
        at = next(i for i, cell in enumerate(cells) if "." in cell)
        cells[at] = "123.5"
        members[name] = "\n".join([rows[0], ",".join(cells), *rows[2:]]).encode()
        members["report/report.html"] = members["report/report.html"].replace(b"</body>", b"<script>alert(1)</script></body>")
        results = json.loads(members["report/results.json"])
        results["point"]["pay_per_hour"] *= 1.0001
        members["report/results.json"] = json.dumps(results).encode()

    as_packed(monkeypatch, packed)
    code, out, _ = command("verify", repacked(packed[1], tmp_path / "p.zip", change))

    assert code == 1
    assert "results.json, point.pay_per_hour: packed" in out
    assert "tables/cost-knob.csv, row 1" in out and "packed '123.5', found" in out
    assert "report.html, from line" in out and "script" in out
    assert "NOT the same numbers: 3 differences" in out


def test_a_changed_version_is_named(packed, tmp_path):
    """Another numpy, a kit of another code, another page: each by name, with both."""

    def change(members):
        listed = json.loads(members["manifest.json"])
        listed["versions"]["numpy"] = "1.0.0"
        listed["code"] = "0" * 64
        listed["notebooks"]["03_cost"] = "1" * 64
        listed["seed"] += 1
        members["manifest.json"] = json.dumps(listed).encode()

    found = verify_pack(repacked(packed[1], tmp_path / "p.zip", change), quick=True)
    text = "\n".join(found.lines())

    assert not found.same and not found.numbers
    assert f"numpy: packed 1.0.0, found {installed_versions()['numpy']}" in text
    assert "code of casting_econ" in text and "page 03_cost" in text
    assert (
        "requirements.txt, from line" in text
        and f"numpy=={installed_versions()['numpy']}" in text
        and "seed of the manifest" in text
    )


def test_a_study_with_faults_is_told_not_run(packed, tmp_path):
    """A pack whose study cannot be read says why, in the study's own words, with exit code 1."""

    def change(members):
        members["study/study.toml"] = members["study/study.toml"].replace(b'currency = "EUR"', b'currency = "euros"')

    code, out, err = command("verify", repacked(packed[1], tmp_path / "p.zip", change))

    assert code == 1 and "Traceback" not in err
    assert "Nothing could be worked out" in out and "study.currency" in out


def test_names_within_names_in_a_pack_are_told(packed, tmp_path):
    """A study in a pack with a change nested 390 deep is told as a fault of the pack, without walking down it."""

    def change(members):
        members["study/study.toml"] += f"\n[scenarios.x]\nwhat = 'x'\nchange.{'.'.join('a' * 390)} = 1\n".encode()

    code, out, _ = command("verify", repacked(packed[1], tmp_path / "p.zip", change), "--quick")

    assert code == 1 and "Nothing could be worked out" in out and "at most 20 levels" in out


# --- hostile archives


def _raw(members, more=(), packing=zipfile.ZIP_STORED):
    """An archive as a pack is one, but for some members more at its end, or all of them packed."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as book:
        for name, content in [*sorted(members.items()), *more]:
            item = name if isinstance(name, zipfile.ZipInfo) else zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            item.create_system, item.external_attr = 3, item.external_attr or (stat.S_IFREG | 0o644) << 16
            item.compress_type = packing
            book.writestr(item, content)
    return data.getvalue()


def _named(name):
    def make(members):
        return _raw(members, more=[(name, b"x")])

    return make


def _typed(mode):
    def make(members):
        item = zipfile.ZipInfo("report/tables/more.csv", (1980, 1, 1, 0, 0, 0))
        item.create_system, item.external_attr = 3, mode << 16
        return _raw(members, more=[(item, b"/etc/passwd")])

    return make


def _member(name, content):
    def make(members):
        return _raw({**members, name: content})

    return make


def _bytes(change):
    def make(members):
        return change(_raw(members))

    return make


def _manifest(change):
    def make(members):
        listed = json.loads(members["manifest.json"])
        change(listed)
        return _raw({**members, "manifest.json": json.dumps(listed).encode()})

    return make


def _without(name):
    def make(members):
        return _raw({key: data for key, data in members.items() if key != name})

    return make


def _lying_size(members):
    """A bomb that says it is small: the size in both headers is changed."""
    data = bytearray(_raw({**members, "study/records/sales.csv": b"0" * 60_000_000}, packing=zipfile.ZIP_DEFLATED))
    size = struct.pack("<I", 60_000_000)
    return bytes(data.replace(size, struct.pack("<I", 1000)))


def _overlap(members):
    """Two members of the directory that are the same bytes of the file."""
    data = _raw(members, more=[("report/tables/more.csv", b"x" * 50)])
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        first, last = book.infolist()[0], book.infolist()[-1]
    at = data.rindex(struct.pack("<I", last.header_offset) + b"report/tables/more.csv")
    return data[:at] + struct.pack("<I", first.header_offset) + data[at + 4 :]


def _encrypted(data):
    """The flag of a password set on every member."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        offsets = [item.header_offset for item in book.infolist()]
        start = book.start_dir
    data = bytearray(data)
    for offset in offsets:
        data[offset + 6] |= 1
    at = start
    while data[at : at + 4] == b"PK\x01\x02":
        data[at + 8] |= 1
        at += 46 + sum(struct.unpack("<HHH", data[at + 28 : at + 34]))
    return bytes(data)


def _local_name(data):
    """A local header that names another file than the directory."""
    return data.replace(b"study/study.toml", b"study/studi.toml", 1)


def _in_directory(field, form, value, local=None):
    """A figure of a member's entry in the directory, and of its own header, by their places there; see the ZIP format, 4.3."""

    def make(members):
        data = bytearray(zipped(members))
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            start, offset = book.start_dir, min(book.infolist(), key=lambda item: item.filename).header_offset
        struct.pack_into(form, data, start + field, value)
        if local is not None:
            struct.pack_into(form, data, offset + local, value)
        return bytes(data)

    return make


def _at_end(field, form, value):
    """A figure of the record that ends the directory."""

    def make(members):
        data = bytearray(zipped(members))
        struct.pack_into(form, data, len(data) - 22 + field, value)
        return bytes(data)

    return make


def _between(members):
    """Bytes hidden between the last member and the directory, its place moved on."""
    data = zipped(members)
    start = int.from_bytes(data[-6:-2], "little")
    return data[:start] + b"hidden" + data[start:-6] + struct.pack("<L", start + 6) + data[-2:]


def _behind(members):
    """Bytes hidden behind the end of a member's packed stream, its packed size in both headers made to fit."""
    data = zipped(members)
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        start, last = book.start_dir, max(book.infolist(), key=lambda item: item.header_offset)
    new = bytearray(data[:start] + b"hidden" + data[start:])
    at = new.rindex(last.filename.encode(), 0, len(new)) - 46
    for place in (last.header_offset + 18, at + 20):
        struct.pack_into("<L", new, place, last.compress_size + 6)
    struct.pack_into("<L", new, len(new) - 6, start + 6)
    return bytes(new)


HOSTILE = {
    "huge-size": (_in_directory(24, "<L", 2**32 - 2), "another form"),
    "huge-size-twice": (_in_directory(24, "<L", 2**32 - 2, local=22), "another form"),
    "size": (_in_directory(24, "<L", 900_000, local=22), "another form"),
    "size-in-one": (_in_directory(24, "<L", 900_000), "another form"),
    "huge-packed-size": (_in_directory(20, "<L", 2**31), "no whole archive|another form"),
    "offset": (_in_directory(42, "<L", 2**31), "no whole archive"),
    "date": (_in_directory(12, "<L", 1), "another form"),
    "remark": (_in_directory(32, "<H", 5), "no whole archive"),
    "count": (_at_end(10, "<H", 65_535), "another form"),
    "count-of-one": (_at_end(10, "<H", 1), "another form"),
    "disk": (_at_end(4, "<H", 7), "another form"),
    "directory-size": (_at_end(12, "<L", 2**31), "no whole archive"),
    "directory-place": (_at_end(16, "<L", 2**31), "no whole archive"),
    "between": (_between, "another form"),
    "behind": (_behind, "no whole archive|another form"),
    "older": (_manifest(lambda listed: listed.update(pack=1)), "pack: Input should be greater than or equal to 2"),
    "true-for-one": (_manifest(lambda listed: listed.update(pack=True)), "pack: Input should be a valid integer"),
    "outside": (_named("../evil.csv"), "an unknown file"),
    "outside-inside": (_named("study/records/../../../evil.csv"), "an unknown file"),
    "absolute": (_named("/tmp/evil.csv"), "an unknown file"),
    "drive": (_named("C:/evil.csv"), "an unknown file"),
    "backslash": (_named("study\\records\\..\\..\\evil.csv"), "an unknown file"),
    "home": (_named("~/evil.csv"), "an unknown file"),
    "device-name": (_named("study/records/CON.csv"), "an unknown file"),
    "control": (_named("study/records/a\x1b[31m.csv"), "an unknown file"),
    "turned-round": (_named("study/records/\u202evsc.csv"), "an unknown file"),
    "trailing-dot": (_named("study/records/sales.csv."), "an unknown file"),
    "long": (_named("study/records/" + "a" * 4000 + ".csv"), "an unknown file"),
    "deep": (_named("study/records/" + "a/" * 60 + "x.csv"), "an unknown file"),
    "case": (_named("study/records/SALES.csv"), "an unknown file"),
    "unicode-twin": (_named("study/records/ſales.csv"), "an unknown file"),
    "code": (_named("study/sitecustomize.py"), "an unknown file"),
    "notebook": (_named("report/notebooks/03_cost.ipynb"), "an unknown file"),
    "hidden": (_named("study/records/.sales.csv"), "an unknown file"),
    "folder": (_named("study/records/"), "an unknown file"),
    "log": (_named("study/records/invoices.csv"), "an unknown file"),
    "workbook": (_named("study/records/sales.xlsx"), "an unknown file"),
    "zero-in-name": (
        _bytes(lambda data: data.replace(b"study/records/sales.csv", b"study/records/sal\0s.csv")),
        "an unknown file",
    ),
    "no-utf8-name": (
        _bytes(lambda data: data.replace(b"study/records/sales.csv", b"study/records/sal\xffs.csv")),
        "an unknown file",
    ),
    "link": (_typed(stat.S_IFLNK | 0o777), "another form"),
    "device": (_typed(stat.S_IFCHR | 0o666), "another form"),
    "pipe": (_typed(stat.S_IFIFO | 0o666), "another form"),
    "folder-mode": (_typed(stat.S_IFDIR | 0o777), "another form"),
    "twice": (_named("study/study.toml"), "another form"),
    "customers": (_member("study/records/sales.csv", b"date,Customer\n"), "the column 'Customer'"),
    "nested": (_member("study/records/sales.csv", _raw({"a.txt": b"x"})), "archive or locked file inside"),
    "nested-gzip": (_member("study/records/sales.csv", b"\x1f\x8b\x08\0rest"), "archive or locked file inside"),
    "nested-book": (_member("study/records/sales.csv", b"\xd0\xcf\x11\xe0rest"), "archive or locked file inside"),
    "packed": (lambda members: _raw(members, packing=zipfile.ZIP_DEFLATED), "packed members"),
    "bomb": (
        lambda members: _raw({**members, "study/records/sales.csv": b"0" * 30_000_000}, packing=zipfile.ZIP_DEFLATED),
        "packed members",
    ),
    "lying-size": (_lying_size, "packed members"),
    "many": (lambda members: _raw(members, more=[(f"report/tables/{i}.csv", b"") for i in range(600)]), "too many members"),
    "overlap": (_overlap, "no whole archive"),
    "encrypted": (_bytes(_encrypted), "password"),
    "two-names": (_bytes(_local_name), "no whole archive"),
    "cut": (_bytes(lambda data: data[:-500]), "no whole archive"),
    "hung-on": (_bytes(lambda data: data + b"<script>"), "another form"),
    "put-before": (_bytes(lambda data: b"#!/bin/sh\n" + data), "no archive"),
    "damaged": (_bytes(lambda data: data[:2000] + bytes(64) + data[2064:]), "no whole archive"),
    "empty-file": (lambda _: b"", "an empty file"),
    "no-archive": (lambda _: b"<html>hello</html>", "another kind of file"),
    "gzip": (lambda _: b"\x1f\x8b\x08\0rest", "another kind of file"),
    "empty-archive": (lambda _: b"PK\x05\x06" + bytes(18), "no archive"),
    "no-json": (_member("manifest.json", b"{"), "no JSON"),
    "deep-json": (_member("manifest.json", b"[" * 200_000), "brackets within brackets"),
    "huge-number": (_member("manifest.json", b'{"seed": ' + b"9" * 10_000 + b"}"), "manifest.json: is refused"),
    "twice-in-json": (_member("manifest.json", b'{"seed": 1, "seed": 2}'), "the same name twice"),
    "endless": (_member("manifest.json", b'{"seed": NaN}'), "which is no number"),
    "list": (_member("manifest.json", b"[]"), "manifest.json: is refused"),
    "no-text": (_member("manifest.json", b"\xff\xfe{}"), "no UTF-8"),
    "long-manifest": (_member("manifest.json", b'{"study": "' + os.urandom(3_000_000).hex().encode() + b'"}'), "too long"),
    "wrong-kind": (_manifest(lambda listed: listed.update(seed="one")), "seed"),
    "unknown-key": (_manifest(lambda listed: listed.update(run="rm -r")), "run"),
    "bad-hash": (_manifest(lambda listed: listed["members"].update({"study/study.toml": "../x"})), "study/study.toml"),
    "not-listed": (_member("report/tables/more.csv", b"a\n"), "not in its manifest"),
    "only-listed": (_manifest(lambda listed: listed["members"].update({"report/tables/x.csv": "0" * 64})), "not in the archive"),
    "no-manifest": (_without("manifest.json"), "is missing"),
    "no-study": (_without("study/study.toml"), "is missing"),
    "no-results": (_without("report/results.json"), "is missing"),
    "other-index": (_member("requirements.txt", b"--index-url https://example.org/\nnumpy==1.0\n"), "lines such as"),
    "from-address": (_member("requirements.txt", b"numpy @ file:///evil\n"), "lines such as"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_archive_is_refused_and_writes_nothing(packed, tmp_path, monkeypatch, case):
    """Refused with a message that names the archive, exit code 2, nothing written: not beside it, not in --out, not where temporary files go."""
    make, says = HOSTILE[case]
    place = tmp_path / "inner" / "place"
    (place / "temporary").mkdir(parents=True)
    monkeypatch.setattr(tempfile, "tempdir", str(place / "temporary"))
    (place / "hostile.zip").write_bytes(make(members_of(packed[1])))
    before = {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}
    code, out, err = command("verify", place / "hostile.zip", "--out", place / "out")

    assert code == 2, (out, err)
    assert re.search(says, err) and "hostile.zip" in err and "right would be" in err
    assert "Traceback" not in err and "\x1b" not in err and len(err) < 60_000
    assert {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")} == before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_what_is_no_file_is_refused_without_waiting(tmp_path):
    """A pipe, a folder, nothing at all and a file beyond any pack are told, not waited for."""
    os.mkfifo(tmp_path / "pipe.zip")
    (tmp_path / "large.zip").touch()
    os.truncate(tmp_path / "large.zip", 151_000_000)
    for path in (tmp_path / "pipe.zip", tmp_path, tmp_path / "none.zip", tmp_path / "large.zip"):
        code, _, err = command("verify", path)
        assert code == 2 and "right would be" in err


def test_reading_a_pack_back_gives_what_was_packed(packed):
    """The reader takes every member of an honest pack, and the manifest lists each but itself."""
    pack = read_pack(packed[1])

    assert set(pack.members) == set(pack.manifest.members) == set(members_of(packed[1])) - {"manifest.json"}
