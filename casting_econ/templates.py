"""Page templates of the kit, and how a finished file is written."""

import os
import re
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path

import jinja2

from .faults import refusals_told


@cache
def template(path: Path, finalize=None, *, plain: bool = False) -> jinja2.Template:
    """A page template; whatever it is given is escaped, unless it is `plain` text, and what it asks for must be given."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(path.parent),
        autoescape=not plain,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=finalize,
    )
    return environment.get_template(path.name)


@cache
def page_style() -> str:
    """The look of the report, for the pages beside it."""
    text = (Path(__file__).parent / "running" / "report.html.j2").read_text(encoding="utf-8")
    return re.sub("{#.*?#}", "", re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1])


def write_whole(target: Path, data: bytes) -> None:
    """Write a file so that whatever happens the old one or the new one is there; StudyError if it cannot be written."""
    part = None
    try:
        with refusals_told(target, "cannot be written", "a place that you may write to"):
            with tempfile.NamedTemporaryFile(dir=target.resolve().parent, prefix=".new-", suffix=".part", delete=False) as file:
                part = Path(file.name)
                file.write(data)
            os.chmod(part, 0o644)  # temporary files start out unreadable to others
            os.replace(part, target)
    finally:
        with suppress(OSError):
            if part is not None:
                part.unlink()
