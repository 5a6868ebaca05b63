"""What every worker of a batch needs, as bytes: a worker on another machine sees no file of this one."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Carried:
    """A small file: its name and its bytes."""

    name: str
    data: bytes

    @property
    def sha256(self) -> str:
        """Hash of the bytes."""
        return hashlib.sha256(self.data).hexdigest()

    def written(self, folder: Path) -> Path:
        """The file in a folder of this machine."""
        path = folder / self.name
        path.write_bytes(self.data)
        return path


@dataclass(frozen=True)
class Material:
    """Type file, baseline and channel map of a batch."""

    type_file: Carried
    baseline: Carried | None = None
    channel_map: Carried | None = None

    @property
    def rests_on(self) -> dict[str, str]:
        """Hashes that all rows of the batch share, by name; empty for what is not used."""
        return {
            "type_file_sha256": self.type_file.sha256,
            "baseline_sha256": self.baseline.sha256 if self.baseline else "",
            "channel_map_sha256": self.channel_map.sha256 if self.channel_map else "",
        }


def carried(path: Path | None, noun: str) -> Carried | None:
    """A small file that workers need; none when no path is given.

    Raises
    ------
    InputError
        It cannot be read, or is too large.
    """
    from spoolwright.sources.plainfile import read_whole

    return None if path is None else Carried(path.name, read_whole(path, noun))
