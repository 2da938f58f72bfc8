# ruff: noqa: S608  (what is put into these statements are expressions of our own)
"""Guards of hot work and of mass: the checklist gate, one plan for one list, an open session, bags not overdrawn."""

from app.book import gate_rule
from app.book.stops import stop

_SESSION_IS_OPEN = """EXISTS (SELECT 1 FROM cast_session s WHERE {join} AND s.closed_at IS NULL)"""


_LIST_SIGNED = """EXISTS (SELECT 1 FROM checklist c
    WHERE c.checklist_edition_id = {row}.checklist_edition_id AND c.completed_at IS NOT NULL)"""
_RENUMBERED = "NEW.id IS NOT OLD.id OR NEW.edition IS NOT OLD.edition"
_PLAN_FROZEN = """(EXISTS (SELECT 1 FROM melt m WHERE m.batch_id = {id})
    OR EXISTS (SELECT 1 FROM checklist c WHERE c.batch_id = {id}
               AND c.completed_at IS NOT NULL AND c.voided_at IS NULL))"""
_NOW = "coalesce((SELECT at FROM act_in_hand), {row})"
"""The moment of the act in hand, by the program's clock; of another program's act what it says itself."""

_PAN = "(SELECT m.id FROM melt m JOIN batch_part p ON p.batch_id = m.batch_id WHERE p.id = NEW.batch_part_id)"
_FIRST_OF_EVENING = """(EXISTS (
    SELECT 1 FROM cast_session s WHERE s.id = NEW.cast_session_id AND s.closed_at IS NOT NULL)
    AND NOT EXISTS (SELECT 1 FROM session_opening o WHERE o.cast_session_id = NEW.cast_session_id)
    AND NOT EXISTS (SELECT 1 FROM melt m WHERE m.cast_session_id = NEW.cast_session_id))"""
_BY_A_WHOLE_LIST = f"""EXISTS (SELECT 1 FROM cast_session s, session_opening o JOIN checklist c ON c.id = o.checklist_id
    WHERE s.id = NEW.cast_session_id AND s.closed_at IS NULL AND c.batch_id = NEW.batch_id
    AND o.id = {gate_rule.last_opening("NEW.cast_session_id")})"""
_COMPLETE = "(SELECT completed_at FROM checklist c WHERE c.id = {id}) IS NOT NULL"
_BAG_OVERDRAWN = """NEW.supply_id IS NOT NULL AND NEW.voided_at IS NULL AND
    (SELECT mass_kg FROM supply WHERE id = NEW.supply_id)
    + (SELECT coalesce(sum(delta_kg), 0) FROM supply_correction WHERE supply_id = NEW.supply_id)
    - (SELECT coalesce(sum(mass_kg), 0) FROM weigh_out
       WHERE supply_id = NEW.supply_id AND voided_at IS NULL AND id <> coalesce(NEW.id, -1))
    - NEW.mass_kg < -1e-9"""
_LEFTOVER_OVERDRAWN = """NEW.leftover_id IS NOT NULL AND NEW.voided_at IS NULL AND
    (SELECT mass_kg FROM leftover WHERE id = NEW.leftover_id)
    - (SELECT coalesce(sum(mass_kg), 0) FROM weigh_out
       WHERE leftover_id = NEW.leftover_id AND voided_at IS NULL AND id <> coalesce(NEW.id, -1))
    - NEW.mass_kg < -1e-9"""

# Of two guards that stop the same act the one made last speaks, and that should be the one that knows why.
GUARDS: list[tuple[str, str]] = [
    # The checklist gate
    stop(
        "guard_opening_needs_checklist",
        "BEFORE INSERT ON session_opening",
        gate_rule.of_opening("NEW.cast_session_id", "NEW.checklist_id", "NEW.opened_at") + " IS NOT NULL",
        "a cast session opens only with a complete checklist of its batch and the newest list, made today and recent "
        "enough, that opened nothing yet",
    ),
    stop("guard_opening_stays", "BEFORE UPDATE ON session_opening", "1", "an opening is never changed"),
    stop("guard_opening_kept", "BEFORE DELETE ON session_opening", "1", "an opening is never erased"),
    stop(
        "guard_session_starts_closed",
        "BEFORE INSERT ON cast_session",
        "NEW.closed_at IS NULL",
        "a cast session is opened by a checklist",
    ),
    stop(
        "guard_session_reopening",
        "BEFORE UPDATE ON cast_session",
        f"OLD.closed_at IS NOT NULL AND NEW.closed_at IS NULL AND NOT ({gate_rule.reopened('NEW.id')})",
        "a closed cast session is reopened by a new checklist",
    ),
    stop(
        "guard_session_stays",
        "BEFORE UPDATE ON cast_session",
        f"""(OLD.closed_at IS NOT NULL AND NEW.closed_at IS NOT NULL AND NEW.closed_at IS NOT OLD.closed_at)
            OR (OLD.closed_at IS NULL AND NEW.closed_at <= (
                SELECT opened_at FROM session_opening WHERE id = {gate_rule.last_opening("NEW.id")}))""",
        "a cast session closes after it was opened, and stays closed when it was",
    ),
    # Melts of an evening
    stop(
        "guard_melt_joins",
        "BEFORE INSERT ON melt",
        f"""CASE WHEN NEW.checklist_id IS NULL THEN NOT ({_FIRST_OF_EVENING} OR {_BY_A_WHOLE_LIST}) ELSE """
        + gate_rule.of_joining(
            "NEW.batch_id", "NEW.cast_session_id", "NEW.checklist_id", _NOW.format(row="NEW.created_at")
        )
        + " IS NOT NULL END",
        "a further melt joins an open evening by its short list, signed by the same person at the same place while the "
        "whole list holds, or by a whole list of its own",
    ),
    stop(
        "guard_melt_stays",
        "BEFORE UPDATE ON melt",
        " OR ".join(
            f"NEW.{name} IS NOT OLD.{name}" for name in ("id", "batch_id", "cast_session_id", "number", "checklist_id")
        ),
        "a melt keeps its batch and its evening",
    ),
    stop("guard_melt_kept", "BEFORE DELETE ON melt", "1", "a melt is never erased"),
    stop(
        "guard_step_stays",
        "BEFORE UPDATE ON cast_step",
        "NEW.melt_id IS NOT OLD.melt_id OR NEW.key IS NOT OLD.key OR NEW.set_number IS NOT OLD.set_number",
        "a step keeps its melt and its place in it",
    ),
    stop(
        "guard_checklist_starts_open",
        "BEFORE INSERT ON checklist",
        "NEW.completed_at IS NOT NULL",
        "a checklist is answered before it is complete",
    ),
    stop(
        "guard_checklist_placed",
        "BEFORE UPDATE ON checklist",
        "OLD.completed_at IS NULL AND NEW.completed_at IS NOT NULL AND trim(NEW.place) = ''",
        "a checklist is signed for a place",
    ),
    stop(
        "guard_checklist_complete",
        "BEFORE UPDATE ON checklist",
        "OLD.completed_at IS NULL AND NEW.completed_at IS NOT NULL AND "
        + gate_rule.of_signing("NEW.id", "NEW.checklist_edition_id", "NEW.again", "NEW.completed_at")
        + " IS NOT NULL",
        "every line of the checklist, in its newest version, needs an answer made today",
    ),
    stop(
        "guard_checklist_frozen",
        "BEFORE UPDATE ON checklist",
        """OLD.completed_at IS NOT NULL AND (NEW.completed_at IS NOT OLD.completed_at
            OR NEW.person IS NOT OLD.person OR NEW.batch_id IS NOT OLD.batch_id
            OR NEW.checklist_edition_id IS NOT OLD.checklist_edition_id
            OR NEW.place IS NOT OLD.place OR NEW.again IS NOT OLD.again
            OR NEW.cast_session_id IS NOT OLD.cast_session_id
            OR (OLD.voided_at IS NOT NULL AND NEW.voided_at IS NULL))""",
        "a complete checklist is not changed; make a new one",
    ),
    *(
        stop(
            f"guard_answer_{act.lower()}",
            f"BEFORE {act} ON checklist_answer",
            _COMPLETE.format(id=f"{row}.checklist_id"),
            "a complete checklist is not changed; make a new one",
        )
        for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
    ),
    stop(
        "guard_answer_of_this_list",
        "BEFORE INSERT ON checklist_answer",
        """(SELECT checklist_edition_id FROM checklist_item WHERE id = NEW.checklist_item_id)
            IS NOT (SELECT checklist_edition_id FROM checklist WHERE id = NEW.checklist_id)""",
        "the line belongs to another version of the list",
    ),
    *(
        stop(
            f"guard_answer_says_{act.lower()}",
            f"BEFORE {act} ON checklist_answer",
            """NEW.answer = 'done' AND json_array_length(NEW.numbers_json) * 2 IS NOT
                (SELECT length(i.words) - length(replace(i.words, '__', '')) FROM checklist_item i
                 WHERE i.id = NEW.checklist_item_id)""",
            "a line of the checklist with blanks takes a number for each of them",
        )
        for act in ("INSERT", "UPDATE")
    ),
    *(
        stop(
            f"guard_list_{act.lower()}",
            f"BEFORE {act} ON checklist_item",
            _LIST_SIGNED.format(row=row),
            "a version of the list that was signed is not changed; make a new version",
        )
        for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
    ),
    *(
        stop(
            f"guard_edition_{act.split()[0].lower()}",
            f"BEFORE {act} ON checklist_edition",
            condition,
            "a version of the list keeps its number; make a new version",
        )
        for act, condition in (("UPDATE OF id, edition", _RENUMBERED), ("DELETE", "1"))
    ),
    # A checklist is signed for one plan
    *(
        stop(
            f"guard_{table}_{act.split()[0].lower()}",
            f"BEFORE {act} ON {table}",
            _PLAN_FROZEN.format(id=f"{row}.batch_id"),
            "the plan has a complete checklist or was cast; void the checklist first",
        )
        for table, measured in (("batch_part", "target_kg"), ("batch_item", "count"))
        for act, row in (("INSERT", "NEW"), (f"UPDATE OF {measured}, batch_id", "OLD"), ("DELETE", "OLD"))
    ),
    stop(
        "guard_batch_update",
        "BEFORE UPDATE OF code, formula_id, target_mass_kg ON batch",
        f"""(NEW.code IS NOT OLD.code OR NEW.formula_id IS NOT OLD.formula_id
            OR NEW.target_mass_kg IS NOT OLD.target_mass_kg) AND {_PLAN_FROZEN.format(id="OLD.id")}""",
        "the plan has a complete checklist or was cast; void the checklist first",
    ),
    # New weighing and heating needs the gate; a melt under way goes on
    stop(
        "guard_weigh_out_of_the_day",
        "BEFORE INSERT ON weigh_out",
        gate_rule.of_new_work(_PAN, "NEW.created_at", "NEW.created_at") + " IS NOT NULL",
        "the session was opened on an earlier day, or its checklist does not hold; reopen it with a new checklist",
    ),
    stop(
        "guard_step_of_the_day",
        "BEFORE UPDATE ON cast_step",
        f"""OLD.done_at IS NULL AND NEW.done_at IS NOT NULL AND {gate_rule.is_hot("NEW")}
            AND NOT ({gate_rule.under_way("NEW.melt_id")}) AND CASE WHEN {gate_rule.heats("NEW")} THEN """
        + gate_rule.of_heating("NEW.melt_id", _NOW.format(row="NEW.done_at"), "NEW.done_at", "NEW.person")
        + " ELSE "
        + gate_rule.of_new_work("NEW.melt_id", _NOW.format(row="NEW.done_at"), "NEW.done_at")
        + " END IS NOT NULL",
        "the session was opened on an earlier day, or its checklist does not hold; reopen it with a new checklist",
    ),
    # Work belongs to an open session
    *(
        stop(
            f"guard_{table}_{act.lower()}",
            f"BEFORE {act} ON {table}",
            "NOT " + _SESSION_IS_OPEN.format(join=f"s.id = {evening}"),
            "the cast session is closed; reopen it with a new checklist",
        )
        for table, act, evening in (
            ("cast_step", "UPDATE", gate_rule.evening_of("NEW.melt_id")),
            ("temperature_reading", "INSERT", gate_rule.evening_of("NEW.melt_id")),
            ("session_note", "INSERT", "NEW.cast_session_id"),
        )
    ),
    *(
        stop(
            f"guard_weigh_out_{act.lower()}",
            f"BEFORE {act} ON weigh_out",
            "NOT " + _SESSION_IS_OPEN.format(join=f"s.id = {gate_rule.evening_of(_PAN)}"),
            "the cast session is not open; open it with a checklist",
        )
        for act in ("INSERT", "UPDATE")
    ),
    # Mass does not come from nowhere
    stop("guard_bag_insert", "BEFORE INSERT ON weigh_out", _BAG_OVERDRAWN, "the bag does not hold that much"),
    stop("guard_bag_update", "BEFORE UPDATE ON weigh_out", _BAG_OVERDRAWN, "the bag does not hold that much"),
    stop("guard_leftover", "BEFORE INSERT ON weigh_out", _LEFTOVER_OVERDRAWN, "the leftover does not hold that much"),
    stop(
        "guard_weigh_out_stays",
        "BEFORE UPDATE ON weigh_out",
        """NEW.mass_kg IS NOT OLD.mass_kg OR NEW.batch_part_id IS NOT OLD.batch_part_id
            OR NEW.supply_id IS NOT OLD.supply_id OR NEW.leftover_id IS NOT OLD.leftover_id
            OR (OLD.voided_at IS NOT NULL AND NEW.voided_at IS NOT OLD.voided_at)""",
        "a weighed amount is struck out and weighed again, not rewritten",
    ),
    stop("guard_weigh_out_kept", "BEFORE DELETE ON weigh_out", "1", "a weighed amount is struck out, not erased"),
]
