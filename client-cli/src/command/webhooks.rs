//! `whorl webhooks`: addresses of programs that are called for each of your notices.

use whorl_contract::path;
use whorl_contract::webhook::{NewWebhook, Webhook};

use super::pick;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::{Sheet, moment};

/// List the addresses that are called for each of your notices, and make, rotate or end one
///
/// The operator of the server says which hosts may be called. Each call is signed; the secret to check it with is shown once.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// List them
    List,
    /// Have an address called
    Add {
        /// The address, such as `https://hooks.example/whorl`
        url: String,
    },
    /// Give one another secret; for 24 hours the old one signs as well
    Rotate {
        /// Its id, or the beginning or end of it
        id: String,
    },
    /// Have one called no more
    End {
        /// Its id, or the beginning or end of it
        id: String,
    },
}

impl Args {
    /// Lists, makes, rotates or ends.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        if let Some(What::Add { url }) = self.what {
            let made: Webhook = remote.post(path::WEBHOOKS, &NewWebhook { url })?;
            return desk.show(&made, || secret(&made));
        }
        let all: Vec<Webhook> = remote.list(path::WEBHOOKS)?;
        let meant = |id: &str| pick(all.iter().map(|one| one.id), id, "webhook");
        match self.what {
            Some(What::Rotate { id }) => {
                let id = meant(&id)?;
                let turned: Webhook = remote.post(&path::webhook_rotate(id), &())?;
                desk.show(&turned, || secret(&turned))
            }
            Some(What::End { id }) => {
                let id = meant(&id)?;
                remote.delete(&path::webhook(id))?;
                desk.show(&serde_json::json!({"ended": id}), || {
                    Sheet::new().line("It is called no more.")
                })
            }
            _ => {
                let here = desk.here();
                let rows = all.iter().map(|one| {
                    vec![
                        one.url.clone(),
                        moment(one.created_at, here),
                        one.id.to_string(),
                    ]
                });
                desk.show(&all, || {
                    Sheet::new().table(&["address", "since", "id"], rows, "No address is called.")
                })
            }
        }
    }
}

fn secret(made: &Webhook) -> Sheet {
    Sheet::new()
        .line(format!("{} is called for each of your notices.", made.url))
        .line(format!(
            "Its secret, shown this once: {}",
            made.secret.as_deref().unwrap_or_default()
        ))
}
