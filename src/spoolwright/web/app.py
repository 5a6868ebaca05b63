"""The web application of a shop."""

from __future__ import annotations

from fastapi import Depends, FastAPI
from fastapi.responses import PlainTextResponse
from starlette.requests import Request
from starlette.routing import Route

from spoolwright.bootstrap.shop import Shop
from spoolwright.web.assets import packaged_assets, serve_asset
from spoolwright.web.frame import Frame, guard
from spoolwright.web.mishaps import add_mishaps
from spoolwright.web.routes import ROUTERS, sign_in
from spoolwright.web.security.border import Border
from spoolwright.web.settings import Settings
from spoolwright.web.twice import RecordedForms, Twice

ROOMS = (
    ("receiving", "Receiving"),
    ("life", "Lives"),
    ("scope", "Work scope"),
    ("parts", "Parts"),
    ("cards", "Route cards"),
    ("inspection", "Inspection"),
    ("owed", "Owed work"),
    ("testcell", "Test"),
    ("release", "Release"),
    ("installation", "On the aircraft"),
    ("notes", "Notes"),
    ("record", "Record"),
)
"""The rooms of a visit, in the order of the job; one is shown as soon as it has a page."""

SHOP_ROOMS = (
    ("/receive", "Receive"),
    ("/fleet", "Fleet"),
    ("/figures", "Own figures"),
    ("/lives", "Lives"),
    ("/stores", "Stores"),
    ("/vendors", "Vendors"),
    ("/gauges", "Gauges"),
    ("/people", "People"),
    ("/record", "Record"),
)
"""The pages of the whole shop; one is shown as soon as it is there."""


def create_app(shop: Shop, settings: Settings | None = None) -> FastAPI:
    """The pages of a shop.

    Parameters
    ----------
    shop : Shop
        Records, people and types, as `bootstrap.shop.open_shop` opens them.
    settings : Settings, optional
        How it is served.

    Returns
    -------
    FastAPI
        The application, to be run by an ASGI server.
    """
    settings = settings or Settings()
    app = FastAPI(title="Spoolwright", docs_url=None, redoc_url=None, openapi_url=None)
    for router in ROUTERS:
        app.include_router(router, dependencies=[Depends(guard)])
    app.include_router(sign_in.router)
    app.router.routes.append(Route("/static/{name}", serve_asset))
    app.router.routes.append(Route("/alive", _alive))
    paths = set(app.openapi()["paths"])
    rooms = tuple((name, word) for name, word in ROOMS if f"/visit/{{number}}/{name}" in paths)
    shop_rooms = tuple((address, word) for address, word in SHOP_ROOMS if address in paths)
    recorded = RecordedForms()
    app.state.frame = Frame(shop, settings, recorded, rooms, shop_rooms)
    add_mishaps(app)
    app.add_middleware(Twice, forms=recorded)
    app.add_middleware(Border, settings=settings)
    packaged_assets()
    return app


async def _alive(request: Request) -> PlainTextResponse:
    """For whoever watches the server, and for a page that wants to know whether the line is back."""
    return PlainTextResponse("alive")
