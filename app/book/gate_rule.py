# ruff: noqa: S608  (what is put into these statements are expressions of our own)
"""The one rule of the checklist gate, as SQL: the triggers are made of it, and the program asks it with bound values.

`of_list` says what keeps a list from opening a session, `of_session` what is wrong with an opening that stands in the
book, `of_new_work` what keeps an open session from anything new being weighed out or heated. Each is an expression that
gives the code of the first thing wrong, or NULL; `WORDS` says each code. What SQL cannot see, the steady clock of the
running program, is one more code that the program gives itself.

Where a clock alone could be made to say anything, the order of what was saved is asked as well: a clock can be set,
the order in which rows came cannot.
"""

SLACK_S = 60.0
"""How far a clock may be put right without a word [s]; network time moves it by less."""

_SIGNING_S = 2
"""A form is saved so soon after the list was signed in it [s]."""

_NEWEST_SAVES = 20_000
"""Among so many saves the signing of a list is looked for: more than a day holds."""

_DAY_S = 86400.0

WORDS = {
    "none": "There is no checklist for {lot} yet. Go through it first.",
    "other batch": "That checklist was made for another batch. Make one for {lot}.",
    "used": "That checklist has opened a session already. Make a new one.",
    "voided": "That checklist was voided ({why}). Make a new one.",
    "open": "The checklist is not complete. Answer every line and sign it.",
    "empty": "The checklist has no lines. Write the list under Workshop, then go through it.",
    "foreign": "The checklist is answered by lines of another version of the list. Make a new one.",
    "unreadable": "A time of the checklist cannot be read. Make a new one.",
    "edition": "The list has a newer version than the one that was signed. Start anew to go through that one.",
    "ahead of opening": (
        "The checklist was signed at {signed}, which is later than this machine's clock reads. Set the clock right and "
        "make a new checklist."
    ),
    "stale": (
        "Some lines of the checklist were answered on another day than it is signed on. Start anew, and go through "
        "each line today."
    ),
    "another day": "The checklist was made on another day. Make a new one: the room may have changed.",
    "expired": "The checklist held until {until}. Make a new one.",
    "moved": (
        "This machine's clock was moved since the checklist was signed: the book has something saved after it at "
        "another time. Set the clock right and make a new checklist."
    ),
    "set back": (
        "This machine's clock was set back since Grainbook was started. Set it right. If it is right now, start "
        "Grainbook again and make a new checklist."
    ),
    "not opened": "No checklist opened this session: the book's file was changed by another program.",
    "closed": "This session was closed, and no checklist opened it again: the book's file was changed.",
    "ahead": (
        "This session was opened at {opened}, which is later than this machine's clock reads: it was opened while the "
        "clock stood ahead, or the clock stands behind now. Set the clock right."
    ),
    "over": "This session was opened at {opened}, and its checklist was for that day.",
}
"""What is wrong and what to do about it, by its code."""

KEEPS_OPEN = {None, "over", "moved", "set back", "ahead"}
"""A session with one of these was opened rightly, or by a clock that is the person's to put right: it takes all but new
work until somebody closes it. Any other opening is none."""


def _later(than: str, seconds: float) -> str:
    """A moment so much later, as the book stores it; ends before the last three figures, which order cannot see."""
    return f"strftime('%Y-%m-%d %H:%M:%f', {than}, '{seconds:+.0f} seconds')"


def _age_s(since: str, at: str) -> str:
    return f"((julianday({at}) - julianday({since})) * 86400.0)"


def _entered(table: str, row: str) -> str:
    """When a row came, in the order of what was saved: the number of its line in the record."""
    return f"(SELECT min(id) FROM change WHERE table_name = '{table}' AND row_id = {row} AND what = 'entered')"


def _changed(table: str, row: str, column: str, more: str = "") -> str:
    return (
        f"(SELECT max(id) FROM change WHERE table_name = '{table}' AND row_id = {row} AND what = 'changed'"
        f" AND column_name = '{column}'{more})"
    )


def _limit_s(since: str) -> str:
    """How long a list holds by the workshop's rules; a limit that was made longer since then revives nothing."""
    return f"""min(coalesce((SELECT checklist_valid_s FROM workshop WHERE id = 1), 0), coalesce((
        SELECT min(CAST(h.before AS REAL)) FROM change h WHERE h.table_name = 'workshop' AND h.row_id = 1
        AND h.column_name = 'checklist_valid_s' AND h.id > {since}), {_DAY_S}))"""


def _unanswered(checklist: str, edition: str) -> str:
    """The lines of a CASE that looks at the answers of a list: one for each line of its own edition, and no other."""
    return f"""WHEN NOT EXISTS (SELECT 1 FROM checklist_item i WHERE i.checklist_edition_id = {edition}) THEN 'empty'
    WHEN EXISTS (SELECT 1 FROM checklist_answer a WHERE a.checklist_id = {checklist} AND NOT EXISTS (
        SELECT 1 FROM checklist_item i WHERE i.id = a.checklist_item_id AND i.checklist_edition_id = {edition}))
        THEN 'foreign'
    WHEN EXISTS (SELECT 1 FROM checklist_item i WHERE i.checklist_edition_id = {edition} AND NOT EXISTS (
        SELECT 1 FROM checklist_answer a WHERE a.checklist_id = {checklist} AND a.checklist_item_id = i.id)) THEN 'open'
    """


def _not_of_the_day(checklist: str, signed: str) -> str:
    """Whether a line was answered on another day than the list is signed on, in either direction."""
    return f"""EXISTS (SELECT 1 FROM checklist_answer a WHERE a.checklist_id = {checklist}
    AND date(a.answered_at, 'localtime') IS NOT date({signed}, 'localtime'))"""


def of_signing(checklist: str, edition: str, at: str) -> str:
    """What keeps a list from being signed at a moment."""
    return f"""(CASE {_unanswered(checklist, edition)}
    WHEN EXISTS (SELECT 1 FROM checklist_edition n JOIN checklist_edition e ON e.id = {edition}
        WHERE n.edition > e.edition) THEN 'edition'
    WHEN {_not_of_the_day(checklist, at)} THEN 'stale' END)"""


def _clock_moved(signed: str, now: str) -> str:
    """Whether anything was saved after the signing at a time that lies not between it and now.

    An expired list would hold again if the clock were set back. Every form that is saved leaves its moment, in the
    order of saving, whatever the clock said.
    """
    signing = f"""u.rowid > (SELECT max(rowid) FROM once_token) - {_NEWEST_SAVES}
        AND u.spent_at BETWEEN {signed} AND {_later(signed, _SIGNING_S)}"""
    return f"""EXISTS (SELECT 1 FROM once_token t
    WHERE t.rowid > (SELECT u.rowid FROM once_token u WHERE {signing} ORDER BY u.rowid DESC LIMIT 1)
    AND (t.spent_at > {_later(now, SLACK_S)} OR t.spent_at < {_later(signed, -SLACK_S)}))"""


def of_list(batch: str, checklist: str, at: str, opening: str = "NULL") -> str:
    """What keeps a list from opening a session of a batch at a moment; with `opening`, what kept it from that one.

    The workshop's own limit and the machine's zone may have been changed since an opening, and the list has newer
    editions by then: of an opening that stands in the book it is asked whether the list was a day old at most, and
    whether its edition was the newest one by the order of what was saved.
    """
    limit = _limit_s(_changed("checklist", "c.id", "completed_at"))
    return f"""(SELECT CASE
    WHEN c.id IS NULL THEN 'none'
    WHEN c.batch_id IS NOT {batch} THEN 'other batch'
    WHEN EXISTS (SELECT 1 FROM session_opening x WHERE x.checklist_id = c.id AND x.id IS NOT {opening}) THEN 'used'
    WHEN c.voided_at IS NOT NULL THEN 'voided'
    WHEN c.completed_at IS NULL THEN 'open'
    WHEN julianday(c.completed_at) IS NULL OR julianday({at}) IS NULL THEN 'unreadable'
    {_unanswered("c.id", "c.checklist_edition_id")}
    WHEN EXISTS (SELECT 1 FROM checklist_edition n JOIN checklist_edition e ON e.id = c.checklist_edition_id
        WHERE n.edition > e.edition AND ({opening} IS NULL
            OR {_entered("checklist_edition", "n.id")} < {_entered("session_opening", opening)})) THEN 'edition'
    WHEN {_age_s("c.completed_at", at)} < -0.01 THEN 'ahead of opening'
    WHEN {opening} IS NOT NULL THEN CASE WHEN {_age_s("c.completed_at", at)} > {_DAY_S} THEN 'expired' END
    WHEN {_not_of_the_day("c.id", "c.completed_at")} THEN 'stale'
    WHEN date(c.completed_at, 'localtime') IS NOT date({at}, 'localtime') THEN 'another day'
    WHEN {_age_s("c.completed_at", at)} > {limit} THEN 'expired'
    WHEN {_clock_moved("c.completed_at", at)} THEN 'moved'
    END FROM (SELECT 1) LEFT JOIN checklist c ON c.id = {checklist})"""


def of_session(cast: str) -> str:
    """What is wrong with the opening that an open session stands on."""
    return f"""(SELECT CASE
    WHEN o.id IS NULL OR b.state <> 'casting' THEN 'not opened'
    WHEN {last_closing("s.id")} > {_entered("session_opening", "o.id")} THEN 'closed'
    ELSE {of_list("s.batch_id", "o.checklist_id", "o.opened_at", "o.id")}
    END FROM cast_session s JOIN batch b ON b.id = s.batch_id
    LEFT JOIN session_opening o ON o.id = {last_opening("s.id")} WHERE s.id = {cast})"""


def of_new_work(cast: str, now: str, done: str) -> str:
    """What keeps a session from something that was weighed out or heated at the moment `done`, told at `now`.

    Hot work begins on the day of the last opening, or for as long as a list holds: in neither direction of the clock
    on another day.
    """
    return f"""coalesce({of_session(cast)}, (SELECT CASE
    WHEN julianday({now}) IS NULL OR julianday({done}) IS NULL THEN 'unreadable'
    WHEN {_age_s("o.opened_at", now)} < -{SLACK_S} THEN 'ahead'
    WHEN {_age_s("o.opened_at", done)} > {_limit_s(_entered("session_opening", "o.id"))} + 0.01
        AND date({done}, 'localtime') > date(o.opened_at, 'localtime') THEN 'over'
    WHEN {_clock_moved("(SELECT completed_at FROM checklist WHERE id = o.checklist_id)", now)} THEN 'moved'
    END FROM session_opening o WHERE o.id = {last_opening(cast)}))"""


def last_opening(cast: str) -> str:
    """The last opening of a session, by the order in which they came."""
    return f"(SELECT max(l.id) FROM session_opening l WHERE l.cast_session_id = {cast})"


def last_closing(cast: str) -> str:
    """The last closing of a session, as its line in the record."""
    return _changed("cast_session", cast, "closed_at", " AND after <> 'null'")


def reopened(cast: str) -> str:
    """Whether a session was opened since its last closing, by the order of what was saved."""
    return f"""coalesce((SELECT max({_entered("session_opening", "o.id")}) FROM session_opening o
    WHERE o.cast_session_id = {cast}), 0) > coalesce({last_closing(cast)}, 0)"""


def is_hot(step: str) -> str:
    """Whether a step belongs to the hot pan, up to the pour: what of it is new is refused past the gate."""
    return f"({step}.set_number = 0 OR {step}.key = 'pour')"


def under_way(cast: str) -> str:
    """Whether hot work is under way in a session: something was heated or poured, by the steps that were done.

    This is the one meaning of a running melt. It is never shut, whatever the clock or a restore does.
    """
    return f"""EXISTS (SELECT 1 FROM cast_step h WHERE h.cast_session_id = {cast} AND h.done_at IS NOT NULL
    AND (h.key = 'pour' OR h.key LIKE 'melt:%' OR h.key LIKE 'remelt:%' OR h.key LIKE 'oxidiser:%'))"""
