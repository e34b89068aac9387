//! The first curator: a database without any account is set up with a code that stood on the console. There is no
//! default password.

use chrono::{DateTime, Duration, Utc};
use diesel::prelude::*;
use migrations::schema::{account as accounts, club_setting, guess as guesses, setup_code};

use super::check::check;
use super::client::Client;
use super::guess::{self, Counter};
use super::holder::account_name;
use super::secret::{self, Secret};
use super::session::{self, Made};
use super::{Role, account, clock, password, scope};
use crate::pool::{self, Pool};
use crate::problem::{Fault, Kind, Problem};

/// How long a code is valid; the next start makes a new one.
const LASTS: Duration = Duration::hours(24);
/// Letters and digits that are not taken for one another (Crockford's base 32).
const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// Makes the setup code anew, if nobody has an account; otherwise takes it away. Gives the code, in groups of four:
/// 100 random bits.
///
/// # Errors
/// The database refused, or the system gave no random numbers.
pub fn renew(connection: &mut PgConnection) -> Result<Option<String>, Problem> {
    connection.transaction(|connection| {
        if any(connection)? {
            diesel::delete(setup_code::table).execute(connection)?;
            return Ok(None);
        }
        let mut random = [0u8; 20];
        getrandom::fill(&mut random).map_err(|error| Problem::internal(&error))?;
        let letters: Vec<char> = random.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)])).collect();
        let code: Vec<String> = letters.chunks(4).map(|group| group.iter().collect()).collect();
        let code = code.join("-");
        let now = clock::now(connection)?;
        let row = (
            setup_code::hash.eq(secret::digest(&plain(&code))),
            setup_code::created_at.eq(now),
            setup_code::expires_at.eq(now + LASTS),
        );
        diesel::insert_into(setup_code::table)
            .values(row.clone())
            .on_conflict(setup_code::only_row)
            .do_update()
            .set(row)
            .execute(connection)?;
        // Guesses of the old code say nothing about the new one.
        diesel::delete(guesses::table.filter(guesses::kind.eq("setup"))).execute(connection)?;
        Ok(Some(code))
    })
}

/// A code as it is compared: without hyphens and spaces, in capitals.
fn plain(code: &str) -> String {
    code.chars().filter(char::is_ascii_alphanumeric).map(|letter| letter.to_ascii_uppercase()).collect()
}

fn any(connection: &mut PgConnection) -> QueryResult<bool> {
    diesel::select(diesel::dsl::exists(accounts::table.select(accounts::id))).get_result(connection)
}

/// What the first curator says.
#[derive(Debug, Clone)]
pub struct First {
    /// The code from the console.
    pub code: Secret,
    /// Name of the club.
    pub club: String,
    /// Name to sign in with.
    pub name: String,
    /// Password to sign in with.
    pub password: Secret,
}

fn known(connection: &mut PgConnection, code: &str) -> Result<(), Problem> {
    let rows = setup_code::table.select((setup_code::hash, setup_code::expires_at)).for_update();
    let row: Option<(Vec<u8>, DateTime<Utc>)> = rows.first(connection).optional()?;
    if !check!("setup: there is an account", !any(connection)?) {
        return Err(Problem::new(
            Kind::AlreadySetUp,
            "The club has its first curator: ask a curator for an invitation.",
        ));
    }
    let now = clock::now(connection)?;
    let given = secret::digest(&plain(code));
    let right = row.as_ref().is_some_and(|(hash, _)| *hash == given);
    let lasts = row.as_ref().is_some_and(|(_, until)| *until > now);
    let passes = check!("setup: wrong code", right);
    if passes & check!("setup: expired code", lasts) {
        return Ok(());
    }
    let detail = "this is not the code that stands on the console of the server, or it has expired; start the server again \
                  for a new one";
    Err(Problem::of_fault(Kind::InvalidValue, Fault::pointer("/code", "unknown", detail)))
}

/// Makes the first curator's account, names the club, and signs in.
///
/// # Errors
/// [`Kind::AlreadySetUp`]; [`Kind::InvalidValue`] for a wrong code and with every fault of the rest;
/// [`Kind::QuotaExceeded`] after too many wrong codes.
pub async fn first_curator(pool: &Pool, client: Client, first: First) -> Result<(i64, Made), Problem> {
    let (asked, address) = (first.clone(), client.clone());
    pool::with(pool, move |connection| {
        let counters = [Counter::setup(), Counter::address(&address)];
        if !any(connection)? {
            guess::begin(connection, &counters)?;
        }
        connection.transaction(|connection| known(connection, &asked.code.0))?;
        guess::succeeded(connection, &counters)?;
        let mut faults = password::faults("/password", &asked.password, &[&asked.club, &asked.name]);
        faults.extend(account::name_fault(connection, &asked.name)?);
        if asked.club.trim() != asked.club || !(1..=120).contains(&asked.club.chars().count()) {
            let detail = "a club's name has 1 to 120 characters without spaces at either end";
            faults.push(Fault::pointer("/club", "invalid", detail));
        }
        if faults.is_empty() { Ok(()) } else { Err(Problem::of_faults(Kind::InvalidValue, faults)) }
    })
    .await?;
    let hash = password::hashed(first.password.clone()).await?;
    pool::with(pool, move |connection| {
        connection.transaction(|connection| {
            // The code is locked until the end: of two at once the second finds the account of the first.
            known(connection, &first.code.0)?;
            let new = account::New { name: &first.name, password_hash: &hash, role: Role::Curator, keeper_id: None };
            let id = account::make(connection, &new)?;
            diesel::delete(setup_code::table).execute(connection)?;
            let by = account_name(id);
            let now = clock::now(connection)?;
            let name = (
                club_setting::value.eq(serde_json::json!(first.club)),
                club_setting::set_by.eq(&by),
                club_setting::set_at.eq(now),
            );
            diesel::insert_into(club_setting::table)
                .values((club_setting::key.eq("name"), name.clone()))
                .on_conflict(club_setting::key)
                .do_update()
                .set(name)
                .execute(connection)?;
            scope::note(connection, &by, "set up", &by)?;
            Ok((id, session::begin(connection, id, client.cookie())?))
        })
    })
    .await
}
