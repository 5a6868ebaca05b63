"""Form tokens: a form counts only when it was made for this browser."""

from __future__ import annotations

import hmac


def token_of(cookie: str) -> str:
    """The token for forms of the browser that holds this cookie; it tells nothing about the cookie."""
    return hmac.digest(cookie.encode(), b"form", "sha256").hex()


def token_holds(cookie: str, token: str) -> bool:
    """Whether a form's token is this browser's."""
    return bool(cookie) and hmac.compare_digest(token_of(cookie).encode(), token.encode())
