"""What every worker of a batch needs, as bytes: a worker on another machine sees no file of this one."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

from spoolwright.bootstrap.diagnosing import DiagnosisFiles


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
        folder.mkdir()
        path = folder / self.name
        path.write_bytes(self.data)
        return path


@dataclass(frozen=True)
class Material:
    """Files of a batch by what they are: `type_file`, `channel_map`, and those of `DiagnosisFiles`."""

    files: dict[str, Carried] = field(default_factory=dict)

    @property
    def rests_on(self) -> dict[str, str]:
        """Hashes that all rows of the batch share, by what the file is; empty for what is not given."""
        return {k: self.files[k].sha256 if k in self.files else "" for k in ("type_file", *_OTHERS)}

    def written(self, folder: Path) -> dict[str, Path]:
        """The files in a folder of this machine, by what they are."""
        return {k: c.written(folder / k) for k, c in self.files.items()}


_OTHERS = ("channel_map", "baseline", "priors", "checks", "costs")


def material_of(type_path: Path, channel_map: Path | None, given: DiagnosisFiles) -> Material:
    """Read the files of a batch.

    Raises
    ------
    InputError
        One cannot be read, or is too large.
    """
    from spoolwright.sources.plainfile import read_whole

    paths = {"type_file": type_path, "channel_map": channel_map, **vars(given)}
    named = {k: paths[k] for k in ("type_file", *_OTHERS)}
    found = {k: (p, read_whole(p, k.replace("_", " "))) for k, p in named.items() if p is not None}
    return Material({k: Carried(p.name, data) for k, (p, data) in found.items()})
