-- Worked out anew when next asked: more is kept of each comparison.
DELETE FROM release_family;
COMMENT ON COLUMN release_family.q_values IS 'Taxon, condition, q, q of growth and crude ratio of every comparison made';

ALTER TABLE release ADD COLUMN members jsonb;
COMMENT ON COLUMN release.members IS 'Unnamed keys of the members in the order of its records; null once no taxon is answered from it';

ALTER TABLE release_taxon ADD COLUMN split text NOT NULL DEFAULT '*' CHECK (split <> '');
ALTER TABLE release_taxon ADD COLUMN holdings jsonb;
ALTER TABLE release_taxon DROP CONSTRAINT release_taxon_pkey;
ALTER TABLE release_taxon ADD PRIMARY KEY (release, taxon, split);
COMMENT ON TABLE release_taxon IS 'From which release each taxon is answered: an older one while fewer than three members have changed a block of its answers';
COMMENT ON COLUMN release_taxon.split IS 'Code of the split of answers by one or by none; * = answers made of several, and splits without a row';
COMMENT ON COLUMN release_taxon.holdings IS 'What members held when the figures were withheld, by unnamed keys; served to nobody';
