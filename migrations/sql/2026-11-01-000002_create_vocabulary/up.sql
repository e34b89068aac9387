CREATE TABLE parameter (
    code text PRIMARY KEY CHECK (code ~ '^[a-z][a-z0-9_]*$'),
    name text NOT NULL,
    unit text NOT NULL,
    ucum text,
    hard_lower double precision,
    hard_upper double precision,
    CHECK (hard_lower <= hard_upper)
);
COMMENT ON TABLE parameter IS 'What can be measured; rows come from the compiled catalogue';
COMMENT ON COLUMN parameter.code IS 'Code in addresses and answers';
COMMENT ON COLUMN parameter.name IS 'Name as printed';
COMMENT ON COLUMN parameter.unit IS 'Unit of every stored value, as printed';
COMMENT ON COLUMN parameter.ucum IS 'The same unit in the Unified Code for Units of Measure';
COMMENT ON COLUMN parameter.hard_lower IS 'No water test can be below, in the unit';
COMMENT ON COLUMN parameter.hard_upper IS 'No water test can be above, in the unit';

CREATE TABLE taxon (
    slug text PRIMARY KEY CHECK (slug ~ '^[a-z][a-z0-9-]*$'),
    name text NOT NULL,
    taxon_rank text NOT NULL CHECK (taxon_rank IN ('species', 'genus', 'group')),
    genus text REFERENCES taxon DEFERRABLE INITIALLY DEFERRED,
    group_code text
);
COMMENT ON TABLE taxon IS 'Species, genera and groups a specimen can be named by; rows come from the compiled catalogue';
COMMENT ON COLUMN taxon.slug IS 'Name in addresses';
COMMENT ON COLUMN taxon.name IS 'Accepted name';
COMMENT ON COLUMN taxon.taxon_rank IS 'species, genus or group';
COMMENT ON COLUMN taxon.genus IS 'The genus of a species';
COMMENT ON COLUMN taxon.group_code IS 'Group of the trade: SPS, LPS, FLO, NPS, SOFT, ZOA, MUSH, CLAM';
CREATE INDEX taxon_genus ON taxon (genus);

CREATE TABLE finding_kind (
    code text PRIMARY KEY CHECK (code ~ '^[a-z][a-z0-9_]*$'),
    severity text NOT NULL CHECK (severity IN ('refused', 'questioned', 'noted')),
    scope text NOT NULL
);
COMMENT ON TABLE finding_kind IS 'Doubts a file can raise; rows come from the compiled catalogue, and a code is never reused';
COMMENT ON COLUMN finding_kind.code IS 'Code';
COMMENT ON COLUMN finding_kind.severity IS 'refused = not loaded, questioned = held until answered, noted = loaded';
COMMENT ON COLUMN finding_kind.scope IS 'What one finding covers: cell, column, table, file';

CREATE TABLE club_band (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    taxon text NOT NULL REFERENCES taxon,
    parameter text NOT NULL REFERENCES parameter,
    lower double precision NOT NULL,
    upper double precision NOT NULL,
    unit text NOT NULL,
    as_taught text NOT NULL,
    since_day date NOT NULL,
    until_day date,
    signed_by text NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    UNIQUE (taxon, parameter, since_day),
    CHECK (lower <= upper),
    CHECK (since_day <= until_day)
);
COMMENT ON TABLE club_band IS 'The range this club teaches, dated and signed; overrides the catalogue''s';
COMMENT ON COLUMN club_band.id IS 'Row';
COMMENT ON COLUMN club_band.taxon IS 'Species, genus or group it is taught for';
COMMENT ON COLUMN club_band.parameter IS 'What is measured';
COMMENT ON COLUMN club_band.lower IS 'Lower edge, inside the band';
COMMENT ON COLUMN club_band.upper IS 'Upper edge, inside the band';
COMMENT ON COLUMN club_band.unit IS 'Unit it is taught in';
COMMENT ON COLUMN club_band.as_taught IS 'The sentence as taught';
COMMENT ON COLUMN club_band.since_day IS 'Taught from this day';
COMMENT ON COLUMN club_band.until_day IS 'Taught up to this day; null = still taught';
COMMENT ON COLUMN club_band.signed_by IS 'Who answers for it';
COMMENT ON COLUMN club_band.created_at IS 'When it was entered';
CREATE INDEX club_band_parameter ON club_band (parameter);

CREATE TABLE club_name (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name text NOT NULL UNIQUE CHECK (name = lower(btrim(name)) AND name <> ''),
    taxon text NOT NULL REFERENCES taxon,
    since_day date NOT NULL,
    signed_by text NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now()
);
COMMENT ON TABLE club_name IS 'What a trade name means in this club; overrides the catalogue''s';
COMMENT ON COLUMN club_name.id IS 'Row';
COMMENT ON COLUMN club_name.name IS 'The name in lower case';
COMMENT ON COLUMN club_name.taxon IS 'What it means';
COMMENT ON COLUMN club_name.since_day IS 'Agreed on';
COMMENT ON COLUMN club_name.signed_by IS 'Who answers for it';
COMMENT ON COLUMN club_name.created_at IS 'When it was entered';
CREATE INDEX club_name_taxon ON club_name (taxon);
