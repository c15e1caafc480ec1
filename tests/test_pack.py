"""Packs: what goes in, what is left out, and that what comes out is the study."""

import json
import re
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from commands import DATA, command
from openpyxl import load_workbook
from openpyxl.comments import Comment
from packs import BUYERS, members_of, with_customers
from tile_maker import TILE

from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.ledger import LOGS
from casting_econ.running.results import as_json, results
from casting_econ.sharing.form import read_pack, write_study
from casting_econ.sharing.pack import pack_study
from casting_econ.sharing.redact import packed_records, packed_study_file
from casting_econ.study import read_study


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


def test_how_many_bought_names_nobody(tile):
    """A count of buyers goes along under whatever heading it stood, as figures name nobody."""
    text = TILE + '\n[records.columns.sales]\n"buyer_count" = "buyers"\n'
    study = tile(text, sales="date,channel,product,pieces,price,buyer_count\n2025-02-03,shop,tile,9,96,3\n")

    found = packed_records(study)

    assert found.files["sales.csv"].endswith(b",buyers\n2025-02-03,shop,tile,9,96,3\n") and not found.left_out


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


def test_reading_a_pack_back_gives_what_was_packed(packed):
    """The reader takes every member of an honest pack, and the manifest lists each but itself."""
    pack = read_pack(packed[1])

    assert set(pack.members) == set(pack.manifest.members) == set(members_of(packed[1])) - {"manifest.json"}
