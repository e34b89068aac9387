DROP TABLE club_merge;
DROP INDEX club_name_name;
DELETE FROM club_name WHERE withdrawn_at IS NOT NULL;
DELETE FROM club_name older USING club_name newer
    WHERE older.name = newer.name AND (older.since_day, older.id) < (newer.since_day, newer.id);
ALTER TABLE club_name
    DROP COLUMN note,
    DROP COLUMN withdrawn_at,
    DROP COLUMN withdrawn_by;
ALTER TABLE club_name ADD UNIQUE (name);
DROP TABLE club_claim;
DELETE FROM club_band WHERE withdrawn_at IS NOT NULL;
DELETE FROM club_band older USING club_band newer
    WHERE older.taxon = newer.taxon AND older.parameter = newer.parameter
        AND older.since_day = newer.since_day AND older.id < newer.id;
ALTER TABLE club_band
    DROP COLUMN unit_basis,
    DROP COLUMN note,
    DROP COLUMN withdrawn_at,
    DROP COLUMN withdrawn_by;
ALTER TABLE club_band ADD COLUMN until_day date;
ALTER TABLE club_band ADD CHECK (since_day <= until_day);
ALTER TABLE club_band ADD UNIQUE (taxon, parameter, since_day);
COMMENT ON COLUMN club_band.until_day IS 'Taught up to this day; null = still taught';
