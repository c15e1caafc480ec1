"""Packs for a partner: what goes in, that they verify, that each change is named, and that hostile archives are refused."""

import base64
import hashlib
import io
import json
import os
import re
import shutil
import stat
import struct
import tempfile
import zipfile
from pathlib import Path

import pytest
from commands import DATA, command, only_pages
from openpyxl import Workbook
from openpyxl.comments import Comment
from PIL import Image

from casting_econ.faults import StudyError
from casting_econ.running import run
from casting_econ.sharing.archive import unzipped, zipped
from casting_econ.sharing.columns import packed_records, workbook_member
from casting_econ.sharing.pack import installed_versions, pack_study, read_pack
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


def test_all_else_of_the_record_file_is_as_it_was(packed):
    """A file loses its column and not a byte more: the demo's own lines come back, its line ends as they were changed to."""
    _, archive, _ = packed
    own = (DATA / "kelpmoor-handles" / "records" / "sales.csv").read_text(encoding="utf-8").splitlines()

    assert members_of(archive)["study/records/sales.csv"] == ("\r\n".join(own) + "\r\n").encode()


def test_a_column_may_be_kept_and_the_pack_says_so(packed, tmp_path):
    """--keep-column keeps it, byte for byte; one that is not there is a fault with the ones that are."""
    study = read_study(packed[0])
    kept = packed_records(study, ("sales.customer",))

    assert kept.files["sales.csv"] == (packed[0] / "records" / "sales.csv").read_bytes()
    assert kept.kept == ["sales.Customer"]
    code, _, err = command("pack", packed[0], "--out", tmp_path / "x.zip", "--keep-column", "sales.custommer")
    assert code == 2 and "no such column" in err and "sales.Customer" in err
    assert list(tmp_path.iterdir()) == []


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


@pytest.mark.parametrize(
    "codec,separator,end",
    [("utf-8-sig", ";", "\n"), ("utf-16", "\t", "\r\n"), ("cp1252", ";", "\r\n"), ("utf-16-le", ",", "\n"), ("utf-8", "|", "\r")],
)
def test_a_column_goes_from_any_text_file(codec, separator, end, tmp_path):
    """Encoding, separator, line ends, quotes and a title above the header stay as they are."""
    study = Path(shutil.copytree(DATA / "hollin-quay-pulls", tmp_path / "s"))
    rows = [
        ["Stunden"],
        [""],
        ["date", "Käufer", "step", "minutes", "product", "pieces_handled"],
        ["2026-08-04", f'"Märta{separator} ""M"""', "demould-and-clean", "121", "cord-pull", "33"],
        ["2026-08-07", '"two', 'lines"', "demould-and-clean", "118", "cord-pull", "33"],
        ["2026-08-12", "", '"demould-and-clean"', "117", "cord-pull", '"33"'],
    ]

    def text(rows):
        return "".join(separator.join(row) + end for row in rows)

    rows[4:5] = [["2026-08-07", f'"two{end}lines"', *rows[4][3:]]]
    (study / "records" / "timesheet.csv").write_bytes(text(rows).encode(codec))
    with (study / "study.toml").open("a", encoding="utf-8") as file:
        file.write('\n[records.columns.timesheet]\n"Käufer" = "ignore"\n')
    without = [row if len(row) < 2 else [row[0], *row[2:]] for row in rows]

    found = packed_records(read_study(study))
    assert found.files["timesheet.csv"] == text(without).encode(codec)
    assert "timesheet.Käufer" in found.left_out


def test_a_workbook_goes_as_a_plain_copy_of_what_is_read(tmp_path):
    """Hidden and ignored sheets, comments, document properties, formulas and a customer column stay behind; the rest reads alike."""
    study = Path(shutil.copytree(DATA / "messy-twins" / "gannet-lane-figures", tmp_path / "s"))
    from openpyxl import load_workbook

    path = study / "records" / "Workshop book.xlsx"
    book = load_workbook(path)
    book.properties.creator = book.properties.lastModifiedBy = "Ottoline Quern"
    sheet = next(sheet for sheet in book if sheet.title.lower().startswith("timesheet"))
    sheet.cell(1, 1).comment = Comment("asked by Ottoline Quern", "Ottoline Quern")
    hidden = book.create_sheet("Buyers")
    hidden.sheet_state = "hidden"
    hidden.append(["Ottoline Quern", "12 Mill Lane"])
    book.save(path)
    with (study / "study.toml").open(encoding="utf-8") as file:
        text = file.read()
    line = '"Workshop book.xlsx/Buyers" = "ignore"\n'
    text = (
        text.replace("[records.files]\n", f"[records.files]\n{line}")
        if "[records.files]" in text
        else f"{text}\n[records.files]\n{line}"
    )
    (study / "study.toml").write_text(text, encoding="utf-8")
    before = read_study(study)

    found = packed_records(before)
    again = packed_records(read_study(study))
    (study / "records" / path.name).write_bytes(found.files[path.name])
    after = read_study(study)
    parts = unzipped(found.files[path.name], path.name, lambda _: True)
    assert again.files == found.files  # the same bytes again
    assert not any(b"Ottoline" in data or b"Mill Lane" in data for data in parts.values())
    for log, frame in before.records.items():
        columns = [name for name in frame if name != "note"]
        assert after.records[log][columns].equals(frame[columns]), log


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


def test_a_column_that_rows_lean_on_is_told_before_it_goes(packed, tmp_path):
    """The word Total stands in the customer column: without it the row would be no total, which is said, and nothing is written."""
    study = Path(shutil.copytree(packed[0], tmp_path / "s"))
    with (study / "records" / "sales.csv").open("a", encoding="utf-8", newline="") as file:
        file.write(",,Total,,,9999,,,,,,,\r\n")
    assert read_study(study).reading.files  # as it stands it is read
    code, _, err = command("pack", study, "--out", tmp_path / "x.zip")

    assert code == 2 and "without the columns left out" in err and "--keep-column" in err
    assert not (tmp_path / "x.zip").exists()


def test_a_workbook_under_another_name_packs_too(tmp_path):
    """Some exports give a workbook a name of text: it is packed as what it is, and the pack reads alike."""
    study = Path(shutil.copytree(DATA / "hollin-quay-pulls", tmp_path / "s"))
    book = Workbook()
    for line in (study / "records" / "batches.csv").read_text(encoding="utf-8").splitlines():
        book.active.append(line.split(","))
    saved = io.BytesIO()
    book.save(saved)
    (study / "records" / "batches.csv").write_bytes(saved.getvalue())
    before, files = read_study(study), packed_records(read_study(study)).files
    workbook_member(files["batches.csv"], "batches.csv")
    (study / "records" / "batches.csv").write_bytes(files["batches.csv"])

    assert read_study(study).records["batches"].equals(before.records["batches"])


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

    assert [one.what for one in plain.changed] == ["study/study.toml"]
    assert fitted.changed == []
    named = {one.what for one in fitted.numbers}
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
    """Put another picture in the place of the report's first; `change` takes and gives one of Pillow."""
    page = members["report/report.html"]
    old = re.search(rb"data:image/png;base64,([A-Za-z0-9+/=]+)", page)[1]
    saved = io.BytesIO()
    change(Image.open(io.BytesIO(base64.b64decode(old)))).save(saved, "PNG", compress_level=1)
    new = base64.b64encode(saved.getvalue())
    assert new != old
    members["report/report.html"] = page.replace(old, new, 1)


def _darker(image):
    """A few dots of a picture painted over."""
    image.paste((0, 0, 0, 255), (40, 40, 44, 44))
    return image


ADDED = {
    "a script": (
        lambda m: m.update({"report/report.html": m["report/report.html"] + b"<script>1</script>"}),
        "report.html, from line",
    ),
    "a picture": (lambda m: picture(m, _darker), "report.html, picture 1 of"),
    "a smaller picture": (lambda m: picture(m, lambda image: image.resize((8, 8))), "report.html, picture 1 of"),
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
    other = verify_pack(repacked(packed[1], tmp_path / "p.zip", lambda m: picture(m, lambda image: image)), say=lambda _: None)
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


def _raw(members, **change):
    """An archive in which one item is as it should not be."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as book:
        for name, content in members.items():
            book.writestr(name, content)
        for name, content in change.get("more", ()):
            book.writestr(name, content)
    return data.getvalue()


def _named(name):
    def make(members):
        return _raw(members, more=[(name, b"x")])

    return make


def _typed(mode):
    def make(members):
        item = zipfile.ZipInfo("study/records/sales 2.csv")
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
    data = bytearray(_raw({**members, "study/records/sales.csv": b"0" * 60_000_000}))
    size = struct.pack("<I", 60_000_000)
    return bytes(data.replace(size, struct.pack("<I", 1000)))


def _overlap(members):
    """Two members of the directory that are the same bytes of the file."""
    data = _raw(members, more=[("study/records/timesheet 2.csv", b"x" * 50)])
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        first, last = book.infolist()[0], book.infolist()[-1]
    at = data.rindex(struct.pack("<I", last.header_offset) + b"study/records/timesheet 2.csv")
    return data[:at] + struct.pack("<I", first.header_offset) + data[at + 4 :]


def _workbook(members):
    """A workbook with a macro in it."""
    saved = io.BytesIO()
    Workbook().save(saved)
    inside = members_of(saved) | {"xl/vbaProject.bin": b"x"}
    return _raw({**members, "study/records/sales 2.xlsx": _raw(inside)})


def _bomb_in_workbook(members):
    inside = {"[Content_Types].xml": b"x", "xl/worksheets/sheet1.xml": b"<c r='A1'/>" * 4_000_000}
    return _raw({**members, "study/records/sales 2.xlsx": _raw(inside)})


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
    "huge-size": (_in_directory(24, "<L", 2**32 - 2), "unpacks to too much"),
    "huge-size-twice": (_in_directory(24, "<L", 2**32 - 2, local=22), "unpacks to too much"),
    "size": (_in_directory(24, "<L", 900_000, local=22), "its size or its check sum is another"),
    "size-in-one": (_in_directory(24, "<L", 900_000), "its two headers differ"),
    "huge-packed-size": (_in_directory(20, "<L", 2**31), "lie over each other"),
    "offset": (_in_directory(42, "<L", 2**31), "lie over each other"),
    "count": (_at_end(10, "<H", 65_535), "too many members"),
    "count-of-one": (_at_end(10, "<H", 1), "another size or place"),
    "disk": (_at_end(4, "<H", 7), "another size or place"),
    "directory-size": (_at_end(12, "<L", 2**31), "another size or place"),
    "directory-place": (_at_end(16, "<L", 2**31), "another size or place"),
    "between": (_between, "or something after it"),
    "behind": (_behind, "longer or shorter than it says"),
    "true-for-one": (_manifest(lambda listed: listed.update(pack=True)), "pack: Input should be a valid integer"),
    "outside": (_named("../evil.csv"), "leads outside"),
    "outside-inside": (_named("study/records/../../../evil.csv"), "leads outside"),
    "absolute": (_named("/tmp/evil.csv"), "leads outside"),
    "drive": (_named("C:/evil.csv"), "leads outside"),
    "backslash": (_named("study\\records\\..\\..\\evil.csv"), "leads outside"),
    "home": (_named("~/evil.csv"), "leads outside"),
    "link": (_typed(stat.S_IFLNK | 0o777), "a link"),
    "device": (_typed(stat.S_IFCHR | 0o666), "a device"),
    "pipe": (_typed(stat.S_IFIFO | 0o666), "a device"),
    "folder-mode": (_typed(stat.S_IFDIR | 0o777), "a folder"),
    "twice": (_named("study/study.toml"), "the same name twice"),
    "case": (_named("study/records/SALES.csv"), "take for 'study/records/sales.csv'"),
    "unicode-twin": (_named("study/records/ſales.csv"), "take for 'study/records/sales.csv'"),
    "device-name": (_named("study/records/CON.csv"), "name of a device"),
    "control": (_named("study/records/a\x1b[31m.csv"), "do not show"),
    "turned-round": (_named("study/records/\u202evsc.csv"), "do not show"),
    "trailing-dot": (_named("study/records/sales.csv."), "not every system"),
    "long": (_named("study/records/" + "a" * 4000 + ".csv"), "too long"),
    "deep": (_named("study/records/" + "a/" * 60 + "x.csv"), "unknown file"),
    "zero-in-name": (_bytes(lambda data: data.replace(b"study/records/sales.csv", b"study/records/sal\0s.csv")), "do not show"),
    "no-utf8-name": (
        _bytes(lambda data: data.replace(b"study/records/sales.csv", b"study/records/sal\xffs.csv")),
        "cannot be read",
    ),
    "code": (_named("study/sitecustomize.py"), "unknown file"),
    "notebook": (_named("report/notebooks/03_cost.ipynb"), "unknown file"),
    "hidden": (_named("study/records/.sales.csv"), "unknown file"),
    "folder": (_named("study/records/"), "not every system"),
    "nested": (_member("study/records/sales.csv", _raw({"a.txt": b"x"})), "unknown file"),
    "nested-gzip": (_member("study/records/sales.csv", b"\x1f\x8b\x08\0rest"), "archive or locked file inside"),
    "macro": (_workbook, "unknown file"),
    "workbook-bomb": (_bomb_in_workbook, "unpacks to too much"),
    "bomb": (_member("study/records/sales.csv", b"0" * 30_000_000), "over 200 times"),
    "large": (_member("study/records/sales.csv", os.urandom(1_000_000) * 51), "unpacks to too much"),
    "lying-size": (_lying_size, "damaged member"),
    "many": (lambda members: _raw(members, more=[(f"report/tables/{i}.csv", b"") for i in range(600)]), "too many members"),
    "overlap": (_overlap, "over each other"),
    "encrypted": (_bytes(_encrypted), "password"),
    "two-names": (_bytes(_local_name), "damaged member"),
    "cut": (_bytes(lambda data: data[:-500]), "cut off"),
    "hung-on": (_bytes(lambda data: data + b"<script>"), "something follows"),
    "put-before": (_bytes(lambda data: b"#!/bin/sh\n" + data), "no archive"),
    "damaged": (_bytes(lambda data: data[:2000] + bytes(64) + data[2064:]), "damaged"),
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
    "not-listed": (_named("study/records/sales 2.csv"), "not in its manifest"),
    "only-listed": (_manifest(lambda listed: listed["members"].update({"study/records/x.csv": "0" * 64})), "not in the archive"),
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
    assert says in err and "hostile.zip" in err and "right would be" in err
    assert "Traceback" not in err and "\x1b" not in err and len(err) < 60_000
    assert {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")} == before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_what_is_no_file_is_refused_without_waiting(tmp_path):
    """A pipe, a folder and nothing at all are told, not waited for."""
    os.mkfifo(tmp_path / "pipe.zip")
    for path in (tmp_path / "pipe.zip", tmp_path, tmp_path / "none.zip"):
        code, _, err = command("verify", path)
        assert code == 2 and "right would be" in err


def test_reading_a_pack_back_gives_what_was_packed(packed):
    """The reader takes every member of an honest pack, and the manifest lists each but itself."""
    pack = read_pack(packed[1])

    assert set(pack.members) == set(pack.manifest.members) == set(members_of(packed[1])) - {"manifest.json"}
