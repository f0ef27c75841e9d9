//! What a browser or a client asked: query, lamp, person, and whether it wants figures or a page.

use std::collections::BTreeMap;
use std::convert::Infallible;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, Method, header};

use super::sheet::Lamp;

/// In what form the answer is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// A page.
    Page,
    /// JSON.
    Json,
    /// CSV of one table of the figures.
    Csv,
}

/// One request, as the pages need it.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    /// Query, the last of each name.
    pub(crate) query: BTreeMap<String, String>,
    /// Path with query, for the way back.
    pub(crate) address: String,
    /// Day or night.
    pub(crate) lamp: Lamp,
    /// Short name of the person at this place, if one is chosen.
    pub(crate) who: Option<String>,
    /// Page or figures.
    pub(crate) form: Form,
}

impl Asked {
    /// A value of the query that is not empty.
    pub(crate) fn get(&self, name: &str) -> Option<&str> {
        self.query.get(name).map(String::as_str).filter(|v| !v.is_empty())
    }

    /// A copy of a value of the query, for moving into a blocking task.
    pub(crate) fn owned(&self, name: &str) -> Option<String> {
        self.get(name).map(str::to_owned)
    }

    /// A whole number of the query, if it is one.
    pub(crate) fn number<T: std::str::FromStr>(&self, name: &str) -> Option<T> {
        self.get(name)?.parse().ok()
    }

    /// The address of the same figures as JSON.
    pub(crate) fn figures(&self) -> String {
        let joint = if self.address.contains('?') { '&' } else { '?' };
        format!("{}{joint}as=json", self.address)
    }
}

impl<S: Sync> FromRequestParts<S> for Asked {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let query: BTreeMap<String, String> = parts.uri.query().map(read_query).unwrap_or_default();
        let form = match query.get("as").map(String::as_str) {
            Some("json") => Form::Json,
            Some("csv") => Form::Csv,
            _ if wants_json(&parts.headers) => Form::Json,
            // A form of a page posts to the same address as a client and wants a page afterwards.
            _ if parts.method == Method::GET && parts.uri.path().starts_with("/api/") => Form::Json,
            _ => Form::Page,
        };
        let address = parts.uri.path_and_query().map_or("/", |p| p.as_str()).to_owned();
        let lamp = match cookie(&parts.headers, "lamp").as_deref() {
            Some("night") => Lamp::Night,
            _ => Lamp::Day,
        };
        let who = cookie(&parts.headers, "who").filter(|w| !w.is_empty());
        Ok(Self { query, address, lamp, who, form })
    }
}

fn wants_json(headers: &HeaderMap) -> bool {
    let accept = headers.get(header::ACCEPT).and_then(|v| v.to_str().ok()).unwrap_or_default();
    accept.contains("application/json") && !accept.contains("text/html")
}

/// The value of a cookie.
pub(crate) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| read_percent(value))
}

/// `a=1&b=2` with percent signs and plus signs read.
pub(crate) fn read_query(text: &str) -> BTreeMap<String, String> {
    text.split('&')
        .filter(|pair| !pair.is_empty())
        .map(|pair| pair.split_once('=').unwrap_or((pair, "")))
        .map(|(k, v)| (read_percent(k), read_percent(v)))
        .collect()
}

fn read_percent(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut read = Vec::with_capacity(bytes.len());
    let mut i = 0;
    while i < bytes.len() {
        let two = bytes.get(i + 1..i + 3).and_then(|b| std::str::from_utf8(b).ok());
        match (bytes[i], two.and_then(|t| u8::from_str_radix(t, 16).ok())) {
            (b'%', Some(byte)) => {
                read.push(byte);
                i += 3;
                continue;
            }
            (b'+', _) => read.push(b' '),
            (byte, _) => read.push(byte),
        }
        i += 1;
    }
    String::from_utf8_lossy(&read).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn queries_are_read() {
        let q = read_query("a=1+2&b=%C2%B5m&c&d=%zz");
        assert_eq!(q["a"], "1 2");
        assert_eq!(q["b"], "µm");
        assert_eq!(q["c"], "");
        assert_eq!(q["d"], "%zz");
    }
}
