"""The border of the application: every request and every answer passes here."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from spoolwright.web.settings import Settings

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=()",
}
SMALL_FORMS, SMALL_FORM = frozenset({"/sign-in", "/sign-out", "/light"}), 64 * 1024
"""What strangers may send, and how much of it."""
FETCHED = "x-form"
"""The frame's script sends forms itself and says so in this header; it is told where to go in `Go-To`."""


class Border:
    """Headers on every answer; a request that changes something comes from our pages and is not too long."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app, self.settings = app, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        answer = _answering(send, fetched=FETCHED in headers, secure=self.settings.secure_cookies)
        most = SMALL_FORM if scope["path"] in SMALL_FORMS else self.settings.largest_request
        refusal = self._refusal(scope["method"], headers, most)
        if refusal is not None:
            await refusal(scope, receive, answer)
            return
        await self.app(scope, _measured(receive, most), answer)

    def _refusal(self, method: str, headers: Headers, most: int) -> PlainTextResponse | None:
        if method not in SAFE and not self._ours(headers):
            return PlainTextResponse("This request did not come from the shop's own pages.", 403)
        length = headers.get("content-length", "0")
        if not length.isdigit() or len(length) > 15 or int(length) > most:
            return PlainTextResponse("This is more than the shop takes at once. Send fewer files.", 413)
        return None

    def _ours(self, headers: Headers) -> bool:
        site = headers.get("sec-fetch-site")
        if site is not None:
            return site == "same-origin"
        origin = headers.get("origin")
        if origin is None:
            return False
        return urlsplit(origin).netloc == headers.get("host") or origin in self.settings.origins


def _measured(receive: Receive, most: int) -> Receive:
    """A body that grows beyond the limit without saying so ends as if the sender had left."""
    taken = 0

    async def measured() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        return message if taken <= most else {"type": "http.disconnect"}

    return measured


def _answering(send: Send, *, fetched: bool, secure: bool) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-store")
            if secure:
                headers["Strict-Transport-Security"] = "max-age=31536000"
            if fetched and message["status"] == 303:
                message["status"] = 200
                headers["Go-To"] = headers["location"]
                del headers["location"]
        await send(message)

    return answer
