//! Photos and documents, named by the hash of their bytes.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::AccountId;

/// The largest attachment, in bytes.
pub const LARGEST: usize = 16 * 1024 * 1024;

/// The media types that are taken; the bytes must be what they claim.
pub const MEDIA_TYPES: &[&str] = &["image/jpeg", "image/png", "image/webp", "application/pdf"];

/// An attachment that the server holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"sha256": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", "media_type": "image/jpeg", "bytes": 48213, "uploaded_by": "0199f3a0-7c00-7000-8000-000000000001", "created_at": "2027-03-01T08:00:00Z"}))]
pub struct Attachment {
    /// The SHA-256 of its bytes, in lower-case hexadecimal.
    pub sha256: String,
    /// Its media type.
    pub media_type: String,
    /// Its size in bytes.
    pub bytes: u64,
    /// Who brought it.
    pub uploaded_by: AccountId,
    /// When.
    pub created_at: DateTime<Utc>,
}
