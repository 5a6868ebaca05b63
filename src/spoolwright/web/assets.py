"""Files that never change under their name: each carries the hash of its content in the URL."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "woff2": "font/woff2",
    "svg": "image/svg+xml",
}
_REFERENCE = re.compile(rb"url\(([\w.-]+)\)")


@dataclass(frozen=True)
class Asset:
    """A file to be served."""

    content: bytes
    media_type: str


@dataclass(frozen=True)
class Assets:
    """Every file by its hashed name, and the hashed name of each."""

    by_address: dict[str, Asset]
    address_of: dict[str, str]

    def address(self, name: str) -> str:
        """The URL of a file."""
        return f"/static/{self.address_of[name]}"


@lru_cache(maxsize=1)
def packaged_assets() -> Assets:
    """The files in `static/` and the shipped font; a style sheet refers to others by plain name."""
    found = Assets({}, {})
    fonts = files("spoolwright") / "assets" / "fonts"
    for weight in ("Regular", "Bold", "Italic"):
        name = f"IBMPlexSans-{weight}.woff2"
        _add(found, name, (fonts / name).read_bytes())
    waiting: list[tuple[str, bytes]] = []
    folders = [files("spoolwright") / "web" / "static"]
    while folders:
        for entry in folders.pop().iterdir():
            if entry.is_dir():
                folders.append(entry)
            elif entry.name.rsplit(".", 1)[-1] in TYPES:
                waiting.append((entry.name, entry.read_bytes()))
    for name, content in sorted(waiting, key=lambda pair: pair[0].endswith(".css")):
        _add(found, name, content)
    return found


def _add(found: Assets, name: str, content: bytes) -> None:
    if name.endswith(".css"):
        content = _REFERENCE.sub(
            lambda m: b"url(%s)" % found.address_of.get(m[1].decode(), m[1].decode()).encode(), content
        )
    stem, kind = name.rsplit(".", 1)
    address = f"{stem}.{hashlib.sha256(content).hexdigest()[:12]}.{kind}"
    found.by_address[address] = Asset(content, TYPES[kind])
    found.address_of[name] = address


async def serve_asset(request: Request) -> Response:
    """A file by its hashed name; a browser asks for it once."""
    asset = packaged_assets().by_address.get(request.path_params["name"])
    if asset is None:
        return PlainTextResponse("There is no such file.", 404)
    return Response(
        asset.content,
        media_type=asset.media_type,
        headers={"Cache-Control": "public, max-age=31536000, immutable"},
    )
