//! What a form or a client tells: fields as text, from a form or from JSON alike.

use std::collections::BTreeMap;

use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use bedplate_works::works::Deed;
use serde_json::Value;

use super::asked::{Asked, Form, cookie, read_query};
use crate::clock;
use crate::exit::Trouble;

/// Whether an address is one of this program's own pages.
pub(crate) fn is_ours(address: &str) -> bool {
    address.starts_with('/') && !address.starts_with("//") && !address.contains('\\')
}

/// The fields of a deed.
#[derive(Debug, Clone)]
pub(crate) struct Told {
    fields: BTreeMap<String, Value>,
    who: Option<String>,
    /// Whether it came from a form of a page.
    pub(crate) is_form: bool,
}

impl Told {
    /// A field as text, trimmed; empty if it is not there.
    pub(crate) fn text(&self, name: &str) -> String {
        match self.fields.get(name) {
            Some(Value::String(s)) => s.trim().to_owned(),
            Some(Value::Null) | None => String::new(),
            Some(other) => other.to_string(),
        }
    }

    /// A field as text that must be there.
    pub(crate) fn needed(&self, name: &str, what: &str) -> Result<String, Trouble> {
        let text = self.text(name);
        if text.is_empty() {
            return Err(Trouble::usage(format!("\"{name}\" is missing: {what}"), ""));
        }
        Ok(text)
    }

    /// A field that says yes: `true`, `1`, `yes`, `on`.
    pub(crate) fn yes(&self, name: &str) -> bool {
        matches!(self.text(name).as_str(), "true" | "1" | "yes" | "on")
    }

    /// A field as a list of texts: an array, or words with commas.
    pub(crate) fn list(&self, name: &str) -> Vec<String> {
        match self.fields.get(name) {
            Some(Value::Array(items)) => items
                .iter()
                .map(|v| v.as_str().map_or_else(|| v.to_string(), str::to_owned))
                .collect(),
            _ => self
                .text(name)
                .split(',')
                .map(|s| s.trim().to_owned())
                .filter(|s| !s.is_empty())
                .collect(),
        }
    }

    /// A field as it came.
    pub(crate) fn value(&self, name: &str) -> Option<&Value> {
        self.fields.get(name).filter(|v| !v.is_null())
    }

    /// Every field whose name begins with `prefix`, with the rest of its name.
    pub(crate) fn with_prefix<'t>(
        &'t self,
        prefix: &'t str,
    ) -> impl Iterator<Item = (&'t str, String)> {
        self.fields
            .keys()
            .filter_map(move |k| k.strip_prefix(prefix).map(|rest| (rest, self.text(k))))
    }

    /// The deed this asks for: in the name told (`by`) or chosen at this place, under the id told
    /// (`deed`) or a new one.
    pub(crate) fn deed(&self) -> Result<Deed, Trouble> {
        let by = match self.text("by") {
            by if by.is_empty() => self.who.clone().unwrap_or_default(),
            by => by,
        };
        if by.is_empty() {
            let what = "it is not said who does this";
            let hint = "choose your name on the People sheet, or send it as \"by\"";
            let mut trouble = Trouble::usage(what, hint);
            trouble.status = 403;
            return Err(trouble);
        }
        Ok(match self.text("deed") {
            key if key.is_empty() => clock::deed(&by),
            key => clock::deed_with_key(&by, &key),
        })
    }

    /// The same request as a question, for answering in its own form.
    pub(crate) fn asked(&self, asked: Asked) -> Asked {
        let form = if self.is_form && asked.form == Form::Page { Form::Page } else { Form::Json };
        Asked { form, ..asked }
    }

    /// Where a form wants to go afterwards: a page of this program, else `otherwise`.
    pub(crate) fn then(&self, otherwise: &str) -> String {
        let then = self.text("then");
        if is_ours(&then) { then } else { otherwise.to_owned() }
    }
}

impl<S: Send + Sync> FromRequest<S> for Told {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Self, Response> {
        let who = cookie(request.headers(), "who").filter(|w| !w.is_empty());
        let kind = request
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|v| v.to_str().ok())
            .unwrap_or_default()
            .to_owned();
        let body =
            Bytes::from_request(request, state).await.map_err(IntoResponse::into_response)?;
        let is_form = kind.starts_with("application/x-www-form-urlencoded");
        let fields = if is_form {
            let text = String::from_utf8_lossy(&body);
            read_query(&text).into_iter().map(|(k, v)| (k, Value::String(v))).collect()
        } else if body.is_empty() {
            BTreeMap::new()
        } else {
            serde_json::from_slice(&body).map_err(|e| {
                let what = format!("the body is no JSON object: {e}");
                let trouble = Trouble::usage(what, "send {\"name\": \"value\", …}");
                let status = axum::http::StatusCode::BAD_REQUEST;
                (status, axum::Json(super::answer::trouble_json(&trouble))).into_response()
            })?
        };
        Ok(Self { fields, who, is_form })
    }
}
