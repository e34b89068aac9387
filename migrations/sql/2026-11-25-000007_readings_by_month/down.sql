INSERT INTO record_source (keeper_id, kind, record_key, upload_id, log_id, sheet, row_number, column_number)
SELECT keeper_id, 'reading', key, upload_id, log_id, sheet, row_number, column_number FROM reading;
ALTER TABLE reading DROP COLUMN upload_id, DROP COLUMN sheet, DROP COLUMN row_number, DROP COLUMN column_number;
DROP TABLE upload_month;
COMMENT ON TABLE upload_records IS 'Normalised records of an upload, as read and as committed';
COMMENT ON TABLE record_source IS 'Where a current record was written: one row per log or edit that states it';
