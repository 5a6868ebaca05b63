"""A run sheet begun from a recording's header: what it tells is filled in, the rest waits for a person.

Nothing is guessed. A required value that the header does not tell stands as a comment, so that reading the
sheet fails with a sentence that names it until somebody fills it in.
"""

from __future__ import annotations

import json
from collections.abc import Iterable

from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.typefile.model import TypeFile

_KEYS = {
    "run": ("run", "run_no", "run_number"),
    "operator": ("operator",),
    "visit": ("visit", "shop_visit"),
    "serial": (
        "engine_serial", "engine_serial_no", "engine_serial_number", "engine_s_n", "engine_no", "esn",
        "serial", "serial_no", "serial_number",
    ),
    "cell": ("cell", "test_cell"),
    "configuration": ("configuration", "cell_configuration"),
    "batch": ("fuel_batch",),
}  # fmt: skip
"""Header facts that a value is taken from; where two of them differ, none is."""

_HEAD = """\
# Run sheet of {file}: what people write down beside what the cell records.
# Begun from the recording's header. Fill in every line marked 'required' and take its '# ' away;
# other lines that start with '# ' may stay. `spoolwright sheet check` tells what is still missing.
"""


def blank_sheet(recording: Recording, type_file: TypeFile) -> str:
    """The text of a run sheet for a recording, as far as its header tells.

    Parameters
    ----------
    recording : the run as recorded
    type_file : the type, whose limit sets, cells and checks are listed
    """
    facts = _Facts(recording, type_file)
    blocks = [
        _HEAD.format(file=f"'{_plain(recording.source_name)}'"),
        *[_lines(part) for part in (_top(facts), _engine(facts), _cell(facts), _fuel(facts), _oil())],
        *_adjustment(type_file),
        *_checks(type_file),
    ]
    return "\n".join(blocks)


class _Facts:
    """What header and type file tell."""

    def __init__(self, recording: Recording, type_file: TypeFile) -> None:
        self.recording, self.type_file = recording, type_file

    def told(self, name: str) -> str:
        """The one value that the header gives; empty when it gives none, or several."""
        found = {self.recording.attributes[k] for k in _KEYS[name] if k in self.recording.attributes}
        return found.pop() if len(found) == 1 else ""

    def text(self, key: str, note: str) -> tuple[str, str, str]:
        """A line for a text: from the header, or waiting."""
        told = self.told(key)
        return (key, _quoted(told), "as the header says") if told else (key, "", note)


Line = tuple[str, str, str]
"""Key, value (empty: waiting), comment."""


def _plain(text: str) -> str:
    """A text that can stand in a comment."""
    return "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))


def _quoted(text: str) -> str:
    """A TOML text: JSON's are."""
    return json.dumps(text, ensure_ascii=False)


def _lines(lines: Iterable[Line | str]) -> str:
    out = []
    for line in lines:
        if isinstance(line, str):
            out.append(line)
            continue
        key, value, comment = line
        shown = f"{key} = {value}" if value else f"# {key} = "
        out.append(f"{shown:<40} # {_plain(comment)}" if comment else shown)
    return "\n".join(out) + "\n"


def _top(facts: _Facts) -> list[Line | str]:
    began = facts.recording.started_at
    day = began.date().isoformat() if began else ""
    note = "required: day of the run, 2026-09-14"
    if began:
        note = f"the recording begins {began:%Y-%m-%d %H:%M} UTC; write the local day where it differs"
    sets = ", ".join(s.id for s in facts.type_file.limit_set)
    return [
        ("format", "1", ""),
        facts.text("run", 'required: number of the run within the visit, as a text: "1"'),
        ("performed_on", day, note),
        ("limit_set", "", f"required: the approved work picks it; one of: {sets}"),
        ("purpose", "", "why the engine runs"),
        facts.text("operator", "who ran it"),
    ]


def _engine(facts: _Facts) -> list[Line | str]:
    plate = facts.type_file.data_plate
    low, high = plate.torque_conformation_range if plate else (0.0, 0.0)
    out: list[Line | str] = [
        "[engine]",
        facts.text("serial", "required: serial number from the data plate"),
        facts.text("visit", "number of the shop visit"),
        ("hours", "", "engine hours, 3120.4"),
    ]
    if plate:
        note = f"from the data plate, {low:g} to {high:g}; without it power cannot be judged"
        classes = ", ".join(plate.mgt_trim_classes)
        out += [
            ("torque_conformation", "", note),
            ("mgt_trim_class", "", f"from the data plate, one of: {classes}"),
        ]
    return out


def _cell(facts: _Facts) -> list[Line | str]:
    cells = facts.type_file.cell
    told = facts.told("cell")
    found = [c.id for c in cells if told in (c.id, c.name)]
    known = ", ".join(c.id for c in cells) or "none in the type file"
    doubt = f"the header says {_quoted(told)}, which is none of them; " if told and not found else ""
    return [
        "[cell]",
        ("cell", _quoted(found[0]), "as the header says") if found else
        ("cell", "", f"required: {doubt}one of: {known}"),
        facts.text("configuration", "required: as the cell stood; the correlation holds for one only"),
        ("precipitation", "", 'required: "none", "rain", "snow" or "fog"'),
        ("wind_speed", "", 'only where no channel records it: { value = 3, unit = "m/s" }'),
    ]  # fmt: skip


def _fuel(facts: _Facts) -> list[Line | str]:
    return [
        "# Without a fuel sample performance cannot be judged. Take this block out only if there is none.",
        "[fuel]",
        facts.text("batch", "required: batch or sample number"),
        ("sampled_on", "", "required: day of the sample"),
        ("lower_heating_value", "", 'required: { value = …, unit = "MJ/kg" }, from the laboratory'),
        ("heating_value_standard_uncertainty", "", 'required: { value = …, unit = "MJ/kg" }'),
        ("density_15c", "", 'required: { value = …, unit = "kg/m3" }, at 15 °C'),
        ("hydrogen_to_carbon", "", "required: atoms of hydrogen to atoms of carbon"),
    ]


def _oil() -> list[Line | str]:
    return [
        "# Oil weighed or dipped over a counted time: take the '# ' away to give it.",
        "# [oil]",
        ("consumed", "", '{ value = …, unit = "L" }'),
        ("standard_uncertainty", "", '{ value = …, unit = "L" }'),
        ("over", "", '{ value = …, unit = "min" }'),
    ]


def _adjustment(type_file: TypeFile) -> list[str]:
    kinds = sorted({kind for item in type_file.schedule for kind in item.repeat_after})
    return [
        _lines(
            [
                "# One such block for each adjustment in the cell: points before and after are never mixed.",
                "# [[adjustment]]",
                ("at_s", "", "seconds from the start of the recording"),
                ("kind", "", f"after these the schedule asks for items again: {', '.join(kinds) or 'none'}"),
                ("text", "", "what was done"),
                ("by", "", "who did it"),
            ]
        )
    ]


def _checks(type_file: TypeFile) -> list[str]:
    """A block for each check that no channel shows, to be signed by whoever did it."""
    return [
        _lines(
            [
                f"# {_plain(item.name)}: take the '# ' away once it is done, and sign.",
                "# [[check]]",
                f"# item = {_quoted(item.id)}",
                ("result", "", '"satisfactory" or "not_satisfactory"'),
                ("text", "", "what was found"),
                ("by", "", "who signs"),
                ("at", "", "when, 2026-09-14T10:40:00Z"),
            ]
        )
        for item in type_file.schedule
        if item.kind == "check"
    ]
