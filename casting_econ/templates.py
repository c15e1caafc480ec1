"""Page templates of the kit."""

import re
from functools import cache
from pathlib import Path

import jinja2


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
