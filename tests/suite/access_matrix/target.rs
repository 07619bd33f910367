//! What an operation is called on: what stands in its address and its body.

use std::fmt::Display;

use reqwest::Method;
use reqwest::header::CONTENT_TYPE;
use serde_json::Value;
use uuid::Uuid;
use whorl_tests::{Answer, Caller};

/// A body.
#[derive(Clone)]
pub(crate) enum Body {
    None,
    Json(Value),
    Photo(Vec<u8>),
}

/// What an operation is called on.
#[derive(Clone)]
pub(crate) struct Target {
    /// What stands in the address, in order; the first is what may be hidden.
    pub(crate) ids: Vec<String>,
    pub(crate) query: String,
    pub(crate) body: Body,
    /// The body that names something that is not there, where the address names nothing.
    pub(crate) absent: Option<Value>,
    /// Who calls, if not the person as they are signed in.
    pub(crate) caller: Option<Caller>,
    /// Whether another person needs another target.
    pub(crate) personal: bool,
}

impl Target {
    /// On what has these ids.
    pub(crate) fn at(ids: &[&dyn Display]) -> Self {
        Self {
            ids: ids.iter().map(std::string::ToString::to_string).collect(),
            query: String::new(),
            body: Body::None,
            absent: None,
            caller: None,
            personal: false,
        }
    }

    /// With a body.
    pub(crate) fn with(self, body: Value) -> Self {
        Self {
            body: Body::Json(body),
            ..self
        }
    }

    /// With a query.
    pub(crate) fn asking(self, query: &str) -> Self {
        let query = query.to_owned();
        Self { query, ..self }
    }

    /// What the body is where it names something that is not there.
    pub(crate) fn or_absent(self, body: Value) -> Self {
        Self {
            absent: Some(body),
            ..self
        }
    }

    /// For nobody else.
    pub(crate) fn for_one(self) -> Self {
        Self {
            personal: true,
            ..self
        }
    }

    /// On what has these ids, with a body.
    pub(crate) fn of(ids: &[&dyn Display], body: Value) -> Self {
        Self::at(ids).with(body)
    }

    /// The same, asked of something that is not there.
    pub(crate) fn absent(&self) -> Option<Self> {
        let mut other = self.clone();
        if let Some(body) = &self.absent {
            other.body = Body::Json(body.clone());
        } else {
            let id = other.ids.first_mut()?;
            let known = Uuid::parse_str(id).is_ok();
            *id = if known {
                Uuid::now_v7().to_string()
            } else {
                "u8qZ1xN0suchSecretU8qZ1xN0suchS3".to_owned()
            };
        }
        Some(other)
    }

    /// Its address, by the template of the description.
    pub(crate) fn address(&self, template: &str) -> String {
        let mut ids = self.ids.iter();
        let mut address = String::new();
        let mut rest = template;
        while let Some((before, after)) = rest.split_once('{') {
            let (_, after) = after.split_once('}').expect("the end of a place");
            address += before;
            address += ids
                .next()
                .unwrap_or_else(|| panic!("{template} has another place"));
            rest = after;
        }
        assert!(ids.next().is_none(), "{template} has fewer places");
        format!("{address}{rest}{}", self.query)
    }
}

/// Calls an operation.
pub(crate) fn send(caller: &Caller, method: &Method, template: &str, target: &Target) -> Answer {
    let request = caller.request(method.clone(), &target.address(template));
    caller.send(match &target.body {
        Body::None => request,
        Body::Json(body) => request.json(body),
        Body::Photo(bytes) => request
            .header(CONTENT_TYPE, "image/png")
            .body(bytes.clone()),
    })
}
