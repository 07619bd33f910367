use std::net::IpAddr;

use uuid::Uuid;

use super::*;

fn row(attempts: i64, created: &str) -> DeliveryRow {
    DeliveryRow {
        id: Uuid::nil().into(),
        account_id: Uuid::nil().into(),
        notice_id: Uuid::nil().into(),
        version: 1,
        webhook_id: None,
        created_at: created.parse().expect("an instant"),
        attempts,
        next_at: None,
        ended_at: None,
        outcome: None,
        error: None,
    }
}

#[test]
fn waits_double_and_are_spread() {
    for (attempts, least, most) in [
        (1, 15, 30),
        (2, 30, 60),
        (5, 240, 480),
        (14, 10_800, 21_600),
        (90, 10_800, 21_600),
    ] {
        let waits: Vec<i64> = (0..50).map(|_| wait(attempts).num_milliseconds()).collect();
        let range = (least * 1000)..=(most * 1000);
        assert!(
            waits.iter().all(|one| range.contains(one)),
            "{attempts}: {waits:?}"
        );
        assert!(
            waits.iter().any(|one| *one != waits[0]),
            "{attempts}: {waits:?}"
        );
    }
}

#[test]
fn it_is_given_up_after_so_many_attempts_and_after_so_long() {
    let now: DateTime<Utc> = "2027-03-04T08:00:00Z".parse().expect("an instant");
    let tried = |attempts, created| failed(&row(attempts, created), now, "no\r\nanswer");
    assert!(
        matches!(tried(1, "2027-03-04T07:59:00"), Attempt::Failed(_, why) if why == "no  answer")
    );
    for (attempts, created) in [
        (MOST_ATTEMPTS, "2027-03-04T07:00:00"),
        (2, "2027-03-01T08:00:00"),
    ] {
        assert!(matches!(
            tried(attempts, created),
            Attempt::Ended(Outcome::GivenUp, Some(_))
        ));
    }
}

#[test]
fn private_addresses_are_told_from_public_ones() {
    let is_public = |text: &str| address::is_public(text.parse::<IpAddr>().expect(text));
    for text in [
        "1.1.1.1",
        "93.184.215.14",
        "172.32.0.1",
        "100.128.0.1",
        "2606:4700::1111",
        "::ffff:1.1.1.1",
    ] {
        assert!(is_public(text), "{text}");
    }
    for text in [
        "0.0.0.0",
        "10.1.2.3",
        "127.0.0.1",
        "127.9.9.9",
        "169.254.169.254",
        "172.16.0.1",
        "172.31.255.255",
        "192.168.1.1",
        "100.64.0.1",
        "192.0.0.8",
        "192.0.2.1",
        "198.18.0.1",
        "198.51.100.1",
        "203.0.113.1",
        "224.0.0.1",
        "240.0.0.1",
        "255.255.255.255",
        "::",
        "::1",
        "fe80::1",
        "fc00::1",
        "fd12::1",
        "ff02::1",
        "2001:db8::1",
        "64:ff9b::a00:1",
        "2002:a00:1::",
        "2001::1",
        "::ffff:10.0.0.1",
        "::ffff:127.0.0.1",
        "fec0::1",
        "100::1",
    ] {
        assert!(!is_public(text), "{text}");
    }
}
