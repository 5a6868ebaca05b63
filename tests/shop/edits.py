"""Edits of live content: by SQL with the guards in place or lifted, below the database in its file, in
attachments, at the end of the chain, and with the whole chain hashed anew.

Each edit is made on a fresh copy of the same shop, and must be refused by the database or found by `verify`;
the last two against the head that a document printed when it was signed.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from shop.writers import begin, write_batches
from spoolwright.bootstrap.shop import open_shop
from spoolwright.bootstrap.verifying import Printed
from spoolwright.errors import SpoolwrightError
from spoolwright.store.chain import digest_of

COLUMNS = (
    "seq", "subject", "revision", "kind", "visit", "author", "at", "reason", "body", "signature", "previous",
    "digest",
)  # fmt: skip
REFUSED, FOUND, MISSED = "refused", "found", "missed"


class NotLive(Exception):
    """The edit changed nothing that anybody could read: draw another."""


@dataclass(frozen=True)
class Original:
    """The shop that is edited, and the head a document printed at its end."""

    folder: Path
    printed: Printed

    @property
    def database(self) -> Path:
        return self.folder / "shop.sqlite"


def original(folder: Path, batches: int = 40) -> Original:
    """A small shop, closed; its database in one file without left-overs."""
    begin(None, folder)
    shop = open_shop(None, folder)
    write_batches(shop, "b", random.Random(940), lambda _: None, batches)
    seq, digest = shop.records.head()
    shop.close()
    with closing(sqlite3.connect(folder / "shop.sqlite")) as raw:
        raw.execute("VACUUM")
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shop = open_shop(None, folder)
    faults = shop.verify(Printed(digest, seq)).faults
    shop.close()
    if faults:
        raise AssertionError(f"the shop is not whole before any edit: {faults[0]}")
    return Original(folder, Printed(digest, seq))


def outcome(
    made: Original, folder: Path, edit: Callable[[Path, random.Random], None], draw: random.Random
) -> str:
    """Make an edit on a copy; whether it was refused, found or missed."""
    shutil.copytree(made.folder, folder)
    try:
        edit(folder, draw)
    except sqlite3.DatabaseError as error:
        if "never changed" in str(error) or "end of the chain" in str(error):
            return REFUSED
        raise
    printed = (made.printed,) if edit in AGAINST_PRINT else ()
    try:
        shop = open_shop(None, folder)
    except SpoolwrightError:  # so damaged that it does not open, in a sentence: `verify` ends with it
        return FOUND
    try:
        if printed and shop.verify().faults:
            raise AssertionError("an edit that only the printed head shows was already found without it")
        return FOUND if shop.verify(*printed).faults else MISSED
    finally:
        shop.close()


def _sql(folder: Path) -> Any:
    return closing(sqlite3.connect(folder / "shop.sqlite", isolation_level=None))


def _last(raw: sqlite3.Connection) -> int:
    return int(raw.execute("SELECT max(seq) FROM entry").fetchone()[0])


def _other(value: Any, draw: random.Random) -> Any:
    """Another value of the same kind: a letter exchanged, left out or put in; a number a little off."""
    if isinstance(value, int):
        return value + draw.choice((-1, 1, 1000))
    at = draw.randrange(len(value) + 1)
    letter = draw.choice("abcdefghij0123456789 ")
    exchanged, missing = value[:at] + letter + value[at + 1 :], value[:at] + value[at + 1 :]
    more = value[:at] + letter + value[at:]
    changed = draw.choice((exchanged, missing, more))
    return changed if changed != value else value + "x"


def with_guards(folder: Path, draw: random.Random) -> None:
    """Change, remove, put in or replace a row as anybody with the database's password could."""
    with _sql(folder) as raw:
        seq = draw.randint(1, _last(raw))
        column = draw.choice(COLUMNS)
        row = list(raw.execute("SELECT * FROM entry WHERE seq = ?", (seq,)).fetchone())
        at = COLUMNS.index(column)
        match draw.randrange(6):
            case 0:
                raw.execute(f"UPDATE entry SET {column} = ? WHERE seq = ?", (_other(row[at], draw), seq))
            case 1:
                raw.execute("DELETE FROM entry WHERE seq = ?", (seq,))
            case 2:
                raw.execute("DELETE FROM entry WHERE seq > ?", (seq - 1,))
            case 3:
                row[at] = _other(row[at], draw)
                raw.execute(f"INSERT OR REPLACE INTO entry VALUES ({','.join('?' * 12)})", row)
            case 4:
                row[0] = _last(raw) + draw.randint(2, 50)
                raw.execute(f"INSERT INTO entry VALUES ({','.join('?' * 12)})", row)
            case _:
                raw.execute(draw.choice(("UPDATE attachment SET size = size + 1", "DELETE FROM attachment")))
    raise AssertionError("the database let an edit through")


def _without_guards(raw: sqlite3.Connection, edit: Callable[[], None]) -> None:
    """Lift the guards, edit, put them back as they were: no trace of that is left."""
    guards = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        raw.execute(f"DROP TRIGGER {name}")
    edit()
    for _, sql in guards:
        raw.execute(sql)


def rows(folder: Path, draw: random.Random) -> None:
    """Change a column, remove a row, exchange two rows, or repeat one, with the guards lifted meanwhile."""
    with _sql(folder) as raw:
        last = _last(raw)
        seq, other = draw.sample(range(1, last), 2)

        def edit() -> None:
            match draw.randrange(4):
                case 0 | 1:
                    _change(raw, seq, draw)
                case 2:
                    raw.execute("DELETE FROM entry WHERE seq = ?", (seq,))
                case _:
                    raw.execute("UPDATE entry SET seq = -1 WHERE seq = ?", (seq,))
                    raw.execute("UPDATE entry SET seq = ? WHERE seq = ?", (seq, other))
                    raw.execute("UPDATE entry SET seq = ? WHERE seq = -1", (other,))

        _without_guards(raw, edit)


def _change(raw: sqlite3.Connection, seq: int, draw: random.Random) -> None:
    column = draw.choice(COLUMNS)
    (value,) = raw.execute(f"SELECT {column} FROM entry WHERE seq = ?", (seq,)).fetchone()
    changed = _other(value, draw) if column != "seq" else _last(raw) + draw.randint(1, 9)
    raw.execute(f"UPDATE entry SET {column} = ? WHERE seq = ?", (changed, seq))


def attachment_rows(folder: Path, draw: random.Random) -> None:
    """Change or remove the row of an attachment, with the guards lifted meanwhile."""
    with _sql(folder) as raw:
        chosen = draw.choice([r[0] for r in raw.execute("SELECT sha256 FROM attachment ORDER BY sha256")])
        change = draw.choice(
            ("UPDATE attachment SET size = size + 1 WHERE sha256 = ?",
             "DELETE FROM attachment WHERE sha256 = ?",
             "UPDATE attachment SET media_type = 'text/html' WHERE sha256 = ?",
             "UPDATE attachment SET sha256 = replace(sha256, '0', '1') || '0' WHERE sha256 = ?")
        )  # fmt: skip
        _without_guards(raw, lambda: raw.execute(change, (chosen,)) and None)


def _read(path: Path) -> list[Any]:
    """Everything that can be read from the database, by the table and by each of its indexes."""
    try:
        with closing(sqlite3.connect(path)) as raw:
            asked = (
                "SELECT * FROM entry NOT INDEXED ORDER BY seq",
                "SELECT subject, revision, seq FROM entry INDEXED BY sqlite_autoindex_entry_1 ORDER BY 1, 2",
                "SELECT visit, seq FROM entry INDEXED BY entry_visit ORDER BY 1, 2",
                "SELECT kind, seq FROM entry INDEXED BY entry_kind ORDER BY 1, 2",
                "SELECT * FROM attachment NOT INDEXED ORDER BY sha256",
                "SELECT sha256 FROM attachment ORDER BY sha256",
                "SELECT type, name, sql FROM sqlite_master ORDER BY type, name",
            )
            return [raw.execute(q).fetchall() for q in asked]
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        return [str(error)]


def file_content(folder: Path, draw: random.Random) -> None:
    """Change one byte of a value of a row or of an index's copy of it, in the database's file."""
    path = folder / "shop.sqlite"
    with _sql(folder) as raw:
        row = raw.execute("SELECT * FROM entry WHERE seq = ?", (draw.randint(1, _last(raw)),)).fetchone()
    value = draw.choice([v for v in row if isinstance(v, str) and v]).encode()[:60]
    content = bytearray(path.read_bytes())
    at = draw.choice(list(_places(content, value))) + draw.randrange(len(value))
    _edit_byte(path, content, at, draw)


def file_anywhere(folder: Path, draw: random.Random) -> None:
    """Change one byte anywhere in the database's file; if nothing can be read differently it was not live."""
    path = folder / "shop.sqlite"
    content = bytearray(path.read_bytes())
    _edit_byte(path, content, draw.randrange(len(content)), draw)


def _places(content: bytearray, value: bytes) -> Iterator[int]:
    at = content.find(value)
    while at >= 0:
        yield at
        at = content.find(value, at + 1)


def _edit_byte(path: Path, content: bytearray, at: int, draw: random.Random) -> None:
    before = _read(path)
    content[at] ^= 1 << draw.randrange(8)
    path.write_bytes(content)
    if _read(path) == before:
        raise NotLive


def attachments(folder: Path, draw: random.Random) -> None:
    """Change a byte of an attachment, cut it, lengthen it, remove it, or exchange it for another."""
    files = sorted(p for p in (folder / "attachments").rglob("*") if p.is_file())
    chosen, other = draw.sample(files, 2)
    content = bytearray(chosen.read_bytes())
    match draw.randrange(5):
        case 0:
            content[draw.randrange(len(content))] ^= 1 << draw.randrange(8)
            chosen.write_bytes(content)
        case 1:
            chosen.write_bytes(content[: draw.randrange(len(content))])
        case 2:
            chosen.write_bytes(content + b"x")
        case 3:
            chosen.unlink()
        case _:
            chosen.write_bytes(other.read_bytes())


def cut_end(folder: Path, draw: random.Random) -> None:
    """Remove the last records, with the guards lifted meanwhile: what is left is a whole chain."""
    with _sql(folder) as raw:
        keep = draw.randint(5, _last(raw) - 1)
        _without_guards(raw, lambda: raw.execute("DELETE FROM entry WHERE seq > ?", (keep,)) and None)
        raw.execute("DELETE FROM sign_in_try")


def hashed_anew(folder: Path, draw: random.Random) -> None:
    """Change what a note says and hash it and every record after it anew: a whole chain again."""
    with _sql(folder) as raw:
        raw.row_factory = sqlite3.Row
        everything = [dict(r) for r in raw.execute("SELECT * FROM entry ORDER BY seq")]
        notes = [r for r in everything if r["kind"] == "note"]
        chosen = draw.choice(notes)
        chosen["body"] = chosen["body"].replace('"text":"', f'"text":"{draw.choice("abc")}', 1)

        def edit() -> None:
            previous = everything[chosen["seq"] - 2]["digest"]
            for row in everything[chosen["seq"] - 1 :]:
                row["previous"] = previous
                row["digest"] = previous = digest_of(row)
                raw.execute(
                    "UPDATE entry SET body = :body, previous = :previous, digest = :digest WHERE seq = :seq",
                    row,
                )

        _without_guards(raw, edit)


AGAINST_PRINT = (cut_end, hashed_anew)
EDITS: dict[Callable[[Path, random.Random], None], int] = {
    with_guards: 200, rows: 250, attachment_rows: 50, file_content: 150, file_anywhere: 100, attachments: 150,
    cut_end: 50, hashed_anew: 50,
}  # fmt: skip
"""Each way of editing and how many of a thousand edits are made in it."""


@dataclass
class Edited:
    """How edits ended, by the way they were made."""

    ends: dict[str, Counter[str]] = field(default_factory=dict)
    not_live: int = 0
    missed_at: list[str] = field(default_factory=list)

    @property
    def missed(self) -> int:
        return sum(c[MISSED] for c in self.ends.values())

    @property
    def made(self) -> int:
        return sum(sum(c.values()) for c in self.ends.values())


def edit_live_content(
    work: Path, counts: dict[Callable[[Path, random.Random], None], int], seed: int,
    progress: Callable[[int], None] = lambda _: None,
) -> Edited:  # fmt: skip
    """Make so many edits of each way; every draw that changed live content counts."""
    made, draw, found = original(work / "original"), random.Random(seed), Edited()
    copy = work / "copy"
    for edit, count in counts.items():
        ends = found.ends.setdefault(edit.__name__, Counter())
        while sum(ends.values()) < count:
            try:
                end = outcome(made, copy, edit, draw)
                ends[end] += 1
                if end == MISSED:
                    shutil.copytree(copy, work / f"missed-{found.missed}")
                    found.missed_at.append(f"{edit.__name__} after {sum(ends.values())} edits")
            except NotLive:
                found.not_live += 1
            finally:
                shutil.rmtree(copy, ignore_errors=True)
            progress(found.made)
    return found
