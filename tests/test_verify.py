"""Verifying a pack: whatever was changed in it is named."""

import errno
import hashlib
import json
import re
import shutil

import pytest
from commands import command
from packs import members_of

from casting_econ.running import run
from casting_econ.sharing import verify
from casting_econ.sharing.form import zipped
from casting_econ.sharing.pack import installed_versions
from casting_econ.sharing.verify import verify_pack


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


def test_what_is_kept_is_there_whole_or_not_at_all(packed, tmp_path, monkeypatch):
    """A disk that is full while study and report are put into --out: told in a line, the empty folder asked for stays nothing but that."""

    def full(files, folder):
        (folder / "study").mkdir(parents=True)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(verify, "write_files", full)
    (tmp_path / "empty").mkdir()
    code, _, err = command("verify", packed[1], "--out", tmp_path / "empty", "--quick")

    assert code == 2 and err.startswith(f"{tmp_path / 'empty'}: cannot be made; found No space left on device")
    assert [path.name for path in tmp_path.rglob("*")] in ([], ["empty"])


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
