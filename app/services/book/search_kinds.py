# ruff: noqa: S608  (the names in these statements are our own)
"""What of the book can be searched: each kind of thing, where its page is, and which words and moments it has.

A **kind** is read by plain SQL, tables by their name: `things` gives each thing's number, its place in the address and
its title, oldest first; each of `lines` gives number, moment and words of what was written of it or happened to it.
`tests/services/book/test_search.py` fails where words that a person wrote are in none of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.calc.propellant.ingredients import INGREDIENTS
from app.models.firing import RESULTS
from app.models.grain import FAULTS
from app.models.incident import KINDS as INCIDENTS
from app.models.incident import SORTS


@dataclass(frozen=True)
class Kind:
    """A kind of thing that is searched."""

    name: str
    words: str
    address: str
    things: str
    lines: tuple[str, ...]


def _said(column: str, words: Mapping[str, str]) -> str:
    """A code of a column in words, as SQL."""
    quoted = [(code.replace("'", "''"), text.replace("'", "''")) for code, text in words.items()]
    cases = " ".join(f"WHEN '{code}' THEN '{text}'" for code, text in quoted)
    return f"CASE {column} {cases} ELSE {column} END"


def _struck(number: str, table: str, words: str) -> str:
    """When and why a row was struck."""
    return f"SELECT {number}, voided_at, '{words}: ' || voided_why FROM {table} WHERE voided_at IS NOT NULL"


def _hardware(name: str, words: str, slug: str, table: str, *lines: str) -> Kind:
    """A kind of the workshop that is known by its name."""
    things = f"SELECT id, id, name FROM {table} ORDER BY id"
    return Kind(name, words, f"/workshop/{slug}/{{}}", things, (f"SELECT id, NULL, note FROM {table}", *lines))


def _edition(name: str, words: str, slug: str, table: str, line: str, told: str = "words") -> Kind:
    """The newest edition of a list of lines; older ones stay with what was done by them."""
    newest = f"(SELECT max(edition) FROM {table})"
    return Kind(
        name,
        words,
        f"/workshop/{slug}",
        f"SELECT id, '', '{words}, edition ' || edition FROM {table} WHERE edition = {newest}",
        (f"SELECT id, created_at, note FROM {table}", f"SELECT {table}_id, NULL, {told} FROM {line}"),
    )


def _checks(name: str, words: str, table: str) -> Kind:
    """Checks of an instrument."""
    return Kind(
        name,
        words,
        "/workshop/checks",
        f"SELECT id, '', instrument FROM {table} ORDER BY id",
        (
            f"SELECT id, checked_at, 'checked by ' || person || ': ' || note FROM {table}",
            _struck("id", table, "struck"),
        ),
    )


_CODES = "SELECT group_concat(b.code, ', ') FROM melt m JOIN batch b ON b.id = m.batch_id WHERE m.cast_session_id = "
_FIRST = "SELECT b.code FROM melt m JOIN batch b ON b.id = m.batch_id WHERE m.number = 1 AND m.cast_session_id = "
_OF_LOT = "FROM {0} x JOIN batch b ON b.id = x.batch_id"
_OF_MELT = "FROM {0} x JOIN melt m ON m.id = x.melt_id"
_SIGNED = "FROM checklist x JOIN melt m ON m.batch_id = x.batch_id"
_INGREDIENT = _said("ingredient", {key: ingredient.name for key, ingredient in INGREDIENTS.items()})
_DECIDED = (
    f"decision || ' ' || coalesce({_said('decision_fault', FAULTS)}, '') || ' ' || decision_why || ' ' || decided_by"
)
_BATCH_LINES = (
    "SELECT x.id, x.planned_for, 'planned for' FROM batch x",
    "SELECT x.id, NULL, x.note FROM batch x",
    "SELECT x.id, NULL, f.name || ' v' || f.edition FROM batch x JOIN formula f ON f.id = x.formula_id",
    "SELECT x.batch_id, NULL, p.name FROM batch_item x JOIN grain_pattern p ON p.id = x.pattern_id",
    "SELECT x.batch_id, s.done_at, s.words FROM cast_step s JOIN melt x ON x.id = s.melt_id "
    "WHERE s.key = 'pour' AND s.done_at IS NOT NULL AND coalesce(s.skipped_why, '') = ''",
    "SELECT x.batch_id, x.created_at, 'leftover ' || x.mark || ' ' || x.note FROM leftover x",
    "SELECT x.batch_id, x.burned_on, 'test piece burned ' || x.note FROM test_piece x",
    _struck("batch_id", "test_piece", "test piece struck"),
    "SELECT p.batch_id, x.voided_at, 'weighed amount struck: ' || x.voided_why FROM weigh_out x "
    "JOIN batch_part p ON p.id = x.batch_part_id WHERE x.voided_at IS NOT NULL",
    "SELECT x.batch_id, x.struck_at, 'weighing of ' || x.serial || ' undone: ' || x.why FROM struck_weighing x",
)

KINDS = (
    Kind(
        "lot", "Lots", "/review/{}", "SELECT id, code, code FROM batch WHERE state = 'cast' ORDER BY id", _BATCH_LINES
    ),
    Kind(
        "batch",
        "Batches not cast yet",
        "/plan/{}",
        "SELECT id, code, code FROM batch WHERE state <> 'cast' ORDER BY id",
        _BATCH_LINES,
    ),
    Kind(
        "evening",
        "Evenings at the pan",
        "/cast/{}",
        f"SELECT s.id, ({_FIRST}s.id), ({_CODES}s.id) FROM cast_session s ORDER BY s.id",
        (
            "SELECT cast_session_id, opened_at, 'opened ' || person FROM session_opening",
            "SELECT id, closed_at, 'closed' FROM cast_session WHERE closed_at IS NOT NULL",
            f"SELECT m.cast_session_id, x.done_at, x.words || ': ' || x.skipped_why {_OF_MELT.format('cast_step')} "
            "WHERE x.skipped_why <> ''",
            f"SELECT m.cast_session_id, x.voided_at, 'pan temperature struck: ' || x.voided_why "
            f"{_OF_MELT.format('temperature_reading')} WHERE x.voided_at IS NOT NULL",
            f"SELECT m.cast_session_id, x.completed_at, 'checklist signed, ' || x.person || ', ' || x.place {_SIGNED}",
            f"SELECT m.cast_session_id, x.voided_at, 'checklist struck: ' || x.voided_why {_SIGNED} "
            "WHERE x.voided_at IS NOT NULL",
            f"SELECT m.cast_session_id, a.answered_at, i.words || ': ' || a.reason {_SIGNED} JOIN checklist_answer a "
            "ON a.checklist_id = x.id JOIN checklist_item i ON i.id = a.checklist_item_id WHERE a.reason <> ''",
        ),
    ),
    Kind(
        "note",
        "Notes of an evening",
        "/cast/{}#notes",
        f"SELECT n.id, coalesce(b.code, ({_FIRST}n.cast_session_id)), coalesce(b.code, ({_CODES}n.cast_session_id)) "
        "FROM session_note n LEFT JOIN melt m ON m.id = n.melt_id LEFT JOIN batch b ON b.id = m.batch_id ORDER BY n.id",
        ("SELECT id, written_at, words FROM session_note",),
    ),
    Kind(
        "grain",
        "Grains",
        "/shelf/{}",
        "SELECT id, serial, serial FROM grain ORDER BY id",
        (
            "SELECT id, weighed_at, 'weighed' FROM grain",
            f"SELECT id, decided_at, {_DECIDED} FROM grain WHERE decision IS NOT NULL",
            "SELECT id, bagged_at, 'bagged' FROM grain WHERE bagged_at IS NOT NULL",
            "SELECT id, gone_at, gone_to || ' ' || gone_by FROM grain WHERE gone_to IS NOT NULL",
            "SELECT id, NULL, note FROM grain",
            "SELECT x.id, NULL, p.name FROM grain x JOIN grain_pattern p ON p.id = x.pattern_id",
            "SELECT grain_id, weighed_at, 'measured again: ' || why FROM grain_measure",
            f"SELECT grain_id, decided_at, {_DECIDED} FROM grain_measure WHERE decision IS NOT NULL",
            "SELECT grain_id, created_at, 'lies at ' || place FROM grain_bag WHERE place <> ''",
            "SELECT grain_id, looked_at, 'looked at ' || person || ' ' || note FROM grain_look",
            _struck("grain_id", "grain_look", "look struck"),
            "SELECT grain_id, created_at, caption || ' ' || name FROM grain_picture",
            _struck("grain_id", "grain_picture", "picture struck"),
            "SELECT grain_id, weighed_at, 'weighed again ' || note FROM re_weigh",
            "SELECT grain_id, accepted_at, 'accepted ' || accepted_by || ' ' || accepted_why FROM re_weigh "
            "WHERE accepted_at IS NOT NULL",
            _struck("grain_id", "re_weigh", "re-weigh struck"),
            "SELECT x.grain_id, x.created_at, 'into motor ' || m.code FROM build_grain x "
            "JOIN motor_build m ON m.id = x.motor_build_id",
        ),
    ),
    Kind(
        "motor",
        "Motors",
        "/motors/{}",
        "SELECT id, code, code FROM motor_build ORDER BY id",
        (
            "SELECT id, built_on, 'built' FROM motor_build",
            "SELECT id, NULL, note FROM motor_build",
            "SELECT id, taken_apart_at, 'taken apart: ' || taken_apart_why FROM motor_build "
            "WHERE taken_apart_at IS NOT NULL",
            "SELECT x.id, NULL, c.name || ', ' || n.name FROM motor_build x JOIN motor_case c ON c.id = x.case_id "
            "JOIN nozzle n ON n.id = x.nozzle_id",
            "SELECT x.motor_build_id, NULL, g.serial FROM build_grain x JOIN grain g ON g.id = x.grain_id",
        ),
    ),
    Kind(
        "firing",
        "Tests and flights",
        "/firings/{}",
        "SELECT f.id, f.id, CASE f.kind WHEN 'flight' THEN 'Flight' ELSE 'Static test' END || ' of motor ' || m.code "
        "FROM firing f JOIN motor_build m ON m.id = f.motor_build_id ORDER BY f.id",
        (
            f"SELECT id, fired_at, {_said('result', RESULTS)} FROM firing",
            "SELECT id, fired_at, words FROM firing",
            "SELECT id, NULL, weather FROM firing",
            "SELECT id, NULL, igniter || ' ' || igniter_made FROM firing",
            "SELECT id, NULL, delay_words FROM firing",
            "SELECT x.id, NULL, r.name FROM firing x JOIN rocket r ON r.id = x.rocket_id",
            "SELECT x.id, NULL, r.name FROM firing x JOIN launch_field r ON r.id = x.launch_field_id",
            "SELECT firing_id, created_at, case_words || ' ' || closure_words || ' ' || nozzle_words || ' ' || "
            "remains_words || ' ' || suspicion FROM firing_finding",
            "SELECT firing_id, created_at, caption || ' ' || name FROM firing_picture",
            _struck("firing_id", "firing_picture", "picture struck"),
            "SELECT firing_id, created_at, caption || ' ' || address FROM firing_reference",
            _struck("firing_id", "firing_reference", "struck"),
            "SELECT firing_id, created_at, designation FROM curve",
            "SELECT firing_id, created_at, name FROM curve_file",
            "SELECT firing_id, created_at, name FROM altimeter_file",
            "SELECT firing_id, created_at, 'left out of learning: ' || why FROM firing_left_out",
            "SELECT firing_id, created_at, 'let into learning: ' || why FROM firing_let_in",
        ),
    ),
    Kind(
        "stand",
        "Stands",
        "/firings/{}/curve",
        "SELECT s.id, c.firing_id, s.stand FROM stand_reading s JOIN curve c ON c.id = s.curve_id ORDER BY s.id",
        (
            "SELECT id, created_at, 'reading remembered' FROM stand_reading",
            "SELECT s.id, NULL, f.name FROM stand_reading s JOIN curve c ON c.id = s.curve_id "
            "JOIN curve_file f ON f.id = c.curve_file_id",
        ),
    ),
    Kind(
        "incident",
        "Incidents and near misses",
        "/workshop/incidents/{}",
        f"SELECT id, id, {_said('kind', INCIDENTS)} || ': ' || lower({_said('sort', SORTS)}) FROM incident ORDER BY id",
        (
            "SELECT id, happened_at, person || ' ' || words FROM incident",
            "SELECT id, written_at, lesson FROM incident",
            "SELECT id, NULL, line FROM incident",
            _struck("id", "incident", "struck"),
            f"SELECT x.id, NULL, b.code {_OF_LOT.format('incident')}",
        ),
    ),
    Kind(
        "bag",
        "Bags",
        "/workshop/supplies/{}",
        f"SELECT id, id, {_INGREDIENT} || ' “' || mark || '”' FROM supply ORDER BY id",
        (
            "SELECT id, received_on, 'received ' || note FROM supply",
            "SELECT supply_id, created_at, 'left in it: ' || reason FROM supply_correction",
        ),
    ),
    Kind(
        "formula",
        "Formulas",
        "/workshop/formulas/{}",
        "SELECT id, id, name || ' v' || edition FROM formula ORDER BY id",
        (
            "SELECT id, created_at, 'entered' FROM formula",
            "SELECT id, NULL, note FROM formula",
            "SELECT id, NULL, law_source FROM formula",
            f"SELECT formula_id, NULL, {_INGREDIENT} FROM formula_part",
        ),
    ),
    _hardware("pattern", "Grain patterns", "patterns", "grain_pattern"),
    _hardware("tube", "Casting tubes", "tubes", "casting_tube"),
    _hardware("rod", "Coring rods", "rods", "coring_rod"),
    _hardware(
        "case",
        "Cases",
        "cases",
        "motor_case",
        "SELECT id, proof_on, 'proof test' FROM motor_case WHERE proof_on IS NOT NULL",
        "SELECT id, NULL, material FROM motor_case",
    ),
    _hardware(
        "nozzle",
        "Nozzles",
        "nozzles",
        "nozzle",
        "SELECT id, NULL, material FROM nozzle",
        "SELECT nozzle_id, measured_on, 'throat measured ' || note FROM nozzle_measure",
        _struck("nozzle_id", "nozzle_measure", "measurement struck"),
    ),
    _hardware("drill", "Drills", "drills", "drill"),
    _hardware("consumable", "Used up besides", "consumables", "consumable"),
    _hardware("rocket", "Rockets", "rockets", "rocket"),
    _hardware("field", "Fields", "fields", "launch_field", "SELECT id, NULL, rules FROM launch_field"),
    _hardware("person", "People", "people", "person"),
    _checks("scale", "Checks of scales", "scale_check"),
    _checks("thermometer", "Checks of thermometers", "thermometer_check"),
    _edition("checklist", "Checklist", "checklist", "checklist_edition", "checklist_item", "heading || ': ' || words"),
    _edition("run-sheet", "Run sheet", "runsheet", "run_sheet", "run_sheet_line"),
    Kind(
        "season",
        "Seasons",
        "/season/{}",
        "SELECT id, id, name FROM season ORDER BY id",
        (
            "SELECT id, begins_on, note FROM season",
            "SELECT season_id, first_on, why FROM season_day",
            "SELECT season_id, made_at, 'planned ' || person || ' ' || why || ' ' || changes_json FROM season_plan",
            "SELECT season_id, by_on, note FROM wish",
            "SELECT season_id, struck_at, 'struck off the list: ' || struck_why FROM wish WHERE struck_at IS NOT NULL",
            "SELECT w.season_id, c.chosen_at, 'motor chosen ' || c.person || ' ' || c.why || ' ' || "
            "coalesce(c.given_up_why, '') FROM motor_choice c JOIN wish w ON w.id = c.wish_id",
        ),
    ),
    Kind(
        "delivery",
        "Deliveries",
        "/workshop/deliveries/{}",
        f"SELECT id, id, coalesce({_INGREDIENT}, 'used up besides') FROM delivery ORDER BY id",
        ("SELECT id, due_on, 'due ' || seller FROM delivery", _struck("id", "delivery", "struck")),
    ),
    Kind(
        "disposal",
        "Disposals",
        "/shelf/waste",
        "SELECT id, '', 'Disposal of ' || done_on FROM disposal ORDER BY id",
        ("SELECT id, done_on, person || ' ' || how FROM disposal", _struck("id", "disposal", "struck")),
    ),
    Kind(
        "size",
        "Sizes sold",
        "/workshop/sizes/{}",
        f"SELECT id, id, coalesce({_INGREDIENT}, 'used up besides') FROM pack_size ORDER BY id",
        ("SELECT id, NULL, seller FROM pack_size",),
    ),
    Kind(
        "distance",
        "Your own distances",
        "/workshop/distances",
        "SELECT id, '', 'Class ' || impulse_class FROM own_distance ORDER BY id",
        ("SELECT id, dated, source FROM own_distance",),
    ),
    Kind(
        "learning",
        "Pauses of learning",
        "/review/learned",
        "SELECT id, '', formula_name FROM learning_pause ORDER BY id",
        ("SELECT id, created_at, why FROM learning_pause",),
    ),
)
"""In the order in which what is found of them is told."""
