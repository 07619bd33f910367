//! What is answered where no route fits: nothing here, or not by that method.

use std::sync::LazyLock;

use actix_web::http::{Method, header};
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use serde_json::Value;

use crate::description;
use crate::pages;
use crate::problem::{Kind, Problem};

/// The methods of every operation; read when somebody first asks for what isn't there.
static METHODS: LazyLock<Methods> = LazyLock::new(|| Methods::of(&description::openapi()));

/// The methods of every address, as the published description lists them.
#[derive(Clone, Debug, Default)]
struct Methods(Vec<(Vec<String>, String)>);

impl Methods {
    /// Reads them from the published description.
    fn of(description: &Value) -> Self {
        let paths = description["paths"].as_object().into_iter().flatten();
        Self(
            paths
                .map(|(path, item)| (segments(path).map(str::to_owned).collect(), allowed(item)))
                .collect(),
        )
    }

    /// The methods that `path` takes, as `Allow` lists them; `None` if nothing is there.
    fn at(&self, path: &str) -> Option<&str> {
        let fits = |template: &[String]| {
            let mut path = segments(path);
            template.iter().all(|want| {
                path.next()
                    .is_some_and(|got| want.starts_with('{') || want == got)
            }) && path.next().is_none()
        };
        // A word that is written out wins over a place for an id.
        self.0
            .iter()
            .filter(|(template, _)| fits(template))
            .min_by_key(|(template, _)| template.iter().filter(|one| one.starts_with('{')).count())
            .map(|(_, methods)| methods.as_str())
    }
}

fn segments(path: &str) -> impl Iterator<Item = &str> {
    path.split('/')
}

fn allowed(item: &Value) -> String {
    let mut names: Vec<String> = item
        .as_object()
        .into_iter()
        .flatten()
        .map(|(method, _)| method.to_uppercase())
        .collect();
    if names.iter().any(|name| name == "GET") {
        // Whatever can be read can be asked for without its body.
        names.push("HEAD".to_owned());
    }
    names.push("OPTIONS".to_owned());
    names.sort();
    names.join(", ")
}

/// Answers what no route took.
pub(crate) async fn no_route(request: HttpRequest) -> HttpResponse {
    let Some(allowed) = METHODS.at(request.path()) else {
        if wants_a_page(&request) {
            return pages::nothing_here(&request);
        }
        return Problem::bare(Kind::NotFound).error_response();
    };
    if request.method() == Method::OPTIONS {
        with_allow(HttpResponse::NoContent().finish(), allowed)
    } else {
        with_allow(
            Problem::bare(Kind::MethodNotAllowed).error_response(),
            allowed,
        )
    }
}

/// What is answered where a route for ids took an address that is written out for other methods.
pub(crate) fn wrong_method(request: &HttpRequest) -> Option<HttpResponse> {
    let allowed = METHODS.at(request.path())?;
    if allowed
        .split(", ")
        .any(|one| one == request.method().as_str())
    {
        return None;
    }
    let refused = Problem::bare(Kind::MethodNotAllowed).error_response();
    Some(with_allow(refused, allowed))
}

fn with_allow(mut answer: HttpResponse, allowed: &str) -> HttpResponse {
    if let Ok(allowed) = allowed.parse() {
        answer.headers_mut().insert(header::ALLOW, allowed);
    }
    answer
}

/// Whether a browser asks, and not a program.
fn wants_a_page(request: &HttpRequest) -> bool {
    let accept = request.headers().get(header::ACCEPT);
    let accept = accept.and_then(|value| value.to_str().ok()).unwrap_or("");
    accept.contains("text/html") && !request.path().starts_with("/v1/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_published_address_lists_its_methods() {
        let methods = Methods::of(&crate::description::openapi());
        assert_eq!(methods.at("/v1/account"), Some("GET, HEAD, OPTIONS"));
        assert_eq!(methods.at("/v1/sessions"), Some("GET, HEAD, OPTIONS, POST"));
        assert_eq!(methods.at("/v1/sessions/current"), Some("DELETE, OPTIONS"));
        assert_eq!(methods.at("/v1/sessions/anything"), Some("DELETE, OPTIONS"));
        for nothing in [
            "/",
            "",
            "/v1",
            "/v1/account/",
            "/v1/sessions/a/b",
            "/v2/account",
        ] {
            assert_eq!(methods.at(nothing), None, "{nothing}");
        }
    }
}
