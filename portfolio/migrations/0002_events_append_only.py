"""The database itself refuses to change a line of the event chain.

Deleting is refused on PostgreSQL. SQLite has no such trigger, because test databases are emptied row by row
there; a deleted line shows as a gap in the chain (`manage.py check_events`).
"""

from django.db import migrations

SQLITE = [
    """CREATE TRIGGER portfolio_event_no_change BEFORE UPDATE ON portfolio_event
       BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"""
]
POSTGRESQL = [
    """CREATE FUNCTION portfolio_event_refuse() RETURNS trigger LANGUAGE plpgsql AS
       $$ BEGIN RAISE EXCEPTION 'events are append-only'; END $$""",
    """CREATE TRIGGER portfolio_event_no_change BEFORE UPDATE OR DELETE ON portfolio_event
       FOR EACH ROW EXECUTE FUNCTION portfolio_event_refuse()""",
]
UNDO = {
    "sqlite": ["DROP TRIGGER portfolio_event_no_change"],
    "postgresql": [
        "DROP TRIGGER portfolio_event_no_change ON portfolio_event",
        "DROP FUNCTION portfolio_event_refuse()",
    ],
}


def guard(apps, editor):
    statements = SQLITE if editor.connection.vendor == "sqlite" else POSTGRESQL
    for statement in statements:
        editor.execute(statement)


def unguard(apps, editor):
    for statement in UNDO[editor.connection.vendor]:
        editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("portfolio", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
