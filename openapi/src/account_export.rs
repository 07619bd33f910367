//! All that a server has of an account, in one file for its person.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::HorseId;
use whorl_care::reading::Way;

use crate::account::Account;
use crate::barn::Barn;
use crate::calendar::Calendar;
use crate::event::LoggedEvent;
use crate::grant::{Grant, Invitation};
use crate::horse::Horse;
use crate::key::PublicKey;
use crate::licence::Licence;
use crate::notice::{Notice, NoticeSettings};
use crate::session::{Device, SessionInfo};
use crate::share::Share;
use crate::sync::HeldEvent;
use crate::transfer::Transfer;
use crate::webhook::Webhook;

/// The name and version of the format.
pub const FORMAT: &str = "whorl-account/1";

/// All that a server has of an account: one JSON document, which it writes piece by piece. Nothing in it opens anything: no
/// password or hash of one, no token, code or secret of a link, calendar or webhook.
///
/// `whole` comes last: a file that ends before it is not all there, and no JSON either.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct AccountExport {
    /// What is known of the person, and what they set up.
    pub own: OwnThings,
    /// What the account read of horses that aren't its own, as their owners are told it.
    pub readings: Vec<OwnReading>,
    /// Notices to the account, as it may see them now.
    pub notices: Vec<Notice>,
    /// Entries of the account's that wait for an owner's word.
    pub held: Vec<HeldEvent>,
    /// The whole logs of the horses that the account owns, horse by horse; and of every other horse the entries that its
    /// devices signed: they are its author's own words, so those of horses that it may no more see are among them. What an
    /// owner erased has no content any more.
    pub events: Vec<LoggedEvent>,
    /// Always true.
    pub whole: bool,
}

/// What is known of a person, and what they set up.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct OwnThings {
    /// `whorl-account/1`.
    pub format: String,
    /// The server, by the name in its signatures.
    pub server: String,
    /// The key by which it signs.
    pub server_key: PublicKey,
    /// When this was written.
    pub exported_at: DateTime<Utc>,
    /// The account.
    pub account: Account,
    /// Which letters it gets.
    pub notice_settings: NoticeSettings,
    /// Its devices with their public keys, revoked ones too.
    pub devices: Vec<Device>,
    /// Where it is signed in.
    pub sessions: Vec<SessionInfo>,
    /// Its licences, withdrawn ones too.
    pub licences: Vec<Licence>,
    /// Its barns.
    pub barns: Vec<Barn>,
    /// The horses that it owns.
    pub horses: Vec<Horse>,
    /// Grants that it holds or held, and those on its own horses and barns.
    pub grants: Vec<Grant>,
    /// Invitations that it made, without their codes.
    pub invitations: Vec<Invitation>,
    /// Horses that it offered or was offered.
    pub transfers: Vec<Transfer>,
    /// Links to histories that it made, without their secrets.
    pub shares: Vec<Share>,
    /// Its calendars, without their secrets.
    pub calendars: Vec<Calendar>,
    /// Its webhooks, without their secrets.
    pub webhooks: Vec<Webhook>,
    /// The photos and documents that it brought; their bytes are had one by one, by whoever may see the horse.
    pub files: Vec<OwnFile>,
}

/// A photo or document that an account brought.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OwnFile {
    /// The horse.
    pub horse_id: HorseId,
    /// The SHA-256 of its bytes, in lower-case hexadecimal.
    pub sha256: String,
    /// Its media type.
    pub media_type: String,
    /// Its size in bytes.
    pub bytes: i64,
    /// When it was brought.
    pub created_at: DateTime<Utc>,
}

/// What an account read of a horse on one day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OwnReading {
    /// The horse.
    pub horse_id: HorseId,
    /// What was read.
    pub way: Way,
    /// When it was first read on that day.
    pub first_at: DateTime<Utc>,
    /// When it last was.
    pub last_at: DateTime<Utc>,
    /// How often.
    #[schema(minimum = 1)]
    pub times: i64,
}
