//! What the command works with, resolved once: flags win over environment variables, these over defaults.
//!
//! A variable is empty or absent alike. A `STRANDLINE_…` variable that does not exist is an error, so that a misspelt
//! one is not silently without effect. Secrets never appear in what is shown, nor in an error.
//!
//! ```
//! use server::config::{from_environment, Overrides};
//! let variables = [("HOME", "/home/ann"), ("STRANDLINE_LISTEN", "127.0.0.1:9000")];
//! let variables = variables.map(|(name, value)| (name.to_owned(), value.to_owned()));
//! let config = from_environment(variables.into_iter(), &Overrides::default()).unwrap();
//! assert_eq!(config.listen.port(), 9000);
//! ```

mod secret;

use std::{
    collections::BTreeMap,
    env, fmt,
    net::{Ipv4Addr, SocketAddr},
    path::PathBuf,
};

const DATABASE_URL: &str = "DATABASE_URL";
const DATA: &str = "STRANDLINE_DATA";
const LISTEN: &str = "STRANDLINE_LISTEN";
const SERVER: &str = "STRANDLINE_SERVER";
const TOKEN: &str = "STRANDLINE_TOKEN";
const PG_BIN: &str = "PG_BIN";

/// The variables of our own; all others with this beginning are mistakes.
const OWN: [&str; 4] = [DATA, LISTEN, SERVER, TOKEN];
const PREFIX: &str = "STRANDLINE_";

/// Read besides, for the default data directory.
const XDG_DATA_HOME: &str = "XDG_DATA_HOME";
const HOME: &str = "HOME";

const DEFAULT_LISTEN: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 8080);

/// Values from flags of the command, as written; `None` where a flag was not given.
#[derive(Clone, Default)]
pub struct Overrides {
    /// libpq address of the database.
    pub database_url: Option<String>,
    /// Directory for the private Postgres and its files.
    pub data: Option<PathBuf>,
    /// `ADDRESS:PORT` to listen on.
    pub listen: Option<String>,
    /// Address of a running strandline for `import`.
    pub server: Option<String>,
    /// Access token for that server.
    pub token: Option<String>,
    /// Folder of the PostgreSQL programs.
    pub pg_bin: Option<PathBuf>,
}

/// Where a value came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// A flag of the command.
    Flag,
    /// An environment variable.
    Environment,
    /// Neither was given.
    Default,
}

/// The resolved configuration.
#[derive(Clone)]
pub struct Config {
    /// libpq address of the database; `None` means the private Postgres.
    pub database_url: Option<String>,
    /// Directory for the private Postgres and its files.
    pub data: PathBuf,
    /// Where the server listens.
    pub listen: SocketAddr,
    /// Address (`http` or `https`, no slash at its end) of a running strandline for `import`.
    pub server: Option<String>,
    /// Access token for that server.
    pub token: Option<String>,
    /// Folder of the PostgreSQL programs; `None` means search.
    pub pg_bin: Option<PathBuf>,
    /// Where each value came from, by the variable's name; a name that is missing has its default.
    pub sources: BTreeMap<&'static str, Source>,
}

/// A flag or variable that cannot be used. The command ends with [`ConfigError::EXIT_CODE`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ConfigError {
    /// A `STRANDLINE_…` variable that does not exist.
    #[error("unknown variable, {name}: did you mean {nearest}?")]
    Unknown {
        /// The variable.
        name: String,
        /// The one that looks most like it.
        nearest: &'static str,
    },
    /// A value of the wrong form.
    #[error("{problem}, {place}: {remedy}")]
    Invalid {
        /// What is wrong.
        problem: String,
        /// The flag or variable.
        place: String,
        /// What would be right.
        remedy: &'static str,
    },
    /// No default data directory can be found.
    #[error("no home directory to keep data in, HOME: set HOME or STRANDLINE_DATA, or give --data")]
    NoHome,
}

impl ConfigError {
    /// The exit code of the command for each of these: it was called wrongly.
    pub const EXIT_CODE: u8 = 2;
}

/// Resolves the configuration of this process from its own environment.
///
/// # Errors
/// [`ConfigError`], also for a variable of ours that is not UTF-8.
pub fn from_process(overrides: &Overrides) -> Result<Config, ConfigError> {
    let mut variables = Vec::new();
    for (name, value) in env::vars_os() {
        let name = name.to_string_lossy().into_owned();
        if !is_read(&name) && !name.starts_with(PREFIX) {
            continue;
        }
        match value.into_string() {
            Ok(value) => variables.push((name, value)),
            Err(_) => {
                return Err(ConfigError::Invalid {
                    problem: "the value is not valid UTF-8".into(),
                    place: name,
                    remedy: "write it in UTF-8",
                });
            }
        }
    }
    from_environment(variables.into_iter(), overrides)
}

/// Refuses variables that begin like ours and are none, also for commands that read no configuration.
///
/// # Errors
/// [`ConfigError::Unknown`] with the nearest name.
pub fn check_names() -> Result<(), ConfigError> {
    let names = env::vars_os().map(|(name, _)| name.to_string_lossy().into_owned());
    match names.into_iter().find(|name| is_unknown(name)) {
        Some(name) => Err(ConfigError::Unknown { nearest: nearest(&name), name }),
        None => Ok(()),
    }
}

fn is_unknown(name: &str) -> bool {
    name.starts_with(PREFIX) && !OWN.contains(&name)
}

/// Resolves the configuration from the given variables (name, value) and flags.
///
/// # Errors
/// [`ConfigError`] for an unknown `STRANDLINE_…` variable or a value that cannot be used.
pub fn from_environment(
    variables: impl Iterator<Item = (String, String)>,
    overrides: &Overrides,
) -> Result<Config, ConfigError> {
    resolve(variables, overrides, nix::unistd::geteuid().is_root())
}

fn is_read(name: &str) -> bool {
    OWN.contains(&name) || [DATABASE_URL, PG_BIN, XDG_DATA_HOME, HOME].contains(&name)
}

fn resolve(
    variables: impl Iterator<Item = (String, String)>,
    overrides: &Overrides,
    root: bool,
) -> Result<Config, ConfigError> {
    let mut given = BTreeMap::new();
    for (name, value) in variables {
        if is_unknown(&name) {
            return Err(ConfigError::Unknown { nearest: nearest(&name), name });
        }
        if is_read(&name) && !value.trim().is_empty() {
            given.insert(name, value);
        }
    }
    let mut resolver = Resolver { given, sources: BTreeMap::new() };
    let path = |path: &PathBuf| path.to_string_lossy().into_owned();

    let database_url = resolver.value(DATABASE_URL, "--database-url", overrides.database_url.clone(), |text| {
        let address = text.trim();
        let looks_right =
            address.starts_with("postgres://") || address.starts_with("postgresql://") || is_pair_list(address);
        looks_right
            .then(|| address.to_owned())
            .ok_or(("not an address of a PostgreSQL database".into(), "write postgresql://USER@HOST/DATABASE"))
    })?;
    let data = resolver.value(DATA, "--data", overrides.data.as_ref().map(path), |text| Ok(PathBuf::from(text)))?;
    let data = match data {
        // Kept exactly, also where it is not UTF-8.
        Some(data) => overrides.data.clone().unwrap_or(data),
        None => resolver.default_data(root)?,
    };
    let listen = resolver.value(LISTEN, "--listen", overrides.listen.clone(), listen_address)?;
    let server = resolver.value(SERVER, "--server", overrides.server.clone(), server_address)?;
    let token = resolver.value(TOKEN, "--token", overrides.token.clone(), |text| {
        let token = text.trim();
        if token.chars().all(|letter| letter.is_ascii_graphic()) {
            Ok(token.to_owned())
        } else {
            Err(("not a token: it holds blanks or other unusual characters".into(), "copy it again, whole and alone"))
        }
    })?;
    let pg_bin =
        resolver.value(PG_BIN, "--pg-bin", overrides.pg_bin.as_ref().map(path), |text| Ok(PathBuf::from(text)))?;
    Ok(Config {
        database_url,
        data,
        listen: listen.unwrap_or(DEFAULT_LISTEN),
        server,
        token,
        pg_bin: pg_bin.map(|pg_bin| overrides.pg_bin.clone().unwrap_or(pg_bin)),
        sources: resolver.sources,
    })
}

struct Resolver {
    given: BTreeMap<String, String>,
    sources: BTreeMap<&'static str, Source>,
}

impl Resolver {
    /// The flag's value, else the variable's, read by `read`, whose error is (problem, remedy).
    fn value<T>(
        &mut self,
        name: &'static str,
        flag: &str,
        written: Option<String>,
        read: impl Fn(&str) -> Result<T, (String, &'static str)>,
    ) -> Result<Option<T>, ConfigError> {
        let (text, source, place) = match (written, self.given.get(name)) {
            (Some(text), _) => (text, Source::Flag, flag),
            (None, Some(text)) => (text.clone(), Source::Environment, name),
            (None, None) => return Ok(None),
        };
        let value = read(&text).map_err(|(problem, remedy)| ConfigError::Invalid {
            problem,
            place: place.to_owned(),
            remedy,
        })?;
        self.sources.insert(name, source);
        Ok(Some(value))
    }

    /// `/var/lib/strandline` for root, else below the user's data directory of the XDG Base Directory Specification,
    /// which has a relative `XDG_DATA_HOME` ignored.
    fn default_data(&self, root: bool) -> Result<PathBuf, ConfigError> {
        if root {
            return Ok(PathBuf::from("/var/lib/strandline"));
        }
        let absolute = |name| self.given.get(name).map(PathBuf::from).filter(|path| path.is_absolute());
        absolute(XDG_DATA_HOME)
            .or_else(|| absolute(HOME).map(|home| home.join(".local/share")))
            .map(|base| base.join("strandline"))
            .ok_or(ConfigError::NoHome)
    }
}

impl Config {
    /// One line per setting with where it came from; passwords and tokens are hidden.
    pub fn show(&self) -> String {
        let database = match &self.database_url {
            Some(address) => secret::without_secrets(address),
            None => "the private PostgreSQL".into(),
        };
        let token = if self.token.is_some() { "(hidden)" } else { "none" };
        let rows = [
            (DATABASE_URL, database),
            (DATA, self.data.display().to_string()),
            (LISTEN, self.listen.to_string()),
            (SERVER, self.server.clone().unwrap_or_else(|| "none".into())),
            (TOKEN, token.into()),
            (PG_BIN, self.pg_bin.as_ref().map_or_else(|| "searched for".into(), |dir| dir.display().to_string())),
        ];
        rows.iter()
            .map(|(name, value)| {
                let source = match self.sources.get(name).copied().unwrap_or(Source::Default) {
                    Source::Flag => "flag",
                    Source::Environment => "environment",
                    Source::Default => "default",
                };
                format!("{name:<18} {value} ({source})\n")
            })
            .collect()
    }
}

/// As shown, so that no log can hold a secret.
impl fmt::Debug for Config {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.show())
    }
}

/// Names only, so that no log can hold a secret.
impl fmt::Debug for Overrides {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter
            .debug_struct("Overrides")
            .field("database_url", &self.database_url.is_some())
            .field("data", &self.data)
            .field("listen", &self.listen)
            .field("server", &self.server.is_some())
            .field("token", &self.token.is_some())
            .field("pg_bin", &self.pg_bin)
            .finish()
    }
}

fn nearest(name: &str) -> &'static str {
    OWN.into_iter().min_by_key(|own| strsim::damerau_levenshtein(own, &name.to_uppercase())).unwrap_or(DATA)
}

fn is_pair_list(address: &str) -> bool {
    address.split_once('=').is_some_and(|(key, _)| {
        !key.trim().is_empty() && key.trim().chars().all(|c| c.is_ascii_lowercase() || c == '_')
    })
}

/// `ADDRESS:PORT`; `localhost` stands for 127.0.0.1.
fn listen_address(text: &str) -> Result<SocketAddr, (String, &'static str)> {
    let text = text.trim();
    let numeric = match text.strip_prefix("localhost:") {
        Some(port) => format!("{}:{port}", Ipv4Addr::LOCALHOST),
        None => text.to_owned(),
    };
    numeric
        .parse()
        .map_err(|_| (format!("`{text}` is no address and port"), "write it like 127.0.0.1:8080, or [::1]:8080"))
}

/// An `http` or `https` address without a slash at its end.
fn server_address(text: &str) -> Result<String, (String, &'static str)> {
    const REMEDY: &str = "write it like http://127.0.0.1:8080";
    let url = reqwest::Url::parse(text.trim()).map_err(|error| (format!("not a web address ({error})"), REMEDY))?;
    if !matches!(url.scheme(), "http" | "https") || !url.has_host() {
        return Err(("not an http or https address".into(), REMEDY));
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err((
            "the address holds a user name or password".into(),
            "leave them out and put an access token into STRANDLINE_TOKEN",
        ));
    }
    if url.query().is_some() || url.fragment().is_some() {
        return Err(("the address holds more than a server and a path".into(), REMEDY));
    }
    Ok(url.as_str().trim_end_matches('/').to_owned())
}

#[cfg(test)]
mod tests;
