"""What a service may refuse, as one small tree; each says which field, what is wrong and the way out.

```
BookError
├── Refused      a rule of the workshop or of the book forbids it
│   └── Asked    it can mean several things, or can hardly be: which one is meant?
├── Conflict     the row was changed elsewhere since the page was opened
├── NotFound     no such row
│   └── FileLost a file that a row names is missing, or is not what it was
└── Trouble      the machine, the disk or the file stands in the way
```
Calculations raise their own tree (`app.calc.base.errors.CalcError`); forms show both alike.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager

from app.calc.base.notes import Note


class BookError(Exception):
    """Something the person asked for was not done; `message` tells why and what to do."""

    status = 422

    def __init__(self, message: str | Note, field: str | None = None) -> None:
        super().__init__(str(message))
        self.message = message
        self.field = field
        self.also: Sequence[BookError] = ()
        """What else is wrong, to be told with it."""


class Refused(BookError):
    """A rule forbids it."""


class Faults:
    """Refusals of one save, so that all of them are told at once and not one a save.

    faults = Faults()
    with faults.one():
        _inside(data)
    with faults.one():
        _tested(data)
    faults.tell()
    """

    def __init__(self) -> None:
        self.found: list[Refused] = []

    @contextmanager
    def one(self) -> Iterator[None]:
        """Keep what is refused inside for later."""
        try:
            yield
        except Refused as refused:
            self.found += [refused, *(more for more in refused.also if isinstance(more, Refused))]

    def add(self, field: str | None, words: str | Note) -> None:
        """A fault beside a field."""
        self.found.append(Refused(words, field=field))

    def tell(self) -> None:
        """Refuse, if anything was.

        Raises
        ------
        Refused
            The first, with the others.
        """
        if self.found:
            first, *first.also = self.found
            raise first


class Asked(Refused):
    """What stands in a field can mean several things, or can hardly be: it is kept when the person has said which.

    The page draws a button for each of the `readings` beside the field, and one that keeps what stands there; each
    sends the form again with its text in the field. So a service asks like this, and needs nothing in the form, the
    router or the template:

        if not data.sure_of("mass") and far_off(data.mass.si):
            raise Asked("102 g are still wanted. Which did you mean?", "mass", ["102.3 g"])

    Parameters
    ----------
    message
        What is odd, with the numbers, and the question.
    field
        Name of the field, `points.0.mass` in a list; None for a question about the whole form.
    readings
        Texts as a person could type them into the field: what else may have been meant, likeliest first. A pair is a
        text and what its button says.
    keep
        What the button says that keeps what stands there; `{typed}` is that text. None where it cannot be kept.
    about
        Names the question. An answer holds for the question, the field and the text in it: another text or another
        question is asked anew. A question about the whole form should name here what it hangs on.
    """

    def __init__(
        self,
        message: str | Note,
        field: str | None,
        readings: Iterable[str | tuple[str, str]] = (),
        *,
        keep: str | None = "{typed}, as typed",
        about: str = "likely",
    ) -> None:
        super().__init__(message, field)
        self.readings = [(one, one) if isinstance(one, str) else one for one in readings]
        self.keep = keep
        self.about = about


class Conflict(BookError):
    """Somebody (or another tab) changed the same thing first."""

    status = 409


class NotFound(BookError):
    """There is no such row."""

    status = 404


class FileLost(NotFound):
    """A file that a row names is not in the book's folder of files, or is not what it was."""


class Trouble(BookError):
    """Disk, folder, file or another program stands in the way: what happened, what is safe, what to do."""

    status = 503

    def __init__(self, message: str, *, status: int = 503, kind: str = "") -> None:
        super().__init__(message)
        self.status = status
        self.kind = kind
