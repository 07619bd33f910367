//! Where a request comes from. Forwarded addresses are believed only from the proxies that the operator names.

use std::fmt;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use std::str::FromStr;

use actix_web::HttpRequest;

/// The header in which a proxy notes whom it speaks for.
const FORWARDED_FOR: &str = "x-forwarded-for";

/// A range of addresses, such as `10.0.0.0/8`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Network {
    base: IpAddr,
    bits: u8,
}

impl Network {
    /// The neighbourhood of an address: what one subscriber usually has, a /24 or a /64.
    #[must_use]
    pub fn of(address: IpAddr) -> Self {
        let address = address.to_canonical();
        Self::new(address, if address.is_ipv4() { 24 } else { 64 })
    }

    fn new(address: IpAddr, bits: u8) -> Self {
        let base = match address {
            IpAddr::V4(v4) => {
                let mask = u32::MAX.checked_shl(32 - u32::from(bits)).unwrap_or(0);
                IpAddr::V4(Ipv4Addr::from_bits(v4.to_bits() & mask))
            }
            IpAddr::V6(v6) => {
                let mask = u128::MAX.checked_shl(128 - u32::from(bits)).unwrap_or(0);
                IpAddr::V6(Ipv6Addr::from_bits(v6.to_bits() & mask))
            }
        };
        Self { base, bits }
    }

    /// Whether `address` lies in it.
    #[must_use]
    pub fn holds(&self, address: IpAddr) -> bool {
        let address = address.to_canonical();
        address.is_ipv4() == self.base.is_ipv4() && Self::new(address, self.bits) == *self
    }
}

impl fmt::Display for Network {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.base, self.bits)
    }
}

/// A text that is no address and no range of addresses.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no address and no range like 10.0.0.0/8")]
pub struct NoNetwork(String);

impl FromStr for Network {
    type Err = NoNetwork;

    fn from_str(text: &str) -> Result<Self, NoNetwork> {
        let wrong = || NoNetwork(text.to_owned());
        let (address, bits) = match text.split_once('/') {
            Some((address, bits)) => (address, Some(bits)),
            None => (text, None),
        };
        let address: IpAddr = address.parse().map_err(|_| wrong())?;
        let all = if address.is_ipv4() { 32 } else { 128 };
        let bits = bits.map_or(Ok(all), str::parse).map_err(|_| wrong())?;
        if bits > all {
            return Err(wrong());
        }
        Ok(Self::new(address, bits))
    }
}

/// The address that a request comes from; proxies in `trusted` are looked through, everybody else speaks for
/// themselves.
pub(crate) fn origin(request: &HttpRequest, trusted: &[Network]) -> IpAddr {
    let unknown = IpAddr::V4(Ipv4Addr::UNSPECIFIED);
    let peer = request.peer_addr().map_or(unknown, |peer| peer.ip());
    let headers = request.headers().get_all(FORWARDED_FOR);
    let told: Vec<&str> = headers
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .map(str::trim)
        .collect();
    look_through(peer, &told, trusted)
}

/// Each proxy appends whom it heard from: so the last entry that no trusted proxy stands for is the caller.
fn look_through(peer: IpAddr, told: &[&str], trusted: &[Network]) -> IpAddr {
    let mut address = peer.to_canonical();
    for entry in told.iter().rev() {
        if !trusted.iter().any(|network| network.holds(address)) {
            break;
        }
        let Ok(before) = entry.parse::<IpAddr>() else {
            break;
        };
        address = before.to_canonical();
    }
    address
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().expect("an address")
    }

    #[test]
    fn a_neighbourhood_is_a_24_or_a_64() {
        for (address, network) in [
            ("203.0.113.77", "203.0.113.0/24"),
            ("::ffff:203.0.113.77", "203.0.113.0/24"),
            ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ] {
            assert_eq!(Network::of(ip(address)).to_string(), network);
        }
    }

    #[test]
    fn a_range_holds_its_addresses_only() {
        let range: Network = "10.1.0.0/16".parse().expect("a range");
        assert!(range.holds(ip("10.1.200.3")));
        assert!(range.holds(ip("::ffff:10.1.200.3")));
        assert!(!range.holds(ip("10.2.0.1")));
        assert!(!range.holds(ip("2001:db8::1")));
        let all: Network = "0.0.0.0/0".parse().expect("a range");
        assert!(all.holds(ip("198.51.100.1")));
        for wrong in [
            "",
            "10.0.0",
            "10.0.0.0/33",
            "10.0.0.0/-1",
            "::/129",
            "proxy.example",
        ] {
            assert!(wrong.parse::<Network>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn only_trusted_proxies_are_looked_through() {
        let proxies: Vec<Network> = ["10.0.0.0/8", "2001:db8::1"]
            .map(|text| text.parse().expect("a range"))
            .to_vec();
        let from = |peer: &str, told: &[&str]| look_through(ip(peer), told, &proxies).to_string();
        // A stranger may claim what it likes.
        assert_eq!(from("198.51.100.9", &["127.0.0.1"]), "198.51.100.9");
        assert_eq!(from("10.0.0.1", &["198.51.100.9"]), "198.51.100.9");
        assert_eq!(
            from("10.0.0.1", &["1.2.3.4", "198.51.100.9", "10.0.0.2"]),
            "198.51.100.9"
        );
        assert_eq!(from("2001:db8::1", &["198.51.100.9"]), "198.51.100.9");
        assert_eq!(from("10.0.0.1", &[]), "10.0.0.1");
        assert_eq!(from("10.0.0.1", &["unknown"]), "10.0.0.1");
    }
}
