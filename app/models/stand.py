"""How the files of a stand are read, as it was chosen for one of them: remembered for the next file of that shape."""

import json

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from app.models.base import Row


class StandReading(Row, table=True):
    """What was chosen for a file of a stand, and the shape of that file. The newest of a stand and shape is proposed.

    Never rewritten: another choice is another row. The file itself, with its hash, is that of the curve. What belongs
    to the one file alone (where its burn is, how its zero went) is not in `reading_json`.
    """

    __tablename__ = "stand_reading"
    __table_args__ = (
        CheckConstraint("length(stand) > 0", name="named"),
        CheckConstraint("columns >= 1", name="columns"),
    )

    stand: str = Field(index=True)
    curve_id: int = Field(foreign_key="curve.id", index=True)
    delimiter: str
    decimal: str
    columns: int
    heads_json: str
    reading_json: str

    @property
    def heads(self) -> list[str]:
        """What stood over the columns; nothing where nothing did."""
        return list(json.loads(self.heads_json))

    @property
    def texts(self) -> dict[str, str]:
        """What was chosen, as texts of the form."""
        return dict(json.loads(self.reading_json))
