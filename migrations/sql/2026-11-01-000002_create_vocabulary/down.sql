DROP TABLE club_name;
DROP TABLE club_band;
DROP TABLE finding_kind;
DROP TABLE taxon;
DROP TABLE parameter;
