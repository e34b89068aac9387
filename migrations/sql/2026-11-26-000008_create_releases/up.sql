CREATE TABLE release (
    number bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    edition bigint NOT NULL CHECK (edition >= 0),
    program_version text NOT NULL CHECK (program_version <> ''),
    reason text NOT NULL CHECK (reason IN ('first', 'scheduled', 'withdrawal')),
    made_at timestamptz NOT NULL DEFAULT now(),
    records bytea
);
COMMENT ON TABLE release IS 'Frozen states of the club that public and members read';
COMMENT ON COLUMN release.number IS 'Number';
COMMENT ON COLUMN release.edition IS 'The edition whose records it froze';
COMMENT ON COLUMN release.program_version IS 'The program that made it';
COMMENT ON COLUMN release.reason IS 'Why it was made: the first, its time had come, or a member withdrew';
COMMENT ON COLUMN release.made_at IS 'When it was made';
COMMENT ON COLUMN release.records IS 'The records its answers are worked out from, compressed and served to nobody; null once no taxon is answered from it';

CREATE TABLE release_taxon (
    release bigint NOT NULL REFERENCES release ON DELETE CASCADE,
    taxon text NOT NULL CHECK (taxon <> ''),
    answered_from bigint REFERENCES release,
    contributions jsonb NOT NULL,
    PRIMARY KEY (release, taxon)
);
COMMENT ON TABLE release_taxon IS 'From which release each taxon is answered: an older one while fewer than three members have changed what it rests on';
COMMENT ON COLUMN release_taxon.release IS 'Release';
COMMENT ON COLUMN release_taxon.taxon IS 'Slug; empty never, * = everything together';
COMMENT ON COLUMN release_taxon.answered_from IS 'The release whose figures stand; null = withheld since a member withdrew, until three have changed';
COMMENT ON COLUMN release_taxon.contributions IS 'Hash of what each member contributes to the figures that stand, by an unnamed key; served to nobody';
CREATE INDEX release_taxon_answered_from ON release_taxon (answered_from);

CREATE TABLE release_family (
    release bigint NOT NULL REFERENCES release ON DELETE CASCADE,
    family text NOT NULL CHECK (family <> ''),
    comparisons bigint NOT NULL CHECK (comparisons >= 0),
    q_values jsonb NOT NULL,
    PRIMARY KEY (release, family)
);
COMMENT ON TABLE release_family IS 'The q values of a release, over a written list of comparisons';
COMMENT ON COLUMN release_family.release IS 'Release';
COMMENT ON COLUMN release_family.family IS 'What the list is of: outcome and reader';
COMMENT ON COLUMN release_family.comparisons IS 'Length of the list, refused comparisons included';
COMMENT ON COLUMN release_family.q_values IS 'Taxon, condition and q of every comparison made';

CREATE TABLE release_answer (
    release bigint NOT NULL REFERENCES release ON DELETE CASCADE,
    audience text NOT NULL CHECK (audience IN ('public', 'member')),
    question text NOT NULL CHECK (question <> ''),
    body bytea NOT NULL,
    PRIMARY KEY (release, audience, question)
);
COMMENT ON TABLE release_answer IS 'Answers of a release as they were first given, and are given again';
COMMENT ON COLUMN release_answer.release IS 'Release';
COMMENT ON COLUMN release_answer.audience IS 'public or member';
COMMENT ON COLUMN release_answer.question IS 'The canonical question and its representation';
COMMENT ON COLUMN release_answer.body IS 'The bytes sent, compressed';

CREATE TABLE release_due (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    reason text NOT NULL CHECK (reason IN ('first', 'scheduled', 'withdrawal')),
    since timestamptz NOT NULL DEFAULT now(),
    state text NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'done', 'failed')),
    attempts integer NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    not_before timestamptz NOT NULL DEFAULT now(),
    message text
);
COMMENT ON TABLE release_due IS 'Releases to be made';
COMMENT ON COLUMN release_due.id IS 'Row';
COMMENT ON COLUMN release_due.reason IS 'Why';
COMMENT ON COLUMN release_due.since IS 'Since when';
COMMENT ON COLUMN release_due.state IS 'waiting, done or failed';
COMMENT ON COLUMN release_due.attempts IS 'How often it was tried';
COMMENT ON COLUMN release_due.not_before IS 'Not tried again before this';
COMMENT ON COLUMN release_due.message IS 'What went wrong the last time';
CREATE UNIQUE INDEX release_due_once ON release_due (reason) WHERE state = 'waiting';

-- A member who withdraws is in no answer from then on: the answers kept are gone with the row, and a release is due.
CREATE FUNCTION withdrawal_forces_release() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    DELETE FROM release_answer;
    INSERT INTO release_due (reason) VALUES ('withdrawal') ON CONFLICT DO NOTHING;
    RETURN OLD;
END
$$;
COMMENT ON FUNCTION withdrawal_forces_release() IS 'Forgets the answers of releases and makes a new release due';
CREATE TRIGGER keeper_withdrawal AFTER DELETE ON keeper FOR EACH ROW EXECUTE FUNCTION withdrawal_forces_release();
