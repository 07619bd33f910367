//! What a document says: its title, the horse, what is left out, the entries, and how to check them.

use chrono::{DateTime, FixedOffset};
use whorl_care::kind::{Provenance, Role};
use whorl_care::sentence::{self, capital, counted, words};
use whorl_contract::history::{HistoryEntry, Standing};

use super::Document;
use super::layout::{Block, Cell};

/// The document's title.
pub(super) fn title(document: &Document<'_>) -> String {
    format!("History of {}", name(document))
}

/// What stands at the foot of every page, beside its number.
pub(super) fn foot(document: &Document<'_>) -> String {
    format!("{}, as of {}", title(document), sentence::day(document.on))
}

fn name(document: &Document<'_>) -> String {
    let profile = document.profile;
    let name = profile.name.as_ref().or(profile.registered_name.as_ref());
    name.cloned()
        .unwrap_or_else(|| format!("horse {}", document.horse_id))
}

/// Everything, from the top to the end.
pub(super) fn blocks(document: &Document<'_>) -> Vec<Block> {
    let mut blocks = vec![Block::Heading(1, title(document))];
    blocks.push(Block::Facts(identity(document)));
    blocks.push(Block::Heading(2, "What is left out".to_owned()));
    if document.withheld.is_empty() {
        blocks.push(Block::Text(
            "Nothing. Every entry of the record is printed here, amended and withdrawn ones as such.".to_owned(),
        ));
    }
    blocks.extend(document.withheld.iter().cloned().map(Block::Text));
    blocks.push(Block::Heading(
        2,
        format!("Entries ({})", document.entries.len()),
    ));
    if document.entries.is_empty() {
        blocks.push(Block::Text("None.".to_owned()));
    } else {
        blocks.push(Block::Table {
            head: ["When", "What", "Who stands for it"].map(str::to_owned),
            rows: document.entries.iter().map(row).collect(),
        });
    }
    blocks.push(Block::Heading(2, "How to check it".to_owned()));
    blocks.extend(checks(document).into_iter().map(Block::Text));
    if let Some(link) = document.link {
        blocks.push(Block::Link {
            text: "The same history, as long as it is shared:".to_owned(),
            link: link.to_owned(),
        });
    }
    blocks
}

fn identity(document: &Document<'_>) -> Vec<(String, String)> {
    let profile = document.profile;
    let looks: Vec<String> = [
        profile.colour.clone(),
        profile.breed_type.map(|build| words(build.code())),
        profile.sex.map(|sex| words(sex.code())),
    ]
    .into_iter()
    .flatten()
    .collect();
    let facts = [
        ("Name", profile.name.clone()),
        ("Registered name", profile.registered_name.clone()),
        ("Horse", Some(looks.join(", "))),
        (
            "Foaled",
            profile
                .foaled_on
                .map(|on| on.exact().map_or_else(|| on.to_string(), sentence::day)),
        ),
        ("Markings", profile.markings.clone()),
        ("Microchip", profile.microchip.clone()),
        ("UELN", profile.ueln.clone()),
        ("Record kept by", Some(document.server.to_owned())),
        (
            "As of",
            Some(format!("{} (UTC)", sentence::day(document.on))),
        ),
    ];
    facts
        .into_iter()
        .filter_map(|(name, fact)| {
            Some((
                name.to_owned(),
                fact.filter(|fact| !fact.trim().is_empty())?,
            ))
        })
        .collect()
}

fn row(entry: &HistoryEntry) -> [Cell; 3] {
    [when(entry), what(entry), who(entry)]
}

fn when(entry: &HistoryEntry) -> Cell {
    let mut cell = Cell::default();
    match entry.performed_at {
        Some(at) => {
            cell.bold(day(at));
            let clock = sentence::clock(*at.offset());
            cell.plain(format!("{} {clock}", at.format("%H:%M")));
        }
        None => cell.bold("withheld"),
    }
    cell.plain(format!("no. {} in the log", entry.seq));
    cell
}

fn what(entry: &HistoryEntry) -> Cell {
    let mut cell = Cell::default();
    let Some(kind) = entry.kind else {
        cell.bold("Withheld");
        return cell;
    };
    let kind_text = capital(&words(kind.code()));
    match entry.standing {
        Standing::Retracted => cell.bold(format!("WITHDRAWN: {kind_text}")),
        _ => cell.bold(kind_text),
    }
    match &entry.details {
        Some(details) => {
            let told = sentence::with_days(&sentence::of(kind, details));
            cell.plain(capital(&told));
        }
        None if entry.standing == Standing::Erased => {}
        None => cell.plain("What it says is withheld."),
    }
    if let Some(note) = &entry.note {
        cell.plain(format!("Note: {note}"));
    }
    match entry.attachments.len() {
        0 => {}
        many => cell.plain(format!(
            "With it in the record: {}.",
            counted(many, "photo or document", "photos or documents")
        )),
    }
    let reason = entry.reason.as_deref().unwrap_or("no reason given");
    match entry.standing {
        Standing::AsRecorded => {}
        Standing::Amended => cell.plain(format!("Amended; shown as amended. Reason: {reason}")),
        Standing::Contested => cell.plain(format!(
            "Amended by different people, who contradict each other; the last version is shown. Reason: {reason}"
        )),
        Standing::Retracted => cell.plain(format!("Withdrawn; it no longer counts. Reason: {reason}")),
        Standing::Erased => cell.plain(format!(
            "What it said was erased for good, by the owner. Reason: {reason}"
        )),
    }
    cell
}

fn who(entry: &HistoryEntry) -> Cell {
    let mut cell = Cell::default();
    if let Some(grade) = entry.provenance {
        cell.bold(provenance(grade));
    }
    let author = entry
        .author
        .as_deref()
        .unwrap_or("a device whose owner is not named");
    match entry.role {
        Some(role) => cell.plain(format!("Signed by {author}, {}", role_text(role))),
        None => cell.plain("Signer withheld"),
    }
    if let Some(by) = &entry.performed_by {
        let licence = by
            .licence
            .as_deref()
            .map(|number| format!(", licence {number}"));
        cell.plain(format!(
            "Done by {}{}",
            by.name,
            licence.unwrap_or_default()
        ));
    }
    if let Some(at) = entry.recorded_at
        && entry.performed_at.is_some_and(|done| day(done) != day(at))
    {
        cell.plain(format!("Written down on {}", day(at)));
    }
    for vouched in &entry.countersignatures {
        cell.plain(format!(
            "Countersigned by {}, {}, on {}",
            vouched.by,
            role_text(vouched.role),
            day(vouched.at)
        ));
    }
    cell
}

fn day(at: DateTime<FixedOffset>) -> String {
    at.format("%-d %b %Y").to_string()
}

fn checks(document: &Document<'_>) -> Vec<String> {
    let (seq, head) = &document.head;
    vec![
        "Paper proves nothing: anybody can print such a page. The record itself can be checked. Each entry is signed on \
         the device of whoever made it, and all entries of a horse hang together in a chain, so that none can be changed, \
         added or taken out without a trace."
            .to_owned(),
        "Ask the owner for the signed history file and run \"whorl verify FILE\". It needs no network, and says what is \
         proven, who signed, and what was withheld. It must name the place and the head below, or later ones."
            .to_owned(),
        format!("Place in the log: {seq}. Head of the log there: {head}"),
        "\"Attested\" is recorded and signed by somebody whose licence covers it, \"recorded\" by anybody else who may, \
         \"copied from paper\" is only as good as the paper. What stands here is no diagnosis and replaces no passport."
            .to_owned(),
    ]
}

const fn provenance(grade: Provenance) -> &'static str {
    match grade {
        Provenance::Attested => "Attested",
        Provenance::Recorded => "Recorded",
        Provenance::Transcribed => "Copied from paper",
    }
}

fn role_text(role: Role) -> String {
    words(role.code())
}
