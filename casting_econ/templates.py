"""Page templates of the kit."""

from functools import cache
from pathlib import Path

import jinja2


@cache
def template(path: Path, finalize=None) -> jinja2.Template:
    """A page template; whatever it is given is escaped, and what it asks for must be given."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(path.parent),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=finalize,
    )
    return environment.get_template(path.name)
