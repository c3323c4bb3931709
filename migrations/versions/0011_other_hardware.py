"""A coupler may be set by a screw of its own: a kind of move that the table did not allow.

How plates are joined, bypass screws and a common plenum stand in the layout's JSON, where what an engine has not is
left out: rows from before say what they said.

Revision ID: 0011
Revises: 0010
"""

from alembic import op

revision = "0011"
down_revision = "0010"

COLUMNS = (
    'id, "key", payload, visit_id, phase, kind, bank, near, far, amount, leaves, advised, after_reading, "by", at, '
    "supersedes_id, seal"
)


def upgrade() -> None:
    """Another table takes the rows over and the name: SQLite changes no check of a table that is there."""
    op.execute(
        """CREATE TABLE move_with_screws (
            id INTEGER NOT NULL,
            "key" TEXT NOT NULL,
            payload TEXT NOT NULL,
            visit_id INTEGER NOT NULL,
            phase TEXT NOT NULL,
            kind TEXT NOT NULL,
            bank TEXT NOT NULL,
            near INTEGER,
            far INTEGER,
            amount REAL NOT NULL,
            leaves TEXT NOT NULL,
            advised INTEGER NOT NULL,
            after_reading INTEGER NOT NULL,
            "by" TEXT NOT NULL,
            at TEXT NOT NULL,
            supersedes_id INTEGER,
            seal TEXT DEFAULT '' NOT NULL,
            CONSTRAINT pk_move PRIMARY KEY (id),
            CONSTRAINT ck_move_kind CHECK (kind IN ('stop', 'blade', 'screw', 'link', 'bypass')),
            CONSTRAINT fk_move_supersedes_id_move FOREIGN KEY(supersedes_id) REFERENCES move (id) ON DELETE RESTRICT,
            CONSTRAINT fk_move_visit_id_visit FOREIGN KEY(visit_id) REFERENCES visit (id) ON DELETE RESTRICT,
            CONSTRAINT uq_move_key UNIQUE ("key"),
            CONSTRAINT uq_move_supersedes_id UNIQUE (supersedes_id)
        ) STRICT"""
    )
    op.execute(f"INSERT INTO move_with_screws ({COLUMNS}) SELECT {COLUMNS} FROM move")
    op.execute("DROP TABLE move")
    op.execute("ALTER TABLE move_with_screws RENAME TO move")
    op.execute("CREATE INDEX ix_move_visit_id ON move (visit_id)")
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER move_no_{verb.lower()} BEFORE {verb} ON "move" '
            "BEGIN SELECT RAISE(ABORT, 'move rows are only ever added'); END"
        )
