"""The manual that travels with the kit, as a page of its own."""

import re
from pathlib import Path

import mistune
from mistune.toc import add_toc_hook

from ..faults import refusal
from ..reference import kit_folder
from ..templates import page_style, template, write_whole
from .report import kept_whole


def write_manual(target: Path | str) -> None:
    """Write the manual as HTML with an address for every heading; StudyError where something is there or it cannot be written."""
    target = Path(target)
    if target.exists():
        raise refusal(str(target), "is there already", "the name of a new file, such as manual.html")
    markdown = mistune.create_markdown(escape=True, plugins=["table"])
    add_toc_hook(
        markdown, max_level=3, heading_id=lambda token, _: re.sub(r"[^\w-]", "", token["text"].lower().replace(" ", "-"))
    )
    text = (kit_folder("data") / "manual.md").read_text(encoding="utf-8")
    body = re.sub(r"&lt;!--.*?--&gt;", "", markdown(text).replace('<a href="../README.md">README</a>', "README"))
    page = template(Path(__file__).with_name("manual.html.j2")).render(body=_in_boxes(body), style=page_style())
    write_whole(target, kept_whole(page, ()).encode())


def _in_boxes(body):
    """Tables and code, each in a box that scrolls by itself and is named after the heading above it; first cells head their rows."""
    parts = re.split(r"(?=<h\d)", body)
    for at, part in enumerate(parts):
        name = re.sub("<.*?>", "", part[: part.find("</h")])
        stop = f'tabindex="0" role="group" aria-label="{name}"'
        part = re.sub(r"(<tr>\s*)<td>(.*?)</td>", r'\1<th scope="row">\2</th>', part, flags=re.DOTALL)
        part = part.replace("<th>", '<th scope="col" class="text">').replace("<td>", '<td class="text">')
        part = part.replace("<table>", f'<div class="scroll" {stop}><table>').replace("</table>", "</table></div>")
        parts[at] = part.replace("<pre>", f"<pre {stop}>")
    return "".join(parts)
