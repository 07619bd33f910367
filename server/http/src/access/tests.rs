//! Access against a model that lives through the days one by one, on random people, barns, horses and grants.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDateTime};
use proptest::prelude::*;
use uuid::Uuid;
use whorl_care::ids::{AccountId, BarnId, GrantId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_store::accounts::{self, AccountRow};
use whorl_store::barns::{self, BarnRow};
use whorl_store::grants::{self, ExemptionRow, GrantRow};
use whorl_store::horses::{self, HorseRow, TenureRow};
use whorl_store::{Db, Key, Kinds, Settings, Store, StoreError};

use super::weigh::{Bearing, Ties, weigh};
use super::{Access, barns_visible, covered_at, horses_visible, of_horse};

const PEOPLE: u8 = 4;
const BARNS: u8 = 3;
const HORSES: u8 = 4;
const DAYS: i64 = 6;

/// A few kinds stand for all: two that limits name, and one that they never do.
const KINDS: [Kind; 3] = [Kind::Weight, Kind::HoofCare, Kind::LamenessExam];

fn id<T: From<Uuid>>(group: u8, n: u8) -> T {
    Uuid::from_bytes([0, 0, 0, 0, 0, 0, 0x70, 0, 0x80, 0, 0, 0, 0, 0, group, n]).into()
}

fn person(n: u8) -> AccountId {
    id(1, n)
}

fn barn(n: u8) -> BarnId {
    id(2, n)
}

fn horse(n: u8) -> HorseId {
    id(3, n)
}

fn day(n: i64) -> NaiveDateTime {
    DateTime::from_timestamp(1_790_000_000 + n * 86_400, 0)
        .expect("a time")
        .naive_utc()
}

#[derive(Clone, Debug)]
struct Grant {
    holder: u8,
    role: Role,
    /// A horse, or a barn.
    scope: Result<u8, u8>,
    from: i64,
    until: Option<i64>,
    revoked: Option<i64>,
    kinds: Option<Vec<Kind>>,
    /// Horses that a barn's grant covers no more, from a day on.
    exempt: Vec<(u8, i64)>,
}

#[derive(Clone, Debug)]
struct World {
    /// Each barn's owner.
    barns: Vec<u8>,
    /// Each horse's owners and places, from day 0 on: (day, owner, barn).
    horses: Vec<Vec<(i64, u8, u8)>>,
    grants: Vec<Grant>,
    /// Who may still see which horse up to which event.
    sights: Vec<(u8, u8, i64)>,
}

prop_compose! {
    fn grants()(
        holder in 0..PEOPLE,
        role in prop::sample::select(Role::ALL),
        scope in prop_oneof![(0..HORSES).prop_map(Ok), (0..BARNS).prop_map(Err)],
        from in 0..DAYS,
        until in prop::option::of(0..DAYS + 2),
        revoked in prop::option::of(0..DAYS + 2),
        kinds in prop::option::of(prop::sample::subsequence(&KINDS[..2], 0..=2)),
        exempt in prop::collection::vec((0..HORSES, 0..DAYS), 0..2),
    ) -> Grant {
        let exempt = if scope.is_err() { exempt } else { Vec::new() };
        Grant { holder, role, scope, from, until, revoked, kinds, exempt }
    }
}

fn tenures() -> impl Strategy<Value = Vec<(i64, u8, u8)>> {
    let later = prop::collection::btree_map(1..DAYS, (0..PEOPLE, 0..BARNS), 0..3);
    ((0..PEOPLE, 0..BARNS), later).prop_map(|((owner, barn), later)| {
        let later = later
            .into_iter()
            .map(|(day, (owner, barn))| (day, owner, barn));
        std::iter::once((0, owner, barn)).chain(later).collect()
    })
}

prop_compose! {
    fn worlds()(
        barns in prop::collection::vec(0..PEOPLE, usize::from(BARNS)),
        horses in prop::collection::vec(tenures(), usize::from(HORSES)),
        grants in prop::collection::vec(grants(), 0..12),
        sights in prop::collection::vec((0..PEOPLE, 0..HORSES, 0..9_i64), 0..3),
    ) -> World {
        World { barns, horses, grants, sights }
    }
}

/// The model: what holds on a day, found by living through every day up to it.
fn allowed(world: &World, who: u8, which: u8, on: i64) -> BTreeSet<(Role, Kind)> {
    let (mut owner, mut stands_in) = (u8::MAX, u8::MAX);
    let mut alive = vec![false; world.grants.len()];
    let mut ended = vec![false; world.grants.len()];
    let mut exempt = vec![false; world.grants.len()];
    for today in 0..=on {
        for (_, new_owner, new_barn) in world.horses[usize::from(which)]
            .iter()
            .filter(|tenure| tenure.0 == today)
        {
            (owner, stands_in) = (*new_owner, *new_barn);
        }
        for (n, grant) in world.grants.iter().enumerate() {
            alive[n] |= grant.from == today;
            ended[n] |= grant.until == Some(today) || grant.revoked == Some(today);
            exempt[n] |= grant.exempt.contains(&(which, today));
        }
    }
    let mut allowed = BTreeSet::new();
    let mut allow = |role, kinds: &[Kind]| allowed.extend(kinds.iter().map(|kind| (role, *kind)));
    if owner == who {
        allow(Role::Owner, &KINDS);
    } else if world.barns[usize::from(stands_in)] == who {
        allow(Role::BarnStaff, &KINDS);
    }
    for (n, grant) in world.grants.iter().enumerate() {
        let covers = match grant.scope {
            Ok(one) => one == which,
            Err(barn) => barn == stands_in && !exempt[n] && grant.role != Role::Owner,
        };
        if grant.holder == who && covers && alive[n] && !ended[n] {
            allow(grant.role, grant.kinds.as_deref().unwrap_or(&KINDS));
        }
    }
    allowed
}

fn grant_row(n: usize, grant: &Grant) -> GrantRow {
    GrantRow {
        id: id(4, u8::try_from(n).expect("few grants")),
        account_id: person(grant.holder),
        role: grant.role,
        horse_id: grant.scope.ok().map(|n| Key(horse(n))),
        barn_id: grant.scope.err().map(|n| Key(barn(n))),
        from_at: day(grant.from),
        until_at: grant.until.map(day),
        kinds: grant.kinds.clone().map(|kinds| Key(Kinds(kinds))),
        granted_by: person(0),
        created_at: day(0),
        revoked_at: grant.revoked.map(day),
        revoked_by: None,
    }
}

fn exemption_rows(world: &World) -> Vec<ExemptionRow> {
    let mut rows = Vec::new();
    for (n, grant) in world.grants.iter().enumerate() {
        let mut exempt: Vec<(u8, i64)> = grant.exempt.clone();
        exempt.sort_unstable();
        exempt.dedup_by_key(|(horse, _)| *horse);
        rows.extend(exempt.into_iter().map(|(which, from)| ExemptionRow {
            grant_id: id::<GrantId>(4, u8::try_from(n).expect("few grants")),
            horse_id: horse(which),
            from_at: day(from),
            made_by: person(0),
        }));
    }
    rows
}

fn tenure(world: &World, which: u8, on: i64) -> (u8, u8) {
    let tenures = &world.horses[usize::from(which)];
    let (_, owner, barn) = tenures
        .iter()
        .rev()
        .find(|tenure| tenure.0 <= on)
        .expect("day 0 has one");
    (*owner, *barn)
}

/// What an access lets somebody record, of the kinds that stand for all.
fn recordable(access: &Access) -> BTreeSet<(Role, Kind)> {
    Role::ALL
        .iter()
        .flat_map(|role| KINDS.map(|kind| (*role, kind)))
        .filter(|(role, kind)| access.may_record(*role, *kind))
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn nobody_has_more_or_less_than_the_model_says(world in worlds(), on in 0..DAYS) {
        let grants: Vec<GrantRow> = world.grants.iter().enumerate().map(|(n, grant)| grant_row(n, grant)).collect();
        let exemptions = exemption_rows(&world);
        for (who, which) in pairs() {
            let bearing = Bearing { account: person(who), grants: &grants, exemptions: &exemptions, at: day(on) };
            let (owner, stands_in) = tenure(&world, which, on);
            let ties = Ties {
                horse: horse(which),
                owner: person(owner),
                barn: barn(stands_in),
                barn_owner: Some(person(world.barns[usize::from(stands_in)])),
            };
            let standings = weigh(&bearing, &ties);
            let is_in_force = !standings.is_empty();
            let sight_until = world.sights.iter().find(|sight| (sight.0, sight.1) == (who, which)).map(|sight| sight.2);
            let access = Access { standings, sight_until };
            let allowed = allowed(&world, who, which, on);
            prop_assert_eq!(&recordable(&access), &allowed);
            for (kind, seq) in KINDS.iter().flat_map(|kind| (1..10).map(move |seq| (*kind, seq))) {
                let by_role = allowed.iter().any(|(_, seen)| *seen == kind);
                let by_sale = sight_until.is_some_and(|until| seq <= until);
                prop_assert_eq!(access.may_see(kind, seq), by_role || by_sale);
                // Whatever is said not to be limited hides nothing up to the last event that is shown.
                if !access.is_limited() && seq <= access.until_seq(9) && access.is_anything() {
                    prop_assert!(access.may_see(kind, seq));
                }
            }
            prop_assert_eq!(access.is_anything(), is_in_force || sight_until.is_some());
        }
    }
}

fn pairs() -> impl Iterator<Item = (u8, u8)> {
    (0..PEOPLE).flat_map(|who| (0..HORSES).map(move |which| (who, which)))
}

/// Writes a world into a database, where each horse is as it is on the last day.
fn settle(db: &mut Db, world: &World) -> Result<(), StoreError> {
    for n in 0..PEOPLE {
        let row = AccountRow {
            id: person(n),
            email: format!("{n}@saltmarsh.example"),
            name: format!("Person {n}"),
            password_hash: String::new(),
            operator: false,
            created_at: day(0),
            disabled_at: None,
        };
        accounts::add(db, row)?;
    }
    for (n, owner) in (0..).zip(&world.barns) {
        let row = BarnRow {
            id: barn(n),
            owner_id: person(*owner),
            name: format!("Barn {n}"),
            time_zone: "Europe/London".to_owned(),
            region: None,
            created_at: day(0),
        };
        barns::add(db, row)?;
    }
    for (n, tenures) in (0..).zip(&world.horses) {
        for (from, owner, stands_in) in tenures {
            let (owner_id, barn_id) = (person(*owner), barn(*stands_in));
            if *from == 0 {
                let row = HorseRow {
                    id: horse(n),
                    barn_id,
                    owner_id,
                    head_seq: 9,
                    head: vec![0; 32],
                    created_at: day(0),
                };
                horses::add(db, row)?;
            } else {
                let row = TenureRow {
                    horse_id: horse(n),
                    from_at: day(*from),
                    owner_id,
                    barn_id,
                };
                horses::settle(db, row)?;
            }
        }
    }
    for (n, grant) in world.grants.iter().enumerate() {
        // No database holds a revocation that is still to come: it is noted when it is made.
        let mut row = grant_row(n, grant);
        row.revoked_at = row.revoked_at.filter(|at| *at < day(DAYS));
        grants::add(db, row)?;
    }
    for row in exemption_rows(world) {
        grants::exempt(db, row)?;
    }
    for (who, which, until) in &world.sights {
        grants::leave_sight(db, person(*who), horse(*which), *until)?;
    }
    Ok(())
}

/// Checks the answers from the database against the model.
fn check(db: &mut Db, world: &World) -> Result<(), StoreError> {
    let last = DAYS - 1;
    for who in 0..PEOPLE {
        let now = day(last).and_utc();
        let visible = horses_visible(db, person(who), now)?;
        let barns = barns_visible(db, person(who), now)?;
        for which in 0..HORSES {
            let row = horses::get(db, horse(which))?;
            let access = of_horse(db, person(who), &row, now)?;
            assert_eq!(
                recordable(&access),
                allowed(world, who, which, last),
                "person {who}, horse {which}"
            );
            let listed = visible.iter().find(|(listed, _)| listed.id == row.id);
            assert_eq!(
                listed.map(|(_, access)| access),
                access.is_anything().then_some(&access)
            );
            let knows_where = barns.iter().any(|barn| barn.id == row.barn_id);
            assert!(knows_where || !access.is_in_force());
            for then in 0..DAYS {
                let model = allowed(world, who, which, then);
                for (role, kind) in Role::ALL
                    .iter()
                    .flat_map(|role| KINDS.map(|kind| (*role, kind)))
                {
                    let covered =
                        covered_at(db, person(who), &row, role, kind, day(then).and_utc())?;
                    assert_eq!(covered, model.contains(&(role, kind)), "day {then}");
                }
            }
        }
        assert!(visible.is_sorted_by_key(|(row, _)| row.id));
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_list_and_the_single_answer_agree_with_the_model(world in worlds()) {
        let folder = tempfile::tempdir().expect("a folder");
        let url = format!("sqlite://{}", folder.path().join("whorl.db").display());
        let store = Store::open(&Settings::of_job(&url)).expect("a store");
        store.write(move |db| { settle(db, &world)?; check(db, &world) }).expect("answers");
    }
}
