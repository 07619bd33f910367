//! How ids, hashes and times stand in a column: as the text that they have on the wire.

use std::fmt::{self, Debug, Display};
use std::str::FromStr;

use chrono::{DateTime, SecondsFormat, Utc};
use diesel::deserialize::{self, FromSql, FromSqlRow};
use diesel::expression::AsExpression;
use diesel::serialize::{self, IsNull, Output, ToSql};
use diesel::sql_types::Text;
use diesel::sqlite::{Sqlite, SqliteValue};

/// A value in a text column.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, AsExpression, FromSqlRow)]
#[diesel(sql_type = Text)]
pub struct Stored<T>(pub T);

impl<T> From<T> for Stored<T> {
    fn from(value: T) -> Self {
        Self(value)
    }
}

impl<T: Debug + Display> ToSql<Text, Sqlite> for Stored<T> {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        out.set_value(self.0.to_string());
        Ok(IsNull::No)
    }
}

impl<T: FromStr<Err: Display>> FromSql<Text, Sqlite> for Stored<T> {
    fn from_sql(value: SqliteValue<'_, '_, '_>) -> deserialize::Result<Self> {
        let text = <String as FromSql<Text, Sqlite>>::from_sql(value)?;
        match text.parse() {
            Ok(value) => Ok(Self(value)),
            Err(error) => Err(format!("`{text}`: {error}").into()),
        }
    }
}

/// An instant, in RFC 3339 and UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct At(pub DateTime<Utc>);

impl Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }
}

impl FromStr for At {
    type Err = chrono::ParseError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        DateTime::parse_from_rfc3339(text).map(|at| Self(at.to_utc()))
    }
}
