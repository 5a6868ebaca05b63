"""A form as a person sent it: read by name, every mistake a sentence beside its field."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import TypeVar

from starlette.datastructures import FormData, UploadFile

from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment
from spoolwright.errors import InputError
from spoolwright.units import unit_of
from spoolwright.web.security.content import ANY, FileKind, checked_kind

E = TypeVar("E", bound=StrEnum)
SECRET = frozenset({"password", "new_password", "form_token"})
FRAME = frozenset({"form_token", "form_id", "form_key", "here", "after", "shown", "meaning"})


@dataclass(frozen=True)
class Form:
    """What was typed, chosen and attached."""

    values: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    uploads: Mapping[str, tuple[UploadFile, ...]] = field(default_factory=dict)
    largest_file: int = 0

    def get(self, name: str) -> str:
        """What was typed, without blanks around it; empty when nothing was."""
        return self.values.get(name, ("",))[0].strip()

    def all(self, name: str) -> list[str]:
        """Every value of a name: ticked boxes, repeated rows."""
        return [v.strip() for v in self.values.get(name, ())]

    def text(self, name: str, label: str = "") -> str:
        """What was typed, when something must be."""
        if not self.get(name):
            raise InputError(f"{label or _words(name)} is empty.", mend="Fill it in.", where=name)
        return self.get(name)

    def number(self, name: str, label: str = "") -> float:
        """A number; a decimal comma is read as what it is, a grouped one is refused."""
        typed = self.text(name, label)
        try:
            value = float(typed.replace(",", ".") if typed.count(",") == 1 and "." not in typed else typed)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise InputError(
                f"{label or _words(name)}: '{typed}' is not a number.", mend="Write it as 12.5.", where=name
            )
        return value

    def whole(self, name: str, label: str = "") -> int:
        """A whole number."""
        value = self.number(name, label)
        if not value.is_integer():
            raise InputError(f"{label or _words(name)} must be a whole number.", where=name)
        return int(value)

    def amount(self, name: str, dimension: str, label: str = "") -> Amount:
        """A value with the unit it was entered in (`NAME` and `NAME_unit`); the entered one is the master."""
        unit = unit_of(self.text(f"{name}_unit", "the unit"), dimension)
        return Amount(value=self.number(name, label), unit=unit.name)

    def date(self, name: str, label: str = "") -> date:
        """A day, as 2026-05-04."""
        typed = self.text(name, label)
        try:
            return date.fromisoformat(typed)
        except ValueError:
            raise InputError(
                f"{label or _words(name)}: '{typed}' is not a day.",
                mend="Write it as 2026-05-04.",
                where=name,
            ) from None

    def moment(self, name: str, label: str = "") -> datetime:
        """A moment in UTC, as 2026-05-04T13:30."""
        from datetime import UTC

        typed = self.text(name, label)
        try:
            return datetime.fromisoformat(typed).replace(tzinfo=UTC)
        except ValueError:
            raise InputError(
                f"{label or _words(name)}: '{typed}' is not a time.",
                mend="Write it as 2026-05-04T13:30, in UTC.",
                where=name,
            ) from None

    def choice(self, name: str, kind: type[E], label: str = "") -> E:
        """One of a list."""
        typed = self.text(name, label)
        try:
            return kind(typed)
        except ValueError:
            listed = ", ".join(kind)
            raise InputError(
                f"{label or _words(name)}: '{typed}' is not in the list.",
                mend=f"One of: {listed}.",
                where=name,
            ) from None

    def ticked(self, name: str) -> bool:
        """Whether a box is ticked."""
        return bool(self.get(name))

    @property
    def after(self) -> int:
        """The revision that the person saw when the form was opened; 0 for a new record."""
        typed = self.get("after") or "0"
        if not typed.isascii() or not typed.isdigit() or len(typed) > 9:
            raise InputError("the form does not say which revision it was made from.", mend="Open it again.")
        return int(typed)

    @property
    def key(self) -> str:
        """A name of this form and no other, the same when it is sent twice: end a new subject with it."""
        typed = self.get("form_key")
        if len(typed) == 16 and typed.isascii() and typed.isalnum():
            return typed
        raise InputError("the form has lost its key.", mend="Open it again.")

    def files(self, name: str, allowed: tuple[FileKind, ...] = ANY) -> list[tuple[bytes, str, FileKind]]:
        """The files of a field: content, name, and the kind that the content tells."""
        out = []
        for upload in self.uploads.get(name, ()):
            upload.file.seek(0)
            content = upload.file.read(self.largest_file + 1)
            title = _file_name(upload.filename or "file")
            out.append((content, title, checked_kind(content, title, allowed, self.largest_file)))
        return out

    def attach(self, desk: Desk, name: str, allowed: tuple[FileKind, ...] = ANY) -> tuple[Attachment, ...]:
        """Keep the files of a field, all checked before the first is kept."""
        return tuple(
            desk.attachments.keep(content, title, kind.media_type)
            for content, title, kind in self.files(name, allowed)
        )

    def fingerprint(self) -> str:
        """The same only when exactly the same was sent."""
        said = {n: v for n, v in self.values.items() if n not in SECRET}
        digest = hashlib.sha256(repr(sorted(said.items())).encode())
        for name, uploads in sorted(self.uploads.items()):
            for upload in uploads:
                digest.update(f"{name}/{upload.filename}/{upload.size}".encode())
                upload.file.seek(0)
                while chunk := upload.file.read(1 << 20):
                    digest.update(chunk)
        return digest.hexdigest()

    def kept(self) -> dict[str, tuple[str, ...]]:
        """What may be shown again: everything but passwords and tokens."""
        return {name: values for name, values in self.values.items() if name not in SECRET}


def form_from(data: FormData, largest_file: int) -> Form:
    """A form from what came over the wire."""
    values: dict[str, tuple[str, ...]] = {}
    uploads: dict[str, tuple[UploadFile, ...]] = {}
    for name, value in data.multi_items():
        if isinstance(value, UploadFile):
            if value.filename:
                uploads[name] = (*uploads.get(name, ()), value)
        elif "\0" in value:
            # PostgreSQL keeps no such character, and no keyboard types one.
            raise InputError(f"{_words(name)} holds a NUL character.", mend="Type it again.", where=name)
        else:
            values[name] = (*values.get(name, ()), value.replace("\r\n", "\n"))
    return Form(values, uploads, largest_file)


def _words(name: str) -> str:
    return name.replace("_", " ")


def _file_name(name: str) -> str:
    """The last part of a name, without what could command a terminal or a header."""
    plain = "".join(c if c.isprintable() and c not in '"\\/' else "_" for c in name.replace("\\", "/"))
    return (plain.rsplit("/", 1)[-1] if "/" in name else plain)[-100:] or "file"
