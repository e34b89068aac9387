//! Which rows a caller reaches. A scope can only come from a caller that was asked for a right, or from
//! the operator at the command line, who holds the database anyway.

use diesel::pg::Pg;
use diesel::prelude::*;
use migrations::schema::{audit, upload};

#[cfg(feature = "access-mutation")]
use super::check::mutation::{self, Mode};
use super::keeper::Known;
use crate::problem::{Kind, Problem};

/// The reach of a caller over records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scope {
    reach: Reach,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reach {
    /// Everybody's records, for pooled statistics that pass the disclosure rules of their audience.
    Pooled,
    /// One keeper's own.
    Own(i64),
    /// Everybody's.
    Everyone,
}

/// An upload that the caller reaches: the only way to name one to the loader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reached {
    id: i64,
    keeper_id: i64,
}

impl Reached {
    /// Number of the upload.
    pub const fn id(self) -> i64 {
        self.id
    }

    /// Whose it is.
    pub const fn keeper_id(self) -> i64 {
        self.keeper_id
    }

    /// The upload that was just made for a member for whom the caller may hand in.
    pub(crate) const fn handed_in(owner: &Known, id: i64) -> Self {
        Reached { id, keeper_id: owner.id }
    }
}

impl Scope {
    pub(super) const fn pooled() -> Self {
        Scope { reach: Reach::Pooled }
    }

    pub(super) const fn own(keeper_id: i64) -> Self {
        Scope { reach: Reach::Own(keeper_id) }
    }

    pub(super) const fn everyone() -> Self {
        Scope { reach: Reach::Everyone }
    }

    /// The reach of whoever runs a command on the database itself.
    pub const fn of_operator() -> Self {
        Scope::everyone()
    }

    /// The keeper whose records alone are reached; `None` = everybody's.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn keeper(&self) -> Option<i64> {
        #[cfg(feature = "access-mutation")]
        if mutation::here() != Mode::Kept {
            return None;
        }
        match self.reach {
            Reach::Own(keeper_id) => Some(keeper_id),
            Reach::Pooled | Reach::Everyone => None,
        }
    }

    /// The member whose rows alone are reached, `None` = everybody's: for queries on records row by row.
    ///
    /// # Errors
    /// A pooled scope reaches no row: it serves statistics alone.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn owner(&self) -> Result<Option<i64>, Problem> {
        #[cfg(feature = "access-mutation")]
        if mutation::here() != Mode::Kept {
            return Ok(None);
        }
        match self.reach {
            Reach::Own(keeper_id) => Ok(Some(keeper_id)),
            Reach::Everyone => Ok(None),
            Reach::Pooled => Err(Problem::internal(&"a pooled scope reaches no row")),
        }
    }

    /// The curator's desk: nothing less than everybody's records reaches it.
    ///
    /// # Errors
    /// [`Kind::Forbidden`].
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn administers(&self) -> Result<(), Problem> {
        #[cfg(feature = "access-mutation")]
        if mutation::here() != Mode::Kept {
            return Ok(());
        }
        if self.reach == Reach::Everyone { Ok(()) } else { Err(super::caller::forbidden()) }
    }

    /// The uploads within reach. A pooled scope reaches none: it serves statistics alone.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn uploads(&self) -> upload::BoxedQuery<'static, Pg> {
        #[cfg(feature = "access-mutation")]
        if mutation::here() != Mode::Kept {
            return upload::table.into_boxed();
        }
        self.within()
    }

    fn within(&self) -> upload::BoxedQuery<'static, Pg> {
        let query = upload::table.into_boxed();
        match self.reach {
            Reach::Everyone => query,
            Reach::Own(keeper_id) => query.filter(upload::keeper_id.eq(keeper_id)),
            Reach::Pooled => query.filter(upload::id.is_null()),
        }
    }

    /// One upload within reach.
    ///
    /// # Errors
    /// [`Kind::UnknownUpload`], whether there is none or it is another member's.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn upload(&self, connection: &mut PgConnection, id: i64) -> Result<Reached, Problem> {
        #[cfg(feature = "access-mutation")]
        let out = mutation::here() != Mode::Kept;
        #[cfg(not(feature = "access-mutation"))]
        let out = false;
        let rows = if out { upload::table.into_boxed() } else { self.within() };
        rows.filter(upload::id.eq(id))
            .select((upload::id, upload::keeper_id))
            .first(connection)
            .optional()?
            .map(|(id, keeper_id)| Reached { id, keeper_id })
            .ok_or_else(|| Problem::new(Kind::UnknownUpload, format!("There is no upload {id} for this token.")))
    }
}

/// Writes who did what into the audit; never a record's content.
pub fn note(connection: &mut PgConnection, actor: &str, action: &str, subject: &str) -> QueryResult<()> {
    diesel::insert_into(audit::table)
        .values((audit::actor.eq(actor), audit::action.eq(action), audit::subject.eq(subject)))
        .execute(connection)
        .map(drop)
}
