//! `strandline serve`: the API on the configured database.

use std::net::{SocketAddr, TcpListener};

use clap::Args;

use crate::access::setup;
use crate::app::{self, Origins, Settings};
use crate::config::Config;
use crate::limit::Policy;

use super::database;
use super::failure::Failure;
use super::output::put_text;

/// Arguments of `strandline serve`.
#[derive(Args)]
pub struct ServeArgs {
    /// Address and port to listen on [env: STRANDLINE_LISTEN]
    #[arg(long, value_name = "ADDRESS:PORT")]
    pub listen: Option<String>,
    /// Print the configuration, secrets hidden, and stop
    #[arg(long)]
    show_config: bool,
    /// Count the requests of this machine too, for a server behind a proxy that runs here
    #[arg(long)]
    limit_local: bool,
    /// Sites whose pages may read answers: `any`, `none`, or an origin such as https://club.example; may be repeated
    #[arg(long, value_name = "ORIGIN", default_value = "any")]
    allow_origin: Vec<String>,
}

/// Serves until Ctrl-C.
pub fn run(config: &Config, args: &ServeArgs) -> Result<u8, Failure> {
    let origins = origins(&args.allow_origin)?;
    if args.show_config {
        let source = if args.allow_origin == ["any"] { "default" } else { "flag" };
        put_text(&format!("{}{:<18} {} ({source})\n", config.show(), "--allow-origin", args.allow_origin.join(", ")))?;
        return Ok(0);
    }
    log_to_stderr();
    // The port comes first: a taken one is said before a database is started for nothing.
    let listener = listen(config.listen)?;
    let database = database::open(config)?;
    say_setup_code(&mut *database.connection()?)?;
    let settings = Settings::new(database.pool().clone());
    let policy = settings.policy.map(|policy| Policy { loopback: args.limit_local, ..policy });
    serve(listener, Settings { policy, origins, ..settings })?;
    database.close()?;
    Ok(0)
}

/// Sites whose pages may read.
fn origins(written: &[String]) -> Result<Origins, Failure> {
    match written {
        [one] if one == "any" => return Ok(Origins::Any),
        [one] if one == "none" => return Ok(Origins::Only(Vec::new())),
        _ => {}
    }
    let origin = |text: &String| {
        let url = reqwest::Url::parse(text).ok().filter(|url| matches!(url.scheme(), "http" | "https"));
        // As browsers write it: no path, no slash at its end, the usual port left out.
        let origin = url.map(|url| url.origin().ascii_serialization()).filter(|origin| origin == text);
        origin.ok_or_else(|| {
            Failure::usage(format!(
                "`{text}` is no origin, --allow-origin: write it like https://club.example, or any, or none"
            ))
        })
    };
    Ok(Origins::Only(written.iter().map(origin).collect::<Result<_, _>>()?))
}

/// Says the setup code where nobody has an account yet: on the console and nowhere else.
fn say_setup_code(connection: &mut diesel::PgConnection) -> Result<(), Failure> {
    let code = setup::renew(connection).map_err(|problem| Failure::place(problem.detail.clone()))?;
    if let Some(code) = code {
        eprintln!(
            "strandline: nobody has an account yet: setup code {code}, for one day, once, with POST /api/v1/setup (a new start \
             makes a new code)"
        );
    }
    Ok(())
}

/// Takes the port.
pub fn listen(address: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(address).map_err(|error| {
        Failure::place(format!(
            "cannot listen ({error}), {address}: stop what uses it, or choose another port with --listen"
        ))
    })
}

/// Serves on a listener until Ctrl-C, then lets requests end.
pub fn serve(listener: TcpListener, settings: Settings) -> Result<(), Failure> {
    let address = listener.local_addr().map_err(|error| {
        Failure::place(format!("cannot listen ({error}), this address: choose another with --listen"))
    })?;
    let failed =
        |error: std::io::Error| Failure::place(format!("the server stopped ({error}), {address}: start it again"));
    actix_web::rt::System::new().block_on(async move {
        let server = app::run(settings, listener).map_err(failed)?;
        // Said once the server runs: only then does it answer Ctrl-C by stopping everything in order.
        let running = actix_web::rt::spawn(server);
        actix_web::rt::time::sleep(std::time::Duration::from_millis(20)).await;
        eprintln!("strandline: listening on http://{address}");
        running.await.unwrap_or_else(|error| Err(std::io::Error::other(error))).map_err(failed)
    })
}

/// Warnings and worse go to standard error.
pub fn log_to_stderr() {
    let filter = tracing_subscriber::EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("warn"));
    // A second call in one process (tests) finds the first one's subscriber in place.
    let _ = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).try_init();
}
