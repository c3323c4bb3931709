"""What every table of a shop shares: its key, the hash of what was sent, and of evidence the hash of what it says."""

from sqlalchemy import MetaData, Text, text
from sqlmodel import Field, SQLModel

NAMING = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
metadata = MetaData(naming_convention=NAMING)
STRICT = {"sqlite_strict": True}


class Row(SQLModel):
    """What every table shares."""

    metadata = metadata
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(sa_type=Text, unique=True)
    payload: str = Field(sa_type=Text)

    @property
    def ident(self) -> int:
        """The primary key of a row that has been stored. Raises LookupError before that."""
        if self.id is None:
            raise LookupError("this row has not been stored yet")
        return self.id


class Evidence(Row):
    """What every table shares whose rows are only ever added. ``seal`` is set when a row is stored: see ``seals``."""

    seal: str = Field(default="", sa_type=Text, sa_column_kwargs={"server_default": text("''")})
