CREATE TABLE job (
    upload_id bigint PRIMARY KEY REFERENCES upload ON DELETE CASCADE,
    attempts integer NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    not_before timestamptz NOT NULL DEFAULT now()
);
COMMENT ON TABLE job IS 'Work on uploads that has begun: read or committed by whichever server comes first, again after a failure';
COMMENT ON COLUMN job.upload_id IS 'The upload';
COMMENT ON COLUMN job.attempts IS 'Times that it was taken';
COMMENT ON COLUMN job.not_before IS 'It is not taken again before this';

-- Other servers of this database hear what changed.
CREATE FUNCTION tell_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_notify('strandline', TG_ARGV[0]);
    RETURN NULL;
END $$;
COMMENT ON FUNCTION tell_change IS 'Says on the channel strandline what kind of thing changed; once for a transaction';
CREATE TRIGGER tell_upload AFTER INSERT ON upload FOR EACH STATEMENT EXECUTE FUNCTION tell_change('upload');
CREATE TRIGGER tell_edition AFTER UPDATE ON edition FOR EACH STATEMENT EXECUTE FUNCTION tell_change('edition');
CREATE TRIGGER tell_setting AFTER INSERT OR UPDATE OR DELETE ON club_setting FOR EACH STATEMENT EXECUTE FUNCTION tell_change('setting');
CREATE TRIGGER tell_release AFTER INSERT OR UPDATE ON release FOR EACH STATEMENT EXECUTE FUNCTION tell_change('release');
CREATE TRIGGER tell_due AFTER INSERT ON release_due FOR EACH STATEMENT EXECUTE FUNCTION tell_change('due');
CREATE TRIGGER tell_leaving AFTER DELETE ON keeper FOR EACH STATEMENT EXECUTE FUNCTION tell_change('edition');
