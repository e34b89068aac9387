CREATE TABLE newsletter_issue (
    number bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    title text NOT NULL CHECK (title <> ''),
    release bigint NOT NULL REFERENCES release,
    content jsonb NOT NULL,
    pictures jsonb NOT NULL,
    signed_by text NOT NULL CHECK (signed_by <> ''),
    note text,
    frozen_at timestamptz NOT NULL DEFAULT now(),
    frozen_by text NOT NULL CHECK (frozen_by <> ''),
    withdrawn_at timestamptz,
    withdrawn_by text,
    CHECK ((withdrawn_at IS NULL) = (withdrawn_by IS NULL))
);
COMMENT ON TABLE newsletter_issue IS 'Issues of the newsletter as they were printed: rounded figures of the public alone';
COMMENT ON COLUMN newsletter_issue.number IS 'Number of the issue';
COMMENT ON COLUMN newsletter_issue.title IS 'Title';
COMMENT ON COLUMN newsletter_issue.release IS 'The release that its figures are of';
COMMENT ON COLUMN newsletter_issue.content IS 'The issue as the API answers it';
COMMENT ON COLUMN newsletter_issue.pictures IS 'Its pictures as SVG, by taxon';
COMMENT ON COLUMN newsletter_issue.signed_by IS 'Who answers for it';
COMMENT ON COLUMN newsletter_issue.note IS 'Why it was made, or what is special about it';
COMMENT ON COLUMN newsletter_issue.frozen_at IS 'When it was frozen';
COMMENT ON COLUMN newsletter_issue.frozen_by IS 'The account or token that froze it';
COMMENT ON COLUMN newsletter_issue.withdrawn_at IS 'When it was withdrawn; null = it stands';
COMMENT ON COLUMN newsletter_issue.withdrawn_by IS 'Who withdrew it';
CREATE INDEX newsletter_issue_release ON newsletter_issue (release);
CREATE TRIGGER tell_issue AFTER INSERT OR UPDATE ON newsletter_issue FOR EACH STATEMENT EXECUTE FUNCTION tell_change('setting');
