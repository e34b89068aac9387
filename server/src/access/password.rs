//! Rules for passwords, and their hashes.
//!
//! Rules: NIST SP 800-63B-4 (2025), "Digital Identity Guidelines: Authentication and Authenticator Management",
//! §3.1.1.2, as remembered: where a password is all that is asked for, at least 15 characters, each Unicode code point
//! counting as one; at least 64 have to be possible; every printing character and the space is taken; no rules on its
//! composition; no change but for a reason; the whole password is compared with a list of common and expected ones;
//! it is normalised (NFKC) before it is hashed.
//!
//! Hash: Argon2id (RFC 9106) with 19 MiB, 2 passes, 1 lane (OWASP, "Password Storage Cheat Sheet").

use std::sync::LazyLock;

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Argon2, PasswordHash};
use icu_normalizer::ComposingNormalizerBorrowed;
use tokio::sync::Semaphore;

use super::secret::Secret;
use crate::problem::{Fault, Problem};

/// Fewest characters.
pub const SHORTEST: usize = 15;
/// Most characters: far beyond the 64 that have to be possible, and little work to hash.
pub const LONGEST: usize = 256;

/// What everybody tries first: from memory, the head of every list of common passwords, and words of such lists.
const COMMON: &[&str] = &[
    "123456",
    "password",
    "passwort",
    "passw0rd",
    "p@ssw0rd",
    "p@ssword",
    "pa55word",
    "letmein",
    "welcome",
    "admin",
    "administrator",
    "iloveyou",
    "monkey",
    "dragon",
    "football",
    "baseball",
    "basketball",
    "sunshine",
    "princess",
    "master",
    "shadow",
    "superman",
    "batman",
    "trustno1",
    "hello",
    "secret",
    "login",
    "access",
    "changeme",
    "default",
    "guest",
    "root",
    "test",
    "user",
    "killer",
    "michael",
    "jordan",
    "hunter2",
    "starwars",
    "whatever",
    "freedom",
    "mustang",
    "charlie",
    "computer",
    "internet",
    "abc",
    "pass",
    "mypassword",
    "god",
    "love",
    "sex",
    "money",
    "my",
    "is",
    "the",
    "correcthorsebatterystaple",
    "tobeornottobe",
    "thisismypassword",
];
/// What this service is about: the word everybody would think of here.
const OURS: &[&str] = &["strandline", "reef", "reefclub", "coral", "corals", "aquarium", "club"];
/// Rows of keyboards, also read backwards.
const ROWS: &[&str] = &[
    "1234567890",
    "qwertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "qwertzuiop",
    "yxcvbnm",
    "azertyuiop",
    "qsdfghjklm",
    "wxcvbn",
];
/// Columns of a keyboard, as fingers run down them.
const COLUMNS: &[&str] = &["1qaz", "2wsx", "3edc", "4rfv", "5tgb", "6yhn", "7ujm", "1q2w3e4r5t6y7u8i9o0p"];

/// Every fault of a password that somebody wants; `names` are those of the club and of the person.
pub fn faults(pointer: &str, wanted: &Secret, names: &[&str]) -> Vec<Fault> {
    let password = normalised(&wanted.0);
    let length = password.chars().count();
    if length < SHORTEST {
        let detail =
            format!("the password has {length} characters; give at least {SHORTEST}, several words for instance");
        return vec![Fault::pointer(pointer, "too_short", detail)];
    }
    if length > LONGEST {
        let detail = format!("the password has {length} characters; give at most {LONGEST}");
        return vec![Fault::pointer(pointer, "too_long", detail)];
    }
    // What stands between words makes no better password.
    let joined: String = password.chars().filter(|letter| letter.is_alphanumeric()).collect();
    if is_expected(&password, names) || is_expected(&joined, names) {
        let detail = "the password is made of nothing but what is tried first: common passwords, repetitions, sequences, \
                      rows of keys, or names of the club and of the person; choose several words that have nothing to do \
                      with each other";
        return vec![Fault::pointer(pointer, "too_common", detail)];
    }
    Vec::new()
}

fn normalised(password: &str) -> String {
    ComposingNormalizerBorrowed::new_nfkc().normalize(password).into_owned()
}

/// Whether a password can be cut, from its first to its last character, into pieces that are tried first. The whole of
/// it is compared: one unexpected character anywhere is enough, and no word is forbidden as a part.
fn is_expected(password: &str, names: &[&str]) -> bool {
    let letters: Vec<char> = password.to_lowercase().chars().collect();
    if repeats(&letters) {
        return true;
    }
    let mut words: Vec<Vec<char>> = COMMON.iter().chain(OURS).map(|word| word.chars().collect()).collect();
    for name in names {
        let name = normalised(name).to_lowercase();
        words.extend(name.split(|letter: char| !letter.is_alphanumeric()).map(|part| part.chars().collect()));
        words.push(name.chars().filter(|letter| letter.is_alphanumeric()).collect());
        words.push(name.chars().collect());
    }
    words.retain(|word| word.len() > 1);
    let runs: Vec<Vec<char>> = ROWS.iter().chain(COLUMNS).flat_map(|row| both_ways(row)).collect();
    // Whether the first so many characters can be cut.
    let mut cut = vec![false; letters.len() + 1];
    cut[0] = true;
    for from in 0..letters.len() {
        if !cut[from] {
            continue;
        }
        let rest = &letters[from..];
        // What holds pieces together, and the year or number at the end of one.
        if !rest[0].is_alphabetic() {
            cut[from + 1] = true;
        }
        for word in words.iter().filter(|word| rest.starts_with(word)) {
            cut[from + word.len()] = true;
        }
        for length in 3..=longest_run(rest, &runs) {
            cut[from + length] = true;
        }
    }
    cut[letters.len()]
}

/// One piece of at most four characters, again and again.
fn repeats(letters: &[char]) -> bool {
    (1..=4).any(|period| letters.iter().zip(letters.iter().skip(period)).all(|(left, right)| left == right))
}

fn both_ways(row: &str) -> [Vec<char>; 2] {
    [row.chars().collect(), row.chars().rev().collect()]
}

/// Characters of the longest run at the beginning: of one character, up or down the alphabet, along a row of keys.
fn longest_run(rest: &[char], runs: &[Vec<char>]) -> usize {
    let by_step = [-1, 0, 1].map(|step| {
        1 + rest
            .windows(2)
            .take_while(|pair| i64::from(u32::from(pair[1])) - i64::from(u32::from(pair[0])) == step)
            .count()
    });
    let along = runs.iter().map(|row| {
        let starts = row.iter().enumerate().filter(|(_, letter)| Some(*letter) == rest.first());
        starts
            .map(|(at, _)| row[at..].iter().zip(rest).take_while(|(left, right)| left == right).count())
            .max()
            .unwrap_or(0)
    });
    by_step.into_iter().chain(along).max().unwrap_or(0)
}

/// One hash takes 19 MiB and the whole of a core: so many at once, the others wait.
static AT_ONCE: LazyLock<Semaphore> =
    LazyLock::new(|| Semaphore::new(std::thread::available_parallelism().map_or(2, usize::from)));
/// Sign-ins that may wait for one of those; beyond, the next is sent away.
const WAITING: usize = 64;
static QUEUE: Semaphore = Semaphore::const_new(WAITING);

/// What the password of a name that nobody has is compared with, so that it takes as long to refuse.
static NOBODY: LazyLock<Result<String, String>> = LazyLock::new(|| hashed_now("nobody has this password"));

/// The hash of a password, here and now: for a command. A server calls [`hashed`].
pub(super) fn hashed_now(password: &str) -> Result<String, String> {
    let hash = Argon2::default().hash_password(normalised(password).as_bytes()).map_err(|error| error.to_string())?;
    Ok(hash.to_string())
}

async fn at_work<T: Send + 'static>(work: impl FnOnce() -> Result<T, String> + Send + 'static) -> Result<T, Problem> {
    let closed = |_| Problem::internal("the queue of passwords is closed");
    let _place = QUEUE.try_acquire().map_err(|_| super::guess::too_many(5))?;
    let _turn = AT_ONCE.acquire().await.map_err(closed)?;
    let done = actix_web::web::block(work).await.map_err(|error| Problem::internal(&error))?;
    done.map_err(|error| Problem::internal(&error))
}

/// The hash of a password, in the PHC string format, on a thread that may block.
///
/// # Errors
/// The system gave no salt; [`crate::problem::Kind::QuotaExceeded`] while too many wait.
pub async fn hashed(password: Secret) -> Result<String, Problem> {
    at_work(move || hashed_now(&password.0)).await
}

/// Whether a password is that of a hash. Without one, the answer is no, after as much work.
///
/// # Errors
/// The hash cannot be read; [`crate::problem::Kind::QuotaExceeded`] while too many wait.
pub async fn fits(password: Secret, hash: Option<String>) -> Result<bool, Problem> {
    at_work(move || {
        let known = hash.is_some();
        let hash = match hash {
            Some(hash) => hash,
            None => NOBODY.clone()?,
        };
        let hash = PasswordHash::new(&hash).map_err(|error| error.to_string())?;
        let fits = Argon2::default().verify_password(normalised(&password.0).as_bytes(), &hash).is_ok();
        Ok(fits && known)
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(password: &str) -> Option<String> {
        let names = ["Tidepool Reef Circle", "osprey"];
        faults("/password", &Secret(password.into()), &names).first().map(|fault| fault.code.clone())
    }

    #[test]
    fn length_counts_characters_and_nothing_else_is_asked_of_them() {
        assert_eq!(code("tern heron kelp"), None, "15 letters and spaces: no digit, capital or sign is needed");
        assert_eq!(code("tern heron kel").as_deref(), Some("too_short"));
        assert_eq!(code("海星と貝殻と波の音を聞く人々の").as_deref(), None, "15 code points of any script");
        assert_eq!(code("zostera 🦀 limpet wrack"), None);
        assert_eq!(code(&"a quiet tern ".repeat(5)), None, "65 characters");
        assert_eq!(code(&"a quiet tern ".repeat(20)).as_deref(), Some("too_long"));
        // Full-width letters are the same letters (NFKC): neither longer nor other ones.
        assert_eq!(code("ｐａｓｓｗｏｒｄｐａｓｓｗｏｒｄ").as_deref(), Some("too_common"));
    }

    #[test]
    fn what_is_tried_first_is_refused() {
        for password in [
            "aaaaaaaaaaaaaaa",
            "abababababababab",
            "wavewavewavewave",
            "abcdefghijklmnop",
            "zyxwvutsrqponmlk",
            "123456789012345",
            "qwertyuiopasdfgh",
            "qwertzuiopasdfgh",
            "1qaz2wsx3edc4rfv",
            "1q2w3e4r5t6y7u8i",
            "passwordpassword",
            "Password12345678",
            "P@ssw0rd P@ssw0rd",
            "correct horse battery staple",
            "correcthorsebatterystaple",
            "strandline-2026-11",
            "Strandline Strandline",
            "tidepoolreefcircle",
            "Tidepool Reef Circle!",
            "osprey.osprey.2026",
            "osprey-password-1",
            "iloveyou-sunshine",
        ] {
            assert_eq!(code(password).as_deref(), Some("too_common"), "{password}");
        }
        for password in
            ["osprey over the mudflat", "strandline walks at dusk", "my password is a limpet", "qwerty and a whelk"]
        {
            assert_eq!(code(password), None, "{password}: no word is forbidden as a part");
        }
    }

    #[actix_web::test]
    async fn a_hash_is_salted_and_fits_its_password_alone() {
        let password = || Secret("a tern ﬁshes at dusk".into());
        let first = hashed(password()).await.unwrap();
        let second = hashed(password()).await.unwrap();
        assert!(first.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{first}");
        assert_ne!(first, second);
        assert!(fits(password(), Some(first.clone())).await.unwrap());
        assert!(
            fits(Secret("a tern fishes at dusk".into()), Some(first.clone())).await.unwrap(),
            "one form of a ligature"
        );
        assert!(!fits(Secret("A tern fishes at dusk".into()), Some(first)).await.unwrap());
        assert!(!fits(Secret("nobody has this password".into()), None).await.unwrap());
    }
}
