DROP TRIGGER unpack_of_log ON log;
DROP TRIGGER unpack_of_instrument ON instrument;
DROP FUNCTION unpack_readings_of;
DROP TRIGGER unpack_removed ON reading;
DROP TRIGGER unpack_changed ON reading;
DROP TRIGGER unpack_added ON reading;
DROP FUNCTION unpack_readings;
DROP TABLE reading_pack;
