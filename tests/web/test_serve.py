"""`spoolwright serve` as a process: loopback unless told, plain words, a taken port, Ctrl-C."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from pathlib import Path

import httpx

from spoolwright.store.sessions import IDLE
from spoolwright.web.settings import MEGABYTE, Settings

PROGRAM = [sys.executable, "-m", "spoolwright", "serve"]


@contextmanager
def started(folder: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server; its process and the address it tells."""
    command = [*PROGRAM, "--shop", str(folder), "--port", "0", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        assert process.stdout is not None
        told = ""
        while not re.search(r" at http://(\S+):(\d+) ", told):
            line = process.stdout.readline()
            assert line, told
            told += line
        try:
            yield process, told
        finally:
            stop(process)


def stop(process: subprocess.Popen[str]) -> None:
    """Ctrl-C until it ends: in a shell's background one that comes too early is lost."""
    for _ in range(30):
        process.send_signal(signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            process.wait(1)
            return
    process.kill()
    raise AssertionError("Ctrl-C did not end it")


def answered(port: str) -> httpx.Response:
    for _ in range(100):
        try:
            return httpx.get(f"http://127.0.0.1:{port}/", timeout=5)
        except httpx.TransportError:
            time.sleep(0.1)
    raise AssertionError("no answer")


def test_listens_on_this_machine_only_unless_told(tmp_path: Path) -> None:
    with started(tmp_path / "shop") as (process, told):
        host, port = re.search(r"http://(\S+):(\d+) ", told).groups()  # type: ignore[union-attr]
        assert host == "127.0.0.1"
        assert "TLS" not in told
        answer = answered(port)
        assert answer.status_code == 303
        assert "server" not in answer.headers
        assert "strict-transport-security" not in answer.headers
        process.send_signal(signal.SIGINT)
        assert process.wait(30) in (0, 130)


def test_says_plainly_that_others_could_read_along(tmp_path: Path) -> None:
    with started(tmp_path / "shop", "--host", "0.0.0.0") as (_, told):
        assert "WITHOUT TLS: passwords and records cross the network readable" in told


def test_behind_tls_cookies_are_secure(tmp_path: Path) -> None:
    with started(tmp_path / "shop", "--behind-tls") as (_, told):
        port = re.search(r":(\d+) ", told)[1]  # type: ignore[index]
        answered(port)
        page = httpx.get(f"http://127.0.0.1:{port}/sign-in")
        assert "secure" in page.headers["set-cookie"].lower()
        assert "max-age" in page.headers["strict-transport-security"]


def test_a_taken_port_is_told_with_the_way_out(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        command = [*PROGRAM, "--shop", str(tmp_path / "shop"), "--port", str(port)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 6
    assert f"cannot listen on 127.0.0.1, port {port}" in done.stderr
    assert "--port 0 takes a free one" in done.stderr


def test_the_how_to_tells_the_limits_that_hold(repository: Path) -> None:
    text, settings = (repository / "docs/how-to/serve.md").read_text(), Settings()
    assert f"client_max_body_size {settings.largest_request // MEGABYTE}m;" in text
    assert f"{settings.largest_file // MEGABYTE} MB a file" in text
    assert timedelta(hours=4) == IDLE
    assert "four idle hours" in text
