"""The program's own files, under paths that change when any of them does: a tablet keeps them and need not ask again.

Were each asked about, as under its plain path, a tablet at the end of a shop's wireless network would wait for all
those answers before every page.
"""

import re
from functools import cache
from hashlib import sha256
from importlib.resources import files

from jinja2.ext import Extension
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from app import places
from app.web.joined_files import joined

HTMX = ("js_lib_htmx", "static/htmx")
"""The package that carries htmx, and the folder in it."""

FOR_EVER = "max-age=31536000, immutable"
"""What a browser is told of a path that carries the version: it never says anything else."""

VERSIONED = re.compile(r"(v[0-9a-f]{16})[/\\]")
NAMED = re.compile(r'((?:href|src)="/(?:static|lib)/)(?=[\w.-]+\.(?:css|js|svg|png|woff2)")')


@cache
def version() -> str:
    """A name for all files together, another one when any of them differs."""
    package, folder = HTMX
    own = sorted(file for file in places.static().rglob("*") if file.is_file())
    parts = [file.read_bytes() for file in own]
    parts.append((files(package) / folder / "htmx.min.js").read_bytes())
    parts += [text.encode() for text, _ in joined().values()]
    return "v" + sha256(b"".join(sha256(part).digest() for part in parts)).hexdigest()[:16]


class KeptFiles(StaticFiles):
    """Files under their plain path, and under the version: there they may be kept. A version that is no longer so is
    answered with the files of today, which are not to be kept under it."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file at ``path``, or that it has not changed."""
        under = VERSIONED.match(path)
        plain = path[under.end() :] if under else path
        if one := joined().get(plain):
            answer = Response(one[0], media_type=one[1])
        else:
            answer = await super().get_response(plain, scope)
        if under and under[1] == version():
            answer.headers["Cache-Control"] = FOR_EVER
        return answer


class UnderTheVersion(Extension):
    """Has every style, script and icon that a template names asked for under the version."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The template with those paths in place of the plain ones."""
        return NAMED.sub(rf"\g<1>{version()}/", source)
