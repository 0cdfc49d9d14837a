"""A school: one PostgreSQL database for many students and teachers, each with a role of their own.

`prepare` brings the database up to date and sets the rules, which the database itself enforces (row-level security):

    a student   adds attempts and passes of their own and reads them; reads what was assigned to them
    a teacher   does the same with their own; reads everything of the students of their classes, assigns to them,
                and keeps the summaries and standings of them, which are computed from what was played

Nobody changes or takes away what was played. Who owns the database (the *keeper*) adds students, teachers and classes.
Names are as the school writes them, and are always quoted. A password is turned into the verifier that the server keeps
(SCRAM-SHA-256) before it leaves this program; none is written to any file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

from trainer.storage.files import StorageError, UtcNow, utc_now
from trainer.storage.records.opened import Records
from trainer.storage.records.postgres import PostgresDatabase, sql
from trainer.storage.records.schema import MIGRATIONS

STUDENT: Final = "student"
TEACHER: Final = "teacher"
PARTS: Final = (STUDENT, TEACHER)
MOST_NAME_BYTES: Final = 63
"""The longest name of a role that PostgreSQL tells from another."""

_PLAYED: Final = ("attempts", "passes")
_OF_STUDENTS: Final = (*_PLAYED, "assignments", "results", "pending", "summaries", "derived", "earlier_verdicts")

_TABLES: Final = (
    """
    CREATE TABLE IF NOT EXISTS members (
        name TEXT COLLATE "C" PRIMARY KEY,
        part TEXT COLLATE "C" NOT NULL CHECK (part IN ('student', 'teacher'))
    )
    """,
    """
    CREATE TABLE IF NOT EXISTS classes (
        class TEXT COLLATE "C" NOT NULL,
        member TEXT COLLATE "C" NOT NULL REFERENCES members (name) ON DELETE CASCADE,
        PRIMARY KEY (class, member)
    )
    """,
    # Asked once for a statement, not once for a row: the policies below select from it.
    """
    CREATE OR REPLACE FUNCTION whose() RETURNS text[] LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path = {schema}, pg_temp AS $$
        SELECT array_agg(DISTINCT name) FROM (
            SELECT session_user::text AS name
            UNION ALL
            SELECT taught.member FROM classes mine JOIN classes taught USING (class)
            JOIN members me ON me.name = mine.member AND me.part = 'teacher'
            JOIN members pupil ON pupil.name = taught.member AND pupil.part = 'student'
            WHERE mine.member = session_user::text
        ) AS names
    $$
    """,
)

_MINE: Final = "student = session_user::text"
_MINE_AND_TAUGHT: Final = "student = ANY ((SELECT whose())::text[])"


@dataclass(frozen=True, slots=True)
class Member:
    """Somebody of the school, and the classes they are in."""

    name: str
    part: str
    classes: tuple[str, ...]


class School:
    """The database as its keeper has it. Every method raises `StorageError`."""

    def __init__(self, database: PostgresDatabase) -> None:
        """Internal; use `School.open`."""
        self._database = database
        [[name, self._schema]] = database.rows("SELECT current_database()::text, current_schema()::text")
        self.students, self.teachers = f"{name}: students", f"{name}: teachers"

    @classmethod
    def open(cls, address: str, *, password: str | None = None, utc_now: UtcNow = utc_now) -> School:
        """Connect to the database of a school, prepared or not yet."""
        return cls(PostgresDatabase(address, utc_now, password))

    def close(self) -> None:
        self._database.close()

    # -- preparing

    def prepare(self) -> None:
        """Bring the database up to date and set every rule anew; twice is the same as once."""
        self._database.prepare(MIGRATIONS, by_the_school=True)
        with self._database.writing():
            self._database.lock()
            for statement in _TABLES:
                self._run(statement, schema=self._schema)
            for group in (self.students, self.teachers):
                if not self._database.rows("SELECT 1 FROM pg_roles WHERE rolname = ?", (group,)):
                    self._run("CREATE ROLE {group} NOLOGIN", group=group)
            self._run("REVOKE ALL ON ALL TABLES IN SCHEMA {schema} FROM PUBLIC", schema=self._schema)
            self._run("REVOKE CREATE ON SCHEMA {schema} FROM PUBLIC", schema=self._schema)
            self._run("REVOKE ALL ON FUNCTION whose() FROM PUBLIC")
            for group in (self.students, self.teachers):
                self._run("REVOKE ALL ON ALL TABLES IN SCHEMA {schema} FROM {group}", schema=self._schema, group=group)
                self._run("GRANT USAGE ON SCHEMA {schema} TO {group}", schema=self._schema, group=group)
                self._run("GRANT EXECUTE ON FUNCTION whose() TO {group}", group=group)
                for table, rights in self._rights(group):
                    self._run(f"GRANT {rights} ON {{table}} TO {{group}}", table=table, group=group)
            self._policies()

    def _rights(self, group: str) -> Iterator[tuple[str, str]]:
        yield from (("migrations", "SELECT"), ("members", "SELECT"), ("classes", "SELECT"))
        for table in (*_PLAYED, "pending"):
            yield table, "SELECT, INSERT"
        for table in ("assignments", "results", "summaries", "earlier_verdicts"):
            yield table, "SELECT"
        if group == self.teachers:
            yield "assignments", "INSERT, UPDATE, DELETE"
            yield "summaries", "INSERT, UPDATE, DELETE"
            yield "derived", "SELECT, INSERT, UPDATE, DELETE"
            yield "pending", "DELETE"

    def _policies(self) -> None:
        for table in (*_OF_STUDENTS, "members", "classes"):
            self._run("ALTER TABLE {table} ENABLE ROW LEVEL SECURITY", table=table)
            for (policy,) in self._database.rows(
                "SELECT policyname FROM pg_policies WHERE schemaname = ? AND tablename = ?", (self._schema, table)
            ):
                self._run("DROP POLICY {policy} ON {table}", policy=policy, table=table)
        for table in _OF_STUDENTS:
            self._policy(table, "read", "SELECT", self.students, f"USING ({_MINE})")
            self._policy(table, "read of a class", "SELECT", self.teachers, f"USING ({_MINE_AND_TAUGHT})")
        for table in (*_PLAYED, "pending"):
            self._policy(table, "add", "INSERT", self.students, f"WITH CHECK ({_MINE})")
            self._policy(table, "add their own", "INSERT", self.teachers, f"WITH CHECK ({_MINE})")
        for table in ("assignments", "summaries", "derived", "pending"):
            self._policy(table, "take away", "DELETE", self.teachers, f"USING ({_MINE_AND_TAUGHT})")
        for table in ("assignments", "summaries", "derived"):
            check = f"WITH CHECK ({_MINE_AND_TAUGHT})"
            self._policy(table, "add for a class", "INSERT", self.teachers, check)
            self._policy(table, "change", "UPDATE", self.teachers, f"USING ({_MINE_AND_TAUGHT}) {check}")
        for group in (self.students, self.teachers):
            whose = "name = ANY ((SELECT whose())::text[])"
            self._policy("members", f"see, {group}", "SELECT", group, f"USING ({whose})")
            self._policy("classes", f"see, {group}", "SELECT", group, f"USING ({whose.replace('name', 'member', 1)})")

    def _policy(self, table: str, name: str, action: str, group: str, rule: str) -> None:
        self._run(
            f"CREATE POLICY {{name}} ON {{table}} FOR {action} TO {{group}} {rule}", name=name, table=table, group=group
        )

    # -- members

    def add(self, name: str, part: str, classes: Iterable[str] = (), password: str | None = None) -> bool:
        """Give somebody a role and a place in classes; False where they had both.

        A `password` is set where one is given, also for who was there. Somebody of the other part is refused.
        """
        _check_name(name)
        wanted = [_check_class(one) for one in classes]
        if name in (self.students, self.teachers):
            raise StorageError(name, "is the name of a group of roles", "take another name")
        with self._database.writing():
            self._database.lock()
            known = {one.name: one for one in self._members()}
            there = known.get(name)
            if there is not None and there.part != part:
                raise StorageError(name, f"is a {there.part} already", "take another name")
            new = there is None
            if new:
                if self._database.rows("SELECT 1 FROM pg_roles WHERE rolname = ?", (name,)):
                    raise StorageError(name, "is a role of this server already", "take another name")
                self._run("CREATE ROLE {name} LOGIN", name=name)
                self._run("GRANT {group} TO {name}", group=self._group(part), name=name)
                self._database.change("INSERT INTO members (name, part) VALUES (?, ?)", (name, part))
            if password is not None:
                self._set_password(name, password)
            for one in wanted:
                new |= bool(
                    self._database.change(
                        "INSERT INTO classes (class, member) VALUES (?, ?) ON CONFLICT (class, member) DO NOTHING",
                        (one, name),
                    )
                )
        return new

    def remove(self, name: str) -> bool:
        """Take somebody's role and places in classes away; what they played stays. False where nobody has the name."""
        with self._database.writing():
            self._database.lock()
            if not self._database.change("DELETE FROM members WHERE name = ?", (name,)):
                return False
            self._run("DROP ROLE {name}", name=name)
        return True

    def leave(self, name: str, of_class: str) -> bool:
        """Take somebody out of a class; False where they were not in it."""
        return bool(self._database.change("DELETE FROM classes WHERE member = ? AND class = ?", (name, of_class)))

    def members(self) -> list[Member]:
        """Everybody, by name."""
        return self._members()

    def _members(self) -> list[Member]:
        classes: dict[str, list[str]] = {}
        for member, one in self._database.rows("SELECT member, class FROM classes ORDER BY member, class"):
            classes.setdefault(member, []).append(one)
        return [
            Member(name, part, tuple(classes.get(name, ())))
            for name, part in self._database.rows("SELECT name, part FROM members ORDER BY name")
        ]

    def _group(self, part: str) -> str:
        return self.students if part == STUDENT else self.teachers

    def _set_password(self, name: str, password: str) -> None:
        connection = self._database.connection
        verifier = connection.pgconn.encrypt_password(password.encode(), name.encode(), b"scram-sha-256").decode(
            "ascii"
        )
        statement = sql.SQL("ALTER ROLE {} PASSWORD {}").format(sql.Identifier(name), sql.Literal(verifier))
        with self._database.explained():
            connection.execute(statement)

    def _run(self, statement: str, **names: str) -> None:
        """A statement with names put in, each quoted as an identifier."""
        text = sql.SQL(statement).format(**{key: sql.Identifier(name) for key, name in names.items()})
        with self._database.explained():
            self._database.connection.execute(text)


def taught(records: Records, of_class: str | None = None) -> list[str]:
    """The students whom a teacher sees, by name; those of one class where it is named. Raises `StorageError`."""
    condition, values = ("", ()) if of_class is None else (" AND c.class = ?", (of_class,))
    found = records.database.rows(
        "SELECT DISTINCT m.name FROM members m JOIN classes c ON c.member = m.name "
        f"WHERE m.part = '{STUDENT}'{condition} ORDER BY m.name",
        values,
    )
    return [str(row[0]) for row in found if row[0] != records.database.owner]


@contextmanager
def opened(address: str, password: str | None = None) -> Iterator[School]:
    """A school, closed at the end."""
    school = School.open(address, password=password)
    try:
        yield school
    finally:
        school.close()


def _check_name(name: str) -> str:
    """A name that can be a role's. Raises `StorageError`."""
    if not name.strip() or name != name.strip() or not name.isprintable():
        raise StorageError(repr(name), "is no name", "write letters and signs on one line, none of them invisible")
    if len(name.encode()) > MOST_NAME_BYTES:
        raise StorageError(name, f"is longer than {MOST_NAME_BYTES} bytes", "take a shorter name")
    if name.casefold().startswith("pg_") or name.casefold() in ("public", "none"):
        raise StorageError(name, "is a name that the server keeps for itself", "take another name")
    return name


def _check_class(name: str) -> str:
    if not name.strip() or not name.isprintable() or len(name.encode()) > MOST_NAME_BYTES:
        raise StorageError(repr(name), "is no name of a class", f"write at most {MOST_NAME_BYTES} letters on one line")
    return name.strip()
