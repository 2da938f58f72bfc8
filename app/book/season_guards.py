"""Guards of the season: plans and choices stay as they were made, and what was disposed of is gone once."""

from app.book.stops import stop

_GONE = "EXISTS (SELECT 1 FROM disposal_item d WHERE d.{what}_id = {id} AND d.released_at IS NULL)"
_CHOSEN = ("wish_id", "chosen_at", "person", "why", "case_id", "nozzle_id", "drill_id", "throat_d_m", "formula_id")

GUARDS: list[tuple[str, str]] = [
    stop("guard_season_plan_stays", "BEFORE UPDATE ON season_plan", "1", "a plan is made anew, not rewritten"),
    stop("guard_season_plan_kept", "BEFORE DELETE ON season_plan", "1", "a plan is made anew, not erased"),
    stop("guard_wish_kept", "BEFORE DELETE ON wish", "1", "a wish is struck out, not erased"),
    *(
        stop(
            f"guard_{table}_stays",
            f"BEFORE UPDATE ON {table}",
            f"OLD.{over} IS NOT NULL OR " + " OR ".join(f"NEW.{name} IS NOT OLD.{name}" for name in kept),
            words,
        )
        for table, over, words, kept in (
            ("motor_choice", "given_up_at", "a chosen motor is given up, not rewritten", (*_CHOSEN, "figures_json")),
            (
                "disposal",
                "voided_at",
                "a disposal is struck out, not rewritten",
                ("done_on", "how", "person", "mass_kg"),
            ),
            (
                "disposal_item",
                "released_at",
                "a disposal is struck out, not rewritten",
                ("disposal_id", "grain_id", "leftover_id", "mass_kg"),
            ),
        )
    ),
    stop("guard_motor_choice_kept", "BEFORE DELETE ON motor_choice", "1", "a chosen motor is given up, not erased"),
    stop("guard_disposal_kept", "BEFORE DELETE ON disposal", "1", "a disposal is struck out, not erased"),
    stop("guard_disposal_item_kept", "BEFORE DELETE ON disposal_item", "1", "a disposal is struck out, not erased"),
    *(
        stop(
            f"guard_choice_grain_{act.lower()}",
            f"BEFORE {act} ON choice_grain",
            "1",
            "a chosen motor is given up, not rewritten or erased",
        )
        for act in ("UPDATE", "DELETE")
    ),
    stop(
        "guard_disposal_of_rejects",
        "BEFORE INSERT ON disposal_item",
        """NEW.grain_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM grain g WHERE g.id = NEW.grain_id
            AND g.decision = 'reject' AND g.gone_to IS NOT 'remelt')""",
        "only a rejected grain is disposed of; one that went to remelt is a leftover",
    ),
    stop(
        "guard_disposed_grain",
        "BEFORE UPDATE ON grain",
        f"""{_GONE.format(what="grain", id="OLD.id")} AND (NEW.decision IS NOT OLD.decision
            OR NEW.gone_to IS NOT OLD.gone_to OR NEW.mass_kg IS NOT OLD.mass_kg)""",
        "the grain was disposed of; strike that out first",
    ),
    stop(
        "guard_disposed_leftover",
        "BEFORE INSERT ON weigh_out",
        f"NEW.leftover_id IS NOT NULL AND {_GONE.format(what='leftover', id='NEW.leftover_id')}",
        "the leftover was disposed of; strike that out first",
    ),
]
