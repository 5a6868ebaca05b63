"""The pages, a file per craft. A craft adds its module's import, its router, and nothing else."""

from __future__ import annotations

from fastapi import APIRouter

from spoolwright.web.routes import engine, home, people, record

ROUTERS: tuple[APIRouter, ...] = (
    home.router,
    engine.router,
    people.router,
    record.router,
)
