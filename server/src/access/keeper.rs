//! Members by handle.

use diesel::prelude::*;
use migrations::schema::keeper;

use super::check::check;
use super::{Caller, Right, Role, caller};
use crate::problem::{Fault, Kind, Problem};

diesel::define_sql_function! {
    /// Lower case, as the unique index on handles has it.
    fn lower(text: diesel::sql_types::Text) -> diesel::sql_types::Text;
}

/// A member who keeps records.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Known {
    /// Row.
    pub id: i64,
    /// Name in the club.
    pub handle: String,
}

/// Whether a text can be a handle.
pub fn is_handle(text: &str) -> bool {
    text.trim() == text && (1..=80).contains(&text.chars().count())
}

/// The member of a handle, whatever its case.
pub fn find(connection: &mut PgConnection, handle: &str) -> QueryResult<Option<Known>> {
    keeper::table
        .filter(lower(keeper::handle).eq(lower(handle)))
        .select((keeper::id, keeper::handle))
        .first(connection)
        .optional()
}

/// The member for whom a caller hands something in: a keeper's own, or the one that a curator names.
///
/// # Errors
/// [`Kind::Unauthorised`] and [`Kind::Forbidden`] as for any upload; [`Kind::InvalidQuery`] where a curator
/// names nobody; [`Kind::InvalidValue`] where the handle is not known.
pub fn handed_in_for(connection: &mut PgConnection, caller: &Caller, asked: Option<&str>) -> Result<Known, Problem> {
    let holder = caller.holds(Right::Upload)?;
    match (holder.role, holder.keeper_id, asked) {
        (Role::Keeper, Some(id), asked) => {
            let own = Known { id, handle: holder.keeper.clone().unwrap_or_default() };
            match asked {
                Some(other) if !check!("keeper: another's name", other.to_lowercase() == own.handle.to_lowercase()) => {
                    Err(caller::forbidden())
                }
                _ => Ok(own),
            }
        }
        (Role::Curator, _, Some(handle)) => find(connection, handle)?.ok_or_else(|| {
            let detail =
                format!("'keeper={handle}' is not a member's handle; check the spelling, or make the member first");
            Problem::of_fault(Kind::InvalidValue, Fault::parameter("keeper", "unknown", detail))
        }),
        (Role::Curator, _, None) => Err(Problem::of_fault(
            Kind::InvalidQuery,
            Fault::parameter("keeper", "missing", "'keeper' is missing; a curator names the member whose file it is"),
        )),
        _ => Err(caller::forbidden()),
    }
}
