//! The fields of a form or a query, as a browser sends them.

use actix_web::FromRequest;
use actix_web::HttpRequest;
use actix_web::dev::Payload;
use actix_web::web::{Form, Query};

use crate::problem::{Kind, Problem};

/// Fields by name; a field that is left empty counts as missing.
#[derive(Clone, Debug, Default)]
pub(super) struct Fields(Vec<(String, String)>);

impl Fields {
    /// Those of the address.
    ///
    /// # Errors
    ///
    /// [`Kind::Malformed`] if it can't be read.
    pub(super) fn of_query(request: &HttpRequest) -> Result<Self, Problem> {
        Query::<Vec<(String, String)>>::from_query(request.query_string())
            .map(|query| Self(query.into_inner()))
            .map_err(|_| Problem::new(Kind::Malformed, "the address can't be read"))
    }

    /// Those of a form that was sent.
    ///
    /// # Errors
    ///
    /// [`Kind::Malformed`] if it is no form, or too long for one of ours.
    pub(super) async fn of_form(
        request: &HttpRequest,
        payload: &mut Payload,
    ) -> Result<Self, Problem> {
        Form::<Vec<(String, String)>>::from_request(request, payload)
            .await
            .map(|form| Self(form.into_inner()))
            .map_err(|_| Problem::new(Kind::Malformed, "the form can't be read"))
    }

    /// A field that is there and not empty.
    pub(super) fn get(&self, name: &str) -> Option<&str> {
        let mut values = self.0.iter();
        values
            .find(|(key, value)| key == name && !value.is_empty())
            .map(|(_, value)| value.as_str())
    }

    /// Every value of a field.
    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0
            .iter()
            .filter(move |(key, value)| key == name && !value.is_empty())
            .map(|(_, value)| value.as_str())
    }
}
