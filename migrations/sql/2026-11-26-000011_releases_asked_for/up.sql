ALTER TABLE release DROP CONSTRAINT release_reason_check;
ALTER TABLE release ADD CONSTRAINT release_reason_check CHECK (reason IN ('first', 'scheduled', 'asked', 'withdrawal'));
COMMENT ON COLUMN release.reason IS 'Why it was made: the first, its time had come, a curator asked for it, or a member withdrew';
ALTER TABLE release_due DROP CONSTRAINT release_due_reason_check;
ALTER TABLE release_due
    ADD CONSTRAINT release_due_reason_check CHECK (reason IN ('first', 'scheduled', 'asked', 'withdrawal'));
