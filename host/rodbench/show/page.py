"""Pages for paper and screen: templates, and pictures that stand inside them.

Every fact goes through the template's escape: names in a machine file are a stranger's text.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

_SVG = re.compile(r"<svg\b[^>]*>")
_SIZE = re.compile(r"""\s(?:width|height)=("[^"]*"|'[^']*')""")
_VIEW = re.compile(r"""viewBox=["']\s*\S+\s+\S+\s+(\S+)\s+(\S+?)["']""")


def page(template: str, **facts: Any) -> str:
    """The HTML of a template in `templates`, everything escaped; one file, no outside request."""
    return _environment().get_template(template).render(**facts)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("rodbench.show")
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip


def inline(svg: str, width_mm: float, label: str) -> Markup:
    """An SVG of our own making for the inside of a page, so wide on paper, with words for those
    who cannot see it."""
    from markupsafe import Markup, escape

    start = _SVG.search(svg)
    assert start is not None
    view = _VIEW.search(start[0])
    assert view is not None
    height_mm = width_mm * float(view[2]) / float(view[1])
    tag = _SIZE.sub("", start[0])[4:]
    size = f'width="{width_mm:.1f}mm" height="{height_mm:.1f}mm"'
    head = f'<svg {size} role="img" aria-label="{escape(label)}"'
    return Markup(head + tag + svg[start.end() :].strip())
