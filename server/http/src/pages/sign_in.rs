//! Signing in and out in a browser.

use actix_web::http::header::SET_COOKIE;
use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use chrono::TimeDelta;
use maud::{Markup, html};
use whorl_contract::session::SignIn;
use whorl_store::sessions::{self, End};

use super::cookie::Cookie;
use super::fields::Fields;
use super::form::{Sent, token_field};
use super::pass::Pass;
use super::stranger::{self, NOT_OURS, Refusal};
use super::{reset, see_other, visitor};
use crate::network::{self, Network};
use crate::problem::Problem;
use crate::sign_in;
use crate::state::State;

/// Where the form is.
pub(super) const PATH: &str = "/sign-in";

/// Where it is for whoever has just set a new password.
pub(super) const AFTER_RESET: &str = "/sign-in?reset=done";

/// How long a browser stays signed in that belongs to whoever signs in.
const OWN: TimeDelta = TimeDelta::days(30);

/// How long any other browser stays signed in: a working day.
const SHARED: TimeDelta = TimeDelta::hours(12);

/// No address of ours is longer.
const LONGEST_ADDRESS: usize = 500;

/// Where to sign in, and go on to `wanted` afterwards.
pub(super) fn path(wanted: Option<&str>) -> String {
    match wanted.and_then(local).filter(|wanted| *wanted != "/") {
        None => PATH.to_owned(),
        Some(wanted) => {
            // Every character that could end the field is written as a number; the rest is let through as it is.
            let wanted = wanted
                .replace('%', "%25")
                .replace('&', "%26")
                .replace('+', "%2B");
            format!("{PATH}?back={wanted}")
        }
    }
}

/// The address, if it is a path on this server and nothing that a browser could take for another one.
fn local(address: &str) -> Option<&str> {
    let harmless = |one: u8| one.is_ascii_alphanumeric() || b"/-_.~?=&%,:+".contains(&one);
    let second = address.as_bytes().get(1);
    let fits = address.starts_with('/')
        && second != Some(&b'/')
        && address.len() <= LONGEST_ADDRESS
        && address.bytes().all(harmless);
    fits.then_some(address)
}

/// Shows the form.
pub(super) async fn show(
    state: Data<State>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let fields = Fields::of_query(&request)?;
    let back = fields.get("back").and_then(local).unwrap_or("/");
    if visitor::of(&request).await?.is_some() {
        return Ok(see_other(back));
    }
    let mut asking = Asking::new(back);
    asking.reset = fields.get("reset").is_some();
    asked(&state, &request, &asking)
}

/// Signs in.
pub(super) async fn enter(
    state: Data<State>,
    request: HttpRequest,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    let stranger::Sent { fields, ours } = stranger::sent(&state, &request, payload).await?;
    let back = fields.get("back").and_then(local).unwrap_or("/");
    let mut asking = Asking::new(back);
    let text = |name: &str| fields.get(name).unwrap_or_default().to_owned();
    asking.email = text("email");
    if !ours {
        asking.refused = Some(Refusal::new(NOT_OURS));
        return asked(&state, &request, &asking);
    }
    let own = fields.get("own").is_some();
    let network = Network::of(network::origin(&request, &state.config.trusted_proxies));
    let credentials = SignIn {
        email: asking.email.trim().to_owned(),
        password: text("password"),
        device: None,
    };
    let lasts = if own { OWN } else { SHARED };
    match sign_in::begin(&state, network, credentials, lasts).await {
        Ok((_, session)) => {
            leave_before(&state, &request).await?;
            let pass = Pass::of(&session, &state.keys.refresh)
                .ok_or_else(|| Problem::internal("no pass can be made"))?;
            let keep = own.then(|| OWN.num_seconds());
            let mut answer = see_other(back);
            let headers = answer.headers_mut();
            headers.append(
                SET_COOKIE,
                Cookie::Session.set(&pass.text(), keep, &state.config)?,
            );
            headers.append(SET_COOKIE, Cookie::Before.clear(&state.config)?);
            Ok(answer)
        }
        Err(problem) if problem.document().status < 500 => {
            // The same words whatever is wrong with address or password.
            let said = "E-mail and password don't fit together. Please check both and try again.";
            asking.refused = Some(Refusal::of(&problem, || said.to_owned()));
            asked(&state, &request, &asking)
        }
        Err(problem) => Err(problem),
    }
}

/// Who signs in anew leaves the session before it.
async fn leave_before(state: &State, request: &HttpRequest) -> Result<(), Problem> {
    if let Some(visitor) = visitor::of(request).await? {
        end(state, &visitor, "replaced").await?;
    }
    Ok(())
}

/// Signs out: ends the session at once, and takes the cookie away.
pub(super) async fn leave(state: Data<State>, sent: Sent) -> Result<HttpResponse, Problem> {
    end(&state, &sent.visitor, "signed-out").await?;
    let mut answer = see_other(PATH);
    let headers = answer.headers_mut();
    headers.append(SET_COOKIE, Cookie::Session.clear(&state.config)?);
    Ok(answer)
}

async fn end(state: &State, visitor: &visitor::Visitor, why: &'static str) -> Result<(), Problem> {
    let at = state.clock.now().naive_utc();
    let (account, session) = (visitor.caller.account, visitor.caller.session);
    state
        .write(move |db| sessions::end(db, account, session, End { at, why }))
        .await?;
    tracing::info!(target: "security", event = "session_ended", %account, %session, why);
    Ok(())
}

/// What the form shows.
struct Asking<'a> {
    back: &'a str,
    email: String,
    refused: Option<Refusal>,
    /// Whether a new password was set just now.
    reset: bool,
}

impl<'a> Asking<'a> {
    fn new(back: &'a str) -> Self {
        Self {
            back,
            email: String::new(),
            refused: None,
            reset: false,
        }
    }
}

/// The form, tied to the browser that asks for it.
fn asked(
    state: &State,
    request: &HttpRequest,
    asking: &Asking<'_>,
) -> Result<HttpResponse, Problem> {
    let refused = asking.refused.as_ref();
    stranger::give(state, request, "Sign in", refused, |token| {
        form(asking, token)
    })
}

fn form(asking: &Asking<'_>, token: &str) -> Markup {
    let described = asking.refused.as_ref().map(|_| "refused");
    html! {
        div.narrow {
            h1 { "Sign in" }
            @if let Some(refused) = &asking.refused { (refused.alert()) }
            @if asking.reset { p role="status" { "Your new password is set. Please sign in with it." } }
            form.stack method="post" action=(PATH) {
                (token_field(token))
                input type="hidden" name="back" value=(asking.back);
                label for="email" { "E-mail" }
                input id="email" name="email" type="email" autocomplete="username" required value=(asking.email)
                    maxlength="254" aria-describedby=[described] aria-invalid=[described.map(|_| "true")];
                label for="password" { "Password" }
                input id="password" name="password" type="password" autocomplete="current-password" required
                    maxlength="256" aria-describedby=[described] aria-invalid=[described.map(|_| "true")];
                div.choice {
                    input id="own" name="own" type="checkbox" value="yes" aria-describedby="own-help";
                    label for="own" { "This phone or computer is mine" }
                }
                p.help id="own-help" { "Then you stay signed in for 30 days. Leave it empty on the yard's computer." }
                button type="submit" { "Sign in" }
            }
            p { a href=(reset::PATH) { "I forgot my password" } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_paths_of_this_server_are_gone_back_to() {
        for fine in [
            "/",
            "/horses/0199",
            "/horses/0199/history?kind=weight&from=2026-01-01",
        ] {
            assert_eq!(local(fine), Some(fine));
        }
        for wrong in [
            "",
            "horses",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "/\t/elsewhere.example",
            "https://elsewhere.example",
            "javascript:alert(1)",
            "/@elsewhere\r\nSet-Cookie: a=b",
            "/horses/<script>",
        ] {
            assert_eq!(local(wrong), None, "{wrong}");
        }
        let long = format!("/{}", "a".repeat(LONGEST_ADDRESS));
        assert_eq!(local(&long), None);
    }

    #[test]
    fn the_way_back_survives_the_query() {
        let wanted = "/horses/0199/history?kind=weight&from=2026-01-01";
        let path = path(Some(wanted));
        let query = path.split_once('?').expect("a query").1;
        let read = actix_web::web::Query::<Vec<(String, String)>>::from_query(query).expect("one");
        assert_eq!(read.0, [("back".to_owned(), wanted.to_owned())]);
    }
}
