"""The pages of a logger, be it a stand's or an altimeter's: a file sent, looked at, read as told, kept, thrown away.

A kind of logger is a `LoggerPages`; `add_pages` puts its pages on a router. What it draws of what was read is its own.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import uploads, web
from app.forms import Choice, Form, from_texts
from app.models import Firing
from app.models.base import FormIn
from app.models.logger_file import LoggerFile
from app.page import Page
from app.services.book import stored_files, workshop
from app.services.firings import firings, opened_files, stands
from app.services.firings.logger_files import Logger
from app.services.firings.opened_files import Opened
from app.services.firings.stands import Proposal
from app.services.motors.builds import Built
from app.units import UnitSystem
from app.uploads import Sent
from app.web import Book, Forms, Typed

TEXT_CHOICES: dict[str, list[Choice]] = {
    "delimiter": [
        ("comma", "commas"),
        ("semicolon", "semicolons"),
        ("tab", "tabs"),
        ("blank", "blanks"),
        ("colon", "colons"),
    ],
    "decimal": [(".", "point: 0.5"), (",", "comma: 0,5")],
    "time_unit": [("s", "s"), ("ms", "ms"), ("us", "µs")],
}

READ = "Read and kept. The file stays beside it."


@dataclass(frozen=True)
class Files:
    """The files of a firing on their page: those not read yet, earlier readings, and the form to send one.

    `base` is the address that a file's own begins with, `none` why the firing can have no such file; `lost` what is
    said of each that is missing or was altered.
    """

    base: str
    none: str
    unread: list[LoggerFile]
    earlier: list[Any]
    upload: Form
    throw_away: dict[int, Form]
    lost: dict[int, str]


@dataclass(frozen=True)
class Beginning:
    """How a file begins: its first lines with their numbers, how many columns they have, whether it has sheets."""

    base: str
    file: LoggerFile
    rows: list[tuple[int, list[str]]]
    columns: int
    workbook: bool


class FilesPage(Page, section="firings"):
    """What the pages of both kinds show: the files, and what was read out of the one that counts."""

    firing: Firing
    built: Built
    files: Files


@dataclass(frozen=True)
class Offered:
    """What is remembered of stands for a file that was never read: the reading it opened with, the others, and how far
    those of another shape differ; `again` is the sheet whose columns were guessed anew."""

    taken: Proposal | None = None
    others: list[Proposal] = field(default_factory=list)
    differing: Proposal | None = None
    again: str = ""


class ReadingPage(Page, section="firings"):
    """What the pages of both kinds show of a file that is being read."""

    built: Built
    begins: Beginning
    offered: Offered
    form: Form


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
    ) -> Response:
        """How a file begins, what its columns probably are, and what it would give so.

        `taken` is the number of a stand's remembered reading that it opens with, 0 for none.
        """
        firing = firings.get(session, firing_id)
        row = self.logger.file(session, firing, file_id)
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
        found = None
        if look:
            units: UnitSystem = workshop.get(session).units
            found = web.answered(form, units, lambda data: self.logger.preview(session, firing, opened, data))
        begins = Beginning(f"/firings/{firing_id}/{self.slug}", row, head.rows, head.columns, bool(sheets))
        page = self.reading_page(session, firing, firings.its_motor(session, firing), begins, offered, form, found)
        return web.render(request, session, page, status=200 if found or not look else 422)

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

        return web.submit_file(
            request,
            sent,
            kind.upload,
            act=act,
            page=lambda s, form: kind.show(request, s, firing_id, form),
            notice="The file is in the book as it came. Now say how to read it.",
            too_large=logger.too_large(),
        )

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
        request: Request,
        session: Book,
        firing_id: int,
        file_id: int,
        taken: Annotated[int | None, Query(alias="as")] = None,
    ) -> Response:
        return kind.show_file(request, session, firing_id, file_id, None, look=True, taken=taken)

    @router.post(f"{base}/{{file_id}}")
    def read(request: Request, session: Book, firing_id: int, file_id: int, typed: Typed) -> Response:
        form = from_texts(kind.reading, typed, "form", request.url.path, kind.choices)
        if any(name == "look" for name, _ in typed) or kind.turned_to_a_sheet(session, firing_id, file_id, form):
            return kind.show_file(request, session, firing_id, file_id, form, look=True)
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
