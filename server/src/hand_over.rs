//! The page that one records secretary hands to the next: what runs where, who may do what, what waits, and what to do in
//! the first week. It holds no secret and nothing of any member's corals.

use std::fmt::Write;

use chrono::{DateTime, Utc};
use diesel::dsl::count_star;
use diesel::prelude::*;
use migrations::schema::{account, club_setting, edition, keeper, release, release_due, token, upload};

use crate::problem::Problem;

/// Where the service runs, as far as the command knows.
#[derive(Debug, Clone)]
pub struct Place {
    /// Configuration with secrets hidden, line by line.
    pub configuration: String,
    /// Version of the program.
    pub version: &'static str,
    /// When the page is made.
    pub at: DateTime<Utc>,
}

/// The page as Markdown, for whoever runs a command on the database itself: it is behind no address.
///
/// # Errors
/// The database refused.
pub fn page(connection: &mut PgConnection, place: &Place) -> Result<String, Problem> {
    connection.build_transaction().repeatable_read().read_only().run(|connection| {
        let settings: Vec<(String, serde_json::Value)> = club_setting::table
            .order(club_setting::key)
            .select((club_setting::key, club_setting::value))
            .load(connection)?;
        let name = settings.iter().find(|(key, _)| key == "name").and_then(|(_, value)| value.as_str());
        let mut page = format!("# Handing over {}\n\n", name.unwrap_or("the club's records"));
        put(
            &mut page,
            &format!(
                "Made on {} by strandline {}. It holds no password and no token.",
                place.at.format("%-d %B %Y, %H:%M UTC"),
                place.version
            ),
        );
        running(&mut page, place);
        decided(&mut page, &settings);
        people(connection, &mut page)?;
        waiting(connection, &mut page)?;
        releases(connection, &mut page)?;
        page += STEPS;
        Ok(page)
    })
}

fn put(page: &mut String, line: &str) {
    page.push_str(line);
    page.push_str("\n\n");
}

/// A row of a table; what was typed by people cannot break it.
fn row(page: &mut String, cells: &[&str]) {
    page.push('|');
    for cell in cells {
        let _infallible = write!(page, " {} |", cell.replace('|', "\\|").replace(['\n', '\r'], " "));
    }
    page.push('\n');
}

fn table(page: &mut String, heads: &[&str]) {
    row(page, heads);
    row(page, &vec!["---"; heads.len()]);
}

fn running(page: &mut String, place: &Place) {
    put(page, "## Where it runs");
    put(page, &format!("```\n{}\n```", place.configuration.trim_end()));
    put(
        page,
        "Write the name of the machine, who pays for it and who can sign in to it here: ______________________________",
    );
}

fn decided(page: &mut String, settings: &[(String, serde_json::Value)]) {
    put(page, "## What the club has decided");
    table(page, &["setting", "value"]);
    for (key, value) in settings {
        let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        row(page, &[key, &text]);
    }
    page.push('\n');
}

/// When, who, and until when.
type Key = (String, Option<String>, String, Option<String>, Option<DateTime<Utc>>, Option<DateTime<Utc>>);

fn people(connection: &mut PgConnection, page: &mut String) -> QueryResult<()> {
    put(page, "## Who may do what");
    let accounts: Vec<(String, String, Option<DateTime<Utc>>)> = account::table
        .filter(account::disabled_at.is_null())
        .order((account::role, account::handle))
        .select((account::handle, account::role, account::signed_in_at))
        .load(connection)?;
    let members: i64 = keeper::table.select(count_star()).first(connection)?;
    let curators = accounts.iter().filter(|(_, role, _)| role == "curator").count();
    put(
        page,
        &format!(
            "{members} members keep records; {} people can sign in, {curators} of them as curators.",
            accounts.len()
        ),
    );
    table(page, &["curator", "last signed in"]);
    for (handle, _, signed_in) in accounts.iter().filter(|(_, role, _)| role == "curator") {
        row(page, &[handle, &day(*signed_in)]);
    }
    page.push('\n');
    let tokens: Vec<Key> = token::table
        .left_join(keeper::table)
        .filter(token::revoked_at.is_null())
        .filter(token::expires_at.is_null().or(token::expires_at.gt(diesel::dsl::now)))
        .filter(token::role.eq("curator").or(token::expires_at.is_null()))
        .order(token::id)
        .select((
            token::prefix,
            token::label,
            token::role,
            keeper::handle.nullable(),
            token::expires_at,
            token::last_used_at,
        ))
        .load(connection)?;
    put(page, "Tokens that reach everybody's records or never expire (withdraw those that nobody needs):");
    table(page, &["token", "for", "role", "member", "expires", "last used"]);
    for (prefix, label, role, member, expires, used) in &tokens {
        let until = expires.map_or_else(|| "never".to_owned(), |at| day(Some(at)));
        let (label, member) = (label.as_deref().unwrap_or("–"), member.as_deref().unwrap_or("–"));
        row(page, &[&format!("{prefix}…"), label, role, member, &until, &day(*used)]);
    }
    page.push('\n');
    Ok(())
}

fn day(at: Option<DateTime<Utc>>) -> String {
    at.map_or_else(|| "never".to_owned(), |at| at.format("%Y-%m-%d").to_string())
}

fn waiting(connection: &mut PgConnection, page: &mut String) -> QueryResult<()> {
    put(page, "## What waits");
    let open: Vec<(i64, String, String, i32)> = upload::table
        .inner_join(keeper::table)
        .filter(upload::question_count.gt(0))
        .filter(upload::state.eq_any(["questions", "ready", "committed"]))
        .order((upload::question_count.desc(), upload::id))
        .select((upload::id, keeper::handle, upload::name, upload::question_count))
        .load(connection)?;
    if open.is_empty() {
        put(page, "No question is open.");
    } else {
        put(
            page,
            "Files with open questions. `POST /api/v1/uploads/{id}/links` makes a link to one that can be sent to the member:",
        );
        table(page, &["upload", "member", "file", "questions"]);
        for (id, member, name, count) in &open {
            row(page, &[&id.to_string(), member, name, &count.to_string()]);
        }
        page.push('\n');
    }
    let failed: i64 = upload::table.filter(upload::state.eq("failed")).select(count_star()).first(connection)?;
    if failed > 0 {
        put(page, &format!("{failed} uploads could not be read: `GET /api/v1/uploads?state=failed` says why."));
    }
    Ok(())
}

fn releases(connection: &mut PgConnection, page: &mut String) -> QueryResult<()> {
    put(page, "## What members and the public read");
    let last: Option<(i64, i64, DateTime<Utc>, String)> = release::table
        .order(release::number.desc())
        .select((release::number, release::edition, release::made_at, release::reason))
        .first(connection)
        .optional()?;
    let now: i64 = edition::table.select(edition::number).first(connection)?;
    match last {
        Some((number, of, made_at, reason)) => {
            let since = if of == now { "nothing has changed since" } else { "the records have changed since" };
            put(page, &format!("Release {number} of {} ({reason}); {since}.", made_at.format("%-d %B %Y")));
        }
        None => put(page, "No release has been made yet: the first reader makes it."),
    }
    let failed: i64 =
        release_due::table.filter(release_due::state.eq("failed")).select(count_star()).first(connection)?;
    if failed > 0 {
        put(
            page,
            "**A release could not be made and was given up.** The log says why; `POST /api/v1/releases` tries again.",
        );
    }
    Ok(())
}

/// What whoever comes next does first.
const STEPS: &str = "\
## The first week

1. Sign in with an account of your own: whoever leaves invites you (`POST /api/v1/invitations` with the role `curator`), you accept,
   then you disable theirs (`PATCH /api/v1/accounts/{id}`) and withdraw the tokens above that were theirs.
2. Make a backup and try it: `strandline backup FILE`, then `strandline restore FILE` into an empty directory
   (`STRANDLINE_DATA`), which compares answers byte for byte. Keep one file away from the machine. A backup holds what members
   withdrew after it was made: keep old ones no longer than the club has promised.
3. Look whether the database holds what it says: `strandline check`.
4. Read one member's file in with them, questions and all: README, \"A file, its questions, a commit\".
5. Know where the log is, and that `/metrics` on the machine says what waits.

## Every month

- `strandline backup FILE`, kept away from the machine; `strandline check`.
- `GET /api/v1/who-to-ask`: what is missing, and the words to ask for it.
- Upload what came; answer what was asked; look at `GET /api/v1/audit` for what you do not know.
- Updates of the operating system and of PostgreSQL, by its own instructions.

## When something goes wrong

- A wrong file: `DELETE /api/v1/uploads/{id}` takes it back, with all that came of it.
- A member leaves: `DELETE /api/v1/keepers/{handle}?confirm={handle}`, or they do it themselves. Records, files and consent go; a
  release is made at once.
- The machine is lost: a new one, `strandline restore FILE`, `strandline serve`.
- A password or a token got about: end the sessions of the account, withdraw the token, look at the audit.
";
