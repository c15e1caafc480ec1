"""Archives that nobody should unpack are refused, and nothing is written."""

import io
import json
import os
import re
import stat
import struct
import tempfile
import zipfile

import pytest
from commands import command
from packs import members_of

from casting_econ.sharing.form import zipped


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
    "older": (_manifest(lambda listed: listed.update(pack=1)), "a pack of form 1; right would be one of form 2"),
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
