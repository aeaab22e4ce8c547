//! Access control: keeps out requests from other pages and other computers.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::api::trouble;

/// The page may load content from this server only.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self' data:; connect-src 'self'; font-src 'self'; base-uri 'none'; \
    form-action 'none'; frame-ancestors 'none'";

/// Which requests are allowed.
#[derive(Debug)]
pub struct Gate {
    port: u16,
    /// Token that every request must carry if other computers can connect.
    token: Option<String>,
}

impl Gate {
    pub fn new(port: u16, token: Option<String>) -> Gate {
        Gate { port, token }
    }

    /// Returns why a request is refused; `None` if it is allowed.
    fn refused(&self, request: &Request) -> Option<(StatusCode, &'static str, &'static str)> {
        let headers = request.headers();
        let Some(host) = one(headers, header::HOST).filter(|host| self.is_own(host)) else {
            return Some((
                StatusCode::MISDIRECTED_REQUEST,
                "this name is not one of the desk's",
                "open the address that plumbeam desk printed",
            ));
        };
        let path = request.uri().path();
        // These files are the same in every copy of the program: no secret needed.
        if path == "/" || path.starts_with("/assets/") {
            return None;
        }
        if let Some(token) = &self.token
            && !bears(request, token)
        {
            return Some((
                StatusCode::UNAUTHORIZED,
                "the token is missing or wrong",
                "open the whole address that plumbeam desk printed, with its token",
            ));
        }
        let foreign = (
            StatusCode::FORBIDDEN,
            "another page asked for this",
            "work in the desk's own page",
        );
        let own = format!("http://{host}");
        let origin = one(headers, header::ORIGIN);
        let named = headers.contains_key(header::ORIGIN);
        if named && origin != Some(own.as_str()) {
            return Some(foreign);
        }
        // Browsers report the source of a request even without an origin (Fetch Metadata, W3C).
        let from = one(headers, HeaderName::from_static("sec-fetch-site"));
        if path != "/" && from.is_some_and(|from| from != "same-origin" && from != "none") {
            return Some(foreign);
        }
        if *request.method() == Method::POST {
            if !named {
                return Some(foreign);
            }
            // A form cannot set it, and a script of another page would need a CORS preflight.
            if one(headers, HeaderName::from_static("x-desk")) != Some("1") {
                return Some(foreign);
            }
            let wanted = match path {
                "/api/import" => "application/octet-stream",
                _ => "application/json",
            };
            let kind = one(headers, header::CONTENT_TYPE);
            let kind = kind.and_then(|kind| kind.split(';').next()).map(str::trim);
            if !kind.is_some_and(|kind| kind.eq_ignore_ascii_case(wanted)) {
                return Some((
                    StatusCode::UNSUPPORTED_MEDIA_TYPE,
                    "the type of the contents is not what is taken here",
                    "application/json, and for a log application/octet-stream",
                ));
            }
        }
        None
    }

    /// Whether a host is this desk under a name that no DNS server can redirect here.
    fn is_own(&self, host: &str) -> bool {
        let port = format!(":{}", self.port);
        let Some(name) = host.strip_suffix(&port) else {
            return false;
        };
        if name.eq_ignore_ascii_case("localhost") || name == "127.0.0.1" {
            return true;
        }
        // With the token, other computers may connect to any IP address of this one.
        self.token.is_some() && name.parse::<IpAddr>().is_ok()
    }
}

/// Returns the value of a header that occurs exactly once.
fn one(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    let mut values = headers.get_all(name).iter();
    let value = values.next()?;
    values.next().is_none().then(|| value.to_str().ok())?
}

/// Whether a request carries the token, in a header or in its query.
fn bears(request: &Request, token: &str) -> bool {
    let by_header = one(request.headers(), HeaderName::from_static("x-desk-token"));
    let query = request.uri().query().unwrap_or_default();
    let by_query = query
        .split('&')
        .find_map(|pair| pair.strip_prefix("token="));
    [by_header, by_query]
        .into_iter()
        .flatten()
        .any(|said| is_same(said, token))
}

/// Compares in a time that does not reveal how much of it is right.
fn is_same(said: &str, token: &str) -> bool {
    let pairs = said.bytes().zip(token.bytes());
    said.len() == token.len() && pairs.fold(0, |differs, (a, b)| differs | (a ^ b)) == 0
}

/// Allows or refuses a request, and sets the headers common to all responses.
pub async fn guard(State(gate): State<Arc<Gate>>, request: Request, next: Next) -> Response {
    let mut answer = match gate.refused(&request) {
        Some((status, problem, help)) => trouble(status, problem, Some(help)).into_response(),
        None => next.run(request).await,
    };
    let headers = answer.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_that_no_name_server_gives_are_the_desk_s_own() {
        let here = Gate::new(8080, None);
        for own in ["127.0.0.1:8080", "localhost:8080", "LOCALHOST:8080"] {
            assert!(here.is_own(own), "{own}");
        }
        for other in [
            "127.0.0.1",
            "127.0.0.1:80",
            "evil.example:8080",
            "localhost.evil.example:8080",
            "192.168.1.7:8080",
            "127.0.0.1:8080:8080",
            "",
        ] {
            assert!(!here.is_own(other), "{other}");
        }
        let lan = Gate::new(8080, Some("0".to_owned()));
        assert!(lan.is_own("192.168.1.7:8080") && !lan.is_own("evil.example:8080"));
    }

    #[test]
    fn a_token_is_the_whole_token() {
        assert!(is_same("abc", "abc"));
        for wrong in ["", "ab", "abd", "abcd"] {
            assert!(!is_same(wrong, "abc"), "{wrong}");
        }
    }
}
