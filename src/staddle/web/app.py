"""Addresses to sheets: one GET a page, one POST an act, each at an address that stays. Nothing is decided in here."""

from collections.abc import AsyncIterator, Mapping
from importlib.resources import files
from typing import Final
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Scope

from staddle.jobs.draft import is_begun
from staddle.kernel import Fault, InputRefused, OurFault, StaddleError
from staddle.web.catalogue import all_sheets, find_sheet
from staddle.web.guard import Guard, Keys
from staddle.web.pages import document, fault_page, page, status_of
from staddle.web.sheet import Ask, File, Moved, Sheet, Shown, Upload
from staddle.web.workplace import Workplace

__all__ = ["make_app"]

_PAPER: Final = {
    "sheet.css": "text/css; charset=utf-8",
    "sheet.js": "text/javascript; charset=utf-8",
    "mark.svg": "image/svg+xml",
}
_FILES: Final = {name: files("staddle.web.paper").joinpath(name).read_bytes() for name in _PAPER}
_MOST_FIELDS: Final = 500
_BUNDLE_S: Final = (
    0.2  # a delivery tells of every block that it wrote; five times a second is enough to look at
)
_HEARTBEAT_S: Final = 15.0  # so that a connection that nobody reads is noticed; common practice, no source


def make_app(place: Workplace, keys: Keys) -> ASGIApp:
    """The pages of one job behind their guard, as an ASGI application."""

    async def first(request: Request) -> Response:
        name = all_sheets()[0].name if is_begun(place.folder) else "begin"
        return RedirectResponse(f"/{name}", status_code=303)

    async def shown(request: Request) -> Response:
        name, as_json = _name(request)
        sheet = _sheet(name)
        ask = Ask(place=place, now=place.clock.now(), query=dict(request.query_params))
        return await run_in_threadpool(_view, sheet, ask, as_json)

    async def done(request: Request) -> Response:
        sheet = _sheet(request.path_params["name"])
        act = sheet.acts.get(request.path_params["act"])
        if act is None:
            raise HTTPException(404)
        fields, uploads = await _form(request)
        ask = Ask(
            place=place,
            now=place.clock.now(),
            query=dict(request.query_params),
            form=fields,
            files=uploads,
        )
        return await run_in_threadpool(_act, sheet, request.path_params["act"], ask, _wants_json(request))

    async def part(request: Request) -> Response:
        sheet = _sheet(request.path_params["name"])
        make = sheet.parts.get(request.path_params["part"])
        if make is None:
            raise HTTPException(404)
        ask = Ask(place=place, now=place.clock.now(), query=dict(request.query_params))
        _refuse_unbegun(sheet, ask)
        return _file(await run_in_threadpool(make, ask))

    async def live(request: Request) -> Response:
        if not _sheet(request.path_params["name"]).is_live:
            raise HTTPException(404)
        return StreamingResponse(_changes(place, request), media_type="text/event-stream")

    async def paper(request: Request) -> Response:
        name = request.path_params["file"]
        if name not in _FILES:
            raise HTTPException(404)
        return Response(_FILES[name], media_type=_PAPER[name])

    async def not_there(request: Request, exc: Exception) -> Response:
        status = exc.status_code if isinstance(exc, HTTPException) else 500
        fault = Fault(
            what=f"there is no page at {request.url.path}"
            if status == 404
            else f"{request.method} is not for {request.url.path}",
            where=request.url.path,
            mend="the sheets are " + ", ".join(f"/{sheet.name}" for sheet in all_sheets()),
        )
        return _told(request.scope, status, (fault,), kind="InputRefused", with_sheets=True)

    async def refused(request: Request, exc: Exception) -> Response:
        if not isinstance(exc, StaddleError):
            exc = OurFault.one(f"{type(exc).__name__}: {exc}", where=request.url.path, mend="report this")
        return _told(request.scope, status_of(exc), exc.faults, kind=type(exc).__name__, with_sheets=True)

    app = Starlette(
        routes=[
            Route("/", first),
            Route("/paper/{file}", paper),
            Route("/{name}", shown),
            Route("/{name}/live", live),
            Route("/{name}/{part}", part, methods=["GET"]),
            Route("/{name}/{act}", done, methods=["POST"]),
        ],
        exception_handlers={HTTPException: not_there, StaddleError: refused, Exception: refused},
    )
    return Guard(app, keys, _refusal)


def _name(request: Request) -> tuple[str, bool]:
    name = request.path_params["name"]
    return name.removesuffix(".json"), name.endswith(".json") or _wants_json(request)


def _wants_json(request: Request) -> bool:
    return _scope_wants_json(request.scope)


def _scope_wants_json(scope: Scope) -> bool:
    accepts = dict(scope["headers"]).get(b"accept", b"").decode("latin-1")
    return accepts.startswith("application/json") or str(scope["path"]).endswith(".json")


def _sheet(name: str) -> Sheet:
    sheet = find_sheet(name)
    if sheet is None:
        raise HTTPException(404)
    return sheet


def _refuse_unbegun(sheet: Sheet, ask: Ask) -> None:
    """Raises: InputRefused: the sheet needs a design, and there is none yet."""
    if not sheet.is_before_begin and not is_begun(ask.place.folder):
        raise InputRefused.one(
            "no job was begun in this folder yet",
            where=str(ask.place.folder.root),
            why="this sheet shows what a design says",
            mend="begin it on the sheet Begin, /begin",
        )


def _view(sheet: Sheet, ask: Ask, as_json: bool) -> Response:
    try:
        _refuse_unbegun(sheet, ask)
        shown = sheet.view(ask)
    except StaddleError as exc:
        return _faults(sheet, ask, exc, None, as_json)
    return _shown(sheet, ask, shown, as_json)


def _act(sheet: Sheet, act: str, ask: Ask, as_json: bool) -> Response:
    try:
        _refuse_unbegun(sheet, ask)
        came = sheet.acts[act](ask)
    except StaddleError as exc:
        try:
            _refuse_unbegun(sheet, ask)
            before: Shown | None = sheet.view(Ask(place=ask.place, now=ask.now, query=ask.query))
        except StaddleError:
            before = None
        return _faults(sheet, ask, exc, before, as_json)
    if isinstance(came, Moved):
        if as_json:
            return _json(document(sheet.name, "done", {"to": came.to}), 200)
        return RedirectResponse(came.to, status_code=303)
    return _shown(sheet, ask, came, as_json)


def _shown(sheet: Sheet, ask: Ask, shown: Shown, as_json: bool) -> Response:
    if as_json:
        return _json(document(sheet.name, "told", shown.data), shown.status)
    text = page(ask.place.folder, sheet, shown.data, ask.now, note=shown.note, secrets=shown.secrets)
    return Response(text, status_code=shown.status, media_type="text/html")


def _faults(sheet: Sheet, ask: Ask, exc: StaddleError, before: Shown | None, as_json: bool) -> Response:
    """What was asked for was not done: the sheet as it was with the faults on top, or the faults alone."""
    status = status_of(exc)
    if as_json:
        return _json(
            document(sheet.name, "error", {"kind": type(exc).__name__, "faults": exc.faults}), status
        )
    data = None if before is None else before.data
    text = page(ask.place.folder, sheet, data, ask.now, faults=exc.faults, typed=ask.form)
    return Response(text, status_code=status, media_type="text/html")


def _file(file: File) -> Response:
    headers = {}
    if file.policy:
        headers["content-security-policy"] = file.policy
    if file.name:
        headers["content-disposition"] = f"attachment; filename*=UTF-8''{quote(file.name)}"  # RFC 6266 §4.3
    return Response(file.content, media_type=file.media_type, headers=headers)


def _json(text: str, status: int) -> Response:
    return Response(text, status_code=status, media_type="application/json")


def _told(scope: Scope, status: int, faults: tuple[Fault, ...], *, kind: str, with_sheets: bool) -> Response:
    if _scope_wants_json(scope):
        return _json(document("serve", "error", {"kind": kind, "faults": faults}), status)
    text = fault_page(faults, title="Not done" if with_sheets else "Not let in", with_sheets=with_sheets)
    return Response(text, status_code=status, media_type="text/html")


def _refusal(scope: Scope, status: int, fault: Fault) -> ASGIApp:
    return _told(scope, status, (fault,), kind="NotAllowed", with_sheets=False)


async def _form(request: Request) -> tuple[Mapping[str, str], Mapping[str, Upload]]:
    fields: dict[str, str] = {}
    uploads: dict[str, Upload] = {}
    try:
        async with request.form(max_files=10, max_fields=_MOST_FIELDS) as form:
            for key, value in form.multi_items():
                if isinstance(value, UploadFile):
                    if value.filename:
                        uploads[key] = Upload(name=value.filename, content=await value.read())
                else:
                    fields[key] = value.replace("\r\n", "\n")  # HTML §4.10.21.8 sends line breaks as CRLF
    except ClientDisconnect as exc:
        raise HTTPException(413) from exc
    return fields, uploads


async def _changes(place: Workplace, request: Request) -> AsyncIterator[bytes]:
    """Server-sent events (HTML §9.2): the desk's version when it has changed, and a comment now and then."""
    version = place.desk.version
    yield f"retry: 1000\ndata: {version}\n\n".encode()
    while not place.is_closing and not await request.is_disconnected():
        later = await place.desk.wait_beyond(version, timeout_s=_HEARTBEAT_S)
        yield b": here\n\n" if later == version else f"data: {later}\n\n".encode()
        version = later
        await place.clock.sleep(_BUNDLE_S)
