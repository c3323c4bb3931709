"""What the tests of the drawn pieces share: one call of one macro with plain facts."""

import re

from app.web.context import environment

NASTY = "<script>alert(1)</script>\"'&"
"""What a field may hold; none of it may reach the page unescaped."""


def piece(name: str, call: str, **facts: object) -> str:
    """What one call of a macro writes."""
    macro = call.split("(")[0]
    return environment().from_string(f"{{% from 'pieces/{name}.html' import {macro} %}}{{{{ {call} }}}}").render(facts)


def closed(html: str) -> str:
    """The same with every input closed, as an XML reader wants it."""
    return re.sub(r"(<input\b[^>]*[^/])>", r"\1/>", html)


def plain(html: str) -> str:
    """The same with couplers and serials as they are read, without what keeps them on one line."""
    return re.sub(r'<span class="unbroken">(.*?)</span>', r"\1", html)
