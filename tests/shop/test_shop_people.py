"""People: passwords, sessions, the limit on wrong passwords; on each database."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.visit.people import AuthorisationGiven, NotEntitledError, PersonKnown, Role
from spoolwright.errors import InputError
from spoolwright.store.people import WrongPasswordError
from spoolwright.store.sessions import TooManyTriesError
from spoolwright.store.tables import PERSON_SECRET, SESSION

WORDS = "correct horse battery"


@pytest.fixture
def ada(shop: FilledShop) -> FilledShop:
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    shop.people.set_password("ada", WORDS)
    return shop


def test_only_the_right_password_of_the_right_person_is_right(ada: FilledShop) -> None:
    ada.hire("ben", "Ben Tarn", Role.INSPECTOR)
    assert ada.people.check("ada", WORDS, source="t", now=NOON).login == "ada"
    for login, given in (("ada", WORDS[:-1]), ("ben", WORDS), ("eve", WORDS), ("ada", "")):
        with pytest.raises(WrongPasswordError, match="login or password is wrong"):
            ada.people.check(login, given, source="t", now=NOON)


def test_the_database_knows_neither_password_nor_session(ada: FilledShop) -> None:
    name = ada.people.sign_in("ada", WORDS, source="t", now=NOON)
    with ada.shop.database.read() as connection:
        secret = connection.execute(select(PERSON_SECRET)).one()
        session = connection.execute(select(SESSION)).one()
    assert secret.hash.startswith("$argon2id$")
    assert WORDS not in secret.hash
    assert name not in str(session)
    assert len(name) >= 43  # 32 random bytes


def test_a_session_ends_by_time_idleness_sign_out_and_a_new_password(ada: FilledShop) -> None:
    people, hour = ada.people, timedelta(hours=1)
    name = people.sign_in("ada", WORDS, source="t", now=NOON)
    assert people.of_session(name + "x", NOON) is None
    for n in range(1, 14):
        person = people.of_session(name, NOON + n * hour)
        assert person is not None, n
        assert person.name == "Ada Lund"
    assert people.of_session(name, NOON + 14 * hour) is None
    idle = people.sign_in("ada", WORDS, source="t", now=NOON)
    assert people.of_session(idle, NOON + 5 * hour) is None
    out = people.sign_in("ada", WORDS, source="t", now=NOON)
    people.sign_out(out)
    assert people.of_session(out, NOON) is None
    old = people.sign_in("ada", WORDS, source="t", now=NOON)
    people.set_password("ada", "another four words")
    assert people.of_session(old, NOON) is None


def test_after_many_wrong_passwords_the_right_one_waits_too(ada: FilledShop) -> None:
    for _ in range(8):
        with pytest.raises(WrongPasswordError):
            ada.people.check("ada", "wrong wrong", source="t", now=NOON)
    with pytest.raises(TooManyTriesError, match="too many wrong passwords"):
        ada.people.check("ada", WORDS, source="elsewhere", now=NOON)
    later = NOON + timedelta(minutes=11)
    assert ada.people.check("ada", WORDS, source="t", now=later).login == "ada"


def test_who_has_left_can_neither_sign_in_nor_act(ada: FilledShop) -> None:
    name = ada.people.sign_in("ada", WORDS, source="t", now=NOON)
    left = PersonKnown(login="ada", name="Ada Lund", roles=(Role.BUILDER,), left_on=date(2026, 5, 4))
    ada.people.add(left, by="lead", at=NOON, reason="retired")
    assert ada.people.of_session(name, NOON) is None
    with pytest.raises(NotEntitledError, match="Ada Lund left on 2026-05-04"):
        ada.people.sign_in("ada", WORDS, source="t", now=NOON)
    with pytest.raises(NotEntitledError, match="left on"):
        ada.desk("ada")


def test_a_withdrawn_authorisation_entitles_to_nothing(ada: FilledShop) -> None:
    assert ada.desk("ada").entitled(Role.BUILDER) == "FEW-ada-1"
    held = ada.people.acting("ada", NOON.date()).authorisations[0]
    withdrawn = held.model_copy(update={"withdrawn": True})
    ada.people.authorise(withdrawn, by="lead", at=NOON, reason="vision test overdue")
    with pytest.raises(NotEntitledError, match="no authorisation that is valid today"):
        ada.desk("ada").entitled(Role.BUILDER)


@pytest.mark.parametrize("login", ["", "Ada", "a b", "set-up", "x" * 41, "a/b"])
def test_what_is_no_login_is_refused(shop: FilledShop, login: str) -> None:
    with pytest.raises(InputError, match="cannot be a login"):
        shop.people.add(PersonKnown(login=login, name="X", roles=()), at=NOON)


def test_bad_passwords_and_unknown_people_are_refused(ada: FilledShop) -> None:
    for given, told in (("short", "10 to 200 characters"), ("x" * 201, "10 to 200 characters")):
        with pytest.raises(InputError, match=told):
            ada.people.set_password("ada", given)
    with pytest.raises(InputError, match="nobody here has the login 'eve'"):
        ada.people.set_password("eve", WORDS)
    given = AuthorisationGiven(login="eve", number="1", role=Role.LEAD, expires_on=date(2027, 1, 1))
    with pytest.raises(InputError, match="nobody here"):
        ada.people.authorise(given, at=NOON)
    assert ada.people.check("ada", WORDS, source="t", now=NOON).login == "ada"
