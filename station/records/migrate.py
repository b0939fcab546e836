"""Brings an older database up to this schema. Imported only when that is due."""

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection


def migrate(connection: Connection, *, revision: str = "head") -> None:
    """Run the migrations up to `revision` on `connection`, inside its transaction.

    A database without `alembic_version` gets every migration, which gives the same as making it new.
    """
    config = Config()
    config.set_main_option("script_location", "station.records:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, revision)
