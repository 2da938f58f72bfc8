"""Rules that the database itself keeps, whoever writes: triggers, installed after each migration.

Services check the same rules first and explain them; a guard is what stops a stale tab, another
program or a slip in our own code. Kept apart from the migrations because rebuilding a table drops
its triggers.
"""

from sqlalchemy import Connection

from app.book import record

_SESSION_IS_OPEN = """EXISTS (SELECT 1 FROM cast_session s WHERE {join} AND s.closed_at IS NULL)"""


def _stop(name: str, moment: str, condition: str, message: str) -> tuple[str, str]:
    sql = f"CREATE TRIGGER {name} {moment} WHEN {condition} BEGIN SELECT RAISE(ABORT, '{message}'); END"
    return name, sql


_FRESH_CHECKLIST = """NOT EXISTS (
    SELECT 1 FROM checklist c
    JOIN cast_session s ON s.id = NEW.cast_session_id AND s.batch_id = c.batch_id
    JOIN workshop w ON w.id = 1
    WHERE c.id = NEW.checklist_id
      AND c.voided_at IS NULL
      AND date(c.completed_at, 'localtime') = date(NEW.opened_at, 'localtime')  -- so it is complete
      AND (julianday(NEW.opened_at) - julianday(c.completed_at)) * 86400.0 BETWEEN -0.01 AND w.checklist_valid_s
      AND (SELECT count(*) FROM checklist_answer a WHERE a.checklist_id = c.id)
        = (SELECT count(*) FROM checklist_item i WHERE i.checklist_edition_id = c.checklist_edition_id)
)"""

_ALL_ANSWERED = """(SELECT count(*) FROM checklist_answer a WHERE a.checklist_id = NEW.id)
    = (SELECT count(*) FROM checklist_item i WHERE i.checklist_edition_id = NEW.checklist_edition_id)"""

_LIST_SIGNED = """EXISTS (SELECT 1 FROM checklist c
    WHERE c.checklist_edition_id = {row}.checklist_edition_id AND c.completed_at IS NOT NULL)"""
_PLAN_FROZEN = """(EXISTS (SELECT 1 FROM cast_session s WHERE s.batch_id = {id})
    OR EXISTS (SELECT 1 FROM checklist c WHERE c.batch_id = {id}
               AND c.completed_at IS NOT NULL AND c.voided_at IS NULL))"""
_LAST_OPENING = "(SELECT max(o.opened_at) FROM session_opening o WHERE o.cast_session_id = NEW.id)"

# Hot work begins on the day of the last opening, or for as long as a checklist holds
_DAY_OVER = """EXISTS (SELECT 1 FROM cast_session s JOIN workshop w ON w.id = 1
    JOIN session_opening o ON o.id = (SELECT max(id) FROM session_opening WHERE cast_session_id = s.id)
    WHERE {join} AND date({moment}, 'localtime') > date(o.opened_at, 'localtime')
      AND (julianday({moment}) - julianday(o.opened_at)) * 86400.0 > w.checklist_valid_s + 0.01)"""
_PAN_OF_PART = "s.batch_id = (SELECT batch_id FROM batch_part p WHERE p.id = NEW.batch_part_id)"

_FORMULA_USED = "EXISTS (SELECT 1 FROM batch b WHERE b.formula_id = {id})"
_COMPLETE = "(SELECT completed_at FROM checklist c WHERE c.id = {id}) IS NOT NULL"
_TAKEN_BACK = """OLD.decision IS NULL AND OLD.bagged_at IS NULL AND EXISTS (
    SELECT 1 FROM struck_weighing s
    WHERE s.serial = OLD.serial AND s.weighed_at = OLD.weighed_at AND s.mass_kg = OLD.mass_kg
      AND (julianday(s.struck_at) - julianday(OLD.weighed_at)) * 86400.0 BETWEEN -0.01 AND 60.01)"""
_THIS_MINUTE = """(julianday(coalesce((SELECT at FROM act_in_hand), 'now')) - julianday(OLD.created_at)) * 86400.0
    BETWEEN -0.01 AND 60.01"""
_GRAIN_HELD = "EXISTS (SELECT 1 FROM build_grain g WHERE g.grain_id = OLD.id AND g.released_at IS NULL)"
_GRAIN_WET = """(SELECT r.wet AND r.accepted_at IS NULL FROM re_weigh r
    WHERE r.grain_id = NEW.grain_id AND r.voided_at IS NULL ORDER BY r.id DESC LIMIT 1)"""
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
GUARDS: dict[str, str] = record.triggers() | dict(
    [
        # The checklist gate
        _stop(
            "guard_opening_needs_checklist",
            "BEFORE INSERT ON session_opening",
            _FRESH_CHECKLIST,
            "a cast session opens only with a complete checklist of its batch, made today and recent enough",
        ),
        _stop("guard_opening_stays", "BEFORE UPDATE ON session_opening", "1", "an opening is never changed"),
        _stop("guard_opening_kept", "BEFORE DELETE ON session_opening", "1", "an opening is never erased"),
        _stop(
            "guard_session_starts_closed",
            "BEFORE INSERT ON cast_session",
            "NEW.closed_at IS NULL",
            "a cast session is opened by a checklist",
        ),
        _stop(
            "guard_session_reopening",
            "BEFORE UPDATE ON cast_session",
            """OLD.closed_at IS NOT NULL AND NEW.closed_at IS NULL AND NOT EXISTS (
                SELECT 1 FROM session_opening o WHERE o.cast_session_id = NEW.id AND o.opened_at >= OLD.closed_at)""",
            "a closed cast session is reopened by a new checklist",
        ),
        _stop(
            "guard_session_stays",
            "BEFORE UPDATE ON cast_session",
            f"""NEW.batch_id IS NOT OLD.batch_id
                OR (OLD.closed_at IS NOT NULL AND NEW.closed_at IS NOT NULL AND NEW.closed_at IS NOT OLD.closed_at)
                OR (OLD.closed_at IS NULL AND NEW.closed_at <= {_LAST_OPENING})""",
            "a cast session keeps its batch, and closes after it was opened",
        ),
        _stop(
            "guard_checklist_starts_open",
            "BEFORE INSERT ON checklist",
            "NEW.completed_at IS NOT NULL",
            "a checklist is answered before it is complete",
        ),
        _stop(
            "guard_checklist_complete",
            "BEFORE UPDATE ON checklist",
            f"OLD.completed_at IS NULL AND NEW.completed_at IS NOT NULL AND NOT ({_ALL_ANSWERED})",
            "every line of the checklist needs an answer",
        ),
        _stop(
            "guard_checklist_frozen",
            "BEFORE UPDATE ON checklist",
            """OLD.completed_at IS NOT NULL AND (NEW.completed_at IS NOT OLD.completed_at
                OR NEW.person IS NOT OLD.person OR NEW.batch_id IS NOT OLD.batch_id
                OR NEW.checklist_edition_id IS NOT OLD.checklist_edition_id
                OR (OLD.voided_at IS NOT NULL AND NEW.voided_at IS NULL))""",
            "a complete checklist is not changed; make a new one",
        ),
        *(
            _stop(
                f"guard_answer_{act.lower()}",
                f"BEFORE {act} ON checklist_answer",
                _COMPLETE.format(id=f"{row}.checklist_id"),
                "a complete checklist is not changed; make a new one",
            )
            for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
        ),
        _stop(
            "guard_answer_of_this_list",
            "BEFORE INSERT ON checklist_answer",
            """(SELECT checklist_edition_id FROM checklist_item WHERE id = NEW.checklist_item_id)
                IS NOT (SELECT checklist_edition_id FROM checklist WHERE id = NEW.checklist_id)""",
            "the line belongs to another version of the list",
        ),
        *(
            _stop(
                f"guard_list_{act.lower()}",
                f"BEFORE {act} ON checklist_item",
                _LIST_SIGNED.format(row=row),
                "a version of the list that was signed is not changed; make a new version",
            )
            for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
        ),
        # A checklist is signed for one plan
        *(
            _stop(
                f"guard_{table}_{act.split()[0].lower()}",
                f"BEFORE {act} ON {table}",
                _PLAN_FROZEN.format(id=f"{row}.batch_id"),
                "the plan has a complete checklist or was cast; void the checklist first",
            )
            for table, measured in (("batch_part", "target_kg"), ("batch_item", "count"))
            for act, row in (("INSERT", "NEW"), (f"UPDATE OF {measured}, batch_id", "OLD"), ("DELETE", "OLD"))
        ),
        _stop(
            "guard_batch_update",
            "BEFORE UPDATE OF code, formula_id, target_mass_kg ON batch",
            f"""(NEW.code IS NOT OLD.code OR NEW.formula_id IS NOT OLD.formula_id
                OR NEW.target_mass_kg IS NOT OLD.target_mass_kg) AND {_PLAN_FROZEN.format(id="OLD.id")}""",
            "the plan has a complete checklist or was cast; void the checklist first",
        ),
        # Work belongs to an open session
        *(
            _stop(
                f"guard_{table}_{act.lower()}",
                f"BEFORE {act} ON {table}",
                "NOT " + _SESSION_IS_OPEN.format(join="s.id = NEW.cast_session_id"),
                "the cast session is closed; reopen it with a new checklist",
            )
            for table, act in (("cast_step", "UPDATE"), ("temperature_reading", "INSERT"), ("session_note", "INSERT"))
        ),
        *(
            _stop(
                f"guard_weigh_out_{act.lower()}",
                f"BEFORE {act} ON weigh_out",
                "NOT " + _SESSION_IS_OPEN.format(join=_PAN_OF_PART),
                "the cast session is not open; open it with a checklist",
            )
            for act in ("INSERT", "UPDATE")
        ),
        _stop(
            "guard_weigh_out_of_the_day",
            "BEFORE INSERT ON weigh_out",
            _DAY_OVER.format(join=_PAN_OF_PART, moment="NEW.created_at"),
            "the session was opened on an earlier day; reopen it with a new checklist",
        ),
        _stop(
            "guard_step_of_the_day",
            "BEFORE UPDATE ON cast_step",
            "OLD.done_at IS NULL AND NEW.done_at IS NOT NULL AND (NEW.set_number = 0 OR NEW.key = 'pour') AND "
            + _DAY_OVER.format(join="s.id = NEW.cast_session_id", moment="NEW.done_at"),
            "the session was opened on an earlier day; reopen it with a new checklist",
        ),
        # Mass does not come from nowhere
        _stop("guard_bag_insert", "BEFORE INSERT ON weigh_out", _BAG_OVERDRAWN, "the bag does not hold that much"),
        _stop("guard_bag_update", "BEFORE UPDATE ON weigh_out", _BAG_OVERDRAWN, "the bag does not hold that much"),
        _stop(
            "guard_leftover", "BEFORE INSERT ON weigh_out", _LEFTOVER_OVERDRAWN, "the leftover does not hold that much"
        ),
        _stop(
            "guard_weigh_out_stays",
            "BEFORE UPDATE ON weigh_out",
            """NEW.mass_kg IS NOT OLD.mass_kg OR NEW.batch_part_id IS NOT OLD.batch_part_id
                OR NEW.supply_id IS NOT OLD.supply_id OR NEW.leftover_id IS NOT OLD.leftover_id
                OR (OLD.voided_at IS NOT NULL AND NEW.voided_at IS NOT OLD.voided_at)""",
            "a weighed amount is struck out and weighed again, not rewritten",
        ),
        _stop("guard_weigh_out_kept", "BEFORE DELETE ON weigh_out", "1", "a weighed amount is struck out, not erased"),
        # What was used is not rewritten
        _stop(
            "guard_formula_update",
            "BEFORE UPDATE ON formula",
            _FORMULA_USED.format(id="OLD.id") + " AND (NEW.name IS NOT OLD.name OR NEW.edition IS NOT OLD.edition)",
            "a formula in use is not changed; make a new version",
        ),
        *(
            _stop(
                f"guard_formula_part_{act.lower()}",
                f"BEFORE {act} ON formula_part",
                _FORMULA_USED.format(id=f"{row}.formula_id"),
                "a formula in use is not changed; make a new version",
            )
            for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
        ),
        _stop("guard_prediction_stays", "BEFORE UPDATE ON prediction", "1", "a prediction is never rewritten"),
        _stop("guard_prediction_kept", "BEFORE DELETE ON prediction", "1", "a prediction is never erased"),
        _stop(
            "guard_build_accepted_grain",
            "BEFORE INSERT ON build_grain",
            "(SELECT decision FROM grain WHERE id = NEW.grain_id) IS NOT 'accept'",
            "only accepted grains go into a motor",
        ),
        *(
            _stop(
                f"guard_build_dry_grain_{act.split()[0].lower()}",
                f"BEFORE {act} ON build_grain",
                f"NEW.released_at IS NULL AND {_GRAIN_WET}",
                "the grain is wet; dry it and weigh it again, or accept it with a reason",
            )
            for act in ("INSERT", "UPDATE OF grain_id, released_at")
        ),
        _stop(
            "guard_fired_grain_stays",
            "BEFORE UPDATE ON build_grain",
            """OLD.released_at IS NULL AND NEW.released_at IS NOT NULL AND EXISTS (
                SELECT 1 FROM firing f WHERE f.motor_build_id = OLD.motor_build_id AND f.result <> 'no_light')""",
            "the grain was burned; it does not go back to the shelf",
        ),
        _stop(
            "guard_held_grain",
            "BEFORE UPDATE ON grain",
            f"{_GRAIN_HELD} AND (NEW.decision IS NOT OLD.decision OR NEW.mass_kg <> OLD.mass_kg)",
            "the grain is in a motor; take the motor apart first",
        ),
        _stop(
            "guard_grain_kept",
            "BEFORE DELETE ON grain",
            f"NOT ({_TAKEN_BACK})",
            "a grain is rejected, not erased; only a weighing of the last minute is taken back",
        ),
        _stop("guard_struck_stays", "BEFORE UPDATE ON struck_weighing", "1", "a struck weighing is never changed"),
        _stop("guard_struck_kept", "BEFORE DELETE ON struck_weighing", "1", "a struck weighing is never erased"),
        # A rejected grain that is gone is in one place only
        _stop(
            "guard_gone_grain",
            "BEFORE UPDATE ON grain",
            """OLD.gone_to IS NOT NULL AND (
                (NEW.gone_to IS NOT NULL AND (NEW.gone_to IS NOT OLD.gone_to OR NEW.decision IS NOT OLD.decision
                    OR NEW.mass_kg IS NOT OLD.mass_kg OR NEW.batch_id IS NOT OLD.batch_id))
                OR (NEW.gone_to IS NULL AND EXISTS (SELECT 1 FROM leftover l WHERE l.grain_id = OLD.id)))""",
            "the grain went to remelt or scrap; bring it back first",
        ),
        _stop(
            "guard_leftover_of_grain",
            "BEFORE INSERT ON leftover",
            """NEW.grain_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM grain g WHERE g.id = NEW.grain_id
                AND g.gone_to = 'remelt' AND g.batch_id = NEW.batch_id AND g.mass_kg = NEW.mass_kg)""",
            "a grain goes to remelt whole, as a leftover of its own lot",
        ),
        _stop(
            "guard_leftover_stays",
            "BEFORE UPDATE ON leftover",
            """OLD.grain_id IS NOT NULL AND (NEW.grain_id IS NOT OLD.grain_id OR NEW.mass_kg IS NOT OLD.mass_kg
                OR NEW.batch_id IS NOT OLD.batch_id)""",
            "a leftover made of a grain keeps its mass",
        ),
        _stop(
            "guard_firing_of_whole_motor",
            "BEFORE INSERT ON firing",
            "(SELECT taken_apart_at FROM motor_build WHERE id = NEW.motor_build_id) IS NOT NULL",
            "the motor was taken apart; it cannot be fired",
        ),
        _stop(
            "guard_firing_kept",
            "BEFORE DELETE ON firing",
            f"NOT ({_THIS_MINUTE})",
            "a firing is corrected, not erased; only one written down in the last minute is taken back",
        ),
        # What a logger wrote stays as it came
        _stop("guard_curve_file_stays", "BEFORE UPDATE ON curve_file", "1", "a file of a logger is kept as it came"),
        *(
            _stop(
                f"guard_curve_{act.lower()}",
                f"BEFORE {act} ON curve",
                "1",
                "a curve is read again, not rewritten or erased",
            )
            for act in ("UPDATE", "DELETE")
        ),
        _stop(
            "guard_altimeter_file_stays",
            "BEFORE UPDATE ON altimeter_file",
            "1",
            "a file of an altimeter is kept as it came",
        ),
        *(
            _stop(f"guard_{table}_{act.lower()}", f"BEFORE {act} ON {table}", "1", words)
            for table, words in (
                ("altimeter_track", "the record of a flight is read again, not rewritten or erased"),
                ("firing_finding", "what was found is told again, not rewritten or erased"),
                ("suspect_grain", "what was found is told again, not rewritten or erased"),
            )
            for act in ("UPDATE", "DELETE")
        ),
        _stop(
            "guard_suspect_was_in_it",
            "BEFORE INSERT ON suspect_grain",
            """NOT EXISTS (SELECT 1 FROM firing_finding n JOIN firing f ON f.id = n.firing_id
                JOIN build_grain g ON g.motor_build_id = f.motor_build_id
                WHERE n.id = NEW.firing_finding_id AND g.grain_id = NEW.grain_id)""",
            "only a grain of the motor can be suspected",
        ),
        *(
            _stop(
                f"guard_{table}_stays",
                f"BEFORE UPDATE ON {table}",
                "OLD.voided_at IS NOT NULL OR " + " OR ".join(f"NEW.{name} IS NOT OLD.{name}" for name in kept),
                f"{noun} is struck out with a reason, not rewritten",
            )
            for table, noun, kept in (
                (
                    "firing_picture",
                    "a picture",
                    ("firing_id", "name", "caption", "media_type", "width", "height", "sha256", "size_bytes", "raw"),
                ),
                ("firing_reference", "a reference", ("firing_id", "address", "caption")),
            )
        ),
        *(
            _stop(f"guard_{table}_kept", f"BEFORE DELETE ON {table}", "1", f"{noun} is struck out, not erased")
            for table, noun in (("firing_picture", "a picture"), ("firing_reference", "a reference"))
        ),
        # Stored grains and test pieces: what was noted stays
        *(
            _stop(
                f"guard_grain_bag_{act.lower()}",
                f"BEFORE {act} ON grain_bag",
                "1",
                "where a bag lay is followed by where it lies, not rewritten or erased",
            )
            for act in ("UPDATE", "DELETE")
        ),
        *(
            _stop(
                f"guard_{table}_stays",
                f"BEFORE UPDATE ON {table}",
                "OLD.voided_at IS NOT NULL OR " + " OR ".join(f"NEW.{name} IS NOT OLD.{name}" for name in kept),
                f"{noun} is struck out, not rewritten",
            )
            for table, noun, kept in (
                (
                    "re_weigh",
                    "a re-weigh",
                    (
                        "grain_id",
                        "weighed_at",
                        "gross_kg",
                        "gross_typed",
                        "tare_kg",
                        "mass_kg",
                        "label_kg",
                        "scale_resolution_kg",
                        "wet",
                    ),
                ),
                (
                    "temperature_reading",
                    "a reading of the pan",
                    ("cast_session_id", "read_at", "temperature_k", "temperature_typed"),
                ),
                ("nozzle_measure", "a measured throat", ("nozzle_id", "measured_on", "throat_d_m", "throat_d_typed")),
            )
        ),
        *(
            _stop(f"guard_{table}_kept", f"BEFORE DELETE ON {table}", "1", f"{noun} is struck out, not erased")
            for table, noun in (
                ("re_weigh", "a re-weigh"),
                ("temperature_reading", "a reading of the pan"),
                ("nozzle_measure", "a measured throat"),
            )
        ),
        _stop(
            "guard_test_piece_stays",
            "BEFORE UPDATE ON test_piece",
            """NEW.batch_id IS NOT OLD.batch_id OR NEW.number IS NOT OLD.number OR NEW.length_m IS NOT OLD.length_m
                OR NEW.burn_time_s IS NOT OLD.burn_time_s OR NEW.pressure_pa IS NOT OLD.pressure_pa
                OR (OLD.voided_at IS NOT NULL AND NEW.voided_at IS NOT OLD.voided_at)""",
            "a test piece is struck out, not rewritten",
        ),
        _stop("guard_test_piece_kept", "BEFORE DELETE ON test_piece", "1", "a test piece is struck out, not erased"),
    ]
)
"""Each trigger's SQL by its name: the rules above, and the record of changes."""


def remove(connection: Connection) -> None:
    """Take all guards off, so that a migration may rebuild tables."""
    rows = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").all()
    for (name,) in rows:
        connection.exec_driver_sql(f'DROP TRIGGER "{name}"')


def install(connection: Connection) -> None:
    """Put all guards on the book."""
    for sql in GUARDS.values():
        connection.exec_driver_sql(sql)
