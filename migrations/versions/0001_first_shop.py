"""The first shop: engines, what is fitted, visits, rounds, readings, moves, checks, overrides and sign-offs.

The triggers make evidence append-only: a row of any table but ``engine`` is never changed or deleted.

Revision ID: 0001
Revises:
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

EVIDENCE = ("fitting", "meter", "visit", "round", "reading", "move", "check", "override", "sign_off")


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def whole(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=False)


def real(name: str) -> sa.Column[float]:
    return sa.Column(name, sa.REAL(), nullable=False)


def points(table: str, column: str, at: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{at}.id"], name=op.f(f"fk_{table}_{column}_{at}"), ondelete="RESTRICT")


def upgrade() -> None:
    op.create_table(
        "engine",
        whole("id"),
        text("key"),
        text("payload"),
        text("serial"),
        text("serial_folded"),
        text("description"),
        real("displacement"),
        text("displacement_unit"),
        text("customer"),
        text("vehicle"),
        real("idle_speed"),
        text("registered_at"),
        whole("version"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_engine")),
        sa.UniqueConstraint("key", name=op.f("uq_engine_key")),
        sa.UniqueConstraint("serial_folded", name=op.f("uq_engine_serial_folded")),
        sqlite_strict=True,
    )
    op.create_table(
        "meter",
        whole("id"),
        text("key"),
        text("payload"),
        text("name"),
        text("quantity"),
        text("unit"),
        real("step"),
        real("low"),
        real("high"),
        real("repeatability"),
        text("repeatability_from"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_meter")),
        sa.UniqueConstraint("key", name=op.f("uq_meter_key")),
        sqlite_strict=True,
    )
    op.create_table(
        "fitting",
        whole("id"),
        text("key"),
        text("payload"),
        whole("engine_id"),
        whole("number"),
        text("layout"),
        text("hardware"),
        text("why"),
        text("at"),
        points("fitting", "engine_id", "engine"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fitting")),
        sa.UniqueConstraint("engine_id", "number", name=op.f("uq_fitting_engine_id_number")),
        sa.UniqueConstraint("key", name=op.f("uq_fitting_key")),
        sqlite_strict=True,
    )
    op.create_table(
        "visit",
        whole("id"),
        text("key"),
        text("payload"),
        whole("engine_id"),
        whole("fitting_id"),
        whole("meter_id"),
        whole("number"),
        text("place"),
        text("job"),
        text("why"),
        text("by"),
        text("opened_at"),
        points("visit", "engine_id", "engine"),
        points("visit", "fitting_id", "fitting"),
        points("visit", "meter_id", "meter"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
        sa.UniqueConstraint("engine_id", "number", name=op.f("uq_visit_engine_id_number")),
        sa.UniqueConstraint("key", name=op.f("uq_visit_key")),
        sqlite_strict=True,
    )
    op.create_table(
        "check",
        whole("id"),
        text("key"),
        text("payload"),
        whole("visit_id"),
        text("phase"),
        text("item"),
        sa.Column("number", sa.REAL(), nullable=True),
        text("text"),
        whole("after_move"),
        text("by"),
        text("at"),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        points("check", "supersedes_id", "check"),
        points("check", "visit_id", "visit"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check")),
        sa.UniqueConstraint("key", name=op.f("uq_check_key")),
        sa.UniqueConstraint("supersedes_id", name=op.f("uq_check_supersedes_id")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_check_visit_id"), "check", ["visit_id"], unique=False)
    op.create_table(
        "move",
        whole("id"),
        text("key"),
        text("payload"),
        whole("visit_id"),
        text("phase"),
        text("kind"),
        text("bank"),
        sa.Column("near", sa.Integer(), nullable=True),
        sa.Column("far", sa.Integer(), nullable=True),
        real("amount"),
        text("leaves"),
        whole("advised"),
        whole("after_reading"),
        text("by"),
        text("at"),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("kind IN ('stop', 'blade', 'link', 'bypass')", name=op.f("ck_move_kind")),
        points("move", "supersedes_id", "move"),
        points("move", "visit_id", "visit"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_move")),
        sa.UniqueConstraint("key", name=op.f("uq_move_key")),
        sa.UniqueConstraint("supersedes_id", name=op.f("uq_move_supersedes_id")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_move_visit_id"), "move", ["visit_id"], unique=False)
    op.create_table(
        "override",
        whole("id"),
        text("key"),
        text("payload"),
        whole("visit_id"),
        text("phase"),
        text("missing"),
        text("why"),
        text("by"),
        text("at"),
        points("override", "visit_id", "visit"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_override")),
        sa.UniqueConstraint("key", name=op.f("uq_override_key")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_override_visit_id"), "override", ["visit_id"], unique=False)
    op.create_table(
        "round",
        whole("id"),
        text("key"),
        text("payload"),
        whole("visit_id"),
        text("phase"),
        whole("number"),
        real("opening"),
        text("begun_at"),
        points("round", "visit_id", "visit"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round")),
        sa.UniqueConstraint("key", name=op.f("uq_round_key")),
        sa.UniqueConstraint("visit_id", "number", name=op.f("uq_round_visit_id_number")),
        sqlite_strict=True,
    )
    op.create_table(
        "sign_off",
        whole("id"),
        text("key"),
        text("payload"),
        whole("visit_id"),
        text("name"),
        text("at"),
        points("sign_off", "visit_id", "visit"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_off")),
        sa.UniqueConstraint("key", name=op.f("uq_sign_off_key")),
        sa.UniqueConstraint("visit_id", name=op.f("uq_sign_off_visit_id")),
        sqlite_strict=True,
    )
    op.create_table(
        "reading",
        whole("id"),
        text("key"),
        text("payload"),
        whole("round_id"),
        whole("bore"),
        text("kind"),
        sa.Column("value", sa.REAL(), nullable=True),
        text("unit"),
        text("why"),
        text("by"),
        text("at"),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("(kind = 'skip') = (value IS NULL)", name=op.f("ck_reading_skip_has_no_value")),
        sa.CheckConstraint("kind IN ('turn', 'closing', 'again', 'skip')", name=op.f("ck_reading_kind")),
        sa.CheckConstraint("value IS NULL OR value BETWEEN 0 AND 100000", name=op.f("ck_reading_value")),
        points("reading", "round_id", "round"),
        points("reading", "supersedes_id", "reading"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sa.UniqueConstraint("key", name=op.f("uq_reading_key")),
        sa.UniqueConstraint("supersedes_id", name=op.f("uq_reading_supersedes_id")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_reading_round_id"), "reading", ["round_id"], unique=False)
    for table in EVIDENCE:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f'CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON "{table}" '
                f"BEGIN SELECT RAISE(ABORT, '{table} rows are only ever added'); END"
            )
    op.execute(
        "INSERT INTO meter (key, payload, name, quantity, unit, step, low, high, repeatability, repeatability_from) "
        "VALUES ('00000000-0000-4000-8000-000000000001', '', 'Bench meter', 'flow', 'kg/h', 0.25, 0.0, 40.0, 0.02, "
        "'this program''s estimate until a repeatability study')"
    )
