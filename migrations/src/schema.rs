// Printed from a migrated database by the test `mirror`, never edited.
#![allow(missing_docs)]

diesel::table! {
    /// A person who may sign in
    account (id) {
        /// Row
        id -> Int8,
        /// Name to sign in with, unique whatever its case
        handle -> Text,
        /// reader, keeper or curator
        role -> Text,
        /// Whose records are this person's own
        keeper_id -> Nullable<Int8>,
        /// When the row was made
        created_at -> Timestamptz,
        /// Argon2id of the password, in the PHC string format
        password -> Text,
        /// When the password was chosen
        password_set_at -> Timestamptz,
        /// Last sign-in
        signed_in_at -> Nullable<Timestamptz>,
        /// Nobody signs in from then on, and no token of the account is valid; null = in use
        disabled_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    /// Who did what: uploads, answers, undos, tokens, settings; never a record's content
    audit (id) {
        /// Row
        id -> Int8,
        /// When
        occurred_at -> Timestamptz,
        /// Who: an account, a token's prefix, or the command line
        actor -> Text,
        /// What was done, as verb and noun
        action -> Text,
        /// What it was done to
        subject -> Text,
        /// Particulars
        detail -> Nullable<Jsonb>,
    }
}

diesel::table! {
    /// The range this club teaches, dated and signed; overrides the catalogue's
    club_band (id) {
        /// Row
        id -> Int8,
        /// Species, genus or group it is taught for
        taxon -> Text,
        /// What is measured
        parameter -> Text,
        /// Lower edge, inside the band
        lower -> Float8,
        /// Upper edge, inside the band
        upper -> Float8,
        /// Unit it is taught in
        unit -> Text,
        /// The sentence as taught
        as_taught -> Text,
        /// Taught from this day
        since_day -> Date,
        /// Who answers for it
        signed_by -> Text,
        /// When it was entered
        created_at -> Timestamptz,
        /// What a number in the unit is marked at or expressed as, where that matters
        unit_basis -> Nullable<Text>,
        /// Why
        note -> Nullable<Text>,
        /// When it was withdrawn; null = it stands
        withdrawn_at -> Nullable<Timestamptz>,
        /// Who withdrew it
        withdrawn_by -> Nullable<Text>,
    }
}

diesel::table! {
    /// What this club teaches beside the catalogue's claims, dated and signed
    club_claim (id) {
        /// Row
        id -> Int8,
        /// Code in answers
        code -> Text,
        /// As taught
        wording -> Text,
        /// Species, genus or group it is taught for
        taxon -> Text,
        /// What is taught to matter: code of a condition, or words that no condition says yet
        condition -> Text,
        /// About what: death, decline or growth
        outcome -> Text,
        /// more or fewer losses, or more or less growth, under the condition
        direction -> Text,
        /// Taught since
        since_day -> Date,
        /// Who answers for it
        signed_by -> Text,
        /// Why
        note -> Nullable<Text>,
        /// When it was entered
        created_at -> Timestamptz,
        /// When it was withdrawn; null = it stands
        withdrawn_at -> Nullable<Timestamptz>,
        /// Who withdrew it
        withdrawn_by -> Nullable<Text>,
    }
}

diesel::table! {
    /// Two names of a keeper's that are one tank or one coral: what files say of the one is taken as said of the other
    club_merge (id) {
        /// Row
        id -> Int8,
        /// Whose names they are
        keeper_id -> Int8,
        /// tank or specimen
        kind -> Text,
        /// The name given up, as names are compared
        from_key -> Text,
        /// The same as written
        from_name -> Text,
        /// The name that stays, as names are compared
        into_key -> Text,
        /// The same as written
        into_name -> Text,
        /// Who answers for it
        signed_by -> Text,
        /// Why
        note -> Nullable<Text>,
        /// When it was entered
        created_at -> Timestamptz,
        /// When it was taken back; null = it stands
        withdrawn_at -> Nullable<Timestamptz>,
        /// Who took it back
        withdrawn_by -> Nullable<Text>,
    }
}

diesel::table! {
    /// What a trade name means in this club; overrides the catalogue's
    club_name (id) {
        /// Row
        id -> Int8,
        /// The name in lower case
        name -> Text,
        /// What it means
        taxon -> Text,
        /// Agreed on
        since_day -> Date,
        /// Who answers for it
        signed_by -> Text,
        /// When it was entered
        created_at -> Timestamptz,
        /// Why
        note -> Nullable<Text>,
        /// When it was withdrawn; null = it stands
        withdrawn_at -> Nullable<Timestamptz>,
        /// Who withdrew it
        withdrawn_by -> Nullable<Text>,
    }
}

diesel::table! {
    /// Decisions of the club: one row per setting that differs from its default
    club_setting (key) {
        /// Name of the setting
        key -> Text,
        /// Its value
        value -> Jsonb,
        /// When it was set
        set_at -> Timestamptz,
        /// Who set it
        set_by -> Text,
    }
}

diesel::table! {
    /// What a keeper agreed to or took back; the latest row of a kind holds
    consent (id) {
        /// Row
        id -> Int8,
        /// Who
        keeper_id -> Int8,
        /// To what
        kind -> Text,
        /// true = agreed, false = taken back
        given -> Bool,
        /// When
        stated_at -> Timestamptz,
        /// How it was said
        note -> Nullable<Text>,
    }
}

diesel::table! {
    /// The state of everything an answer can depend on, as one number
    edition (only_row) {
        /// Always true: the table has one row
        only_row -> Bool,
        /// Raised by every transaction that changes records, settings, bands, names or vocabulary
        number -> Int8,
        /// When it was last raised
        raised_at -> Timestamptz,
    }
}

diesel::table! {
    /// What became of a specimen; no row = alive as far as known
    ending (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Specimen
        specimen_id -> Int8,
        /// The fate; null = in question
        fate -> Nullable<Text>,
        /// Group of the primary cause
        cause_group -> Text,
        /// Primary cause
        cause -> Nullable<Text>,
        /// Further causes, ranked
        other_causes -> Array<Text>,
        /// How it looked, any number
        manner -> Array<Text>,
        /// How it left
        leaving -> Nullable<Text>,
        /// Condition at exit
        condition -> Text,
        /// First bound: the last day it was known alive, or the written day
        earliest -> Date,
        /// Last bound: the day by which it had happened
        latest -> Date,
        /// A day written as such, not the bounds of two looks
        written_day -> Bool,
        /// The day is in question; the bounds hold all its readings
        date_held -> Bool,
        /// As written
        written -> Text,
    }
}

diesel::table! {
    /// One feeding, one change, one treatment, one cut
    event (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Tank
        tank_id -> Nullable<Int8>,
        /// Specimen
        specimen_id -> Nullable<Int8>,
        /// target_feed, broadcast_feed, water_change, carbon, trace_dosing, cut, treatment
        kind -> Text,
        /// Local day
        on_day -> Date,
        /// Local time, if written
        on_time -> Nullable<Time>,
        /// Offset from UTC, if written
        utc_offset_minutes -> Nullable<Int2>,
        /// Amount, where given
        amount -> Nullable<Float8>,
        /// Unit of the amount
        unit -> Nullable<Text>,
        /// As written
        written -> Text,
    }
}

diesel::table! {
    /// What could not be taken as it stands in an upload; replaced whenever it is read again
    finding (id) {
        /// Row
        id -> Int8,
        /// Upload
        upload_id -> Int8,
        /// Place in the file's order, from 0
        position -> Int4,
        /// Stable name of the doubt: an answer refers to it
        key -> Text,
        /// What kind of doubt
        code -> Text,
        /// refused, questioned or noted
        severity -> Text,
        /// Sheet of the first cell
        sheet -> Nullable<Text>,
        /// Row of the first cell, from 1
        row_number -> Nullable<Int4>,
        /// Column of the first cell, from 1
        column_number -> Nullable<Int4>,
        /// The first cell as written
        written -> Text,
        /// What is seen, or the question
        message -> Text,
        /// What to do
        remedy -> Text,
        /// Ways to answer
        choices -> Jsonb,
        /// The answer proposed, if one may be
        proposed -> Nullable<Jsonb>,
        /// Runs of rows that wait
        held -> Jsonb,
        /// Every cell it covers
        cells -> Jsonb,
        /// The answer that leaves it waiting ("don't know"): not asked again; null = open, or nothing to ask
        answered -> Nullable<Text>,
    }
}

diesel::table! {
    /// Doubts a file can raise; rows come from the compiled catalogue, and a code is never reused
    finding_kind (code) {
        /// Code
        code -> Text,
        /// refused = not loaded, questioned = held until answered, noted = loaded
        severity -> Text,
        /// What one finding covers: cell, column, table, file
        scope -> Text,
    }
}

diesel::table! {
    /// Failed guesses of secrets in a row, and until when the next has to wait
    guess (kind, hash) {
        /// account = by the name that was given, address = by where it came from, setup = at the setup code
        kind -> Text,
        /// SHA-256 of the name in lower case, of the address, or of nothing
        hash -> Bytea,
        /// Failures in a row
        failures -> Int4,
        /// The last one; forgotten when long ago
        last_at -> Timestamptz,
        /// The next guess is looked at from then on
        free_at -> Timestamptz,
    }
}

diesel::table! {
    /// A name given to a specimen: the latest holds, the history stays
    identification (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Specimen
        specimen_id -> Int8,
        /// As written
        written -> Text,
        /// Name reached
        taxon -> Text,
        /// certain, likely, guess
        confidence -> Nullable<Text>,
        /// The character it rests on
        character_seen -> Nullable<Text>,
        /// Day it was given; null = at purchase
        on_day -> Nullable<Date>,
    }
}

diesel::table! {
    /// Something that happened to a tank or a specimen: power cut, heater, overdose, new fish, pest
    incident (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Tank
        tank_id -> Nullable<Int8>,
        /// Specimen
        specimen_id -> Nullable<Int8>,
        /// power_cut, heater, overheating, leak, overdose, medicine, move, new_lamp, new_fish, new_invertebrate, pest_found
        kind -> Text,
        /// First day
        from_day -> Date,
        /// Last day
        to_day -> Nullable<Date>,
        /// As written
        written -> Text,
    }
}

diesel::table! {
    /// A test kit or probe: decides what a written value can mean
    instrument (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Tank it serves; null = all of the keeper's
        tank_id -> Nullable<Int8>,
        /// What it measures
        parameter -> Text,
        /// Name as written
        name -> Text,
        /// Smallest step, in the parameter's unit
        step -> Nullable<Float8>,
        /// Smallest value it can show, in the parameter's unit
        limit_value -> Nullable<Float8>,
        /// Reference temperatures of a specific gravity scale: 25/25, 20/20, 60/60F, 15/15, 20/4
        reference -> Nullable<Text>,
        /// What the number counts: NO3, NO3-N, PO4, P
        basis -> Nullable<Text>,
        /// Last calibrated
        calibrated_on -> Nullable<Date>,
        /// In use from
        from_day -> Nullable<Date>,
    }
}

diesel::table! {
    /// A link, shown once, with which somebody makes an account, or chooses a new password for one
    invitation (id) {
        /// Row
        id -> Int8,
        /// SHA-256 of the secret in the link
        hash -> Bytea,
        /// What the account will be, or is: reader, keeper or curator
        role -> Text,
        /// Whose records will be the account's own
        keeper_id -> Nullable<Int8>,
        /// Handle of a keeper who is made when the invitation is accepted; null from then on
        new_keeper -> Nullable<Text>,
        /// The account that was made with it, or that gets a new password
        account_id -> Nullable<Int8>,
        /// Who invites: an account or a token, as in the audit
        made_by -> Text,
        /// When it was made
        created_at -> Timestamptz,
        /// Not valid from then on
        expires_at -> Timestamptz,
        /// When it was used; it works once
        accepted_at -> Nullable<Timestamptz>,
        /// Withdrawn
        revoked_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    /// Work on uploads that has begun: read or committed by whichever server comes first, again after a failure
    job (upload_id) {
        /// The upload
        upload_id -> Int8,
        /// Times that it was taken
        attempts -> Int4,
        /// It is not taken again before this
        not_before -> Timestamptz,
    }
}

diesel::table! {
    /// A member who keeps records. Whatever a keeper recorded goes with the row
    keeper (id) {
        /// Row
        id -> Int8,
        /// Name in the club, unique whatever its case
        handle -> Text,
        /// Year since when this member keeps reefs
        keeping_since -> Nullable<Int4>,
        /// Raised by every commit and undo of this keeper; the row is locked meanwhile
        revision -> Int8,
        /// When the row was made
        created_at -> Timestamptz,
    }
}

diesel::table! {
    /// What a kit or probe of a name can show, answered once for every keeper who has it
    kit_answer (id) {
        /// Row
        id -> Int8,
        /// What it measures
        parameter -> Text,
        /// Its name, folded: kits of one key are the same kit
        key -> Text,
        /// Its name as given
        name -> Text,
        /// Smallest value it can show, in the parameter's unit
        limit_value -> Nullable<Float8>,
        /// Smallest step, in the parameter's unit
        step -> Nullable<Float8>,
        /// Reference temperatures of a specific gravity scale
        reference -> Nullable<Text>,
        /// What the number counts: NO3, NO3-N, PO4, P
        basis -> Nullable<Text>,
        /// Who answered
        given_by -> Text,
        /// When
        given_at -> Timestamptz,
        /// Who took it back
        undone_by -> Nullable<Text>,
        /// When it was taken back; null = it stands
        undone_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    /// How a keeper's files of one shape are read, as a table description that can be exported and applied
    layout (id) {
        /// Row
        id -> Int8,
        /// Whose files
        keeper_id -> Int8,
        /// Hash of headers and layouts: files of one shape share it
        shape -> Text,
        /// The description: a data package with dialect, schema and our own steps before them
        document -> Jsonb,
        /// The upload it was last written from
        upload_id -> Nullable<Int8>,
        /// When it was last written
        changed_at -> Timestamptz,
    }
}

diesel::table! {
    /// One keeper's chain of versions of one file; all but its name follows from its live uploads
    log (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name, from the first file's
        name -> Text,
        /// Hash of headers and layouts: files of one shape share it
        shape -> Text,
        /// From this day every specimen was written down, also those that died
        complete_since -> Nullable<Date>,
        /// unanswered, given, or unknown ("don't know")
        complete_since_state -> Text,
        /// After "don't know": first day from which its versions show entries written within two weeks
        prompt_since -> Nullable<Date>,
        /// Losses are in this list: it has one, or the keeper said so; null = not known
        losses_listed -> Nullable<Bool>,
        /// Earliest day in its live uploads
        first_day -> Nullable<Date>,
        /// Latest day in its live uploads
        last_day -> Nullable<Date>,
        /// Day on which its latest version was true
        as_of -> Nullable<Date>,
        /// When the row was made
        created_at -> Timestamptz,
    }
}

diesel::table! {
    /// Issues of the newsletter as they were printed: rounded figures of the public alone
    newsletter_issue (number) {
        /// Number of the issue
        number -> Int8,
        /// Title
        title -> Text,
        /// The release that its figures are of
        release -> Int8,
        /// The issue as the API answers it
        content -> Jsonb,
        /// Its pictures as SVG, by taxon
        pictures -> Jsonb,
        /// Who answers for it
        signed_by -> Text,
        /// Why it was made, or what is special about it
        note -> Nullable<Text>,
        /// When it was frozen
        frozen_at -> Timestamptz,
        /// The account or token that froze it
        frozen_by -> Text,
        /// When it was withdrawn; null = it stands
        withdrawn_at -> Nullable<Timestamptz>,
        /// Who withdrew it
        withdrawn_by -> Nullable<Text>,
    }
}

diesel::table! {
    /// What can be measured; rows come from the compiled catalogue
    parameter (code) {
        /// Code in addresses and answers
        code -> Text,
        /// Name as printed
        name -> Text,
        /// Unit of every stored value, as printed
        unit -> Text,
        /// The same unit in the Unified Code for Units of Measure
        ucum -> Nullable<Text>,
        /// No water test can be below, in the unit
        hard_lower -> Nullable<Float8>,
        /// No water test can be above, in the unit
        hard_upper -> Nullable<Float8>,
    }
}

diesel::table! {
    /// Where a specimen stands in its tank from a day on
    placement (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Specimen
        specimen_id -> Int8,
        /// First day; null = since it was got
        from_day -> Nullable<Date>,
        /// top, middle, bottom, sand
        height -> Nullable<Text>,
        /// Photon flux at the spot, umol/m2/s
        par -> Nullable<Float8>,
        /// still, swaying, thrashing
        flow -> Nullable<Text>,
        /// A stinging neighbour stands within reach
        stinging_neighbour -> Nullable<Bool>,
    }
}

diesel::table! {
    /// A link that shows one question of one upload to whoever holds it, and takes one answer
    question_link (id) {
        /// Row
        id -> Int8,
        /// Upload
        upload_id -> Int8,
        /// Key of the question
        finding_key -> Text,
        /// SHA-256 of the secret in the link, which is kept nowhere
        hash -> Bytea,
        /// Who made it
        made_by -> Text,
        /// When it was made
        created_at -> Timestamptz,
        /// Not valid from then on
        expires_at -> Timestamptz,
        /// When it took its answer
        used_at -> Nullable<Timestamptz>,
        /// Withdrawn
        revoked_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    /// A water test
    reading (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Where
        tank_id -> Int8,
        /// What was measured
        parameter -> Text,
        /// Local day
        taken_on -> Date,
        /// Local time, if written
        taken_time -> Nullable<Time>,
        /// Offset from UTC, if written
        utc_offset_minutes -> Nullable<Int2>,
        /// From 1 among tests of one tank, parameter and time
        ordinal -> Int4,
        /// The value in the parameter's unit; the limit for < and >; null for an interval
        value -> Nullable<Float8>,
        /// Lower end of what it can mean; null = open
        lower -> Nullable<Float8>,
        /// Upper end; null = open
        upper -> Nullable<Float8>,
        /// =, <, > or interval
        qualifier -> Text,
        /// zero_reported, approximate, replicate, reference_unknown, own_scale and the like
        flags -> Array<Text>,
        /// Two logs give unequal values for this time and nobody has said which is right
        disputed -> Bool,
        /// The cell as written
        written -> Text,
        /// Unit as written, where it cannot be converted
        written_unit -> Nullable<Text>,
        /// Instrument, if known
        instrument_id -> Nullable<Int8>,
        /// The specimen whose spot was measured
        specimen_id -> Nullable<Int8>,
        /// Log it is written in; null = a single edit
        log_id -> Nullable<Int8>,
        /// First live upload of the log that states it as it stands; the fold keeps it true, so no reference is checked a million times over
        upload_id -> Int8,
        /// Sheet of the cell it is written in
        sheet -> Nullable<Text>,
        /// Row of the cell from 1; 0 = not from a sheet
        row_number -> Int4,
        /// Column of the cell from 1; 0 = not from a sheet
        column_number -> Int4,
    }
}

diesel::table! {
    /// A member's water tests as answers read them, packed; gone as soon as one of the rows changes, made anew soon after
    reading_pack (keeper_id) {
        /// Whose
        keeper_id -> Int8,
        /// Of the packing; others are not read
        format -> Int4,
        /// Row numbers of tanks and logs in the order in which the tests name them, and light at corals' spots
        refers -> Jsonb,
        /// The tests, column by column
        readings -> Bytea,
    }
}

diesel::table! {
    /// Where a current record was written: one row per log or edit that states it; of a test, those after the first, which is in its own row
    record_source (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Table of the record
        kind -> Text,
        /// Its key
        record_key -> Text,
        /// First live upload of the log that states it as it stands
        upload_id -> Int8,
        /// Log; null = a single edit
        log_id -> Nullable<Int8>,
        /// Sheet
        sheet -> Nullable<Text>,
        /// Row from 1; 0 = not from a sheet
        row_number -> Int4,
        /// Column from 1; 0 = not from a sheet
        column_number -> Int4,
    }
}

diesel::table! {
    /// Frozen states of the club that public and members read
    release (number) {
        /// Number
        number -> Int8,
        /// The edition whose records it froze
        edition -> Int8,
        /// The program that made it
        program_version -> Text,
        /// Why it was made: the first, its time had come, a curator asked for it, or a member withdrew
        reason -> Text,
        /// When it was made
        made_at -> Timestamptz,
        /// The records its answers are worked out from, compressed and served to nobody; null once no taxon is answered from it
        records -> Nullable<Bytea>,
        /// Unnamed keys of the members in the order of its records; null once no taxon is answered from it
        members -> Nullable<Jsonb>,
    }
}

diesel::table! {
    /// Answers of a release as they were first given, and are given again
    release_answer (release, audience, question) {
        /// Release
        release -> Int8,
        /// public or member
        audience -> Text,
        /// The canonical question and its representation
        question -> Text,
        /// The bytes sent, compressed
        body -> Bytea,
    }
}

diesel::table! {
    /// Releases to be made
    release_due (id) {
        /// Row
        id -> Int8,
        /// Why
        reason -> Text,
        /// Since when
        since -> Timestamptz,
        /// waiting, done or failed
        state -> Text,
        /// How often it was tried
        attempts -> Int4,
        /// Not tried again before this
        not_before -> Timestamptz,
        /// What went wrong the last time
        message -> Nullable<Text>,
    }
}

diesel::table! {
    /// The q values of a release, over a written list of comparisons
    release_family (release, family) {
        /// Release
        release -> Int8,
        /// What the list is of: outcome and reader
        family -> Text,
        /// Length of the list, refused comparisons included
        comparisons -> Int8,
        /// Taxon, condition, q, q of growth and crude ratio of every comparison made
        q_values -> Jsonb,
    }
}

diesel::table! {
    /// From which release each subject is answered, piece by piece: an older one while fewer than three members have changed a block of it
    release_taxon (release, taxon, split) {
        /// Release
        release -> Int8,
        /// Slug of a taxon, or that of a group with the genera it is without; * = everything together
        taxon -> Text,
        /// The release whose figures stand; null = withheld since a member withdrew, until three have changed
        answered_from -> Nullable<Int8>,
        /// Hash of what each member contributes to the figures that stand, by an unnamed key; served to nobody
        contributions -> Jsonb,
        /// Code of the piece: a split, what is on record, or a line that is withheld alone; * = answers made of several splits, and pieces without a row
        split -> Text,
        /// Who was in the figures when they were last shown, where they are withheld, by unnamed keys; served to nobody
        holdings -> Nullable<Jsonb>,
    }
}

diesel::table! {
    /// Answers to requests that came with the sender's own key, for a day: the same request gives the same answer
    request_key (sender, key) {
        /// Who sent it, as named in the audit
        sender -> Text,
        /// The sender's own key
        key -> Text,
        /// Whose records it is about
        keeper_id -> Int8,
        /// SHA-256 of what was asked
        asked -> Bytea,
        /// HTTP status of the answer
        status -> Int2,
        /// Address in the answer
        location -> Text,
        /// The answer
        body -> Text,
        /// When
        made_at -> Timestamptz,
    }
}

diesel::table! {
    /// A habit with a rate: feeding, water changes, carbon, light settings
    routine (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Tank it applies to
        tank_id -> Nullable<Int8>,
        /// Specimen it applies to
        specimen_id -> Nullable<Int8>,
        /// target_feed, broadcast_feed, water_change, carbon, trace_dosing, lamp_setting, lamp_hours
        kind -> Text,
        /// Rate as written
        rate -> Text,
        /// Rate per week, where it converts
        per_week -> Nullable<Float8>,
        /// First day
        from_day -> Date,
        /// Last day; null = goes on
        to_day -> Nullable<Date>,
        /// Day it was last confirmed
        confirmed_on -> Date,
    }
}

diesel::table! {
    /// A browser that is signed in; the row goes when it signs out
    session (id) {
        /// Row
        id -> Int8,
        /// SHA-256 of the secret in the cookie
        hash -> Bytea,
        /// Who is signed in
        account_id -> Int8,
        /// When it began
        created_at -> Timestamptz,
        /// Last use, to the minute; a session that rests too long ends
        last_used_at -> Timestamptz,
        /// Ends then, however much it is used
        expires_at -> Timestamptz,
    }
}

diesel::table! {
    /// The code with which the first curator is made; at most one row, none once there is an account
    setup_code (only_row) {
        /// Always true: there is one row
        only_row -> Bool,
        /// SHA-256 of the code, which stood on the console alone
        hash -> Bytea,
        /// When it was made
        created_at -> Timestamptz,
        /// Not valid from then on
        expires_at -> Timestamptz,
    }
}

diesel::table! {
    /// A look at a living specimen
    sighting (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Specimen
        specimen_id -> Int8,
        /// Day
        on_day -> Date,
        /// alive (bare), open, off, poor
        status -> Text,
        /// register = an open row on the day its list was true; roll_call, look, photo
        source -> Text,
        /// 1 under a quarter alive to 5 open and growing; null = no score
        condition -> Nullable<Int2>,
        /// 0 none to 3 extreme
        polyp_extension -> Nullable<Int2>,
        /// Live tissue in %
        tissue_cover -> Nullable<Float8>,
        /// Score on the six-step colour reference card
        colour -> Nullable<Int2>,
        /// Signs and remark as written
        remark -> Nullable<Text>,
    }
}

diesel::table! {
    /// A size of a specimen
    sizing (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Specimen
        specimen_id -> Int8,
        /// max_diameter, height, branch_count, head_count, planar_area, shell_length, buoyant_weight
        measure -> Text,
        /// skeleton, base, heads, open_tissue, closed_tissue, not_said
        basis -> Text,
        /// In the unit beside it
        value -> Float8,
        /// mm, mm2, g or 1
        unit -> Text,
        /// Day
        on_day -> Date,
        /// A cut or breakage just before it
        after_cut -> Bool,
        /// Number of cuts before it, from 0: growth is within a segment
        segment -> Int4,
        /// As written
        written -> Text,
    }
}

diesel::table! {
    /// A coral, clam or kin
    specimen (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// The keeper's own label
        label -> Text,
        /// Name as written, with the trade name
        written -> Text,
        /// Name reached, latest identification; null while in question
        taxon -> Nullable<Text>,
        /// Rank reached
        taxon_rank -> Nullable<Text>,
        /// certain, likely, guess
        confidence -> Nullable<Text>,
        /// The character the name rests on
        character_seen -> Nullable<Text>,
        /// Where it comes from
        origin -> Nullable<Text>,
        /// How that is known
        origin_basis -> Nullable<Text>,
        /// own_cutting, member, shop, online_dealer, importer, event, unknown
        source_kind -> Nullable<Text>,
        /// Name of the source: shown to its keeper only
        source_name -> Nullable<Text>,
        /// Form as recorded at purchase
        form -> Nullable<Text>,
        /// Size at purchase in mm
        size_mm -> Nullable<Float8>,
        /// How it looked when got
        condition -> Nullable<Text>,
        /// Days it had been at the seller
        days_at_seller -> Nullable<Float8>,
        /// Earliest day it can have been got; null with a latest day = open
        acquired_earliest -> Nullable<Date>,
        /// Latest day it can have been got; null = unknown
        acquired_latest -> Nullable<Date>,
        /// From this day its log would have shown its death; null = no day known
        observed_from -> Nullable<Date>,
        /// observed_from rests on the log's first day, not on an answer
        entry_assumed -> Bool,
        /// Mother colony
        parent_id -> Nullable<Int8>,
        /// Code of the card on the way to the oldest known mother, as line:CODE, else her key, its own if none: clone-mates share it
        lineage -> Text,
        /// Code on the card that came with the cutting
        line -> Nullable<Text>,
        /// Facts that wait for an answer: such a specimen is in no analysis
        held -> Array<Text>,
        /// Log it is written in; null = a single edit
        log_id -> Nullable<Int8>,
    }
}

diesel::table! {
    /// A label under which a log writes a specimen
    specimen_name (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Specimen
        specimen_id -> Int8,
        /// Log; null = a single edit
        log_id -> Nullable<Int8>,
        /// The label as that log writes it
        name -> Text,
    }
}

diesel::table! {
    /// A specimen in a tank, from a day up to, not including, another
    stay (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Specimen
        specimen_id -> Int8,
        /// Tank
        tank_id -> Int8,
        /// First day, the middle of its bounds; null = before anything known
        from_day -> Nullable<Date>,
        /// Day it left, the middle of its bounds; null = up to its ending, or still there
        to_day -> Nullable<Date>,
        /// Earliest first day
        from_earliest -> Nullable<Date>,
        /// Latest first day
        from_latest -> Nullable<Date>,
        /// Earliest day it left
        to_earliest -> Nullable<Date>,
        /// Latest day it left
        to_latest -> Nullable<Date>,
    }
}

diesel::table! {
    /// A tank. Current records, here and below, are the fold of a keeper's live uploads
    tank (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Name as first written
        name -> Text,
        /// Stated volume in litres
        litres -> Nullable<Float8>,
        /// First day with water
        started -> Nullable<Date>,
        /// Last day
        closed -> Nullable<Date>,
        /// moved, sold, all_died, other
        closed_why -> Nullable<Text>,
    }
}

diesel::table! {
    /// Another spelling of a tank's name met in files
    tank_alias (id) {
        /// Row
        id -> Int8,
        /// Whose
        keeper_id -> Int8,
        /// Name that is unique among this keeper's rows and stable over re-imports
        key -> Text,
        /// Hash of the content: equal hash, equal row
        digest -> Bytea,
        /// Tank
        tank_id -> Int8,
        /// The other spelling
        alias -> Text,
    }
}

diesel::table! {
    /// Species, genera and groups a specimen can be named by; rows come from the compiled catalogue
    taxon (slug) {
        /// Name in addresses
        slug -> Text,
        /// Accepted name
        name -> Text,
        /// species, genus or group
        taxon_rank -> Text,
        /// The genus of a species
        genus -> Nullable<Text>,
        /// Group of the trade: SPS, LPS, FLO, NPS, SOFT, ZOA, MUSH, CLAM
        group_code -> Nullable<Text>,
    }
}

diesel::table! {
    /// A key for programs, shown once and kept as a hash
    token (id) {
        /// Row
        id -> Int8,
        /// SHA-256 of the token
        hash -> Bytea,
        /// Its first characters, to tell tokens apart in lists and the audit
        prefix -> Text,
        /// What it is for, in its owner's words
        label -> Nullable<Text>,
        /// reader, keeper or curator
        role -> Text,
        /// Any of read, upload, admin
        scopes -> Array<Text>,
        /// Whose records it opens; null for readers and curators of the club
        keeper_id -> Nullable<Int8>,
        /// Whose it is
        account_id -> Nullable<Int8>,
        /// When it was made
        created_at -> Timestamptz,
        /// Not valid from then on; null = never
        expires_at -> Nullable<Timestamptz>,
        /// Last use, to the minute
        last_used_at -> Nullable<Timestamptz>,
        /// Withdrawn
        revoked_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    /// One thing a keeper handed in: a file, a single edit, a roll call. Current records are the fold of the committed ones
    upload (id) {
        /// Row
        id -> Int8,
        /// Whose records
        keeper_id -> Int8,
        /// The log it is a version of; null until known, and for edits and roll calls
        log_id -> Nullable<Int8>,
        /// file, edit or roll_call
        kind -> Text,
        /// File name as given
        name -> Text,
        /// SHA-256 of the bytes
        sha256 -> Bytea,
        /// Size in bytes
        byte_count -> Int8,
        /// received, reading, failed, questions, ready, committing, committed, undone, discarded
        state -> Text,
        /// Why it failed
        state_message -> Nullable<Text>,
        /// The tank named beside the file
        tank_hint -> Nullable<Text>,
        /// The log named beside the file
        log_hint -> Nullable<Text>,
        /// The day named beside the file on which its register was true
        as_of -> Nullable<Date>,
        /// The day it was read as of; later days are in the future
        read_on -> Nullable<Date>,
        /// Version of the reader
        interpreter -> Nullable<Int4>,
        /// When it came
        received_at -> Timestamptz,
        /// Who sent it
        received_by -> Text,
        /// Place among the keeper's commits: its first one counts
        commit_sequence -> Nullable<Int8>,
        /// Last commit
        committed_at -> Nullable<Timestamptz>,
        /// When it was taken back
        undone_at -> Nullable<Timestamptz>,
        /// Committed, or to be, with questions open
        leave_open -> Bool,
        /// Open questions
        question_count -> Int4,
        /// Counts of cells: total, recorded, labels, findings
        cells -> Nullable<Jsonb>,
        /// What the file says about itself
        about -> Nullable<Jsonb>,
        /// Records by kind that load or have loaded
        counts -> Nullable<Jsonb>,
        /// What was known of the keeper when it was read, so that reading again gives the same
        context -> Nullable<Jsonb>,
        /// The keeper's revision when it was read
        staged_revision -> Nullable<Int8>,
        /// The sender's own key of the request, with its token; cleared when it expires
        idempotency_key -> Nullable<Text>,
        /// Token it came with
        token_id -> Nullable<Int8>,
        /// Account it came from
        account_id -> Nullable<Int8>,
        /// The layout sent beside the file: its answers hold over earlier ones, and give way to those given to this file
        layout -> Nullable<Jsonb>,
    }
}

diesel::table! {
    /// Answers to an upload's questions
    upload_answer (id) {
        /// Row
        id -> Int8,
        /// Upload
        upload_id -> Int8,
        /// Key of the finding
        finding_key -> Text,
        /// Code of the choice
        choice -> Text,
        /// What the choice needs: a day, a number, a name
        value -> Nullable<Jsonb>,
        /// The earlier upload of the same shape whose answer this is; null = given here
        carried_from_id -> Nullable<Int8>,
        /// When
        answered_at -> Timestamptz,
        /// Who
        answered_by -> Text,
    }
}

diesel::table! {
    /// The file itself, as it came
    upload_file (upload_id) {
        /// Upload
        upload_id -> Int8,
        /// Its bytes
        content -> Bytea,
    }
}

diesel::table! {
    /// Tests of tanks of an upload by the month they were taken in, as read and as committed: a month is compared and folded by itself
    upload_month (upload_id, stage, month) {
        /// Upload
        upload_id -> Int8,
        /// staged = read, not yet current; committed = in the fold
        stage -> Text,
        /// Months since the year 0
        month -> Int4,
        /// Hash of what the tests say, their places aside
        content_hash -> Bytea,
        /// Names of their tanks, as written
        tanks -> Array<Text>,
        /// Two lines of JSON a test, compressed with zstd
        records -> Bytea,
        /// How many
        record_count -> Int4,
    }
}

diesel::table! {
    /// Normalised records of an upload but the tests of tanks, as read and as committed
    upload_records (upload_id, stage) {
        /// Upload
        upload_id -> Int8,
        /// staged = read, not yet current; committed = in the fold
        stage -> Text,
        /// JSON array of records, compressed with zstd
        records -> Bytea,
        /// How many
        record_count -> Int8,
    }
}

diesel::joinable!(account -> keeper (keeper_id));
diesel::joinable!(club_band -> parameter (parameter));
diesel::joinable!(club_band -> taxon (taxon));
diesel::joinable!(club_claim -> taxon (taxon));
diesel::joinable!(club_merge -> keeper (keeper_id));
diesel::joinable!(club_name -> taxon (taxon));
diesel::joinable!(consent -> keeper (keeper_id));
diesel::joinable!(ending -> keeper (keeper_id));
diesel::joinable!(ending -> specimen (specimen_id));
diesel::joinable!(event -> keeper (keeper_id));
diesel::joinable!(event -> specimen (specimen_id));
diesel::joinable!(event -> tank (tank_id));
diesel::joinable!(finding -> finding_kind (code));
diesel::joinable!(finding -> upload (upload_id));
diesel::joinable!(identification -> keeper (keeper_id));
diesel::joinable!(identification -> specimen (specimen_id));
diesel::joinable!(identification -> taxon (taxon));
diesel::joinable!(incident -> keeper (keeper_id));
diesel::joinable!(incident -> specimen (specimen_id));
diesel::joinable!(incident -> tank (tank_id));
diesel::joinable!(instrument -> keeper (keeper_id));
diesel::joinable!(instrument -> parameter (parameter));
diesel::joinable!(instrument -> tank (tank_id));
diesel::joinable!(invitation -> account (account_id));
diesel::joinable!(invitation -> keeper (keeper_id));
diesel::joinable!(job -> upload (upload_id));
diesel::joinable!(kit_answer -> parameter (parameter));
diesel::joinable!(layout -> keeper (keeper_id));
diesel::joinable!(layout -> upload (upload_id));
diesel::joinable!(log -> keeper (keeper_id));
diesel::joinable!(newsletter_issue -> release (release));
diesel::joinable!(placement -> keeper (keeper_id));
diesel::joinable!(placement -> specimen (specimen_id));
diesel::joinable!(question_link -> upload (upload_id));
diesel::joinable!(reading -> instrument (instrument_id));
diesel::joinable!(reading -> keeper (keeper_id));
diesel::joinable!(reading -> log (log_id));
diesel::joinable!(reading -> parameter (parameter));
diesel::joinable!(reading -> specimen (specimen_id));
diesel::joinable!(reading -> tank (tank_id));
diesel::joinable!(reading_pack -> keeper (keeper_id));
diesel::joinable!(record_source -> keeper (keeper_id));
diesel::joinable!(record_source -> log (log_id));
diesel::joinable!(record_source -> upload (upload_id));
diesel::joinable!(release_answer -> release (release));
diesel::joinable!(release_family -> release (release));
diesel::joinable!(request_key -> keeper (keeper_id));
diesel::joinable!(routine -> keeper (keeper_id));
diesel::joinable!(routine -> specimen (specimen_id));
diesel::joinable!(routine -> tank (tank_id));
diesel::joinable!(session -> account (account_id));
diesel::joinable!(sighting -> keeper (keeper_id));
diesel::joinable!(sighting -> specimen (specimen_id));
diesel::joinable!(sizing -> keeper (keeper_id));
diesel::joinable!(sizing -> specimen (specimen_id));
diesel::joinable!(specimen -> keeper (keeper_id));
diesel::joinable!(specimen -> log (log_id));
diesel::joinable!(specimen -> taxon (taxon));
diesel::joinable!(specimen_name -> keeper (keeper_id));
diesel::joinable!(specimen_name -> log (log_id));
diesel::joinable!(specimen_name -> specimen (specimen_id));
diesel::joinable!(stay -> keeper (keeper_id));
diesel::joinable!(stay -> specimen (specimen_id));
diesel::joinable!(stay -> tank (tank_id));
diesel::joinable!(tank -> keeper (keeper_id));
diesel::joinable!(tank_alias -> keeper (keeper_id));
diesel::joinable!(tank_alias -> tank (tank_id));
diesel::joinable!(token -> account (account_id));
diesel::joinable!(token -> keeper (keeper_id));
diesel::joinable!(upload -> account (account_id));
diesel::joinable!(upload -> keeper (keeper_id));
diesel::joinable!(upload -> log (log_id));
diesel::joinable!(upload -> token (token_id));
diesel::joinable!(upload_file -> upload (upload_id));
diesel::joinable!(upload_month -> upload (upload_id));
diesel::joinable!(upload_records -> upload (upload_id));

diesel::allow_tables_to_appear_in_same_query!(
    account,
    audit,
    club_band,
    club_claim,
    club_merge,
    club_name,
    club_setting,
    consent,
    edition,
    ending,
    event,
    finding,
    finding_kind,
    guess,
    identification,
    incident,
    instrument,
    invitation,
    job,
    keeper,
    kit_answer,
    layout,
    log,
    newsletter_issue,
    parameter,
    placement,
    question_link,
    reading,
    reading_pack,
    record_source,
    release,
    release_answer,
    release_due,
    release_family,
    release_taxon,
    request_key,
    routine,
    session,
    setup_code,
    sighting,
    sizing,
    specimen,
    specimen_name,
    stay,
    tank,
    tank_alias,
    taxon,
    token,
    upload,
    upload_answer,
    upload_file,
    upload_month,
    upload_records,
);
