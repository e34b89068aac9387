CREATE TABLE layout (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    shape text NOT NULL CHECK (shape <> ''),
    document jsonb NOT NULL,
    upload_id bigint REFERENCES upload ON DELETE SET NULL,
    changed_at timestamptz NOT NULL DEFAULT now(),
    UNIQUE (keeper_id, shape)
);
COMMENT ON TABLE layout IS 'How a keeper''s files of one shape are read, as a table description that can be exported and applied';
COMMENT ON COLUMN layout.id IS 'Row';
COMMENT ON COLUMN layout.keeper_id IS 'Whose files';
COMMENT ON COLUMN layout.shape IS 'Hash of headers and layouts: files of one shape share it';
COMMENT ON COLUMN layout.document IS 'The description: a data package with dialect, schema and our own steps before them';
COMMENT ON COLUMN layout.upload_id IS 'The upload it was last written from';
COMMENT ON COLUMN layout.changed_at IS 'When it was last written';
CREATE INDEX layout_upload ON layout (upload_id);

ALTER TABLE upload ADD COLUMN layout jsonb;
COMMENT ON COLUMN upload.layout IS 'The layout sent beside the file: its answers hold over earlier ones, and give way to those given to this file';

CREATE TABLE kit_answer (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    parameter text NOT NULL REFERENCES parameter,
    key text NOT NULL CHECK (key <> ''),
    name text NOT NULL CHECK (name = btrim(name) AND length(name) BETWEEN 1 AND 200),
    limit_value double precision CHECK (limit_value > 0),
    step double precision CHECK (step > 0),
    reference text CHECK (reference IN ('25/25', '20/20', '60/60F', '15/15', '20/4')),
    basis text CHECK (basis <> ''),
    given_by text NOT NULL,
    given_at timestamptz NOT NULL DEFAULT now(),
    undone_by text,
    undone_at timestamptz,
    CHECK (num_nonnulls(limit_value, step, reference, basis) > 0),
    CHECK ((undone_by IS NULL) = (undone_at IS NULL))
);
COMMENT ON TABLE kit_answer IS 'What a kit or probe of a name can show, answered once for every keeper who has it';
COMMENT ON COLUMN kit_answer.id IS 'Row';
COMMENT ON COLUMN kit_answer.parameter IS 'What it measures';
COMMENT ON COLUMN kit_answer.key IS 'Its name, folded: kits of one key are the same kit';
COMMENT ON COLUMN kit_answer.name IS 'Its name as given';
COMMENT ON COLUMN kit_answer.limit_value IS 'Smallest value it can show, in the parameter''s unit';
COMMENT ON COLUMN kit_answer.step IS 'Smallest step, in the parameter''s unit';
COMMENT ON COLUMN kit_answer.reference IS 'Reference temperatures of a specific gravity scale';
COMMENT ON COLUMN kit_answer.basis IS 'What the number counts: NO3, NO3-N, PO4, P';
COMMENT ON COLUMN kit_answer.given_by IS 'Who answered';
COMMENT ON COLUMN kit_answer.given_at IS 'When';
COMMENT ON COLUMN kit_answer.undone_by IS 'Who took it back';
COMMENT ON COLUMN kit_answer.undone_at IS 'When it was taken back; null = it stands';
CREATE UNIQUE INDEX kit_answer_standing ON kit_answer (parameter, key) WHERE undone_at IS NULL;

CREATE TABLE question_link (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    upload_id bigint NOT NULL REFERENCES upload ON DELETE CASCADE,
    finding_key text NOT NULL CHECK (finding_key <> ''),
    hash bytea NOT NULL UNIQUE CHECK (octet_length(hash) = 32),
    made_by text NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz NOT NULL,
    used_at timestamptz,
    revoked_at timestamptz,
    CHECK (expires_at > created_at)
);
COMMENT ON TABLE question_link IS 'A link that shows one question of one upload to whoever holds it, and takes one answer';
COMMENT ON COLUMN question_link.id IS 'Row';
COMMENT ON COLUMN question_link.upload_id IS 'Upload';
COMMENT ON COLUMN question_link.finding_key IS 'Key of the question';
COMMENT ON COLUMN question_link.hash IS 'SHA-256 of the secret in the link, which is kept nowhere';
COMMENT ON COLUMN question_link.made_by IS 'Who made it';
COMMENT ON COLUMN question_link.created_at IS 'When it was made';
COMMENT ON COLUMN question_link.expires_at IS 'Not valid from then on';
COMMENT ON COLUMN question_link.used_at IS 'When it took its answer';
COMMENT ON COLUMN question_link.revoked_at IS 'Withdrawn';
CREATE INDEX question_link_upload ON question_link (upload_id);
