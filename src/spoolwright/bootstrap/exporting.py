"""Exports a visit into a folder that can be read without the program."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from spoolwright.bootstrap.progress import Tell, silent
from spoolwright.bootstrap.recomputing import attachments_in
from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.visit.entry import Attachment, Body, Entry
from spoolwright.errors import OutputError
from spoolwright.reports.visit_export import export_html

_UNSAFE = re.compile(r'[\x00-\x1f<>:"/\\|?*]+')


def export_visit(shop: Shop, number: str, out: Path, now: datetime, tell: Tell = silent) -> Path:
    """Write index.html, visit.json, the attachments under their names, and SHA256SUMS into a new folder.

    Raises
    ------
    UnknownVisitError
        No visit has this number.
    OutputError
        There is something at this place already, or it cannot be written.
    """
    if out.exists():
        raise OutputError(
            "there is something already.", where=str(out), mend="Name a folder that is not there."
        )
    shop.visit(number)
    growing = out.with_name(f".{out.name}.part-{os.getpid()}")
    try:
        growing.mkdir(parents=True)
        _write(shop, number, growing, now, tell)
        os.replace(growing, out)
    except OSError as error:
        what = f"the export cannot be written: {error.strerror}."
        raise OutputError(what, where=str(out), mend="Make room or choose another place.") from error
    finally:
        shutil.rmtree(growing, ignore_errors=True)
    return out


def _write(shop: Shop, number: str, folder: Path, now: datetime, tell: Tell) -> None:
    opened = shop.visit(number).opened
    head = shop.records.head()
    entries = shop.records.since(0, visit=number)
    outside = _outside(shop, number, entries, now)
    everything = [*entries, *outside]
    files = _named_files(everything)
    for n, (sha256, place) in enumerate(files.items(), 1):
        tell(f"file {n} of {len(files)}", n / len(files))
        path = folder / place
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(shop.attachments.read(sha256))
    names = {p.login: p.name for p in shop.people.everyone()}
    demonstration = shop.types.of(opened.type_id).type_file.type.demonstration
    html = export_html(
        opened,
        entries,
        outside,
        names=names,
        places=files,
        head=head,
        made_at=now,
        demonstration=demonstration,
    )
    (folder / "index.html").write_text(html, encoding="utf-8")
    about = _as_data(number, everything, names, files, head, now)
    (folder / "visit.json").write_text(
        json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )
    _write_hashes(folder)


def _outside(shop: Shop, number: str, entries: Sequence[Entry[Body]], now: datetime) -> list[Entry[Body]]:
    """What the visit rests on outside itself: parts and type, and who signed under which authorisation."""
    found = {e.seq: e for e in shop.outside(number, now.date())}
    signers = {e.signature.person for e in entries if e.signature}
    for login in signers:
        for known in shop.records.current(Body, under=f"person/{login}"):
            found |= {e.seq: e for e in shop.records.history(known.subject)}
    own = {e.seq for e in entries}
    return [found[seq] for seq in sorted(found.keys() - own)]


def _named_files(entries: list[Entry[Any]]) -> dict[str, str]:
    """Where each attachment goes: under the name it was given, told apart where two have the same."""
    places: dict[str, str] = {}
    taken: set[str] = set()
    for entry in entries:
        for file in attachments_in(entry.body):
            if file.sha256 not in places:
                name = _safe_name(file)
                if name.casefold() in taken:
                    name = f"{file.sha256[:8]}-{name}"
                taken.add(name.casefold())
                places[file.sha256] = f"files/{name}"
    return places


def _safe_name(file: Attachment) -> str:
    name = _UNSAFE.sub("_", file.name).strip(" .")[-120:]
    return name or file.sha256[:16]


def _as_data(
    number: str,
    entries: list[Entry[Body]],
    names: dict[str, str],
    files: dict[str, str],
    head: tuple[int, str],
    now: datetime,
) -> dict[str, Any]:
    logins = {e.author for e in entries} | {e.signature.person for e in entries if e.signature}
    return {
        "visit": number,
        "exported_at": now.isoformat(),
        "shop_last_record": head[0],
        "shop_head": head[1],
        "people": {login: names[login] for login in sorted(logins) if login in names},
        "files": files,
        "records": [_record(e) for e in entries],
    }


def _record(e: Entry[Body]) -> dict[str, Any]:
    return {
        "record": e.seq,
        "subject": e.subject,
        "revision": e.revision,
        "kind": e.kind,
        "author": e.author,
        "at": e.at.isoformat(),
        "reason": e.reason,
        "body": e.body.model_dump(mode="json"),
        "signature": e.signature.model_dump(mode="json") if e.signature else None,
        "digest": e.digest,
    }


def _write_hashes(folder: Path) -> None:
    lines = []
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        lines.append(
            f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder).as_posix()}\n"
        )
    (folder / "SHA256SUMS").write_text("".join(lines), encoding="utf-8")
