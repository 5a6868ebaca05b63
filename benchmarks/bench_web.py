"""The shop's pages: server time of each in a shop of 5,000 visits and 100,000 records; 50 users at once.

Makes the shop once (build/bench), serves it on 127.0.0.1 and asks. A read is a page; an entry is a form
opened and sent; a photograph is half a megabyte in a note. Every answer is read to its end; a user waits a
second or two between two acts, as a person would. At the end every entry that was answered as recorded must
be there once.
Run it on a quiet machine:  python benchmarks/bench_web.py
"""

from __future__ import annotations

import asyncio
import html
import os
import random
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
from rich.console import Console
from rich.table import Table

from _web_shop import OPEN, PASSWORD, RECORDS, USERS, VISITS, prepared
from spoolwright.bootstrap.shop import open_shop
from spoolwright.crafts.visit.model import NoteTaken

PAGE_MS, P95_MS = 150.0, 250.0
SECONDS = 40.0
NEWEST = f"W{VISITS - 1:05d}"
PAGES = {
    "engines": "/",
    "visits, found": "/visits?q=b-0299",
    "engine": f"/visit/{NEWEST}",
    "module": f"/visit/{NEWEST}/module/compressor",
    "notes": f"/visit/{NEWEST}/notes",
    "record of a visit": f"/visit/{NEWEST}/record",
    "record, newest": "/record",
    "record, found by a part's serial": "/record?q=04999",
    "record, nothing found": "/record?q=zzzzzz",
    "why this number": "/record/60000",
    "people": "/people",
    "person": "/people/user03",
}
HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')
PHOTO = b"\xff\xd8\xff\xe0" + bytes(500_000)


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """The shop behind a real server of its own process."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "spoolwright", "serve", "--shop", str(folder), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(600):
            try:
                httpx.get(f"{address}/alive")
                break
            except httpx.TransportError:
                time.sleep(0.1)
        yield address
    finally:
        server.terminate()
        server.wait(20)


def hidden_of(text: str, action: str) -> dict[str, str]:
    """The hidden fields of the form that posts to an address."""
    for form in re.findall(r"<form\b.*?</form>", text, flags=re.S):
        if f'action="{action}"' in form:
            return {name: html.unescape(value) for name, value in HIDDEN.findall(form)}
    raise AssertionError(f"no form posts to {action}")


class User:
    """A person at a browser: signs in, reads pages, takes notes, sends photographs."""

    def __init__(self, address: str, n: int) -> None:
        self.n, self.login = n, f"user{n:02d}"
        self.client = httpx.AsyncClient(base_url=address, headers={"Origin": address}, timeout=60)
        self.choose = random.Random(n)
        self.times: dict[str, list[float]] = defaultdict(list)
        self.errors: list[str] = []
        self.kept: list[str] = []

    async def sign_in(self) -> None:
        """Begin a session."""
        page = await self.client.get("/sign-in")
        data = hidden_of(page.text, "/sign-in") | {"login": self.login, "password": PASSWORD}
        answer = await self.client.post("/sign-in", data=data)
        assert answer.status_code == 303, answer.status_code

    async def get(self, path: str) -> str:
        """A page, its time noted."""
        began = time.perf_counter()
        answer = await self.client.get(path)
        self.times["read"].append(time.perf_counter() - began)
        if answer.status_code != 200:
            self.errors.append(f"{answer.status_code} {path}")
        return answer.text

    async def note(self, photo: bool) -> None:
        """A note, with a photograph or without."""
        path = f"/visit/W{VISITS - 1 - self.choose.randrange(OPEN):05d}/notes"
        data = hidden_of(await self.get(path), path)
        text = f"{self.login} {len(self.kept)} {data['form_key']}"
        files = {"photos": ("p.jpg", PHOTO + text.encode(), "image/jpeg")} if photo else None
        began = time.perf_counter()
        answer = await self.client.post(path, data=data | {"text": text}, files=files)
        self.times["photograph" if photo else "entry"].append(time.perf_counter() - began)
        if answer.status_code == 303:
            self.kept.append(text)
        else:
            self.errors.append(f"{answer.status_code} post {path}")

    async def work(self, until: float) -> None:
        """Mostly read, now and then write."""
        while time.perf_counter() < until:
            dice = self.choose.random()
            if dice < 0.70:
                await self.get(self.choose.choice(list(PAGES.values())))
            else:
                await self.note(photo=dice > 0.90)
            await asyncio.sleep(self.choose.uniform(1.0, 2.0))


async def crowd(address: str) -> list[User]:
    """All users at once."""
    users = [User(address, n) for n in range(USERS)]
    for user in users:
        await user.sign_in()
    until = time.perf_counter() + SECONDS
    await asyncio.gather(*(u.work(until) for u in users))
    for user in users:
        await user.client.aclose()
    return users


def page_times(address: str) -> dict[str, list[float]]:
    """Each page twenty times, one after the other, by one user."""

    async def ask() -> dict[str, list[float]]:
        user, out = User(address, 0), {}
        await user.sign_in()
        for name, path in PAGES.items():
            await user.get(path)
            user.times["read"].clear()
            for _ in range(20):
                await user.get(path)
            out[name] = [1e3 * t for t in user.times["read"]]
        assert not user.errors, user.errors
        await user.client.aclose()
        return out

    return asyncio.run(ask())


def lost(folder: Path, users: list[User]) -> int:
    """Notes that were answered as recorded and are not there exactly once."""
    shop = open_shop(None, folder)
    there: dict[str, int] = defaultdict(int)
    for entry in shop.records.current(NoteTaken):
        there[entry.body.text] += 1
    shop.close()
    return sum(there[text] != 1 for u in users for text in u.kept)


def main() -> int:
    """Print both tables; the exit status tells whether a target was missed."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "shop"
        shutil.copytree(prepared(), folder)
        with served(folder) as address:
            pages = page_times(address)
            users = asyncio.run(crowd(address))
        gone = lost(folder, users)
    console = Console(width=100)
    console.print(
        f"{VISITS:,} visits, {OPEN} in the shop, {RECORDS:,} records, SQLite; {os.cpu_count()} cores"
    )
    table = Table("page", "median", "slowest of 20", "target")
    for name, times in pages.items():
        table.add_row(name, f"{statistics.median(times):.0f} ms", f"{max(times):.0f} ms", f"{PAGE_MS:.0f} ms")
    console.print(table)
    table = Table(f"{USERS} users for {SECONDS:.0f} s", "number", "median", "95 %", "99 %", "target of 95 %")
    slow = 0.0
    for kind in ("read", "entry", "photograph"):
        times = sorted(1e3 * t for u in users for t in u.times[kind])
        at = [times[min(len(times) - 1, int(q * len(times)))] for q in (0.5, 0.95, 0.99)]
        slow = max(slow, at[1])
        table.add_row(kind, f"{len(times):,}", *(f"{t:.0f} ms" for t in at), f"{P95_MS:.0f} ms")
    console.print(table)
    errors = [e for u in users for e in u.errors]
    sent = sum(len(u.kept) for u in users)
    console.print(
        f"errors: {len(errors)} {sorted(set(errors))[:5]}; of {sent} entries recorded, lost or double: {gone}"
    )
    missed = max(max(t) for t in pages.values()) > PAGE_MS or slow > P95_MS or errors or gone
    return int(bool(missed))


if __name__ == "__main__":
    sys.exit(main())
