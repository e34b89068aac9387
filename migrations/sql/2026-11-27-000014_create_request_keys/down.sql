DROP TABLE request_key;
