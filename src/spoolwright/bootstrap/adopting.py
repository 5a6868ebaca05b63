"""Types of a shop: adopted from files, read back from attachments."""

from __future__ import annotations

import threading
from datetime import datetime
from pathlib import Path

from spoolwright.crafts.visit.adopted import TypeAdopted
from spoolwright.crafts.visit.desk import TypeInShop
from spoolwright.crafts.visit.entry import Attachment, Entry, New
from spoolwright.errors import InputError
from spoolwright.sources.shop_part import hash_of, load_shop_files, load_shop_part, shop_folder
from spoolwright.sources.typefile import load_type
from spoolwright.store.attachments import StoredAttachments
from spoolwright.store.records import StoredRecords

_TOML = "application/toml"


class AdoptedTypes:
    """The types in force; one that has been read is kept until another is adopted."""

    def __init__(self, records: StoredRecords, attachments: StoredAttachments) -> None:
        self._records, self._attachments = records, attachments
        self._lock = threading.Lock()
        self._read: dict[str, TypeInShop] = {}

    def of(self, type_id: str) -> TypeInShop:
        """The type in force now.

        Raises
        ------
        InputError
            The shop has not adopted it.
        """
        entry = self.entry(type_id)
        if entry is None:
            what = f"the shop has not adopted the type '{type_id}'."
            raise InputError(what, mend="Adopt its type file: spoolwright adopt FILE.")
        return self.as_adopted(entry)

    def as_adopted(self, entry: Entry[TypeAdopted]) -> TypeInShop:
        """A type as one adoption of it reads."""
        with self._lock:
            if entry.digest not in self._read:
                self._read[entry.digest] = self._load(entry.body)
            return self._read[entry.digest]

    def entry(self, type_id: str) -> Entry[TypeAdopted] | None:
        """The record of the newest adoption."""
        found = self._records.current(TypeAdopted, under=f"type/{type_id}")
        return found[0] if found else None

    def all(self) -> list[Entry[TypeAdopted]]:
        """The newest adoption of every type."""
        return self._records.current(TypeAdopted, under="type")

    def adopt(self, path: Path, *, by: str, at: datetime, reason: str = "") -> Entry[TypeAdopted]:
        """Adopt a type file and the shop part beside it; the same files again change nothing.

        Raises
        ------
        MistakesError
            A file holds mistakes.
        """
        loaded = load_type(path)
        shop = load_shop_part(shop_folder(path), loaded.type_file)
        type_id = loaded.type_file.type.id
        before = self.entry(type_id)
        body = TypeAdopted(
            type_id=type_id,
            name=loaded.type_file.type.name,
            type_file=self._keep(path, path.name),
            shop_files=tuple(self._keep(f.path, f.name) for f in shop.files),
        )
        if before is not None and before.body == body:
            return before
        after = before.revision if before else 0
        new = New(f"type/{type_id}", body, after=after, reason=reason)
        (entry,) = self._records.add([new], by=by, at=at)
        return entry  # type: ignore[return-value]

    def _keep(self, path: Path, name: str) -> Attachment:
        return self._attachments.keep(path.read_bytes(), name, _TOML)

    def _load(self, body: TypeAdopted) -> TypeInShop:
        for file in (body.type_file, *body.shop_files):
            self._attachments.read(file.sha256)  # proves that it is what was adopted
        named = [(f.name, f.sha256) for f in body.shop_files]
        key = body.type_file.sha256, hash_of(named)
        if key not in _PARSED:
            type_file = load_type(self._attachments.path_of(key[0])).type_file
            placed = [(name, self._attachments.path_of(sha256)) for name, sha256 in named]
            _PARSED[key] = TypeInShop(type_file, load_shop_files(placed, type_file).shop, *key)
        return _PARSED[key]


_PARSED: dict[tuple[str, str], TypeInShop] = {}
"""Types by the hashes of their files: what is parsed is the same in every shop that this process opens."""
