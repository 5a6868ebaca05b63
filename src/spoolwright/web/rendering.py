"""Templates to pages: the environment, and what forms keep when a page is shown again."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.requests import Request

from spoolwright.crafts.visit.entry import Attachment
from spoolwright.web.assets import packaged_assets
from spoolwright.web.kept import NOTHING_KEPT, Kept
from spoolwright.web.said import both_values, kind_word, line_of
from spoolwright.web.shown_units import other_reading, sign_of_unit

LIGHTS = {"": "Office", "shop": "Shop floor", "booth": "NDI booth", "wall": "Wall"}
LIGHT_COOKIE = "light"
MAIN = '<main id="main" tabindex="-1">'


@dataclass
class Forms:
    """The forms of one page: each begins with its token; a field belongs to the form that began last."""

    token: str
    here: str
    kept: Kept
    begun: int = 0
    current: str = ""
    told: bool = False
    """Whether the sentence about what was wrong stands somewhere on the page."""

    def form_token(self, name: str = "", after: int = 0) -> Markup:
        """What every form begins with: token, key, the page it stands on, the revision it was made from."""
        self.begun += 1
        self.current = name or f"form-{self.begun}"
        hidden = {
            "form_token": self.token,
            "form_id": self.current,
            "form_key": self._key(),
            "here": self.here,
            "after": str(after),
        }
        lines = [Markup('<input type="hidden" name="{}" value="{}">').format(*i) for i in hidden.items()]
        if self.is_kept and not self.kept.where:
            lines.append(self.kept.alert())
            self.told = True
        return Markup("").join(lines)

    def _key(self) -> str:
        return (self.kept.first("form_key") if self.is_kept else "") or secrets.token_hex(8)

    @property
    def is_kept(self) -> bool:
        """Whether the form that began last is the one that is shown again."""
        return bool(self.current) and self.current == self.kept.form_id

    def value(self, name: str, otherwise: Any = "") -> Any:
        """What a field shows: what was typed before, else what the page gives."""
        return self.kept.first(name) if self.is_kept and self.kept.has(name) else otherwise

    def ticked(self, name: str, value: str, otherwise: bool = False) -> bool:
        """Whether a box or a choice is ticked."""
        return value in self.kept.values.get(name, ()) if self.is_kept else otherwise

    def mistake(self, name: str) -> str:
        """The sentence beside a field."""
        if not self.is_kept or self.kept.where != name:
            return ""
        self.told = True
        return self.kept.sentence


def render(request: Request, template: str, token: str, values: dict[str, Any]) -> str:
    """A template with its values and what every page has."""
    kept = getattr(request.state, "kept", NOTHING_KEPT)
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    forms = Forms(token, here, kept)
    light = request.cookies.get(LIGHT_COOKIE, "")
    every = {
        "request": request,
        "forms": forms,
        "kept": kept,
        "form_token": forms.form_token,
        "light": light if light in LIGHTS else "",
        "lights": LIGHTS,
    }
    text = environment().get_template(template).render(every | values)
    if kept.sentence and not forms.told:  # the form or the field is no longer on the page
        return text.replace(MAIN, MAIN + kept.alert(), 1)
    return text


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates of the package; a name that a page does not give is an error, never a blank."""
    env = Environment(
        loader=FileSystemLoader(str(files("spoolwright") / "web" / "templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    env.globals["static"] = packaged_assets().address
    env.globals["other_reading"] = other_reading
    env.filters |= {
        "day": day,
        "moment": moment,
        "count": count,
        "count_of": count,
        "kind_word": kind_word,
        "line": line_of,
        "plain": plain,
        "unit_sign": sign_of_unit,
        "file_link": file_link,
        "size": size,
        "both_values": both_values,
    }
    return env


def day(value: date | None) -> str:
    """A day as the shop writes it."""
    return f"{value.day} {value:%b %Y}" if value else "not set"


def moment(value: datetime | None) -> str:
    """A moment, UTC."""
    return f"{value.day} {value:%b %Y, %H:%M} UTC" if value else "not set"


def count(number: int, word: str, more: str = "") -> str:
    """A number and its word: 1 item, 3 items."""
    return f"{number:,} {word if number == 1 else more or word + 's'}"


def plain(value: Any) -> str:
    """A number without digits it does not have; anything else as it is."""
    if isinstance(value, float):
        return f"{value:.6g}" if abs(value) < 1e6 else f"{value:,.0f}"
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value)


def file_link(file: Attachment) -> str:
    """Where a file is read."""
    return f"/file/{file.sha256}?name={quote(file.name)}"


def size(number: int) -> str:
    """The size of a file."""
    return f"{number / 1e6:.1f} MB" if number >= 1e6 else f"{max(1, round(number / 1e3))} kB"
