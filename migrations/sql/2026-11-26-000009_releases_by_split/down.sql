DELETE FROM release_family;
COMMENT ON COLUMN release_family.q_values IS 'Taxon, condition and q of every comparison made';
DELETE FROM release_taxon WHERE split <> '*';
ALTER TABLE release_taxon DROP CONSTRAINT release_taxon_pkey;
ALTER TABLE release_taxon ADD PRIMARY KEY (release, taxon);
ALTER TABLE release_taxon DROP COLUMN split, DROP COLUMN holdings;
ALTER TABLE release DROP COLUMN members;
COMMENT ON TABLE release_taxon IS 'From which release each taxon is answered: an older one while fewer than three members have changed what it rests on';
