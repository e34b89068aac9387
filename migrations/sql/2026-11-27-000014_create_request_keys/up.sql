CREATE TABLE request_key (
    sender text NOT NULL,
    key text NOT NULL,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    asked bytea NOT NULL CHECK (octet_length(asked) = 32),
    status smallint NOT NULL DEFAULT 0,
    location text NOT NULL DEFAULT '',
    body text NOT NULL DEFAULT '',
    made_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (sender, key)
);
CREATE INDEX ON request_key (made_at);
CREATE INDEX ON request_key (keeper_id);
COMMENT ON TABLE request_key IS 'Answers to requests that came with the sender''s own key, for a day: the same request gives the same answer';
COMMENT ON COLUMN request_key.sender IS 'Who sent it, as named in the audit';
COMMENT ON COLUMN request_key.key IS 'The sender''s own key';
COMMENT ON COLUMN request_key.keeper_id IS 'Whose records it is about';
COMMENT ON COLUMN request_key.asked IS 'SHA-256 of what was asked';
COMMENT ON COLUMN request_key.status IS 'HTTP status of the answer';
COMMENT ON COLUMN request_key.location IS 'Address in the answer';
COMMENT ON COLUMN request_key.body IS 'The answer';
COMMENT ON COLUMN request_key.made_at IS 'When';
