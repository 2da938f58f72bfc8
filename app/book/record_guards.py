"""Guards of what was written: used rows, grains that are gone, loggers' files and findings stay as they are."""

from app.book.stops import stop

_FORMULA_USED = "EXISTS (SELECT 1 FROM batch b WHERE b.formula_id = {id})"
_TAKEN_BACK = """OLD.decision IS NULL AND OLD.bagged_at IS NULL AND EXISTS (
    SELECT 1 FROM struck_weighing s
    WHERE s.serial = OLD.serial AND s.weighed_at = OLD.weighed_at AND s.mass_kg = OLD.mass_kg
      AND (julianday(s.struck_at) - julianday(OLD.weighed_at)) * 86400.0 BETWEEN -0.01 AND 60.01)"""
_THIS_MINUTE = """(julianday(coalesce((SELECT at FROM act_in_hand), 'now')) - julianday(OLD.created_at)) * 86400.0
    BETWEEN -0.01 AND 60.01"""
_GRAIN_HELD = "EXISTS (SELECT 1 FROM build_grain g WHERE g.grain_id = OLD.id AND g.released_at IS NULL)"
_GRAIN_WET = """(SELECT r.wet AND r.accepted_at IS NULL FROM re_weigh r
    WHERE r.grain_id = NEW.grain_id AND r.voided_at IS NULL ORDER BY r.id DESC LIMIT 1)"""
_OF_A_PICTURE = ("name", "caption", "media_type", "width", "height", "sha256", "size_bytes", "location")

# Of two guards that stop the same act the one made last speaks, and that should be the one that knows why.
GUARDS: list[tuple[str, str]] = [
    # What was used is not rewritten
    stop(
        "guard_formula_update",
        "BEFORE UPDATE ON formula",
        _FORMULA_USED.format(id="OLD.id") + " AND (NEW.name IS NOT OLD.name OR NEW.edition IS NOT OLD.edition)",
        "a formula in use is not changed; make a new version",
    ),
    *(
        stop(
            f"guard_formula_part_{act.lower()}",
            f"BEFORE {act} ON formula_part",
            _FORMULA_USED.format(id=f"{row}.formula_id"),
            "a formula in use is not changed; make a new version",
        )
        for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
    ),
    stop("guard_prediction_stays", "BEFORE UPDATE ON prediction", "1", "a prediction is never rewritten"),
    stop("guard_prediction_kept", "BEFORE DELETE ON prediction", "1", "a prediction is never erased"),
    stop(
        "guard_build_accepted_grain",
        "BEFORE INSERT ON build_grain",
        "(SELECT decision FROM grain WHERE id = NEW.grain_id) IS NOT 'accept'",
        "only accepted grains go into a motor",
    ),
    *(
        stop(
            f"guard_build_dry_grain_{act.split()[0].lower()}",
            f"BEFORE {act} ON build_grain",
            f"NEW.released_at IS NULL AND {_GRAIN_WET}",
            "the grain is wet; dry it and weigh it again, or accept it with a reason",
        )
        for act in ("INSERT", "UPDATE OF grain_id, released_at")
    ),
    stop(
        "guard_fired_grain_stays",
        "BEFORE UPDATE ON build_grain",
        """OLD.released_at IS NULL AND NEW.released_at IS NOT NULL AND EXISTS (
            SELECT 1 FROM firing f WHERE f.motor_build_id = OLD.motor_build_id AND f.result <> 'no_light')""",
        "the grain was burned; it does not go back to the shelf",
    ),
    stop(
        "guard_held_grain",
        "BEFORE UPDATE ON grain",
        f"{_GRAIN_HELD} AND (NEW.decision IS NOT OLD.decision OR NEW.mass_kg <> OLD.mass_kg)",
        "the grain is in a motor; take the motor apart first",
    ),
    stop(
        "guard_grain_kept",
        "BEFORE DELETE ON grain",
        f"NOT ({_TAKEN_BACK})",
        "a grain is rejected, not erased; only a weighing of the last minute is undone",
    ),
    stop("guard_struck_stays", "BEFORE UPDATE ON struck_weighing", "1", "a struck weighing is never changed"),
    stop("guard_struck_kept", "BEFORE DELETE ON struck_weighing", "1", "a struck weighing is never erased"),
    # A rejected grain that is gone is in one place only
    stop(
        "guard_gone_grain",
        "BEFORE UPDATE ON grain",
        """OLD.gone_to IS NOT NULL AND (
            (NEW.gone_to IS NOT NULL AND (NEW.gone_to IS NOT OLD.gone_to OR NEW.decision IS NOT OLD.decision
                OR NEW.mass_kg IS NOT OLD.mass_kg OR NEW.batch_id IS NOT OLD.batch_id))
            OR (NEW.gone_to IS NULL AND EXISTS (SELECT 1 FROM leftover l WHERE l.grain_id = OLD.id)))""",
        "the grain went to remelt or scrap; bring it back first",
    ),
    stop(
        "guard_leftover_of_grain",
        "BEFORE INSERT ON leftover",
        """NEW.grain_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM grain g WHERE g.id = NEW.grain_id
            AND g.gone_to = 'remelt' AND g.batch_id = NEW.batch_id AND g.mass_kg = NEW.mass_kg)""",
        "a grain goes to remelt whole, as a leftover of its own lot",
    ),
    stop(
        "guard_leftover_stays",
        "BEFORE UPDATE ON leftover",
        """OLD.grain_id IS NOT NULL AND (NEW.grain_id IS NOT OLD.grain_id OR NEW.mass_kg IS NOT OLD.mass_kg
            OR NEW.batch_id IS NOT OLD.batch_id)""",
        "a leftover made of a grain keeps its mass",
    ),
    stop(
        "guard_firing_of_whole_motor",
        "BEFORE INSERT ON firing",
        "(SELECT taken_apart_at FROM motor_build WHERE id = NEW.motor_build_id) IS NOT NULL",
        "the motor was taken apart; it cannot be fired",
    ),
    stop(
        "guard_firing_kept",
        "BEFORE DELETE ON firing",
        f"NOT ({_THIS_MINUTE})",
        "a firing is corrected, not erased; only one written down in the last minute is undone",
    ),
    # What a logger wrote stays as it came
    stop("guard_curve_file_stays", "BEFORE UPDATE ON curve_file", "1", "a file of a logger is kept as it came"),
    *(
        stop(
            f"guard_curve_{act.lower()}",
            f"BEFORE {act} ON curve",
            "1",
            "a curve is read again, not rewritten or erased",
        )
        for act in ("UPDATE", "DELETE")
    ),
    stop(
        "guard_altimeter_file_stays",
        "BEFORE UPDATE ON altimeter_file",
        "1",
        "a file of an altimeter is kept as it came",
    ),
    *(
        stop(f"guard_{table}_{act.lower()}", f"BEFORE {act} ON {table}", "1", words)
        for table, words in (
            ("stand_reading", "a stand is read otherwise, not rewritten or erased"),
            ("altimeter_track", "the record of a flight is read again, not rewritten or erased"),
            ("firing_finding", "what was found is told again, not rewritten or erased"),
            ("suspect_grain", "what was found is told again, not rewritten or erased"),
        )
        for act in ("UPDATE", "DELETE")
    ),
    stop(
        "guard_suspect_was_in_it",
        "BEFORE INSERT ON suspect_grain",
        """NOT EXISTS (SELECT 1 FROM firing_finding n JOIN firing f ON f.id = n.firing_id
            JOIN build_grain g ON g.motor_build_id = f.motor_build_id
            WHERE n.id = NEW.firing_finding_id AND g.grain_id = NEW.grain_id)""",
        "only a grain of the motor can be suspected",
    ),
    *(
        stop(
            f"guard_{table}_stays",
            f"BEFORE UPDATE ON {table}",
            "OLD.voided_at IS NOT NULL OR " + " OR ".join(f"NEW.{name} IS NOT OLD.{name}" for name in kept),
            f"{noun} is struck out with a reason, not rewritten",
        )
        for table, noun, kept in (
            ("firing_picture", "a picture", ("firing_id", *_OF_A_PICTURE)),
            ("grain_picture", "a picture", ("grain_id", *_OF_A_PICTURE)),
            ("firing_reference", "a reference", ("firing_id", "address", "caption")),
        )
    ),
    *(
        stop(f"guard_{table}_kept", f"BEFORE DELETE ON {table}", "1", f"{noun} is struck out, not erased")
        for table, noun in (
            ("firing_picture", "a picture"),
            ("grain_picture", "a picture"),
            ("firing_reference", "a reference"),
        )
    ),
    # Stored grains and test pieces: what was noted stays
    *(
        stop(
            f"guard_grain_bag_{act.lower()}",
            f"BEFORE {act} ON grain_bag",
            "1",
            "where a bag lay is followed by where it lies, not rewritten or erased",
        )
        for act in ("UPDATE", "DELETE")
    ),
    *(
        stop(
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
                ("melt_id", "read_at", "temperature_k", "temperature_typed"),
            ),
            ("nozzle_measure", "a measured throat", ("nozzle_id", "measured_on", "throat_d_m", "throat_d_typed")),
            ("grain_look", "a look", ("grain_id", "looked_at", "faces", "outer_face", "inhibitor", "note", "person")),
            ("scale_check", "a check", ("instrument", "checked_at", "known_kg", "read_kg", "tolerance_kg")),
            (
                "thermometer_check",
                "a check",
                ("instrument", "checked_at", "against", "known_k", "read_k", "tolerance_k"),
            ),
            ("incident", "an incident", ("cast_session_id", "batch_id", "happened_at", "kind", "created_at")),
        )
    ),
    *(
        stop(f"guard_{table}_kept", f"BEFORE DELETE ON {table}", "1", f"{noun} is struck out, not erased")
        for table, noun in (
            ("re_weigh", "a re-weigh"),
            ("temperature_reading", "a reading of the pan"),
            ("nozzle_measure", "a measured throat"),
            ("grain_look", "a look"),
            ("scale_check", "a check"),
            ("thermometer_check", "a check"),
            ("incident", "an incident"),
        )
    ),
    stop(
        "guard_test_piece_stays",
        "BEFORE UPDATE ON test_piece",
        """NEW.batch_id IS NOT OLD.batch_id OR NEW.number IS NOT OLD.number OR NEW.length_m IS NOT OLD.length_m
            OR NEW.burn_time_s IS NOT OLD.burn_time_s OR NEW.pressure_pa IS NOT OLD.pressure_pa
            OR (OLD.voided_at IS NOT NULL AND NEW.voided_at IS NOT OLD.voided_at)""",
        "a test piece is struck out, not rewritten",
    ),
    stop("guard_test_piece_kept", "BEFORE DELETE ON test_piece", "1", "a test piece is struck out, not erased"),
]
