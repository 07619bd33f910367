//! Webhooks: a signed POST to an address that the operator allowed.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Utc};
use reqwest::{Client, StatusCode, Url, redirect};
use serde::Serialize;
use whorl_care::ids::DeliveryId;
use whorl_contract::notice::Notice;
use whorl_store::webhooks::WebhookRow;

use super::address::{Guard, NoAddress};
use super::mailer::chain;
use super::settings::{Origin, Reach};
use super::signing::signatures;

/// A receiver must take the connection in this time …
const CONNECT_WITHIN: Duration = Duration::from_secs(5);
/// … and have answered in this.
const ANSWER_WITHIN: Duration = Duration::from_secs(10);

/// What a receiver is told: what the reader of the notice sees, and nothing else.
#[derive(Debug, Serialize)]
struct Body<'a> {
    #[serde(rename = "type")]
    kind: String,
    timestamp: DateTime<Utc>,
    data: &'a Notice,
}

/// What came of a call.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Called {
    /// The receiver took it.
    Taken,
    /// It may be tried again.
    Failed(String),
    /// The receiver wants no more of it (410 Gone).
    Over,
}

/// Calls receivers.
#[derive(Clone, Debug)]
pub(crate) struct Hooks {
    client: Client,
    origins: Arc<Vec<Origin>>,
    guard: Guard,
}

impl Hooks {
    /// For the addresses that the operator allowed.
    ///
    /// # Errors
    ///
    /// What keeps a client from being made.
    pub(crate) fn new(reach: &Reach) -> Result<Self, String> {
        // Another part of the process may have chosen it already.
        drop(rustls::crypto::ring::default_provider().install_default());
        let guard = Guard(Arc::new(reach.private.clone()));
        let client = Client::builder()
            .redirect(redirect::Policy::none())
            .no_proxy()
            .connect_timeout(CONNECT_WITHIN)
            .timeout(ANSWER_WITHIN)
            .pool_max_idle_per_host(0)
            .user_agent(concat!("whorl/", env!("CARGO_PKG_VERSION")))
            .dns_resolver(Arc::new(guard.clone()))
            .build()
            .map_err(|error| chain(&error))?;
        Ok(Self {
            client,
            origins: Arc::new(reach.origins.clone()),
            guard,
        })
    }

    /// Reads an address that somebody wants to be called at.
    ///
    /// # Errors
    ///
    /// Why it can't be one.
    pub(crate) fn read(&self, text: &str) -> Result<Url, String> {
        let url: Url = text
            .parse()
            .map_err(|_| "that is no web address like https://hooks.example/in".to_owned())?;
        let origin = Origin::of(&url);
        if !origin.is_some_and(|origin| self.origins.contains(&origin)) {
            return Err(
                "the operator of this server has not allowed that host; ask them".to_owned(),
            );
        }
        if url.fragment().is_some() {
            return Err("an address without a part after #".to_owned());
        }
        // Names are looked up at each call.
        let literal = url.host_str().unwrap_or_default();
        let literal = literal.trim_start_matches('[').trim_end_matches(']');
        if literal.parse().is_ok_and(|ip| !self.guard.allows(ip)) {
            return Err(NoAddress::Private.to_string());
        }
        Ok(url)
    }

    /// Calls a receiver once. What it answers is not read beyond its head.
    pub(super) async fn call(
        &self,
        row: &WebhookRow,
        (id, notice): (DeliveryId, &Notice),
        server: &[u8; 32],
        now: DateTime<Utc>,
    ) -> Called {
        let url = match self.read(&row.url) {
            Ok(url) => url,
            Err(why) => return Called::Failed(why),
        };
        let (id, body) = (id.to_string(), body(notice));
        let signed = signatures(row, server, (&id, &body), now);
        let Some(signed) = signed else {
            return Called::Failed("no signature can be made".to_owned());
        };
        let request = self
            .client
            .post(url)
            .header("content-type", "application/json")
            .header("webhook-id", id)
            .header("webhook-timestamp", now.timestamp().to_string())
            .header("webhook-signature", signed)
            .body(body);
        match request.send().await.map(|answer| answer.status()) {
            Ok(status) if status.is_success() => Called::Taken,
            Ok(StatusCode::GONE) => Called::Over,
            Ok(status) if status.is_redirection() => Called::Failed(format!(
                "it answered {}: redirects are not followed",
                status.as_u16()
            )),
            Ok(status) => Called::Failed(format!("it answered {}", status.as_u16())),
            Err(error) => Called::Failed(chain(&error.without_url())),
        }
    }
}

fn body(notice: &Notice) -> String {
    let body = Body {
        kind: format!("notice.{}", notice.state),
        timestamp: notice.changed_at,
        data: notice,
    };
    serde_json::to_string(&body).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hooks(origins: &[&str], private: &[&str]) -> Hooks {
        let reach = Reach {
            origins: origins
                .iter()
                .map(|one| one.parse().expect("an origin"))
                .collect(),
            private: private
                .iter()
                .map(|one| one.parse().expect("an address"))
                .collect(),
        };
        Hooks::new(&reach).expect("a client")
    }

    #[test]
    fn only_what_the_operator_allowed_can_be_named() {
        let hooks = hooks(
            &[
                "https://hooks.example",
                "http://127.0.0.1:9000",
                "http://10.0.0.8",
                "http://[::1]:9000",
            ],
            &["127.0.0.1"],
        );
        for fine in [
            "https://hooks.example/in?yard=3",
            "http://127.0.0.1:9000/in",
        ] {
            assert!(hooks.read(fine).is_ok(), "{fine}");
        }
        for wrong in [
            "hooks.example",
            "http://hooks.example/in",
            "https://hooks.example:8443/in",
            "https://hooks.example.evil.example/in",
            "https://user@hooks.example/in",
            "https://hooks.example/in#here",
            "http://127.0.0.1:9001/in",
            "http://10.0.0.8/in",
            "http://[::1]:9000/",
            "file:///etc/passwd",
        ] {
            assert!(hooks.read(wrong).is_err(), "{wrong}");
        }
    }
}
