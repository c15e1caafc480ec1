"""What a pack is: its members, what it says of itself, and reading one as a stranger's.

The same content is the same bytes, so that reading takes nothing on trust.
"""

import io
import json
import re
import stat
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ..faults import Fault, StudyError, cut, refusal
from ..ledger import LOGS
from ..study import STUDY_FILE
from ..study.inputs import write_files

MOST_ALL, MOST_MEMBERS = 150_000_000, 500  # bytes in all; members
_PACK = "the .zip that casting-econ pack wrote"
FORM = 2  # of packs; the first held the files of the records, not the logs
_RECORDS = {f"study/records/{log}.csv": log for log in LOGS}
_TABLE = re.compile(r"report/tables/[\w-]{1,150}\.csv")
_FIXED = ("README.txt", "manifest.json", "requirements.txt", f"study/{STUDY_FILE}", "report/report.html", "report/results.json")
_PIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*==[A-Za-z0-9][A-Za-z0-9.!+_-]*")
_MOST_JSON = 5_000_000  # bytes
Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


def zipped(members: dict[str, bytes]) -> bytes:
    """An archive of members by name: sorted, of one date, none of them packed, so that the same members are the same bytes everywhere."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as book:
        for name in sorted(members):
            item = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            item.create_system, item.external_attr = 3, (stat.S_IFREG | 0o644) << 16
            book.writestr(item, members[name])
    return packed.getvalue()


def is_archive(data: bytes) -> bool:
    """Whether bytes are an archive, a packed file or a workbook of a usual kind, whatever their name."""
    marks = (b"PK\x03\x04", b"PK\x05\x06", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf", b"Rar!", b"\x28\xb5\x2f\xfd")
    return data.startswith((*marks, b"\xd0\xcf\x11\xe0")) or data[257:262] == b"ustar"


def read_archive(path: Path) -> bytes:
    """The bytes of an archive file; StudyError for what is no file, cannot be read or is too large."""
    try:
        size, wrong, found = path.stat().st_size, "is no file", ""
        if size > MOST_ALL:
            wrong, found = "is too large", f"{size / 1e6:,.0f} MB, more than {MOST_ALL / 1e6:.0f}"
        elif path.is_file():
            return path.read_bytes()
    except (OSError, ValueError) as error:  # the latter for a path with a zero in it
        wrong, found = "cannot be read", str(getattr(error, "strerror", error))
    raise refusal(str(path).replace("\0", "?"), wrong, _PACK, found=found)


def unzipped(data: bytes, place: str, allowed: Callable[[str], bool]) -> dict[str, bytes]:
    """Members of an archive by name; `place` is for faults, `allowed` says whether a name may be in it.

    It is taken only if it is, byte for byte, what `zipped` makes of its members. So nothing is unpacked, and no link, lock, date, remark,
    second header, or byte between, over or behind members can be in it.

    StudyError with each name that may not be in it, or the first other reason for which it is refused.

    >>> unzipped(zipped({"a.txt": b"1"}), "x.zip", lambda name: True)
    {'a.txt': b'1'}
    """

    def refused(wrong, found, right=_PACK):
        return refusal(place, wrong, right, found=found)

    if not data.startswith(b"PK\x03\x04"):
        raise refused("is no archive", "another kind of file" if data else "an empty file")
    if data.count(b"PK\x01\x02") > MOST_MEMBERS:  # the mark of each, counted before a library reads them all
        raise refused("holds too many members", f"more than {MOST_MEMBERS}")
    try:
        book = zipfile.ZipFile(io.BytesIO(data))
        items = book.infolist()
        right = "the members that casting-econ pack writes, and no other"
        if names := [cut(ascii(item.orig_filename)) for item in items if not allowed(item.orig_filename)]:
            raise StudyError([Fault(place, "is refused", right, column=n, found="an unknown file") for n in names])
        if any(item.compress_type != zipfile.ZIP_STORED for item in items):
            found = "packed members, as other programs and older versions write"
            raise refused("is refused", found, f"{_PACK}, or the study packed anew")
        # no more is read than there is, wherever members say that they lie
        members = {i.filename: book.read(i) for i in items} if sum(i.file_size for i in items) < len(data) else {}
    except (zipfile.BadZipFile, EOFError, ValueError, NotImplementedError, RuntimeError, OSError) as error:
        said = (str(error).splitlines() or [type(error).__name__])[0]
        raise refused("is no whole archive", cut(ascii(said)[1:-1], 100), "the file as it was sent, whole") from None
    if zipped(members) != data:
        found = "another form than casting-econ pack writes: changed headers, or bytes that belong to no member"
        raise refused("is refused", found)
    return members


class Manifest(BaseModel):
    """What a pack says of itself."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    pack: int = Field(ge=FORM, le=FORM)  # a literal would take true for one
    study: str
    seed: int
    draws: int
    members: dict[str, Hash]
    notebooks: dict[str, Hash]
    code: Hash
    versions: dict[str, str]
    left_out: dict[str, str]
    kept: list[str]


@dataclass(frozen=True, kw_only=True)
class Pack:
    """An archive that was read and found sound in form; what is in it is not believed yet."""

    manifest: Manifest
    members: dict[str, bytes]  # without the manifest


def write_study(members: dict[str, bytes], folder: Path) -> Path:
    """Write the study file and the records among the members of a pack below a folder; the study's own folder."""
    write_files({name: data for name, data in members.items() if name.startswith("study/")}, folder)
    return folder / "study"


def read_pack(path: Path | str) -> Pack:
    """Read an archive as a stranger's; StudyError names everything for which it is refused. Hashes are not looked at."""
    return pack_of(read_archive(Path(path)), Path(path).name)


def pack_of(data: bytes, place: str) -> Pack:
    """A pack from the bytes of its archive, which faults call `place`; StudyError as in `read_pack`."""
    members = unzipped(data, place, lambda name: name in _FIXED or name in _RECORDS or _TABLE.fullmatch(name) is not None)
    faults, listed = [], None

    def refused(name, found, right="the member as casting-econ pack writes it", wrong="is refused"):
        faults.append(Fault(place, wrong, right, column=name, found=found))

    for name in sorted({*_FIXED} - set(members)):
        refused(name, "", "a pack that is whole", "is missing")
    for name, data in members.items():
        if is_archive(data):
            refused(name, "an archive or locked file inside the archive")
        elif log := _RECORDS.get(name):
            heads = data.partition(b"\n")[0].decode("utf-8", "replace").split(",")
            if more := set(heads) - LOGS[log].keys():
                refused(name, f"the column {ascii(min(more))[:60]}", f"columns of the log {log} and no other")
    pins = members.get("requirements.txt", b"").decode("utf-8", "replace").split("\n")
    if wrong_pins := [line for line in pins if line and not _PIN.fullmatch(line)]:
        refused("requirements.txt", ascii(wrong_pins[0])[:80], "lines such as numpy==2.4.6 and nothing else")
    try:
        listed = Manifest.model_validate(read_json(members["manifest.json"])) if "manifest.json" in members else None
    except ValidationError as error:
        first = error.errors()[0]
        found = f"{'.'.join(map(str, first['loc']))[:60]}: {first['msg']}"[:120]
        if first["type"] in ("greater_than_equal", "less_than_equal"):  # of its form
            refused(
                "manifest.json", f"a pack of form {first['input']}", f"one of form {FORM}: packed anew by a kit like this one"
            )
        else:
            refused("manifest.json", found)
    except ValueError as error:
        refused("manifest.json", str(error)[:120])
    members = {name: data for name, data in members.items() if name != "manifest.json"}
    for name in sorted(set(listed.members) ^ set(members)) if listed is not None else ():
        wrong = "is in the archive but not in its manifest" if name in members else "is in the manifest but not in the archive"
        refused(ascii(name)[:80], "", "a pack that is whole and has nothing added", wrong)
    if faults:
        raise StudyError(faults)
    return Pack(manifest=listed, members=members)


def read_json(data: bytes):
    """Plain content of JSON from a stranger; ValueError in words where it is none.

    >>> read_json(b'{"a": [1, 2.5]}')
    {'a': [1, 2.5]}
    """
    if len(data) > _MOST_JSON:
        raise ValueError(f"too long, {len(data) / 1e6:.0f} MB")

    def once(pairs):
        if len({key for key, _ in pairs}) < len(pairs):
            raise ValueError("the same name twice")
        return dict(pairs)

    def no_constant(text):
        raise ValueError(f"{text}, which is no number")

    try:
        return json.loads(data.decode("utf-8"), object_pairs_hook=once, parse_constant=no_constant)
    except UnicodeDecodeError:
        raise ValueError("no UTF-8 text") from None
    except RecursionError:
        raise ValueError("brackets within brackets without end") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"no JSON, {error.msg} in line {error.lineno}") from None
