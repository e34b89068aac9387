COMMENT ON TABLE __diesel_schema_migrations IS 'Which steps of this schema the database has taken';
COMMENT ON COLUMN __diesel_schema_migrations.version IS 'Step, by the time it was written';
COMMENT ON COLUMN __diesel_schema_migrations.run_on IS 'When it was taken, UTC';

CREATE TABLE club_setting (
    key text PRIMARY KEY CHECK (key ~ '^[a-z][a-z0-9_]*$'),
    value jsonb NOT NULL,
    set_at timestamptz NOT NULL DEFAULT now(),
    set_by text NOT NULL
);
COMMENT ON TABLE club_setting IS 'Decisions of the club: one row per setting that differs from its default';
COMMENT ON COLUMN club_setting.key IS 'Name of the setting';
COMMENT ON COLUMN club_setting.value IS 'Its value';
COMMENT ON COLUMN club_setting.set_at IS 'When it was set';
COMMENT ON COLUMN club_setting.set_by IS 'Who set it';

CREATE TABLE edition (
    only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    number bigint NOT NULL CHECK (number >= 0),
    raised_at timestamptz NOT NULL DEFAULT now()
);
COMMENT ON TABLE edition IS 'The state of everything an answer can depend on, as one number';
COMMENT ON COLUMN edition.only_row IS 'Always true: the table has one row';
COMMENT ON COLUMN edition.number IS 'Raised by every transaction that changes records, settings, bands, names or vocabulary';
COMMENT ON COLUMN edition.raised_at IS 'When it was last raised';
INSERT INTO edition (number) VALUES (0);

-- The last statement of a transaction that changes what an answer depends on: the row lock it takes is held
-- for the shortest time, and listeners hear of the new number when the transaction commits.
CREATE FUNCTION raise_edition() RETURNS bigint LANGUAGE plpgsql AS $$
DECLARE
    raised bigint;
BEGIN
    UPDATE edition SET number = number + 1, raised_at = now() RETURNING number INTO raised;
    PERFORM pg_notify('edition', raised::text);
    RETURN raised;
END
$$;
COMMENT ON FUNCTION raise_edition() IS 'Raises the edition, announces it on the channel "edition" and returns it';

CREATE TABLE audit (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    occurred_at timestamptz NOT NULL DEFAULT now(),
    actor text NOT NULL,
    action text NOT NULL,
    subject text NOT NULL,
    detail jsonb
);
COMMENT ON TABLE audit IS 'Who did what: uploads, answers, undos, tokens, settings; never a record''s content';
COMMENT ON COLUMN audit.id IS 'Row';
COMMENT ON COLUMN audit.occurred_at IS 'When';
COMMENT ON COLUMN audit.actor IS 'Who: an account, a token''s prefix, or the command line';
COMMENT ON COLUMN audit.action IS 'What was done, as verb and noun';
COMMENT ON COLUMN audit.subject IS 'What it was done to';
COMMENT ON COLUMN audit.detail IS 'Particulars';
CREATE INDEX audit_occurred_at ON audit (occurred_at);
