"""What was just kept, carried by the browser to the next page, which says it once.

It is bound to the device by its secret, so that no other page and no other device can put
words there; nothing of it is kept here.
"""

from __future__ import annotations

import base64
import binascii
import hmac
from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.page.kept import KeptWord
from monitor.store.records import from_json, to_json
from monitor.web.own_forms import bound, is_secure

if TYPE_CHECKING:
    from flask import Request, Response

    from monitor.domain import Page

NAME = "kept"
_LASTS_S = 60
"""A page that takes longer to come has nothing to say of it any more [s]."""
_LONGEST = 3000
"""Browsers drop a cookie of more than 4 kB unheard."""
_MARK = b"kept "


def with_kept(answer: Response, kept: KeptWord, secret: str, page: Page) -> Response:
    """The answer, with what was kept for the next page; notes that find no room are left out."""
    packed = _packed(kept)
    while len(packed) > _LONGEST and kept.notes:
        kept = replace(kept, notes=kept.notes[:-1])
        packed = _packed(kept)
    value = f"{packed}.{bound(secret, _MARK + packed.encode('ascii'))}"
    answer.set_cookie(
        NAME, value, max_age=_LASTS_S, secure=is_secure(page), httponly=True, samesite="Lax"
    )
    return answer


def kept_of(request: Request, secret: str) -> KeptWord | None:
    """What was kept for this device a moment ago; None where there is nothing, or no true word."""
    packed, _, code = request.cookies.get(NAME, "").partition(".")
    if not packed or not packed.isascii():
        return None
    if not hmac.compare_digest(code.encode(), bound(secret, _MARK + packed.encode()).encode()):
        return None
    try:
        return from_json(KeptWord, base64.urlsafe_b64decode(packed).decode("utf-8"))
    except (ValueError, TypeError, KeyError, binascii.Error):
        # Of another version of this program, before it was brought up to date.
        return None


def without_kept(answer: Response, request: Request, page: Page) -> Response:
    """The answer of a page that has said it: it is not said again."""
    if NAME in request.cookies:
        answer.delete_cookie(NAME, secure=is_secure(page), httponly=True, samesite="Lax")
    return answer


def _packed(kept: KeptWord) -> str:
    return base64.urlsafe_b64encode(to_json(kept).encode("utf-8")).decode("ascii")
