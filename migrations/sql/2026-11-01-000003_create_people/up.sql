CREATE TABLE keeper (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    handle text NOT NULL CHECK (handle = btrim(handle) AND length(handle) BETWEEN 1 AND 80),
    keeping_since integer CHECK (keeping_since BETWEEN 1900 AND 2200),
    revision bigint NOT NULL DEFAULT 0,
    created_at timestamptz NOT NULL DEFAULT now()
);
COMMENT ON TABLE keeper IS 'A member who keeps records. Whatever a keeper recorded goes with the row';
COMMENT ON COLUMN keeper.id IS 'Row';
COMMENT ON COLUMN keeper.handle IS 'Name in the club, unique whatever its case';
COMMENT ON COLUMN keeper.keeping_since IS 'Year since when this member keeps reefs';
COMMENT ON COLUMN keeper.revision IS 'Raised by every commit and undo of this keeper; the row is locked meanwhile';
COMMENT ON COLUMN keeper.created_at IS 'When the row was made';
CREATE UNIQUE INDEX keeper_handle ON keeper (lower(handle));

CREATE TABLE consent (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    kind text NOT NULL CHECK (kind ~ '^[a-z][a-z0-9_]*$'),
    given boolean NOT NULL,
    stated_at timestamptz NOT NULL DEFAULT now(),
    note text
);
COMMENT ON TABLE consent IS 'What a keeper agreed to or took back; the latest row of a kind holds';
COMMENT ON COLUMN consent.id IS 'Row';
COMMENT ON COLUMN consent.keeper_id IS 'Who';
COMMENT ON COLUMN consent.kind IS 'To what';
COMMENT ON COLUMN consent.given IS 'true = agreed, false = taken back';
COMMENT ON COLUMN consent.stated_at IS 'When';
COMMENT ON COLUMN consent.note IS 'How it was said';
CREATE INDEX consent_keeper ON consent (keeper_id, kind, stated_at);

CREATE TABLE account (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    handle text NOT NULL CHECK (handle = btrim(handle) AND length(handle) BETWEEN 1 AND 80),
    role text NOT NULL CHECK (role IN ('reader', 'keeper', 'curator')),
    keeper_id bigint REFERENCES keeper ON DELETE CASCADE,
    created_at timestamptz NOT NULL DEFAULT now(),
    CHECK (role <> 'keeper' OR keeper_id IS NOT NULL)
);
COMMENT ON TABLE account IS 'A person who may sign in';
COMMENT ON COLUMN account.id IS 'Row';
COMMENT ON COLUMN account.handle IS 'Name to sign in with, unique whatever its case';
COMMENT ON COLUMN account.role IS 'reader, keeper or curator';
COMMENT ON COLUMN account.keeper_id IS 'Whose records are this person''s own';
COMMENT ON COLUMN account.created_at IS 'When the row was made';
CREATE UNIQUE INDEX account_handle ON account (lower(handle));
CREATE INDEX account_keeper ON account (keeper_id);

CREATE TABLE token (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    hash bytea NOT NULL UNIQUE CHECK (octet_length(hash) = 32),
    prefix text NOT NULL,
    label text,
    role text NOT NULL CHECK (role IN ('reader', 'keeper', 'curator')),
    scopes text[] NOT NULL CHECK (scopes <@ ARRAY['read', 'upload', 'admin'] AND array_position(scopes, NULL) IS NULL),
    keeper_id bigint REFERENCES keeper ON DELETE CASCADE,
    account_id bigint REFERENCES account ON DELETE CASCADE,
    created_at timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz,
    last_used_at timestamptz,
    revoked_at timestamptz,
    CHECK (role <> 'keeper' OR keeper_id IS NOT NULL)
);
COMMENT ON TABLE token IS 'A key for programs, shown once and kept as a hash';
COMMENT ON COLUMN token.id IS 'Row';
COMMENT ON COLUMN token.hash IS 'SHA-256 of the token';
COMMENT ON COLUMN token.prefix IS 'Its first characters, to tell tokens apart in lists and the audit';
COMMENT ON COLUMN token.label IS 'What it is for, in its owner''s words';
COMMENT ON COLUMN token.role IS 'reader, keeper or curator';
COMMENT ON COLUMN token.scopes IS 'Any of read, upload, admin';
COMMENT ON COLUMN token.keeper_id IS 'Whose records it opens; null for readers and curators of the club';
COMMENT ON COLUMN token.account_id IS 'Whose it is';
COMMENT ON COLUMN token.created_at IS 'When it was made';
COMMENT ON COLUMN token.expires_at IS 'Not valid from then on; null = never';
COMMENT ON COLUMN token.last_used_at IS 'Last use, to the minute';
COMMENT ON COLUMN token.revoked_at IS 'Withdrawn';
CREATE INDEX token_keeper ON token (keeper_id);
CREATE INDEX token_account ON token (account_id);
