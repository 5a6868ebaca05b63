"""Where each value of a TOML text stands: key path to line number.

Reads only text that `tomllib` has accepted, so it need not doubt the grammar; it follows TOML 1.0
(https://toml.io/en/v1.0.0) far enough to know where keys, elements and values begin.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_QUOTED_KEY = re.compile(r"\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'")
_STRING = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:""?(?!"))?' + r"|'''.*?'''(?:''?(?!'))?", re.DOTALL)
_SCALAR = re.compile(r"[^,\]}#\n]*")
_DOT = re.compile(r"[ \t]*\.[ \t]*")


def line_numbers(text: str) -> dict[Path, int]:
    """Line (from 1) of every table, key and list element of a valid TOML text."""
    return _Scanner(text).scan()


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """Line of a path, or of the nearest table around it."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


class _LostPlace(Exception):
    """The text is not what tomllib accepted; line numbers end here."""


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.starts = [0, *(m.end() for m in re.finditer("\n", text))]
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def scan(self) -> dict[Path, int]:
        table: Path = ()
        try:
            while self._skip() < len(self.text):
                if self.text[self.at] == "[":
                    table = self._header()
                else:
                    self._pair(table)
        except (_LostPlace, RecursionError):
            pass  # a mistake is then reported with the line of the nearest table known
        return self.lines

    def _next(self) -> str:
        """The next character that is not blank."""
        if self._skip() >= len(self.text):
            raise _LostPlace
        return self.text[self.at]

    def _past(self, mark: str) -> None:
        found = self.text.find(mark, self.at)
        if found < 0:
            raise _LostPlace
        self.at = found + len(mark)

    def _skip(self) -> int:
        found = _BLANK.match(self.text, self.at)
        self.at = found.end() if found else self.at
        return self.at

    def _mark(self, path: Path, at: int) -> None:
        self.lines.setdefault(path, bisect_right(self.starts, at))

    def _header(self) -> Path:
        start = self.at
        array = self.text.startswith("[[", start)
        self.at += 2 if array else 1
        *parents, last = self._key()
        path: Path = ()
        for part in parents:
            path = self._inside((*path, part))
            self._mark(path, start)
        path = (*path, last)
        if array:
            self.counts[path] = self.counts.get(path, 0) + 1
        self._mark(path, start)
        path = self._inside(path)
        self._mark(path, start)
        self._past("]]" if array else "]")
        return path

    def _inside(self, path: Path) -> Path:
        """A header names the last element of a list of tables."""
        return (*path, self.counts[path] - 1) if path in self.counts else path

    def _key(self) -> list[str]:
        parts = []
        while True:
            self._skip()
            bare = _BARE.match(self.text, self.at)
            found = bare or _QUOTED_KEY.match(self.text, self.at)
            if not found:
                raise _LostPlace
            parts.append(found[0] if bare else tomllib.loads(f"k = {found[0]}")["k"])
            self.at = found.end()
            dot = _DOT.match(self.text, self.at)
            if not dot:
                return parts
            self.at = dot.end()

    def _pair(self, table: Path) -> None:
        start = self.at
        path = table
        for part in self._key():
            path = (*path, part)
            self._mark(path, start)
        self._past("=")
        self._value(path)

    def _value(self, path: Path) -> None:
        c = self._next()
        if c == "[":
            self._list(path)
        elif c == "{":
            self._inline_table(path)
        else:
            self._plain()

    def _plain(self) -> None:
        for pattern in (_STRING, _QUOTED_KEY, _SCALAR):
            found = pattern.match(self.text, self.at)
            if found:
                self.at = found.end()
                return

    def _list(self, path: Path) -> None:
        self.at += 1
        index = 0
        while self._next() != "]":
            self._mark((*path, index), self.at)
            self._value((*path, index))
            index += 1
            if self._next() == ",":
                self.at += 1
        self.at += 1

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        while self._next() != "}":
            self._pair(path)
            if self._next() == ",":
                self.at += 1
        self.at += 1
