//! What stands at the door: same origin for deeds, a known host, headers that keep pages apart.

use std::net::IpAddr;

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// Lets a request through only when it comes for this program and, if it changes something, from
/// one of its own pages or from a client that is no browser.
pub(crate) async fn guard(request: Request, next: Next) -> Response {
    if let Err(why) = check(request.method(), request.headers()) {
        return (StatusCode::FORBIDDEN, why).into_response();
    }
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in FIXED_HEADERS {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    response
}

const FIXED_HEADERS: [(&str, &str); 5] = [
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    (
        "content-security-policy",
        "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; \
         base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    ),
];

fn check(method: &Method, headers: &HeaderMap) -> Result<(), &'static str> {
    if !host_is_ours(headers) {
        return Err("this program answers only under a loopback address or name");
    }
    if matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS) {
        return Ok(());
    }
    let text = |name: &str| headers.get(name).and_then(|v| v.to_str().ok());
    match text("sec-fetch-site") {
        Some("same-origin" | "none") => return Ok(()),
        Some(_) => return Err("deeds are taken only from this program's own pages"),
        None => {}
    }
    // Older browsers send an origin; clients that are no browsers send neither.
    match (text("origin"), text("host")) {
        (None, _) => Ok(()),
        (Some(origin), Some(host)) if origin.split("://").nth(1) == Some(host) => Ok(()),
        _ => Err("deeds are taken only from this program's own pages"),
    }
}

/// A page elsewhere must not reach this program by a name that it has pointed at this machine.
fn host_is_ours(headers: &HeaderMap) -> bool {
    let Some(host) = headers.get(header::HOST).and_then(|v| v.to_str().ok()) else {
        return true;
    };
    let name = match host.strip_prefix('[') {
        Some(v6) => v6.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &'static str)]) -> HeaderMap {
        pairs
            .iter()
            .map(|(k, v)| (HeaderName::from_static(k), HeaderValue::from_static(v)))
            .collect()
    }

    #[test]
    fn a_foreign_name_is_refused() {
        assert!(check(&Method::GET, &headers(&[("host", "evil.example:7000")])).is_err());
        assert!(check(&Method::GET, &headers(&[("host", "localhost:7000")])).is_ok());
        assert!(check(&Method::GET, &headers(&[("host", "[::1]:7000")])).is_ok());
    }

    #[test]
    fn a_deed_from_another_site_is_refused() {
        let own = [("host", "127.0.0.1:1"), ("sec-fetch-site", "same-origin")];
        let foreign = [("host", "127.0.0.1:1"), ("sec-fetch-site", "cross-site")];
        let old_foreign = [("host", "127.0.0.1:1"), ("origin", "http://evil.example")];
        assert!(check(&Method::POST, &headers(&own)).is_ok());
        assert!(check(&Method::POST, &headers(&foreign)).is_err());
        assert!(check(&Method::POST, &headers(&old_foreign)).is_err());
        assert!(check(&Method::POST, &headers(&[("host", "127.0.0.1:1")])).is_ok());
    }
}
