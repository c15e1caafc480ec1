"""`casting-econ verify`: whether a pack is what it says, worked out anew by the installed kit."""

import csv
import hashlib
import io
import json
import math
import re
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from ..faults import StudyError, counted, cut, refusal, refusals_told
from ..kit import open_study
from ..reference import kit_folder
from ..running import WORKERS, run, store
from ..running.results import as_json, results
from .form import Pack, read_json, read_pack, write_study
from .pack import code_hash, installed_versions, texts

_SAME = 1e-8  # relative; results carry nine digits and processors differ in the last
_NOTHING = 1e-9  # absolute: what is left when equal sums are taken from each other
_PLACE = 0.002  # relative; places in pictures have four digits, and the last may be rounded otherwise
_TABLES = "report/tables/"
_PICTURE = re.compile(rb"src='data:image/svg\+xml,([^']*)'")
_FIGURE = re.compile(rb"-?\d+(?:\.\d+)?")


def _differs(what: str, packed: object, found: object) -> str:
    """One thing that is not as it was packed; what a stranger wrote is shown as plain characters, cut where it is long."""
    plain = (cut(ascii(part)[1:-1] if isinstance(part, str) else repr(part), 120) for part in (what, packed, found))
    return "{}: packed {}, found {}".format(*plain)


@dataclass(kw_only=True)
class Verified:
    """What verifying found."""

    changed: list[str] = field(default_factory=list)  # members that are not what the manifest says, and its own sayings
    versions: list[str] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)
    numbers_compared: int = 0
    compared: list[str] = field(default_factory=list)  # members beside what was worked out here
    unchecked: list[str] = field(default_factory=list)  # why members were not
    failed: str = ""  # why nothing could be worked out

    @property
    def same(self) -> bool:
        """Whether everything that was compared is as it was packed."""
        return not (self.changed or self.versions or self.numbers or self.failed)

    def lines(self, most: int = 40) -> list[str]:
        """What was found, for the terminal; never more than `most` differences of a kind."""

        def told(title, found):
            more = [f"  and {len(found) - most} more"] if len(found) > most else []
            return [title, *(f"  {one}" for one in found[:most]), *more] if found else []

        lines = told("Not what was packed:", self.changed)
        lines += told("Other versions here than the pack was made with:", self.versions)
        if self.failed:
            return [*lines, f"Nothing could be worked out: {self.failed}"]
        lines += told("Other numbers, words or pictures:", self.numbers)
        figures, whole = f"{self.numbers_compared:,} figures compared", "results" if len(self.unchecked) > 1 else "numbers"
        same = f"Same {whole}: all {figures} are as they were packed."
        same += "" if self.same else " But not everything is as it was packed; see above."
        verdict = f"NOT the same numbers: {counted(len(self.numbers), 'difference')} in {figures}." if self.numbers else same
        return [*lines, verdict, f"Worked out here and compared: {', '.join(self.compared)}.", *self.unchecked]


def verify_pack(
    archive: Path | str,
    out: Path | str | None = None,
    *,
    quick: bool = False,
    workers: int = WORKERS,
    say: Callable[[str], None] = print,
) -> Verified:
    """Check a pack's hashes and versions, and work everything out anew from its study with the same seed; nothing in the archive is run.

    `out` is a new or empty folder for the study and the report worked out here, of which nothing is kept if it is not given; `quick` works out
    the results only, and says that the pages with their tables are unchecked; `workers` notebooks run at a time; `say` takes a line.

    StudyError if the archive is refused, or `out` holds anything; NotebookError if a page fails.
    """
    out = Path(out) if out else None
    if out is not None and out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise refusal(str(out), "is there already", "a new or empty folder with --out")
    pack = read_pack(archive)
    found = Verified(changed=_changed_members(pack), versions=_versions(pack))
    with tempfile.TemporaryDirectory(prefix="casting-econ-") as place:
        study, report = write_study(pack.members, Path(place)), Path(place) / "report"
        try:
            kit = open_study(study)
            for name, own in zip(("study", "draws", "seed"), (kit.study.file.study.name, *kit.plan_of_draws())):
                if (packed := getattr(pack.manifest, name)) != own:
                    found.changed.append(_differs(f"{name} of the manifest", packed, own))
            if quick:
                report.mkdir()
                (report / "results.json").write_text(as_json(results(kit, kit.monte_carlo(workers=workers))), encoding="utf-8")
            else:
                run.run_study(study, report, workers=workers, say=say)
        except StudyError as error:
            found.failed = "the study in the pack has faults\n" + str(error)
            return found
        _compare_results(pack, report, found)
        if quick:
            tables = counted(sum(name.startswith(_TABLES) for name in pack.members), "table")
            found.unchecked.append(
                f"NOT checked with --quick: the words, scripts and pictures of report.html, and {tables}. At most their hashes "
                "fit the manifest, which whoever made the archive wrote too: before you open report.html, verify without --quick."
            )
        else:
            _compare_tables(pack, report, found)
            _compare_words(pack.members["report/report.html"], (report / "report.html").read_bytes(), found)
        if out is not None:
            with refusals_told(out, "cannot be written", "a folder you may write to"):
                for name in ("study", "report"):
                    shutil.copytree(Path(place) / name, out / name)
    return found


def _changed_members(pack: Pack) -> list[str]:
    """Members whose bytes are not those of the manifest, and texts that this kit would not write of it."""
    told, found = pack.manifest, []
    for name, data in sorted(pack.members.items()):
        own = hashlib.sha256(data).hexdigest()
        if own != told.members[name]:
            found.append(_differs(name, f"bytes of SHA-256 {told.members[name][:12]}...", f"{own[:12]}..."))
    for name, data in texts(told.study, told.versions, told.left_out, told.kept).items():
        found += _other_line(name, pack.members[name], data)
    return found


def _versions(pack: Pack) -> list[str]:
    """Where what is installed is not what the pack was made with."""
    pages = {f"page {name}": store.file_hash(kit_folder("notebooks") / f"{name}.ipynb")[:12] for name in store.PAGES}
    theirs = {f"page {name}": own[:12] for name, own in pack.manifest.notebooks.items()}
    found, told, code = _unlike(pack.manifest.versions, installed_versions()), pack.manifest.code, code_hash()
    if told != code and not any(one.startswith("casting_econ:") for one in found):
        found.append(_differs("code of casting_econ", f"{told[:12]}...", f"{code[:12]}... of the same version"))
    return found + _unlike(theirs, pages)


def _unlike(packed: dict[str, str], own: dict[str, str]) -> list[str]:
    """Names under which two tables say another thing, or one of them none."""
    pairs = ((name, packed.get(name, "none"), own.get(name, "none")) for name in sorted({*packed, *own}, key=str.casefold))
    return [_differs(name, one, other) for name, one, other in pairs if one != other]


def _compare_results(pack: Pack, report: Path, found: Verified) -> None:
    """Results of the pack beside those worked out here."""
    try:
        packed = read_json(pack.members["report/results.json"])
    except ValueError as error:
        found.numbers.append(_differs("results.json", str(error), "results"))
        packed = {}
    _compare(_leaves(packed), _leaves(json.loads((report / "results.json").read_text(encoding="utf-8"))), "results.json, ", found)
    found.compared = ["results.json", "README.txt", "requirements.txt"]
    logs = counted(sum(name.startswith("study/records/") for name in pack.members), "log")
    taken = "Taken as they came, as all this is worked out from them"
    found.unchecked.append(f"{taken}: study.toml, {logs} of records, and which columns were left out.")


def _compare_tables(pack: Pack, report: Path, found: Verified) -> None:
    """Tables of the pack beside those worked out here."""
    packed = {name.removeprefix(_TABLES): data for name, data in pack.members.items() if name.startswith(_TABLES)}
    new = {path.name: path.read_bytes() for path in (report / "tables").glob("*.csv")}
    found.compared.append(counted(len(new), "table"))
    found.numbers += _unlike(*({f"tables/{name}": "a table" for name in tables} for tables in (packed, new)))
    for name in sorted(packed.keys() & new.keys()):
        _compare(_cells(packed[name]), _cells(new[name]), f"tables/{name}, ", found)


def _compare(packed: dict[tuple[str, ...], object], new: dict[tuple[str, ...], object], place: str, found: Verified) -> None:
    """Values by where they stand: figures to eight digits, all else exactly."""
    for key in dict.fromkeys((*packed, *new)):
        one, other = packed.get(key, "nothing"), new.get(key, "nothing")
        figures = _figure(one), _figure(other)
        if None not in figures:
            found.numbers_compared += 1
            if math.isclose(*figures, rel_tol=_SAME, abs_tol=_NOTHING):
                continue
        elif one == other and type(one) is type(other):
            continue
        found.numbers.append(_differs(place + ".".join(key), *(f"'{v}'" if isinstance(v, str) else v for v in (one, other))))


def _figure(value: object) -> float | None:
    """A finite number, also one in the cell of a table; None for all else."""
    if isinstance(value, bool):
        return None
    try:
        figure = float(value)
    except (TypeError, ValueError, OverflowError):
        return None
    return figure if math.isfinite(figure) else None


def _leaves(node, path=()) -> dict[tuple[str, ...], object]:
    """Values of nested tables and lists by their keys; the brackets of results are few, those of a stranger are cut off."""
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else None
    if items is None or len(path) > 12:
        return {path: node if items is None else "more brackets than results have"}
    return {key: leaf for name, value in items for key, leaf in _leaves(value, (*path, str(name))).items()}


def _cells(data: bytes) -> dict[tuple[str], str]:
    """Cells of a table by row and column."""
    try:
        rows = list(csv.reader(io.StringIO(data.decode("utf-8", "replace"), newline="")))
    except csv.Error:
        rows = [["no table"]]
    head = rows[0] if rows else []
    cells = {("columns",): ", ".join(head)}
    for number, row in enumerate(rows[1:], start=1):
        for at, cell in enumerate(row):
            column = head[at] if at < len(head) else f"column {at + 1}"
            label = f"row {number}" + (f" ({row[0][:40]})" if at and _figure(row[0]) is None and row[0] else "")
            cells[(f"{label}, {column}" + (f" {at + 1}" if head.count(column) > 1 else ""),)] = cell
    return cells


def _compare_words(packed: bytes, new: bytes, found: Verified) -> None:
    """Every byte of the report, but for places in pictures, whose last digits are rounded otherwise on other systems."""
    found.numbers += _other_line("report.html", *(_PICTURE.sub(b'src="picture"', data) for data in (packed, new)))
    pictures = [_PICTURE.findall(data) for data in (packed, new)]
    again = {at: pair for at, pair in enumerate(zip(*pictures), start=1) if pair[0] != pair[1]}
    for at in (at for at, pair in again.items() if not _same_picture(*pair)):
        what = f"report.html, picture {at} of {len(pictures[1])}"
        found.numbers.append(_differs(what, "another picture", "the one worked out here"))
    bytes_ = f", {len(again)} of them the same to the eye in other bytes" if again else ""
    found.compared.append(f"words, scripts and {counted(len(pictures[1]), 'picture')} of report.html{bytes_}")


def _other_line(name: str, packed: bytes, new: bytes) -> list[str]:
    """The first line in which a text is another, if there is one."""
    if packed == new:
        return []
    parts = [data.decode("utf-8", "backslashreplace").split("\n") for data in (packed, new)]
    at = next((i for i, pair in enumerate(zip(*parts)) if pair[0] != pair[1]), min(map(len, parts)))
    one, other = (f"'{part[at][:100]}'" if at < len(part) else "the end" for part in parts)
    return [_differs(f"{name}, from line {at + 1}", one, other)]


def _same_picture(packed: bytes, own: bytes) -> bool:
    """Whether two pictures are drawn with the same strokes at the same places; a stranger's is read as text only."""
    (lines, places), (own_lines, own_places) = ((_FIGURE.sub(b"#", one), _FIGURE.findall(one)) for one in (packed, own))
    pairs = ((float(one), float(other)) for one, other in zip(places, own_places))
    return lines == own_lines and all(math.isclose(*pair, rel_tol=_PLACE, abs_tol=0.01) for pair in pairs)
