"""`spoolwright person`: people at set-up, before anybody can sign in."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from spoolwright.cli.shop_place import HERE, DatabaseUrl, ShopFolder, opened

if TYPE_CHECKING:
    from spoolwright.crafts.visit.people import Role

app = typer.Typer(no_args_is_help=True, help="Add people, authorise them, set passwords: the shop's set-up.")

ADD_EPILOG = """\b
Example; the password is asked for, or read from a pipe:
  spoolwright person add ada --name "Ada Lund" --role lead --role builder --shop shop/"""
AUTHORISE_EPILOG = """\b
Example:
  spoolwright person authorise ada --number FEW-12 --role "certifying staff" --until 2027-12-31"""
PASSWORD_EPILOG = """\b
Example:
  spoolwright person password ada --shop shop/"""

Login = Annotated[str, typer.Argument(metavar="LOGIN", help="Small letters, digits, dot, dash.")]


@app.command("add", epilog=ADD_EPILOG)
def add(
    login: Login,
    name: Annotated[str, typer.Option(help="Name as it stands under signatures.")],
    role: Annotated[list[str], typer.Option(help="What the person is in the shop; may stand several times.")],
    certificate: Annotated[
        str, typer.Option(help="Licence or certificate, if it stands under signatures.")
    ] = "",
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
) -> None:
    """Add a person, or change name and roles; makes the shop where there is none."""
    from spoolwright.crafts.visit.people import PersonKnown

    roles = tuple(_role(r) for r in role)
    with opened(shop, database, make=True) as known:
        given = "" if known.people.has_password(login) else _asked(login)
        person = PersonKnown(login=login, name=name, roles=roles, certificate=certificate)
        known.people.add(person, at=datetime.now(UTC))
        if given:
            known.people.set_password(login, given)
    typer.echo(f"{name} is {', '.join(roles)}.")


@app.command("authorise", epilog=AUTHORISE_EPILOG)
def authorise(
    login: Login,
    number: Annotated[str, typer.Option(help="Number of the authorisation.")],
    role: Annotated[str, typer.Option(help="The role it lets the person act in.")],
    until: Annotated[datetime, typer.Option(formats=["%Y-%m-%d"], help="Last day on which it holds.")],
    covers: Annotated[str, typer.Option(help="What it covers.")] = "all",
    rests_on: Annotated[str, typer.Option(help="Training, vision test, approval it rests on.")] = "",
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
) -> None:
    """Record an authorisation with its last day."""
    from spoolwright.crafts.visit.people import AuthorisationGiven

    given = AuthorisationGiven(
        login=login,
        number=number,
        role=_role(role),
        covers=covers,
        rests_on=rests_on,
        expires_on=until.date(),
    )
    with opened(shop, database) as known:
        known.people.authorise(given, at=datetime.now(UTC))
    typer.echo(f"{login} may act as {given.role} until {given.expires_on} ({number}).")


@app.command("password", epilog=PASSWORD_EPILOG)
def password(login: Login, shop: ShopFolder = HERE, database: DatabaseUrl = None) -> None:
    """Set a person's password; sessions that are open end."""
    with opened(shop, database) as known:
        known.people.set_password(login, _asked(login))
    typer.echo(f"The password of {login} is set.")


def _asked(login: str) -> str:
    """The password as typed twice, or the first line of a pipe; refused before anything is recorded."""
    from spoolwright.store.secrets import check_acceptable

    given = _typed(login) if sys.stdin.isatty() else sys.stdin.readline().rstrip("\r\n")
    check_acceptable(login, given)
    return given


def _typed(login: str) -> str:
    return str(typer.prompt(f"Password of {login}", hide_input=True, confirmation_prompt=True))


def _role(word: str) -> Role:
    from spoolwright.crafts.visit.people import Role

    by_word = {r.value.casefold(): r for r in Role} | {r.name.casefold(): r for r in Role}
    found = by_word.get(word.strip().casefold())
    if found is None:
        raise typer.BadParameter(f"'{word}' is no role. Roles: {', '.join(r.value for r in Role)}.")
    return found
