CREATE TABLE log (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    name text NOT NULL CHECK (name = btrim(name) AND name <> ''),
    shape text NOT NULL,
    complete_since date,
    complete_since_state text NOT NULL DEFAULT 'unanswered' CHECK (complete_since_state IN ('unanswered', 'given', 'unknown')),
    prompt_since date,
    losses_listed boolean,
    first_day date,
    last_day date,
    as_of date,
    created_at timestamptz NOT NULL DEFAULT now(),
    UNIQUE (keeper_id, name),
    UNIQUE (keeper_id, id),
    CHECK ((complete_since IS NOT NULL) = (complete_since_state = 'given')),
    CHECK (first_day <= last_day)
);
COMMENT ON TABLE log IS 'One keeper''s chain of versions of one file; all but its name follows from its live uploads';
COMMENT ON COLUMN log.id IS 'Row';
COMMENT ON COLUMN log.keeper_id IS 'Whose';
COMMENT ON COLUMN log.name IS 'Name, from the first file''s';
COMMENT ON COLUMN log.shape IS 'Hash of headers and layouts: files of one shape share it';
COMMENT ON COLUMN log.complete_since IS 'From this day every specimen was written down, also those that died';
COMMENT ON COLUMN log.complete_since_state IS 'unanswered, given, or unknown ("don''t know")';
COMMENT ON COLUMN log.prompt_since IS 'After "don''t know": first day from which its versions show entries written within two weeks';
COMMENT ON COLUMN log.losses_listed IS 'Losses are in this list: it has one, or the keeper said so; null = not known';
COMMENT ON COLUMN log.first_day IS 'Earliest day in its live uploads';
COMMENT ON COLUMN log.last_day IS 'Latest day in its live uploads';
COMMENT ON COLUMN log.as_of IS 'Day on which its latest version was true';
COMMENT ON COLUMN log.created_at IS 'When the row was made';

CREATE TABLE upload (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    log_id bigint,
    kind text NOT NULL CHECK (kind IN ('file', 'edit', 'roll_call')),
    name text NOT NULL CHECK (name <> ''),
    sha256 bytea NOT NULL CHECK (octet_length(sha256) = 32),
    byte_count bigint NOT NULL CHECK (byte_count >= 0),
    state text NOT NULL DEFAULT 'received' CHECK (state IN ('received', 'reading', 'failed', 'questions', 'ready', 'committing', 'committed', 'undone', 'discarded')),
    state_message text,
    tank_hint text,
    log_hint text,
    as_of date,
    read_on date,
    interpreter integer,
    received_at timestamptz NOT NULL DEFAULT now(),
    received_by text NOT NULL,
    commit_sequence bigint,
    committed_at timestamptz,
    undone_at timestamptz,
    leave_open boolean NOT NULL DEFAULT false,
    question_count integer NOT NULL DEFAULT 0,
    cells jsonb,
    about jsonb,
    counts jsonb,
    context jsonb,
    staged_revision bigint,
    idempotency_key text,
    token_id bigint REFERENCES token ON DELETE SET NULL,
    account_id bigint REFERENCES account ON DELETE SET NULL,
    UNIQUE (keeper_id, id),
    UNIQUE (keeper_id, commit_sequence),
    FOREIGN KEY (keeper_id, log_id) REFERENCES log (keeper_id, id),
    CHECK ((state IN ('committed', 'undone')) <= (commit_sequence IS NOT NULL)),
    CHECK ((state = 'undone') = (undone_at IS NOT NULL))
);
COMMENT ON TABLE upload IS 'One thing a keeper handed in: a file, a single edit, a roll call. Current records are the fold of the committed ones';
COMMENT ON COLUMN upload.id IS 'Row';
COMMENT ON COLUMN upload.keeper_id IS 'Whose records';
COMMENT ON COLUMN upload.log_id IS 'The log it is a version of; null until known, and for edits and roll calls';
COMMENT ON COLUMN upload.kind IS 'file, edit or roll_call';
COMMENT ON COLUMN upload.name IS 'File name as given';
COMMENT ON COLUMN upload.sha256 IS 'SHA-256 of the bytes';
COMMENT ON COLUMN upload.byte_count IS 'Size in bytes';
COMMENT ON COLUMN upload.state IS 'received, reading, failed, questions, ready, committing, committed, undone, discarded';
COMMENT ON COLUMN upload.state_message IS 'Why it failed';
COMMENT ON COLUMN upload.tank_hint IS 'The tank named beside the file';
COMMENT ON COLUMN upload.log_hint IS 'The log named beside the file';
COMMENT ON COLUMN upload.as_of IS 'The day named beside the file on which its register was true';
COMMENT ON COLUMN upload.read_on IS 'The day it was read as of; later days are in the future';
COMMENT ON COLUMN upload.interpreter IS 'Version of the reader';
COMMENT ON COLUMN upload.received_at IS 'When it came';
COMMENT ON COLUMN upload.received_by IS 'Who sent it';
COMMENT ON COLUMN upload.commit_sequence IS 'Place among the keeper''s commits: its first one counts';
COMMENT ON COLUMN upload.committed_at IS 'Last commit';
COMMENT ON COLUMN upload.undone_at IS 'When it was taken back';
COMMENT ON COLUMN upload.leave_open IS 'Committed, or to be, with questions open';
COMMENT ON COLUMN upload.question_count IS 'Open questions';
COMMENT ON COLUMN upload.cells IS 'Counts of cells: total, recorded, labels, findings';
COMMENT ON COLUMN upload.about IS 'What the file says about itself';
COMMENT ON COLUMN upload.counts IS 'Records by kind that load or have loaded';
COMMENT ON COLUMN upload.context IS 'What was known of the keeper when it was read, so that reading again gives the same';
COMMENT ON COLUMN upload.staged_revision IS 'The keeper''s revision when it was read';
COMMENT ON COLUMN upload.idempotency_key IS 'The sender''s own key of the request, with its token; cleared when it expires';
COMMENT ON COLUMN upload.token_id IS 'Token it came with';
COMMENT ON COLUMN upload.account_id IS 'Account it came from';
-- The same bytes of one keeper are live once, also when two requests race.
CREATE UNIQUE INDEX upload_live_bytes ON upload (keeper_id, sha256)
    WHERE kind = 'file' AND state NOT IN ('failed', 'undone', 'discarded');
CREATE UNIQUE INDEX upload_idempotency ON upload (token_id, idempotency_key) WHERE idempotency_key IS NOT NULL;
CREATE INDEX upload_log ON upload (log_id);
CREATE INDEX upload_account ON upload (account_id);
CREATE INDEX upload_waiting ON upload (id) WHERE state IN ('received', 'reading', 'committing');

CREATE TABLE upload_file (
    upload_id bigint PRIMARY KEY REFERENCES upload ON DELETE CASCADE,
    content bytea NOT NULL
);
COMMENT ON TABLE upload_file IS 'The file itself, as it came';
COMMENT ON COLUMN upload_file.upload_id IS 'Upload';
COMMENT ON COLUMN upload_file.content IS 'Its bytes';

CREATE TABLE upload_records (
    upload_id bigint NOT NULL REFERENCES upload ON DELETE CASCADE,
    stage text NOT NULL CHECK (stage IN ('staged', 'committed')),
    records bytea NOT NULL,
    record_count bigint NOT NULL CHECK (record_count >= 0),
    PRIMARY KEY (upload_id, stage)
);
COMMENT ON TABLE upload_records IS 'Normalised records of an upload, as read and as committed';
COMMENT ON COLUMN upload_records.upload_id IS 'Upload';
COMMENT ON COLUMN upload_records.stage IS 'staged = read, not yet current; committed = in the fold';
COMMENT ON COLUMN upload_records.records IS 'JSON array of records, compressed with zstd';
COMMENT ON COLUMN upload_records.record_count IS 'How many';

CREATE TABLE upload_answer (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    upload_id bigint NOT NULL REFERENCES upload ON DELETE CASCADE,
    finding_key text NOT NULL,
    choice text NOT NULL,
    value jsonb,
    carried_from_id bigint REFERENCES upload ON DELETE SET NULL,
    answered_at timestamptz NOT NULL DEFAULT now(),
    answered_by text NOT NULL,
    UNIQUE (upload_id, finding_key)
);
COMMENT ON TABLE upload_answer IS 'Answers to an upload''s questions';
COMMENT ON COLUMN upload_answer.id IS 'Row';
COMMENT ON COLUMN upload_answer.upload_id IS 'Upload';
COMMENT ON COLUMN upload_answer.finding_key IS 'Key of the finding';
COMMENT ON COLUMN upload_answer.choice IS 'Code of the choice';
COMMENT ON COLUMN upload_answer.value IS 'What the choice needs: a day, a number, a name';
COMMENT ON COLUMN upload_answer.carried_from_id IS 'The earlier upload of the same shape whose answer this is; null = given here';
COMMENT ON COLUMN upload_answer.answered_at IS 'When';
COMMENT ON COLUMN upload_answer.answered_by IS 'Who';
CREATE INDEX upload_answer_carried_from ON upload_answer (carried_from_id);

CREATE TABLE finding (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    upload_id bigint NOT NULL REFERENCES upload ON DELETE CASCADE,
    position integer NOT NULL CHECK (position >= 0),
    key text NOT NULL,
    code text NOT NULL REFERENCES finding_kind,
    severity text NOT NULL CHECK (severity IN ('refused', 'questioned', 'noted')),
    sheet text,
    row_number integer CHECK (row_number >= 1),
    column_number integer CHECK (column_number >= 1),
    written text NOT NULL,
    message text NOT NULL,
    remedy text NOT NULL,
    choices jsonb NOT NULL,
    proposed jsonb,
    held jsonb NOT NULL,
    cells jsonb NOT NULL,
    answered text,
    UNIQUE (upload_id, position)
);
COMMENT ON TABLE finding IS 'What could not be taken as it stands in an upload; replaced whenever it is read again';
COMMENT ON COLUMN finding.id IS 'Row';
COMMENT ON COLUMN finding.upload_id IS 'Upload';
COMMENT ON COLUMN finding.position IS 'Place in the file''s order, from 0';
COMMENT ON COLUMN finding.key IS 'Stable name of the doubt: an answer refers to it';
COMMENT ON COLUMN finding.code IS 'What kind of doubt';
COMMENT ON COLUMN finding.severity IS 'refused, questioned or noted';
COMMENT ON COLUMN finding.sheet IS 'Sheet of the first cell';
COMMENT ON COLUMN finding.row_number IS 'Row of the first cell, from 1';
COMMENT ON COLUMN finding.column_number IS 'Column of the first cell, from 1';
COMMENT ON COLUMN finding.written IS 'The first cell as written';
COMMENT ON COLUMN finding.message IS 'What is seen, or the question';
COMMENT ON COLUMN finding.remedy IS 'What to do';
COMMENT ON COLUMN finding.choices IS 'Ways to answer';
COMMENT ON COLUMN finding.proposed IS 'The answer proposed, if one may be';
COMMENT ON COLUMN finding.held IS 'Runs of rows that wait';
COMMENT ON COLUMN finding.cells IS 'Every cell it covers';
COMMENT ON COLUMN finding.answered IS 'The answer that leaves it waiting ("don''t know"): not asked again; null = open, or nothing to ask';
CREATE INDEX finding_code ON finding (code);
