DELETE FROM release_taxon WHERE split LIKE '%/%' OR split = 'on_record' OR taxon LIKE '% without %';
UPDATE release_taxon SET holdings = holdings -> 'Cells' WHERE holdings IS NOT NULL;
COMMENT ON TABLE release_taxon IS 'From which release each taxon is answered: an older one while fewer than three members have changed a block of its answers';
COMMENT ON COLUMN release_taxon.taxon IS 'Slug; empty never, * = everything together';
COMMENT ON COLUMN release_taxon.split IS 'Code of the split of answers by one or by none; * = answers made of several, and splits without a row';
COMMENT ON COLUMN release_taxon.holdings IS 'What members held when the figures were withheld, by unnamed keys; served to nobody';
