DROP TABLE token;
DROP TABLE account;
DROP TABLE consent;
DROP TABLE keeper;
