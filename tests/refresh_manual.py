"""Write the tables of keys and log columns into data/manual.md, from the declarations that the kit reads by."""

from pathlib import Path

from casting_econ.study.keys import manual_tables

MANUAL = Path(__file__).parents[1] / "data" / "manual.md"
START, END = "<!-- keys: made by tests/refresh_manual.py -->\n", "<!-- end of keys -->"


def parts() -> tuple[str, str, str]:
    """The manual before, between and after its marks."""
    before, _, rest = MANUAL.read_text(encoding="utf-8").partition(START)
    tables, _, after = rest.partition(END)
    return before, tables, after


if __name__ == "__main__":
    before, _, after = parts()
    MANUAL.write_text(f"{before}{START}\n{manual_tables()}\n{END}{after}", encoding="utf-8", newline="\n")
