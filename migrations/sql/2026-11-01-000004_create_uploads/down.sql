DROP TABLE finding;
DROP TABLE upload_answer;
DROP TABLE upload_records;
DROP TABLE upload_file;
DROP TABLE upload;
DROP TABLE log;
