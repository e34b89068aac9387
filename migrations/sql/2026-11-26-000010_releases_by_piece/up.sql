UPDATE release_taxon SET holdings = jsonb_build_object('Cells', holdings) WHERE holdings IS NOT NULL;
COMMENT ON TABLE release_taxon IS 'From which release each subject is answered, piece by piece: an older one while fewer than three members have changed a block of it';
COMMENT ON COLUMN release_taxon.taxon IS 'Slug of a taxon, or that of a group with the genera it is without; * = everything together';
COMMENT ON COLUMN release_taxon.split IS 'Code of the piece: a split, what is on record, or a line that is withheld alone; * = answers made of several splits, and pieces without a row';
COMMENT ON COLUMN release_taxon.holdings IS 'Who was in the figures when they were last shown, where they are withheld, by unnamed keys; served to nobody';
