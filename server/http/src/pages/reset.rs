//! Setting another password where it is forgotten, by the code that the server's operator told.

use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use maud::{Markup, html};
use whorl_contract::account::PasswordReset;

use super::form::token_field;
use super::stranger::{self, NOT_OURS, Refusal};
use super::{see_other, sign_in};
use crate::network::{self, Network};
use crate::password_reset;
use crate::problem::Problem;
use crate::state::State;

/// Where the form is.
pub(super) const PATH: &str = "/reset";

/// Shows the form.
pub(super) async fn show(
    state: Data<State>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    asked(&state, &request, &Asking::default())
}

/// Sets the password.
pub(super) async fn set(
    state: Data<State>,
    request: HttpRequest,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    let sent = stranger::sent(&state, &request, payload).await?;
    let text = |name: &str| sent.fields.get(name).unwrap_or_default().to_owned();
    let mut asking = Asking {
        email: text("email").trim().to_owned(),
        code: text("code").trim().to_owned(),
        refused: None,
    };
    if !sent.ours {
        asking.refused = Some(Refusal::new(NOT_OURS));
        return asked(&state, &request, &asking);
    }
    let network = Network::of(network::origin(&request, &state.config.trusted_proxies));
    let reset = PasswordReset {
        email: asking.email.clone(),
        code: asking.code.clone(),
        new: text("new"),
    };
    match password_reset::redeem(&state, network, reset).await {
        Ok(()) => Ok(see_other(sign_in::AFTER_RESET)),
        Err(problem) if problem.document().status < 500 => {
            asking.refused = Some(Refusal::of(&problem, || said(&problem)));
            asked(&state, &request, &asking)
        }
        Err(problem) => Err(problem),
    }
}

/// What the form shows. A code that was typed stays: the password may be what is wrong.
#[derive(Debug, Default)]
struct Asking {
    email: String,
    code: String,
    refused: Option<Refusal>,
}

/// A problem in its own words.
fn said(problem: &Problem) -> String {
    let document = problem.document();
    let details = document.errors.into_iter().map(|fault| fault.detail);
    let all: Vec<String> = details.chain(document.detail).collect();
    if all.is_empty() {
        document.title
    } else {
        all.join("; ")
    }
}

fn asked(state: &State, request: &HttpRequest, asking: &Asking) -> Result<HttpResponse, Problem> {
    let (title, refused) = ("Set a new password", asking.refused.as_ref());
    stranger::give(state, request, title, refused, |token| form(asking, token))
}

fn form(asking: &Asking, token: &str) -> Markup {
    let described = asking.refused.as_ref().map(|_| "refused");
    html! {
        div.narrow {
            h1 { "Set a new password" }
            @if let Some(refused) = &asking.refused { (refused.alert()) }
            p { "Ask whoever runs this server for a code. It is good once, for an hour. With the new password you are signed out everywhere." }
            form.stack method="post" action=(PATH) {
                (token_field(token))
                label for="email" { "E-mail" }
                input id="email" name="email" type="email" autocomplete="username" required value=(asking.email)
                    maxlength="254" aria-describedby=[described];
                label for="code" { "Code" }
                input id="code" name="code" type="text" autocomplete="one-time-code" autocapitalize="characters"
                    spellcheck="false" required value=(asking.code) maxlength="100" aria-describedby=[described];
                label for="new" { "New password" }
                input id="new" name="new" type="password" autocomplete="new-password" required minlength="15"
                    maxlength="256" aria-describedby="new-help";
                p.help id="new-help" { "At least 15 characters; a few unrelated words do well." }
                button type="submit" { "Set it" }
            }
            p { a href=(sign_in::PATH) { "Sign in" } }
        }
    }
}
