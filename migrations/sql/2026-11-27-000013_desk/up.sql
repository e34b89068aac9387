-- A newer row overrides an older one and the history stays: of what is withdrawn too.
ALTER TABLE club_band DROP CONSTRAINT club_band_taxon_parameter_since_day_key;
ALTER TABLE club_band DROP COLUMN until_day;
ALTER TABLE club_band
    ADD COLUMN unit_basis text,
    ADD COLUMN note text,
    ADD COLUMN withdrawn_at timestamptz,
    ADD COLUMN withdrawn_by text,
    ADD CHECK ((withdrawn_at IS NULL) = (withdrawn_by IS NULL));
COMMENT ON COLUMN club_band.unit_basis IS 'What a number in the unit is marked at or expressed as, where that matters';
COMMENT ON COLUMN club_band.note IS 'Why';
COMMENT ON COLUMN club_band.withdrawn_at IS 'When it was withdrawn; null = it stands';
COMMENT ON COLUMN club_band.withdrawn_by IS 'Who withdrew it';

CREATE TABLE club_claim (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    code text NOT NULL CHECK (code ~ '^[a-z][a-z0-9_]*$'),
    wording text NOT NULL CHECK (wording <> ''),
    taxon text NOT NULL REFERENCES taxon,
    condition text NOT NULL CHECK (condition <> ''),
    outcome text NOT NULL CHECK (outcome IN ('death', 'decline', 'growth')),
    direction text NOT NULL CHECK (direction IN ('more', 'fewer')),
    since_day date NOT NULL,
    signed_by text NOT NULL CHECK (signed_by <> ''),
    note text,
    created_at timestamptz NOT NULL DEFAULT now(),
    withdrawn_at timestamptz,
    withdrawn_by text,
    CHECK ((withdrawn_at IS NULL) = (withdrawn_by IS NULL))
);
COMMENT ON TABLE club_claim IS 'What this club teaches beside the catalogue''s claims, dated and signed';
COMMENT ON COLUMN club_claim.id IS 'Row';
COMMENT ON COLUMN club_claim.code IS 'Code in answers';
COMMENT ON COLUMN club_claim.wording IS 'As taught';
COMMENT ON COLUMN club_claim.taxon IS 'Species, genus or group it is taught for';
COMMENT ON COLUMN club_claim.condition IS 'What is taught to matter: code of a condition, or words that no condition says yet';
COMMENT ON COLUMN club_claim.outcome IS 'About what: death, decline or growth';
COMMENT ON COLUMN club_claim.direction IS 'more or fewer losses, or more or less growth, under the condition';
COMMENT ON COLUMN club_claim.since_day IS 'Taught since';
COMMENT ON COLUMN club_claim.signed_by IS 'Who answers for it';
COMMENT ON COLUMN club_claim.note IS 'Why';
COMMENT ON COLUMN club_claim.created_at IS 'When it was entered';
COMMENT ON COLUMN club_claim.withdrawn_at IS 'When it was withdrawn; null = it stands';
COMMENT ON COLUMN club_claim.withdrawn_by IS 'Who withdrew it';
CREATE UNIQUE INDEX club_claim_code ON club_claim (code) WHERE withdrawn_at IS NULL;
CREATE INDEX club_claim_taxon ON club_claim (taxon);

ALTER TABLE club_name DROP CONSTRAINT club_name_name_key;
ALTER TABLE club_name
    ADD COLUMN note text,
    ADD COLUMN withdrawn_at timestamptz,
    ADD COLUMN withdrawn_by text,
    ADD CHECK ((withdrawn_at IS NULL) = (withdrawn_by IS NULL));
COMMENT ON COLUMN club_name.note IS 'Why';
COMMENT ON COLUMN club_name.withdrawn_at IS 'When it was withdrawn; null = it stands';
COMMENT ON COLUMN club_name.withdrawn_by IS 'Who withdrew it';
CREATE INDEX club_name_name ON club_name (name);

CREATE TABLE club_merge (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    kind text NOT NULL CHECK (kind IN ('tank', 'specimen')),
    from_key text NOT NULL CHECK (from_key <> ''),
    from_name text NOT NULL,
    into_key text NOT NULL CHECK (into_key <> '' AND into_key <> from_key),
    into_name text NOT NULL,
    signed_by text NOT NULL CHECK (signed_by <> ''),
    note text,
    created_at timestamptz NOT NULL DEFAULT now(),
    withdrawn_at timestamptz,
    withdrawn_by text,
    CHECK ((withdrawn_at IS NULL) = (withdrawn_by IS NULL))
);
COMMENT ON TABLE club_merge IS 'Two names of a keeper''s that are one tank or one coral: what files say of the one is taken as said of the other';
COMMENT ON COLUMN club_merge.id IS 'Row';
COMMENT ON COLUMN club_merge.keeper_id IS 'Whose names they are';
COMMENT ON COLUMN club_merge.kind IS 'tank or specimen';
COMMENT ON COLUMN club_merge.from_key IS 'The name given up, as names are compared';
COMMENT ON COLUMN club_merge.from_name IS 'The same as written';
COMMENT ON COLUMN club_merge.into_key IS 'The name that stays, as names are compared';
COMMENT ON COLUMN club_merge.into_name IS 'The same as written';
COMMENT ON COLUMN club_merge.signed_by IS 'Who answers for it';
COMMENT ON COLUMN club_merge.note IS 'Why';
COMMENT ON COLUMN club_merge.created_at IS 'When it was entered';
COMMENT ON COLUMN club_merge.withdrawn_at IS 'When it was taken back; null = it stands';
COMMENT ON COLUMN club_merge.withdrawn_by IS 'Who took it back';
CREATE UNIQUE INDEX club_merge_from ON club_merge (keeper_id, kind, from_key) WHERE withdrawn_at IS NULL;
