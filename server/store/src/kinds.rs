//! A limit to some kinds of events, as one text.

use std::convert::Infallible;
use std::fmt;
use std::str::FromStr;

use whorl_care::kind::Kind;

/// The kinds that a grant or an invitation is limited to.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Kinds(pub Vec<Kind>);

impl fmt::Display for Kinds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let codes: Vec<&str> = self.0.iter().map(|kind| kind.code()).collect();
        f.write_str(&codes.join(","))
    }
}

impl FromStr for Kinds {
    type Err = Infallible;

    /// Reads the codes. One that this build doesn't know is left out: less is seen then, never more.
    fn from_str(text: &str) -> Result<Self, Infallible> {
        let codes = text.split(',');
        Ok(Self(codes.filter_map(|code| code.parse().ok()).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_to_kinds_of_a_later_version_limits_to_fewer() {
        let read = |text: &str| text.parse::<Kinds>().expect("never fails");
        assert_eq!(
            read("weight,hoof_care"),
            Kinds(vec![Kind::Weight, Kind::HoofCare])
        );
        assert_eq!(read("weight,levitation"), Kinds(vec![Kind::Weight]));
        assert_eq!(read(""), Kinds::default());
        for kind in Kind::ALL {
            let one = Kinds(vec![*kind, Kind::Identity]);
            assert_eq!(read(&one.to_string()), one);
        }
    }
}
