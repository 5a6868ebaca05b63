"""The pages, a file per craft. A craft adds its module's import, its router, and nothing else."""

from __future__ import annotations

from fastapi import APIRouter

from spoolwright.web.routes import (
    cards,
    engine,
    figures,
    files,
    fleet,
    home,
    inspection,
    inspection_findings,
    installation,
    life,
    lives,
    notes,
    owed,
    people,
    photo,
    receiving,
    record,
    release,
    scope,
    stores,
    supply,
    testcell,
    testcell_work,
    vendors,
)

ROUTERS: tuple[APIRouter, ...] = (
    home.router,
    engine.router,
    receiving.router,
    life.router,
    lives.router,
    supply.router,
    stores.router,
    vendors.router,
    notes.router,
    files.router,
    cards.router,
    inspection.router,
    inspection_findings.router,
    photo.router,
    owed.router,
    scope.router,
    testcell.router,
    testcell_work.router,
    installation.router,
    fleet.router,
    figures.router,
    people.router,
    release.router,
    record.router,
)
