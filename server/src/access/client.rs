//! Where a request comes from: its address, its cookie, and whether a page of the club sent it.
//!
//! A proxy is believed if it runs on this machine, and nobody else: then the last entry of `X-Forwarded-For` is the
//! address, and `X-Forwarded-Proto` and `X-Forwarded-Host` are the scheme and host.

use actix_web::cookie::{Cookie, SameSite, time};
use actix_web::http::{Method, header};
use actix_web::{FromRequest, HttpRequest};
use std::future::{Ready, ready};
use std::net::IpAddr;

use super::check::check;
use crate::problem::{Kind, Problem};

/// Name of the session's cookie on this machine. Behind TLS it is called [`COOKIE_OF_HOST`].
pub const COOKIE: &str = "strandline";
/// The name that browsers take only with `Secure`, `Path=/` and no `Domain`
/// (RFC 6265bis, "Cookies: HTTP State Management Mechanism", §4.1.3).
pub const COOKIE_OF_HOST: &str = "__Host-strandline";
/// Header of the token that unsafe requests of a session carry.
pub const CSRF: &str = "X-CSRF-Token";

/// Where a request comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Client {
    /// Its address, if the connection has one.
    pub address: Option<IpAddr>,
    secure: bool,
    host: String,
    origin: Option<String>,
    site: Option<String>,
    cookie: Option<String>,
    csrf: Option<String>,
    changes: bool,
}

impl Client {
    /// Reads it from a request.
    pub fn of(request: &HttpRequest) -> Self {
        let text = |name: &str| {
            let mut values = request.headers().get_all(name).map(|value| value.to_str().unwrap_or("not text"));
            values.next_back().map(|value| value.trim().to_owned())
        };
        let peer = request.peer_addr().map(|address| address.ip());
        let proxied = |name: &str| {
            let here = peer.is_some_and(|peer| peer.is_loopback());
            let last = text(name)?.rsplit(',').next().map(|value| value.trim().to_owned());
            last.filter(|_| here)
        };
        let secure = proxied("x-forwarded-proto").is_some_and(|scheme| scheme.eq_ignore_ascii_case("https"));
        let name = if secure { COOKIE_OF_HOST } else { COOKIE };
        Client {
            address: proxied("x-forwarded-for").map_or(peer, |address| address.parse().ok()),
            secure,
            host: proxied("x-forwarded-host").or_else(|| text("host")).unwrap_or_default(),
            origin: text(header::ORIGIN.as_str()),
            site: text("sec-fetch-site"),
            cookie: request.cookie(name).map(|cookie| cookie.value().to_owned()),
            csrf: text(CSRF),
            changes: !matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS),
        }
    }

    /// The secret of the session's cookie, if one came.
    pub fn cookie(&self) -> Option<&str> {
        self.cookie.as_deref()
    }

    /// Refuses what another site's page sends: what the browser says of it (`Sec-Fetch-Site`, `Origin`) has to fit, if
    /// it says anything. OWASP, "Cross-Site Request Forgery Prevention Cheat Sheet".
    ///
    /// # Errors
    /// [`Kind::CrossSite`].
    pub fn from_our_page(&self) -> Result<(), Problem> {
        let site = self.site.as_deref().is_none_or(|site| matches!(site, "same-origin" | "none"));
        if !check!("csrf: Sec-Fetch-Site is another site's", site) {
            return Err(cross_site("The browser says that another site's page sent this."));
        }
        let own = format!("{}://{}", if self.secure { "https" } else { "http" }, self.host);
        let origin = self.origin.as_deref().is_none_or(|origin| origin.eq_ignore_ascii_case(&own));
        if !check!("csrf: Origin is another site's", origin) {
            return Err(cross_site("The page that sent this is of another origin."));
        }
        Ok(())
    }

    /// Refuses an unsafe request of a session that does not carry the session's own token, besides
    /// [`Client::from_our_page`]: no other site's page can read that token.
    ///
    /// # Errors
    /// [`Kind::CrossSite`].
    pub fn defends(&self, csrf: &str) -> Result<(), Problem> {
        if !self.changes {
            return Ok(());
        }
        self.from_our_page()?;
        let carried = self.csrf.as_deref().is_some_and(|given| super::secret::same(given, csrf));
        if !check!("csrf: token missing or of another session", carried) {
            return Err(cross_site(
                "A request of a session that changes something carries the session's 'csrf' in the header X-CSRF-Token; \
                 'GET /api/v1/session' gives it.",
            ));
        }
        Ok(())
    }

    /// Refuses to take a password over an open line.
    ///
    /// # Errors
    /// [`Kind::HttpsNeeded`] for plain HTTP from another machine.
    pub fn private_line(&self) -> Result<(), Problem> {
        let here = self.address.is_some_and(|address| address.is_loopback());
        if check!("password over an open line", self.secure || here) {
            return Ok(());
        }
        Err(Problem::new(
            Kind::HttpsNeeded,
            "Passwords and sessions are taken over HTTPS only, except on the machine itself. Put a proxy with TLS before \
             the server that sends X-Forwarded-Proto and X-Forwarded-For.",
        ))
    }

    /// The cookie of a session. `HttpOnly`: no script reads it; `SameSite=Lax`: other sites' forms do not send it.
    pub fn session_cookie(&self, secret: &str) -> Cookie<'static> {
        self.made(secret.to_owned(), time::Duration::seconds(super::session::LONGEST.num_seconds()))
    }

    /// The cookie that takes a session's away.
    pub fn no_cookie(&self) -> Cookie<'static> {
        self.made(String::new(), time::Duration::ZERO)
    }

    fn made(&self, value: String, age: time::Duration) -> Cookie<'static> {
        Cookie::build(if self.secure { COOKIE_OF_HOST } else { COOKIE }, value)
            .path("/")
            .http_only(true)
            .same_site(SameSite::Lax)
            .secure(self.secure)
            .max_age(age)
            .finish()
    }
}

fn cross_site(detail: &str) -> Problem {
    Problem::new(Kind::CrossSite, detail)
}

impl FromRequest for Client {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut actix_web::dev::Payload) -> Self::Future {
        ready(Ok(Client::of(request)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    fn client(peer: &str, headers: &[(&str, &str)]) -> Client {
        let mut request = TestRequest::post().peer_addr(peer.parse().unwrap());
        for header in headers {
            request = request.insert_header(*header);
        }
        Client::of(&request.to_http_request())
    }

    #[test]
    fn a_proxy_is_believed_on_this_machine_alone() {
        let headers = [("x-forwarded-for", "203.0.113.9, 192.0.2.7"), ("x-forwarded-proto", "https")];
        let behind = client("127.0.0.1:9", &headers);
        assert_eq!(behind.address, Some("192.0.2.7".parse().unwrap()), "the entry that our own proxy wrote");
        assert!(behind.secure && behind.private_line().is_ok());
        assert_eq!(behind.session_cookie("a").name(), COOKIE_OF_HOST);
        let stranger = client("198.51.100.4:9", &headers);
        assert_eq!(stranger.address, Some("198.51.100.4".parse().unwrap()));
        assert_eq!(stranger.private_line().unwrap_err().kind(), Kind::HttpsNeeded);
        let open = client("127.0.0.1:9", &headers[..1]);
        assert_eq!(open.private_line().unwrap_err().kind(), Kind::HttpsNeeded);
        assert!(client("127.0.0.1:9", &[]).private_line().is_ok());
    }

    #[test]
    fn only_our_own_origin_passes() {
        let of = |headers: &[(&str, &str)]| client("127.0.0.1:9", headers).from_our_page().is_ok();
        assert!(of(&[("host", "club.example")]));
        assert!(of(&[("host", "club.example"), ("origin", "http://club.example"), ("sec-fetch-site", "same-origin")]));
        for origin in ["https://club.example", "http://evil.example", "http://club.example.evil.example", "null", ""] {
            assert!(!of(&[("host", "club.example"), ("origin", origin)]), "{origin}");
        }
        for site in ["cross-site", "same-site", "other"] {
            assert!(!of(&[("host", "club.example"), ("sec-fetch-site", site)]), "{site}");
        }
        let secure = [("host", "127.0.0.1:8080"), ("x-forwarded-proto", "https"), ("x-forwarded-host", "club.example")];
        assert!(of(&[secure.as_slice(), &[("origin", "https://club.example")]].concat()));
        assert!(!of(&[secure.as_slice(), &[("origin", "http://club.example")]].concat()));
    }
}
