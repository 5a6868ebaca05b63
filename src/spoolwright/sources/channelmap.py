"""The channel map: which column of a shop's files is which channel of the type file. TOML.

ignore = ["spare 1"]                                     # columns left out on purpose

[channels]
"Gas gen speed" = "ng"                                   # column name = channel id
"Oil P" = { channel = "oil_pressure", unit = "psig" }    # with the unit the file leaves open

[time]
column = "Clock"                                         # all optional
unit = "ms"
zone = "+01:00"                                          # of time stamps that name none

[csv]
delimiter = ";"
decimal = ","
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from spoolwright.errors import InputError
from spoolwright.sources.notes import listed, shown
from spoolwright.sources.plainfile import read_whole
from spoolwright.sources.toml_text import toml_tables

_LARGEST: Final = 2**20
_KEYS: Final = {"": {"ignore", "channels", "time", "csv"}, "time": {"column", "unit", "zone"},
                "csv": {"delimiter", "decimal"}}  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """What one column is."""

    channel: str
    unit: str = ""


@dataclass(frozen=True)
class ChannelMap:
    """A channel map; every part may be left out."""

    entries: Mapping[str, Entry] = field(default_factory=dict)
    ignore: frozenset[str] = frozenset()
    time_column: str = ""
    time_unit: str = ""
    time_zone: str = ""
    delimiter: str = ""
    decimal: str = ""


def read_channel_map(path: str | Path) -> ChannelMap:
    """The channel map in a TOML file.

    Raises
    ------
    InputError
        When the file is not TOML or holds something else than a channel map; the message says where.
    """
    path = Path(path)
    try:
        return channel_map_from(toml_tables(read_whole(path, "channel map", _LARGEST).decode("utf-8-sig")))
    except UnicodeDecodeError as error:
        raise InputError("the channel map is not UTF-8 text.", where=path.name) from error
    except RecursionError as error:
        told = "the channel map is not valid TOML: it is nested too deep."
        raise InputError(told, where=path.name) from error
    except ValueError as error:  # not TOML, or a number with thousands of digits
        raise InputError(f"the channel map is not valid TOML: {error}.", where=path.name) from error
    except InputError as error:
        raise InputError(error.what, mend=error.mend, where=path.name) from error


def channel_map_from(data: Mapping[str, Any]) -> ChannelMap:
    """A channel map from its TOML mapping, or from a plain mapping of column name to channel id."""
    if not _KEYS[""] & set(data) and all(isinstance(value, str) for value in data.values()):
        data = {"channels": data}
    _check_keys(data, "")
    time, csv = _table(data, "time"), _table(data, "csv")
    _check_keys(time, "time")
    _check_keys(csv, "csv")
    ignore = data.get("ignore", [])
    if not isinstance(ignore, list) or not all(isinstance(name, str) for name in ignore):
        raise InputError("'ignore' is not a list of column names.", mend='Write ignore = ["name", …].')
    made = ChannelMap(
        entries={name: _entry(name, value) for name, value in _table(data, "channels").items()},
        ignore=frozenset(ignore),
        time_column=_text(time, "time", "column"),
        time_unit=_text(time, "time", "unit"),
        time_zone=_text(time, "time", "zone"),
        delimiter=_text(csv, "csv", "delimiter"),
        decimal=_text(csv, "csv", "decimal"),
    )
    if made.delimiter not in ("", ",", ";", "\t", "|"):
        raise InputError(
            f"[csv] delimiter '{shown(made.delimiter)}' is none.", mend='Use one of , ; | "\\t".'
        )
    if made.decimal not in ("", ".", ","):
        raise InputError(f"[csv] decimal '{shown(made.decimal)}' is none.", mend="Use '.' or ','.")
    return made


def _check_keys(table: Mapping[str, Any], name: str) -> None:
    unknown = [key for key in table if key not in _KEYS[name]]
    if unknown:
        place = f"[{name}] holds" if name else "the channel map holds"
        raise InputError(f"{place} {listed(unknown)}.", mend=f"Known are: {', '.join(sorted(_KEYS[name]))}.")


def _table(data: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    table = data.get(name, {})
    if not isinstance(table, Mapping):
        raise InputError(f"'{name}' is not a table.", mend=f"Write [{name}] on a line of its own.")
    return table


def _text(table: Mapping[str, Any], place: str, key: str) -> str:
    value = table.get(key, "")
    if not isinstance(value, str):
        raise InputError(f"[{place}] {key} is not a text.", mend=f'Write {key} = "…".')
    return value


def _entry(name: str, value: Any) -> Entry:
    if isinstance(value, str):
        return Entry(value)
    if isinstance(value, Mapping) and "channel" in value and set(value) <= {"channel", "unit"}:
        return Entry(_text(value, "channels", "channel"), _text(value, "channels", "unit"))
    raise InputError(
        f"[channels] entry '{shown(name)}' is neither a channel id nor a table with channel and unit.",
        mend='Write "column name" = "channel_id" or = { channel = "channel_id", unit = "psig" }.',
    )
