"""The manual that travels with the kit, as a page of its own."""

import re
from pathlib import Path

import mistune
from mistune.toc import add_toc_hook

from ..faults import refusal
from ..reference import kit_folder
from ..templates import template


def write_manual(target: Path | str) -> None:
    """Write the manual as HTML with an address for every heading; StudyError where something is there or it cannot be written."""
    target, right = Path(target), "the name of a new file, such as manual.html"
    markdown = mistune.create_markdown(escape=True, plugins=["table"])
    add_toc_hook(
        markdown, max_level=3, heading_id=lambda token, _: re.sub(r"[^\w-]", "", token["text"].lower().replace(" ", "-"))
    )
    text = (kit_folder("data") / "manual.md").read_text(encoding="utf-8")
    body = re.sub(r"&lt;!--.*?--&gt;", "", markdown(text)).replace("../README.md", "")
    page = template(Path(__file__).with_name("manual.html.j2")).render(body=body)
    try:
        with target.open("x", encoding="utf-8", newline="\n") as file:
            file.write(page)
    except FileExistsError:
        raise refusal(str(target), "is there already", right) from None
    except OSError as error:
        raise refusal(str(target), "cannot be written", right, found=error.strerror or "") from None
