"""What a service may refuse, as one small tree; each says which field, what is wrong and the way out.

```
BookError
├── Refused      a rule of the workshop or of the book forbids it
├── Conflict     the row was changed elsewhere since the page was opened
├── NotFound     no such row
└── Trouble      the machine, the disk or the file stands in the way
```
Calculations raise their own tree (`app.calc.errors.CalcError`); forms show both alike.
"""

from app.calc.notes import Note


class BookError(Exception):
    """Something the person asked for was not done; `message` tells why and what to do."""

    status = 422

    def __init__(self, message: str | Note, field: str | None = None) -> None:
        super().__init__(str(message))
        self.message = message
        self.field = field


class Refused(BookError):
    """A rule forbids it."""


class Conflict(BookError):
    """Somebody (or another tab) changed the same thing first."""

    status = 409


class NotFound(BookError):
    """There is no such row."""

    status = 404


class Trouble(BookError):
    """Disk, folder, file or another program stands in the way: what happened, what is safe, what to do."""

    status = 503

    def __init__(self, message: str, *, status: int = 503, kind: str = "") -> None:
        super().__init__(message)
        self.status = status
        self.kind = kind
