"""What every format's reader hands over: columns as they stand, before units are converted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.sources.channelmap import ChannelMap
from spoolwright.sources.clock import TimeBase
from spoolwright.sources.columns import Column, Plan
from spoolwright.sources.limits import Limits
from spoolwright.sources.notes import Notes


@dataclass
class Loaded:
    """One file's content. `values` stand beside `plan.taken`, in the file's units.

    Where the time column tells no date, the header fact `started_at` (with its zone) does.
    """

    plan: Plan
    time: TimeBase
    values: list[FloatArray]
    attributes: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Task:
    """What a format's reader works with."""

    path: Path
    choose: Callable[[Sequence[Column], bool], Plan]
    channel_map: ChannelMap
    limits: Limits
    notes: Notes

    def zone(self, attributes: dict[str, str]) -> str:
        """Zone of time stamps that name none."""
        return self.channel_map.time_zone or attributes.get("time_zone", "")


_MOST_ATTRIBUTES = 200
_LONGEST = 500


def header_facts(pairs: Sequence[tuple[str, str]], notes: Notes) -> dict[str, str]:
    """Header facts, bounded in number and length, with keys in one form: `Engine no.` becomes `engine_no`."""
    facts: dict[str, str] = {}
    for key, value in pairs[:_MOST_ATTRIBUTES]:
        name = "_".join("".join(c if c.isalnum() else " " for c in key.casefold()).split())[:80]
        text = "".join(c if c.isprintable() else " " for c in value[:_LONGEST]).strip()
        if name and text:
            facts[name] = text
    left = len(pairs) - _MOST_ATTRIBUTES
    if left > 0:
        notes.add("attributes", f"{left} header line(s) beyond the first {_MOST_ATTRIBUTES} are not kept.")
    return facts
