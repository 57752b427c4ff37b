"""The files beside the page, named by what is in them: a browser may keep them for ever."""

from __future__ import annotations

import gzip
import hashlib
import re
from http import HTTPStatus
from importlib import resources
from typing import TYPE_CHECKING

from flask import Flask, Response, request

from monitor.web.answers import RefusedError

if TYPE_CHECKING:
    from collections.abc import Mapping

PATH = "/static/"
_KINDS = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}
_COMMENT = re.compile(rb"^ *//.*\n", re.MULTILINE)
"""A line of a script that is a comment alone: for whoever reads it here, not for a phone."""
_WORKER = "worker.js"
"""Served from the root, or it could not answer for the pages there; looked for anew each time."""
_WORKER_HEADERS = {
    "Cache-Control": "no-cache",
    # What holds for a page holds for its worker by the worker's own header: it asks only here.
    "Content-Security-Policy": "default-src 'none'; connect-src 'self'",
}


class Beside:
    """The files of `monitor/page/static`, read once."""

    def __init__(self) -> None:
        folder = resources.files("monitor") / "page" / "static"
        self._files: dict[str, tuple[bytes, bytes, str]] = {}
        addresses = {}
        for item in folder.iterdir():
            stem, _, ending = item.name.rpartition(".")
            if ending not in _KINDS:
                continue
            content = item.read_bytes()
            if ending == "js":
                content = _COMMENT.sub(b"", content)
            name = f"{stem}.{hashlib.sha256(content).hexdigest()[:12]}.{ending}"
            self._files[name] = content, gzip.compress(content, mtime=0), _KINDS[ending]
            addresses[item.name] = f"{PATH}{name}"
            if item.name == _WORKER:
                self._worker = content
        self.addresses: Mapping[str, str] = addresses
        """Name of a file -> its address"""

    def add_to(self, app: Flask) -> None:
        """Their addresses."""

        @app.get(f"{PATH}<name>")
        def beside(name: str) -> Response:
            found = self._files.get(name)
            if found is None:
                raise RefusedError(HTTPStatus.NOT_FOUND, "There is no such file.")
            content, packed, kind = found
            headers = {
                "Cache-Control": "public, max-age=31536000, immutable",
                "Vary": "Accept-Encoding",
            }
            if request.accept_encodings["gzip"] > 0:
                headers["Content-Encoding"] = "gzip"
                content = packed
            return Response(content, headers=headers, mimetype=kind)

        @app.get(f"/{_WORKER}")
        def worker() -> Response:
            return Response(self._worker, headers=_WORKER_HEADERS, mimetype=_KINDS["js"])
