CREATE TABLE upload_month (
    upload_id bigint NOT NULL REFERENCES upload ON DELETE CASCADE,
    stage text NOT NULL CHECK (stage IN ('staged', 'committed')),
    month integer NOT NULL,
    content_hash bytea NOT NULL CHECK (octet_length(content_hash) = 16),
    tanks text[] NOT NULL CHECK (array_position(tanks, NULL) IS NULL),
    records bytea NOT NULL,
    record_count integer NOT NULL CHECK (record_count > 0),
    PRIMARY KEY (upload_id, stage, month)
);
COMMENT ON TABLE upload_month IS 'Tests of tanks of an upload by the month they were taken in, as read and as committed: a month is compared and folded by itself';
COMMENT ON COLUMN upload_month.upload_id IS 'Upload';
COMMENT ON COLUMN upload_month.stage IS 'staged = read, not yet current; committed = in the fold';
COMMENT ON COLUMN upload_month.month IS 'Months since the year 0';
COMMENT ON COLUMN upload_month.content_hash IS 'Hash of what the tests say, their places aside';
COMMENT ON COLUMN upload_month.tanks IS 'Names of their tanks, as written';
COMMENT ON COLUMN upload_month.records IS 'Two lines of JSON a test, compressed with zstd';
COMMENT ON COLUMN upload_month.record_count IS 'How many';
COMMENT ON TABLE upload_records IS 'Normalised records of an upload but the tests of tanks, as read and as committed';

-- A test has nearly always one place; only what a second log says too needs a row of its own.
ALTER TABLE reading
    ADD COLUMN upload_id bigint,
    ADD COLUMN sheet text,
    ADD COLUMN row_number integer,
    ADD COLUMN column_number integer;
WITH first AS (
    SELECT DISTINCT ON (keeper_id, record_key) id, keeper_id, record_key, upload_id, sheet, row_number, column_number
      FROM record_source WHERE kind = 'reading' ORDER BY keeper_id, record_key, id
), moved AS (
    UPDATE reading r SET upload_id = f.upload_id, sheet = f.sheet, row_number = f.row_number, column_number = f.column_number
      FROM first f WHERE r.keeper_id = f.keeper_id AND r.key = f.record_key
    RETURNING f.id
)
DELETE FROM record_source s USING moved WHERE s.id = moved.id;
ALTER TABLE reading
    ALTER COLUMN upload_id SET NOT NULL,
    ALTER COLUMN row_number SET NOT NULL,
    ALTER COLUMN column_number SET NOT NULL,
    ADD CONSTRAINT reading_place CHECK (row_number >= 0 AND column_number >= 0);
COMMENT ON COLUMN reading.upload_id IS 'First live upload of the log that states it as it stands; the fold keeps it true, so no reference is checked a million times over';
COMMENT ON COLUMN reading.sheet IS 'Sheet of the cell it is written in';
COMMENT ON COLUMN reading.row_number IS 'Row of the cell from 1; 0 = not from a sheet';
COMMENT ON COLUMN reading.column_number IS 'Column of the cell from 1; 0 = not from a sheet';
COMMENT ON TABLE record_source IS 'Where a current record was written: one row per log or edit that states it; of a test, those after the first, which is in its own row';
