"""The schema of the database, brought up to date by code: no ini file, no command of its own."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from settle.books.store import open_engine, transaction


def upgrade(url: str) -> None:
    """Bring the database behind `url` to the newest schema, making a file where there is none."""
    engine = open_engine(url)
    try:
        with transaction(engine, "migrating") as connection:
            config = _config()
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
    finally:
        engine.dispose()


def is_current(engine: Engine) -> bool:
    """Whether the database has the newest schema."""
    with transaction(engine, "reading") as connection:
        has = MigrationContext.configure(connection).get_current_revision()
    return has == newest()


def newest() -> str | None:
    """The name of the newest schema."""
    return ScriptDirectory.from_config(_config()).get_current_head()


def _config() -> Config:
    config = Config()
    # Percent signs in an installation's path would be read as interpolation.
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    return config
