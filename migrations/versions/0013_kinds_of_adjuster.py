"""The table of moves no longer lists the kinds of adjuster: which ones there are is known to the program.

Revision ID: 0013
Revises: 0012
"""

from alembic import op

revision = "0013"
down_revision = "0012"

COLUMNS = (
    'id, "key", payload, visit_id, phase, kind, bank, near, far, amount, leaves, advised, after_reading, "by", at, '
    "supersedes_id, seal"
)


def upgrade() -> None:
    """Another table takes the rows over and the name: SQLite changes no check of a table that is there."""
    op.execute(
        """CREATE TABLE move_of_any_kind (
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
            CONSTRAINT ck_move_kind CHECK (kind <> ''),
            CONSTRAINT fk_move_supersedes_id_move FOREIGN KEY(supersedes_id) REFERENCES move (id) ON DELETE RESTRICT,
            CONSTRAINT fk_move_visit_id_visit FOREIGN KEY(visit_id) REFERENCES visit (id) ON DELETE RESTRICT,
            CONSTRAINT uq_move_key UNIQUE ("key"),
            CONSTRAINT uq_move_supersedes_id UNIQUE (supersedes_id)
        ) STRICT"""
    )
    op.execute(f"INSERT INTO move_of_any_kind ({COLUMNS}) SELECT {COLUMNS} FROM move")
    op.execute("DROP TABLE move")
    op.execute("ALTER TABLE move_of_any_kind RENAME TO move")
    op.execute("CREATE INDEX ix_move_visit_id ON move (visit_id)")
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER move_no_{verb.lower()} BEFORE {verb} ON "move" '
            "BEGIN SELECT RAISE(ABORT, 'move rows are only ever added'); END"
        )
