//! A request that is repeated with the sender's own key gives the first answer: key, work and answer are one transaction
//! (draft-ietf-httpapi-idempotency-key-header).

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header;
use chrono::{Duration, Utc};
use diesel::prelude::*;
use migrations::schema::request_key;
use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::problem::Problem;
use crate::upload::hand_in::{Idempotency, KEY_HOURS};

/// An answer that can be given again.
#[derive(Debug, Clone, Queryable)]
pub struct Reply {
    status: i16,
    location: String,
    body: String,
}

impl Reply {
    /// An answer with its address.
    ///
    /// # Errors
    /// Something that is no JSON.
    pub fn of(status: i16, location: String, body: &impl Serialize) -> Result<Self, Problem> {
        let body = serde_json::to_string(body).map_err(|error| Problem::internal(&error))?;
        Ok(Reply { status, location, body })
    }

    /// As it is sent.
    pub fn response(self) -> HttpResponse {
        let status = u16::try_from(self.status).ok().and_then(|status| StatusCode::from_u16(status).ok());
        HttpResponse::build(status.unwrap_or(StatusCode::OK))
            .insert_header((header::LOCATION, self.location))
            .content_type("application/json")
            .body(self.body)
    }
}

/// What tells a request from another under the same key.
///
/// # Errors
/// Something that is no JSON.
pub fn fingerprint(asked: &impl Serialize) -> Result<Vec<u8>, Problem> {
    let bytes = serde_json::to_vec(asked).map_err(|error| Problem::internal(&error))?;
    Ok(Sha256::digest(&bytes).to_vec())
}

/// Does the work and keeps its answer under the key, or gives the answer that was kept; without a key the work is done. Whoever
/// comes second waits for the first. The answer is about a member's records and goes when the member leaves.
///
/// # Errors
/// [`crate::problem::Kind::KeyReused`] for another request under the same key; those of the work, after which the key is free.
pub fn reply(
    connection: &mut PgConnection,
    (keeper_id, sender): (i64, &str),
    key: Option<&Idempotency>,
    asked: Vec<u8>,
    work: impl FnOnce(&mut PgConnection) -> Result<Reply, Problem>,
) -> Result<Reply, Problem> {
    let Some(key) = key else { return work(connection) };
    connection.transaction(|connection| {
        let old = Utc::now() - Duration::hours(KEY_HOURS);
        diesel::delete(request_key::table.filter(request_key::made_at.lt(old))).execute(connection)?;
        let own = (request_key::sender.eq(sender), request_key::key.eq(key.as_str()));
        let made = diesel::insert_into(request_key::table)
            .values((own, request_key::keeper_id.eq(keeper_id), request_key::asked.eq(&asked)))
            .on_conflict_do_nothing()
            .execute(connection)?;
        let kept = request_key::table.find((sender, key.as_str()));
        if made == 0 {
            type Kept = (Vec<u8>, i16, String, String);
            let columns = (request_key::asked, request_key::status, request_key::location, request_key::body);
            let (before, status, location, body): Kept = kept.select(columns).first(connection)?;
            return if before == asked { Ok(Reply { status, location, body }) } else { Err(key.reused()) };
        }
        let reply = work(connection)?;
        diesel::update(kept)
            .set((
                request_key::status.eq(reply.status),
                request_key::location.eq(&reply.location),
                request_key::body.eq(&reply.body),
            ))
            .execute(connection)?;
        Ok(reply)
    })
}
