//! What a server says of itself, and whether it is well.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::handover::Handover;
use crate::key::PublicKey;

/// A server's name, keys and limits.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"name": "saltmarsh.example", "version": "0.1.0", "vocabulary": 1, "epoch": "0199f3a0-7c00-7000-8000-00000000000c", "key": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo", "handovers": [], "time": "2027-03-04T14:20:00Z", "limits": {"events_per_push": 1000, "events_per_pull": 1000, "body_bytes": 4_194_304, "attachment_bytes": 16_777_216}}))]
pub struct ServerInfo {
    /// Its name, as it stands in signed heads.
    pub name: String,
    /// The version of the software.
    pub version: String,
    /// The latest edition of the vocabulary that it takes.
    pub vocabulary: u32,
    /// Which life of the ledger this is; another one after a restore from a backup.
    pub epoch: Uuid,
    /// The key that signs heads.
    pub key: PublicKey,
    /// The statements of earlier keys about those that followed them, down to `key`.
    #[serde(default)]
    pub handovers: Vec<Handover>,
    /// The server's clock.
    pub time: DateTime<Utc>,
    /// What it takes at once.
    pub limits: Limits,
}

/// What a server takes at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Limits {
    /// Events in one push.
    pub events_per_push: u32,
    /// Events in one pull.
    pub events_per_pull: u32,
    /// Bytes of a request's body.
    pub body_bytes: u64,
    /// Bytes of an attachment.
    pub attachment_bytes: u64,
}

/// Whether the server is well.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"status": "ok"}))]
pub struct Health {
    /// `ok`, or what is wrong in a word.
    pub status: String,
}
