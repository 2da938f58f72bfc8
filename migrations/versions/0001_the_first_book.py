"""The first book

Revision ID: 0001
Revises: 
"""

import sqlalchemy as sa
from alembic import op

revision = '0001'
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('casting_tube',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('inner_d_m', sa.Float(), nullable=False),
    sa.Column('outer_d_m', sa.Float(), nullable=False),
    sa.Column('length_m', sa.Float(), nullable=True),
    sa.Column('tare_kg', sa.Float(), nullable=True),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('inner_d_m > 0 AND outer_d_m > inner_d_m', name=op.f('ck_casting_tube_wall')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_casting_tube')),
    sa.UniqueConstraint('name', name=op.f('uq_casting_tube_name'))
    )
    op.create_table('checklist_edition',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('edition', sa.Integer(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_checklist_edition')),
    sa.UniqueConstraint('edition', name=op.f('uq_checklist_edition_edition'))
    )
    op.create_table('coring_rod',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('diameter_m', sa.Float(), nullable=False),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('diameter_m > 0', name=op.f('ck_coring_rod_diameter')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_coring_rod')),
    sa.UniqueConstraint('name', name=op.f('uq_coring_rod_name'))
    )
    op.create_table('draft',
    sa.Column('page', sa.String(), nullable=False),
    sa.Column('values_json', sa.String(), nullable=False),
    sa.Column('updated_at', sa.DateTime(), nullable=False),
    sa.PrimaryKeyConstraint('page', name=op.f('pk_draft'))
    )
    op.create_table('formula',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('edition', sa.Integer(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('law_rate_m_s', sa.Float(), nullable=True),
    sa.Column('law_exponent', sa.Float(), nullable=True),
    sa.Column('law_from_pa', sa.Float(), nullable=True),
    sa.Column('law_to_pa', sa.Float(), nullable=True),
    sa.Column('law_source', sa.String(), nullable=False),
    sa.CheckConstraint('edition >= 1', name=op.f('ck_formula_edition')),
    sa.CheckConstraint('law_rate_m_s IS NULL OR law_rate_m_s > 0', name=op.f('ck_formula_law_rate')),
    sa.CheckConstraint('law_from_pa IS NULL OR (law_from_pa > 0 AND law_to_pa > law_from_pa)', name=op.f('ck_formula_law_range')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_formula')),
    sa.UniqueConstraint('name', 'edition', name=op.f('uq_formula_name_edition'))
    )
    with op.batch_alter_table('formula', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_formula_name'), ['name'], unique=False)

    op.create_table('launch_field',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('elevation_m', sa.Float(), nullable=False),
    sa.Column('ceiling_m', sa.Float(), nullable=True),
    sa.Column('rules', sa.String(), nullable=False),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('ceiling_m IS NULL OR ceiling_m > 0', name=op.f('ck_launch_field_ceiling')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_launch_field')),
    sa.UniqueConstraint('name', name=op.f('uq_launch_field_name'))
    )
    op.create_table('motor_case',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('inner_d_m', sa.Float(), nullable=False),
    sa.Column('outer_d_m', sa.Float(), nullable=False),
    sa.Column('chamber_length_m', sa.Float(), nullable=False),
    sa.Column('material', sa.String(), nullable=False),
    sa.Column('yield_strength_pa', sa.Float(), nullable=True),
    sa.Column('rated_pressure_pa', sa.Float(), nullable=True),
    sa.Column('proof_pressure_pa', sa.Float(), nullable=True),
    sa.Column('proof_on', sa.Date(), nullable=True),
    sa.Column('wall_temperature_k', sa.Float(), nullable=True),
    sa.Column('closure', sa.String(), nullable=False),
    sa.Column('groove_d_m', sa.Float(), nullable=True),
    sa.Column('ring_thickness_m', sa.Float(), nullable=True),
    sa.Column('land_m', sa.Float(), nullable=True),
    sa.Column('bolt_count', sa.Integer(), nullable=True),
    sa.Column('hole_d_m', sa.Float(), nullable=True),
    sa.Column('shank_d_m', sa.Float(), nullable=True),
    sa.Column('edge_m', sa.Float(), nullable=True),
    sa.Column('holder_yield_pa', sa.Float(), nullable=True),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('chamber_length_m > 0', name=op.f('ck_motor_case_length')),
    sa.CheckConstraint("closure IN ('', 'ring', 'bolts')", name=op.f('ck_motor_case_closure')),
    sa.CheckConstraint('inner_d_m > 0 AND outer_d_m > inner_d_m', name=op.f('ck_motor_case_wall')),
    sa.CheckConstraint('proof_pressure_pa IS NULL OR proof_pressure_pa > 0', name=op.f('ck_motor_case_proof')),
    sa.CheckConstraint('rated_pressure_pa IS NULL OR rated_pressure_pa > 0', name=op.f('ck_motor_case_rated')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_motor_case')),
    sa.UniqueConstraint('name', name=op.f('uq_motor_case_name'))
    )
    op.create_table('nozzle',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('throat_d_m', sa.Float(), nullable=False),
    sa.Column('exit_d_m', sa.Float(), nullable=False),
    sa.Column('divergence_rad', sa.Float(), nullable=True),
    sa.Column('material', sa.String(), nullable=False),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('throat_d_m > 0 AND exit_d_m >= throat_d_m', name=op.f('ck_nozzle_throat_inside_exit')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_nozzle')),
    sa.UniqueConstraint('name', name=op.f('uq_nozzle_name'))
    )
    op.create_table('once_token',
    sa.Column('token', sa.String(), nullable=False),
    sa.Column('url', sa.String(), nullable=False),
    sa.Column('spent_at', sa.DateTime(), nullable=False),
    sa.PrimaryKeyConstraint('token', name=op.f('pk_once_token'))
    )
    op.create_table('rocket',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('diameter_m', sa.Float(), nullable=False),
    sa.Column('drag_coefficient', sa.Float(), nullable=False),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('mass_kg > 0 AND diameter_m > 0 AND drag_coefficient > 0', name=op.f('ck_rocket_positive')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_rocket')),
    sa.UniqueConstraint('name', name=op.f('uq_rocket_name'))
    )
    op.create_table('run_sheet',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('edition', sa.Integer(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_run_sheet')),
    sa.UniqueConstraint('edition', name=op.f('uq_run_sheet_edition'))
    )
    op.create_table('run_sheet_line',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('run_sheet_id', sa.Integer(), nullable=False),
    sa.Column('position', sa.Integer(), nullable=False),
    sa.Column('kind', sa.String(), nullable=False),
    sa.Column('words', sa.String(), nullable=False),
    sa.Column('after', sa.String(), nullable=False),
    sa.Column('after_s', sa.Float(), nullable=True),
    sa.Column('pan_low_k', sa.Float(), nullable=True),
    sa.Column('pan_high_k', sa.Float(), nullable=True),
    sa.CheckConstraint('after_s IS NULL OR after_s >= 0', name=op.f('ck_run_sheet_line_time')),
    sa.CheckConstraint('pan_low_k IS NULL OR pan_high_k IS NULL OR pan_low_k < pan_high_k', name=op.f('ck_run_sheet_line_band')),
    sa.ForeignKeyConstraint(['run_sheet_id'], ['run_sheet.id'], name=op.f('fk_run_sheet_line_run_sheet_id_run_sheet')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_run_sheet_line')),
    sa.UniqueConstraint('run_sheet_id', 'position', name=op.f('uq_run_sheet_line_run_sheet_id_position'))
    )
    with op.batch_alter_table('run_sheet_line', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_run_sheet_line_run_sheet_id'), ['run_sheet_id'], unique=False)

    op.create_table('supply',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('ingredient', sa.String(), nullable=False),
    sa.Column('mark', sa.String(), nullable=False),
    sa.Column('received_on', sa.Date(), nullable=False),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('mass_typed', sa.String(), nullable=False),
    sa.Column('cost', sa.Float(), nullable=True),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('cost IS NULL OR cost >= 0', name=op.f('ck_supply_cost')),
    sa.CheckConstraint('mass_kg > 0', name=op.f('ck_supply_mass')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_supply')),
    sa.UniqueConstraint('ingredient', 'mark', name=op.f('uq_supply_ingredient_mark'))
    )
    with op.batch_alter_table('supply', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_supply_ingredient'), ['ingredient'], unique=False)

    op.create_table('workshop',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('person', sa.String(), nullable=False),
    sa.Column('length_unit', sa.String(), nullable=False),
    sa.Column('altitude_unit', sa.String(), nullable=False),
    sa.Column('mass_unit', sa.String(), nullable=False),
    sa.Column('pressure_unit', sa.String(), nullable=False),
    sa.Column('temperature_unit', sa.String(), nullable=False),
    sa.Column('speed_unit', sa.String(), nullable=False),
    sa.Column('scale_resolution_kg', sa.Float(), nullable=False),
    sa.Column('ruler_resolution_m', sa.Float(), nullable=False),
    sa.Column('weigh_tolerance_share', sa.Float(), nullable=False),
    sa.Column('over_pour_share', sa.Float(), nullable=False),
    sa.Column('test_pieces_kg', sa.Float(), nullable=False),
    sa.Column('expected_density_share', sa.Float(), nullable=False),
    sa.Column('accept_share', sa.Float(), nullable=False),
    sa.Column('reject_share', sa.Float(), nullable=False),
    sa.Column('remelt_limit_share', sa.Float(), nullable=False),
    sa.Column('checklist_valid_s', sa.Float(), nullable=False),
    sa.Column('pan_low_k', sa.Float(), nullable=False),
    sa.Column('pan_low_typed', sa.String(), nullable=False),
    sa.Column('pan_limit_k', sa.Float(), nullable=False),
    sa.Column('pan_limit_typed', sa.String(), nullable=False),
    sa.Column('cure_s', sa.Float(), nullable=False),
    sa.Column('c_star_efficiency_share', sa.Float(), nullable=False),
    sa.Column('nozzle_efficiency_share', sa.Float(), nullable=False),
    sa.Column('grain_gap_m', sa.Float(), nullable=False),
    sa.Column('rate_per_kelvin_share', sa.Float(), nullable=False),
    sa.Column('igniter_pressure_pa', sa.Float(), nullable=False),
    sa.CheckConstraint('checklist_valid_s > 0', name=op.f('ck_workshop_checklist_valid')),
    sa.CheckConstraint('id = 1', name=op.f('ck_workshop_one_row')),
    sa.CheckConstraint('reject_share < accept_share', name=op.f('ck_workshop_verdict_order')),
    sa.CheckConstraint('remelt_limit_share BETWEEN 0 AND 1', name=op.f('ck_workshop_remelt_limit')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_workshop'))
    )
    op.create_table('batch',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('code', sa.String(), nullable=False),
    sa.Column('formula_id', sa.Integer(), nullable=False),
    sa.Column('planned_for', sa.Date(), nullable=False),
    sa.Column('state', sa.String(), nullable=False),
    sa.Column('expected_density_share', sa.Float(), nullable=False),
    sa.Column('over_pour_share', sa.Float(), nullable=False),
    sa.Column('planned_test_pieces_kg', sa.Float(), nullable=False),
    sa.Column('target_mass_kg', sa.Float(), nullable=False),
    sa.Column('test_pieces_kg', sa.Float(), nullable=True),
    sa.Column('test_pieces_typed', sa.String(), nullable=True),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint("state IN ('planned', 'casting', 'cast', 'dropped')", name=op.f('ck_batch_state')),
    sa.CheckConstraint('target_mass_kg > 0', name=op.f('ck_batch_target')),
    sa.CheckConstraint('test_pieces_kg IS NULL OR test_pieces_kg >= 0', name=op.f('ck_batch_test_pieces')),
    sa.ForeignKeyConstraint(['formula_id'], ['formula.id'], name=op.f('fk_batch_formula_id_formula')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_batch')),
    sa.UniqueConstraint('code', name=op.f('uq_batch_code'))
    )
    with op.batch_alter_table('batch', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_batch_code'), ['code'], unique=False)
        batch_op.create_index(batch_op.f('ix_batch_formula_id'), ['formula_id'], unique=False)

    op.create_table('blend_state',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('formula_id', sa.Integer(), nullable=False),
    sa.Column('pressure_pa', sa.Float(), nullable=False),
    sa.Column('method', sa.String(), nullable=False),
    sa.Column('state_json', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['formula_id'], ['formula.id'], name=op.f('fk_blend_state_formula_id_formula')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_blend_state')),
    sa.UniqueConstraint('formula_id', 'pressure_pa', 'method', name=op.f('uq_blend_state_formula_id_pressure_pa_method'))
    )
    with op.batch_alter_table('blend_state', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_blend_state_formula_id'), ['formula_id'], unique=False)

    op.create_table('checklist_item',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('checklist_edition_id', sa.Integer(), nullable=False),
    sa.Column('position', sa.Integer(), nullable=False),
    sa.Column('heading', sa.String(), nullable=False),
    sa.Column('words', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['checklist_edition_id'], ['checklist_edition.id'], name=op.f('fk_checklist_item_checklist_edition_id_checklist_edition')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_checklist_item')),
    sa.UniqueConstraint('checklist_edition_id', 'position', name=op.f('uq_checklist_item_checklist_edition_id_position'))
    )
    with op.batch_alter_table('checklist_item', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_checklist_item_checklist_edition_id'), ['checklist_edition_id'], unique=False)

    op.create_table('formula_part',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('formula_id', sa.Integer(), nullable=False),
    sa.Column('ingredient', sa.String(), nullable=False),
    sa.Column('fraction', sa.Float(), nullable=False),
    sa.CheckConstraint('fraction > 0 AND fraction < 1', name=op.f('ck_formula_part_fraction')),
    sa.ForeignKeyConstraint(['formula_id'], ['formula.id'], name=op.f('fk_formula_part_formula_id_formula')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_formula_part')),
    sa.UniqueConstraint('formula_id', 'ingredient', name=op.f('uq_formula_part_formula_id_ingredient'))
    )
    with op.batch_alter_table('formula_part', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_formula_part_formula_id'), ['formula_id'], unique=False)

    op.create_table('grain_pattern',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('outer_d_m', sa.Float(), nullable=False),
    sa.Column('core_d_m', sa.Float(), nullable=False),
    sa.Column('length_m', sa.Float(), nullable=False),
    sa.Column('burning_ends', sa.Integer(), nullable=False),
    sa.Column('burns_outer', sa.Boolean(), nullable=False),
    sa.Column('casting_tube_id', sa.Integer(), nullable=True),
    sa.Column('coring_rod_id', sa.Integer(), nullable=True),
    sa.Column('retired', sa.Boolean(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('burning_ends BETWEEN 0 AND 2', name=op.f('ck_grain_pattern_ends')),
    sa.CheckConstraint('core_d_m > 0 AND core_d_m < outer_d_m', name=op.f('ck_grain_pattern_core_inside')),
    sa.CheckConstraint('length_m > 0', name=op.f('ck_grain_pattern_length')),
    sa.ForeignKeyConstraint(['casting_tube_id'], ['casting_tube.id'], name=op.f('fk_grain_pattern_casting_tube_id_casting_tube')),
    sa.ForeignKeyConstraint(['coring_rod_id'], ['coring_rod.id'], name=op.f('fk_grain_pattern_coring_rod_id_coring_rod')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_grain_pattern')),
    sa.UniqueConstraint('name', name=op.f('uq_grain_pattern_name'))
    )
    op.create_table('motor_build',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('code', sa.String(), nullable=False),
    sa.Column('case_id', sa.Integer(), nullable=False),
    sa.Column('nozzle_id', sa.Integer(), nullable=False),
    sa.Column('built_on', sa.Date(), nullable=False),
    sa.Column('throat_d_m', sa.Float(), nullable=False),
    sa.Column('throat_d_typed', sa.String(), nullable=False),
    sa.Column('exit_d_m', sa.Float(), nullable=False),
    sa.Column('field_elevation_m', sa.Float(), nullable=False),
    sa.Column('grain_temperature_k', sa.Float(), nullable=False),
    sa.Column('taken_apart_at', sa.DateTime(), nullable=True),
    sa.Column('taken_apart_why', sa.String(), nullable=True),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('throat_d_m > 0 AND exit_d_m >= throat_d_m', name=op.f('ck_motor_build_throat')),
    sa.ForeignKeyConstraint(['case_id'], ['motor_case.id'], name=op.f('fk_motor_build_case_id_motor_case')),
    sa.ForeignKeyConstraint(['nozzle_id'], ['nozzle.id'], name=op.f('fk_motor_build_nozzle_id_nozzle')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_motor_build')),
    sa.UniqueConstraint('code', name=op.f('uq_motor_build_code'))
    )
    with op.batch_alter_table('motor_build', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_motor_build_code'), ['code'], unique=False)

    op.create_table('nozzle_measure',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('nozzle_id', sa.Integer(), nullable=False),
    sa.Column('measured_on', sa.Date(), nullable=False),
    sa.Column('throat_d_m', sa.Float(), nullable=False),
    sa.Column('throat_d_typed', sa.String(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('throat_d_m > 0', name=op.f('ck_nozzle_measure_throat')),
    sa.ForeignKeyConstraint(['nozzle_id'], ['nozzle.id'], name=op.f('fk_nozzle_measure_nozzle_id_nozzle')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_nozzle_measure'))
    )
    with op.batch_alter_table('nozzle_measure', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_nozzle_measure_nozzle_id'), ['nozzle_id'], unique=False)

    op.create_table('supply_correction',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('supply_id', sa.Integer(), nullable=False),
    sa.Column('delta_kg', sa.Float(), nullable=False),
    sa.Column('found_typed', sa.String(), nullable=False),
    sa.Column('reason', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['supply_id'], ['supply.id'], name=op.f('fk_supply_correction_supply_id_supply')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_supply_correction'))
    )
    with op.batch_alter_table('supply_correction', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_supply_correction_supply_id'), ['supply_id'], unique=False)

    op.create_table('batch_item',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('pattern_id', sa.Integer(), nullable=False),
    sa.Column('count', sa.Integer(), nullable=False),
    sa.CheckConstraint('count > 0', name=op.f('ck_batch_item_count')),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_batch_item_batch_id_batch')),
    sa.ForeignKeyConstraint(['pattern_id'], ['grain_pattern.id'], name=op.f('fk_batch_item_pattern_id_grain_pattern')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_batch_item')),
    sa.UniqueConstraint('batch_id', 'pattern_id', name=op.f('uq_batch_item_batch_id_pattern_id'))
    )
    with op.batch_alter_table('batch_item', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_batch_item_batch_id'), ['batch_id'], unique=False)

    op.create_table('cast_session',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('run_sheet_id', sa.Integer(), nullable=True),
    sa.Column('closed_at', sa.DateTime(), nullable=True),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_cast_session_batch_id_batch')),
    sa.ForeignKeyConstraint(['run_sheet_id'], ['run_sheet.id'], name=op.f('fk_cast_session_run_sheet_id_run_sheet')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_cast_session')),
    sa.UniqueConstraint('batch_id', name=op.f('uq_cast_session_batch_id'))
    )
    op.create_table('checklist',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('checklist_edition_id', sa.Integer(), nullable=False),
    sa.Column('person', sa.String(), nullable=False),
    sa.Column('completed_at', sa.DateTime(), nullable=True),
    sa.Column('voided_at', sa.DateTime(), nullable=True),
    sa.Column('voided_why', sa.String(), nullable=True),
    sa.CheckConstraint("completed_at IS NULL OR person <> ''", name=op.f('ck_checklist_signed')),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_checklist_batch_id_batch')),
    sa.ForeignKeyConstraint(['checklist_edition_id'], ['checklist_edition.id'], name=op.f('fk_checklist_checklist_edition_id_checklist_edition')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_checklist'))
    )
    with op.batch_alter_table('checklist', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_checklist_batch_id'), ['batch_id'], unique=False)

    op.create_table('firing',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('motor_build_id', sa.Integer(), nullable=False),
    sa.Column('kind', sa.String(), nullable=False),
    sa.Column('fired_at', sa.DateTime(), nullable=False),
    sa.Column('result', sa.String(), nullable=False),
    sa.Column('words', sa.String(), nullable=False),
    sa.Column('rocket_id', sa.Integer(), nullable=True),
    sa.Column('launch_field_id', sa.Integer(), nullable=True),
    sa.Column('air_temperature_k', sa.Float(), nullable=True),
    sa.Column('air_temperature_typed', sa.String(), nullable=True),
    sa.Column('wind_m_s', sa.Float(), nullable=True),
    sa.Column('wind_typed', sa.String(), nullable=True),
    sa.Column('weather', sa.String(), nullable=False),
    sa.Column('altitude_m', sa.Float(), nullable=True),
    sa.Column('altitude_typed', sa.String(), nullable=True),
    sa.Column('measured_impulse_ns', sa.Float(), nullable=True),
    sa.Column('measured_impulse_typed', sa.String(), nullable=True),
    sa.Column('measured_burn_time_s', sa.Float(), nullable=True),
    sa.Column('measured_burn_time_typed', sa.String(), nullable=True),
    sa.Column('measured_peak_pressure_pa', sa.Float(), nullable=True),
    sa.Column('measured_peak_pressure_typed', sa.String(), nullable=True),
    sa.Column('throat_after_m', sa.Float(), nullable=True),
    sa.Column('throat_after_typed', sa.String(), nullable=True),
    sa.CheckConstraint("kind = 'flight' OR rocket_id IS NULL", name=op.f('ck_firing_rocket_flies')),
    sa.CheckConstraint("kind IN ('static', 'flight')", name=op.f('ck_firing_kind')),
    sa.CheckConstraint('measured_impulse_ns IS NULL OR measured_impulse_ns > 0', name=op.f('ck_firing_impulse')),
    sa.ForeignKeyConstraint(['launch_field_id'], ['launch_field.id'], name=op.f('fk_firing_launch_field_id_launch_field')),
    sa.ForeignKeyConstraint(['motor_build_id'], ['motor_build.id'], name=op.f('fk_firing_motor_build_id_motor_build')),
    sa.ForeignKeyConstraint(['rocket_id'], ['rocket.id'], name=op.f('fk_firing_rocket_id_rocket')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_firing'))
    )
    with op.batch_alter_table('firing', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_firing_motor_build_id'), ['motor_build_id'], unique=False)
        batch_op.create_index('uq_firing_consumed', ['motor_build_id'], unique=True, sqlite_where=sa.text("result <> 'no_light'"))

    op.create_table('curve_file',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('firing_id', sa.Integer(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('sha256', sa.String(), nullable=False),
    sa.Column('size_bytes', sa.Integer(), nullable=False),
    sa.Column('raw', sa.LargeBinary(), nullable=False),
    sa.CheckConstraint('length(raw) = size_bytes AND size_bytes > 0', name=op.f('ck_curve_file_whole')),
    sa.ForeignKeyConstraint(['firing_id'], ['firing.id'], name=op.f('fk_curve_file_firing_id_firing')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_curve_file')),
    sa.UniqueConstraint('firing_id', 'sha256', name=op.f('uq_curve_file_firing_id_sha256'))
    )
    with op.batch_alter_table('curve_file', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_curve_file_firing_id'), ['firing_id'], unique=False)

    op.create_table('curve',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('firing_id', sa.Integer(), nullable=False),
    sa.Column('curve_file_id', sa.Integer(), nullable=False),
    sa.Column('designation', sa.String(), nullable=False),
    sa.Column('total_impulse_ns', sa.Float(), nullable=False),
    sa.Column('burn_time_s', sa.Float(), nullable=False),
    sa.Column('mean_thrust_n', sa.Float(), nullable=False),
    sa.Column('peak_thrust_n', sa.Float(), nullable=False),
    sa.Column('peak_pressure_pa', sa.Float(), nullable=True),
    sa.Column('reading_json', sa.String(), nullable=False),
    sa.Column('result_json', sa.String(), nullable=False),
    sa.CheckConstraint('total_impulse_ns > 0 AND burn_time_s > 0', name=op.f('ck_curve_burned')),
    sa.ForeignKeyConstraint(['curve_file_id'], ['curve_file.id'], name=op.f('fk_curve_curve_file_id_curve_file')),
    sa.ForeignKeyConstraint(['firing_id'], ['firing.id'], name=op.f('fk_curve_firing_id_firing')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_curve'))
    )
    with op.batch_alter_table('curve', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_curve_curve_file_id'), ['curve_file_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_curve_firing_id'), ['firing_id'], unique=False)

    op.create_table('grain',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('serial', sa.String(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('pattern_id', sa.Integer(), nullable=False),
    sa.Column('number', sa.Integer(), nullable=False),
    sa.Column('gross_kg', sa.Float(), nullable=False),
    sa.Column('gross_typed', sa.String(), nullable=False),
    sa.Column('tare_kg', sa.Float(), nullable=False),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('length_m', sa.Float(), nullable=False),
    sa.Column('length_typed', sa.String(), nullable=True),
    sa.Column('core_d_m', sa.Float(), nullable=False),
    sa.Column('core_d_typed', sa.String(), nullable=True),
    sa.Column('outer_d_m', sa.Float(), nullable=False),
    sa.Column('outer_d_typed', sa.String(), nullable=True),
    sa.Column('weighed_at', sa.DateTime(), nullable=False),
    sa.Column('density_kg_m3', sa.Float(), nullable=False),
    sa.Column('density_share', sa.Float(), nullable=False),
    sa.Column('verdict', sa.String(), nullable=False),
    sa.Column('verdict_why', sa.String(), nullable=False),
    sa.Column('decision', sa.String(), nullable=True),
    sa.Column('decision_fault', sa.String(), nullable=True),
    sa.Column('decision_why', sa.String(), nullable=False),
    sa.Column('decided_by', sa.String(), nullable=False),
    sa.Column('decided_at', sa.DateTime(), nullable=True),
    sa.Column('bagged_at', sa.DateTime(), nullable=True),
    sa.Column('gone_to', sa.String(), nullable=True),
    sa.Column('gone_at', sa.DateTime(), nullable=True),
    sa.Column('gone_by', sa.String(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint("decision IS NULL OR decision IN ('accept', 'hold', 'reject')", name=op.f('ck_grain_decision')),
    sa.CheckConstraint("gone_to IS NULL OR gone_to IN ('remelt', 'scrap')", name=op.f('ck_grain_gone_to')),
    sa.CheckConstraint("gone_to IS NULL OR (decision = 'reject' AND gone_at IS NOT NULL)", name=op.f('ck_grain_gone_rejected')),
    sa.CheckConstraint("verdict IN ('accept', 'look', 'reject')", name=op.f('ck_grain_verdict')),
    sa.CheckConstraint('length_m > 0 AND core_d_m > 0 AND core_d_m < outer_d_m', name=op.f('ck_grain_sizes')),
    sa.CheckConstraint('mass_kg > 0', name=op.f('ck_grain_mass')),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_grain_batch_id_batch')),
    sa.ForeignKeyConstraint(['pattern_id'], ['grain_pattern.id'], name=op.f('fk_grain_pattern_id_grain_pattern')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_grain')),
    sa.UniqueConstraint('batch_id', 'number', name=op.f('uq_grain_batch_id_number')),
    sa.UniqueConstraint('serial', name=op.f('uq_grain_serial'))
    )
    with op.batch_alter_table('grain', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_grain_batch_id'), ['batch_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_grain_serial'), ['serial'], unique=False)

    op.create_table('leftover',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('grain_id', sa.Integer(), nullable=True),
    sa.Column('mark', sa.String(), nullable=False),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('mass_typed', sa.String(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('mass_kg > 0', name=op.f('ck_leftover_mass')),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_leftover_batch_id_batch')),
    sa.ForeignKeyConstraint(['grain_id'], ['grain.id'], name=op.f('fk_leftover_grain_id_grain')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_leftover')),
    sa.UniqueConstraint('grain_id', name=op.f('uq_leftover_grain_id')),
    sa.UniqueConstraint('mark', name=op.f('uq_leftover_mark'))
    )
    with op.batch_alter_table('leftover', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_leftover_batch_id'), ['batch_id'], unique=False)

    op.create_table('struck_weighing',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('pattern_id', sa.Integer(), nullable=False),
    sa.Column('serial', sa.String(), nullable=False),
    sa.Column('number', sa.Integer(), nullable=False),
    sa.Column('gross_kg', sa.Float(), nullable=False),
    sa.Column('gross_typed', sa.String(), nullable=False),
    sa.Column('tare_kg', sa.Float(), nullable=False),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('length_m', sa.Float(), nullable=False),
    sa.Column('core_d_m', sa.Float(), nullable=False),
    sa.Column('outer_d_m', sa.Float(), nullable=False),
    sa.Column('weighed_at', sa.DateTime(), nullable=False),
    sa.Column('density_share', sa.Float(), nullable=False),
    sa.Column('verdict', sa.String(), nullable=False),
    sa.Column('grain_version', sa.Integer(), nullable=False),
    sa.Column('struck_at', sa.DateTime(), nullable=False),
    sa.Column('why', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_struck_weighing_batch_id_batch')),
    sa.ForeignKeyConstraint(['pattern_id'], ['grain_pattern.id'], name=op.f('fk_struck_weighing_pattern_id_grain_pattern')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_struck_weighing'))
    )
    with op.batch_alter_table('struck_weighing', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_struck_weighing_batch_id'), ['batch_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_struck_weighing_serial'), ['serial'], unique=False)

    op.create_table('prediction',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('motor_build_id', sa.Integer(), nullable=False),
    sa.Column('made_at', sa.DateTime(), nullable=False),
    sa.Column('total_impulse_ns', sa.Float(), nullable=False),
    sa.Column('mean_thrust_n', sa.Float(), nullable=False),
    sa.Column('peak_pressure_pa', sa.Float(), nullable=False),
    sa.Column('burn_time_s', sa.Float(), nullable=False),
    sa.Column('designation', sa.String(), nullable=False),
    sa.Column('inputs_json', sa.String(), nullable=False),
    sa.Column('result_json', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['motor_build_id'], ['motor_build.id'], name=op.f('fk_prediction_motor_build_id_motor_build')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_prediction'))
    )
    with op.batch_alter_table('prediction', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_prediction_motor_build_id'), ['motor_build_id'], unique=False)

    op.create_table('batch_part',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('ingredient', sa.String(), nullable=True),
    sa.Column('leftover_id', sa.Integer(), nullable=True),
    sa.Column('target_kg', sa.Float(), nullable=False),
    sa.CheckConstraint('(ingredient IS NULL) <> (leftover_id IS NULL)', name=op.f('ck_batch_part_one_source')),
    sa.CheckConstraint('target_kg >= 0', name=op.f('ck_batch_part_target')),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_batch_part_batch_id_batch')),
    sa.ForeignKeyConstraint(['leftover_id'], ['leftover.id'], name=op.f('fk_batch_part_leftover_id_leftover')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_batch_part')),
    sa.UniqueConstraint('batch_id', 'ingredient', name=op.f('uq_batch_part_batch_id_ingredient')),
    sa.UniqueConstraint('batch_id', 'leftover_id', name=op.f('uq_batch_part_batch_id_leftover_id'))
    )
    with op.batch_alter_table('batch_part', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_batch_part_batch_id'), ['batch_id'], unique=False)

    op.create_table('build_grain',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('motor_build_id', sa.Integer(), nullable=False),
    sa.Column('grain_id', sa.Integer(), nullable=False),
    sa.Column('position', sa.Integer(), nullable=False),
    sa.Column('released_at', sa.DateTime(), nullable=True),
    sa.ForeignKeyConstraint(['grain_id'], ['grain.id'], name=op.f('fk_build_grain_grain_id_grain')),
    sa.ForeignKeyConstraint(['motor_build_id'], ['motor_build.id'], name=op.f('fk_build_grain_motor_build_id_motor_build')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_build_grain')),
    sa.UniqueConstraint('motor_build_id', 'position', name=op.f('uq_build_grain_motor_build_id_position'))
    )
    with op.batch_alter_table('build_grain', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_build_grain_grain_id'), ['grain_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_build_grain_motor_build_id'), ['motor_build_id'], unique=False)
        batch_op.create_index('uq_build_grain_held', ['grain_id'], unique=True, sqlite_where=sa.text('released_at IS NULL'))

    op.create_table('cast_step',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('cast_session_id', sa.Integer(), nullable=False),
    sa.Column('set_number', sa.Integer(), nullable=False),
    sa.Column('position', sa.Integer(), nullable=False),
    sa.Column('key', sa.String(), nullable=False),
    sa.Column('words', sa.String(), nullable=False),
    sa.Column('after_key', sa.String(), nullable=True),
    sa.Column('after_s', sa.Float(), nullable=True),
    sa.Column('pan_low_k', sa.Float(), nullable=True),
    sa.Column('pan_high_k', sa.Float(), nullable=True),
    sa.Column('done_at', sa.DateTime(), nullable=True),
    sa.Column('skipped_why', sa.String(), nullable=True),
    sa.Column('person', sa.String(), nullable=False),
    sa.CheckConstraint('done_at IS NULL OR skipped_why IS NULL', name=op.f('ck_cast_step_done_or_skipped')),
    sa.CheckConstraint('set_number >= 0', name=op.f('ck_cast_step_set_number')),
    sa.ForeignKeyConstraint(['cast_session_id'], ['cast_session.id'], name=op.f('fk_cast_step_cast_session_id_cast_session')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_cast_step')),
    sa.UniqueConstraint('cast_session_id', 'set_number', 'key', name=op.f('uq_cast_step_cast_session_id_set_number_key'))
    )
    with op.batch_alter_table('cast_step', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_cast_step_cast_session_id'), ['cast_session_id'], unique=False)

    op.create_table('checklist_answer',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('checklist_id', sa.Integer(), nullable=False),
    sa.Column('checklist_item_id', sa.Integer(), nullable=False),
    sa.Column('answer', sa.String(), nullable=False),
    sa.Column('reason', sa.String(), nullable=False),
    sa.Column('answered_at', sa.DateTime(), nullable=False),
    sa.CheckConstraint("answer = 'done' OR length(trim(reason)) >= 3", name=op.f('ck_checklist_answer_reason')),
    sa.CheckConstraint("answer IN ('done', 'na')", name=op.f('ck_checklist_answer_answer')),
    sa.ForeignKeyConstraint(['checklist_id'], ['checklist.id'], name=op.f('fk_checklist_answer_checklist_id_checklist')),
    sa.ForeignKeyConstraint(['checklist_item_id'], ['checklist_item.id'], name=op.f('fk_checklist_answer_checklist_item_id_checklist_item')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_checklist_answer')),
    sa.UniqueConstraint('checklist_id', 'checklist_item_id', name=op.f('uq_checklist_answer_checklist_id_checklist_item_id'))
    )
    with op.batch_alter_table('checklist_answer', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_checklist_answer_checklist_id'), ['checklist_id'], unique=False)

    op.create_table('grain_bag',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('grain_id', sa.Integer(), nullable=False),
    sa.Column('place', sa.String(), nullable=False),
    sa.Column('desiccant', sa.Boolean(), nullable=False),
    sa.Column('desiccant_on', sa.Date(), nullable=True),
    sa.CheckConstraint('desiccant_on IS NULL OR desiccant', name=op.f('ck_grain_bag_desiccant_date')),
    sa.ForeignKeyConstraint(['grain_id'], ['grain.id'], name=op.f('fk_grain_bag_grain_id_grain')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_grain_bag'))
    )
    with op.batch_alter_table('grain_bag', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_grain_bag_grain_id'), ['grain_id'], unique=False)

    op.create_table('re_weigh',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('grain_id', sa.Integer(), nullable=False),
    sa.Column('weighed_at', sa.DateTime(), nullable=False),
    sa.Column('gross_kg', sa.Float(), nullable=False),
    sa.Column('gross_typed', sa.String(), nullable=False),
    sa.Column('tare_kg', sa.Float(), nullable=False),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('label_kg', sa.Float(), nullable=False),
    sa.Column('scale_resolution_kg', sa.Float(), nullable=False),
    sa.Column('note', sa.String(), nullable=False),
    sa.CheckConstraint('mass_kg > 0 AND label_kg > 0', name=op.f('ck_re_weigh_mass')),
    sa.ForeignKeyConstraint(['grain_id'], ['grain.id'], name=op.f('fk_re_weigh_grain_id_grain')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_re_weigh'))
    )
    with op.batch_alter_table('re_weigh', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_re_weigh_grain_id'), ['grain_id'], unique=False)

    op.create_table('test_piece',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_id', sa.Integer(), nullable=False),
    sa.Column('number', sa.Integer(), nullable=False),
    sa.Column('burned_on', sa.Date(), nullable=False),
    sa.Column('length_m', sa.Float(), nullable=False),
    sa.Column('length_typed', sa.String(), nullable=False),
    sa.Column('length_step_m', sa.Float(), nullable=False),
    sa.Column('burn_time_s', sa.Float(), nullable=False),
    sa.Column('burn_time_typed', sa.String(), nullable=False),
    sa.Column('time_sd_s', sa.Float(), nullable=False),
    sa.Column('pressure_pa', sa.Float(), nullable=False),
    sa.Column('pressure_typed', sa.String(), nullable=True),
    sa.Column('elevation_m', sa.Float(), nullable=True),
    sa.Column('elevation_typed', sa.String(), nullable=True),
    sa.Column('note', sa.String(), nullable=False),
    sa.Column('voided_at', sa.DateTime(), nullable=True),
    sa.Column('voided_why', sa.String(), nullable=False),
    sa.CheckConstraint('length_m > 0 AND burn_time_s > 0 AND pressure_pa > 0', name=op.f('ck_test_piece_sizes')),
    sa.ForeignKeyConstraint(['batch_id'], ['batch.id'], name=op.f('fk_test_piece_batch_id_batch')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_test_piece')),
    sa.UniqueConstraint('batch_id', 'number', name=op.f('uq_test_piece_batch_id_number'))
    )
    with op.batch_alter_table('test_piece', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_test_piece_batch_id'), ['batch_id'], unique=False)

    op.create_table('grain_measure',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('grain_id', sa.Integer(), nullable=False),
    sa.Column('serial', sa.String(), nullable=False),
    sa.Column('pattern_id', sa.Integer(), nullable=False),
    sa.Column('gross_kg', sa.Float(), nullable=False),
    sa.Column('gross_typed', sa.String(), nullable=False),
    sa.Column('tare_kg', sa.Float(), nullable=False),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('length_m', sa.Float(), nullable=False),
    sa.Column('core_d_m', sa.Float(), nullable=False),
    sa.Column('outer_d_m', sa.Float(), nullable=False),
    sa.Column('weighed_at', sa.DateTime(), nullable=False),
    sa.Column('density_share', sa.Float(), nullable=False),
    sa.Column('verdict', sa.String(), nullable=False),
    sa.Column('decision', sa.String(), nullable=True),
    sa.Column('decision_fault', sa.String(), nullable=True),
    sa.Column('decision_why', sa.String(), nullable=False),
    sa.Column('decided_by', sa.String(), nullable=False),
    sa.Column('decided_at', sa.DateTime(), nullable=True),
    sa.Column('offcut_kg', sa.Float(), nullable=False),
    sa.Column('why', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['grain_id'], ['grain.id'], name=op.f('fk_grain_measure_grain_id_grain')),
    sa.ForeignKeyConstraint(['pattern_id'], ['grain_pattern.id'], name=op.f('fk_grain_measure_pattern_id_grain_pattern')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_grain_measure'))
    )
    with op.batch_alter_table('grain_measure', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_grain_measure_grain_id'), ['grain_id'], unique=False)

    op.create_table('session_note',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('cast_session_id', sa.Integer(), nullable=False),
    sa.Column('written_at', sa.DateTime(), nullable=False),
    sa.Column('words', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['cast_session_id'], ['cast_session.id'], name=op.f('fk_session_note_cast_session_id_cast_session')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_session_note'))
    )
    with op.batch_alter_table('session_note', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_session_note_cast_session_id'), ['cast_session_id'], unique=False)

    op.create_table('session_opening',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('cast_session_id', sa.Integer(), nullable=False),
    sa.Column('checklist_id', sa.Integer(), nullable=False),
    sa.Column('person', sa.String(), nullable=False),
    sa.Column('opened_at', sa.DateTime(), nullable=False),
    sa.ForeignKeyConstraint(['cast_session_id'], ['cast_session.id'], name=op.f('fk_session_opening_cast_session_id_cast_session')),
    sa.ForeignKeyConstraint(['checklist_id'], ['checklist.id'], name=op.f('fk_session_opening_checklist_id_checklist')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_session_opening')),
    sa.UniqueConstraint('checklist_id', name=op.f('uq_session_opening_checklist_id'))
    )
    with op.batch_alter_table('session_opening', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_session_opening_cast_session_id'), ['cast_session_id'], unique=False)

    op.create_table('temperature_reading',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('cast_session_id', sa.Integer(), nullable=False),
    sa.Column('read_at', sa.DateTime(), nullable=False),
    sa.Column('temperature_k', sa.Float(), nullable=False),
    sa.Column('temperature_typed', sa.String(), nullable=False),
    sa.ForeignKeyConstraint(['cast_session_id'], ['cast_session.id'], name=op.f('fk_temperature_reading_cast_session_id_cast_session')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_temperature_reading'))
    )
    with op.batch_alter_table('temperature_reading', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_temperature_reading_cast_session_id'), ['cast_session_id'], unique=False)

    op.create_table('weigh_out',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('batch_part_id', sa.Integer(), nullable=False),
    sa.Column('supply_id', sa.Integer(), nullable=True),
    sa.Column('leftover_id', sa.Integer(), nullable=True),
    sa.Column('mass_kg', sa.Float(), nullable=False),
    sa.Column('mass_typed', sa.String(), nullable=False),
    sa.Column('person', sa.String(), nullable=False),
    sa.Column('voided_at', sa.DateTime(), nullable=True),
    sa.Column('voided_why', sa.String(), nullable=True),
    sa.CheckConstraint('(supply_id IS NULL) <> (leftover_id IS NULL)', name=op.f('ck_weigh_out_one_source')),
    sa.CheckConstraint('mass_kg > 0', name=op.f('ck_weigh_out_mass')),
    sa.ForeignKeyConstraint(['batch_part_id'], ['batch_part.id'], name=op.f('fk_weigh_out_batch_part_id_batch_part')),
    sa.ForeignKeyConstraint(['leftover_id'], ['leftover.id'], name=op.f('fk_weigh_out_leftover_id_leftover')),
    sa.ForeignKeyConstraint(['supply_id'], ['supply.id'], name=op.f('fk_weigh_out_supply_id_supply')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_weigh_out'))
    )
    with op.batch_alter_table('weigh_out', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_weigh_out_batch_part_id'), ['batch_part_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_weigh_out_leftover_id'), ['leftover_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_weigh_out_supply_id'), ['supply_id'], unique=False)



def downgrade() -> None:
    with op.batch_alter_table('test_piece', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_test_piece_batch_id'))

    op.drop_table('test_piece')
    with op.batch_alter_table('re_weigh', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_re_weigh_grain_id'))

    op.drop_table('re_weigh')
    with op.batch_alter_table('grain_bag', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_grain_bag_grain_id'))

    op.drop_table('grain_bag')
    with op.batch_alter_table('weigh_out', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_weigh_out_supply_id'))
        batch_op.drop_index(batch_op.f('ix_weigh_out_leftover_id'))
        batch_op.drop_index(batch_op.f('ix_weigh_out_batch_part_id'))

    op.drop_table('weigh_out')
    with op.batch_alter_table('temperature_reading', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_temperature_reading_cast_session_id'))

    op.drop_table('temperature_reading')
    with op.batch_alter_table('session_opening', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_session_opening_cast_session_id'))

    op.drop_table('session_opening')
    with op.batch_alter_table('session_note', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_session_note_cast_session_id'))

    op.drop_table('session_note')
    with op.batch_alter_table('grain_measure', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_grain_measure_grain_id'))

    op.drop_table('grain_measure')
    with op.batch_alter_table('checklist_answer', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_checklist_answer_checklist_id'))

    op.drop_table('checklist_answer')
    with op.batch_alter_table('cast_step', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_cast_step_cast_session_id'))

    op.drop_table('cast_step')
    with op.batch_alter_table('build_grain', schema=None) as batch_op:
        batch_op.drop_index('uq_build_grain_held', sqlite_where=sa.text('released_at IS NULL'))
        batch_op.drop_index(batch_op.f('ix_build_grain_motor_build_id'))
        batch_op.drop_index(batch_op.f('ix_build_grain_grain_id'))

    op.drop_table('build_grain')
    with op.batch_alter_table('batch_part', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_batch_part_batch_id'))

    op.drop_table('batch_part')
    with op.batch_alter_table('prediction', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_prediction_motor_build_id'))

    op.drop_table('prediction')
    with op.batch_alter_table('struck_weighing', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_struck_weighing_serial'))
        batch_op.drop_index(batch_op.f('ix_struck_weighing_batch_id'))

    op.drop_table('struck_weighing')
    with op.batch_alter_table('leftover', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_leftover_batch_id'))

    op.drop_table('leftover')
    with op.batch_alter_table('grain', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_grain_serial'))
        batch_op.drop_index(batch_op.f('ix_grain_batch_id'))

    op.drop_table('grain')
    with op.batch_alter_table('curve', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_curve_firing_id'))
        batch_op.drop_index(batch_op.f('ix_curve_curve_file_id'))

    op.drop_table('curve')
    with op.batch_alter_table('curve_file', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_curve_file_firing_id'))

    op.drop_table('curve_file')
    with op.batch_alter_table('firing', schema=None) as batch_op:
        batch_op.drop_index('uq_firing_consumed', sqlite_where=sa.text("result <> 'no_light'"))
        batch_op.drop_index(batch_op.f('ix_firing_motor_build_id'))

    op.drop_table('firing')
    with op.batch_alter_table('checklist', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_checklist_batch_id'))

    op.drop_table('checklist')
    op.drop_table('cast_session')
    with op.batch_alter_table('batch_item', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_batch_item_batch_id'))

    op.drop_table('batch_item')
    with op.batch_alter_table('supply_correction', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_supply_correction_supply_id'))

    op.drop_table('supply_correction')
    with op.batch_alter_table('nozzle_measure', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_nozzle_measure_nozzle_id'))

    op.drop_table('nozzle_measure')
    with op.batch_alter_table('motor_build', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_motor_build_code'))

    op.drop_table('motor_build')
    op.drop_table('grain_pattern')
    with op.batch_alter_table('formula_part', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_formula_part_formula_id'))

    op.drop_table('formula_part')
    with op.batch_alter_table('checklist_item', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_checklist_item_checklist_edition_id'))

    op.drop_table('checklist_item')
    with op.batch_alter_table('blend_state', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_blend_state_formula_id'))

    op.drop_table('blend_state')
    with op.batch_alter_table('batch', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_batch_formula_id'))
        batch_op.drop_index(batch_op.f('ix_batch_code'))

    op.drop_table('batch')
    op.drop_table('workshop')
    with op.batch_alter_table('supply', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_supply_ingredient'))

    op.drop_table('supply')
    with op.batch_alter_table('run_sheet_line', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_run_sheet_line_run_sheet_id'))

    op.drop_table('run_sheet_line')
    op.drop_table('run_sheet')
    op.drop_table('rocket')
    op.drop_table('once_token')
    op.drop_table('nozzle')
    op.drop_table('motor_case')
    op.drop_table('launch_field')
    with op.batch_alter_table('formula', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_formula_name'))

    op.drop_table('formula')
    op.drop_table('draft')
    op.drop_table('coring_rod')
    op.drop_table('checklist_edition')
    op.drop_table('casting_tube')
