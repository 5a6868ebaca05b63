"""What a person typed, kept while the page is shown again with what was wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from markupsafe import Markup

from spoolwright.crafts.visit.entry import ConflictError
from spoolwright.errors import SpoolwrightError


@dataclass(frozen=True)
class Kept:
    """A form that was refused: what it held, why it was refused and which field is meant."""

    form_id: str = ""
    values: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    sentence: str = ""
    where: str = ""
    conflict: ConflictError | None = None

    def has(self, name: str) -> bool:
        """Whether the form had such a field."""
        return name in self.values

    def first(self, name: str) -> str:
        """What stood in a field."""
        return next(iter(self.values.get(name, ())), "")

    def alert(self) -> Markup:
        """The sentence as the form shows it."""
        return Markup('<p class="mistake" role="alert" tabindex="-1">{}</p>').format(self.sentence)


NOTHING_KEPT = Kept()


def sentence_for_people(error: SpoolwrightError) -> str:
    """What was wrong and how to mend it, without the name of the field: the sentence stands beside it."""
    return " ".join(part for part in (_capital(error.what), error.mend) if part)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
