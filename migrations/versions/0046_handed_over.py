"""What is handed over to another shop; settings that came with a visit; a first meter with a key of its own.

Every shop began with a meter of one and the same key, so that two shops' meters looked like one instrument. A shop
that has recorded nothing with it yet gets another key for it.

Revision ID: 0046
Revises: 0045
"""

import uuid

import sqlalchemy as sa
from alembic import op

from app.shop.store.both import migrating as both
from app.shop.store.row_hashes import seal

revision = "0046"
down_revision = "0045"

SHARED = "00000000-0000-4000-8000-000000000001"
USES = ("visit", "study", "study_reading", "meter_due")


def upgrade() -> None:
    op.add_column("setup", both.whole("brought", missing=True))
    both.evidence(
        "elsewhere",
        both.whole("visit_id"),
        both.text("store"),
        both.whole("away"),
        both.text("by"),
        both.text("at"),
        both.refers("elsewhere", "visit_id", "visit"),
    )
    both.told("elsewhere")
    op.create_index(op.f("ix_elsewhere_visit_id"), "elsewhere", ["visit_id"], unique=False)
    op.create_table(
        "handed",
        both.whole("engine_id"),
        both.text("receiver"),
        both.whole("wants"),
        both.whole("has"),
        both.whole("keys"),
        both.text("problem"),
        both.text("tried_at"),
        sa.PrimaryKeyConstraint("engine_id", name=op.f("pk_handed")),
        sqlite_strict=True,
    )
    op.create_table(
        "asked",
        both.text("id"),
        *(both.text(name) for name in ("store", "serial", "mine", "theirs", "answer", "asked_at")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_asked")),
        sqlite_strict=True,
    )
    _key_of_its_own()


def _key_of_its_own() -> None:
    found = op.get_bind().execute(sa.text("SELECT * FROM meter WHERE key = :key"), {"key": SHARED}).mappings().first()
    if found is None or any(_uses(table) for table in USES):
        return
    row = {**found, "key": str(uuid.uuid4())}
    row["seal"] = seal(row)
    if both.on_a_server():
        op.execute('ALTER TABLE "meter" DISABLE TRIGGER "meter_only_added"')
    else:
        for verb in ("update", "delete"):
            op.execute(f"DROP TRIGGER meter_no_{verb}")
    changed = sa.text("UPDATE meter SET key = :key, seal = :seal WHERE id = :id")
    op.get_bind().execute(changed, {name: row[name] for name in ("key", "seal", "id")})
    if both.on_a_server():
        op.execute('ALTER TABLE "meter" ENABLE TRIGGER "meter_only_added"')
    else:
        both.only_added("meter")


def _uses(table: str) -> bool:
    return op.get_bind().execute(sa.text(f'SELECT 1 FROM "{table}" LIMIT 1')).first() is not None
