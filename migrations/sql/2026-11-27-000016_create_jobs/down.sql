DROP TRIGGER tell_leaving ON keeper;
DROP TRIGGER tell_due ON release_due;
DROP TRIGGER tell_release ON release;
DROP TRIGGER tell_setting ON club_setting;
DROP TRIGGER tell_edition ON edition;
DROP TRIGGER tell_upload ON upload;
DROP FUNCTION tell_change;
DROP TABLE job;
