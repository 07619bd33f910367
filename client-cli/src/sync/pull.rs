//! Pulling: compare heads, fetch page by page what is lacking, verify, take it over, and look at what doesn't fit.

use std::collections::{BTreeMap, BTreeSet};

use diesel::sqlite::SqliteConnection;
use uuid::Uuid;
use whorl_care::ids::HorseId;
use whorl_care::sentence::counted;
use whorl_contract::key::Hash;
use whorl_contract::sync::{HeadInfo, Heads, Pull, Pulled, Want};

use super::check::{self, Misfit, Why};
use super::plan::{Operation, Ours, plan};
use super::portion::Portion;
use super::{Ledger, Means, Progress, Report, apply, label, repair};
use crate::failure::Failure;
use crate::mirror::{self, Place};
use crate::stored::At;
use crate::{herd, outbox, setting, signers, witness};

/// Entries of the first page.
const FIRST_PAGE: u32 = 100;
/// Entries of the largest page.
const LARGEST_PAGE: u32 = 500;

/// What the server said of where its logs stand, and what it came to.
#[derive(Debug)]
pub struct Compared {
    /// Whether a further round has something to give back.
    pub again: bool,
    /// The horses that it named; none where they are those of the answer before.
    pub named: Option<BTreeSet<HorseId>>,
    /// What names its answer, if every copy is in step with it.
    pub tag: Option<String>,
}

/// Comes into step with the server's heads.
///
/// # Errors
///
/// [`Failure::Offline`] if the line breaks; the pages that came are kept.
pub fn pull(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    means: &mut Means<'_, '_>,
    report: &mut Report,
) -> Result<Compared, Failure> {
    let now = means.machine.utc();
    let before: Option<String> = setting::get(conn, setting::HEADS_TAG)?;
    // Unchanged heads say nothing of an entry that was acknowledged since and lost again.
    let settled = outbox::acknowledged(conn)?.is_empty();
    let asked = before.filter(|_| settled && !means.again);
    let Some((heads, tag)) = ledger.heads(asked.as_deref())? else {
        setting::set(conn, setting::SYNCED_AT, At(now))?;
        return Ok(Compared {
            again: false,
            named: None,
            tag: asked,
        });
    };
    // From here on this device may stand elsewhere than the last answer, and heads that go back to it would hide that.
    setting::forget(conn, setting::HEADS_TAG)?;
    let restored = new_life(conn, &heads, report)?;
    let operations = plan(&ours(conn, &heads)?, &heads.heads, &spared(conn, &heads)?);
    // A server that lost entries may have lost whole horses; ours may be the last copy of those. What a horse lacks that was
    // set aside was lost before, and the others were compared since.
    let aside = herd::aside(conn)?;
    let lost_some = restored
        || operations
            .iter()
            .any(|one| one.tells_of_a_loss() && !aside.contains(&one.horse_id()));
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
    let in_step = finish(conn, &heads, now, report)?;
    report.given_back += queued;
    Ok(Compared {
        again: queued > 0 || opened,
        named: Some(heads.heads.iter().map(|head| head.horse_id).collect()),
        tag: tag.filter(|_| in_step),
    })
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
    // Horses of which the server has no more for us, though it said so: told as not reached below.
    let mut silent = BTreeSet::new();
    let total: u64 = lacking(targets, |_| true)
        .iter()
        .map(|lacking| lacking.entries)
        .sum();
    let mut come = 0;
    let mut portion = Portion::new(FIRST_PAGE, LARGEST_PAGE);
    loop {
        let lacking = lacking(targets, |horse| {
            !suspects.contains_key(horse) && !silent.contains(horse)
        });
        if lacking.is_empty() {
            return Ok(suspects);
        }
        let (asked, pulled) = one_page(ledger, means, &lacking, &mut portion)?;
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
        let suspected = suspects.len();
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
        come += entries.len() as u64;
        report.pulled += entries.len();
        (means.progress)(Progress::Fetched(come, total));
        if entries.is_empty() && suspects.len() == suspected {
            silent.extend(asked.into_iter().map(|want| want.horse_id));
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

/// What the copy of one horse lacks.
struct Lacking {
    horse_id: HorseId,
    after: i64,
    entries: u64,
}

/// What is lacking of those horses that are `worth` asking for.
fn lacking(targets: &BTreeMap<HorseId, Target>, worth: impl Fn(&HorseId) -> bool) -> Vec<Lacking> {
    let mut lacking: Vec<_> = targets
        .iter()
        .filter(|(id, target)| target.place.seq < target.until && worth(id))
        .map(|(&horse_id, target)| Lacking {
            horse_id,
            after: target.place.seq,
            entries: u64::try_from(target.until - target.place.seq).unwrap_or(0),
        })
        .collect();
    // Should the line die, most horses are whole by then.
    lacking.sort_by_key(|one| one.entries);
    lacking
}

/// Asks for a page that fits the line; if the line breaks, for a smaller one. Answers what was asked for, too.
fn one_page(
    ledger: &mut dyn Ledger,
    means: &Means<'_, '_>,
    lacking: &[Lacking],
    portion: &mut Portion,
) -> Result<(Vec<Want>, Pulled), Failure> {
    loop {
        let pull = Pull {
            wants: wants(lacking, portion.entries()),
            limit: Some(portion.entries()),
        };
        let start = (means.machine.clock)();
        match ledger.pull(&pull) {
            Ok(pulled) => {
                portion.came_through((means.machine.clock)() - start);
                return Ok((pull.wants, pulled));
            }
            Err(failure) => portion.broke(failure, means.machine)?,
        }
    }
}

/// The first horses whose entries fill a page: naming all of a large herd each time would cost more than what comes.
fn wants(lacking: &[Lacking], limit: u32) -> Vec<Want> {
    let mut before = 0;
    lacking
        .iter()
        .take_while(|one| {
            let has_room = before < u64::from(limit);
            before += one.entries;
            has_room
        })
        .map(|one| Want {
            horse_id: one.horse_id,
            after: one.after,
        })
        .collect()
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
    now: chrono::DateTime<chrono::Utc>,
    report: &mut Report,
) -> Result<bool, Failure> {
    let mut reached = BTreeSet::new();
    for head in &heads.heads {
        if mirror::head_at(conn, head.horse_id, head.seq)? == Some(head.head) {
            reached.insert(head.horse_id);
        }
    }
    // Another copy, of a horse that isn't named or whose log didn't come, may be of an earlier life of the ledger.
    for (horse_id, seq) in witness::contradicted(conn, heads.epoch)? {
        if !reached.contains(&horse_id) {
            continue;
        }
        let misfit = Misfit {
            horse_id,
            seq,
            why: Why::OtherSignedHead,
        };
        let horse = label(conn, horse_id);
        report.alarms.push(repair::words(&misfit, &horse));
    }
    let all = reached.len() == heads.heads.len();
    if all || !report.alarms.is_empty() {
        // A copy that wasn't reached is yet to be compared with a server that began anew.
        setting::set(conn, setting::EPOCH, heads.epoch)?;
    }
    if all {
        setting::set(conn, setting::SYNCED_AT, At(now))?;
    } else if report.alarms.is_empty() {
        report
            .notices
            .push("the server sent less than it announced; run `whorl sync` once more".to_owned());
    }
    Ok(all)
}
