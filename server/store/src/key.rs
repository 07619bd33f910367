//! Ids and codes as text in the database, by their one spelling.

use std::fmt::Display;
use std::io::Write;
use std::str::FromStr;

use diesel::backend::Backend;
use diesel::deserialize::{self, FromSql, FromSqlRow};
use diesel::expression::AsExpression;
use diesel::pg::Pg;
use diesel::serialize::{self, IsNull, Output, ToSql};
use diesel::sql_types::Text;
use diesel::sqlite::Sqlite;

use crate::connection::MultiBackend;

/// A value that is stored as its text: an id, a role, a kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, AsExpression, FromSqlRow)]
#[diesel(sql_type = Text)]
pub struct Key<T>(pub T);

impl<T: Display + std::fmt::Debug> ToSql<Text, Sqlite> for Key<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        out.set_value(self.0.to_string());
        Ok(IsNull::No)
    }
}

impl<T: Display + std::fmt::Debug> ToSql<Text, Pg> for Key<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
        write!(out, "{}", self.0)?;
        Ok(IsNull::No)
    }
}

impl<T: Display + std::fmt::Debug + Send + Sync + 'static> ToSql<Text, MultiBackend> for Key<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, MultiBackend>) -> serialize::Result {
        out.set_value((Text, self));
        Ok(IsNull::No)
    }
}

impl<T, DB> FromSql<Text, DB> for Key<T>
where
    DB: Backend,
    String: FromSql<Text, DB>,
    T: FromStr,
    T::Err: Display,
{
    fn from_sql(bytes: DB::RawValue<'_>) -> deserialize::Result<Self> {
        let text = String::from_sql(bytes)?;
        text.parse()
            .map(Key)
            .map_err(|error| format!("`{text}`: {error}").into())
    }
}

impl<T> From<T> for Key<T> {
    fn from(value: T) -> Self {
        Self(value)
    }
}

/// Lets rows hold the bare type in place of its [`Key`].
macro_rules! stored_as_text {
    ($($name:ty),* $(,)?) => {$(
        impl From<Key<$name>> for $name {
            fn from(key: Key<$name>) -> Self {
                key.0
            }
        }
    )*};
}

stored_as_text!(
    uuid::Uuid,
    whorl_care::ids::AccountId,
    whorl_care::ids::BarnId,
    whorl_care::ids::CalendarId,
    whorl_care::ids::DeliveryId,
    whorl_care::ids::DeviceId,
    whorl_care::ids::EventId,
    whorl_care::ids::GrantId,
    whorl_care::ids::HorseId,
    whorl_care::ids::InvitationId,
    whorl_care::ids::LicenceId,
    whorl_care::ids::NoticeId,
    whorl_care::ids::SessionId,
    whorl_care::ids::ShareId,
    whorl_care::ids::TransferId,
    whorl_care::ids::WebhookId,
    whorl_care::kind::Kind,
    whorl_care::kind::Role,
    whorl_care::notice::Letters,
    whorl_care::notice::State,
    whorl_care::notice::Topic,
    whorl_care::reading::Reader,
    whorl_care::reading::Way,
    crate::transfers::State,
);
