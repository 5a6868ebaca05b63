"""The staff of the shop under test, and a browser for each of them."""

from __future__ import annotations

import html
import re
from typing import Any

from fastapi.testclient import TestClient
from httpx import Response

from spoolwright.crafts.visit.people import Role

PASSWORD = "correct horse battery"
STAFF = {
    "lena": ("Lena Ost", Role.LEAD),
    "ada": ("Ada Lund", Role.BUILDER),
    "bo": ("Bo Varga", Role.BUILDER),
    "ines": ("Ines Falk", Role.INSPECTOR),
    "tom": ("Tom Reuss", Role.TEST_OPERATOR),
    "cora": ("Cora Mehl", Role.CERTIFYING),
    "rex": ("Rex Amsel", Role.RECORDS),
    "vic": ("Vic Nord", Role.VIEWER),
}
HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')


class Browser:
    """A person's browser: it asks for pages, and sends forms as the page made them."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def get(self, url: str) -> Response:
        """A page."""
        return self.client.get(url)

    def send(self, page: str, action: str, form: str = "", files: Any = None, **values: Any) -> Response:
        """Open a page, fill its form that posts to `action` (with this id, when one is told), send it.

        The answer is not followed: 303 says that it was recorded.
        """
        hidden = self.hidden(page, action, form)
        return self.client.post(action, data=hidden | values, files=files, follow_redirects=False)

    def hidden(self, page: str, action: str, form: str = "") -> dict[str, str]:
        """The hidden fields of a form on a page: token, key, `after`, `shown`."""
        text = self.client.get(page).text
        for part in re.findall(r"<form\b.*?</form>", text, flags=re.S):
            fields = {n: html.unescape(v) for n, v in HIDDEN.findall(part)}
            if f'action="{action}"' in part and form in ("", fields.get("form_id")):
                return fields
        raise AssertionError(f"no form on {page} posts to {action}")
