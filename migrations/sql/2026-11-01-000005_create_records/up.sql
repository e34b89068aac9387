CREATE TABLE tank (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    name text NOT NULL,
    litres double precision CHECK (litres > 0 AND litres < 'Infinity'),
    started date,
    closed date,
    closed_why text CHECK (closed_why IN ('moved', 'sold', 'all_died', 'other')),
    UNIQUE (keeper_id, key),
    UNIQUE (keeper_id, id)
);
COMMENT ON TABLE tank IS 'A tank. Current records, here and below, are the fold of a keeper''s live uploads';
COMMENT ON COLUMN tank.id IS 'Row';
COMMENT ON COLUMN tank.keeper_id IS 'Whose';
COMMENT ON COLUMN tank.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN tank.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN tank.name IS 'Name as first written';
COMMENT ON COLUMN tank.litres IS 'Stated volume in litres';
COMMENT ON COLUMN tank.started IS 'First day with water';
COMMENT ON COLUMN tank.closed IS 'Last day';
COMMENT ON COLUMN tank.closed_why IS 'moved, sold, all_died, other';

CREATE TABLE tank_alias (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    tank_id bigint NOT NULL,
    alias text NOT NULL,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, tank_id) REFERENCES tank (keeper_id, id) ON DELETE CASCADE
);
COMMENT ON TABLE tank_alias IS 'Another spelling of a tank''s name met in files';
COMMENT ON COLUMN tank_alias.id IS 'Row';
COMMENT ON COLUMN tank_alias.keeper_id IS 'Whose';
COMMENT ON COLUMN tank_alias.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN tank_alias.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN tank_alias.tank_id IS 'Tank';
COMMENT ON COLUMN tank_alias.alias IS 'The other spelling';
CREATE INDEX tank_alias_tank ON tank_alias (tank_id);

CREATE TABLE instrument (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    tank_id bigint,
    parameter text NOT NULL REFERENCES parameter,
    name text NOT NULL,
    step double precision CHECK (step > 0),
    limit_value double precision CHECK (limit_value >= 0),
    reference text,
    basis text,
    calibrated_on date,
    from_day date,
    UNIQUE (keeper_id, key),
    UNIQUE (keeper_id, id),
    FOREIGN KEY (keeper_id, tank_id) REFERENCES tank (keeper_id, id) ON DELETE CASCADE
);
COMMENT ON TABLE instrument IS 'A test kit or probe: decides what a written value can mean';
COMMENT ON COLUMN instrument.id IS 'Row';
COMMENT ON COLUMN instrument.keeper_id IS 'Whose';
COMMENT ON COLUMN instrument.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN instrument.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN instrument.tank_id IS 'Tank it serves; null = all of the keeper''s';
COMMENT ON COLUMN instrument.parameter IS 'What it measures';
COMMENT ON COLUMN instrument.name IS 'Name as written';
COMMENT ON COLUMN instrument.step IS 'Smallest step, in the parameter''s unit';
COMMENT ON COLUMN instrument.limit_value IS 'Smallest value it can show, in the parameter''s unit';
COMMENT ON COLUMN instrument.reference IS 'Reference temperatures of a specific gravity scale: 25/25, 20/20, 60/60F, 15/15, 20/4';
COMMENT ON COLUMN instrument.basis IS 'What the number counts: NO3, NO3-N, PO4, P';
COMMENT ON COLUMN instrument.calibrated_on IS 'Last calibrated';
COMMENT ON COLUMN instrument.from_day IS 'In use from';
CREATE INDEX instrument_tank ON instrument (tank_id);
CREATE INDEX instrument_parameter ON instrument (parameter);

CREATE TABLE specimen (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    label text NOT NULL,
    written text NOT NULL,
    taxon text REFERENCES taxon,
    taxon_rank text CHECK (taxon_rank IN ('species', 'genus', 'group')),
    confidence text CHECK (confidence IN ('certain', 'likely', 'guess')),
    character_seen text,
    origin text CHECK (origin IN ('wild_collected', 'maricultured', 'captive_grown', 'captive_bred', 'farmed_unclear', 'unknown')),
    origin_basis text CHECK (origin_basis IN ('own_cutting', 'member_cutting', 'papers', 'seller_said', 'guess')),
    source_kind text,
    source_name text,
    form text,
    size_mm double precision CHECK (size_mm > 0 AND size_mm < 'Infinity'),
    condition text,
    days_at_seller double precision CHECK (days_at_seller >= 0 AND days_at_seller < 'Infinity'),
    acquired_earliest date,
    acquired_latest date,
    observed_from date,
    entry_assumed boolean NOT NULL,
    parent_id bigint,
    lineage text NOT NULL,
    line text,
    held text[] NOT NULL CHECK (held <@ ARRAY['taxon', 'acquired', 'fate'] AND array_position(held, NULL) IS NULL),
    log_id bigint,
    UNIQUE (keeper_id, key),
    UNIQUE (keeper_id, id),
    FOREIGN KEY (keeper_id, parent_id) REFERENCES specimen (keeper_id, id) ON DELETE SET NULL (parent_id),
    FOREIGN KEY (keeper_id, log_id) REFERENCES log (keeper_id, id),
    CHECK (acquired_earliest <= acquired_latest),
    CHECK (parent_id <> id)
);
COMMENT ON TABLE specimen IS 'A coral, clam or kin';
COMMENT ON COLUMN specimen.id IS 'Row';
COMMENT ON COLUMN specimen.keeper_id IS 'Whose';
COMMENT ON COLUMN specimen.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN specimen.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN specimen.label IS 'The keeper''s own label';
COMMENT ON COLUMN specimen.written IS 'Name as written, with the trade name';
COMMENT ON COLUMN specimen.taxon IS 'Name reached, latest identification; null while in question';
COMMENT ON COLUMN specimen.taxon_rank IS 'Rank reached';
COMMENT ON COLUMN specimen.confidence IS 'certain, likely, guess';
COMMENT ON COLUMN specimen.character_seen IS 'The character the name rests on';
COMMENT ON COLUMN specimen.origin IS 'Where it comes from';
COMMENT ON COLUMN specimen.origin_basis IS 'How that is known';
COMMENT ON COLUMN specimen.source_kind IS 'own_cutting, member, shop, online_dealer, importer, event, unknown';
COMMENT ON COLUMN specimen.source_name IS 'Name of the source: shown to its keeper only';
COMMENT ON COLUMN specimen.form IS 'Form as recorded at purchase';
COMMENT ON COLUMN specimen.size_mm IS 'Size at purchase in mm';
COMMENT ON COLUMN specimen.condition IS 'How it looked when got';
COMMENT ON COLUMN specimen.days_at_seller IS 'Days it had been at the seller';
COMMENT ON COLUMN specimen.acquired_earliest IS 'Earliest day it can have been got; null with a latest day = open';
COMMENT ON COLUMN specimen.acquired_latest IS 'Latest day it can have been got; null = unknown';
COMMENT ON COLUMN specimen.observed_from IS 'From this day its log would have shown its death; null = no day known';
COMMENT ON COLUMN specimen.entry_assumed IS 'observed_from rests on the log''s first day, not on an answer';
COMMENT ON COLUMN specimen.parent_id IS 'Mother colony';
COMMENT ON COLUMN specimen.lineage IS 'Code of the card on the way to the oldest known mother, as line:CODE, else her key, its own if none: clone-mates share it';
COMMENT ON COLUMN specimen.line IS 'Code on the card that came with the cutting';
COMMENT ON COLUMN specimen.held IS 'Facts that wait for an answer: such a specimen is in no analysis';
COMMENT ON COLUMN specimen.log_id IS 'Log it is written in; null = a single edit';
CREATE INDEX specimen_parent ON specimen (parent_id);
CREATE INDEX specimen_taxon ON specimen (taxon);
CREATE INDEX specimen_log ON specimen (log_id);

CREATE TABLE reading (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    tank_id bigint NOT NULL,
    parameter text NOT NULL REFERENCES parameter,
    taken_on date NOT NULL,
    taken_time time,
    utc_offset_minutes smallint CHECK (utc_offset_minutes BETWEEN -900 AND 900),
    ordinal integer NOT NULL CHECK (ordinal >= 1),
    value double precision CHECK (value > '-Infinity' AND value < 'Infinity'),
    lower double precision CHECK (lower > '-Infinity' AND lower < 'Infinity'),
    upper double precision CHECK (upper > '-Infinity' AND upper < 'Infinity'),
    qualifier text NOT NULL CHECK (qualifier IN ('=', '<', '>', 'interval')),
    flags text[] NOT NULL CHECK (array_position(flags, NULL) IS NULL),
    disputed boolean NOT NULL,
    written text NOT NULL,
    written_unit text,
    instrument_id bigint,
    specimen_id bigint,
    log_id bigint,
    UNIQUE (keeper_id, key),
    UNIQUE NULLS NOT DISTINCT (tank_id, taken_on, parameter, taken_time, specimen_id, ordinal),
    FOREIGN KEY (keeper_id, tank_id) REFERENCES tank (keeper_id, id) ON DELETE CASCADE,
    FOREIGN KEY (keeper_id, instrument_id) REFERENCES instrument (keeper_id, id) ON DELETE SET NULL (instrument_id),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE,
    FOREIGN KEY (keeper_id, log_id) REFERENCES log (keeper_id, id),
    CHECK (lower <= upper),
    CHECK (qualifier = 'interval' OR value IS NOT NULL),
    CHECK (qualifier <> 'interval' OR (value IS NULL AND (lower IS NOT NULL OR upper IS NOT NULL)))
);
COMMENT ON TABLE reading IS 'A water test';
COMMENT ON COLUMN reading.id IS 'Row';
COMMENT ON COLUMN reading.keeper_id IS 'Whose';
COMMENT ON COLUMN reading.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN reading.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN reading.tank_id IS 'Where';
COMMENT ON COLUMN reading.parameter IS 'What was measured';
COMMENT ON COLUMN reading.taken_on IS 'Local day';
COMMENT ON COLUMN reading.taken_time IS 'Local time, if written';
COMMENT ON COLUMN reading.utc_offset_minutes IS 'Offset from UTC, if written';
COMMENT ON COLUMN reading.ordinal IS 'From 1 among tests of one tank, parameter and time';
COMMENT ON COLUMN reading.value IS 'The value in the parameter''s unit; the limit for < and >; null for an interval';
COMMENT ON COLUMN reading.lower IS 'Lower end of what it can mean; null = open';
COMMENT ON COLUMN reading.upper IS 'Upper end; null = open';
COMMENT ON COLUMN reading.qualifier IS '=, <, > or interval';
COMMENT ON COLUMN reading.flags IS 'zero_reported, approximate, replicate, reference_unknown, own_scale and the like';
COMMENT ON COLUMN reading.disputed IS 'Two logs give unequal values for this time and nobody has said which is right';
COMMENT ON COLUMN reading.written IS 'The cell as written';
COMMENT ON COLUMN reading.written_unit IS 'Unit as written, where it cannot be converted';
COMMENT ON COLUMN reading.instrument_id IS 'Instrument, if known';
COMMENT ON COLUMN reading.specimen_id IS 'The specimen whose spot was measured';
COMMENT ON COLUMN reading.log_id IS 'Log it is written in; null = a single edit';
CREATE INDEX reading_instrument ON reading (instrument_id) WHERE instrument_id IS NOT NULL;
CREATE INDEX reading_specimen ON reading (specimen_id) WHERE specimen_id IS NOT NULL;

CREATE TABLE specimen_name (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    specimen_id bigint NOT NULL,
    log_id bigint,
    name text NOT NULL,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE,
    FOREIGN KEY (keeper_id, log_id) REFERENCES log (keeper_id, id)
);
COMMENT ON TABLE specimen_name IS 'A label under which a log writes a specimen';
COMMENT ON COLUMN specimen_name.id IS 'Row';
COMMENT ON COLUMN specimen_name.keeper_id IS 'Whose';
COMMENT ON COLUMN specimen_name.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN specimen_name.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN specimen_name.specimen_id IS 'Specimen';
COMMENT ON COLUMN specimen_name.log_id IS 'Log; null = a single edit';
COMMENT ON COLUMN specimen_name.name IS 'The label as that log writes it';
CREATE INDEX specimen_name_specimen ON specimen_name (specimen_id);
CREATE INDEX specimen_name_log ON specimen_name (log_id);

CREATE TABLE identification (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    specimen_id bigint NOT NULL,
    written text NOT NULL,
    taxon text NOT NULL REFERENCES taxon,
    confidence text CHECK (confidence IN ('certain', 'likely', 'guess')),
    character_seen text,
    on_day date,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE
);
COMMENT ON TABLE identification IS 'A name given to a specimen: the latest holds, the history stays';
COMMENT ON COLUMN identification.id IS 'Row';
COMMENT ON COLUMN identification.keeper_id IS 'Whose';
COMMENT ON COLUMN identification.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN identification.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN identification.specimen_id IS 'Specimen';
COMMENT ON COLUMN identification.written IS 'As written';
COMMENT ON COLUMN identification.taxon IS 'Name reached';
COMMENT ON COLUMN identification.confidence IS 'certain, likely, guess';
COMMENT ON COLUMN identification.character_seen IS 'The character it rests on';
COMMENT ON COLUMN identification.on_day IS 'Day it was given; null = at purchase';
CREATE INDEX identification_specimen ON identification (specimen_id);
CREATE INDEX identification_taxon ON identification (taxon);

-- Ranges of one number make the exclusion of overlaps work without an extension.
CREATE TABLE stay (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    specimen_id bigint NOT NULL,
    tank_id bigint NOT NULL,
    from_day date,
    to_day date,
    from_earliest date,
    from_latest date,
    to_earliest date,
    to_latest date,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE,
    FOREIGN KEY (keeper_id, tank_id) REFERENCES tank (keeper_id, id) ON DELETE CASCADE,
    CHECK (from_day < to_day),
    CHECK (from_earliest <= from_latest),
    CHECK (to_earliest <= to_latest),
    CONSTRAINT stay_one_tank_at_a_time EXCLUDE USING gist (int8range(specimen_id, specimen_id, '[]') WITH &&, daterange(from_day, to_day) WITH &&) DEFERRABLE INITIALLY IMMEDIATE
);
COMMENT ON TABLE stay IS 'A specimen in a tank, from a day up to, not including, another';
COMMENT ON COLUMN stay.id IS 'Row';
COMMENT ON COLUMN stay.keeper_id IS 'Whose';
COMMENT ON COLUMN stay.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN stay.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN stay.specimen_id IS 'Specimen';
COMMENT ON COLUMN stay.tank_id IS 'Tank';
COMMENT ON COLUMN stay.from_day IS 'First day, the middle of its bounds; null = before anything known';
COMMENT ON COLUMN stay.to_day IS 'Day it left, the middle of its bounds; null = up to its ending, or still there';
COMMENT ON COLUMN stay.from_earliest IS 'Earliest first day';
COMMENT ON COLUMN stay.from_latest IS 'Latest first day';
COMMENT ON COLUMN stay.to_earliest IS 'Earliest day it left';
COMMENT ON COLUMN stay.to_latest IS 'Latest day it left';
CREATE INDEX stay_specimen ON stay (specimen_id);
CREATE INDEX stay_tank ON stay (tank_id);

CREATE TABLE placement (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    specimen_id bigint NOT NULL,
    from_day date,
    height text CHECK (height IN ('top', 'middle', 'bottom', 'sand')),
    par double precision CHECK (par >= 0 AND par < 'Infinity'),
    flow text CHECK (flow IN ('still', 'swaying', 'thrashing')),
    stinging_neighbour boolean,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE
);
COMMENT ON TABLE placement IS 'Where a specimen stands in its tank from a day on';
COMMENT ON COLUMN placement.id IS 'Row';
COMMENT ON COLUMN placement.keeper_id IS 'Whose';
COMMENT ON COLUMN placement.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN placement.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN placement.specimen_id IS 'Specimen';
COMMENT ON COLUMN placement.from_day IS 'First day; null = since it was got';
COMMENT ON COLUMN placement.height IS 'top, middle, bottom, sand';
COMMENT ON COLUMN placement.par IS 'Photon flux at the spot, umol/m2/s';
COMMENT ON COLUMN placement.flow IS 'still, swaying, thrashing';
COMMENT ON COLUMN placement.stinging_neighbour IS 'A stinging neighbour stands within reach';
CREATE INDEX placement_specimen ON placement (specimen_id);

CREATE TABLE sighting (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    specimen_id bigint NOT NULL,
    on_day date NOT NULL,
    status text NOT NULL CHECK (status IN ('alive', 'open', 'off', 'poor')),
    source text NOT NULL CHECK (source IN ('register', 'roll_call', 'look', 'photo')),
    condition smallint CHECK (condition BETWEEN 1 AND 5),
    polyp_extension smallint CHECK (polyp_extension BETWEEN 0 AND 3),
    tissue_cover double precision CHECK (tissue_cover BETWEEN 0 AND 100),
    colour smallint CHECK (colour BETWEEN 1 AND 6),
    remark text,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE
);
COMMENT ON TABLE sighting IS 'A look at a living specimen';
COMMENT ON COLUMN sighting.id IS 'Row';
COMMENT ON COLUMN sighting.keeper_id IS 'Whose';
COMMENT ON COLUMN sighting.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN sighting.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN sighting.specimen_id IS 'Specimen';
COMMENT ON COLUMN sighting.on_day IS 'Day';
COMMENT ON COLUMN sighting.status IS 'alive (bare), open, off, poor';
COMMENT ON COLUMN sighting.source IS 'register = an open row on the day its list was true; roll_call, look, photo';
COMMENT ON COLUMN sighting.condition IS '1 under a quarter alive to 5 open and growing; null = no score';
COMMENT ON COLUMN sighting.polyp_extension IS '0 none to 3 extreme';
COMMENT ON COLUMN sighting.tissue_cover IS 'Live tissue in %';
COMMENT ON COLUMN sighting.colour IS 'Score on the six-step colour reference card';
COMMENT ON COLUMN sighting.remark IS 'Signs and remark as written';
CREATE INDEX sighting_specimen ON sighting (specimen_id, on_day);

CREATE TABLE sizing (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    specimen_id bigint NOT NULL,
    measure text NOT NULL,
    basis text NOT NULL,
    value double precision NOT NULL CHECK (value >= 0 AND value < 'Infinity'),
    unit text NOT NULL CHECK (unit IN ('mm', 'mm2', 'g', '1')),
    on_day date NOT NULL,
    after_cut boolean NOT NULL,
    segment integer NOT NULL CHECK (segment >= 0),
    written text NOT NULL,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE
);
COMMENT ON TABLE sizing IS 'A size of a specimen';
COMMENT ON COLUMN sizing.id IS 'Row';
COMMENT ON COLUMN sizing.keeper_id IS 'Whose';
COMMENT ON COLUMN sizing.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN sizing.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN sizing.specimen_id IS 'Specimen';
COMMENT ON COLUMN sizing.measure IS 'max_diameter, height, branch_count, head_count, planar_area, shell_length, buoyant_weight';
COMMENT ON COLUMN sizing.basis IS 'skeleton, base, heads, open_tissue, closed_tissue, not_said';
COMMENT ON COLUMN sizing.value IS 'In the unit beside it';
COMMENT ON COLUMN sizing.unit IS 'mm, mm2, g or 1';
COMMENT ON COLUMN sizing.on_day IS 'Day';
COMMENT ON COLUMN sizing.after_cut IS 'A cut or breakage just before it';
COMMENT ON COLUMN sizing.segment IS 'Number of cuts before it, from 0: growth is within a segment';
COMMENT ON COLUMN sizing.written IS 'As written';
CREATE INDEX sizing_specimen ON sizing (specimen_id, on_day);

CREATE TABLE ending (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    specimen_id bigint NOT NULL UNIQUE,
    fate text CHECK (fate IN ('died', 'missing', 'left', 'cut_up', 'tank_closed', 'keeper_left', 'arrived_dead')),
    cause_group text NOT NULL CHECK (cause_group IN ('husbandry', 'equipment', 'accident', 'predation', 'unknown')),
    cause text,
    other_causes text[] NOT NULL CHECK (array_position(other_causes, NULL) IS NULL),
    manner text[] NOT NULL CHECK (array_position(manner, NULL) IS NULL),
    leaving text CHECK (leaving IN ('given', 'sold', 'swapped', 'returned', 'passed_in_club')),
    condition text NOT NULL CHECK (condition IN ('open', 'off', 'poor', 'not_said')),
    earliest date NOT NULL,
    latest date NOT NULL,
    written_day boolean NOT NULL,
    date_held boolean NOT NULL,
    written text NOT NULL,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE,
    CHECK (earliest <= latest)
);
COMMENT ON TABLE ending IS 'What became of a specimen; no row = alive as far as known';
COMMENT ON COLUMN ending.id IS 'Row';
COMMENT ON COLUMN ending.keeper_id IS 'Whose';
COMMENT ON COLUMN ending.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN ending.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN ending.specimen_id IS 'Specimen';
COMMENT ON COLUMN ending.fate IS 'The fate; null = in question';
COMMENT ON COLUMN ending.cause_group IS 'Group of the primary cause';
COMMENT ON COLUMN ending.cause IS 'Primary cause';
COMMENT ON COLUMN ending.other_causes IS 'Further causes, ranked';
COMMENT ON COLUMN ending.manner IS 'How it looked, any number';
COMMENT ON COLUMN ending.leaving IS 'How it left';
COMMENT ON COLUMN ending.condition IS 'Condition at exit';
COMMENT ON COLUMN ending.earliest IS 'First bound: the last day it was known alive, or the written day';
COMMENT ON COLUMN ending.latest IS 'Last bound: the day by which it had happened';
COMMENT ON COLUMN ending.written_day IS 'A day written as such, not the bounds of two looks';
COMMENT ON COLUMN ending.date_held IS 'The day is in question; the bounds hold all its readings';
COMMENT ON COLUMN ending.written IS 'As written';

CREATE TABLE routine (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    tank_id bigint,
    specimen_id bigint,
    kind text NOT NULL,
    rate text NOT NULL,
    per_week double precision CHECK (per_week >= 0 AND per_week < 'Infinity'),
    from_day date NOT NULL,
    to_day date,
    confirmed_on date NOT NULL,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, tank_id) REFERENCES tank (keeper_id, id) ON DELETE CASCADE,
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE,
    CHECK (tank_id IS NOT NULL OR specimen_id IS NOT NULL),
    CHECK (from_day <= to_day)
);
COMMENT ON TABLE routine IS 'A habit with a rate: feeding, water changes, carbon, light settings';
COMMENT ON COLUMN routine.id IS 'Row';
COMMENT ON COLUMN routine.keeper_id IS 'Whose';
COMMENT ON COLUMN routine.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN routine.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN routine.tank_id IS 'Tank it applies to';
COMMENT ON COLUMN routine.specimen_id IS 'Specimen it applies to';
COMMENT ON COLUMN routine.kind IS 'target_feed, broadcast_feed, water_change, carbon, trace_dosing, lamp_setting, lamp_hours';
COMMENT ON COLUMN routine.rate IS 'Rate as written';
COMMENT ON COLUMN routine.per_week IS 'Rate per week, where it converts';
COMMENT ON COLUMN routine.from_day IS 'First day';
COMMENT ON COLUMN routine.to_day IS 'Last day; null = goes on';
COMMENT ON COLUMN routine.confirmed_on IS 'Day it was last confirmed';
CREATE INDEX routine_tank ON routine (tank_id);
CREATE INDEX routine_specimen ON routine (specimen_id);

CREATE TABLE event (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    tank_id bigint,
    specimen_id bigint,
    kind text NOT NULL,
    on_day date NOT NULL,
    on_time time,
    utc_offset_minutes smallint CHECK (utc_offset_minutes BETWEEN -900 AND 900),
    amount double precision CHECK (amount > '-Infinity' AND amount < 'Infinity'),
    unit text,
    written text NOT NULL,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, tank_id) REFERENCES tank (keeper_id, id) ON DELETE CASCADE,
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE,
    CHECK (tank_id IS NOT NULL OR specimen_id IS NOT NULL)
);
COMMENT ON TABLE event IS 'One feeding, one change, one treatment, one cut';
COMMENT ON COLUMN event.id IS 'Row';
COMMENT ON COLUMN event.keeper_id IS 'Whose';
COMMENT ON COLUMN event.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN event.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN event.tank_id IS 'Tank';
COMMENT ON COLUMN event.specimen_id IS 'Specimen';
COMMENT ON COLUMN event.kind IS 'target_feed, broadcast_feed, water_change, carbon, trace_dosing, cut, treatment';
COMMENT ON COLUMN event.on_day IS 'Local day';
COMMENT ON COLUMN event.on_time IS 'Local time, if written';
COMMENT ON COLUMN event.utc_offset_minutes IS 'Offset from UTC, if written';
COMMENT ON COLUMN event.amount IS 'Amount, where given';
COMMENT ON COLUMN event.unit IS 'Unit of the amount';
COMMENT ON COLUMN event.written IS 'As written';
CREATE INDEX event_tank ON event (tank_id, on_day);
CREATE INDEX event_specimen ON event (specimen_id, on_day);

CREATE TABLE incident (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    key text NOT NULL,
    digest bytea NOT NULL CHECK (octet_length(digest) = 16),
    tank_id bigint,
    specimen_id bigint,
    kind text NOT NULL,
    from_day date NOT NULL,
    to_day date,
    written text NOT NULL,
    UNIQUE (keeper_id, key),
    FOREIGN KEY (keeper_id, tank_id) REFERENCES tank (keeper_id, id) ON DELETE CASCADE,
    FOREIGN KEY (keeper_id, specimen_id) REFERENCES specimen (keeper_id, id) ON DELETE CASCADE,
    CHECK (tank_id IS NOT NULL OR specimen_id IS NOT NULL),
    CHECK (from_day <= to_day)
);
COMMENT ON TABLE incident IS 'Something that happened to a tank or a specimen: power cut, heater, overdose, new fish, pest';
COMMENT ON COLUMN incident.id IS 'Row';
COMMENT ON COLUMN incident.keeper_id IS 'Whose';
COMMENT ON COLUMN incident.key IS 'Name that is unique among this keeper''s rows and stable over re-imports';
COMMENT ON COLUMN incident.digest IS 'Hash of the content: equal hash, equal row';
COMMENT ON COLUMN incident.tank_id IS 'Tank';
COMMENT ON COLUMN incident.specimen_id IS 'Specimen';
COMMENT ON COLUMN incident.kind IS 'power_cut, heater, overheating, leak, overdose, medicine, move, new_lamp, new_fish, new_invertebrate, pest_found';
COMMENT ON COLUMN incident.from_day IS 'First day';
COMMENT ON COLUMN incident.to_day IS 'Last day';
COMMENT ON COLUMN incident.written IS 'As written';
CREATE INDEX incident_tank ON incident (tank_id, from_day);
CREATE INDEX incident_specimen ON incident (specimen_id, from_day);

-- A record is named by kind and key, not by row: the places it was written in outlive its row number.
CREATE TABLE record_source (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    keeper_id bigint NOT NULL REFERENCES keeper ON DELETE CASCADE,
    kind text NOT NULL CHECK (kind IN ('tank', 'instrument', 'specimen', 'reading', 'identification', 'stay', 'placement', 'sighting', 'sizing', 'ending', 'routine', 'event', 'incident')),
    record_key text NOT NULL,
    upload_id bigint NOT NULL,
    log_id bigint,
    sheet text,
    row_number integer NOT NULL CHECK (row_number >= 0),
    column_number integer NOT NULL CHECK (column_number >= 0),
    FOREIGN KEY (keeper_id, upload_id) REFERENCES upload (keeper_id, id),
    FOREIGN KEY (keeper_id, log_id) REFERENCES log (keeper_id, id)
);
COMMENT ON TABLE record_source IS 'Where a current record was written: one row per log or edit that states it';
COMMENT ON COLUMN record_source.id IS 'Row';
COMMENT ON COLUMN record_source.keeper_id IS 'Whose';
COMMENT ON COLUMN record_source.kind IS 'Table of the record';
COMMENT ON COLUMN record_source.record_key IS 'Its key';
COMMENT ON COLUMN record_source.upload_id IS 'First live upload of the log that states it as it stands';
COMMENT ON COLUMN record_source.log_id IS 'Log; null = a single edit';
COMMENT ON COLUMN record_source.sheet IS 'Sheet';
COMMENT ON COLUMN record_source.row_number IS 'Row from 1; 0 = not from a sheet';
COMMENT ON COLUMN record_source.column_number IS 'Column from 1; 0 = not from a sheet';
CREATE INDEX record_source_record ON record_source (keeper_id, kind, record_key);
CREATE INDEX record_source_upload ON record_source (upload_id);
