"""An evening of melts

A cast session is an evening with one or more melts; what is looked at on it is kept as a record.

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

from app import logbook
from app.errors import Trouble

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Each part in its own function below, in this order."""
    _make_evenings()
    _mark_lines()
    _short_lists()
    _add_incidents()
    _add_checks()
    _add_numbers()
    _add_looks()


def downgrade() -> None:
    """The same parts, backwards."""
    _drop_looks()
    _drop_numbers()
    _drop_checks()
    _drop_incidents()
    _no_short_lists()
    _no_marks()
    _make_sessions()


# --- Evenings and their melts ---------------------------------------------------------------------------------

OWN = "id, created_at, version"
OF_A_STEP = (
    'set_number, position, "key", words, after_key, after_s, pan_low_k, pan_high_k, done_at, skipped_why, person'
)
OF_A_READING = "read_at, temperature_k, temperature_typed, voided_at, voided_why, doubted_k"


def _own() -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
    ]


def _refers(table: str, column: str, to: str) -> sa.schema.SchemaItem:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))


def _set_aside(table: str) -> str:
    """Put the rows by and drop the table; rows that refer to it wait for its return, until the step is saved."""
    op.execute("PRAGMA defer_foreign_keys=ON")
    op.execute(f"CREATE TABLE put_by_{table} AS SELECT * FROM {table}")
    op.drop_table(table)
    return f"put_by_{table}"


def _steps_of(owner: str, to: str) -> None:
    """The steps, each of a melt or of a session."""
    op.create_table(
        "cast_step",
        *_own(),
        sa.Column(owner, sa.Integer(), nullable=False),
        sa.Column("set_number", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("after_key", sa.String(), nullable=True),
        sa.Column("after_s", sa.Float(), nullable=True),
        sa.Column("pan_low_k", sa.Float(), nullable=True),
        sa.Column("pan_high_k", sa.Float(), nullable=True),
        sa.Column("done_at", sa.DateTime(), nullable=True),
        sa.Column("skipped_why", sa.String(), nullable=True),
        sa.Column("person", sa.String(), nullable=False),
        sa.CheckConstraint("done_at IS NULL OR skipped_why IS NULL", name=op.f("ck_cast_step_done_or_skipped")),
        sa.CheckConstraint("set_number >= 0", name=op.f("ck_cast_step_set_number")),
        _refers("cast_step", owner, to),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cast_step")),
        sa.UniqueConstraint(owner, "set_number", "key", name=op.f(f"uq_cast_step_{owner}_set_number_key")),
    )
    op.create_index(op.f(f"ix_cast_step_{owner}"), "cast_step", [owner])


def _readings_of(owner: str, to: str) -> None:
    """The readings of the pan, each of a melt or of a session."""
    op.create_table(
        "temperature_reading",
        *_own(),
        sa.Column(owner, sa.Integer(), nullable=False),
        sa.Column("read_at", sa.DateTime(), nullable=False),
        sa.Column("temperature_k", sa.Float(), nullable=False),
        sa.Column("temperature_typed", sa.String(), nullable=False),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.Column("doubted_k", sa.Float(), nullable=True),
        _refers("temperature_reading", owner, to),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_temperature_reading")),
    )
    op.create_index(op.f(f"ix_temperature_reading_{owner}"), "temperature_reading", [owner])


_ID_OF_MELT = "{} + coalesce((SELECT max(row_id) FROM change WHERE table_name = 'melt'), 0)"
"""The number of the melt that a session becomes: the session's own. Behind those that the record tells of, where the
book was of this schema once already: its lines speak of other melts."""


def _make_evenings() -> None:
    """A session is an evening from here on, and each that there was has one melt, with its steps and readings."""
    sessions, steps, readings = (_set_aside(t) for t in ("cast_session", "cast_step", "temperature_reading"))
    op.create_table(
        "cast_session",
        *_own(),
        sa.Column("closed_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cast_session")),
    )
    op.create_table(
        "melt",
        *_own(),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("cast_session_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("run_sheet_id", sa.Integer(), nullable=True),
        sa.Column("checklist_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("number >= 1", name=op.f("ck_melt_number")),
        *(_refers("melt", f"{to}_id", to) for to in ("batch", "cast_session", "run_sheet", "checklist")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_melt")),
        sa.UniqueConstraint("batch_id", name=op.f("uq_melt_batch_id")),
        sa.UniqueConstraint("cast_session_id", "number", name=op.f("uq_melt_cast_session_id_number")),
        sa.UniqueConstraint("checklist_id", name=op.f("uq_melt_checklist_id")),
    )
    op.create_index(op.f("ix_melt_cast_session_id"), "melt", ["cast_session_id"])
    op.execute(f"INSERT INTO cast_session ({OWN}, closed_at) SELECT {OWN}, closed_at FROM {sessions} ORDER BY id")
    op.execute(
        f"""INSERT INTO melt ({OWN}, batch_id, cast_session_id, number, run_sheet_id)
        SELECT {_ID_OF_MELT.format("id")}, created_at, version, batch_id, id, 1, run_sheet_id
        FROM {sessions} ORDER BY id"""
    )
    _steps_of("melt_id", "melt")
    _readings_of("melt_id", "melt")
    melt = _ID_OF_MELT.format("cast_session_id")
    for table, old, columns in (("cast_step", steps, OF_A_STEP), ("temperature_reading", readings, OF_A_READING)):
        op.execute(
            f"INSERT INTO {table} ({OWN}, melt_id, {columns}) SELECT {OWN}, {melt}, {columns} FROM {old} ORDER BY id"
        )
    for old in (sessions, steps, readings):
        op.drop_table(old)
    op.execute("ALTER TABLE session_note ADD COLUMN melt_id INTEGER CONSTRAINT fk_session_note_melt_id_melt "
               "REFERENCES melt (id)")
    op.create_index(op.f("ix_session_note_melt_id"), "session_note", ["melt_id"])


def _make_sessions() -> None:
    """Each melt is a session of its own again: the first one of an evening takes its number, the others new ones.

    An opening goes to the melt whose list it was made with; a melt that joined by a short list is opened by that one.
    Notes of the whole evening go to its first melt. That melts were cast in one evening is told in a note of each.
    """
    book = op.get_bind()
    several = "(SELECT cast_session_id FROM melt GROUP BY cast_session_id HAVING count(*) > 1)"
    still_open = f"SELECT count(*) FROM cast_session WHERE closed_at IS NULL AND id IN {several}"
    if book.exec_driver_sql(still_open).scalar():
        raise Trouble("An evening of several melts is open, which the older schema cannot hold. Close it first.")
    op.execute("PRAGMA defer_foreign_keys=ON")  # notes and openings go to sessions that are made below
    op.execute(
        """CREATE TABLE home AS SELECT m.id AS melt_id, m.cast_session_id AS evening_id, m.batch_id AS batch_id,
        CASE WHEN m.number = (SELECT min(number) FROM melt n WHERE n.cast_session_id = m.cast_session_id)
            THEN m.cast_session_id
            ELSE (SELECT max(id) FROM cast_session) + row_number() OVER (ORDER BY m.id) END AS session_id
        FROM melt m"""
    )
    _tell_of_evenings(several)
    op.execute(
        """UPDATE session_note SET cast_session_id = (SELECT session_id FROM home h WHERE h.melt_id = session_note.melt_id)
        WHERE melt_id IS NOT NULL"""
    )
    op.drop_index(op.f("ix_session_note_melt_id"), "session_note")
    op.drop_column("session_note", "melt_id")
    melts = _set_aside("melt")
    sessions, steps, readings = (_set_aside(t) for t in ("cast_session", "cast_step", "temperature_reading"))
    op.create_table(
        "cast_session",
        *_own(),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("run_sheet_id", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(), nullable=True),
        *(_refers("cast_session", f"{to}_id", to) for to in ("batch", "run_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cast_session")),
        sa.UniqueConstraint("batch_id", name=op.f("uq_cast_session_batch_id")),
    )
    first = "h.session_id = s.id"
    op.execute(
        f"""INSERT INTO cast_session ({OWN}, batch_id, run_sheet_id, closed_at)
        SELECT h.session_id, iif({first}, s.created_at, m.created_at), iif({first}, s.version, m.version), m.batch_id,
            m.run_sheet_id, s.closed_at
        FROM home h JOIN {melts} m ON m.id = h.melt_id JOIN {sessions} s ON s.id = h.evening_id ORDER BY h.session_id"""
    )
    _steps_of("cast_session_id", "cast_session")
    _readings_of("cast_session_id", "cast_session")
    for table, old, columns in (("cast_step", steps, OF_A_STEP), ("temperature_reading", readings, OF_A_READING)):
        op.execute(
            f"""INSERT INTO {table} ({OWN}, cast_session_id, {columns}) SELECT {OWN},
            (SELECT session_id FROM home h WHERE h.melt_id = {old}.melt_id), {columns} FROM {old} ORDER BY id"""
        )
    op.execute(
        """UPDATE session_opening SET cast_session_id = coalesce((SELECT h.session_id FROM home h
            JOIN checklist c ON c.batch_id = h.batch_id
            WHERE c.id = session_opening.checklist_id AND h.evening_id = session_opening.cast_session_id),
        cast_session_id)"""
    )
    op.execute(
        f"""INSERT INTO session_opening (created_at, version, cast_session_id, checklist_id, person, opened_at)
        SELECT m.created_at, 1, h.session_id, c.id, c.person, m.created_at
        FROM {melts} m JOIN home h ON h.melt_id = m.id JOIN checklist c ON c.id = m.checklist_id ORDER BY m.id"""
    )
    for old in ("home", melts, sessions, steps, readings):
        op.drop_table(old)


def _tell_of_evenings(several: str) -> None:
    op.execute(
        f"""INSERT INTO session_note (created_at, version, cast_session_id, melt_id, written_at, words)
        SELECT m.created_at, 1, m.cast_session_id, m.id, m.created_at, 'Cast in one evening with ' || (
            SELECT group_concat(b.code, ', ') FROM melt o JOIN batch b ON b.id = o.batch_id
            WHERE o.cast_session_id = m.cast_session_id AND o.id <> m.id) || '.'
        FROM melt m WHERE m.cast_session_id IN {several} ORDER BY m.id"""
    )


# --- The lines that come again before each melt ------------------------------------------------------------------

COVERED = {
    "Nobody else is near, and somebody knows what I am doing and when I shall be done.": "alone",
    "An extinguisher stands about 10 ft (3 m) away, on the way out.": "water",
    "Water is at hand for burns and small fires. I know that the mixture carries its own oxygen: it cannot be "
    "smothered; if it burns, I leave.": "water",
    "Face shield, leather gloves, cotton or leather clothes, closed shoes.": "clothes",
    "I am rested and sober, and I have time until the cores are pulled.": "fit",
}
"""Lines of the list that a book came with, and what each covers."""


def _mark_lines() -> None:
    """What a line covers, and whether it comes again before each melt; known by its very words."""
    op.add_column("checklist_item", sa.Column("covers", sa.String(), nullable=False, server_default=sa.text("''")))
    op.execute(
        """ALTER TABLE checklist_item ADD COLUMN again BOOLEAN DEFAULT 0 NOT NULL
        CONSTRAINT ck_checklist_item_covers_again CHECK (covers = '' OR again)"""
    )
    for words, covers in COVERED.items():
        op.get_bind().exec_driver_sql(
            "UPDATE checklist_item SET covers = ?, again = 1 WHERE words = ?", (covers, words)
        )


def _no_marks() -> None:
    """Only the marks of the lines that a book comes with can be made out again from their words."""
    known = ", ".join("?" * len(COVERED))
    query = f"SELECT count(*) FROM checklist_item WHERE again AND words NOT IN ({known})"
    if count := op.get_bind().exec_driver_sql(query, tuple(COVERED)).scalar():
        logbook.note(f"That {count} lines of the checklist come again before each melt is not kept by schema 0009.")
    op.drop_column("checklist_item", "again")
    op.drop_column("checklist_item", "covers")


# --- Short lists, and where a list was signed --------------------------------------------------------------------


def _short_lists() -> None:
    """Where a list was signed, and for which open evening a short one is."""
    op.add_column("checklist", sa.Column("place", sa.String(), nullable=False, server_default=sa.text("''")))
    op.add_column("checklist", sa.Column("again", sa.Boolean(), nullable=False, server_default=sa.text("0")))
    op.execute(
        """ALTER TABLE checklist ADD COLUMN cast_session_id INTEGER
        CONSTRAINT ck_checklist_short CHECK (again = (cast_session_id IS NOT NULL))
        CONSTRAINT fk_checklist_cast_session_id_cast_session REFERENCES cast_session (id)"""
    )
    op.create_index(op.f("ix_checklist_cast_session_id"), "checklist", ["cast_session_id"])


def _no_short_lists() -> None:
    """A short list that let no melt in is voided, for the older schema would take it for a whole one; a place is told
    in a note of the evening that its list opened.
    """
    op.execute(
        """UPDATE checklist SET voided_at = strftime('%Y-%m-%d %H:%M:%f000', 'now'),
            voided_why = 'It was a short list, for a further melt of an evening.'
        WHERE again AND voided_at IS NULL AND id NOT IN (SELECT checklist_id FROM melt WHERE checklist_id IS NOT NULL)"""
    )
    op.execute(
        """INSERT INTO session_note (created_at, version, cast_session_id, melt_id, written_at, words)
        SELECT c.completed_at, 1, m.cast_session_id, m.id, c.completed_at,
            'Checklist ' || c.id || ' was signed here: ' || c.place
        FROM checklist c JOIN melt m ON m.batch_id = c.batch_id
        WHERE c.place <> '' AND c.completed_at IS NOT NULL ORDER BY c.id"""
    )
    op.drop_index(op.f("ix_checklist_cast_session_id"), "checklist")
    for name in ("cast_session_id", "again", "place"):
        op.drop_column("checklist", name)


# --- Incidents --------------------------------------------------------------------------------------------------



def _add_incidents() -> None:
    """Incidents and near misses, each of the evening and the batch it was told at."""
    op.create_table(
        "incident",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("cast_session_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("happened_at", sa.DateTime(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("sort", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("lesson", sa.String(), nullable=False),
        sa.Column("line", sa.String(), nullable=False),
        sa.Column("written_at", sa.DateTime(), nullable=True),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint("kind IN ('incident', 'near miss')", name=op.f("ck_incident_kind")),
        sa.CheckConstraint(
            "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name=op.f("ck_incident_voided_with_reason")
        ),
        sa.CheckConstraint("written_at IS NULL OR length(words) > 0", name=op.f("ck_incident_written_in_words")),
        sa.ForeignKeyConstraint(
            ["cast_session_id"], ["cast_session.id"], name=op.f("fk_incident_cast_session_id_cast_session")
        ),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name=op.f("fk_incident_batch_id_batch")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_incident")),
    )
    op.create_index(op.f("ix_incident_cast_session_id"), "incident", ["cast_session_id"])
    op.create_index(op.f("ix_incident_batch_id"), "incident", ["batch_id"])


def _drop_incidents() -> None:
    op.drop_table("incident")


def _add_checks() -> None:
    """What scales and thermometers read of what was known."""
    for table, kind in (("scale_check", "kg"), ("thermometer_check", "k")):
        warm = table == "thermometer_check"
        only_warm = [
            sa.Column("against", sa.String(), nullable=False),
            sa.Column("elevation_m", sa.Float(), nullable=True),
            sa.Column("elevation_typed", sa.String(), nullable=True),
            sa.Column("air_pressure_pa", sa.Float(), nullable=True),
            sa.Column("air_pressure_typed", sa.String(), nullable=True),
        ]
        rules = [
            sa.CheckConstraint(f"tolerance_{kind} > 0", name=op.f(f"ck_{table}_tolerance")),
            sa.CheckConstraint(
                "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name=op.f(f"ck_{table}_voided_with_reason")
            ),
        ]
        op.create_table(
            table,
            sa.Column("id", sa.Integer(), nullable=False),
            sa.Column("created_at", sa.DateTime(), nullable=False),
            sa.Column("version", sa.Integer(), nullable=False),
            sa.Column("instrument", sa.String(), nullable=False),
            sa.Column("checked_at", sa.DateTime(), nullable=False),
            *(only_warm if warm else []),
            sa.Column(f"known_{kind}", sa.Float(), nullable=False),
            sa.Column("known_typed", sa.String(), nullable=warm),
            sa.Column(f"read_{kind}", sa.Float(), nullable=False),
            sa.Column("read_typed", sa.String(), nullable=False),
            sa.Column(f"tolerance_{kind}", sa.Float(), nullable=False),
            sa.Column("tolerance_typed", sa.String(), nullable=False),
            sa.Column("person", sa.String(), nullable=False),
            sa.Column("note", sa.String(), nullable=False),
            sa.Column("voided_at", sa.DateTime(), nullable=True),
            sa.Column("voided_why", sa.String(), nullable=True),
            *rules,
            *([] if warm else [sa.CheckConstraint("known_kg > 0", name=op.f("ck_scale_check_known"))]),
            sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        )
        op.create_index(op.f(f"ix_{table}_instrument"), table, ["instrument"])


def _drop_checks() -> None:
    op.drop_table("thermometer_check")
    op.drop_table("scale_check")


def _add_numbers() -> None:
    """The numbers that a line of the checklist took, for the blanks in its words; lines of before had none."""
    op.execute(
        "ALTER TABLE checklist_answer ADD COLUMN numbers_json VARCHAR NOT NULL DEFAULT '[]' "
        "CONSTRAINT ck_checklist_answer_numbers CHECK (answer = 'done' OR numbers_json = '[]')"
    )


def _drop_numbers() -> None:
    op.drop_column("checklist_answer", "numbers_json")


def _add_looks() -> None:
    """What was seen of each grain, and pictures of it."""
    with_reason = "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0"
    op.create_table(
        "grain_look",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("grain_id", sa.Integer(), nullable=False),
        sa.Column("looked_at", sa.DateTime(), nullable=False),
        sa.Column("faces", sa.String(), nullable=False),
        sa.Column("outer_face", sa.String(), nullable=False),
        sa.Column("inhibitor", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint(with_reason, name=op.f("ck_grain_look_voided_with_reason")),
        sa.ForeignKeyConstraint(["grain_id"], ["grain.id"], name=op.f("fk_grain_look_grain_id_grain")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grain_look")),
    )
    op.create_index(op.f("ix_grain_look_grain_id"), "grain_look", ["grain_id"])
    op.create_table(
        "grain_picture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("grain_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("caption", sa.String(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("location", sa.String(), nullable=False, server_default="unknown"),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint("size_bytes > 0", name=op.f("ck_grain_picture_whole")),
        sa.CheckConstraint(
            "media_type IN ('image/jpeg', 'image/png', 'image/webp')", name=op.f("ck_grain_picture_media_type")
        ),
        sa.CheckConstraint(
            "location IN ('none', 'unknown', 'left_out', 'cut_out', 'kept')", name=op.f("ck_grain_picture_location")
        ),
        sa.CheckConstraint(with_reason, name=op.f("ck_grain_picture_voided_with_reason")),
        sa.ForeignKeyConstraint(["grain_id"], ["grain.id"], name=op.f("fk_grain_picture_grain_id_grain")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grain_picture")),
        sa.UniqueConstraint("grain_id", "sha256", name=op.f("uq_grain_picture_grain_id_sha256")),
    )
    op.create_index(op.f("ix_grain_picture_grain_id"), "grain_picture", ["grain_id"])


def _drop_looks() -> None:
    op.drop_table("grain_picture")
    op.drop_table("grain_look")
