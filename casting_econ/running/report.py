"""One self-contained report.html from executed notebooks."""

import html
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from urllib.parse import quote

import jinja2
import mistune
import nbformat
from markupsafe import Markup

from ..draws import round_up_draws
from ..formatting import MINUS
from ..kit import OpenStudy
from ..pages.answer import counts_words
from ..pages.table import NOTHING, SVG
from ..reference import cautions
from ..templates import template as page_template

FOLD, AGAIN = "fold", "again"  # tags of cells: parts under its headings open at a click; its outputs stand on an earlier page
_BEFORE_TABLES = ("<figure", '<details class="table">')  # a table after these is folded too: its figure says what it says
_LONG_CAPTION = 60  # letters beyond which a folded table is called by the first part of its caption
LIMITS = ("Limits", "What this study does not model")  # headings of what the report gathers at its end
_NOT_DRAWN = re.compile(r"<\?xml.*?\?>|<!DOCTYPE.*?>|<!--.*?-->|<metadata>.*?</metadata>", re.DOTALL)
# of a page, to leave as it is
_NO_TEXT = r"<(?:script|style|pre)\b.*?</(?:script|style|pre)>|<img\b[^']*'[^']*'>|(?!<code>)<[^>]*>"
_IN_CODE, _KEY = re.compile(r"[^\s<>]*-[^\s<>]*"), r'<span class="key">\g<0></span>'
_NOT_IN_ADDRESS = re.compile("[#%&']|[^ -~]")  # what an address within apostrophes cannot hold as it is
_MARKDOWN = mistune.create_markdown(escape=True, plugins=["table", "strikethrough"])


def build_report(
    kit: OpenStudy,
    notebooks: list[Path | dict],
    target: Path,
    title: str | None = None,
    panel: Mapping[str, Markup] | None = None,
) -> None:
    """Write the report of executed notebooks, in reading order: one HTML file that needs nothing outside itself.

    Some may be as `read_page` gives them.

    `title` is that of the page, the study's name and question if not given; `panel`, as `panel.panel_parts` gives it, stands after the first
    page; without one the page holds no script.
    """
    pages = [one if isinstance(one, dict) else read_page(one) for one in notebooks]
    table = kit.study.file.study
    made = {"version": version("casting_econ"), "draws": f"{round_up_draws(table.draws):,}", "seed": table.seed}
    made["counts"] = counts_words(kit)
    text = template("report.html.j2").render(
        study=table, pages=pages, cautions=caution_rows(kit), title=title, panel=panel, made=made
    )
    target.write_text(kept_whole(text, _hyphened(kit.study.raw)), encoding="utf-8", newline="\n")


def _hyphened(table):
    """Keys with a hyphen in tables within tables."""
    if isinstance(table, dict):
        return {key for key in table if "-" in key}.union(*map(_hyphened, table.values()))
    return set()


def kept_whole(page: str, names: Collection[str]) -> str:
    """A page on which no line ends within one of these names, a date or number with hyphens, or a word of code, where it fits into a line;
    nor between a minus and its figure.

    >>> kept_whole("<body><p>of first-order on 2027-01-20</p>", ["first-order"])
    '<body><p>of <span class="key">first-order</span> on <span class="key day">2027-01-20</span></p>'
    """
    known = "|".join([*(re.escape(html.escape(name)) for name in sorted(names, key=len, reverse=True)), r"\d+(?:-\d+)+"])
    found = re.compile(rf"({_NO_TEXT})|<code>(.*?)</code>|({MINUS})(?=[^\s<\u2060])|(?<![\w-])(?:{known})(?![\w-])", re.DOTALL)

    def marked(part):
        if part[2] is not None:
            return f"<code>{_IN_CODE.sub(_KEY, part[2])}</code>"
        key = _KEY.replace("key", "key day") if part[0][0].isdigit() else _KEY
        return part[1] or (f"{MINUS}\u2060" if part[3] else part.expand(key))

    head, body = page.split("<body>", 1)
    return f"{head}<body>{found.sub(marked, body)}"


def template(name: str) -> jinja2.Template:
    """A template beside this module."""
    return page_template(Path(__file__).parent / name)


def caution_rows(kit: OpenStudy) -> list[dict[str, str]]:
    """Cautions for the study's craft, then those for every craft."""
    table, craft = cautions(), kit.study.file.study.craft
    return table[table.craft == craft].to_dict("records") + table[table.craft == "any"].to_dict("records")


@dataclass(kw_only=True)
class _Part:
    """What stands under one heading of a page."""

    title: str = ""
    fold: bool = False  # opened by whoever wants it
    asked: bool = False  # whether any code belongs to it
    shown: bool = False  # whether any of it, or only prose, is left to show
    parts: list[str] = field(default_factory=list)

    @property
    def html(self) -> str:
        """The part with its heading, folded where it is to be."""
        body = "\n".join(self.parts)
        if not self.title:
            return body
        title = html.escape(self.title, quote=False)
        if not self.fold:
            return f"<h3>{title}</h3>\n{body}"
        return f'<details class="more"><summary><h3>{title}</h3></summary>\n{body}\n</details>'


def read_page(path: Path) -> dict[str, object]:
    """Title, anchor and HTML of one notebook; its code is folded into one place at the end, its limits are kept for the end of the report."""
    notebook = nbformat.read(path, as_version=4)
    title, found, code = path.stem, [_Part()], []
    for cell in notebook.cells:
        tags = cell.metadata.get("tags", [])
        if cell.cell_type == "markdown":
            text = cell.source
            if text.startswith("# "):
                first, _, text = text.partition("\n")
                title = first.removeprefix("# ").strip()
            before, *headed = re.split("^## ", text, flags=re.MULTILINE)
            found[-1].parts.append(_markdown(before))
            for one in headed:
                heading, _, text = one.partition("\n")
                found.append(_Part(title=heading.strip(), fold=FOLD in tags, parts=[_markdown(text)]))
        elif cell.cell_type == "code":
            code.append(cell.source)
            found[-1].asked |= "page." in cell.source
            for output in () if AGAIN in tags else cell.outputs:
                if text := _output(output, "".join(found[-1].parts[-1:]).startswith(_BEFORE_TABLES)):
                    found[-1].shown = True
                    found[-1].parts.append(text)
    limits = [part for part in found if part.title in LIMITS]
    lead, *named = found
    named = [part for part in named if part.title not in LIMITS and (part.shown or not part.asked)]
    opening = [lead, *([] if not named or named[0].fold else named[:1])]
    return {
        "anchor": path.stem,
        "title": title,
        "first": Markup("\n".join(part.html for part in opening)),
        "rest": Markup("\n".join(part.html for part in named[len(opening) - 1 :])),
        "limits": Markup("\n".join(text for part in limits for text in part.parts)),
        "code": "\n\n".join(code),
    }


def _markdown(text):
    """Markdown to HTML, raw HTML escaped, headings one level down since the study's name is the first."""
    rendered = _MARKDOWN(text)
    for level in (4, 3, 2, 1):
        rendered = rendered.replace(f"<h{level}>", f"<h{level + 1}>").replace(f"</h{level}>", f"</h{level + 1}>")
    return rendered


def slim(svg: str) -> str:
    """An SVG of a chart with all that is drawn and nothing else: places to a tenth of a point, names where they are used, no empty groups."""
    text = re.sub(r"\s+", " ", _NOT_DRAWN.sub("", svg)).replace("> <", "><").replace("xlink:href", "href").strip()
    text = re.sub(r'(<use [^>]*)transform="translate\(([-\d.]+) 0\)"', r'\1x="\2"', text)
    text = re.sub(r"-?\d+\.\d+", lambda number: f"{float(number[0]):.4g}", text)
    text = re.sub(r' d="[^"]*"', lambda path: " " + re.sub(" ?([A-Za-z]) ?", r"\1", path[0]).strip(), text)
    names = {name: f"n{at}" for at, name in enumerate(dict.fromkeys(re.findall(r'(?:href="|url\()#([^")]+)', text)))}
    text = re.sub(r'(href="|url\()#([^")]+)', lambda use: f"{use[1]}#{names[use[2]]}", text)
    text = re.sub(r' id="([^"]*)"', lambda name: f' id="{names[name[1]]}"' if name[1] in names else "", text)
    while (bare := re.sub(r"<g>((?:(?!</?g\b).)*)</g>", r"\1", text)) != text:
        text = bare
    return text


def _output(output, after_figure):
    """HTML of an output, if it shows anything; the table of a figure is folded below it, as are those that their page folds.

    An SVG is a picture of its own, so that names in it are of no other figure, sharp on paper, and no larger than its dots were.
    """
    data = {} if output.get("metadata", {}).get(NOTHING) else output.get("data", {})
    if kind := next((kind for kind in (SVG, "image/png") if kind in data), ""):
        alt = html.escape(output.metadata.get(kind, {}).get("alt", ""), quote=True)
        source = f";base64,{''.join(data[kind].split())}"
        if kind == SVG:
            source = "," + _NOT_IN_ADDRESS.sub(lambda sign: quote(sign[0]), slim(data[SVG]))
        return f"<figure><img alt=\"{alt}\" src='data:{kind}{source}'></figure>"
    if "text/html" in data:
        table = re.sub("^<details><summary>.*?</summary>(.*)</details>$", r"\1", data["text/html"], flags=re.DOTALL)
        caption = re.search("<caption>(.*?)</caption>", table)  # escaped by Page already
        name = caption[1] if caption else "table"
        fold, short = after_figure or table != data["text/html"], name
        if fold and len(name) > _LONG_CAPTION:
            short = re.split("[:;] ", name)[0]
            table = table.replace("<caption>", '<caption class="whole">', 1) if short != name else table
        table = f'<div class="scroll" tabindex="0" role="group" aria-label="{name}">{table}</div>'
        return f'<details class="table"><summary>{short}</summary>{table}</details>' if fold else table
    text = data.get("text/markdown", "")
    return _markdown(text) if text.strip() else ""
