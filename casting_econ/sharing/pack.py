"""`casting-econ pack`: study, records, results, report, manifest and versions in one archive for a partner."""

import hashlib
import json
import platform
import re
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import numpy as np
from packaging.requirements import Requirement

from ..faults import Fault, StudyError, counted, refusal, some_of
from ..kit import OpenStudy, open_study
from ..running import WORKERS
from ..running.folders import manifest
from ..running.run import run_study
from ..running.store import VERSIONS
from ..study import STUDY_FILE
from ..templates import write_whole
from .form import FORM, MOST_ALL, pack_of, read_pack, write_study, zipped
from .redact import Records, packed_records, packed_study_file


def pack_study(
    folder: Path | str,
    out: Path | str | None = None,
    *,
    keep: tuple[str, ...] = (),
    workers: int = WORKERS,
    say: Callable[[str], None] = print,
) -> Path:
    """Run a study, in whose folder nothing is changed, as it goes into the pack, and write the archive.

    It is `NAME-pack.zip` in the current folder if not given, NAME being the study folder's; `keep` has columns to keep though they may name
    people, as LOG.COLUMN; `workers` notebooks run at a time; `say` takes a line.

    StudyError for faults in the study, a column that cannot be left out or kept, a cell that would be read otherwise, or a file that is in the
    way; NotebookError if a page fails.
    """
    folder = Path(folder)
    kit = open_study(folder)
    out = Path(out) if out else Path(f"{folder.resolve().name}-pack.zip")
    _check_place(out, folder)
    records = packed_records(kit.study, keep)
    inputs = {f"study/{STUDY_FILE}": packed_study_file(kit.study)}
    inputs |= {f"study/records/{name}": data for name, data in records.files.items()}
    if sum(map(len, inputs.values())) > MOST_ALL / 2:
        raise refusal("records", "are too large to pack", f"at most {MOST_ALL / 2e6:.0f} MB in all")
    for line in (*column_lines(records.left_out, records.kept), *_elsewhere(inputs, records.values)):
        say(line)
    with tempfile.TemporaryDirectory(prefix="casting-econ-") as place:
        study, report = write_study(inputs, Path(place)), Path(place) / "report"
        packed = _open_packed(study)
        for line in _read_otherwise(kit, packed, records):
            say(line)
        say("Running the study as it is in the pack ...")
        run_study(study, report, workers=workers, say=say)
        files = (report / "report.html", report / "results.json", *sorted((report / "tables").glob("*.csv")))
        members = inputs | {f"report/{path.relative_to(report).as_posix()}": path.read_bytes() for path in files}
        listed = manifest(packed, study)
    versions = installed_versions()
    members |= texts(kit.study.file.study.name, versions, records.left_out, records.kept)
    listed = {key: listed[key] for key in ("study", "seed", "draws", "notebooks")}
    listed |= {"pack": FORM, "code": code_hash(), "versions": versions, "left_out": records.left_out, "kept": records.kept}
    listed["members"] = {name: hashlib.sha256(data).hexdigest() for name, data in members.items()}
    members["manifest.json"] = (json.dumps(listed, indent=1, sort_keys=True, ensure_ascii=False) + "\n").encode()
    data = zipped(members)
    pack_of(data, out.name)  # as a partner would
    write_whole(out, data)
    return out


def column_lines(left_out: dict[str, str], kept: list[str]) -> list[str]:
    """What became of the columns, for the terminal and for the pack."""
    lines = ["Left out of the pack:" if left_out else "No column names people by its heading; every column is in the pack."]
    lines += [f"  {name}: {why}" for name, why in left_out.items()]
    lines += ["Kept as you asked:", *(f"  {name}" for name in kept)] if kept else []
    caution = "What headings do not tell cannot be known: order ids, other columns, and the study file go along as they are, "
    return [*lines, caution + "with its notes, commissions and your contact. Look through them before you send the pack."]


def _elsewhere(inputs: dict[str, bytes], values: dict[str, str]) -> list[str]:
    """Where something that stood in a column left out still stands."""
    lines, folded = [], {value: value.casefold() for value in values}
    for name, data in inputs.items():
        text = data.decode().casefold()
        found = [v for v, one in folded.items() if one in text and re.search(rf"(?<!\w){re.escape(one)}(?!\w)", text)]
        if found:
            shown = some_of([repr(value) for value in sorted(found)], 3)
            lines.append(f"Look at {name.removeprefix('study/')}: {shown} of {values[found[0]]} still in it.")
    return lines


def _open_packed(study):
    """The study as it is in the pack."""
    try:
        return open_study(study)
    except StudyError as error:
        right = "these columns kept with --keep-column, or the rows corrected"
        faults = [replace(f, wrong=f"without the columns left out: {f.wrong}", right=right) for f in error.faults]
        raise StudyError(faults) from None


def _read_otherwise(kit: OpenStudy, packed: OpenStudy, records: Records) -> list[str]:
    """Where the pack tells otherwise than the study for what is left out; StudyError where a log is not read as it was written."""
    lines, logs = [], packed.study.whole_logs
    for log, frame in records.frames.items():
        other = logs.get(log, frame.iloc[:0])
        if len(frame) != len(other):
            rows = f"{counted(len(other), 'row')} in the pack, {len(frame)} in your folder"
            lines.append(f"{log}: {rows}, as rows that differ only in what is left out count once.")
            continue
        plain = (frame.reset_index(drop=True).astype(object), other.reindex(columns=frame.columns).reset_index(drop=True))
        same = (plain[0] == plain[1]) | (plain[0].isna() & plain[1].isna())
        if not same.all(axis=None):
            row, name = next(zip(*np.nonzero(~same.to_numpy())))
            at = {"file": f"records/{log}.csv", "row": int(row) + 2, "column": frame.columns[name]}
            found, right = repr(frame.iat[row, name])[:80], "the cell in plain letters and figures"
            raise StudyError([Fault(**at, wrong="would be read otherwise in a pack", found=found, right=right)])
    changed = [key for key, number in kit.assumed.numbers.items() if packed.assumed.numbers[key].value != number.value]
    if changed:
        more = " and more" if len(changed) > 5 else ""
        lines.append(f"Numbers that the pack's records tell otherwise than yours: {', '.join(changed[:5])}{more}.")
        lines.append("All results in the pack are worked out from what is in it.")
    return lines


def _check_place(out, folder):
    """Refuse to write over what is no pack, or into nowhere."""
    place, wrong = out.resolve(), ""
    if out.suffix.lower() != ".zip":
        wrong, right = "is no name for a pack", "a name that ends in .zip"
    elif not place.parent.is_dir():
        wrong, right = "is in a folder that is not there", "a folder that exists"
    elif place.parent == (folder / "records").resolve():
        wrong, right = "would lie among the records", "another folder with --out"
    elif out.exists():
        try:
            read_pack(out)
        except StudyError:
            wrong, right = "is there already and is no pack", "another name with --out"
    if wrong:
        raise refusal(str(out), wrong, right)


def texts(name: str, versions: dict[str, str], left_out: dict[str, str], kept: list[str]) -> dict[str, bytes]:
    """The members that are written of what the manifest says, in no order of its own."""
    versions, left_out = (dict(sorted(part.items(), key=lambda one: one[0].casefold())) for part in (versions, left_out))
    lines = [
        f"{name}: a study packed by casting_econ {versions.get('casting_econ')}",
        "",
        "study/ holds the study file and the records, report/ the results, every table, and report.html, which opens in any browser;",
        "if you do not know where this file comes from, verify it before you open anything in it.",
        "",
        "To work everything out anew and see that the numbers are the same, install casting_econ, then",
        "",
        "    casting-econ verify THIS-FILE.zip",
        "",
        f"It was made with Python {versions.get('python')} and the versions in requirements.txt. For the same ones, verify first, as that looks",
        "at requirements.txt too, then: pip install -r requirements.txt",
        "",
        *column_lines(left_out, kept),
    ]
    pins = [f"{name}=={version}" for name, version in versions.items() if name not in ("casting_econ", "python")]
    parts = {"README.txt": lines, "requirements.txt": pins}
    return {name: "".join(f"{line}\n" for line in part).encode() for name, part in parts.items()}


def installed_versions() -> dict[str, str]:
    """Versions of Python, of the kit, and of everything installed that it needs, directly or not."""
    found: dict[str, str] = {}
    open_, seen = {(name, "") for name in ("casting_econ", *VERSIONS)}, set()
    while open_:
        seen |= open_
        needs = set()
        for name, extra in open_:
            with suppress(PackageNotFoundError):  # needed on other systems only
                dist = distribution(name)
                found[dist.name] = dist.version
                for need in map(Requirement, dist.requires or ()):
                    if need.marker is None or need.marker.evaluate({"extra": extra}):
                        needs |= {(need.name, one) for one in ("", *need.extras)}
        open_ = needs - seen
    return {"python": platform.python_version()} | dict(sorted(found.items(), key=lambda one: one[0].casefold()))


def code_hash() -> str:
    """Of the kit's code, which may change while its version does not."""
    package = Path(__file__).resolve().parents[1]
    files = sorted(package.rglob("*.py"), key=lambda path: path.relative_to(package).as_posix())
    return hashlib.sha256(b"\0".join(path.read_bytes().replace(b"\r\n", b"\n") for path in files)).hexdigest()
