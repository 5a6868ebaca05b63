"""The pages, a file per craft. A craft adds its module's import, its router, and nothing else."""

from __future__ import annotations

from fastapi import APIRouter

from spoolwright.web.routes import engine, files, home, notes, people, record

ROUTERS: tuple[APIRouter, ...] = (
    home.router,
    engine.router,
    notes.router,
    files.router,
    people.router,
    record.router,
)
