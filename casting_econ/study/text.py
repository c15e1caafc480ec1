"""The text of a study file: its keys, which line each stands in, and what keeps it from being read at all."""

import re
import tomllib
from collections import Counter
from dataclasses import replace

from babel.numbers import list_currencies

from ..faults import Fault, cut
from .consistency import STUDY_FILE

# of a study file; what is within them takes seconds to check, whatever stands in it
MOST_BYTES, MOST_LEVELS, MOST_DOTS = 250_000, 20, 400  # in all; tables within tables; dots in a line, as each may open a table
_KEY = re.compile(r"[\w.\"' \t-]+")


def read_text(folder):
    """The study file's text, its keys (None where it cannot be read), and what is wrong so far."""
    path = folder / STUDY_FILE

    def refused(text="", **fault):
        return text, None, [Fault(file=STUDY_FILE, **fault)]

    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            right = f"at most {MOST_BYTES // 1000} kB, which is thirty times a usual one"
            return refused(wrong="is too large", found=f"{path.stat().st_size / 1000:,.0f} kB", right=right)
        text = data.decode("utf-8-sig")
    except (FileNotFoundError, NotADirectoryError):
        where = "folder without it" if folder.is_dir() else "a file" if folder.exists() else "no such folder"
        return refused(wrong="study file is missing", found=f"{where}: {folder}", right=f"a folder with a {STUDY_FILE}")
    except UnicodeDecodeError as error:
        row, right = data[: error.start].count(b"\n") + 1, "the file saved as UTF-8, as text editors offer"
        found = "a letter saved in another way than the rest"
        return refused(row=row, wrong="cannot be read as text", found=found, right=right)
    except OSError as error:
        return refused(wrong="cannot be read", found=str(error.strerror), right="a file you may read")
    deep = {"wrong": "too many names or brackets within each other", "right": f"at most {MOST_LEVELS} levels"}
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > MOST_DOTS:  # a key of a thousand names keeps the parser for hours
            return refused(text, row=number, **deep, found=f"{line.count('.'):,} dots in a line")
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        return refused(text, **deep)
    except ValueError as error:  # TOMLDecodeError, a figure of thousands of digits
        line = re.search(r"line (\d+)", str(error))
        row = int(line[1]) if line else None
        return refused(text, row=row, wrong="is not valid TOML", found=str(error), right=_toml_remedy(text, row, str(error)))
    if path := _too_deep(raw):
        row = next((line for keys, line in lines_of(text).items() if keys[:MOST_LEVELS] == path), None)
        return refused(text, **deep, row=row, column=".".join(path[:4]), found=f"{cut(repr('.'.join(path)))[1:-1]} and on")
    return text, raw, []


def _toml_remedy(text, row, said):
    """What would be right where the file is no TOML, as far as the line shows why."""
    lines = text.splitlines()
    line = lines[row - 1] if row and row <= len(lines) else ""
    if re.search("[“”„‟]", line):
        return 'straight quotes "…", as a plain text editor writes them; curly ones come from a word processor'
    if "twice" in said or "overwrite" in said:
        name = line.strip().strip("[]").partition("=")[0].strip()
        first = next((n for n, other in enumerate(lines, start=1) if other.strip() == line.strip() and n != row), None)
        return f"each name once: {name} stands{f' in line {first}' if first else ''} already; another name, such as {name}-2"
    if comma := re.search(r"=\s*([-+]?\d+),(\d+)\s*(?=[}#,]|$)", line):
        return f"a decimal point in a figure without quotes, {comma[1]}.{comma[2]}, or quotes around it and its unit"
    return "key = value lines under [table] headings, texts between straight quotes"


def copied(node):
    """Keys of a file, to be changed without those that they were."""
    if isinstance(node, dict):
        return {key: copied(inner) for key, inner in node.items()}
    return [copied(inner) for inner in node] if isinstance(node, list) else node


def within(node, path):
    """What stands at a path of keys and places in lists; None where nothing does."""
    for part in path:
        if isinstance(node, dict):
            node = node.get(part)
        else:
            node = node[part] if isinstance(node, list) and isinstance(part, int) and part < len(node) else None
    return node


def currency_of(raw, text=""):
    """Currency that the file's money is read in; where the file does not say, the code that its figures have most often."""
    stated = within(raw, ["study", "currency"])
    if stated in list_currencies():
        return stated
    codes = Counter(code for code in re.findall(r"\d\s*([A-Z]{3})\b", text) if code in list_currencies())
    return codes.most_common(1)[0][0] if codes else "EUR"


def _too_deep(raw):
    """Keys that lead further down than a file may, or nothing."""
    open_ = [((), raw)]
    while open_:
        path, node = open_.pop()
        items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
        if items and len(path) >= MOST_LEVELS:
            return path
        open_ += [((*path, str(key)), inner) for key, inner in items if isinstance(inner, dict | list)]
    return ()


def lines_of(text):
    """Lines of a study file's tables and keys, as far as they can be found, by the names that lead there."""
    found, section, tables = {}, [], Counter()
    for number, line in enumerate(map(str.strip, text.splitlines()), start=1):
        key, equals, _ = line.partition("=")
        if line.startswith("["):
            header = line.lstrip("[").partition("]")[0]
            section = [part.strip("\"' ") for part in header.split(".")[:MOST_LEVELS]]
            if line.startswith("[["):  # the entries of a list are counted from 0
                section.append(str(tables[header]))
                tables[header] += 1
            path = section
        elif equals and _KEY.fullmatch(key):
            path = section + [part.strip("\"' ") for part in key.split(".")]
        else:
            continue
        found.setdefault(tuple(path), number)
    return found


def with_line(fault, lines):
    """Point a fault of the study file at the line its key stands in, or that of the table around it."""
    keys = fault.column.split(".")
    paths = (tuple(keys[:count]) for count in range(len(keys), 0, -1))
    row = next((lines[path] for path in paths if path in lines), None) if fault.row is None else fault.row
    return replace(fault, row=row)
