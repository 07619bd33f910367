//! Letters over SMTP.

use std::time::Duration;

use lettre::message::{Mailbox, Message};
use lettre::transport::smtp::extension::ClientId;
use lettre::{AsyncSmtpTransport, AsyncTransport, Tokio1Executor};

use super::settings::Mail;

/// An answer of the relay is waited for so long.
const ANSWER_WITHIN: Duration = Duration::from_secs(10);

/// Hands letters to the relay.
#[derive(Clone, Debug)]
pub(super) struct Mailer {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    /// Who letters are from.
    pub(super) from: Mailbox,
}

impl Mailer {
    /// A mailer for a relay, by which `server` greets.
    ///
    /// # Errors
    ///
    /// What is wrong with the relay's address, without its password.
    pub(super) fn new(mail: &Mail, server: &str) -> Result<Self, String> {
        let greets = server.replace(':', ".");
        let builder = AsyncSmtpTransport::<Tokio1Executor>::from_url(&mail.relay.expose())
            .map_err(|error| format!("the mail relay {}: {error}", mail.relay))?;
        Ok(Self {
            transport: builder
                .hello_name(ClientId::Domain(greets))
                .timeout(Some(ANSWER_WITHIN))
                .build(),
            from: mail.from.clone(),
        })
    }

    /// Hands one letter over; when this is done, the relay has said that it takes care of it.
    ///
    /// # Errors
    ///
    /// What the relay said, or that it said nothing.
    pub(super) async fn send(&self, letter: Message) -> Result<(), String> {
        let sent = self.transport.send(letter).await;
        sent.map(drop).map_err(|error| chain(&error))
    }
}

/// An error with what caused it.
pub(super) fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut inner = error.source();
    while let Some(cause) = inner {
        let more = cause.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        inner = cause.source();
    }
    text
}
