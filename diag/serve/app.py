"""Which address gives which page, and what a form does. Each request waits for the job's own thread for a moment only;
what takes longer is answered by a page that asks again by itself.
"""

from __future__ import annotations

import asyncio
import hmac
import secrets
from collections.abc import Awaitable, Callable, Collection
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import TypeVar

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from diag.errors import DiagError
from diag.serve.acts import Done, Form, act
from diag.serve.doors import Doors, form_token, new_session
from diag.serve.forms import FormError, read_form
from diag.serve.guard import Guard
from diag.serve.held import Held
from diag.serve.pages import page, plain_page, static_file
from diag.serve.papers import FORMS, finished, start_paper
from diag.serve.shelf import Shelf
from diag.serve.views import MissingError, View, view_of
from diag.talk.conversation import Conversation
from diag.talk.opening import INSTRUMENTS
from diag.texts import t

__all__ = ["ENTRANCE", "make_app"]

T = TypeVar("T")
ENTRANCE = "/in"
"""Where a key is brought."""
_MOMENT_S = 2.5
"""So long a request waits before it is answered by a page that asks again."""
_NOT_IN = t(
    "This device was not let in. The program shows an address with a key where it runs; each key "
    "is for one device. Press Enter there for a new one."
)


class NotYetError(Exception):
    """It takes longer than a moment."""


def make_app(shelf: Shelf, hosts: Collection[str], cookie: str, doors: Doors | None = None) -> ASGIApp:
    """The pages. `hosts`: allowed Host headers; `cookie`: its name; `doors`: who may come in, None for anyone who
    reaches this machine's own address."""
    site = _Site(shelf, cookie, doors)
    routes = [
        Route("/", site.guarded(site.first), methods=["GET"]),
        Route(ENTRANCE, site.enter, methods=["GET"]),
        Route("/static/{name}", site.static, methods=["GET"]),
        Route("/begin", site.guarded(site.begin), methods=["POST"]),
        Route("/job/{job}", site.guarded(site.job), methods=["GET", "POST"]),
        Route("/job/{job}/log/{form}", site.guarded(site.paper), methods=["GET"]),
        Route("/job/{job}/{page}", site.guarded(site.job), methods=["GET", "POST"]),
        Route("/job/{job}/{page}/{arg}", site.guarded(site.job), methods=["GET", "POST"]),
    ]
    app = Starlette(routes=routes, exception_handlers={HTTPException: _refused, Exception: _broken})
    return Guard(app, hosts, plain_page)


async def _refused(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    words = {404: t("There is no such page."), 405: t("That page takes no form.")}
    return plain_page(status, words.get(status, "That is not possible here."))


def _wrong(error: str) -> str:
    return t(
        "Something went wrong in the program ({error}). What was answered so far is kept. Go on from the list of jobs.",
        error=error,
    )


async def _broken(request: Request, error: Exception) -> Response:
    return plain_page(500, _wrong(type(error).__name__))


Handler = Callable[[Request], Awaitable[Response]]


class _Site:
    def __init__(self, shelf: Shelf, cookie: str, doors: Doors | None) -> None:
        self._shelf, self._cookie, self._doors = shelf, cookie, doors

    # ------------------------------------------------------------ who comes in

    def guarded(self, handler: Handler) -> Handler:
        """Only for devices that were let in; a form only with the token of its session. Errors become pages."""

        async def checked(request: Request) -> Response:
            session = request.cookies.get(self._cookie, "")
            if self._doors is not None and not self._doors.knows(session):
                return plain_page(403, _NOT_IN, t("Not let in"), "")
            fresh = not 16 <= len(session) <= 64
            request.state.session = new_session() if fresh else session
            try:
                if request.method == "POST":
                    request.state.form = await read_form(request)
                    token = request.state.form.pop("token", "")
                    if fresh or not hmac.compare_digest(token.encode(), form_token(session).encode()):
                        raise FormError(
                            403, t("This form is not of this device's pages. Nothing was changed; load it again.")
                        )
                answer = await handler(request)
            except FormError as error:
                answer = plain_page(error.status, str(error), back=_back(request))
            except MissingError:
                answer = plain_page(404, t("There is no such page of this job now."), back=_back(request))
            except DiagError as error:
                answer = plain_page(500 if error.exit_code == 1 else 400, str(error), back=_back(request))
            except Exception as error:  # no traceback reaches anybody; what is on the disk stays there
                answer = plain_page(500, _wrong(f"{type(error).__name__}: {error}"), back=_back(request))
            if fresh and self._doors is None:
                self._remember(answer, request.state.session)
            return answer

        return checked

    def _remember(self, answer: Response, session: str) -> None:
        answer.set_cookie(self._cookie, session, max_age=12 * 3600, httponly=True, samesite="strict", path="/")

    async def enter(self, request: Request) -> Response:
        """A device brings the key: it is let in, and the key is spent."""
        if self._doors is None:
            return RedirectResponse("/", 303)
        if self._doors.knows(request.cookies.get(self._cookie, "")):
            return page("entered.html.j2", title=t("Let in"), to=self._first_page())
        session = None if request.method == "HEAD" else self._doors.enter(request.query_params.get("key", "")[:100])
        if session is None:
            return plain_page(403, _NOT_IN, t("Not let in"), "")
        answer = page("entered.html.j2", title=t("Let in"), to=self._first_page())
        self._remember(answer, session)
        return answer

    def _first_page(self) -> str:
        job = self._shelf.options.job
        return f"/job/{job.stem}" if job is not None else "/"

    async def static(self, request: Request) -> Response:
        """Style and script, which say nothing of any job."""
        return static_file(request.path_params["name"]) or plain_page(404, t("There is no such page."))

    # ------------------------------------------------------------ all jobs

    async def first(self, request: Request) -> Response:
        """The jobs, and what a new one needs."""
        rows, vehicles = await run_in_threadpool(lambda: (self._shelf.rows(), self._shelf.vehicles()))
        have = self._shelf.options.have or INSTRUMENTS[:2]
        return page(
            "first.html.j2",
            title="Jobs",
            rows=rows,
            vehicles=vehicles,
            instruments=[(name, name.replace("-", " "), name in have) for name in INSTRUMENTS],
            once=secrets.token_urlsafe(12),
            token=form_token(request.state.session),
        )

    async def begin(self, request: Request) -> Response:
        """Begin a job on one of the vehicles of the list."""
        form: Form = request.state.form
        vehicles = await run_in_threadpool(self._shelf.vehicles)
        file: Path | None = next((row.file for row in vehicles if row.id == form.get("vehicle")), None)
        if file is None:
            raise FormError(400, t("Choose a vehicle of the list first. No job was begun."))
        have = tuple(name for name in INSTRUMENTS if form.get(f"have-{name}"))
        job = await run_in_threadpool(self._shelf.begin, file, have, form.get("once", secrets.token_urlsafe(12)))
        return RedirectResponse(f"/job/{job}", 303)

    # ------------------------------------------------------------ one job

    async def job(self, request: Request) -> Response:
        """A page of a job, or a form sent to it."""
        held = await run_in_threadpool(self._shelf.held, request.path_params["job"])
        if held is None:
            return plain_page(404, t("There is no such job on this machine."))
        form: Form = getattr(request.state, "form", {})
        if form.get("act") in ("close", "again"):
            await run_in_threadpool(self._shelf.put_back, held.id)
            return RedirectResponse("/" if form["act"] == "close" else f"/job/{held.id}", 303)
        if request.method == "POST" and held.in_use:  # it may be free by now
            held = await run_in_threadpool(self._shelf.reopened, held)
        try:
            if request.method == "POST":
                return await self._act(request, held, form)
            await _within(held.opening)
            view = await _within(held.run(partial(self._view, held, request)))
        except NotYetError:
            if request.method == "POST":  # it is done in its turn, and told on the page that comes then
                return RedirectResponse(f"/job/{held.id}", 303)
            query = f"?{request.url.query}" if request.url.query else ""
            return self._working(held, f"{request.url.path}{query}")
        except DiagError as error:
            if held.failed is not error:
                raise
            return page(
                "closed.html.j2",
                409 if held.in_use else 500,
                title=t("In use elsewhere") if held.in_use else t("Not opened"),
                text=str(error),
                unsent=dict(form),
                here=request.url.path,
                job=held.id,
                token=form_token(request.state.session),
            )
        if not request.path_params.get("page"):  # only now somebody sees them: whoever stopped waiting did not
            held.notices.pop(form_token(request.state.session), None)
            held.messages = []
        return self._shown(request, view)

    def _working(self, held: Held, to: str = "") -> Response:
        share = round(100 * held.share) if not held.opening.done() else 0
        return page("working.html.j2", title=t("Working it out"), to=to or f"/job/{held.id}", share=share)

    async def _act(self, request: Request, held: Held, form: Form) -> Response:
        device = form_token(request.state.session)

        def doing(conversation: Conversation) -> Done:
            done = act(held, conversation, form, device)
            if done.notice:
                held.notices[device] = done.notice  # also for whoever has stopped waiting by then
            return done

        done = await _within(held.run(doing))
        if done.refused:
            held.notices.pop(device, None)
            view = await _within(held.run(partial(self._view, held, request, notice=done.notice, form=form)))
            return self._shown(request, view, 422)
        return RedirectResponse(f"/job/{held.id}{done.where}", 303)

    def _view(
        self, held: Held, request: Request, conversation: Conversation, notice: str = "", form: Form | None = None
    ) -> View:
        name, arg = request.path_params.get("page", ""), request.path_params.get("arg", "")
        if name == "cause" and not arg:
            arg = request.query_params.get("name", "")[:200]
        device = form_token(request.state.session)
        if not name and not notice:
            notice = held.notices.get(device, "")
        return view_of(held, conversation, name, arg, device, notice, form)

    def _shown(self, request: Request, view: View, status: int = 200) -> Response:
        template, inside = view
        return page(template, status, token=form_token(request.state.session), here=request.url.path, **inside)

    async def paper(self, request: Request) -> Response:
        """The log of a job in one of its forms; made in the job's thread, shown when it is there."""
        held = await run_in_threadpool(self._shelf.held, request.path_params["job"])
        form = request.path_params["form"]
        if held is None or form not in FORMS:
            return plain_page(404, t("There is no such page."), back=_back(request))
        try:
            await _within(held.opening)
            made = await _within(await _within(held.run(lambda conversation: start_paper(held, conversation, form))))
        except NotYetError:
            return self._working(held, request.url.path)
        return finished(held.id, form, made)


def _back(request: Request) -> str:
    job = request.path_params.get("job")
    return f"/job/{job}" if job and job.replace("-", "").replace("_", "").replace(".", "").isalnum() else "/"


async def _within(future: Future[T]) -> T:
    """What comes of a future within a moment. Raises NotYetError; the work goes on all the same."""
    waiting = asyncio.wrap_future(future)
    done, _ = await asyncio.wait([waiting], timeout=_MOMENT_S)
    if not done:
        waiting.add_done_callback(lambda late: late.cancelled() or late.exception())  # who asks again is told
        raise NotYetError
    return waiting.result()
