"""The study file, the empty logs and the page on what to write down."""

from pathlib import Path

from ..ledger.logs import LOGS
from ..reference import quote_words
from ..study.numbers import written
from ..templates import template
from .answers import Answers
from .crafts import kinds
from .reading import STAND_IN, read_times
from .writer import Writer

FIRST_ORDER = "first-order"
_STUDY, _WALL = (Path(__file__).with_name(name) for name in ("study.toml.j2", "what-to-write-down.md.j2"))
_EXAMPLES = {
    "timesheet": {"date": "2026-01-15", "step": "{step}", "minutes": "45", "product": "{piece}", "pieces_handled": "12"},
    "batches": {"batch": "B001", "date": "2026-01-15", "product": "{piece}", "casts": "{casts}", "good": "{good}", "order": "{order}"},
    "faults": {"date": "2026-01-15", "batch": "B001", "product": "{piece}", "step": "{checked}", "cause": "{cause}", "pieces": "2", "fate": "scrap"},
    "moulds": {"mould": "M01", "product": "{piece}", "cavities": "{cavities}", "made": "2026-01-02"},
    "purchases": {"date": "2026-01-10", "item": "{item}", "kind": "material", "quantity": "1", "unit": "kg", "paid": "20.00"},
    "sales": {"date": "2026-01-20", "order": "{sold}", "channel": "{channel}", "product": "{piece}", "pieces": "{pieces}", "price": "{price}"},
    "prices_seen": {"date": "2026-01-20", "place": "a fair", "description": "about the same size", "pieces": "1", "price": "14.00", "sold": "unknown"},
    "stock_count": {"date": "2026-12-31", "item": "{piece}", "quantity": "20", "stage": "finished"},
    "mileage": {"date": "2026-01-20", "purpose": "a fair and back", "distance_km": "36"},
}  # fmt: skip


def study_text(answers: Answers, name: str, locale: str | None) -> tuple[str, list[str]]:
    """The study file of a set of answers, and what in it is a trade default."""
    w, table = Writer(answers), answers.craft.table
    tools = {"hand-tools-and-scales": [*table["hand_tools"][:3], 5, table["hand_tools"][3]]} | table["equipment"]
    given = {"name": name, "locale": locale, "answers": answers, "money": answers.currency, "table": table, "tools": tools}
    given |= {"w": w, "written": written, "kinds": kinds(), "stand_in": STAND_IN, "read_times": read_times}
    text = template(_STUDY, plain=True).render(**given, first_order=FIRST_ORDER, quote_words=quote_words())
    w.defaults += ["material prices", "postage, packing and refunds", "minutes an order", "equipment"]
    return text.rstrip() + "\n", list(dict.fromkeys(w.defaults))


def log_texts(answers: Answers) -> dict[str, str]:
    """Each log by its file name: the header, and an example row that is not read."""
    checked = next(step for step in answers.steps if step.get("losses"))
    sold = {"sold": "0001", "channel": "online", "pieces": "2", "price": "30.00", "cavities": str(answers.casts_a_load)}
    if answers.order:
        pieces, price = (answers.figures.get(key, (0, 0, 0))[1] for key in ("pieces", "price"))
        sold |= {"sold": FIRST_ORDER, "channel": "direct", "pieces": written(pieces)}
        sold |= {"price": written(price or 15 * pieces), "cavities": str(answers.cavities or answers.masters)}
    words = sold | {
        "piece": answers.piece,
        "step": next(step["name"] for step in answers.craft.steps if step.get("main")),
        "casts": str(answers.casts_a_load),
        "good": str(max(answers.casts_a_load - 2, 1)),
        "checked": checked["name"],
        "cause": next(iter(checked["causes"])),
        "item": _first_material(answers),
        "order": " / ".join([FIRST_ORDER, *list(answers.colours)[:1]]) if answers.order else "",
    }
    texts = {}
    for log, columns in LOGS.items():
        example = _EXAMPLES.get(log, {})
        row = ",".join(example.get(column, "").format(**words) for column in columns)
        texts[f"{log}.csv"] = f"{','.join(columns)}\n# {row}\n"
    return texts


def what_to_write_down(answers: Answers, defaults: list[str]) -> str:
    """A page for the workshop wall."""
    page = template(_WALL, plain=True)
    return page.render(answers=answers, defaults=defaults, first_order=FIRST_ORDER, item=_first_material(answers)) + "\n"


def _first_material(answers):
    return next(item for step in answers.steps for item in step.get("materials", {}))
