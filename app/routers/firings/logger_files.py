"""The pages of a logger, be it a stand's or an altimeter's: a file sent, looked at, read as told, kept, thrown away.

A kind of logger is a `LoggerPages`; `add_pages` puts its pages on a router. What it draws of what was read is its own.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import uploads, web
from app.calc.base.errors import CalcError
from app.errors import BookError
from app.forms import Choice, Form, from_texts
from app.models import Firing
from app.models.base import FormIn
from app.models.logger_file import LayoutIn, LoggerFile
from app.page import Page
from app.routers.firings.curve_cards import with_choices
from app.routers.firings.logger_views import Beginning, Files, Offered, StopIn, UnderWayPage
from app.services.book import stored_files, workshop
from app.services.firings import firings, large_files, opened_files, stands
from app.services.firings.large_files import Reading, StillReading
from app.services.firings.logger_files import Logger
from app.services.firings.opened_files import Opened
from app.services.firings.stands import Proposal
from app.services.motors.builds import Built
from app.units import UnitSystem
from app.uploads import Sent
from app.web import Book, Forms, Typed

READ = "Read and kept. The file stays beside it."
READ_FIRST = "It is being read. Look at its figures, then save."

Taken = Annotated[int | None, Query(alias="as")]


@dataclass(frozen=True)
class LoggerPages:
    """What one set of pages is about.

    Attributes
    ----------
    logger : Logger
        Its files and readings.
    slug : str
        The last part of the address.
    upload, reading : type
        The forms that a file is sent with, and that tells how it is read.
    choices : mapping
        Choices of the reading form.
    columns : tuple of str
        Its fields that name a column.
    keep, take_over : callable
        Services: read a file and keep that; make its figures the firing's own.
    taken_over : tuple of str
        The identifier of that form, the address below the firing where it leads, and what is said there.
    notice : callable
        What is said when the reading of a firing is kept.
    page, reading_page : callable
        The page of the files, and of reading one, with what was found.
    """

    logger: Logger[Any, Any, Any]
    slug: str
    upload: type[FormIn]
    reading: type[FormIn]
    choices: Mapping[str, list[Choice]]
    columns: tuple[str, ...]
    keep: Callable[[Session, Firing, Any, Any], object]
    take_over: Callable[[Session, Firing, int | None], object]
    taken_over: tuple[str, str, str]
    notice: Callable[[Firing], str]
    page: Callable[[Session, Firing, Built, Files, Forms], Page]
    reading_page: Callable[[Session, Firing, Built, Beginning, Offered, Form, Any], Page]

    def show(self, request: Request, session: Session, firing_id: int, failed: Form | None = None) -> Response:
        """What counts, what was sent, and the form to send a file."""
        firing = firings.get(session, firing_id)
        forms = Forms(request, session, failed)
        base = f"/firings/{firing_id}/{self.slug}"
        waiting = self.logger.unread(session, firing)
        files = Files(
            base,
            self.logger.has_none(firing),
            waiting,
            self.logger.readings(session, firing)[1:],
            forms.get("form", self.upload, base),
            {f.pk: forms.get(f"throw-{f.pk}", FormIn, f"{base}/{f.pk}/throw-away") for f in waiting},
            stored_files.lost_of(session, self.logger.files(session, firing)),
        )
        return web.render(
            request, session, self.page(session, firing, firings.its_motor(session, firing), files, forms)
        )

    def show_file(
        self,
        request: Request,
        session: Session,
        firing_id: int,
        file_id: int,
        form: Form | None,
        look: bool,
        taken: int | None = None,
        reading: str = "",
    ) -> Response:
        """How a file begins, what its columns probably are, and what it would give so.

        `taken` is the number of a stand's remembered reading that it opens with, 0 for none; `reading` the key of one
        that was begun aside.
        """
        firing = firings.get(session, firing_id)
        row = self.logger.file(session, firing, file_id)
        begun_aside = large_files.of(reading, row.sha256)
        if begun_aside is not None:
            aside, as_told = begun_aside
            if not aside.over.is_set():
                return self._under_way(request, session, firing, row, aside)
            form = web.blank(request, session, self.reading, initial=as_told)
            if aside.stopped:
                form.refuse(None, aside.fault)
        opened = self.logger.opened(session, row)
        offered = Offered()
        if form is None:
            texts = self.logger.read_last(session, firing, row) if taken is None else None
            if texts is None:
                proposals = self.logger.proposals(session, opened)
                begun = self.logger.begin(session, opened, proposals, taken)
                texts, offered = begun.texts, _offered(proposals, begun.taken)
            form = web.blank(request, session, self.reading, initial=texts)
        elif sheet := self._another_sheet(session, opened, form):
            offered, look = Offered(again=sheet), True
        head, numbered = beginning(opened, form)
        sheets: list[Choice] = [(name, name) for name in head.sheets]
        form.choices = {**self.choices, **form.choices, **dict.fromkeys(self.columns, numbered), "sheet": sheets}
        try:
            stopped = begun_aside is not None and begun_aside[0].stopped
            found = None if stopped else self._found(session, firing, row, opened, form, look)
        except StillReading as still:
            return web.redirect(self._aside(firing_id, file_id, still))
        begins = Beginning(f"/firings/{firing_id}/{self.slug}", row, head.rows, head.columns, bool(sheets))
        page = self.reading_page(session, firing, firings.its_motor(session, firing), begins, offered, form, found)
        return web.render(request, session, page, status=422 if look and form.errors and not form.asked else 200)

    def _found(self, session: Session, firing: Firing, row: LoggerFile, opened: Opened, form: Form, look: bool) -> Any:
        """What the file gives as the form stands; after a refused save too, where that can be said."""
        units: UnitSystem = workshop.get(session).units

        def preview(data: Any) -> Any:
            return self.logger.preview(session, firing, row, opened, data)

        if look:
            return web.answered(form, units, preview)
        again = Form(self.reading, form.id, form.action, dict(form.values), choices=form.choices, sure=dict(form.sure))
        with suppress(StillReading):
            return web.answered(again, units, preview)
        return None

    def _aside(self, firing_id: int, file_id: int, still: StillReading) -> str:
        return f"/firings/{firing_id}/{self.slug}/{file_id}?reading={still.reading.key}"

    def _under_way(
        self, request: Request, session: Session, firing: Firing, row: LoggerFile, reading: Reading
    ) -> Response:
        base = f"/firings/{firing.pk}/{self.slug}"
        stop = web.blank(request, session, StopIn, action=f"{base}/{row.pk}/stop", form_id="stop")
        stop.values["reading"] = [reading.key]
        built = firings.its_motor(session, firing)
        return web.render(request, session, UnderWayPage(built=built, file=row, base=base, reading=reading, stop=stop))

    def read_first(
        self, request: Request, session: Session, firing_id: int, file_id: int, form: Form
    ) -> Response | None:
        """Where a large file was not read so yet, it is read before anything is kept: the page of that."""
        firing = firings.get(session, firing_id)
        row = self.logger.file(session, firing, file_id)
        data = form.check(workshop.get(session).units) if row.size_bytes >= large_files.FROM_BYTES else None
        if not isinstance(data, LayoutIn):
            return None
        with suppress(BookError, CalcError):  # told by the save itself
            try:
                self.logger.preview(session, firing, row, self.logger.opened(session, row), data)
            except StillReading as still:
                return web.redirect(self._aside(firing_id, file_id, still), READ_FIRST)
        return None

    def turned_to_a_sheet(self, session: Session, firing_id: int, file_id: int, form: Form) -> bool:
        """Whether another sheet was chosen than the one that the columns are of, and it is of another shape."""
        if form.text("of_sheet") in ("", form.text("sheet")):
            return False
        row = self.logger.file(session, firings.get(session, firing_id), file_id)
        return _of_another_shape(self.logger.opened(session, row), form)

    def _another_sheet(self, session: Session, opened: Opened, form: Form) -> str:
        """Guess the columns anew where another sheet was chosen and is of another shape; the name of that sheet."""
        if not _of_another_shape(opened, form):
            return ""
        sheet = form.text("sheet")
        guess = self.logger.begin(session, opened, (), sheet=sheet).texts
        form.values |= {name: [text] for name, text in guess.items() if name != "of_stand"}
        return sheet


def _of_another_shape(opened: Opened, form: Form) -> bool:
    sheet, before = form.text("sheet"), form.text("of_sheet")
    known = sheet != before and {sheet, before} <= set(opened.sheets)
    return known and not stands.same_shape(opened.text(sheet), opened.text(before))


def _offered(proposals: list[Proposal], taken: Proposal | None) -> Offered:
    fitting = [one for one in proposals if not one.differs]
    others = [one for one in fitting if one is not taken]
    return Offered(taken, others, next((one for one in proposals if one.differs), None))


def add_pages(router: APIRouter, kind: LoggerPages) -> None:
    """Put the pages of a kind of logger on a router, below the address of a firing."""
    logger, base = kind.logger, f"/firings/{{firing_id}}/{kind.slug}"
    upload = Depends(uploads.up_to(logger.limit))

    @router.get(base)
    def page(request: Request, session: Book, firing_id: int) -> Response:
        return kind.show(request, session, firing_id)

    @router.post(base)
    def send(request: Request, firing_id: int, sent: Sent = upload) -> Response:
        def act(session: Session, data: Any) -> str:
            row = logger.take_in(session, firings.get(session, firing_id), data.file, sent.files.get("file", b""))
            return f"/firings/{firing_id}/{kind.slug}/{row.pk}"

        answer = web.submit_file(
            request,
            sent,
            kind.upload,
            act=act,
            page=lambda s, form: kind.show(request, s, firing_id, form),
            notice="The file is in the book as it came. Now say how to read it.",
            too_large=logger.too_large(),
        )
        return web.loaded_whole(request, answer)

    @router.post(f"{base}/take-over")
    def take_over(request: Request, firing_id: int, typed: Typed) -> Response:
        form_id, leads, notice = kind.taken_over

        def act(session: Session, _data: FormIn) -> str:
            kind.take_over(session, firings.get(session, firing_id), web.version_of(typed))
            return f"/firings/{firing_id}{leads}"

        return web.submit(
            request,
            typed,
            FormIn,
            act=act,
            page=lambda s, form: kind.show(request, s, firing_id, form),
            form_id=form_id,
            notice=notice,
        )

    @router.get(f"{base}/{{file_id}}")
    def reading_page(
        request: Request, session: Book, firing_id: int, file_id: int, taken: Taken = None, reading: str = ""
    ) -> Response:
        return kind.show_file(request, session, firing_id, file_id, None, look=True, taken=taken, reading=reading)

    @router.post(f"{base}/{{file_id}}/stop")
    def stop(request: Request, firing_id: int, file_id: int, typed: Typed) -> Response:
        def act(session: Session, data: StopIn) -> str:
            kind.logger.file(session, firings.get(session, firing_id), file_id)
            large_files.stop(data.reading)
            return f"/firings/{firing_id}/{kind.slug}/{file_id}?reading={data.reading}"

        return web.submit(
            request,
            typed,
            StopIn,
            act=act,
            page=lambda s, _form: kind.show_file(request, s, firing_id, file_id, None, look=False),
            form_id="stop",
            notice="It ends; nothing of it is kept.",
        )

    @router.post(f"{base}/{{file_id}}")
    def read(request: Request, session: Book, firing_id: int, file_id: int, typed: Typed) -> Response:
        typed = with_choices(typed, kind.reading)
        form = from_texts(kind.reading, typed, "form", request.url.path, kind.choices)
        if any(name == "look" for name, _ in typed) or kind.turned_to_a_sheet(session, firing_id, file_id, form):
            return kind.show_file(request, session, firing_id, file_id, form, look=True)
        first = kind.read_first(request, session, firing_id, file_id, form)
        if first is not None:
            return first
        notice = kind.notice(firings.get(session, firing_id))
        session.close()

        def act(writing: Session, data: Any) -> str:
            firing = firings.get(writing, firing_id)
            kind.keep(writing, firing, logger.file(writing, firing, file_id), data)
            return f"/firings/{firing_id}/{kind.slug}"

        return web.submit(
            request,
            typed,
            kind.reading,
            act=act,
            page=lambda s, form: kind.show_file(request, s, firing_id, file_id, form, look=False),
            choices=kind.choices,
            notice=notice,
        )

    @router.post(f"{base}/{{file_id}}/throw-away")
    def throw_away(request: Request, firing_id: int, file_id: int, typed: Typed) -> Response:
        def act(session: Session, _data: FormIn) -> str:
            logger.throw_away(session, firings.get(session, firing_id), file_id)
            return f"/firings/{firing_id}/{kind.slug}"

        return web.submit(
            request,
            typed,
            FormIn,
            act=act,
            page=lambda s, form: kind.show(request, s, firing_id, form),
            form_id=f"throw-{file_id}",
            notice="The file is out of the book.",
        )

    @router.get(f"{base}/{{file_id}}/file")
    def download(session: Book, firing_id: int, file_id: int) -> Response:
        row = logger.file(session, firings.get(session, firing_id), file_id)
        head = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(row.name, safe='')}"}
        return Response(stored_files.read(session, row), media_type="application/octet-stream", headers=head)


def beginning(opened: Opened, form: Form) -> tuple[opened_files.Beginning, list[Choice]]:
    """How a file or the chosen sheet of it begins, and its columns as choices."""
    found = opened_files.beginning(opened, _whole(form.text("first_line")), form.text("delimiter"), form.text("sheet"))
    numbered = [(str(i), f"column {i}: {name}" if name else f"column {i}") for i, name in enumerate(found.names, 1)]
    return found, numbered


def _whole(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 6 else 1
