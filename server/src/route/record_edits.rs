//! Single records: one by its number, and made, changed or taken out by hand. Each edit is an upload that can be taken back.

use std::borrow::Cow;

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, patch, post, web};
use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{IntoParams, PartialSchema, ToSchema};

use super::records::{
    EndingRecord, EventRecord, IncidentRecord, InstrumentRecord, PlacementRecord, ReadingRecord, RoutineRecord,
    SightingRecord, SizingRecord, SpecimenRecord, StayRecord, TankRecord,
};
use crate::access::{Caller, Right, keeper};
use crate::app::State;
use crate::body::Body;
use crate::edit::{self, Editable, Edited, field};
use crate::once::{self, Reply};
use crate::pool;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::records;
use crate::upload::hand_in::Idempotency;

problems!(
    /// What asking for one record can meet.
    OneProblems: UnknownRecord
);
problems!(
    /// What making a record can meet.
    NewProblems: InvalidBody, TooLarge, TooSlow, UnsupportedMediaType, AlreadyRecorded, KeyReused, InvalidValue
);
problems!(
    /// What changing a record can meet.
    ChangeProblems: InvalidBody, TooLarge, TooSlow, UnsupportedMediaType, UnknownRecord, AlreadyRecorded, InvalidValue
);
problems!(
    /// What taking a record out can meet.
    RemovalProblems: UnknownRecord, NotStated
);

/// Parameters beside a new record.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct NewRecordQuery {
    /// Handle of the member: needed from curators; from a member only their own.
    #[param(example = "osprey")]
    keeper: Option<String>,
}

impl Asked for NewRecordQuery {
    fn read(fields: &mut Fields) -> Self {
        NewRecordQuery { keeper: fields.text("keeper") }
    }
}

/// The upload that an edit is.
#[derive(Serialize, ToSchema)]
pub struct EditUpload {
    /// Its number among the uploads.
    #[schema(example = 17)]
    id: i64,
    /// `DELETE` on this address takes the edit back.
    #[schema(example = "/api/v1/uploads/17")]
    undo: String,
}

fn shown<K>(edited: Edited<K>) -> (Option<K>, Option<EditUpload>) {
    let upload = edited.upload.map(|id| EditUpload { id, undo: format!("/api/v1/uploads/{id}") });
    (edited.record, upload)
}

/// One record within reach.
async fn one<K: records::Kind>(state: web::Data<State>, caller: Caller, id: i64) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Read)?;
    let row: K = pool::with(&state.pool, move |connection| records::one(connection, &scope, id)).await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "private, no-cache")).json(row))
}

/// Puts a record and its edit into the shape of the kind.
type Answer<K, S> = fn(Option<K>, Option<EditUpload>) -> S;

/// Makes a record, once for each key of the sender's.
async fn create<K: Editable, S: Serialize + 'static>(
    (request, state, caller): (HttpRequest, web::Data<State>, Caller),
    keeper: Option<String>,
    body: Map<String, Value>,
    (list, answer): (&'static str, Answer<K, S>),
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Upload)?;
    let key = Idempotency::of(&request)?;
    let today = (state.today)();
    let reply = pool::with(&state.pool, move |connection| {
        let owner = keeper::handed_in_for(connection, &caller, keeper.as_deref())?;
        let asked = once::fingerprint(&(list, &owner.handle, &body))?;
        once::reply(connection, (owner.id, &caller.name()), key.as_ref(), asked, |connection| {
            let edited: Edited<K> = edit::create(connection, &caller, &scope, &owner, &body, today)?;
            let id = edited.record.as_ref().map(records::Kind::id).unwrap_or_default();
            let (record, upload) = shown(edited);
            Reply::of(201, format!("/api/v1/{list}/{id}"), &answer(record, upload))
        })
    })
    .await?;
    Ok(reply.response())
}

/// Changes a record within reach.
async fn change<K: Editable, S: Serialize>(
    (state, caller): (web::Data<State>, Caller),
    id: i64,
    body: Map<String, Value>,
    answer: Answer<K, S>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Upload)?;
    let today = (state.today)();
    let edited =
        pool::with(&state.pool, move |connection| edit::alter::<K>(connection, &caller, &scope, id, &body, today))
            .await?;
    let (record, upload) = shown(edited);
    Ok(HttpResponse::Ok().json(answer(record, upload)))
}

/// Takes a record within reach out.
async fn remove<K: Editable, S: Serialize>(
    (state, caller): (web::Data<State>, Caller),
    id: i64,
    answer: Answer<K, S>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Upload)?;
    let edited = pool::with(&state.pool, move |connection| edit::remove::<K>(connection, &caller, &scope, id)).await?;
    let (record, upload) = shown(edited);
    Ok(HttpResponse::Ok().json(answer(record, upload)))
}

macro_rules! edits {
    ($(
        $list:ident $path:literal $one:literal $record:ident $new:ident $change:ident $edited:ident,
        $create:ident $create_says:literal, $get:ident $get_says:literal, $alter:ident $alter_says:literal
        $(, $remove:ident $remove_says:literal)?;
    )+) => { $(
        /// Members of a new record.
        pub struct $new;

        impl PartialSchema for $new {
            fn schema() -> RefOr<Schema> {
                field::schema("Members of a new record.", <$record as Editable>::FIELDS, false)
            }
        }

        impl ToSchema for $new {
            fn name() -> Cow<'static, str> {
                Cow::Borrowed(stringify!($new))
            }
        }

        /// Members to change: what is not sent stays, `null` clears.
        pub struct $change;

        impl PartialSchema for $change {
            fn schema() -> RefOr<Schema> {
                let about = "Members to change: what is not sent stays, `null` clears.";
                field::schema(about, <$record as Editable>::FIELDS, true)
            }
        }

        impl ToSchema for $change {
            fn name() -> Cow<'static, str> {
                Cow::Borrowed(stringify!($change))
            }
        }

        /// A record after an edit.
        #[derive(Serialize, ToSchema)]
        pub struct $edited {
            /// As it stands now; `null` where it was taken out.
            record: Option<$record>,
            /// The upload that the edit is; `null` where nothing changed.
            upload: Option<EditUpload>,
        }

        #[doc = $create_says]
        #[doc = ""]
        #[doc = "One's own; a curator names the member. It is an upload like any other, committed at once, and is taken back by \
                 `DELETE` on the address in `upload.undo`. With an `Idempotency-Key` a request that is repeated within a day \
                 gives the first answer again."]
        #[utoipa::path(
            tag = "records",
            security(("token" = ["upload"])),
            params(
                NewRecordQuery,
                ("Idempotency-Key" = Option<String>, Header, description = "The sender's own key of this request", example = "\"6f1c\"")
            ),
            request_body = $new,
            responses(
                (status = 201, description = "Recorded", body = $edited, headers(("Location" = String, description = "Address of the record"))),
                NewProblems
            )
        )]
        #[post($path)]
        pub async fn $create(
            request: HttpRequest,
            state: web::Data<State>,
            caller: Caller,
            query: Query<NewRecordQuery>,
            body: Body<Map<String, Value>>,
        ) -> Result<HttpResponse, Problem> {
            let answer = |record, upload| $edited { record, upload };
            create((request, state, caller), query.0.keeper, body.0, (stringify!($list), answer)).await
        }

        #[doc = $get_says]
        #[doc = ""]
        #[doc = "A row of the current records: one's own; a curator's token reaches everybody's."]
        #[utoipa::path(
            tag = "records",
            security(("token" = ["read"])),
            params(("id" = i64, Path, description = "Number of the row", example = 17)),
            responses((status = 200, description = "The row", body = $record), OneProblems)
        )]
        #[get($one)]
        pub async fn $get(
            state: web::Data<State>,
            caller: Caller,
            path: web::Path<i64>,
            _: Query<Nothing>,
        ) -> Result<HttpResponse, Problem> {
            one::<$record>(state, caller, path.into_inner()).await
        }

        #[doc = $alter_says]
        #[doc = ""]
        #[doc = "What is not sent stays, `null` clears (RFC 7396). It is an upload like any other, committed at once, and is taken \
                 back by `DELETE` on the address in `upload.undo`. Files go on being heard on what was not changed; where a later \
                 file says otherwise of a test, a look or a deed, the file stands."]
        #[utoipa::path(
            tag = "records",
            security(("token" = ["upload"])),
            params(("id" = i64, Path, description = "Number of the row", example = 17)),
            request_body(content(($change = "application/json"), ($change = "application/merge-patch+json"))),
            responses((status = 200, description = "Changed", body = $edited), ChangeProblems)
        )]
        #[patch($one)]
        pub async fn $alter(
            state: web::Data<State>,
            caller: Caller,
            path: web::Path<i64>,
            _: Query<Nothing>,
            body: Body<Map<String, Value>>,
        ) -> Result<HttpResponse, Problem> {
            let answer = |record, upload| $edited { record, upload };
            change::<$record, _>((state, caller), path.into_inner(), body.0, answer).await
        }

        $(
            #[doc = $remove_says]
            #[doc = ""]
            #[doc = "It is an upload like any other, committed at once, and is taken back by `DELETE` on the address in \
                     `upload.undo`. A file that says the same does not bring it back."]
            #[utoipa::path(
                tag = "records",
                security(("token" = ["upload"])),
                params(("id" = i64, Path, description = "Number of the row", example = 17)),
                responses((status = 200, description = "Taken out", body = $edited), RemovalProblems)
            )]
            #[delete($one)]
            pub async fn $remove(
                state: web::Data<State>,
                caller: Caller,
                path: web::Path<i64>,
                _: Query<Nothing>,
            ) -> Result<HttpResponse, Problem> {
                let answer = |record, upload| $edited { record, upload };
                remove::<$record, _>((state, caller), path.into_inner(), answer).await
            }
        )?
    )+ };
}

edits! {
    tanks "/tanks" "/tanks/{id}" TankRecord TankNew TankChange TankEdited,
        create_tank "Record a tank", get_tank "Get a tank", change_tank "Change a tank";
    specimens "/specimens" "/specimens/{id}" SpecimenRecord SpecimenNew SpecimenChange SpecimenEdited,
        create_specimen "Record a coral", get_specimen "Get a coral", change_specimen "Change a coral";
    stays "/stays" "/stays/{id}" StayRecord StayNew StayChange StayEdited,
        create_stay "Record a move between tanks", get_stay "Get a move between tanks", change_stay "Change a move between tanks", delete_stay "Take a move between tanks out";
    readings "/readings" "/readings/{id}" ReadingRecord ReadingNew ReadingChange ReadingEdited,
        create_reading "Record a water test", get_reading "Get a water test", change_reading "Change a water test", delete_reading "Take a water test out";
    sizings "/sizings" "/sizings/{id}" SizingRecord SizingNew SizingChange SizingEdited,
        create_sizing "Record a size", get_sizing "Get a size", change_sizing "Change a size", delete_sizing "Take a size out";
    sightings "/sightings" "/sightings/{id}" SightingRecord SightingNew SightingChange SightingEdited,
        create_sighting "Record a look", get_sighting "Get a look", change_sighting "Change a look", delete_sighting "Take a look out";
    endings "/endings" "/endings/{id}" EndingRecord EndingNew EndingChange EndingEdited,
        create_ending "Record the end of a coral", get_ending "Get the end of a coral", change_ending "Change the end of a coral", delete_ending "Take the end of a coral out";
    routines "/routines" "/routines/{id}" RoutineRecord RoutineNew RoutineChange RoutineEdited,
        create_routine "Record what is done regularly", get_routine "Get what is done regularly", change_routine "Change what is done regularly", delete_routine "Take what is done regularly out";
    events "/events" "/events/{id}" EventRecord EventNew EventChange EventEdited,
        create_event "Record what was done once", get_event "Get what was done once", change_event "Change what was done once", delete_event "Take what was done once out";
    incidents "/incidents" "/incidents/{id}" IncidentRecord IncidentNew IncidentChange IncidentEdited,
        create_incident "Record what happened to a tank", get_incident "Get what happened to a tank", change_incident "Change what happened to a tank", delete_incident "Take what happened to a tank out";
    placements "/placements" "/placements/{id}" PlacementRecord PlacementNew PlacementChange PlacementEdited,
        create_placement "Record where a coral stands", get_placement "Get where a coral stands", change_placement "Change where a coral stands", delete_placement "Take where a coral stands out";
    instruments "/instruments" "/instruments/{id}" InstrumentRecord InstrumentNew InstrumentChange InstrumentEdited,
        create_instrument "Record a kit, probe or meter", get_instrument "Get a kit, probe or meter", change_instrument "Change a kit, probe or meter";
}
