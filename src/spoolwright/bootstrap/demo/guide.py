"""Two minutes through the demonstration shop: from arrival to release, a sentence and a page each."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Stop:
    """A page of the guided path, and what to look at there."""

    title: str
    look_at: str
    link: str


GUIDE = (
    Stop("Every engine", "One line an engine: its stage, what it waits for, what is open first.", "/"),
    Stop(
        "It arrives",
        "H4412 came yesterday. What is not yet looked at stands first, each line leads to its place.",
        "/visit/FW-26-031/receiving",
    ),
    Stop(
        "Its lives do not add up",
        "On H4377 a page of the impeller's card is missing. The ledger is added again from birth and shows "
        "the gap; nobody fills it.",
        "/visit/FW-26-030/life",
    ),
    Stop(
        "Work was put down",
        "On H4420 a mechanic was called away. Work goes on behind the last signed step; the card says so.",
        "/visit/FW-26-028/cards",
    ),
    Stop(
        "Damage is judged",
        "The first compressor stage of H4366 met stones. Each finding is judged by its paragraph; the "
        "blends of the stage are planned together.",
        "/visit/FW-26-027/inspection",
    ),
    Stop(
        "A part is missing",
        "H4385 waits for a seal ring that comes after its build date. The shortage stands first.",
        "/visit/FW-26-024/parts",
    ),
    Stop(
        "It failed its run",
        "H4399 is short of power. The readings are weighed against every cause; the next cheapest check and "
        "the module to open stand at the top.",
        "/visit/FW-26-021/testcell",
    ),
    Stop(
        "What follows from opening it",
        "H4371 was opened again. What was removed, even for access, owes tests and inspections.",
        "/visit/FW-26-020/owed",
    ),
    Stop(
        "Release",
        "On H4408 nothing is open and the records agree. Look at the pack; only certifying staff signs.",
        "/visit/FW-26-019/release",
    ),
    Stop(
        "On the aircraft",
        "H4344 flies. The operator's checks are compared with the bench run at each day's conditions.",
        "/visit/FW-26-007/installation",
    ),
    Stop("The fleet", "Margins and rejects over all visits; every point opens its record.", "/fleet"),
)
