"""The frame of every page: sign-in, sessions, tokens, errors."""

from __future__ import annotations

from web.staff import Browser


def test_pages(shop_client: Browser) -> None:
    home = shop_client.get("/")
    assert home.status_code == 200
    assert "C940-117" in home.text
    visit = shop_client.get("/visit/W100")
    assert visit.status_code == 200
    assert "Holm Utility Helicopters" in visit.text
    assert shop_client.get("/visit/W999").status_code == 404
    assert shop_client.get("/nowhere").status_code == 404
