"""Write the tables of keys and log columns into data/manual.md, from the declarations that the kit reads by."""

from pathlib import Path

from casting_econ.ledger.logs import LOGS, in_words
from casting_econ.study.keys import example_of, keys_of, kind_of, left_out

MANUAL = Path(__file__).parents[1] / "data" / "manual.md"
START, END = "<!-- keys: made by tests/refresh_manual.py -->\n", "<!-- end of keys -->"


def parts() -> tuple[str, str, str]:
    """The manual before, between and after its marks."""
    before, _, rest = MANUAL.read_text(encoding="utf-8").partition(START)
    tables, _, after = rest.partition(END)
    return before, tables, after


def manual_tables() -> str:
    """Every key of the study file and every column of the logs as Markdown: what it is, takes and is if not given, and a demo's line."""
    parts = []
    for table, field in keys_of().items():
        if "." in table:
            continue
        parts += [f"### `{table}`", "", f"{field.description[:1].upper()}{field.description[1:]}.", ""]
        inner = [key for key in keys_of() if key.startswith(f"{table}.")]
        if inner:
            parts += ["| key | what it is | takes | if left out | as in a demo |", "|---|---|---|---|---|"]
        for key in inner:
            known, example = keys_of()[key], "".join(example_of(key.split("."))).partition(": ")[2]
            takes = "a table" if any(other.startswith(f"{key}.") for other in inner) else kind_of(known)
            cells = [f"`{key.removeprefix(f'{table}.')}`", known.description, takes, left_out(known), example and f"`{example}`"]
            parts.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        parts.append("")
    parts += ["### Logs, column by column", "", "| log | column | takes | if left out |", "|---|---|---|---|"]
    for log, columns in LOGS.items():
        for column, (kind, needed) in columns.items():
            parts.append(f"| `{log}` | `{column}` | {in_words(kind)} | {'needed' if needed else 'may be left out'} |")
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    before, _, after = parts()
    MANUAL.write_text(f"{before}{START}\n{manual_tables()}\n{END}{after}", encoding="utf-8", newline="\n")
