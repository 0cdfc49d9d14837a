"""The schema, step by step, in words that SQLite and PostgreSQL both understand.

``ON CONFLICT``, row values, ``DOUBLE PRECISION``, 0 and 1 for no and yes; only the placeholder differs, and PostgreSQL
compares every TEXT column byte by byte, as SQLite does (see `trainer.storage.records.postgres`).

``student`` is "" for the player whose own record a file is, and a name where a teacher's file holds results or a school
keeps many students' rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Migration:
    """One step of the schema: its number and name, and the statements that take it."""

    name: str
    statements: tuple[str, ...]


MIGRATIONS_TABLE: Final = "CREATE TABLE IF NOT EXISTS migrations (name TEXT PRIMARY KEY, applied_utc TEXT NOT NULL)"

ATTEMPTS_AS_THEY_WERE: Final = (
    "session, number, utc, set_title, drill, chord, quality, root, voicing, degrees, notes, keys, outcome, "
    "right_first_try, cause, think_ms, spread_ms, response_ms, settle_ms, target_ms, pool_size, hint, set_aside, port, "
    "stamp_origin, tries, events"
)

MIGRATIONS: Final = (
    Migration(
        "0001 attempts",
        (
            """
            CREATE TABLE attempts (
                session TEXT NOT NULL,
                number INTEGER NOT NULL,
                utc TEXT NOT NULL,
                set_title TEXT NOT NULL,
                drill INTEGER NOT NULL,
                chord TEXT NOT NULL,
                quality TEXT NOT NULL,
                root TEXT NOT NULL,
                voicing TEXT NOT NULL,
                degrees TEXT NOT NULL,
                notes TEXT NOT NULL,
                keys TEXT NOT NULL,
                outcome TEXT NOT NULL,
                right_first_try SMALLINT NOT NULL CHECK (right_first_try IN (0, 1)),
                cause TEXT,
                think_ms DOUBLE PRECISION,
                spread_ms DOUBLE PRECISION,
                response_ms DOUBLE PRECISION,
                settle_ms DOUBLE PRECISION,
                target_ms DOUBLE PRECISION,
                pool_size INTEGER NOT NULL,
                hint TEXT NOT NULL,
                set_aside TEXT NOT NULL,
                port TEXT NOT NULL,
                stamp_origin TEXT NOT NULL,
                tries TEXT NOT NULL,
                events TEXT NOT NULL,
                PRIMARY KEY (session, number)
            )
            """,
        ),
    ),
    Migration("0002 attempts in order of time", ("CREATE INDEX attempts_by_time ON attempts (utc, session, number)",)),
    Migration(
        "0003 students, assignments and what passes",
        (
            """
            CREATE TABLE attempts_3 (
                student TEXT NOT NULL,
                session TEXT NOT NULL,
                number INTEGER NOT NULL,
                utc TEXT NOT NULL,
                set_title TEXT NOT NULL,
                drill INTEGER NOT NULL,
                chord TEXT NOT NULL,
                quality TEXT NOT NULL,
                root TEXT NOT NULL,
                voicing TEXT NOT NULL,
                degrees TEXT NOT NULL,
                notes TEXT NOT NULL,
                keys TEXT NOT NULL,
                outcome TEXT NOT NULL,
                right_first_try SMALLINT NOT NULL CHECK (right_first_try IN (0, 1)),
                cause TEXT,
                think_ms DOUBLE PRECISION,
                spread_ms DOUBLE PRECISION,
                response_ms DOUBLE PRECISION,
                settle_ms DOUBLE PRECISION,
                target_ms DOUBLE PRECISION,
                pool_size INTEGER NOT NULL,
                hint TEXT NOT NULL,
                set_aside TEXT NOT NULL,
                port TEXT NOT NULL,
                stamp_origin TEXT NOT NULL,
                assignment TEXT NOT NULL,
                rules TEXT NOT NULL,
                tries_allowed INTEGER NOT NULL,
                tries TEXT NOT NULL,
                events TEXT NOT NULL,
                PRIMARY KEY (student, session, number)
            )
            """,
            f"""
            INSERT INTO attempts_3 (student, assignment, rules, tries_allowed, {ATTEMPTS_AS_THEY_WERE})
            SELECT '', '', '', 0, {ATTEMPTS_AS_THEY_WERE} FROM attempts
            """,
            "DROP TABLE attempts",
            "ALTER TABLE attempts_3 RENAME TO attempts",
            "CREATE INDEX attempts_by_time ON attempts (student, utc, session, number)",
            "CREATE INDEX attempts_by_item ON attempts (student, voicing, quality, root, utc)",
        ),
    ),
    Migration(
        "0004 passes and calibrations",
        (
            """
            CREATE TABLE passes (
                student TEXT NOT NULL,
                session TEXT NOT NULL,
                number INTEGER NOT NULL,
                utc TEXT NOT NULL,
                title TEXT NOT NULL,
                section TEXT NOT NULL,
                key TEXT NOT NULL,
                tempo_bpm DOUBLE PRECISION NOT NULL,
                swing DOUBLE PRECISION NOT NULL,
                beats DOUBLE PRECISION NOT NULL,
                meter TEXT NOT NULL,
                outcome TEXT NOT NULL,
                clean SMALLINT NOT NULL CHECK (clean IN (0, 1)),
                extra INTEGER NOT NULL,
                offset_ms DOUBLE PRECISION,
                scatter_ms DOUBLE PRECISION,
                calibration_ms DOUBLE PRECISION NOT NULL,
                port TEXT NOT NULL,
                stamp_origin TEXT NOT NULL,
                assignment TEXT NOT NULL,
                slots TEXT NOT NULL,
                events TEXT NOT NULL,
                PRIMARY KEY (student, session, number)
            )
            """,
            "CREATE INDEX passes_by_time ON passes (student, utc, session, number)",
            """
            CREATE TABLE calibrations (
                port TEXT NOT NULL,
                utc TEXT NOT NULL,
                offset_ms DOUBLE PRECISION NOT NULL,
                scatter_ms DOUBLE PRECISION NOT NULL,
                beats INTEGER NOT NULL,
                PRIMARY KEY (port, utc)
            )
            """,
        ),
    ),
    Migration(
        "0005 assignments and results",
        (
            """
            CREATE TABLE assignments (
                student TEXT NOT NULL,
                mark TEXT NOT NULL,
                opened_utc TEXT NOT NULL,
                state TEXT NOT NULL,
                text TEXT NOT NULL,
                PRIMARY KEY (student, mark)
            )
            """,
            """
            CREATE TABLE results (
                student TEXT NOT NULL,
                mark TEXT NOT NULL,
                digest TEXT NOT NULL,
                received_utc TEXT NOT NULL,
                PRIMARY KEY (student, mark, digest)
            )
            """,
        ),
    ),
    Migration(
        "0006 summaries",
        (
            """
            CREATE TABLE pending (
                student TEXT NOT NULL,
                session TEXT NOT NULL,
                number INTEGER NOT NULL,
                kind TEXT NOT NULL,
                PRIMARY KEY (student, session, number, kind)
            )
            """,
            """
            INSERT INTO pending (student, session, number, kind)
            SELECT student, session, number, 'attempt' FROM attempts
            """,
            """
            CREATE TABLE summaries (
                student TEXT NOT NULL,
                voicing TEXT NOT NULL,
                quality TEXT NOT NULL,
                root TEXT NOT NULL,
                period TEXT NOT NULL,
                set_title TEXT NOT NULL,
                port TEXT NOT NULL,
                assignment TEXT NOT NULL,
                attempts INTEGER NOT NULL,
                right_unaided INTEGER NOT NULL,
                missed INTEGER NOT NULL,
                last_utc TEXT NOT NULL,
                days_practised TEXT NOT NULL,
                days_right TEXT NOT NULL,
                opening TEXT NOT NULL,
                misses TEXT NOT NULL,
                settles TEXT NOT NULL,
                times TEXT NOT NULL,
                PRIMARY KEY (student, voicing, quality, root, period, set_title, port, assignment)
            )
            """,
            "CREATE INDEX summaries_by_period ON summaries (student, period)",
            """
            CREATE TABLE derived (
                student TEXT NOT NULL,
                kind TEXT NOT NULL,
                name TEXT NOT NULL,
                text TEXT NOT NULL,
                PRIMARY KEY (student, kind, name)
            )
            """,
        ),
    ),
    Migration(
        "0007 verdicts of earlier graders",
        (
            """
            CREATE TABLE earlier_verdicts (
                student TEXT NOT NULL,
                session TEXT NOT NULL,
                number INTEGER NOT NULL,
                regraded_utc TEXT NOT NULL,
                outcome TEXT NOT NULL,
                right_first_try SMALLINT NOT NULL,
                response_ms DOUBLE PRECISION,
                settle_ms DOUBLE PRECISION,
                set_aside TEXT NOT NULL,
                tries TEXT NOT NULL,
                PRIMARY KEY (student, session, number, regraded_utc)
            )
            """,
        ),
    ),
    Migration(
        "0008 summaries that are read faster",
        (
            "DELETE FROM summaries",
            """
            INSERT INTO pending (student, session, number, kind)
            SELECT student, session, number, 'attempt' FROM attempts
            WHERE outcome IN ('right', 'wrong')
            ON CONFLICT (student, session, number, kind) DO NOTHING
            """,
        ),
    ),
)
"""The schema, step by step. A step that has been released is never changed; a new one is added below it."""
