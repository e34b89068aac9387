-- Answers read a club's water tests by the million: a member's tests stand packed beside the rows that they are made of.
CREATE TABLE reading_pack (
    keeper_id bigint PRIMARY KEY REFERENCES keeper ON DELETE CASCADE,
    format integer NOT NULL,
    refers jsonb NOT NULL,
    readings bytea NOT NULL
);
-- Read as a whole, and small as it is: unpacking text costs more than reading it.
ALTER TABLE reading_pack ALTER COLUMN readings SET STORAGE EXTERNAL;
COMMENT ON TABLE reading_pack IS 'A member''s water tests as answers read them, packed; gone as soon as one of the rows changes, made anew soon after';
COMMENT ON COLUMN reading_pack.keeper_id IS 'Whose';
COMMENT ON COLUMN reading_pack.format IS 'Of the packing; others are not read';
COMMENT ON COLUMN reading_pack.refers IS 'Row numbers of tanks and logs in the order in which the tests name them, and light at corals'' spots';
COMMENT ON COLUMN reading_pack.readings IS 'The tests, column by column';

-- Whoever changes tests holds the member's row, and whoever packs them too: no pack is written between.
CREATE FUNCTION unpack_readings() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    DELETE FROM reading_pack WHERE keeper_id IN (SELECT DISTINCT keeper_id FROM changed);
    RETURN NULL;
END $$;
COMMENT ON FUNCTION unpack_readings IS 'Drops the packs of members of whom tests changed';
CREATE TRIGGER unpack_added AFTER INSERT ON reading REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION unpack_readings();
CREATE TRIGGER unpack_changed AFTER UPDATE ON reading REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION unpack_readings();
CREATE TRIGGER unpack_removed AFTER DELETE ON reading REFERENCING OLD TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION unpack_readings();

CREATE FUNCTION unpack_readings_of() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    DELETE FROM reading_pack WHERE keeper_id = NEW.keeper_id;
    RETURN NULL;
END $$;
COMMENT ON FUNCTION unpack_readings_of IS 'Drops the pack of the member whose instrument or log changed: packs hold steps and limits, and tests of one time in the order of their logs'' names';
CREATE TRIGGER unpack_of_instrument AFTER UPDATE ON instrument FOR EACH ROW
    WHEN ((OLD.step, OLD.limit_value) IS DISTINCT FROM (NEW.step, NEW.limit_value)) EXECUTE FUNCTION unpack_readings_of();
CREATE TRIGGER unpack_of_log AFTER UPDATE ON log FOR EACH ROW
    WHEN (OLD.name IS DISTINCT FROM NEW.name) EXECUTE FUNCTION unpack_readings_of();
