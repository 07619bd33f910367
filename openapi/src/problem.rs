//! What an error looks like: a problem document of RFC 9457 with a stable type.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
pub use whorl_care::fault::Fault;

/// The media type of a problem document.
pub const MEDIA_TYPE: &str = "application/problem+json";

// The code is matched as `tt`, since the derived schema can't see into a `literal`.
macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident, $code:tt, $title:literal;)*) => {
        /// The kinds of problems; the list is closed, so a client can decide what to do for each.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
        pub enum Kind {
            $($(#[$doc])* #[serde(rename = $code)] $name,)*
            /// A kind that this build doesn't know: a later server's.
            #[serde(other, rename = "/problems/unknown")]
            Unknown,
        }

        impl Kind {
            /// Every kind that this build knows.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The stable type: a relative URI reference.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self { $(Self::$name => $code,)* Self::Unknown => "/problems/unknown" }
            }

            /// What it means, for a person.
            #[must_use]
            pub const fn title(self) -> &'static str {
                match self { $(Self::$name => $title,)* Self::Unknown => "Something is wrong that this version doesn't know" }
            }
        }
    };
}

kinds! {
    /// Not readable as what was expected.
    Malformed, "/problems/malformed", "The request can't be read";
    /// Readable, but with values that can't stand; see `errors`.
    Invalid, "/problems/invalid", "Some values can't stand";
    /// No or no valid credentials.
    Unauthenticated, "/problems/unauthenticated", "Please sign in";
    /// E-mail and password don't fit.
    WrongCredentials, "/problems/wrong-credentials", "E-mail or password is wrong";
    /// A grave step needs the password once more.
    Reauthenticate, "/problems/reauthenticate", "Please give your password once more";
    /// Readable to the caller, but not theirs to do.
    Forbidden, "/problems/forbidden", "You may not do that";
    /// The procedure policy refuses; `policy_row` names its row.
    PolicyRefuses, "/problems/policy-refuses", "The procedure policy doesn't allow that";
    /// Not there, or not for the caller to know.
    NotFound, "/problems/not-found", "There is nothing here";
    /// The address is right, the method isn't.
    MethodNotAllowed, "/problems/method-not-allowed", "That can't be done here";
    /// It contradicts what is there.
    Conflict, "/problems/conflict", "That contradicts what is there";
    /// The same event id came before with another body.
    SameIdOtherBody, "/problems/same-id-other-body", "An event with this id but another body is in the log";
    /// A code or link that is used up or expired.
    Gone, "/problems/gone", "This is used up or expired";
    /// Too many bytes.
    TooLarge, "/problems/too-large", "That is too large";
    /// A media type that isn't taken.
    UnsupportedMediaType, "/problems/unsupported-media-type", "This type of file isn't taken";
    /// The signature or the content's hash doesn't fit.
    NotGenuine, "/problems/not-genuine", "The signature doesn't fit";
    /// The device is unknown or was revoked.
    DeviceRefused, "/problems/device-refused", "This device may not sign";
    /// No grant covers it, now or when it was recorded.
    NoGrant, "/problems/no-grant", "No grant covers this";
    /// Too many requests; see `Retry-After`.
    TooManyRequests, "/problems/too-many-requests", "Too many requests; please wait";
    /// The server can't right now; see `Retry-After`.
    Unavailable, "/problems/unavailable", "The server can't right now; please try again";
    /// The server failed; the request id finds it in the log.
    Internal, "/problems/internal", "The server failed";
}

/// A problem document.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "type": "/problems/invalid", "title": "Some values can't stand", "status": 422, "detail": null, "instance": null,
    "policy_row": null,
    "errors": [{"pointer": "/details/expiration_date", "detail": "the lot expired on 2027-01-31, before it was given"}]
}))]
pub struct Problem {
    /// The stable type.
    #[serde(rename = "type")]
    #[schema(value_type = String, format = "uri-reference")]
    pub kind: Kind,
    /// The type in words.
    pub title: String,
    /// The HTTP status.
    pub status: u16,
    /// This case in words.
    #[schema(required)]
    pub detail: Option<String>,
    /// The request id, to find it in the log.
    #[schema(required)]
    pub instance: Option<String>,
    /// The row of the procedure policy that refused.
    #[schema(required)]
    pub policy_row: Option<String>,
    /// Each fault with a pointer into the request.
    #[serde(default)]
    pub errors: Vec<Fault>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_schema_names_the_types() {
        let schema = serde_json::to_value(<Kind as utoipa::PartialSchema>::schema());
        let schema = schema.expect("a schema");
        assert_eq!(schema["enum"][0], Kind::Malformed.code());
        assert_eq!(
            schema["enum"].as_array().map(Vec::len),
            Some(Kind::ALL.len() + 1)
        );
    }
}
