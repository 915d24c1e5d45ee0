"""Find the templates of pages; what is filled in is text, never markup, and nothing may be missing."""

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template, select_autoescape

__all__ = ["template"]


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("station.report"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def template(name: str) -> Template:
    """Return a template by its file's name."""
    return _environment().get_template(name)
