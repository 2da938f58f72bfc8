"""From wished flights to a winter's casting

Seasons with their wishes, the motors chosen for them and the plans worked out; what is bought, and what was disposed of.

Revision ID: 0011
Revises: 0010
"""

import sqlalchemy as sa
from alembic import op

from app import logbook

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Each part in its own function below, in this order."""
    _add_seasons()
    _add_choices()
    _add_plans()
    _add_buying()
    _add_disposal()
    _add_to_the_workshop()


def downgrade() -> None:
    """The same parts, backwards; that rows are not kept by the older schema is noted."""
    for table, words in (
        ("wish", "wishes"),
        ("motor_choice", "chosen motors"),
        ("season_plan", "plans of seasons"),
        ("delivery", "deliveries"),
        ("disposal", "disposals"),
    ):
        if count := op.get_bind().scalar(sa.select(sa.func.count()).select_from(sa.table(table))):
            logbook.note(f"{count} {words} are not kept by schema 0010.")
    _take_from_the_workshop()
    _drop_disposal()
    _drop_buying()
    _drop_plans()
    _drop_choices()
    _drop_seasons()


def _own() -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
    ]


def _refers(table: str, column: str, to: str) -> sa.schema.SchemaItem:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))


def _add_to_the_workshop() -> None:
    """The currency that prices are typed in, the most propellant held at once, damp months; how many rods of a kind."""
    empty = {"nullable": False, "server_default": sa.text("''")}
    op.add_column("supply", sa.Column("currency", sa.String(), **empty))
    op.execute(
        "ALTER TABLE coring_rod ADD COLUMN owned INTEGER "
        "CONSTRAINT ck_coring_rod_owned CHECK (owned IS NULL OR owned >= 1)"
    )
    for name in ("currency", "hold_limit_source"):
        op.add_column("workshop", sa.Column(name, sa.String(), **empty))
    op.add_column("workshop", sa.Column("hold_limit_typed", sa.String(), nullable=True))
    op.execute(
        "ALTER TABLE workshop ADD COLUMN hold_limit_kg FLOAT CONSTRAINT ck_workshop_hold_limit "
        "CHECK (hold_limit_kg IS NULL OR (hold_limit_kg > 0 AND hold_limit_source <> ''))"
    )
    op.add_column("workshop", sa.Column("damp_months", sa.String(), **empty))
    op.execute(
        "ALTER TABLE workshop ADD COLUMN damp_cure_s FLOAT "
        "CONSTRAINT ck_workshop_damp_cure CHECK (damp_cure_s IS NULL OR damp_cure_s >= 0)"
    )


def _take_from_the_workshop() -> None:
    for name in ("damp_cure_s", "damp_months", "hold_limit_kg", "hold_limit_typed", "hold_limit_source", "currency"):
        op.drop_column("workshop", name)
    op.drop_column("coring_rod", "owned")
    op.drop_column("supply", "currency")


def _add_seasons() -> None:
    """Seasons, their days and what is wished for in them."""
    op.create_table(
        "season",
        *_own(),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("begins_on", sa.Date(), nullable=False),
        sa.Column("ends_on", sa.Date(), nullable=False),
        sa.Column("weekdays", sa.String(), nullable=False),
        sa.Column("melts_per_evening", sa.Integer(), nullable=False),
        sa.Column("confidence_share", sa.Float(), nullable=False),
        sa.Column("spare_sets", sa.Boolean(), nullable=False),
        sa.Column("budget", sa.Float(), nullable=True),
        sa.Column("budget_currency", sa.String(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.CheckConstraint("budget IS NULL OR budget >= 0", name=op.f("ck_season_budget")),
        sa.CheckConstraint("confidence_share > 0 AND confidence_share < 1", name=op.f("ck_season_confidence")),
        sa.CheckConstraint("begins_on < ends_on", name=op.f("ck_season_days")),
        sa.CheckConstraint("melts_per_evening >= 1", name=op.f("ck_season_melts")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_season")),
        sa.UniqueConstraint("name", name=op.f("uq_season_name")),
    )
    op.create_table(
        "season_day",
        *_own(),
        sa.Column("season_id", sa.Integer(), nullable=False),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("last_on", sa.Date(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("melts", sa.Integer(), nullable=True),
        sa.Column("why", sa.String(), nullable=False),
        sa.CheckConstraint("first_on <= last_on", name=op.f("ck_season_day_days")),
        sa.CheckConstraint("kind IN ('off', 'evening')", name=op.f("ck_season_day_kind")),
        sa.CheckConstraint("melts IS NULL OR (melts >= 1 AND kind = 'evening')", name=op.f("ck_season_day_melts")),
        _refers("season_day", "season_id", "season"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_season_day")),
    )
    op.create_index(op.f("ix_season_day_season_id"), "season_day", ["season_id"])
    op.create_table(
        "wish",
        *_own(),
        sa.Column("season_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("by_on", sa.Date(), nullable=False),
        sa.Column("matters", sa.String(), nullable=False),
        sa.Column("rocket_id", sa.Integer(), nullable=True),
        sa.Column("launch_field_id", sa.Integer(), nullable=True),
        sa.Column("height_low_m", sa.Float(), nullable=True),
        sa.Column("height_low_typed", sa.String(), nullable=True),
        sa.Column("height_high_m", sa.Float(), nullable=True),
        sa.Column("height_high_typed", sa.String(), nullable=True),
        sa.Column("formula_id", sa.Integer(), nullable=True),
        sa.Column("case_id", sa.Integer(), nullable=True),
        sa.Column("comes_first", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.Column("struck_why", sa.String(), nullable=True),
        sa.CheckConstraint("count >= 1", name=op.f("ck_wish_count")),
        sa.CheckConstraint("kind = 'test' OR (rocket_id IS NOT NULL AND launch_field_id IS NOT NULL AND height_low_m IS NOT NULL AND height_high_m IS NOT NULL)", name=op.f("ck_wish_flight")),
        sa.CheckConstraint("height_low_m IS NULL OR height_low_m <= height_high_m", name=op.f("ck_wish_heights")),
        sa.CheckConstraint("kind IN ('flight', 'test')", name=op.f("ck_wish_kind")),
        sa.CheckConstraint("matters IN ('must', 'usual', 'spare')", name=op.f("ck_wish_matters")),
        sa.CheckConstraint("struck_at IS NULL OR coalesce(length(struck_why), 0) > 0", name=op.f("ck_wish_struck_with_reason")),
        sa.CheckConstraint("kind = 'flight' OR (formula_id IS NOT NULL AND case_id IS NOT NULL)", name=op.f("ck_wish_test")),
        _refers("wish", "case_id", "motor_case"),
        _refers("wish", "formula_id", "formula"),
        _refers("wish", "launch_field_id", "launch_field"),
        _refers("wish", "rocket_id", "rocket"),
        _refers("wish", "season_id", "season"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wish")),
    )
    op.create_index(op.f("ix_wish_season_id"), "wish", ["season_id"])
    op.create_table(
        "wish_motor",
        *_own(),
        sa.Column("wish_id", sa.Integer(), nullable=False),
        sa.Column("motor_build_id", sa.Integer(), nullable=False),
        _refers("wish_motor", "motor_build_id", "motor_build"),
        _refers("wish_motor", "wish_id", "wish"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wish_motor")),
        sa.UniqueConstraint("motor_build_id", name=op.f("uq_wish_motor_motor_build_id")),
    )
    op.create_index(op.f("ix_wish_motor_wish_id"), "wish_motor", ["wish_id"])


def _drop_seasons() -> None:
    op.drop_table("wish_motor")
    op.drop_table("wish")
    op.drop_table("season_day")
    op.drop_table("season")


def _add_choices() -> None:
    """Motors chosen for wishes, and the drills that a throat is opened with."""
    op.create_table(
        "drill",
        *_own(),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("diameter_m", sa.Float(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.CheckConstraint("diameter_m > 0", name=op.f("ck_drill_diameter")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_drill")),
        sa.UniqueConstraint("diameter_m", name=op.f("uq_drill_diameter_m")),
    )
    op.create_table(
        "motor_choice",
        *_own(),
        sa.Column("wish_id", sa.Integer(), nullable=False),
        sa.Column("chosen_at", sa.DateTime(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("case_id", sa.Integer(), nullable=False),
        sa.Column("nozzle_id", sa.Integer(), nullable=False),
        sa.Column("drill_id", sa.Integer(), nullable=True),
        sa.Column("throat_d_m", sa.Float(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("figures_json", sa.String(), nullable=False),
        sa.Column("given_up_at", sa.DateTime(), nullable=True),
        sa.Column("given_up_why", sa.String(), nullable=True),
        sa.CheckConstraint("given_up_at IS NULL OR coalesce(length(given_up_why), 0) > 0", name=op.f("ck_motor_choice_given_up_with_reason")),
        sa.CheckConstraint("throat_d_m > 0", name=op.f("ck_motor_choice_throat")),
        _refers("motor_choice", "case_id", "motor_case"),
        _refers("motor_choice", "drill_id", "drill"),
        _refers("motor_choice", "formula_id", "formula"),
        _refers("motor_choice", "nozzle_id", "nozzle"),
        _refers("motor_choice", "wish_id", "wish"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_motor_choice")),
    )
    op.create_index(op.f("ix_motor_choice_wish_id"), "motor_choice", ["wish_id"])
    op.create_index("uq_motor_choice_standing", "motor_choice", ["wish_id"], unique=True, sqlite_where=sa.text("given_up_at IS NULL"))
    op.create_table(
        "choice_grain",
        *_own(),
        sa.Column("motor_choice_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("pattern_id", sa.Integer(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.CheckConstraint("count >= 1", name=op.f("ck_choice_grain_count")),
        _refers("choice_grain", "motor_choice_id", "motor_choice"),
        _refers("choice_grain", "pattern_id", "grain_pattern"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_choice_grain")),
        sa.UniqueConstraint("motor_choice_id", "position", name=op.f("uq_choice_grain_motor_choice_id_position")),
    )
    op.create_index(op.f("ix_choice_grain_motor_choice_id"), "choice_grain", ["motor_choice_id"])


def _drop_choices() -> None:
    op.drop_table("choice_grain")
    op.drop_table("motor_choice")
    op.drop_table("drill")


def _add_plans() -> None:
    """Plans as they were worked out, the batches of them, and answers kept by their inputs."""
    op.create_table(
        "season_plan",
        *_own(),
        sa.Column("season_id", sa.Integer(), nullable=False),
        sa.Column("earlier_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("inputs_json", sa.String(), nullable=False),
        sa.Column("result_json", sa.String(), nullable=False),
        sa.Column("changes_json", sa.String(), nullable=False),
        _refers("season_plan", "earlier_id", "season_plan"),
        _refers("season_plan", "season_id", "season"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_season_plan")),
    )
    op.create_index(op.f("ix_season_plan_season_id"), "season_plan", ["season_id"])
    op.create_table(
        "season_batch",
        *_own(),
        sa.Column("season_id", sa.Integer(), nullable=False),
        sa.Column("season_plan_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        _refers("season_batch", "batch_id", "batch"),
        _refers("season_batch", "season_id", "season"),
        _refers("season_batch", "season_plan_id", "season_plan"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_season_batch")),
        sa.UniqueConstraint("batch_id", name=op.f("uq_season_batch_batch_id")),
    )
    op.create_index(op.f("ix_season_batch_season_id"), "season_batch", ["season_id"])
    op.create_table(
        "kept_answer",
        *_own(),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("inputs_sha256", sa.String(), nullable=False),
        sa.Column("answer_json", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_answer")),
        sa.UniqueConstraint("inputs_sha256", name=op.f("uq_kept_answer_inputs_sha256")),
    )


def _drop_plans() -> None:
    op.drop_table("kept_answer")
    op.drop_table("season_batch")
    op.drop_table("season_plan")


def _add_buying() -> None:
    """What is used up besides propellant, the sizes things are sold in, and deliveries."""
    op.create_table(
        "consumable",
        *_own(),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("used_by", sa.String(), nullable=False),
        sa.Column("per_use", sa.Float(), nullable=False),
        sa.Column("in_hand", sa.Float(), nullable=False),
        sa.Column("counted_on", sa.Date(), nullable=False),
        sa.Column("casting_tube_id", sa.Integer(), nullable=True),
        sa.Column("case_id", sa.Integer(), nullable=True),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.CheckConstraint("in_hand >= 0", name=op.f("ck_consumable_in_hand")),
        sa.CheckConstraint("per_use > 0", name=op.f("ck_consumable_per_use")),
        sa.CheckConstraint("used_by IN ('motor', 'grain', 'melt', 'evening', 'flight')", name=op.f("ck_consumable_used_by")),
        _refers("consumable", "case_id", "motor_case"),
        _refers("consumable", "casting_tube_id", "casting_tube"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consumable")),
        sa.UniqueConstraint("name", name=op.f("uq_consumable_name")),
    )
    op.create_table(
        "pack_size",
        *_own(),
        sa.Column("ingredient", sa.String(), nullable=True),
        sa.Column("consumable_id", sa.Integer(), nullable=True),
        sa.Column("mass_kg", sa.Float(), nullable=True),
        sa.Column("mass_typed", sa.String(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=True),
        sa.Column("price", sa.Float(), nullable=True),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("seller", sa.String(), nullable=False),
        sa.Column("sold", sa.Boolean(), nullable=False),
        sa.CheckConstraint("coalesce(mass_kg, count) > 0", name=op.f("ck_pack_size_amount")),
        sa.CheckConstraint("(ingredient IS NULL) = (mass_kg IS NULL) AND (consumable_id IS NULL) = (count IS NULL)", name=op.f("ck_pack_size_one_amount")),
        sa.CheckConstraint("(ingredient IS NULL) <> (consumable_id IS NULL)", name=op.f("ck_pack_size_one_thing")),
        sa.CheckConstraint("price IS NULL OR price >= 0", name=op.f("ck_pack_size_price")),
        _refers("pack_size", "consumable_id", "consumable"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pack_size")),
    )
    op.create_index(op.f("ix_pack_size_consumable_id"), "pack_size", ["consumable_id"])
    op.create_table(
        "delivery",
        *_own(),
        sa.Column("ingredient", sa.String(), nullable=True),
        sa.Column("consumable_id", sa.Integer(), nullable=True),
        sa.Column("mass_kg", sa.Float(), nullable=True),
        sa.Column("mass_typed", sa.String(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("cost", sa.Float(), nullable=True),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("seller", sa.String(), nullable=False),
        sa.Column("arrived_on", sa.Date(), nullable=True),
        sa.Column("supply_id", sa.Integer(), nullable=True),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint(
            "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name=op.f("ck_delivery_voided_with_reason")
        ),
        sa.CheckConstraint("coalesce(mass_kg, count) > 0", name=op.f("ck_delivery_amount")),
        sa.CheckConstraint("cost IS NULL OR cost >= 0", name=op.f("ck_delivery_cost")),
        sa.CheckConstraint("(ingredient IS NULL) = (mass_kg IS NULL) AND (consumable_id IS NULL) = (count IS NULL)", name=op.f("ck_delivery_one_amount")),
        sa.CheckConstraint("(ingredient IS NULL) <> (consumable_id IS NULL)", name=op.f("ck_delivery_one_thing")),
        _refers("delivery", "consumable_id", "consumable"),
        _refers("delivery", "supply_id", "supply"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery")),
    )
    op.create_index(op.f("ix_delivery_consumable_id"), "delivery", ["consumable_id"])


def _drop_buying() -> None:
    op.drop_table("delivery")
    op.drop_table("pack_size")
    op.drop_table("consumable")


def _add_disposal() -> None:
    """Rejects and scrap that went."""
    op.create_table(
        "disposal",
        *_own(),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("mass_kg", sa.Float(), nullable=False),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint("length(how) > 0", name=op.f("ck_disposal_how")),
        sa.CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name=op.f("ck_disposal_voided_with_reason")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_disposal")),
    )
    op.create_table(
        "disposal_item",
        *_own(),
        sa.Column("disposal_id", sa.Integer(), nullable=False),
        sa.Column("grain_id", sa.Integer(), nullable=True),
        sa.Column("leftover_id", sa.Integer(), nullable=True),
        sa.Column("mass_kg", sa.Float(), nullable=False),
        sa.Column("released_at", sa.DateTime(), nullable=True),
        sa.CheckConstraint("mass_kg > 0", name=op.f("ck_disposal_item_mass")),
        sa.CheckConstraint("(grain_id IS NULL) <> (leftover_id IS NULL)", name=op.f("ck_disposal_item_one_thing")),
        _refers("disposal_item", "disposal_id", "disposal"),
        _refers("disposal_item", "grain_id", "grain"),
        _refers("disposal_item", "leftover_id", "leftover"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_disposal_item")),
    )
    op.create_index(op.f("ix_disposal_item_disposal_id"), "disposal_item", ["disposal_id"])
    op.create_index("uq_disposal_item_grain", "disposal_item", ["grain_id"], unique=True, sqlite_where=sa.text("released_at IS NULL"))
    op.create_index("uq_disposal_item_leftover", "disposal_item", ["leftover_id"], unique=True, sqlite_where=sa.text("released_at IS NULL"))


def _drop_disposal() -> None:
    op.drop_table("disposal_item")
    op.drop_table("disposal")
