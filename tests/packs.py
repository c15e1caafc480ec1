"""Packs of one demo for tests: what is in them, and packs of changed members."""

import shutil
import zipfile
from pathlib import Path

from commands import DATA

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
