-- What somebody of a school might try, each to be refused: a name, and statements on one line or several.
-- {ada} is who tries, {bo} another student, {teachers} the teachers' role, {columns} the columns of attempts after session.

-- read another's attempts
SELECT 1 FROM attempts WHERE student = '{bo}';

-- read another's passes
SELECT 1 FROM passes WHERE student = '{bo}';

-- read another's assignments
SELECT 1 FROM assignments WHERE student = '{bo}';

-- read another's results
SELECT 1 FROM results WHERE student = '{bo}';

-- read another's summaries
SELECT 1 FROM summaries WHERE student = '{bo}';

-- read another's pending
SELECT 1 FROM pending WHERE student = '{bo}';

-- read another's earlier verdicts
SELECT 1 FROM earlier_verdicts WHERE student = '{bo}';

-- read everything
SELECT 1 FROM attempts WHERE student <> '{ada}';

-- read by a join
SELECT 1 FROM attempts a JOIN attempts b ON b.student = '{bo}';

-- see who else there is
SELECT 1 FROM members WHERE name <> '{ada}';

-- see who else is in class
SELECT 1 FROM classes WHERE member <> '{ada}';

-- leak by an error
SELECT 1 FROM attempts WHERE student = '{bo}' AND 1 / (CASE WHEN chord = 'Cm7' THEN 0 ELSE 1 END) = 1;

-- read standings
SELECT 1 FROM derived;

-- add for another
INSERT INTO pending (student, session, number, kind) VALUES ('{bo}', 'x', 0, 'attempt') RETURNING 1;

-- add an attempt for another
INSERT INTO attempts SELECT '{bo}', session || 'x', {columns} FROM attempts WHERE student = '{ada}' RETURNING 1;

-- change another's
UPDATE attempts SET outcome = 'right' WHERE student = '{bo}' RETURNING 1;

-- change their own
UPDATE attempts SET outcome = 'right' WHERE student = '{ada}' RETURNING 1;

-- take over
UPDATE attempts SET student = '{ada}' RETURNING 1;

-- delete another's
DELETE FROM attempts WHERE student = '{bo}' RETURNING 1;

-- delete their own
DELETE FROM attempts RETURNING 1;

-- delete passes
DELETE FROM passes RETURNING 1;

-- empty the table
TRUNCATE attempts;

-- drop the table
DROP TABLE attempts;

-- forge figures
UPDATE summaries SET right_unaided = attempts RETURNING 1;

-- forge a summary
INSERT INTO summaries SELECT * FROM summaries RETURNING 1;

-- forget what is pending
DELETE FROM pending RETURNING 1;

-- assign to themselves
INSERT INTO assignments (student, mark, opened_utc, state, text) VALUES ('{ada}', 'm', '', '', '') RETURNING 1;

-- become a teacher
UPDATE members SET part = 'teacher' RETURNING 1;

-- join a class
INSERT INTO classes (class, member) VALUES ('morning', '{ada}') RETURNING 1;

-- join as a member
INSERT INTO members (name, part) VALUES ('new', 'teacher') RETURNING 1;

-- switch off the rules
ALTER TABLE attempts DISABLE ROW LEVEL SECURITY;

-- loosen the rules
CREATE POLICY mine ON attempts USING (true);

-- set their rules aside
SET row_security = off;
SELECT 1 FROM attempts;

-- be another
SET ROLE "{bo}";

-- be another for the session
SET SESSION AUTHORIZATION "{bo}";

-- be the keeper
SET ROLE keeper;

-- make a role
CREATE ROLE helper SUPERUSER;

-- join the teachers
GRANT "{teachers}" TO "{ada}";

-- put their own function in the way
CREATE OR REPLACE FUNCTION whose() RETURNS text[] LANGUAGE sql AS 'SELECT NULL';

-- make a table
CREATE TABLE mine (a TEXT);

-- shadow a table
CREATE TEMP TABLE classes (class TEXT, member TEXT);
INSERT INTO classes VALUES ('evening', '{bo}');
SELECT 1 FROM attempts WHERE student = '{bo}';

-- read passwords
SELECT 1 FROM pg_authid;

-- run a program
COPY attempts TO PROGRAM 'cat';

-- read a file
SELECT pg_read_file('/etc/passwd');

-- change the version
INSERT INTO migrations VALUES ('0099', '') RETURNING 1;
-- assign to another
INSERT INTO assignments (student, mark, opened_utc, state, text) VALUES ('{bo}', 'm', '', '', '') RETURNING 1;

-- change what another was assigned
UPDATE assignments SET state = 'done' WHERE student = '{bo}' RETURNING 1;

-- see another in class
SELECT 1 FROM classes WHERE member = '{bo}';

-- see another among the members
SELECT 1 FROM members WHERE name = '{bo}';

-- keep a standing of another
INSERT INTO derived (student, kind, name, text) VALUES ('{bo}', 'assignment', 'm', '') RETURNING 1;

-- drop another's figures
DELETE FROM summaries WHERE student = '{bo}' RETURNING 1;
