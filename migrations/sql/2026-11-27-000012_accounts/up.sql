ALTER TABLE account
    ADD COLUMN password text NOT NULL,
    ADD COLUMN password_set_at timestamptz NOT NULL DEFAULT now(),
    ADD COLUMN signed_in_at timestamptz,
    ADD COLUMN disabled_at timestamptz;
COMMENT ON COLUMN account.password IS 'Argon2id of the password, in the PHC string format';
COMMENT ON COLUMN account.password_set_at IS 'When the password was chosen';
COMMENT ON COLUMN account.signed_in_at IS 'Last sign-in';
COMMENT ON COLUMN account.disabled_at IS 'Nobody signs in from then on, and no token of the account is valid; null = in use';

CREATE TABLE invitation (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    hash bytea NOT NULL UNIQUE CHECK (octet_length(hash) = 32),
    role text NOT NULL CHECK (role IN ('reader', 'keeper', 'curator')),
    keeper_id bigint REFERENCES keeper ON DELETE CASCADE,
    new_keeper text CHECK (new_keeper = btrim(new_keeper) AND length(new_keeper) BETWEEN 1 AND 80),
    account_id bigint REFERENCES account ON DELETE CASCADE,
    made_by text NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz NOT NULL,
    accepted_at timestamptz,
    revoked_at timestamptz,
    CHECK (keeper_id IS NULL OR new_keeper IS NULL),
    CHECK (role = 'keeper' OR (keeper_id IS NULL AND new_keeper IS NULL)),
    CHECK (role <> 'keeper' OR keeper_id IS NOT NULL OR new_keeper IS NOT NULL OR account_id IS NOT NULL)
);
COMMENT ON TABLE invitation IS 'A link, shown once, with which somebody makes an account, or chooses a new password for one';
COMMENT ON COLUMN invitation.id IS 'Row';
COMMENT ON COLUMN invitation.hash IS 'SHA-256 of the secret in the link';
COMMENT ON COLUMN invitation.role IS 'What the account will be, or is: reader, keeper or curator';
COMMENT ON COLUMN invitation.keeper_id IS 'Whose records will be the account''s own';
COMMENT ON COLUMN invitation.new_keeper IS 'Handle of a keeper who is made when the invitation is accepted; null from then on';
COMMENT ON COLUMN invitation.account_id IS 'The account that was made with it, or that gets a new password';
COMMENT ON COLUMN invitation.made_by IS 'Who invites: an account or a token, as in the audit';
COMMENT ON COLUMN invitation.created_at IS 'When it was made';
COMMENT ON COLUMN invitation.expires_at IS 'Not valid from then on';
COMMENT ON COLUMN invitation.accepted_at IS 'When it was used; it works once';
COMMENT ON COLUMN invitation.revoked_at IS 'Withdrawn';
CREATE INDEX invitation_keeper ON invitation (keeper_id);
CREATE INDEX invitation_account ON invitation (account_id);

CREATE TABLE session (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    hash bytea NOT NULL UNIQUE CHECK (octet_length(hash) = 32),
    account_id bigint NOT NULL REFERENCES account ON DELETE CASCADE,
    created_at timestamptz NOT NULL DEFAULT now(),
    last_used_at timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz NOT NULL
);
COMMENT ON TABLE session IS 'A browser that is signed in; the row goes when it signs out';
COMMENT ON COLUMN session.id IS 'Row';
COMMENT ON COLUMN session.hash IS 'SHA-256 of the secret in the cookie';
COMMENT ON COLUMN session.account_id IS 'Who is signed in';
COMMENT ON COLUMN session.created_at IS 'When it began';
COMMENT ON COLUMN session.last_used_at IS 'Last use, to the minute; a session that rests too long ends';
COMMENT ON COLUMN session.expires_at IS 'Ends then, however much it is used';
CREATE INDEX session_account ON session (account_id);

CREATE TABLE setup_code (
    only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    hash bytea NOT NULL CHECK (octet_length(hash) = 32),
    created_at timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz NOT NULL
);
COMMENT ON TABLE setup_code IS 'The code with which the first curator is made; at most one row, none once there is an account';
COMMENT ON COLUMN setup_code.only_row IS 'Always true: there is one row';
COMMENT ON COLUMN setup_code.hash IS 'SHA-256 of the code, which stood on the console alone';
COMMENT ON COLUMN setup_code.created_at IS 'When it was made';
COMMENT ON COLUMN setup_code.expires_at IS 'Not valid from then on';

CREATE TABLE guess (
    kind text NOT NULL CHECK (kind IN ('account', 'address', 'setup')),
    hash bytea NOT NULL CHECK (octet_length(hash) = 32),
    failures integer NOT NULL CHECK (failures >= 0),
    last_at timestamptz NOT NULL DEFAULT now(),
    free_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (kind, hash)
);
COMMENT ON TABLE guess IS 'Failed guesses of secrets in a row, and until when the next has to wait';
COMMENT ON COLUMN guess.kind IS 'account = by the name that was given, address = by where it came from, setup = at the setup code';
COMMENT ON COLUMN guess.hash IS 'SHA-256 of the name in lower case, of the address, or of nothing';
COMMENT ON COLUMN guess.failures IS 'Failures in a row';
COMMENT ON COLUMN guess.last_at IS 'The last one; forgotten when long ago';
COMMENT ON COLUMN guess.free_at IS 'The next guess is looked at from then on';
CREATE INDEX guess_last_at ON guess (last_at);

CREATE UNIQUE INDEX upload_idempotency_account ON upload (account_id, idempotency_key)
    WHERE idempotency_key IS NOT NULL AND account_id IS NOT NULL;
