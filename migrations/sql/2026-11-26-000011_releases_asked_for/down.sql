UPDATE release SET reason = 'scheduled' WHERE reason = 'asked';
UPDATE release_due SET reason = 'scheduled' WHERE reason = 'asked' AND state <> 'waiting';
DELETE FROM release_due WHERE reason = 'asked';
ALTER TABLE release DROP CONSTRAINT release_reason_check;
ALTER TABLE release ADD CONSTRAINT release_reason_check CHECK (reason IN ('first', 'scheduled', 'withdrawal'));
COMMENT ON COLUMN release.reason IS 'Why it was made: the first, its time had come, or a member withdrew';
ALTER TABLE release_due DROP CONSTRAINT release_due_reason_check;
ALTER TABLE release_due ADD CONSTRAINT release_due_reason_check CHECK (reason IN ('first', 'scheduled', 'withdrawal'));
