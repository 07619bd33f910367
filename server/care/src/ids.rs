//! The identities of everything in the record, one type each, so that none is taken for another.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! id {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.hyphenated().fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                text.parse().map(Self)
            }
        }

        impl From<Uuid> for $name {
            fn from(id: Uuid) -> Self {
                Self(id)
            }
        }
    )*};
}

id! {
    /// Identifies a person's account.
    AccountId;
    /// Identifies a barn: a place with horses and a time zone.
    BarnId;
    /// Identifies a calendar of what is due.
    CalendarId;
    /// Identifies something that is to be sent.
    DeliveryId;
    /// Identifies a device and its signing key.
    DeviceId;
    /// Identifies an event (UUIDv7, made by the author's device).
    EventId;
    /// Identifies a grant: who may see and record what, from and until when.
    GrantId;
    /// Identifies a horse for ever, whoever owns it.
    HorseId;
    /// Identifies an invitation.
    InvitationId;
    /// Identifies a professional's licence.
    LicenceId;
    /// Identifies a notice: what somebody must know.
    NoticeId;
    /// Identifies a session: one login on one device or browser.
    SessionId;
    /// Identifies a link by which a horse's history is shared.
    ShareId;
    /// Identifies the two-sided transfer of a horse.
    TransferId;
    /// Identifies a webhook: a program's address that is called for each notice.
    WebhookId;
    /// Identifies what one professional did on one trip to one barn.
    VisitId;
}
