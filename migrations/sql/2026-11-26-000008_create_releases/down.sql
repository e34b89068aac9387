DROP TRIGGER keeper_withdrawal ON keeper;
DROP FUNCTION withdrawal_forces_release();
DROP TABLE release_due;
DROP TABLE release_answer;
DROP TABLE release_family;
DROP TABLE release_taxon;
DROP TABLE release;
