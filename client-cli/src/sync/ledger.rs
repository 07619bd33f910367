//! The server as syncing sees it, so that a test can put a model in its place.

use whorl_care::ids::HorseId;
use whorl_contract::attachment::Attachment;
use whorl_contract::barn::Barn;
use whorl_contract::grant::Grant;
use whorl_contract::horse::{Horse, NewHorse};
use whorl_contract::licence::Licence;
use whorl_contract::path;
use whorl_contract::server::ServerInfo;
use whorl_contract::sync::{Heads, Pull, Pulled, Push, Pushed};

use crate::failure::Failure;
use crate::remote::Remote;

/// A server's ledger. Every call may be repeated; pushes and pulls go in portions, which the caller makes smaller.
pub trait Ledger {
    /// Takes a batch.
    ///
    /// # Errors
    ///
    /// [`Failure`] if the batch as a whole was not taken, or if nobody knows.
    fn push(&mut self, push: &Push) -> Result<Pushed, Failure>;

    /// Where everything stands, unless nothing has changed since `tag`; and the new tag.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn heads(&mut self, tag: Option<&str>) -> Result<Option<(Heads, Option<String>)>, Failure>;

    /// The next entries.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn pull(&mut self, pull: &Pull) -> Result<Pulled, Failure>;

    /// Opens a horse's log; one that is open stays as it is.
    ///
    /// # Errors
    ///
    /// [`Failure`] if it was refused or there is no answer.
    fn open_horse(&mut self, horse: &NewHorse) -> Result<(), Failure>;

    /// Takes a photo or document.
    ///
    /// # Errors
    ///
    /// [`Failure`] if it was refused or there is no answer.
    fn upload(&mut self, horse: HorseId, media_type: &str, bytes: Vec<u8>) -> Result<(), Failure>;

    /// The horses that the account may see.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn horses(&mut self) -> Result<Vec<Horse>, Failure>;

    /// The barns that the account may see.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn barns(&mut self) -> Result<Vec<Barn>, Failure>;

    /// The procedure policy in force there, in whatever form this version may or may not read.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn policy(&mut self) -> Result<serde_json::Value, Failure>;

    /// The licences that the account may see.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn licences(&mut self) -> Result<Vec<Licence>, Failure>;

    /// The grants that the account holds or has given.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn grants(&mut self) -> Result<Vec<Grant>, Failure>;

    /// What the server says of itself.
    ///
    /// # Errors
    ///
    /// [`Failure`] if there is no answer.
    fn server(&mut self) -> Result<ServerInfo, Failure>;
}

impl Ledger for Remote<'_> {
    fn push(&mut self, push: &Push) -> Result<Pushed, Failure> {
        self.post_portion(path::EVENTS, push)
    }

    fn heads(&mut self, tag: Option<&str>) -> Result<Option<(Heads, Option<String>)>, Failure> {
        self.get_if_changed(path::HEADS, tag)
    }

    fn pull(&mut self, pull: &Pull) -> Result<Pulled, Failure> {
        self.post_portion(path::PULL, pull)
    }

    fn open_horse(&mut self, horse: &NewHorse) -> Result<(), Failure> {
        let _: Horse = self.post_repeatable(path::HORSES, horse)?;
        Ok(())
    }

    fn upload(&mut self, horse: HorseId, media_type: &str, bytes: Vec<u8>) -> Result<(), Failure> {
        let _: Attachment = Remote::upload(self, &path::attachments(horse), media_type, bytes)?;
        Ok(())
    }

    fn horses(&mut self) -> Result<Vec<Horse>, Failure> {
        self.list(path::HORSES)
    }

    fn barns(&mut self) -> Result<Vec<Barn>, Failure> {
        self.list(path::BARNS)
    }

    fn policy(&mut self) -> Result<serde_json::Value, Failure> {
        self.get(path::POLICY)
    }

    fn licences(&mut self) -> Result<Vec<Licence>, Failure> {
        self.list(path::LICENCES)
    }

    fn grants(&mut self) -> Result<Vec<Grant>, Failure> {
        self.list(path::GRANTS)
    }

    fn server(&mut self) -> Result<ServerInfo, Failure> {
        self.get_anonymously(path::SERVER)
    }
}
