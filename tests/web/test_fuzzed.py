"""Whatever is sent, no page breaks: cases by schemathesis from the OpenAPI description."""

from __future__ import annotations

import copy
import inspect
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest
import schemathesis
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.shop import open_shop
from spoolwright.web.app import create_app
from spoolwright.web.form import FRAME
from spoolwright.web.routes import ROUTERS
from spoolwright.web.settings import Settings
from web.filled import engines
from web.looking import VISIT, page_addresses
from web.staff import PASSWORD, Browser

FEW = hypothesis.settings(
    max_examples=60 if "SPOOLWRIGHT_FUZZ" in os.environ else 5,
    deadline=None,
    derandomize="SPOOLWRIGHT_FUZZ" not in os.environ,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
FORM = re.compile(r'<form method="post" action="([^"]+)".*?</form>', re.S)
READ = re.compile(r'form\.\w+\(\s*(?:desk, )?"(\w+)"')
NAME = re.compile(r'<(?:input|select|textarea|button)\b[^>]*\bname="([^"]+)"')


@pytest.fixture(scope="module")
def shop(prepared: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FilledShop]:
    """A filled shop of this test's own: what is sent is recorded in it."""
    folder = tmp_path_factory.mktemp("fuzzed") / "shop"
    shutil.copytree(prepared, folder)
    opened = FilledShop(open_shop(None, folder))
    engines(opened)
    yield opened
    opened.shop.close()


@pytest.fixture(scope="module")
def client(shop: FilledShop) -> Iterator[TestClient]:
    """The lead's client; a fault inside is an answer with status 500, as it would be for a person."""
    app = create_app(shop.shop, Settings(clock=lambda: NOON))
    with TestClient(app, headers={"Origin": "http://testserver"}, raise_server_exceptions=False) as opened:
        answer = Browser(opened).send("/sign-in", "/sign-in", login="lena", password=PASSWORD)
        assert answer.status_code == 303
        yield opened


def described(client: TestClient, shop: FilledShop) -> dict[str, Any]:
    """The application's OpenAPI, each form with the fields that the pages show."""
    schema = copy.deepcopy(client.app.openapi())  # type: ignore[attr-defined]
    fields: dict[str, set[str]] = {}
    for address in page_addresses(shop):
        for action, form in ((m[1], m[0]) for m in FORM.finditer(client.get(address).text)):
            fields.setdefault(action.split("?")[0], set()).update(NAME.findall(form))
    for path, ways in schema["paths"].items():
        pattern = re.compile(re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(path)) + "$")
        names = set().union(*(v for k, v in fields.items() if pattern.match(k)))
        if "post" in ways:
            text = {"type": "string", "maxLength": 40}
            known = sorted((names | read_by(path)) - FRAME)
            body = {"type": "object", "properties": dict.fromkeys(known, text)}
            content = {"application/x-www-form-urlencoded": {"schema": body}}
            ways["post"]["requestBody"] = {"content": content, "required": True}
    return schema


def read_by(path: str) -> set[str]:
    """The fields that the module behind an address reads from a form, shown just now or not."""
    for route in (r for router in ROUTERS for r in router.routes if isinstance(r, APIRoute)):
        if route.path == path:
            source = inspect.getsource(inspect.getmodule(route.endpoint))  # type: ignore[arg-type]
            return set(READ.findall(source))
    return set()


def test_no_answer_is_a_fault(client: TestClient, shop: FilledShop) -> None:
    schema = schemathesis.openapi.from_dict(described(client, shop))
    token = Browser(client).hidden(f"/visit/{VISIT}/notes", f"/visit/{VISIT}/notes")
    faults: set[str] = set()
    seen: dict[int, int] = {}

    def send(case: Any) -> None:
        here = case.path_parameters | ({"number": VISIT} if "number" in case.path_parameters else {})
        path = case.path
        for name, value in here.items():
            path = path.replace("{" + name + "}", str(value).replace("/", "%2F").replace("?", "%3F") or "x")
        body = dict(case.body) if isinstance(case.body, dict) else {}
        data = body | {"form_token": token["form_token"], "here": "/", "form_key": token["form_key"]}
        answer = client.request(
            case.method,
            path,
            params=case.query or None,
            data=data if case.method == "POST" else None,
            follow_redirects=False,
        )
        seen[answer.status_code] = seen.get(answer.status_code, 0) + 1
        if answer.status_code >= 500:
            faults.add(f"{case.method} {path} {case.query} {body}"[:300])

    operations = [o.ok() for o in schema.get_all_operations()]
    assert len(operations) > 20
    for operation in operations:
        if operation.path in ("/sign-out", "/sign-in", "/password", "/people/{login}/password"):
            continue
        FEW(hypothesis.given(case=operation.as_strategy())(send))()
    assert faults == set()
    assert {200, 303, 404, 422} <= seen.keys()
