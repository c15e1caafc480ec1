"""One self-contained report.html from executed notebooks."""

import html
import re
from collections.abc import Mapping
from pathlib import Path

import jinja2
import mistune
import nbformat
from markupsafe import Markup

from ..kit import OpenStudy
from ..reference import cautions
from ..templates import template as page_template

__all__ = ["build_report", "caution_rows", "template"]


def build_report(
    kit: OpenStudy, notebooks: list[Path], target: Path, title: str | None = None, panel: Mapping[str, Markup] | None = None
) -> None:
    """Write the report.

    Parameters
    ----------
    kit : OpenStudy
        Open study.
    notebooks : list of Path
        Executed notebooks in reading order.
    target : Path
        HTML file to write; it needs nothing outside itself.
    title : str, optional
        Of the page; the study's name and question if not given.
    panel : mapping, optional
        As `panel.panel_parts` gives it, to stand after the first page; without one the page holds no script.
    """
    pages = [_page(path) for path in notebooks]
    text = template("report.html.j2").render(
        study=kit.study.file.study, pages=pages, cautions=caution_rows(kit), title=title, panel=panel
    )
    target.write_text(text, encoding="utf-8", newline="\n")


def template(name: str) -> jinja2.Template:
    """A template beside this module."""
    return page_template(Path(__file__).parent / name)


def caution_rows(kit: OpenStudy) -> list[dict[str, str]]:
    """Cautions for the study's craft, then those for every craft."""
    table, craft = cautions(), kit.study.file.study.craft
    return table[table.craft == craft].to_dict("records") + table[table.craft == "any"].to_dict("records")


def _page(path):
    """Title, anchor and HTML of one notebook; its code is folded into one place at the end."""
    notebook = nbformat.read(path, as_version=4)
    anchor, title, parts, code = path.stem, path.stem, [], []
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            text = cell.source
            if text.startswith("# "):
                first, _, text = text.partition("\n")
                title = first.removeprefix("# ").strip()
            parts.append(_markdown(text))
        elif cell.cell_type == "code":
            code.append(cell.source)
            parts += [_output(output) for output in cell.outputs]
    listing = "\n\n".join(code)
    return {"anchor": anchor, "title": title, "body": Markup("\n".join(parts)), "code": listing}


def _markdown(text):
    """Markdown to HTML, raw HTML escaped, headings one level down since the study's name is the first."""
    rendered = mistune.create_markdown(escape=True, plugins=["table", "strikethrough"])(text)
    for level in (4, 3, 2, 1):
        rendered = rendered.replace(f"<h{level}>", f"<h{level + 1}>").replace(f"</h{level}>", f"</h{level + 1}>")
    return rendered


def _output(output):
    data = output.get("data", {})
    if "image/png" in data:
        alt = html.escape(output.metadata.get("image/png", {}).get("alt", ""), quote=True)
        picture = "".join(data["image/png"].split())
        return f'<figure><img alt="{alt}" src="data:image/png;base64,{picture}"></figure>'
    if "text/html" in data:
        caption = re.search("<caption>(.*?)</caption>", data["text/html"])  # escaped by show.Page already
        name = caption[1] if caption else "table"
        return f'<div class="scroll" tabindex="0" role="group" aria-label="{name}">{data["text/html"]}</div>'
    if "text/markdown" in data:
        return _markdown(data["text/markdown"])
    return ""
