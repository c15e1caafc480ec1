"""What a pack is: its members, what it says of itself, and reading one as a stranger's."""

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ..faults import Fault, StudyError
from ..ledger import LOGS
from ..study import STUDY_FILE
from .archive import is_archive, read_archive, unzipped

FORM = 2  # of packs; the first held the files of the records, not the logs
_RECORDS = {f"study/records/{log}.csv": log for log in LOGS}
_TABLE = re.compile(r"report/tables/[\w-]{1,150}\.csv")
_FIXED = ("README.txt", "manifest.json", "requirements.txt", f"study/{STUDY_FILE}", "report/report.html", "report/results.json")
_PIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*==[A-Za-z0-9][A-Za-z0-9.!+_-]*")
_MOST_JSON = 5_000_000  # bytes
Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


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
    for name, data in members.items():
        if name.startswith("study/"):
            target = folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)
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
        refused("manifest.json", f"{'.'.join(map(str, first['loc']))[:60]}: {first['msg']}"[:120])
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

    Examples
    --------
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
