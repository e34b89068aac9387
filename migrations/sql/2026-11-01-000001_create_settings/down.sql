DROP TABLE audit;
DROP FUNCTION raise_edition();
DROP TABLE edition;
DROP TABLE club_setting;
