"""The work scope's pages: what is asked for, the alternatives, the signature, the quote."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.life.model import PartBorn, RateStated
from spoolwright.crafts.life.service import record_birth, state_rate
from spoolwright.crafts.scope.model import ScopeChosen
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.parts import PartFitted, PartNeeded, part_subject
from web.staff import PASSWORD, Browser

SCOPE = "/visit/W100/scope"


def fit_parts(shop: FilledShop) -> None:
    """Every life-limited part by serial, 2,000 h from new, with a rate of use."""
    desk = shop.desk("rex")
    kinds = [k for k in shop.types.of("corrie_940").shop.part if k.life_limited]
    for kind in kinds:
        serial = f"S-{kind.part_number[4:7]}"
        fitted = PartFitted(
            part=kind.id, part_number=kind.part_number, serial=serial, module=kind.module,
            engine_serial="C940-117", on=NOON.date(),
        )  # fmt: skip
        desk.record(New(part_subject(kind.part_number, serial, "fit"), fitted, visit="W100"))
        record_birth(
            desk,
            PartBorn(part_number=kind.part_number, serial=serial, made_on=NOON.date(), document="birth"),
            visit="W100",
        )
    rate = RateStated(
        hours_per_month="38", flown_per_month={"full": "31", "partial": "64"}, operating_class="firefighting",
        stated_by="customer's letter",
    )  # fmt: skip
    state_rate(desk, shop.shop.folder("W100", NOON.date()), rate)


def ask(lena: Browser, **more: str) -> None:
    said = {"begin_on": "2026-05-05", "least_life_h": "600"} | more
    assert lena.send(SCOPE, f"{SCOPE}/asked", **said).status_code == 303


def test_what_is_missing_stands_first(browser_of: Callable[[str], Browser]) -> None:
    lena = browser_of("lena")
    text = lena.get(SCOPE).text
    assert "the lead says what the scope must give" in text
    assert "no serial is recorded in this engine" in text
    ask(lena)
    text = lena.get(SCOPE).text
    assert "needed first" in text and "Alternatives" not in text


def test_from_the_wish_to_the_signed_quote(staffed: FilledShop, browser_of: Callable[[str], Browser]) -> None:
    fit_parts(staffed)
    lena = browser_of("lena")
    ask(lena, must_open="hot_section")
    text = lena.get(SCOPE).text
    assert "Alternatives" in text and "Gives up" in text and "No forecast in this visit" in text
    assert "<svg" in text and "P80" in text
    one = f"{SCOPE}/alternative/1"
    assert "Promised on" in lena.get(one).text
    assert lena.send(one, one, password="wrong").status_code != 303
    assert lena.send(one, one, password=PASSWORD).status_code == 303
    (entry,) = staffed.records.current(ScopeChosen, visit="W100")
    assert entry.signature is not None and entry.signature.person == "lena"
    quote = lena.get(f"{SCOPE}/quote").text
    assert "Not in this quote" in quote and entry.digest in quote
    after = lena.get(SCOPE).text
    assert "Cards to issue" in after and "Hot section: teardown" in after
    issued = lena.send(SCOPE, "/visit/W100/cards", form="issue-teardown_hot_section",
                       card="teardown_hot_section", because="work scope signed")  # fmt: skip
    assert issued.status_code == 303
    assert len(staffed.records.current(PartNeeded, visit="W100")) == sum(
        x.kind in ("replace", "exchange") for x in entry.body.chosen.lines
    )


def test_who_is_not_the_lead_looks_and_does_not_sign(
    staffed: FilledShop, browser_of: Callable[[str], Browser]
) -> None:
    fit_parts(staffed)
    ask(browser_of("lena"))
    ines = browser_of("ines")
    text = ines.get(f"{SCOPE}/alternative/1").text
    assert "Signed by the lead" in text and 'type="password"' not in text


def test_coming_visits(staffed: FilledShop, browser_of: Callable[[str], Browser]) -> None:
    fit_parts(staffed)
    text = browser_of("lena").get(f"{SCOPE}/future").text
    assert "What limits alone force" in text


@pytest.mark.parametrize("page", ["quote", "alternative/3", "alternative/0"])
def test_pages_that_are_not_there_yet(browser_of: Callable[[str], Browser], page: str) -> None:
    assert browser_of("lena").get(f"{SCOPE}/{page}").status_code == 404


def test_own_figures(browser_of: Callable[[str], Browser]) -> None:
    lena = browser_of("lena")
    text = lena.get("/figures").text
    assert "Own figures" in text and "Two rejected runs are needed" in text
    table = lena.get("/figures/lives.csv")
    assert table.headers["content-type"].startswith("text/csv") and table.text.startswith("part,cause")
    assert lena.get("/figures/curves.csv").text.startswith("part,hours")


@pytest.mark.parametrize(
    "typed",
    [{"least_life_h": "-5"}, {"least_life_h": "many"}, {"begin_on": "2020-01-01"}, {"must_open": "wing"}],
)
def test_what_cannot_be_is_told_beside_the_form(
    browser_of: Callable[[str], Browser], typed: dict[str, str]
) -> None:
    lena = browser_of("lena")
    answer = lena.send(SCOPE, f"{SCOPE}/asked", **({"begin_on": "2026-05-05", "least_life_h": "600"} | typed))
    assert answer.status_code == 422
