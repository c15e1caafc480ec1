"""`casting-econ verify`: whether a pack is what it says, worked out anew by the installed kit."""

import base64
import csv
import hashlib
import io
import json
import math
import re
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

from ..draws import round_up_draws
from ..faults import Fault, StudyError, counted
from ..kit import open_study
from ..reference import kit_folder
from ..running import run
from ..running.results import as_json, results
from .pack import Pack, code_hash, installed_versions, read_json, read_pack, some_workers, texts

__all__ = ["Difference", "Verified", "verify_pack"]

_SAME = 1e-8  # relative; results carry nine digits and processors differ in the last
_NOTHING = 1e-9  # absolute: what is left when equal sums are taken from each other


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One thing that is not as it was packed."""

    what: str
    packed: str
    found: str

    def __str__(self) -> str:
        return f"{self.what}: packed {self.packed}, found {self.found}"


@dataclass(kw_only=True)
class Verified:
    """What verifying found."""

    changed: list[Difference] = field(default_factory=list)  # members that are not what the manifest says, and its own sayings
    versions: list[Difference] = field(default_factory=list)
    numbers: list[Difference] = field(default_factory=list)
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

        lines = told("Not what was packed:", self.changed) + told(
            "Other versions here than the pack was made with:", self.versions
        )
        if self.failed:
            return [*lines, f"Nothing could be worked out: {self.failed}"]
        lines += told("Other numbers, words or pictures:", self.numbers)
        figures = f"{self.numbers_compared:,} figures compared"
        if self.numbers:
            lines.append(f"NOT the same numbers: {counted(len(self.numbers), 'difference')} in {figures}.")
        else:
            whole = "results" if len(self.unchecked) > 1 else "numbers"
            lines.append(f"Same {whole}: all {figures} are as they were packed.")
            lines[-1] += "" if self.same else " But not everything is as it was packed; see above."
        return [*lines, f"Worked out here and compared: {', '.join(self.compared)}.", *self.unchecked]


def verify_pack(
    archive: Path | str,
    out: Path | str | None = None,
    *,
    quick: bool = False,
    workers: int | None = None,
    say: Callable[[str], None] = print,
) -> Verified:
    """Check a pack's hashes and versions, and work everything out anew from its study with the same seed.

    Parameters
    ----------
    archive : Path or str
        Archive that `pack_study` wrote, or that somebody says it did; nothing in it is run.
    out : Path or str, optional
        New or empty folder for the study and the report worked out here; nothing is kept if not given.
    quick : bool, optional
        Only work out the results, not the pages with their tables: those are then said to be unchecked.
    workers : int, optional
        Notebooks at a time; as many as there are processors, up to four, if not given.
    say : callable, optional
        Takes a line of progress.

    Returns
    -------
    Verified

    Raises
    ------
    StudyError
        If the archive is refused, or `out` holds anything.
    NotebookError
        If a page fails.
    """
    out = Path(out) if out else None
    if out is not None and out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise StudyError([Fault(file=str(out), wrong="is there already", right="a new or empty folder with --out")])
    pack = read_pack(archive)
    found = Verified()
    found.changed += _changed_members(pack)
    found.versions += _versions(pack)
    with tempfile.TemporaryDirectory(prefix="casting-econ-") as place:
        pack.write_study(Path(place))
        study, report = Path(place) / "study", Path(place) / "report"
        try:
            kit = open_study(study)
            table = kit.study.file.study
            stated = {"study": table.name, "seed": table.seed, "draws": round_up_draws(table.draws)}
            for name, value in stated.items():
                if getattr(pack.manifest, name) != value:
                    found.changed.append(
                        Difference(what=f"{name} of the manifest", packed=repr(getattr(pack.manifest, name)), found=repr(value))
                    )
            if quick:
                report.mkdir()
                (report / "results.json").write_text(
                    as_json(results(kit, kit.monte_carlo(workers=workers or some_workers()))), encoding="utf-8"
                )
            else:
                run.run_study(study, report, workers=workers or some_workers(), say=say)
        except StudyError as error:
            found.failed = "the study in the pack has faults\n" + str(error)
            return found
        _compare_numbers(pack, report, found, quick)
        if out is not None:
            _keep(Path(place), out)
    return found


def _changed_members(pack: Pack) -> list[Difference]:
    """Members whose bytes are not those of the manifest, and texts that this kit would not write of it."""
    found = []
    for name, data in sorted(pack.members.items()):
        own = hashlib.sha256(data).hexdigest()
        if own != pack.manifest.members[name]:
            found.append(
                Difference(what=name, packed=f"bytes of SHA-256 {pack.manifest.members[name][:12]}...", found=f"{own[:12]}...")
            )
    told = pack.manifest
    for name, data in texts(told.study, told.versions, told.left_out, told.kept).items():
        found += _other_line(name, pack.members[name], data)
    return found


def _versions(pack: Pack) -> list[Difference]:
    """Where what is installed is not what the pack was made with."""
    here, found = installed_versions(), []
    for name in sorted({*pack.manifest.versions, *here}, key=str.casefold):
        packed, own = pack.manifest.versions.get(name, "none"), here.get(name, "none")
        if packed != own:
            found.append(Difference(what=ascii(name)[1:-1][:60], packed=ascii(packed)[1:-1][:60], found=own))
    if pack.manifest.code != code_hash() and not any(one.what == "casting_econ" for one in found):
        found.append(
            Difference(
                what="code of casting_econ",
                packed=f"{pack.manifest.code[:12]}...",
                found=f"{code_hash()[:12]}... of the same version",
            )
        )
    for page in sorted({*run.PAGES, *pack.manifest.notebooks}):
        own = run.file_hash(kit_folder("notebooks") / f"{page}.ipynb") if page in run.PAGES else "none"
        packed = pack.manifest.notebooks.get(page, "none")
        if own != packed:
            found.append(Difference(what=f"page {ascii(page)[1:-1][:60]}", packed=packed[:12], found=own[:12]))
    return found


def _compare_numbers(pack: Pack, report: Path, found: Verified, quick: bool) -> None:
    """Results, tables and words of the pack beside those worked out here."""
    try:
        packed = read_json(pack.members["report/results.json"])
    except ValueError as error:
        found.numbers.append(Difference(what="results.json", packed=str(error), found="results"))
        packed = {}
    new = json.loads((report / "results.json").read_text(encoding="utf-8"))
    _compare(_leaves(packed), _leaves(new), "results.json, ", found)
    found.compared = ["results.json", "README.txt", "requirements.txt"]
    inputs = counted(sum(name.startswith("study/records/") for name in pack.members), "file")
    found.unchecked = [
        f"Taken as they came, as all this is worked out from them: study.toml, {inputs} of records, and which columns were left out."
    ]
    tables = [name for name in pack.members if name.startswith("report/tables/")]
    if quick:
        found.unchecked.append(
            f"NOT checked with --quick: the words, scripts and pictures of report.html, and {counted(len(tables), 'table')}. At most their "
            "hashes fit the manifest, which whoever made the archive wrote too: before you open report.html, verify without --quick."
        )
        return
    old = {name.rsplit("/", 1)[1]: pack.members[name] for name in tables}
    tables = {path.name: path.read_bytes() for path in (report / "tables").glob("*.csv")}
    found.compared.append(counted(len(tables), "table"))
    for name in sorted({*tables, *old}):
        if name not in tables or name not in old:
            there = ("a table", "none") if name in old else ("none", "a table")
            found.numbers.append(Difference(what=f"tables/{name}", packed=there[0], found=there[1]))
        elif tables[name] != old[name]:
            _compare(_cells(old[name]), _cells(tables[name]), f"tables/{name}, ", found)
        else:
            found.numbers_compared += sum(read_figure(cell) is not None for cell in _cells(old[name]).values())
    _compare_words(pack.members["report/report.html"], (report / "report.html").read_bytes(), found)


def _compare(packed: dict, new: dict, place: str, found: Verified) -> None:
    for key in dict.fromkeys((*packed, *new)):
        one, other = packed.get(key, "nothing"), new.get(key, "nothing")
        figures = read_figure(one), read_figure(other)
        if None not in figures:
            found.numbers_compared += 1
            if math.isclose(*figures, rel_tol=_SAME, abs_tol=_NOTHING):
                continue
        elif one == other and type(one) is type(other):
            continue
        named = ascii(key if isinstance(key, str) else ".".join(key))[1:-1][:120]
        found.numbers.append(Difference(what=f"{place}{named}", packed=_short(one), found=_short(other)))


def read_figure(value):
    """A number, also one in the cell of a table."""
    if isinstance(value, bool):
        return None
    try:
        figure = float(value)
    except (TypeError, ValueError, OverflowError):
        return None
    return figure if math.isfinite(figure) else None


def _leaves(node, path=()) -> dict[tuple[str, ...], object]:
    """Values of nested tables and lists by their keys; the brackets of results are few, those of a stranger are cut off."""
    found: dict[tuple[str, ...], object] = {}
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else None
    if items is None or len(path) > 12:
        return {path: node if items is None else "more brackets than results have"}
    for key, value in items:
        found |= _leaves(value, (*path, str(key)))
    return found


def _cells(data: bytes) -> dict[str, str]:
    """Cells of a table by row and column."""

    def named() -> Iterator[tuple[str, str]]:
        try:
            rows = list(csv.reader(io.StringIO(data.decode("utf-8", "replace"), newline="")))
        except csv.Error:
            rows = [["no table"]]
        head = rows[0] if rows else []
        yield "columns", ", ".join(head)
        for number, row in enumerate(rows[1:], start=1):
            for at, cell in enumerate(row):
                column = head[at] if at < len(head) else f"column {at + 1}"
                label = f"row {number}" + (f" ({row[0][:40]})" if at and read_figure(row[0]) is None and row[0] else "")
                yield f"{label}, {column}" + (f" {at + 1}" if head.count(column) > 1 else ""), cell

    return dict(named())


_PICTURE = re.compile(rb'src="data:image/png;base64,([A-Za-z0-9+/=]*)"')


def _compare_words(packed: bytes, new: bytes, found: Verified) -> None:
    """Every byte of the report, but for pictures, which are written in other bytes on other systems: those by what they show."""
    found.numbers += _other_line("report.html", *(_PICTURE.sub(b'src="picture"', data) for data in (packed, new)))
    pictures = [_PICTURE.findall(data) for data in (packed, new)]
    for number, (one, other) in enumerate(zip(*pictures), start=1):
        if not _same_picture(one, other):
            what = f"report.html, picture {number} of {len(pictures[1])}"
            found.numbers.append(Difference(what=what, packed="another picture", found="the one worked out here"))
    again = sum(one != other for one, other in zip(*pictures))
    bytes_ = f", {again} of them the same to the eye in other bytes" if again else ""
    found.compared.append(f"words, scripts and {counted(len(pictures[1]), 'picture')} of report.html{bytes_}")


def _other_line(name: str, packed: bytes, new: bytes) -> list[Difference]:
    """The first line in which a text is another, if there is one."""
    if packed == new:
        return []
    parts = [data.decode("utf-8", "backslashreplace").split("\n") for data in (packed, new)]
    at = next((i for i, pair in enumerate(zip(*parts)) if pair[0] != pair[1]), min(map(len, parts)))
    one, other = (f"'{ascii(part[at][:100])[1:-1]}'" if at < len(part) else "the end" for part in parts)
    return [Difference(what=f"{name}, from line {at + 1}", packed=one, found=other)]


_SHADE = 16  # of 255, by which an edge may be rounded otherwise


def _same_picture(packed: bytes, own: bytes) -> bool:
    """Whether two pictures in base64 show the same; a stranger's is unpacked only where it says it is as large as ours."""
    if packed == own:
        return True
    try:
        one, other = (Image.open(io.BytesIO(base64.b64decode(data)), formats=["PNG"]) for data in (packed, own))
        if one.size != other.size:
            return False
        gap = np.subtract(*(np.asarray(picture.convert("RGBA"), dtype=np.int16) for picture in (one, other)))
    except Exception:  # whatever a picture that is none may do to its reader
        return False
    return bool(np.abs(gap).max() <= _SHADE)


def _short(value):
    text = ascii(value) if isinstance(value, str) else repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."


def _keep(place: Path, out: Path) -> None:
    """Put study and report where they were asked for."""
    import shutil

    try:
        out.mkdir(parents=True, exist_ok=True)
        for name in ("study", "report"):
            shutil.copytree(place / name, out / name)
    except OSError as error:
        raise StudyError(
            [Fault(file=str(out), wrong="cannot be written", found=str(error.strerror), right="a folder you may write to")]
        ) from None
