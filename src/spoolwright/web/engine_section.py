"""The engine's longitudinal section as a drawing: modules to touch, marked by what is open on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from spoolwright.crafts.typefile.shop.section import Point, Section, SectionModule, SectionPart
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.model import WorkEvent

MARGIN = 24.0
LEADER = 46.0
"""Room below the drawing for the lines that lead to the modules' names."""


@dataclass(frozen=True)
class DrawnPart:
    """A part: its outline and how it is drawn."""

    kind: str
    path: str


@dataclass(frozen=True)
class DrawnModule:
    """A module in the drawing and in the list under it."""

    id: str
    name: str
    link: str
    outline: str
    parts: tuple[DrawnPart, ...]
    leader: str
    state: str
    shape: str
    here: bool

    @property
    def look(self) -> str:
        """The class of its region."""
        return " ".join(["region", self.shape, *(["here"] if self.here else [])])


@dataclass(frozen=True)
class DrawnSection:
    """The whole drawing."""

    title: str
    viewed: str
    width: float
    height: float
    axis: float
    source: str
    modules: tuple[DrawnModule, ...]

    @property
    def view_box(self) -> str:
        """The drawing's own coordinates."""
        return f"0 0 {self.width:g} {self.height:g}"


def drawn_section(folder: Folder, items: Sequence[OpenItem], here: str = "") -> DrawnSection | None:
    """The section of a visit's engine; None when the type's shop part has none."""
    section = folder.kind.shop.section
    if section is None:
        return None
    axis = MARGIN + section.radius_mm
    height = axis + section.below_mm + LEADER
    width = section.length_mm + 2 * MARGIN
    names = {m.id: m.name for m in folder.kind.type_file.module}
    states = module_states(folder, items)
    column = width / len(section.module)
    drawn = []
    for n, module in enumerate(section.module):
        state, shape = states.get(module.module, ("nothing open", "done"))
        drawn.append(
            DrawnModule(
                id=module.module,
                name=names.get(module.module, module.module),
                link=f"/visit/{folder.visit}/module/{module.module}",
                outline=_outline(module, axis),
                parts=tuple(p for part in module.part for p in _drawn(part, axis)),
                leader=_leader(module, axis, column * (n + 0.5), height),
                state=state,
                shape=shape,
                here=module.module == here,
            )
        )
    return DrawnSection(
        section.title, section.viewed, width, height, axis, _source_words(section), tuple(drawn)
    )


def module_states(folder: Folder, items: Sequence[OpenItem]) -> dict[str, tuple[str, str]]:
    """Each module's state: word and shape; whether it is out of the engine comes first."""
    counts: dict[str, int] = {}
    for item in items:
        if item.blocks_release:
            counts[item.module] = counts.get(item.module, 0) + 1
    places = _places(folder)
    states = {}
    for module in folder.kind.type_file.module:
        number = counts.get(module.id, 0)
        words, shape = (f"{number} open", "none") if number else ("nothing open", "done")
        if (place := places.get(module.id)) is not None:
            shape = "dash"
            words = f"{place}, {words}" if number else place
        states[module.id] = (words, shape)
    return states


def _places(folder: Folder) -> dict[str, str]:
    """Modules that are out of the engine or opened, by the newest event of each."""
    words = {
        "removed": "out of the engine",
        "removed_for_access": "out for access",
        "reopened": "opened again",
    }
    places: dict[str, str] = {}
    for entry in sorted(folder.of(WorkEvent), key=lambda e: e.seq):
        event = entry.body
        if event.item != event.module and event.what != "reopened":
            continue
        if event.what in words:
            places[event.module] = words[event.what]
        elif event.what in ("installed", "replaced"):
            places.pop(event.module, None)
    return places


def _source_words(section: Section) -> str:
    return f"{section.source.document}, {section.source.paragraph}"


def _outline(module: SectionModule, axis: float) -> str:
    above = [_place(p, axis, -1) for p in module.outline_mm]
    below = [_place(p, axis, 1) for p in module.below_mm or module.outline_mm]
    return _straight([*above, *reversed(below)])


def _drawn(part: SectionPart, axis: float) -> list[DrawnPart]:
    sides = {"both": (-1, 1), "upper": (-1,), "lower": (1,)}[part.half]
    closed = part.kind not in ("line", "liner")
    out = []
    for side in sides:
        places = [_place(p, axis, side) for p in part.points_mm]
        path = _curved(places, closed) if part.smooth else _straight(places, closed)
        out.append(DrawnPart(part.kind + (" turns" if part.turns else ""), path))
    return out


def _leader(module: SectionModule, axis: float, to: float, height: float) -> str:
    """From the lower edge of a module to the middle of its column in the list."""
    below = module.below_mm or module.outline_mm
    xs = [p[0] for p in below]
    middle = (min(xs) + max(xs)) / 2
    start_x, start_y = MARGIN + middle, axis + _radius_at(below, middle)
    return f"M{start_x:.1f} {start_y:.1f}V{height - LEADER + 6:.1f}L{to:.1f} {height:.1f}"


def _radius_at(outline: Sequence[Point], x: float) -> float:
    """How far an outline reaches from the centre line at a place along it."""
    return max(
        a[1] + (b[1] - a[1]) * ((x - a[0]) / (b[0] - a[0]))
        for a, b in pairwise(outline)
        if min(a[0], b[0]) <= x <= max(a[0], b[0]) and a[0] != b[0]
    )


Place = tuple[float, float]


def _place(point: Point, axis: float, side: int) -> Place:
    return MARGIN + point[0], axis + side * point[1]


def _straight(places: Sequence[Place], closed: bool = True) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in places) + ("Z" if closed else "")


def _curved(places: Sequence[Place], closed: bool) -> str:
    """A curve through the points (Catmull-Rom as cubic Bezier pieces); sharp turns stay sharp."""
    n = len(places)
    path = f"M{places[0][0]:.1f} {places[0][1]:.1f}"
    for i in range(n if closed else n - 1):
        a, b = places[i], places[(i + 1) % n]
        first, last = _tangent(places, i, closed), _tangent(places, (i + 1) % n, closed)
        c, d = (a[0] + first[0] / 6, a[1] + first[1] / 6), (b[0] - last[0] / 6, b[1] - last[1] / 6)
        path += f"C{c[0]:.1f} {c[1]:.1f} {d[0]:.1f} {d[1]:.1f} {b[0]:.1f} {b[1]:.1f}"
    return path + ("Z" if closed else "")


def _tangent(places: Sequence[Place], i: int, closed: bool) -> Place:
    """Direction of the curve in a point; none where the outline turns back or has an edge."""
    n = len(places)
    if not closed and i in (0, n - 1):
        return 0.0, 0.0
    before, here, after = places[i - 1], places[i], places[(i + 1) % n]
    u, v = (here[0] - before[0], here[1] - before[1]), (after[0] - here[0], after[1] - here[1])
    lengths = (u[0] ** 2 + u[1] ** 2) ** 0.5 * (v[0] ** 2 + v[1] ** 2) ** 0.5
    if lengths == 0 or (u[0] * v[0] + u[1] * v[1]) / lengths < 0.3:
        return 0.0, 0.0
    return after[0] - before[0], after[1] - before[1]
