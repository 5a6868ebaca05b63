"""A form sent twice counts once: a lost answer, a double tap, a resend after the line came back."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock

from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST = 5000


class AlreadyRecorded(Exception):
    """Exactly this form was recorded before; `location` is where its sender was sent."""

    def __init__(self, location: str) -> None:
        self.location = location
        super().__init__(location)


class RecordedForms:
    """Fingerprints of the forms that were recorded last, with where their senders went on."""

    def __init__(self) -> None:
        self._places: OrderedDict[str, str] = OrderedDict()
        self._lock = Lock()

    def refuse(self, fingerprint: str) -> None:
        """Raise AlreadyRecorded when this form was recorded before."""
        with self._lock:
            place = self._places.get(fingerprint)
        if place is not None:
            raise AlreadyRecorded(place)

    def remember(self, fingerprint: str, location: str) -> None:
        """Note a form as recorded."""
        with self._lock:
            self._places[fingerprint] = location
            while len(self._places) > MOST:
                self._places.popitem(last=False)


class Twice:
    """Remembers each form whose answer was 'recorded, go on there'."""

    def __init__(self, app: ASGIApp, forms: RecordedForms) -> None:
        self.app, self.forms = app, forms

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "POST":
            await self.app(scope, receive, send)
            return
        state = scope.setdefault("state", {})

        async def noting(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] == 303:
                place = dict(message["headers"]).get(b"location", b"/").decode()
                if (fingerprint := state.get("fingerprint")) is not None:
                    self.forms.remember(fingerprint, place)
            await send(message)

        await self.app(scope, receive, noting)
