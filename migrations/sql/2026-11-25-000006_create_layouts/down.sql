DROP TABLE question_link;
DROP TABLE kit_answer;
ALTER TABLE upload DROP COLUMN layout;
DROP TABLE layout;
