"""Signing in and out, and the light of the place where the page is read."""

from __future__ import annotations

import secrets

from fastapi import APIRouter, Depends
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.web.form import Form
from spoolwright.web.frame import COOKIE, form_of, frame_of, page, read_form, redirect, source_of
from spoolwright.web.guide import demonstration_of
from spoolwright.web.mishaps import local_address
from spoolwright.web.rendering import LIGHT_COOKIE, LIGHTS

router = APIRouter()
A_YEAR = 365 * 86_400


def _set_cookie(request: Request, response: Response, value: str) -> None:
    secure = frame_of(request).settings.secure_cookies
    response.set_cookie(COOKIE, value, httponly=True, samesite="strict", secure=secure, path="/")


@router.get("/sign-in")
def sign_in(request: Request, next: str = "/") -> Response:
    """The first page of somebody who is not signed in."""
    if not request.cookies.get(COOKIE):
        request.state.new_cookie = secrets.token_urlsafe(32)
    told = demonstration_of(frame_of(request).shop)
    response = page(request, "frame/sign_in.html", next=local_address(next) or "/", demonstration=told)
    if not request.cookies.get(COOKIE):
        _set_cookie(request, response, request.state.new_cookie)
    return response


@router.post("/sign-in", dependencies=[Depends(read_form)])
def begin_session(request: Request) -> Response:
    """Begin a session; it always gets a new random name."""
    form: Form = form_of(request)
    frame = frame_of(request)
    login = form.text("login", "your login")
    password = form.values.get("password", ("",))[0]
    name = frame.shop.people.sign_in(login, password, source=source_of(request), now=frame.settings.clock())
    frame.shop.people.sign_out(request.cookies.get(COOKIE, ""))
    response = redirect(local_address(form.get("next")) or "/")
    _set_cookie(request, response, name)
    return response


@router.post("/sign-out", dependencies=[Depends(read_form)])
def end_session(request: Request) -> Response:
    """End the session."""
    frame_of(request).shop.people.sign_out(request.cookies.get(COOKIE, ""))
    response = redirect("/sign-in")
    response.delete_cookie(COOKIE, path="/")
    return response


@router.post("/light", dependencies=[Depends(read_form)])
def choose_light(request: Request) -> Response:
    """Choose the light condition; it is this device's, not the person's."""
    form = form_of(request)
    chosen = form.get("light")
    response = redirect(local_address(form.get("here")) or "/")
    response.set_cookie(
        LIGHT_COOKIE, chosen if chosen in LIGHTS else "", max_age=A_YEAR, samesite="strict", httponly=True
    )
    return response
