//! Which addresses a webhook may be at: public ones, and those that the operator named. Asked of the very address that is
//! connected to, so that a name can't be made to lead inside.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;

use reqwest::dns::{Addrs, Name, Resolve, Resolving};

/// Why a name leads nowhere.
#[derive(Debug, thiserror::Error)]
pub(super) enum NoAddress {
    /// It has addresses, but none that may be used.
    #[error("it is at a private address, which the operator has not allowed")]
    Private,
    /// It has none.
    #[error("there is no such host: {0}")]
    None(std::io::Error),
}

/// Looks names up, and leaves out the addresses that may not be used.
#[derive(Clone, Debug)]
pub(super) struct Guard(pub(super) Arc<Vec<IpAddr>>);

impl Guard {
    /// Whether an address may be used.
    pub(super) fn allows(&self, ip: IpAddr) -> bool {
        let ip = ip.to_canonical();
        is_public(ip) || self.0.iter().any(|one| one.to_canonical() == ip)
    }
}

impl Resolve for Guard {
    fn resolve(&self, name: Name) -> Resolving {
        let guard = self.clone();
        Box::pin(async move {
            let found = tokio::net::lookup_host((name.as_str(), 0)).await;
            let found: Vec<SocketAddr> = found.map_err(NoAddress::None)?.collect();
            let allowed: Vec<SocketAddr> = found
                .into_iter()
                .filter(|one| guard.allows(one.ip()))
                .collect();
            if allowed.is_empty() {
                return Err(NoAddress::Private.into());
            }
            let allowed: Addrs = Box::new(allowed.into_iter());
            Ok(allowed)
        })
    }
}

/// Whether an address is one of the public internet's, by the IANA registries of special-purpose addresses (RFC 6890).
/// Addresses that stand for others (6to4, Teredo, NAT64) are taken for none.
pub(super) fn is_public(ip: IpAddr) -> bool {
    match ip.to_canonical() {
        IpAddr::V4(v4) => is_public_v4(v4),
        IpAddr::V6(v6) => is_public_v6(v6),
    }
}

fn is_public_v4(ip: Ipv4Addr) -> bool {
    let [a, b, c, _] = ip.octets();
    let special = ip.is_private()
        || ip.is_loopback()
        || ip.is_link_local()
        || ip.is_multicast()
        || ip.is_documentation()
        || a == 0
        // Shared between providers and subscribers.
        || (a == 100 && (64..128).contains(&b))
        || (a, b, c) == (192, 0, 0)
        || (a, b, c) == (192, 88, 99)
        // Benchmarks.
        || (a == 198 && (b == 18 || b == 19))
        // Reserved, and the broadcast.
        || a >= 240;
    !special
}

fn is_public_v6(ip: Ipv6Addr) -> bool {
    let [a, b, ..] = ip.segments();
    // Unicast that is given out, without what stands for other addresses, for documentation or for protocols.
    (0x2000..0x4000).contains(&a)
        && a != 0x2002
        && !(a == 0x2001 && (b < 0x0200 || b == 0x0db8))
        && !(a == 0x3fff && b < 0x1000)
}
