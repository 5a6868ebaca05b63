"""How the pages are served: what a shop may set, with safe values where it sets nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

MEGABYTE = 1024 * 1024


def utc_now() -> datetime:
    """The clock on the wall."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Settings:
    """Limits and ways of the web application."""

    secure_cookies: bool = False
    """The pages are reached over TLS (directly or through a reverse proxy)."""
    origins: tuple[str, ...] = ()
    """Further origins that are ours, as `https://shop.example`; the request's own host always is."""
    largest_file: int = 25 * MEGABYTE
    largest_request: int = 80 * MEGABYTE
    clock: Callable[[], datetime] = utc_now
