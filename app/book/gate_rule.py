# ruff: noqa: S608  (what is put into these statements are expressions of our own)
"""The one rule of the checklist gate, as SQL: the triggers are made of it, and the program asks it with bound values.

`of_list` says what keeps a whole list from opening an evening, `of_joining` what keeps a short one from letting a
further melt in, `of_session` and `of_melt` what is wrong with an opening or a melt that stands in the book, `of_due`
why the whole list is due again, `of_new_work` and `of_heating` what keeps a melt from anything new being weighed out or
from being heated. Each is an expression that gives the code of the first thing wrong, or NULL; `WORDS` says each code.
What SQL cannot see, the steady clock of the running program, is one more code that the program gives itself.

Where a clock alone could be made to say anything, the order of what was saved is asked as well: a clock can be set,
the order in which rows came cannot.
"""

from app.models.checklist import COVERS

SLACK_S = 60.0
"""How far a clock may be put right without a word [s]; network time moves it by less."""

_SIGNING_S = 2
"""A form is saved so soon after the list was signed in it [s]."""

_NEWEST_SAVES = 20_000
"""Among so many saves the signing of a list is looked for: more than a day holds."""

_DAY_S = 86400.0

EDGE_K = 1e-3
"""Temperatures closer than this are the same [K]: 220 °F typed here and 220 °F kept there differ in the tenth digit."""

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
    "short": "That is a short list, for a further melt of an open evening. Go through the whole list for {lot}.",
    "whole": "That is a whole list: it opens the evening anew, and lets {lot} in by that.",
    "no evening": "No evening is open that {lot} could join. Go through the whole list for it.",
    "other evening": "That short list was made for another evening. Go through it again for this one.",
    "evening closed": (
        "The evening was closed meanwhile, maybe on another device. Go through the whole list for {lot}, which opens "
        "another one."
    ),
    "uncovered": (
        "The list has no line, marked to come again before each melt, for {missing}. Add it under Workshop, Checklist, "
        "with that mark; until then every melt takes the whole list."
    ),
    "not joined": "No checklist let {lot} into the evening: the book's file was changed by another program.",
    "one pan": (
        "{hot} is on the heat and not poured: one hot pan at a time. Pour it, or skip its pour with a reason, before "
        "anything of {lot} is weighed out or heated."
    ),
    "due hours": "The whole list was signed at {signed}, and holds for {hours} only.",
    "due day": "The whole list was signed at {signed}, and midnight has passed since.",
    "due hot": "A pan was read above the limit since the whole list was signed at {signed}.",
    "due incident": "There was an incident since the whole list was signed at {signed}{incident}.",
    "due person": "The whole list was signed by {person}, and somebody else is at the pan now.",
    "due place": "The whole list was signed for another place{place}.",
}
"""What is wrong and what to do about it, by its code."""

KEEPS_OPEN = {None, "over", "moved", "set back", "ahead", "one pan"}
"""A session with one of these was opened rightly, or by a clock that is the person's to put right: it takes all but new
work until somebody closes it. Any other opening is none."""

DUE = {"due hours", "due day", "due hot", "due incident", "due person", "due place"}
"""Why the whole list is due again before a further melt joins, and before a melt is heated first."""


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


def _least(column: str, since: str, at_most: float) -> str:
    """A limit of the workshop: what it is, or was since then, if that is less."""
    return f"""min(coalesce((SELECT {column} FROM workshop WHERE id = 1), 0), coalesce((
        SELECT min(CAST(h.before AS REAL)) FROM change h WHERE h.table_name = 'workshop' AND h.row_id = 1
        AND h.column_name = '{column}' AND h.id > {since}), {at_most}))"""


def _limit_s(since: str) -> str:
    """How long a list holds by the workshop's rules; a limit that was made longer since then revives nothing."""
    return _least("checklist_valid_s", since, _DAY_S)


def _limit_k(since: str) -> str:
    """Above which temperature a pan was too hot; a limit that was raised since then excuses nothing."""
    return f"{_least('pan_limit_k', since, 1e9)} + {EDGE_K}"


def _unanswered(checklist: str, edition: str, again: str) -> str:
    """The lines of a CASE that looks at the answers of a list: one for each line of its own edition, and no other; of
    a short list for each line that comes again.
    """
    asked = f"i.checklist_edition_id = {edition} AND (i.again OR NOT {again})"
    return f"""WHEN NOT EXISTS (SELECT 1 FROM checklist_item i WHERE {asked}) THEN 'empty'
    WHEN EXISTS (SELECT 1 FROM checklist_answer a WHERE a.checklist_id = {checklist} AND NOT EXISTS (
        SELECT 1 FROM checklist_item i WHERE i.id = a.checklist_item_id AND i.checklist_edition_id = {edition}))
        THEN 'foreign'
    WHEN {again} AND {_uncovered(edition)} THEN 'uncovered'
    WHEN EXISTS (SELECT 1 FROM checklist_item i WHERE {asked} AND NOT EXISTS (
        SELECT 1 FROM checklist_answer a WHERE a.checklist_id = {checklist} AND a.checklist_item_id = i.id)) THEN 'open'
    """


def _uncovered(edition: str) -> str:
    """Whether an edition lacks a line that comes again for one of those things that are never left out."""
    kinds = ", ".join(f"'{kind}'" for kind in COVERS)
    return f"""(SELECT count(DISTINCT k.covers) FROM checklist_item k
    WHERE k.checklist_edition_id = {edition} AND k.again AND k.covers IN ({kinds})) < {len(COVERS)}"""


def _not_of_the_day(checklist: str, signed: str) -> str:
    """Whether a line was answered on another day than the list is signed on, in either direction."""
    return f"""EXISTS (SELECT 1 FROM checklist_answer a WHERE a.checklist_id = {checklist}
    AND date(a.answered_at, 'localtime') IS NOT date({signed}, 'localtime'))"""


def of_signing(checklist: str, edition: str, again: str, at: str) -> str:
    """What keeps a list, whole or short (`again`), from being signed at a moment."""
    return f"""(CASE {_unanswered(checklist, edition, again)}
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


def of_list(belongs: str, checklist: str, at: str, opening: str = "NULL") -> str:
    """What keeps a whole list from opening an evening at a moment; with `opening`, what kept it from that one.

    `belongs` is true where the list `c` is of a batch that it may open the evening for.
    """
    return f"""(SELECT CASE
    WHEN c.id IS NULL THEN 'none'
    WHEN NOT ({belongs}) THEN 'other batch'
    WHEN c.again THEN 'short'
    WHEN EXISTS (SELECT 1 FROM session_opening x WHERE x.checklist_id = c.id AND x.id IS NOT {opening}) THEN 'used'
    {_holds(at, opening, _entered("session_opening", opening))}
    END FROM (SELECT 1) LEFT JOIN checklist c ON c.id = {checklist})"""


def _of_short(batch: str, cast: str, checklist: str, at: str, melt: str = "NULL") -> str:
    """What keeps a short list from letting a batch into an evening; with `melt`, what kept it from that one."""
    return f"""(SELECT CASE
    WHEN c.id IS NULL THEN 'none'
    WHEN c.batch_id IS NOT {batch} THEN 'other batch'
    WHEN NOT c.again THEN 'whole'
    WHEN c.cast_session_id IS NOT {cast} THEN 'other evening'
    WHEN EXISTS (SELECT 1 FROM session_opening x WHERE x.checklist_id = c.id)
        OR EXISTS (SELECT 1 FROM melt x WHERE x.checklist_id = c.id AND x.id IS NOT {melt}) THEN 'used'
    {_holds(at, melt, _entered("melt", melt))}
    END FROM (SELECT 1) LEFT JOIN checklist c ON c.id = {checklist})"""


def _holds(at: str, standing: str, entered: str) -> str:
    """The lines of a CASE that says whether a signed list `c` holds at a moment, or held for what is `standing`.

    The workshop's own limit and the machine's zone may have been changed since, and the list has newer editions by
    then: of what stands in the book it is asked whether the list was a day old at most, and whether its edition was
    the newest one by the order of what was saved.
    """
    limit = _limit_s(_changed("checklist", "c.id", "completed_at"))
    return f"""WHEN c.voided_at IS NOT NULL THEN 'voided'
    WHEN c.completed_at IS NULL THEN 'open'
    WHEN julianday(c.completed_at) IS NULL OR julianday({at}) IS NULL THEN 'unreadable'
    {_unanswered("c.id", "c.checklist_edition_id", "c.again")}
    WHEN EXISTS (SELECT 1 FROM checklist_edition n JOIN checklist_edition e ON e.id = c.checklist_edition_id
        WHERE n.edition > e.edition AND ({standing} IS NULL
            OR {_entered("checklist_edition", "n.id")} < {entered})) THEN 'edition'
    WHEN {_age_s("c.completed_at", at)} < -0.01 THEN 'ahead of opening'
    WHEN {standing} IS NOT NULL THEN CASE WHEN {_age_s("c.completed_at", at)} > {_DAY_S} THEN 'expired' END
    WHEN {_not_of_the_day("c.id", "c.completed_at")} THEN 'stale'
    WHEN date(c.completed_at, 'localtime') IS NOT date({at}, 'localtime') THEN 'another day'
    WHEN {_age_s("c.completed_at", at)} > {limit} THEN 'expired'
    WHEN {_clock_moved("c.completed_at", at)} THEN 'moved'"""


def of_opening(cast: str, checklist: str, at: str) -> str:
    """What keeps a whole list from opening an evening, new or closed or open: it is of one of its batches, or of one
    that has no melt yet and comes into the open evening by it.
    """
    ours = f"""EXISTS (SELECT 1 FROM melt m WHERE m.cast_session_id = {cast} AND m.batch_id = c.batch_id)
        OR (EXISTS (SELECT 1 FROM cast_session s WHERE s.id = {cast} AND s.closed_at IS NULL)
            AND NOT EXISTS (SELECT 1 FROM melt m WHERE m.batch_id = c.batch_id))"""
    return of_list(ours, checklist, at)


def of_joining(batch: str, cast: str, checklist: str, now: str) -> str:
    """What keeps a short list from letting a batch into an open evening as a further melt now."""
    return f"""coalesce((SELECT CASE
    WHEN s.id IS NULL THEN 'no evening' WHEN s.closed_at IS NOT NULL THEN 'evening closed' END
    FROM (SELECT 1) LEFT JOIN cast_session s ON s.id = {cast}),
    {_of_short(batch, cast, checklist, now)}, {of_evening(cast, now, now)}, {of_due(cast, now)},
    {of_signer(cast, checklist)})"""


def of_signer(cast: str, checklist: str) -> str:
    """Whether a list was signed by another person or for another place than the whole list of the evening."""
    return f"""(SELECT CASE
    WHEN n.person IS NOT w.person THEN 'due person' WHEN n.place IS NOT w.place THEN 'due place' END
    FROM checklist n, session_opening o JOIN checklist w ON w.id = o.checklist_id
    WHERE n.id = {checklist} AND o.id = {last_opening(cast)})"""


def of_due(cast: str, at: str, melt: str = "NULL") -> str:
    """Why the whole list of an evening is due again at a moment, before a further melt joins or `melt` is heated first.

    The readings of that melt itself do not count: its pan is hot by then, and a melt under way is never shut.
    """
    signing = _changed("checklist", "w.id", "completed_at")
    return f"""(SELECT CASE
    WHEN julianday(w.completed_at) IS NULL OR julianday({at}) IS NULL THEN 'unreadable'
    WHEN {_age_s("w.completed_at", at)} > {_limit_s(signing)} + 0.01 THEN 'due hours'
    WHEN date({at}, 'localtime') > date(w.completed_at, 'localtime') THEN 'due day'
    WHEN EXISTS (SELECT 1 FROM temperature_reading r JOIN melt m ON m.id = r.melt_id
        WHERE m.cast_session_id = o.cast_session_id AND m.id IS NOT {melt} AND r.voided_at IS NULL
        AND r.read_at > w.completed_at AND r.read_at <= {at}
        AND max(r.temperature_k, coalesce(r.doubted_k, 0)) > {_limit_k(signing)}) THEN 'due hot'
    WHEN {incident_since(cast, at)} IS NOT NULL THEN 'due incident' END {_whole_list(cast)})"""


def _whole_list(cast: str) -> str:
    return f"FROM session_opening o JOIN checklist w ON w.id = o.checklist_id WHERE o.id = {last_opening(cast)}"


def incident_since(cast: str, at: str) -> str:
    """The last incident since the whole list of an evening was signed."""
    return f"""(SELECT max(i.id) {_whole_list(cast).replace(" WHERE", ", incident i WHERE")}
        AND i.kind = 'incident' AND i.voided_at IS NULL AND coalesce(i.cast_session_id, {cast}) = {cast}
        AND i.happened_at > w.completed_at AND i.happened_at <= {at})"""


def of_session(cast: str) -> str:
    """What is wrong with the opening that an open evening stands on."""
    ours = "EXISTS (SELECT 1 FROM melt m WHERE m.cast_session_id = s.id AND m.batch_id = c.batch_id)"
    return f"""(SELECT CASE
    WHEN o.id IS NULL OR NOT EXISTS (SELECT 1 FROM melt m JOIN batch b ON b.id = m.batch_id
        WHERE m.cast_session_id = s.id AND b.state = 'casting') THEN 'not opened'
    WHEN {last_closing("s.id")} > {_entered("session_opening", "o.id")} THEN 'closed'
    ELSE {of_list(ours, "o.checklist_id", "o.opened_at", "o.id")}
    END FROM cast_session s LEFT JOIN session_opening o ON o.id = {last_opening("s.id")} WHERE s.id = {cast})"""


def of_melt(melt: str) -> str:
    """What is wrong with how a melt came into its evening: it stands on a whole list of its batch that opened the
    evening, or on the short list that it names.
    """
    own = """(SELECT max(l.id) FROM session_opening l JOIN checklist k ON k.id = l.checklist_id
        WHERE l.cast_session_id = m.cast_session_id AND k.batch_id = m.batch_id)"""
    return f"""(SELECT CASE
    WHEN b.state <> 'casting' THEN 'not joined'
    WHEN o.id IS NOT NULL THEN {of_list("c.batch_id IS m.batch_id", "o.checklist_id", "o.opened_at", "o.id")}
    WHEN m.checklist_id IS NULL THEN 'not joined'
    ELSE {_of_short("m.batch_id", "m.cast_session_id", "m.checklist_id", "m.created_at", "m.id")}
    END FROM melt m JOIN batch b ON b.id = m.batch_id LEFT JOIN session_opening o ON o.id = {own}
    WHERE m.id = {melt})"""


def of_evening(cast: str, now: str, done: str) -> str:
    """What keeps an evening from anything new being weighed out, heated or joined at the moment `done`, told at `now`.

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


def of_new_work(melt: str, now: str, done: str) -> str:
    """What keeps a melt from anything of it being weighed out at the moment `done`, told at `now`."""
    return f"""coalesce({of_evening(evening_of(melt), now, done)}, {of_melt(melt)},
    CASE WHEN {other_on_the_heat(melt)} IS NOT NULL THEN 'one pan' END)"""


def of_heating(melt: str, now: str, done: str, person: str) -> str:
    """What keeps a melt not under way from being heated by a person (anybody where empty) at `done`, told at `now`."""
    return f"""coalesce({of_new_work(melt, now, done)}, {of_due(evening_of(melt), done, melt)},
    (SELECT CASE WHEN {person} <> '' AND {person} IS NOT w.person THEN 'due person' END
    {_whole_list(evening_of(melt))}))"""


def evening_of(melt: str) -> str:
    """The evening of a melt."""
    return f"(SELECT e.cast_session_id FROM melt e WHERE e.id = {melt})"


def other_on_the_heat(melt: str) -> str:
    """Another melt of the evening that was heated and is not poured."""
    return f"""(SELECT min(x.id) FROM melt x WHERE x.cast_session_id = {evening_of(melt)} AND x.id IS NOT {melt}
    AND {on_the_heat("x.id")})"""


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


def heats(step: str) -> str:
    """Whether a step is work on the heat: something goes into the hot pan, or is poured from it."""
    into = " OR ".join(f"{step}.key LIKE '{kind}:%'" for kind in ("melt", "remelt", "oxidiser"))
    return f"({step}.key = 'pour' OR {into})"


def under_way(melt: str) -> str:
    """Whether a melt is under way: something was heated or poured, by the steps that were done.

    This is the one meaning of a running melt. It is never shut, whatever the clock or a restore does.
    """
    return f"EXISTS (SELECT 1 FROM cast_step h WHERE h.melt_id = {melt} AND h.done_at IS NOT NULL AND {heats('h')})"


def under_way_in(cast: str) -> str:
    """Whether any melt of an evening is under way."""
    return f"EXISTS (SELECT 1 FROM melt y WHERE y.cast_session_id = {cast} AND {under_way('y.id')})"


def on_the_heat(melt: str) -> str:
    """Whether a melt was heated and is not poured into all its sets."""
    return f"""({under_way(melt)} AND EXISTS (SELECT 1 FROM cast_step p WHERE p.melt_id = {melt} AND p.key = 'pour'
    AND p.done_at IS NULL AND p.skipped_why IS NULL))"""
