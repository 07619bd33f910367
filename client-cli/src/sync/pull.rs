//! Pulling: compare heads, fetch page by page what is lacking, verify, take it over, and look at what doesn't fit.

use std::collections::{BTreeMap, BTreeSet};

use chrono::TimeDelta;
use diesel::sqlite::SqliteConnection;
use uuid::Uuid;
use whorl_care::ids::HorseId;
use whorl_care::sentence::counted;
use whorl_contract::key::Hash;
use whorl_contract::sync::{HeadInfo, Heads, Pull, Pulled, Want};

use super::check::{self, Misfit, Why};
use super::plan::{Operation, Ours, plan};
use super::{Ledger, Means, Report, apply, label, repair};
use crate::failure::Failure;
use crate::mirror::{self, Place};
use crate::{herd, outbox, setting, signers, witness};

/// Entries of the first page; later pages follow the line's speed up to the largest.
const FIRST_PAGE: u32 = 100;
/// Entries of the smallest page.
const SMALLEST_PAGE: u32 = 20;
/// Entries of the largest page.
const LARGEST_PAGE: u32 = 500;
/// Horses asked for at once.
const HORSES: usize = 1_000;
/// A page that takes longer than this is too large for the line; one that is faster by far may grow.
const SLOW: TimeDelta = TimeDelta::seconds(10);
const FAST: TimeDelta = TimeDelta::seconds(2);

/// Comes into step with the server's heads. Answers whether a further round has something to give back.
///
/// # Errors
///
/// [`Failure::Offline`] if the line breaks; the pages that came are kept.
pub fn pull(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    means: &mut Means<'_, '_>,
    report: &mut Report,
) -> Result<bool, Failure> {
    let now = means.machine.utc();
    let before: Option<String> = setting::get(conn, setting::HEADS_TAG)?;
    // Unchanged heads say nothing of an entry that was acknowledged since and lost again.
    let settled = outbox::acknowledged(conn)?.is_empty();
    let asked = before.as_deref().filter(|_| settled && !means.again);
    let Some((heads, tag)) = ledger.heads(asked)? else {
        apply::in_step(conn, asked, now)?;
        return Ok(false);
    };
    let restored = new_life(conn, &heads, report)?;
    let operations = plan(&ours(conn, &heads)?, &heads.heads, &spared(conn, &heads)?);
    // A server that lost entries may have lost whole horses; ours may be the last copy of those.
    let lost_some = restored || operations.iter().any(Operation::tells_of_a_loss);
    let mut targets = targets(conn, &heads, &operations, means.again)?;
    let mut suspects = fetch(conn, ledger, means, heads.epoch, &mut targets, report)?;
    suspects.extend(unreached(&heads, &targets));

    let mut repair = repair::Repair {
        conn,
        ledger,
        home: means.home,
        now,
        restored,
        report,
        queued: 0,
        opened: false,
    };
    let by_id: BTreeMap<HorseId, &HeadInfo> = heads
        .heads
        .iter()
        .map(|head| (head.horse_id, head))
        .collect();
    for operation in operations {
        match operation {
            Operation::Pull { .. } => {}
            Operation::GiveBack { horse_id, common } => repair.give_back(horse_id, common)?,
            Operation::Part { horse_id } => {
                suspects.remove(&horse_id);
                if let Some(head) = by_id.get(&horse_id) {
                    repair.part(head)?;
                }
            }
            Operation::Lock { horse_id } => repair.gone(horse_id, lost_some)?,
        }
    }
    for (horse_id, misfit) in suspects {
        match (by_id.get(&horse_id), &misfit.why) {
            (Some(head), Why::OtherHead | Why::OutOfOrder { .. }) => repair.part(head)?,
            _ => repair.alarm(&misfit),
        }
    }
    let queued = repair.queued + repair.lost_after_all(&heads)?;
    let opened = repair.opened;
    finish(conn, &heads, tag.as_deref(), now, report)?;
    report.given_back += queued;
    Ok(queued > 0 || opened)
}

/// A new epoch means that the server began anew, from a backup perhaps: what it acknowledged before may be lost.
fn new_life(
    conn: &mut SqliteConnection,
    heads: &Heads,
    report: &mut Report,
) -> Result<bool, Failure> {
    let known: Option<Uuid> = setting::get(conn, setting::EPOCH)?;
    if known == Some(heads.epoch) {
        return Ok(false);
    }
    let again = outbox::wait_again(conn, heads.epoch)?;
    if known.is_none() {
        // Before the first entry comes: else a server that began anew in the middle would pass for the first one.
        setting::set(conn, setting::EPOCH, heads.epoch)?;
        return Ok(false);
    }
    let waiting = if again == 0 {
        String::new()
    } else {
        format!(
            "; {} pushed once more",
            counted(
                again,
                "entry that it had taken is",
                "entries that it had taken are"
            )
        )
    };
    report.notices.push(format!(
        "the server began anew (it was restored from a backup, or moved): your copies are kept and compared{waiting}"
    ));
    Ok(true)
}

fn ours(conn: &mut SqliteConnection, heads: &Heads) -> Result<BTreeMap<HorseId, Ours>, Failure> {
    let mut ours = BTreeMap::new();
    let known: BTreeSet<HorseId> = mirror::horses(conn)?
        .into_iter()
        .chain(herd::visible(conn)?)
        .collect();
    for horse in known {
        let place = mirror::place(conn, horse)?;
        ours.insert(horse, Ours { place, there: None });
    }
    for head in &heads.heads {
        if let Some(one) = ours.get_mut(&head.horse_id)
            && head.seq < one.place.seq
        {
            one.there = mirror::head_at(conn, head.horse_id, head.seq)?;
        }
    }
    Ok(ours)
}

/// Horses that stay though the server doesn't name them. A new one that it does name was opened; only its answer was
/// lost.
fn spared(conn: &mut SqliteConnection, heads: &Heads) -> Result<BTreeSet<HorseId>, Failure> {
    let mut unborn: BTreeSet<HorseId> = herd::pending(conn)?
        .into_iter()
        .map(|pending| pending.new.id)
        .collect();
    for head in &heads.heads {
        if unborn.remove(&head.horse_id) {
            herd::settle_pending(conn, head.horse_id, None)?;
        }
    }
    unborn.extend(herd::aside(conn)?);
    Ok(unborn)
}

/// Where the copy of one horse is while pages come, and where it has to get to.
struct Target {
    place: Place,
    until: i64,
    head: Hash,
}

fn targets(
    conn: &mut SqliteConnection,
    heads: &Heads,
    operations: &[Operation],
    again: bool,
) -> Result<BTreeMap<HorseId, Target>, Failure> {
    let mut targets = BTreeMap::new();
    for head in &heads.heads {
        let horse_id = head.horse_id;
        let mut of_horse = operations.iter().filter(|one| one.horse_id() == horse_id);
        let place = match of_horse.next() {
            None | Some(Operation::Pull { .. }) if again => Place::start(horse_id),
            Some(Operation::Pull { .. }) => mirror::place(conn, horse_id)?,
            _ => continue,
        };
        let target = Target {
            place,
            until: head.seq,
            head: head.head,
        };
        targets.insert(horse_id, target);
    }
    Ok(targets)
}

/// Fetches, verifies and takes over page by page. Answers the horses whose log doesn't fit; nothing of theirs from
/// the first misfit on was taken over.
fn fetch(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    means: &mut Means<'_, '_>,
    epoch: Uuid,
    targets: &mut BTreeMap<HorseId, Target>,
    report: &mut Report,
) -> Result<BTreeMap<HorseId, Misfit>, Failure> {
    let mut suspects = BTreeMap::new();
    let left = |targets: &BTreeMap<HorseId, Target>, suspects: &BTreeMap<HorseId, Misfit>| {
        let open = targets
            .iter()
            .filter(|(id, target)| target.place.seq < target.until && !suspects.contains_key(id));
        open.map(|(&id, target)| (id, target.place.seq, target.until))
            .collect::<Vec<_>>()
    };
    let total: i64 = left(targets, &suspects)
        .iter()
        .map(|(_, after, until)| until - after)
        .sum();
    let mut come = 0;
    let mut limit = FIRST_PAGE;
    loop {
        let lacking = left(targets, &suspects);
        if lacking.is_empty() {
            return Ok(suspects);
        }
        let wants = lacking
            .iter()
            .take(HORSES)
            .map(|&(horse_id, after, _)| Want { horse_id, after })
            .collect();
        let pulled = one_page(ledger, means, wants, &mut limit)?;
        if pulled.epoch != epoch {
            return Err(Failure::ServerFailed(
                "the server began anew in the middle; run `whorl sync` again".to_owned(),
            ));
        }
        let (all, changed) = check::introduce(&signers::all(conn)?, &pulled.signers);
        for why in changed {
            let alarm = why.to_string();
            if !report.alarms.contains(&alarm) {
                report.alarms.push(alarm);
            }
        }
        let mut entries = Vec::new();
        for run in &pulled.runs {
            let Some(target) = targets.get_mut(&run.horse_id) else {
                continue;
            };
            let checked = match suspects.get(&run.horse_id) {
                Some(_) => continue,
                None => {
                    check::run(run, target.place, &all).and_then(|checked| agrees(conn, checked))
                }
            };
            match checked {
                Ok(checked) => {
                    if let Some(last) = checked.last() {
                        target.place = Place {
                            seq: last.seq,
                            head: last.head.0,
                        };
                    }
                    entries.extend(checked);
                }
                Err(misfit) => drop(suspects.insert(run.horse_id, misfit)),
            }
        }
        let new: Vec<_> = all.into_values().collect();
        apply::page(conn, &entries, &new, means.machine.utc())?;
        come += i64::try_from(entries.len()).unwrap_or(0);
        report.pulled += entries.len();
        (means.progress)(come, total);
        if entries.is_empty() && left(targets, &suspects).len() == lacking.len() {
            // It has no more for us, though it said so: told as not reached below.
            return Ok(suspects);
        }
    }
}

/// Entries that we have already must be the same ones.
fn agrees(
    conn: &mut SqliteConnection,
    checked: Vec<mirror::Logged>,
) -> Result<Vec<mirror::Logged>, Misfit> {
    for entry in &checked {
        let ours =
            mirror::head_at(conn, entry.horse_id.0, entry.seq).map_err(|failure| Misfit {
                horse_id: entry.horse_id.0,
                seq: entry.seq,
                why: Why::Damaged(failure.to_string()),
            })?;
        if ours.is_some_and(|ours| ours != entry.head.0) {
            return Err(Misfit {
                horse_id: entry.horse_id.0,
                seq: entry.seq,
                why: Why::OtherHead,
            });
        }
    }
    Ok(checked)
}

/// Asks for a page and fits the next one's size to the line. A page that doesn't get through is tried once more, small.
fn one_page(
    ledger: &mut dyn Ledger,
    means: &Means<'_, '_>,
    wants: Vec<Want>,
    limit: &mut u32,
) -> Result<Pulled, Failure> {
    let mut pull = Pull {
        wants,
        limit: Some(*limit),
    };
    let start = (means.machine.clock)();
    let pulled = match ledger.pull(&pull) {
        Err(Failure::Offline(_)) if *limit > SMALLEST_PAGE => {
            *limit = SMALLEST_PAGE;
            pull.limit = Some(*limit);
            return ledger.pull(&pull);
        }
        other => other?,
    };
    let took = (means.machine.clock)() - start;
    if took > SLOW {
        *limit = (*limit / 2).max(SMALLEST_PAGE);
    } else if took < FAST {
        *limit = (*limit * 2).min(LARGEST_PAGE);
    }
    Ok(pulled)
}

/// The horses whose log came to its announced end and has another head there, or didn't come to its end.
fn unreached(heads: &Heads, targets: &BTreeMap<HorseId, Target>) -> BTreeMap<HorseId, Misfit> {
    let announced = heads.heads.iter().filter_map(|head| {
        let target = targets.get(&head.horse_id)?;
        let parted = target.place.seq == target.until && target.place.head != target.head;
        parted.then(|| {
            let misfit = Misfit {
                horse_id: head.horse_id,
                seq: head.seq,
                why: Why::OtherHead,
            };
            (head.horse_id, misfit)
        })
    });
    announced.collect()
}

/// In step only if every announced head is the one that we hold now, and nothing contradicts what the server signed.
fn finish(
    conn: &mut SqliteConnection,
    heads: &Heads,
    tag: Option<&str>,
    now: chrono::DateTime<chrono::Utc>,
    report: &mut Report,
) -> Result<(), Failure> {
    setting::set(conn, setting::EPOCH, heads.epoch)?;
    for (horse_id, seq) in witness::contradicted(conn, heads.epoch)? {
        let misfit = Misfit {
            horse_id,
            seq,
            why: Why::OtherSignedHead,
        };
        let horse = label(conn, horse_id);
        report.alarms.push(repair::words(&misfit, &horse));
    }
    let mut all = true;
    for head in &heads.heads {
        all &= mirror::head_at(conn, head.horse_id, head.seq)? == Some(head.head);
    }
    if all {
        apply::in_step(conn, tag, now)
    } else {
        if report.alarms.is_empty() {
            report.notices.push(
                "the server sent less than it announced; run `whorl sync` once more".to_owned(),
            );
        }
        setting::forget(conn, setting::HEADS_TAG)
    }
}
